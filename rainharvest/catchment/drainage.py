"""What a design storm asks of gutter, outlet and vertical pipe, by EN 12056-3:2000, and of the overflow."""

from __future__ import annotations

import math
import warnings
from dataclasses import dataclass

import numpy as np
import pandas as pd
import xarray as xr

from rainharvest.catchment.hydraulics import pipe_capacity
from rainharvest.catchment.tables import DEFAULTS, Catchment, Conveyance, run_of_kind
from rainharvest.core.errors import InputError, require

SAFETY, BEND = DEFAULTS["level_gutter"], DEFAULTS["gutter_bend"]

KB_VERTICAL, FILLING_VERTICAL = DEFAULTS["roughness_vertical"], DEFAULTS["filling_vertical"]

RISK = DEFAULTS["risk"]
"""Factor on the design intensity by what an overflow would do."""

HALF_ROUND_WIDTHS = (75, 100, 115, 125, 150)
"""Half-round gutters of the trade [mm]; common practice, no source."""

VERTICAL_BORES = (*range(50, 100, 5), *range(100, 200, 10), *range(200, 301, 20))
"""Bores of Table 8 [mm]."""

# Table 6: length over design water depth, and the factor for a gutter that is nominally level.
_LEVEL = (
    (50, 100, 150, 200, 250, 300, 350, 400, 450, 500),
    (1, 0.93, 0.86, 0.80, 0.77, 0.73, 0.70, 0.67, 0.63, 0.60),
)

# The same for falls, mm/m, at ratios of 50, 100 and 200 or more.
_FALLS = {4: (1.0, 1.03, 1.10), 6: (1.0, 1.08, 1.25), 8: (1.0, 1.13, 1.40), 10: (1.0, 1.18, 1.55)}

_NOMINALLY_LEVEL = 3.0


def gutter_capacity(
    gutter_width: float,
    gutter_length: float = 0.0,
    gutter_depth: float | None = None,
    fall: float = 0.0,
    bends: int = 0,
) -> float:
    """Return what a half-round eaves gutter with a free outlet passes, from one end to the outlet.

    0.9 x 2.78e-5 A^1.25 with A = pi w^2 / 8, times the long-gutter factor and 0.85 where there is a bend of more than
    10 degrees.

    The 100 mm half-round gutter of Approved Document H drains 37 m2 at 75 mm/h:

    >>> round(float(gutter_capacity(100)) / 0.021, 1)
    37.0
    """
    require_positive(gutter_width=gutter_width, gutter_length=gutter_length, fall=fall, bends=bends)
    factor = 1.0
    if gutter_length > 0:
        given = gutter_depth is not None and gutter_depth > 0
        require(given, "the depth of water is missing", "give the design depth in mm", "gutter_depth")
        factor = long_gutter_factor(gutter_length, gutter_depth, fall)
    nominal = 2.78e-5 * (math.pi * gutter_width**2 / 8) ** 1.25
    return SAFETY.value * nominal * factor * (BEND.value if bends else 1.0)


def long_gutter_factor(gutter_length: float, gutter_depth: float, fall: float = 0.0) -> float:
    """Return the factor for a gutter longer than 50 times its depth of water, by Table 6.

    Up to 3 mm/m a gutter is nominally level. Between the entries of the table the factor is interpolated.

    >>> long_gutter_factor(10, 50), long_gutter_factor(10, 50, fall=0.004)
    (0.80, 1.10)
    """
    ratio = gutter_length * 1000 / gutter_depth
    problem = f"{gutter_length:g} m is more than 500 times the depth of water"
    remedy = f"add an outlet so that no length exceeds {0.5 * gutter_depth:g} m"
    require(ratio <= 500, problem, remedy, "gutter_length")
    level = float(np.interp(ratio, *_LEVEL))
    slope = min(fall * 1000, 10.0)
    if slope <= _NOMINALLY_LEVEL:
        return level
    falls = [_NOMINALLY_LEVEL, *_FALLS]
    factors = [level, *(float(np.interp(ratio, (50, 100, 200), row)) for row in _FALLS.values())]
    return float(np.interp(slope, falls, factors))


def require_positive(**values: float) -> None:
    """Raise if one of the values is below zero or missing."""
    for name, value in values.items():
        require(value >= 0, f"{value} is not possible", "give a value of zero or more", name)


