"""Gutters and their outlets, by EN 12056-3:2000.

The numbers are those of a public source file that transcribes the standard. Lengths of sections are mm as
in the standard, flows L/s.
"""

from __future__ import annotations

import math

import numpy as np

from rainharvest.errors import InputError
from rainharvest.sources import Default

_EN = "EN 12056-3:2000, as transcribed in a public source file"
SAFETY = Default(0.9, "1", f"{_EN}: capacity of a level gutter is 0.9 of the nominal", "standard")
BEND = Default(
    0.85, "1", f"{_EN}: a bend of more than 10 degrees; older tables have 0.8 to 0.9", "standard", 0.8, 0.9
)
STRAINER = Default(0.5, "1", f"{_EN}: an outlet with a strainer", "standard")

HALF_ROUND_WIDTHS = (75, 100, 115, 125, 150)
"""Half-round gutters of the trade [mm]; common practice, no source."""

# Table 6: length over design water depth, and the factor for a gutter that is nominally level.
_LEVEL = (
    (50, 100, 150, 200, 250, 300, 350, 400, 450, 500),
    (1, 0.93, 0.86, 0.80, 0.77, 0.73, 0.70, 0.67, 0.63, 0.60),
)
# The same for falls, mm/m, at ratios of 50, 100 and 200 or more.
_FALLS = {4: (1.0, 1.03, 1.10), 6: (1.0, 1.08, 1.25), 8: (1.0, 1.13, 1.40), 10: (1.0, 1.18, 1.55)}
_NOMINALLY_LEVEL = 3.0


def half_round_section(gutter_width: float) -> float:
    """Return the section of a half-round gutter that is full to the brim.

    Parameters
    ----------
    gutter_width : float [mm]
        Inside width at the top.

    Returns
    -------
    float [mm2]
        Half a circle.

    Examples
    --------
    >>> half_round_section(100)
    3927.0
    """
    return math.pi * gutter_width**2 / 8


def gutter_capacity(
    gutter_section: float,
    gutter_length: float = 0.0,
    gutter_depth: float | None = None,
    fall: float = 0.0,
    bends: int = 0,
    shape: str = "half round",
    depth_factor: float | None = None,
    shape_factor: float | None = None,
) -> float:
    """Return what an eaves gutter with a free outlet passes, from one end to the outlet.

    Half round: 0.9 x 2.78e-5 A^1.25. Other shapes: 0.9 x 3.48e-5 A^1.25 Fd Fs. Both times the long-gutter
    factor and 0.85 where there is a bend of more than 10 degrees.

    Parameters
    ----------
    gutter_section : float [mm2]
        Section A, full to the brim.
    gutter_length : float [m]
        From the end of the gutter to the outlet.
    gutter_depth : float [mm], optional
        Design depth of water; needed for a length above zero.
    fall : float [m/m]
        Fall towards the outlet.
    bends : int [1]
        Bends of more than 10 degrees on the way; the standard has one factor however many.
    shape : str
        "half round" or "other".
    depth_factor, shape_factor : float [1], optional
        For other shapes: Fd and Fs read from Figures 5 and 6 of the standard.

    Returns
    -------
    float [L/s]
        Flow. Source: EN 12056-3:2000, clause 5 and Table 6.

    Raises
    ------
    InputError
        If the shape is unknown, a factor or the depth is missing, or the gutter is too long.

    Examples
    --------
    The 100 mm half-round gutter of Approved Document H drains 37 m2 at 75 mm/h:

    >>> round(float(gutter_capacity(half_round_section(100))) / 0.021, 1)
    37.0
    """
    require_positive(gutter_section=gutter_section, gutter_length=gutter_length, fall=fall, bends=bends)
    if shape == "half round":
        nominal = 2.78e-5 * gutter_section**1.25
    elif shape == "other":
        if depth_factor is None or shape_factor is None:
            raise InputError(
                "the factors of depth and shape are missing",
                "read Fd and Fs from Figures 5 and 6 of EN 12056-3",
                "depth_factor",
            )
        nominal = 3.48e-5 * gutter_section**1.25 * depth_factor * shape_factor
    else:
        raise InputError(f"no gutter shape is called {shape!r}", 'use "half round" or "other"', "shape")
    factor = 1.0
    if gutter_length > 0:
        if gutter_depth is None or not gutter_depth > 0:
            raise InputError("the depth of water is missing", "give the design depth in mm", "gutter_depth")
        factor = long_gutter_factor(gutter_length, gutter_depth, fall)
    return SAFETY.value * nominal * factor * (BEND.value if bends else 1.0)


