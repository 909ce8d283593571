"""What ground is presumed to bear, by a named code, and when nothing may be presumed."""

from __future__ import annotations

from dataclasses import dataclass

from rainharvest.errors import InputError
from rainharvest.sources import Default

POUNDS_PER_SQUARE_FOOT = 0.04788025898
"""One pound-force on a square foot, kPa: 4.4482216 N over 0.09290304 m2."""

CODE = "International Building Code 2012, Table 1806.2, presumptive values of vertical foundation pressure"
"""Where the values come from."""
_LEAST = "less than 1,500 pounds on a square foot is likely: investigate"


def _presumed(pounds: float) -> Default:
    return Default(pounds * POUNDS_PER_SQUARE_FOOT, "kPa", f"{CODE}: {pounds:,.0f} lbf/ft2", "standard")


@dataclass(frozen=True)
class Ground:
    """One class of ground.

    Parameters
    ----------
    meaning : str
        What it is.
    bearing : Default or None
        Presumed bearing value, kPa; None where the code presumes nothing.
    warning : str
        What to mind.
    """

    meaning: str
    bearing: Default | None
    warning: str


_SOUND = "valid for undisturbed, level, drained natural ground of this class down to well below the base"

GROUNDS: dict[str, Ground] = {
    "bedrock": Ground("crystalline bedrock", _presumed(12_000), _SOUND),
    "layered rock": Ground("sedimentary and foliated rock", _presumed(4_000), _SOUND),
    "gravel": Ground("sandy gravel and gravel (GW, GP)", _presumed(3_000), _SOUND),
    "sand": Ground(
        "sand, silty and clayey sand, silty and clayey gravel",
        _presumed(2_000),
        f"{_SOUND}; loose sand bears less, and water that runs under the base washes it out",
    ),
    "clay": Ground(
        "clay, sandy, silty or clayey silt, silt",
        _presumed(1_500),
        f"{_SOUND}; soft clay bears less ({_LEAST}), and clay that swells and shrinks counts as expansive",
    ),
    "expansive clay": Ground(
        "clay that swells when wet and shrinks when dry",
        None,
        "it heaves and settles with the seasons and with every leak: a geotechnical engineer designs the base",
    ),
    "fill": Ground(
        "made ground, backfill, rubbish, anything placed and not compacted under control",
        None,
        "it settles under a full tank: take it out, or have an engineer design the base",
    ),
    "peat": Ground(
        "mud, organic silt or clay, peat",
        None,
        "it flows and rots: no tank stands on it without an engineer",
    ),
    "unknown": Ground(
        "nobody has looked",
        None,
        "dig a hole to a metre below the base and look, or ask who built next door",
    ),
}
"""Classes of ground. Codes differ threefold for the same name: local rules and a look into a pit govern."""


def presumed_bearing(ground: str) -> float | None:
    """Return the bearing value that the code presumes for a class of ground.

    Parameters
    ----------
    ground : str
        A key of `GROUNDS`.

    Returns
    -------
    float or None [kPa]
        None where nothing may be presumed. Source: International Building Code 2012, Table 1806.2.

    Raises
    ------
    InputError
        If no ground is called that.

    Examples
    --------
    >>> round(presumed_bearing("clay"), 1), presumed_bearing("peat")
    (71.8, None)
    """
    if ground not in GROUNDS:
        raise InputError(f'no ground is called "{ground}"', f"choose one of {', '.join(GROUNDS)}", "ground")
    found = GROUNDS[ground].bearing
    return None if found is None else found.value