def design_flow(area: float, design_intensity: float, coefficient: float = 1.0, risk: float = 1.0) -> float:
    """Return the flow that a roof sheds in the design storm: Q = r A C, times the risk factor.

    Parameters
    ----------
    area : float [m2]
        Effective area: plan area, or where the national practice counts on wind, length x (width + height / 2).
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


def vertical_pipe_capacity(
    bore: float, filling: float = FILLING_VERTICAL.value, roughness: float = KB_VERTICAL.value
) -> float:
    """Return what a vertical pipe passes, by Wyly and Eaton: 2.5e-4 k^-0.167 d^2.667 f^1.667.

    The exponents are the rounded ones that the standard prints; its Table 8 was made with them.

    >>> round(vertical_pipe_capacity(bore=100), 1)
    10.7
    """
    require_positive(bore=bore)
    require(roughness > 0, f"{roughness} mm is not possible", "give a roughness above zero", "roughness")
    allowed = FILLING_VERTICAL.low <= filling <= FILLING_VERTICAL.high
    require(allowed, f"{filling} is outside the standard", "give a filling of 0.20 to 0.33", "filling")
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
    require(outlets >= 1, "a gutter without an outlet", "give one outlet or more", "outlets")
    each = flow / outlets
    widths = [w for w in HALF_ROUND_WIDTHS if gutter_length <= 0.25 * w]
    passes = {
        "gutter": {w: gutter_capacity(w, gutter_length, w / 2, fall, bends) for w in widths},
        "vertical pipe": {bore: vertical_pipe_capacity(bore) for bore in VERTICAL_BORES},
    }
    rows = {}
    for name, capacities in passes.items():
        size = next((size for size, capacity in capacities.items() if capacity >= each), np.nan)
        capacity = capacities.get(size, np.nan)
        rows[name] = {"size": size, "capacity": capacity, "used": each / capacity}
    table = pd.DataFrame(rows).T
    return table if table["size"].isna().any() else table.astype({"size": "Int64"})


@dataclass(frozen=True)
class PeakOverflow:
    """The rate that the overflow of a full tank must pass."""

    flow: float  # [L/s] What arrives, and so must leave: the least of the three below
    roofs: float  # [L/s] What the roofs shed in the design storm, runoff coefficient 1
    gutters: float  # [L/s] What the gutters let through of it: what the run of pipe must carry
    pipe: float  # [L/s] Most that the run of pipe can bring, see `most_through_pipe`; infinite without a run

    @property
    def governed_by(self) -> str:
        """Say which of the three sets the rate."""
        return min(("roofs", "gutters", "pipe"), key=lambda name: getattr(self, name))


def peak_overflow(catchment: Catchment, design_intensity: float) -> PeakOverflow:
    """Return the peak rate that the overflow must pass when the tank is full.

    No loss is taken off: the roof is wet, the first flush full, the filter clean.

    Parameters
    ----------
    catchment : Catchment
        Roofs and run of pipe.
    design_intensity : float [mm/h]
        Rain of the design storm over a few minutes.

    Returns
    -------
    PeakOverflow
        The rate and what governs it. What gutters or pipe cannot pass does not reach the tank, but falls
        beside the building: it needs a way off too.

    Raises
    ------
    InputError
        If the intensity is below zero.

    Examples
    --------
    >>> from rainharvest.catchment.tables import Roof
    >>> peak = peak_overflow(Catchment(roofs=(Roof(area=100), Roof(area=80))), design_intensity=90)
    >>> peak.flow, peak.governed_by
    (4.5, 'roofs')
    """
    shed = [design_flow(roof.area, design_intensity) for roof in catchment.roofs]
    limited = [
        flow if roof.gutter_capacity is None else min(flow, roof.gutter_capacity)
        for flow, roof in zip(shed, catchment.roofs, strict=True)
    ]
    pipe = np.inf if catchment.conveyance is None else most_through_pipe(catchment.conveyance)
    roofs, gutters = sum(shed), sum(limited)
    return PeakOverflow(flow=min(gutters, pipe), roofs=roofs, gutters=gutters, pipe=pipe)


def most_through_pipe(conveyance: Conveyance) -> float:
    """Return the most that a run can bring to the tank, backed up to the gutter outlet.

    A dry run is sized part full, but in a storm beyond that it fills and is driven by the whole head, like a
    wet one: the overflow must pass that flow, although the yield does not count on it.

    >>> dry = Conveyance(kind="dry", run=20, bore=100, outlet_level=3.0, inlet_level=2.0)
    >>> pipe_capacity(dry), most_through_pipe(dry)
    (4.67, 9.92)
    """
    passes = pipe_capacity(conveyance)
    if conveyance.kind == "wet" or passes == 0:
        return passes
    full = run_of_kind(conveyance, "wet", low_level=min(conveyance.inlet_level, conveyance.outlet_level))
    return max(passes, pipe_capacity(full))


def daily_overflow(overflow: xr.DataArray, quantiles: tuple[float, ...] = (0.5, 0.9, 0.99)) -> xr.Dataset:
    """Return the distribution of daily overflow: days [day/year], volume [L/year], the largest and quantiles [L/day].

    Give the spill of a simulated tank, or the inflow itself for a tank that is always full.

    >>> import pandas as pd
    >>> time = pd.date_range("2001-01-01", periods=4)
    >>> spill = xr.DataArray([0.0, 500.0, 0.0, 100.0], dims="time", coords={"time": time})
    >>> out = daily_overflow(spill)
    >>> float(out.largest), str(out.largest_day.values)[:10]
    (500.0, '2001-01-02')
    """
    require("time" in overflow.dims, "the overflow has no time", "give a DataArray on time", "overflow")
    if not bool((overflow >= 0).all()):
        raise InputError(
            "the overflow has gaps or values below zero", "give the spill of a full simulation", "overflow"
        )
    years = overflow.sizes["time"] / 365.25
    spills = overflow.where(overflow > 1e-6)
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", "All-NaN", RuntimeWarning)
        of_day = spills.quantile(list(quantiles), "time", skipna=True).fillna(0.0)
    return xr.Dataset(
        {
            "days_a_year": spills.notnull().sum("time") / years,
            "volume_a_year": overflow.sum("time") / years,
            "largest": overflow.max("time"),
            "largest_day": overflow.idxmax("time").where(overflow.max("time") > 0),
            "overflow_of_day": of_day,
        }
    )