def long_gutter_factor(gutter_length: float, gutter_depth: float, fall: float = 0.0) -> float:
    """Return the factor for a gutter longer than 50 times its depth of water, by Table 6.

    Up to 3 mm/m a gutter is nominally level. Between the entries of the table the factor is interpolated.

    Parameters
    ----------
    gutter_length : float [m]
        From the end of the gutter to the outlet.
    gutter_depth : float [mm]
        Design depth of water.
    fall : float [m/m]
        Fall towards the outlet; above 10 mm/m counts as 10.

    Returns
    -------
    float [1]
        Factor on the capacity. Source: EN 12056-3:2000, Table 6.

    Raises
    ------
    InputError
        If the gutter is longer than 500 times the depth, where the table ends.

    Examples
    --------
    >>> long_gutter_factor(10, 50), long_gutter_factor(10, 50, fall=0.004)
    (0.80, 1.10)
    """
    ratio = gutter_length * 1000 / gutter_depth
    if ratio > 500:
        raise InputError(
            f"{gutter_length:g} m is more than 500 times the depth of water",
            f"add an outlet so that no length exceeds {0.5 * gutter_depth:g} m",
            "gutter_length",
        )
    level = float(np.interp(ratio, *_LEVEL))
    slope = min(fall * 1000, 10.0)
    if slope <= _NOMINALLY_LEVEL:
        return level
    falls = [_NOMINALLY_LEVEL, *_FALLS]
    factors = [level, *(float(np.interp(ratio, (50, 100, 200), row)) for row in _FALLS.values())]
    return float(np.interp(slope, falls, factors))


def outlet_capacity(diameter: float, head: float, strainer: bool = False) -> float:
    """Return what a round gutter outlet passes: a weir up to a head of half its diameter, then an orifice.

    k D h^1.5 / 7500 for h <= D / 2, else k D^2 h^0.5 / 15000; k = 1, or 0.5 with a strainer.

    Parameters
    ----------
    diameter : float [mm]
        Of the outlet.
    head : float [mm]
        Depth of water over it.
    strainer : bool
        Whether it has one.

    Returns
    -------
    float [L/s]
        Flow. Source: EN 12056-3:2000, Table 7.

    Raises
    ------
    InputError
        If a value is below zero.

    Examples
    --------
    >>> outlet_capacity(diameter=100, head=40), outlet_capacity(diameter=100, head=60)
    (3.37, 5.16)
    """
    require_positive(diameter=diameter, head=head)
    k = STRAINER.value if strainer else 1.0
    if head <= diameter / 2:
        return k * diameter * head**1.5 / 7500
    return k * diameter**2 * head**0.5 / 15000


def freeboard(gutter_depth: float) -> float:
    """Return the least freeboard of a gutter: 25 mm, then 0.3 of its depth, at most 75 mm.

    Parameters
    ----------
    gutter_depth : float [mm]
        Depth of the gutter.

    Returns
    -------
    float [mm]
        Freeboard. Source: EN 12056-3:2000, Table 5.

    Examples
    --------
    >>> freeboard(60), freeboard(100), freeboard(400)
    (25.0, 30.0, 75.0)
    """
    require_positive(gutter_depth=gutter_depth)
    return 25.0 if gutter_depth < 85 else 0.3 * gutter_depth if gutter_depth <= 250 else 75.0


def require_positive(**values: float) -> None:
    """Raise if one of the values is below zero or missing.

    Parameters
    ----------
    **values
        By the name of the argument.

    Raises
    ------
    InputError
        Naming the first that is wrong.
    """
    for name, value in values.items():
        if not value >= 0:
            raise InputError(f"{value} is not possible", "give a value of zero or more", name)
