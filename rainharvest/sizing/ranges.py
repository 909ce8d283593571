"""What is not known about a site: ranges of runoff, losses, filter and demand, each with its source."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np
import xarray as xr

from rainharvest.catchment.parts import FILTER_EFFICIENCY, Catchment
from rainharvest.catchment.roofs import roof_defaults
from rainharvest.demand.uses import Use
from rainharvest.errors import InputError
from rainharvest.sources import Default

COEFFICIENT_RANGE = Default(
    1.0,
    "1",
    "own choice, for a runoff coefficient that was given: a tenth either way",
    "own choice",
    0.9,
    1.1,
)
LOSSES_RANGE = Default(
    1.0,
    "1",
    "own choice: half to double the wetting and first flush; the published ranges (0.1 to 27 mm of first "
    "flush) are of other roofs and other devices, not of what is unknown about one",
    "own choice",
    0.5,
    2.0,
)
FILTER_RANGE = Default(
    1.0,
    "1",
    "own choice, for a filter efficiency that was given: a twentieth either way",
    "own choice",
    0.95,
    1.05,
)
DEMAND_RANGE = Default(
    1.0, "1", "own choice, for a demand that was given: a fifth either way", "own choice", 0.8, 1.2
)

RANGED = ("runoff_coefficient", "losses", "filter_efficiency", "demand")
"""The inputs that have a range."""

RANGE_WORDS = {
    "runoff_coefficient": "runoff coefficient",
    "losses": "wetting and first flush",
    "filter_efficiency": "filter efficiency",
    "demand": "demand",
    "filling": "filling of the gaps",
    "years": "which years come",
}
"""The inputs in words."""


@dataclass(frozen=True)
class Range:
    """How far one input may lie from the study's own value, as multiples of that value.

    Parameters
    ----------
    name : str
        One of `RANGED`.
    low, best, high : float [1]
        Least, likeliest and largest multiple of the study's own value; values between are drawn from a
        triangular law.
    source : str
        Where the range comes from.
    """

    name: str
    low: float
    best: float
    high: float
    source: str

    def __post_init__(self):
        if self.name not in RANGED:
            raise InputError(f"no input is called {self.name!r}", f"use one of {', '.join(RANGED)}", "ranges")
        if not 0 <= self.low <= self.best <= self.high < np.inf:
            raise InputError(
                f"the range of {self.name} runs from {self.low:g} over {self.best:g} to {self.high:g}",
                "give low, best and high in that order, none below zero",
                "ranges",
            )

    def at(self, chance) -> np.ndarray:
        """Return the multiples that are not exceeded with these chances (triangular law)."""
        chance = np.asarray(chance, dtype=float)
        width = self.high - self.low
        if width == 0:
            return np.full(chance.shape, self.best)
        turn = (self.best - self.low) / width
        rising = self.low + np.sqrt(chance * width * (self.best - self.low))
        falling = self.high - np.sqrt((1 - chance) * width * (self.high - self.best))
        return np.where(chance < turn, rising, falling)


def input_ranges(
    catchment: Catchment,
    uses: Iterable[Use] = (),
    demand: xr.DataArray | None = None,
    given: Mapping[str, tuple[float, float]] | None = None,
) -> tuple[Range, ...]:
    """Return the ranges of a site: published ones where its numbers are defaults, judgement where given.

    Several roofs or uses are taken to err together: their ranges are weighted by what each brings or asks.

    Parameters
    ----------
    catchment : Catchment
        Roofs, first flush and filter.
    uses : iterable of Use, optional
        The uses that the tank serves.
    demand : DataArray [L/day], optional
        (use, time) of these uses, for their weights.
    given : mapping of str to (low, high), optional
        Multiples that the user states, by name of `RANGED`; (1, 1) leaves an input out.

    Returns
    -------
    tuple of Range
        One each of `RANGED`.

    Raises
    ------
    InputError
        If a name is unknown or a range does not hold 1.

    Examples
    --------
    >>> from rainharvest.catchment.roofs import Roof
    >>> ranges = input_ranges(Catchment(roofs=(Roof(area=100, material="metal"),)))
    >>> [(r.name, round(r.low, 2), round(r.high, 2)) for r in ranges]  # doctest: +NORMALIZE_WHITESPACE
    [('runoff_coefficient', 0.89, 1.06), ('losses', 0.5, 2.0), ('filter_efficiency', 0.89, 1.11),
     ('demand', 0.8, 1.2)]
    """
    given = dict(given or {})
    unknown = sorted(set(given) - set(RANGED))
    if unknown:
        raise InputError(f"no input is called {unknown[0]!r}", f"use one of {', '.join(RANGED)}", "ranges")
    found = {
        "runoff_coefficient": _of_roofs(catchment),
        "losses": _judged("losses", LOSSES_RANGE),
        "filter_efficiency": _of_filter(catchment),
        "demand": _of_uses(tuple(uses), demand),
    }
    for name, (low, high) in given.items():
        if not low <= 1 <= high:
            raise InputError(
                f"the range of {name}, {low:g} to {high:g}, does not hold the study's own value (1)",
                "give multiples below and above 1",
                f"ranges.{name}",
            )
        found[name] = Range(name, low, 1.0, high, "given by the user")
    return tuple(found[name] for name in RANGED)


def _judged(name: str, judgement: Default) -> Range:
    return Range(name, judgement.low, judgement.value, judgement.high, judgement.source)


def _of_roofs(catchment: Catchment) -> Range:
    """Return the range of the runoff coefficient, the roofs weighted by what they bring."""
    weight, low, high, sources = [], [], [], []
    for roof in catchment.roofs:
        default = roof_defaults(roof).get("runoff_coefficient")
        if default is None or default.low is None or not default.value > 0:
            default = COEFFICIENT_RANGE
        weight.append(roof.runoff_coefficient * roof.area)
        low.append(min(default.low / default.value, 1.0))
        high.append(max(default.high / default.value, 1.0))
        sources.append(default.source)
    if not sum(weight) > 0:
        return _judged("runoff_coefficient", COEFFICIENT_RANGE)
    return Range(
        "runoff_coefficient",
        float(np.average(low, weights=weight)),
        1.0,
        float(np.average(high, weights=weight)),
        _joined(sources),
    )


def _joined(sources: list[str]) -> str:
    """Return the sources in one line, what two of them share said once."""
    return "; ".join(dict.fromkeys(part for source in sources for part in source.split("; ")))


def _of_filter(catchment: Catchment) -> Range:
    """Return the range of the filter's efficiency: that of the default, if it is the default."""
    if catchment.filter_efficiency != FILTER_EFFICIENCY.value:
        return _judged("filter_efficiency", FILTER_RANGE)
    default = FILTER_EFFICIENCY
    return Range(
        "filter_efficiency", default.low / default.value, 1.0, default.high / default.value, default.source
    )


def _of_uses(uses: tuple[Use, ...], demand: xr.DataArray | None) -> Range:
    """Return the range of the demand, the uses weighted by what they ask."""
    if not uses:
        return _judged("demand", DEMAND_RANGE)
    asked = {}
    if demand is not None and "use" in demand.dims:
        asked = dict(zip(demand.use.values.tolist(), demand.sum("time").values.tolist(), strict=True))
    weight, low, high, sources = [], [], [], []
    for use in uses:
        default = use.default
        if default is None or (default.low is None and default.high is None) or not default.value > 0:
            default = DEMAND_RANGE
        weight.append(asked.get(use.name, use.litres * use.count))
        low.append(min((default.value if default.low is None else default.low) / default.value, 1.0))
        high.append(max((default.value if default.high is None else default.high) / default.value, 1.0))
        sources.append(default.source)
    if not sum(weight) > 0:
        return _judged("demand", DEMAND_RANGE)
    return Range(
        "demand",
        float(np.average(low, weights=weight)),
        1.0,
        float(np.average(high, weights=weight)),
        _joined(sources),
    )
