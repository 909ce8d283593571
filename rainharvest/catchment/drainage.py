"""What a design storm asks of gutter and vertical pipe, by EN 12056-3:2000.

The numbers are those of a public source file that transcribes the standard; Table 8 was recomputed. Local
rules govern: they set the design intensity, the safety and sometimes the sizes themselves.
Lengths and diameters are mm where the standard has mm, flows L/s, design intensities mm/h.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from rainharvest.catchment.gutters import (
    HALF_ROUND_WIDTHS,
    gutter_capacity,
    half_round_section,
    require_positive,
)
from rainharvest.errors import InputError
from rainharvest.sources import Default

_EN = "EN 12056-3:2000, as transcribed in a public source file"
KB_VERTICAL = Default(0.25, "mm", f"{_EN}, formula of Table 8", "standard")
FILLING_VERTICAL = Default(0.33, "1", f"{_EN}, Table 8: 0.20 to 0.33", "standard", 0.20, 0.33)
RISK = {
    "eaves gutter": Default(1.0, "1", f"{_EN}, Table 2", "standard"),
    "eaves gutter, overflow a nuisance": Default(1.5, "1", f"{_EN}, Table 2", "standard"),
    "gutter inside the building": Default(2.0, "1", f"{_EN}, Table 2", "standard"),
    "exceptional protection": Default(3.0, "1", f"{_EN}, Table 2", "standard"),
}
"""Factor on the design intensity by what an overflow would do."""

VERTICAL_BORES = (50, 55, 60, 65, 70, 75, 80, 85, 90, 95, 100, 110, 120, 130, 140, 150, 160, 170, 180, 190)
VERTICAL_BORES += (200, 220, 240, 260, 280, 300)
"""Bores of Table 8 [mm]."""


def design_flow(area: float, design_intensity: float, coefficient: float = 1.0, risk: float = 1.0) -> float:
    """Return the flow that a roof sheds in the design storm: Q = r A C, times the risk factor.

    Parameters
    ----------
    area : float [m2]
        Effective area: plan area, or `wind_area` where the national practice says so.
    design_intensity : float [mm/h]
        Rain of the design storm, over a few minutes; national rules say which.
    coefficient : float [1]
        Runoff coefficient of the design storm; 1 in the standard.
    risk : float [1]
        A factor of `RISK`.

    Returns
    -------
    float [L/s]
        Flow. 75 mm/h is 0.0208 L/s on each m2. Source: EN 12056-3:2000.

    Raises
    ------
    InputError
        If a value is below zero.

    Examples
    --------
    >>> design_flow(area=100, design_intensity=75)
    2.083
    """
    require_positive(area=area, design_intensity=design_intensity, coefficient=coefficient, risk=risk)
    return area * design_intensity / 3600 * coefficient * risk


def wind_area(gutter_length: float, roof_width: float, roof_height: float) -> float:
    """Return the area that wind-driven rain at two down to one across finds: L (W + H / 2).

    For the size of gutters only. The yield of a roof goes by its plan area.

    Parameters
    ----------
    gutter_length : float [m]
        Along the gutter.
    roof_width : float [m]
        Plan width from ridge to gutter.
    roof_height : float [m]
        Height from gutter to ridge.

    Returns
    -------
    float [m2]
        Effective area. Source: practice of the United Kingdom with EN 12056-3.

    Raises
    ------
    InputError
        If a length is below zero.

    Examples
    --------
    >>> wind_area(gutter_length=10, roof_width=4, roof_height=3)
    55.0
    """
    require_positive(gutter_length=gutter_length, roof_width=roof_width, roof_height=roof_height)
    return gutter_length * (roof_width + roof_height / 2)


def vertical_pipe_capacity(
    bore: float, filling: float = FILLING_VERTICAL.value, roughness: float = KB_VERTICAL.value
) -> float:
    """Return what a vertical pipe passes, by Wyly and Eaton: 2.5e-4 k^-0.167 d^2.667 f^1.667.

    The exponents are the rounded ones that the standard prints; its Table 8 was made with them.

    Parameters
    ----------
    bore : float [mm]
        Inside diameter.
    filling : float [1]
        Share of the bore that the water takes, 0.20 to 0.33.
    roughness : float [mm]
        Pipe roughness.

    Returns
    -------
    float [L/s]
        Flow. Source: EN 12056-3:2000, Table 8.

    Raises
    ------
    InputError
        If the filling is outside the standard's range or another value is not above zero.

    Examples
    --------
    >>> round(vertical_pipe_capacity(bore=100), 1)
    10.7
    """
    require_positive(bore=bore)
    if not roughness > 0:
        raise InputError(f"{roughness} mm is not possible", "give a roughness above zero", "roughness")
    if not 0.20 <= filling <= 0.33:
        raise InputError(f"{filling} is outside the standard", "give a filling of 0.20 to 0.33", "filling")
    return 2.5e-4 * roughness**-0.167 * bore**2.667 * filling**1.667


def size_drainage(
    flow: float, gutter_length: float, fall: float = 0.0, bends: int = 0, outlets: int = 1
) -> pd.DataFrame:
    """Return the smallest half-round gutter and vertical pipe that pass a design flow.

    The gutter carries the flow to ``outlets`` outlets, each fed from one side over ``length``; the depth of
    water is taken as half the width of the gutter.

    Parameters
    ----------
    flow : float [L/s]
        Design flow of the whole gutter.
    gutter_length : float [m]
        From the far end of the gutter to its outlet.
    fall : float [m/m]
        Fall of the gutter.
    bends : int [1]
        Bends of more than 10 degrees on the way.
    outlets : int [1]
        Outlets, each with its own vertical pipe.

    Returns
    -------
    DataFrame
        Rows "gutter" and "vertical pipe": ``size`` [mm], ``capacity`` [L/s] and ``used``, the share of it
        that the design flow takes. ``size`` is NaN where none of the sizes will do.

    Raises
    ------
    InputError
        If a value is below zero or there is no outlet.

    Examples
    --------
    >>> size_drainage(flow=2.1, gutter_length=8, outlets=2).round(2)
                   size  capacity  used
    gutter          125      1.21  0.87
    vertical pipe    50      1.69  0.62
    """
    require_positive(flow=flow, gutter_length=gutter_length, fall=fall)
    if outlets < 1:
        raise InputError("a gutter without an outlet", "give one outlet or more", "outlets")
    each = flow / outlets
    rows = {}
    for name, sizes, passes in (
        (
            "gutter",
            [w for w in HALF_ROUND_WIDTHS if gutter_length <= 0.25 * w],
            lambda w: gutter_capacity(half_round_section(w), gutter_length, w / 2, fall, bends),
        ),
        ("vertical pipe", VERTICAL_BORES, vertical_pipe_capacity),
    ):
        able = [size for size in sizes if passes(size) >= each]
        capacity = passes(able[0]) if able else np.nan
        rows[name] = {"size": able[0] if able else np.nan, "capacity": capacity, "used": each / capacity}
    return pd.DataFrame(rows).T.astype(
        {"size": "Int64"} if all(r["size"] == r["size"] for r in rows.values()) else {}
    )
