"""What a study file says that is possible but unlikely: most often a slip of units.

Nothing here refuses for good: the author names the place under ``confirmed`` and the study runs.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from rainharvest.demand.fit_for_use import may_serve
from rainharvest.reader import US_UNITS, number
from rainharvest.study.file_mistakes import Mistake, studies_of, value_at

if TYPE_CHECKING:
    from rainharvest.study.file import Study


@dataclass(frozen=True)
class Likely:
    """The range in which a value of a building like a school or a clinic lies.

    Parameters
    ----------
    low, high : float
        The range.
    unit : str
        Its unit.
    """

    low: float
    high: float
    unit: str


LIKELY: dict[str, Likely] = {
    "roof.area": Likely(1, 20_000, "m2"),
    "roof.outlet_level": Likely(-20, 60, "m"),
    "roof.gutter_capacity": Likely(0.05, 200, "L/s"),
    "conveyance.run": Likely(0, 1_000, "m"),
    "conveyance.bore": Likely(20, 600, "mm"),
    "conveyance.outlet_level": Likely(-20, 60, "m"),
    "conveyance.inlet_level": Likely(-20, 60, "m"),
    "conveyance.filter_drop": Likely(0, 2, "m"),
    "losses.first_flush": Likely(0, 30, "mm"),
    "use.people": Likely(0.01, 50_000, "1"),
    "use.litres": Likely(0.1, 2_000, "L/day"),
    "garden.bed_area": Likely(0.5, 50_000, "m2"),
    "garden.root_depth": Likely(0.05, 2, "m"),
    "pool.pool_area": Likely(0.5, 5_000, "m2"),
    "tank.chosen": Likely(0, 10_000_000, "L"),
    "tank.sizes": Likely(0, 100_000_000, "L"),
}
"""Own choice, no source: beyond them a wrong unit is likelier than such a building."""


def unlikely_values(metric: dict, data: dict) -> list[Mistake]:
    """Return the values outside their likely range.

    Parameters
    ----------
    metric : dict
        The tables in metric units, options written out.
    data : dict
        The tables as the file has them, for the values that are shown.

    Returns
    -------
    list of Mistake
        Each of them a doubt.
    """
    us = data.get("units") == "us"
    out = []
    for start, tables in studies_of(metric):
        for name, likely in LIKELY.items():
            for loc, value in _values(tables, tuple(name.split(".")), ()):
                if likely.low <= value <= likely.high:
                    continue
                unit, factor = US_UNITS.get(likely.unit, (likely.unit, 1.0)) if us else (likely.unit, 1.0)
                unit = "" if unit == "1" else f" {unit}"
                given = value_at(data, (*start, *loc))
                given = value_at(data, loc) if given is None else given
                side, limit = ("above", likely.high) if value > likely.high else ("below", likely.low)
                problem = (
                    f"{number(given)}{unit} is {side} {number(limit / factor, 3)}{unit}, which is unlikely"
                )
                remedy = f"give it in{unit}" if unit else "check it"
                out.append(Mistake((*start, *loc), problem, remedy, doubt=True))
    return out


def too_small(study: Study) -> list[Mistake]:
    """Return the tanks that hold less than what is asked of them on a day on which every use draws.

    Parameters
    ----------
    study : Study
        The study; its options are looked at as well.

    Returns
    -------
    list of Mistake
        Each of them a doubt.
    """
    out = _too_small(study, ())
    for i, option in enumerate(study.option):
        out += _too_small(option.study, ("option", i, "study"))
    return out


def _too_small(study: Study, start: tuple) -> list[Mistake]:
    kind, tank = study.arrangement.kind, study.tank
    served = [use for use in study.use if kind != "rain only" or may_serve("rain only", use.quality)]
    day = sum(use.count * use.litres for use in served)
    unit, factor = US_UNITS["L"] if study.units == "us" else ("L", 1.0)
    out = []
    for key, nominal in (("chosen", tank.chosen), ("sizes", max(tank.sizes or (0,)))):
        if nominal and tank.usable(nominal) < day:
            held, asked = f"{number(nominal / factor)} {unit}", f"{number(day / factor, 3)} {unit}"
            problem = f"{held} hold less than the {asked} of one day's demand"
            out.append(
                Mistake((*start, "tank", key), problem, f"give {unit}, not thousands of them", doubt=True)
            )
    return out


def _values(data: object, path: tuple[str, ...], loc: tuple) -> list[tuple[tuple, float]]:
    """Return the numbers at a path, through lists of tables and lists of numbers, each with its place."""
    if isinstance(data, list):
        return [found for i, item in enumerate(data) for found in _values(item, path, (*loc, i))]
    if path:
        inside = data.get(path[0]) if isinstance(data, dict) else None
        return _values(inside, path[1:], (*loc, path[0]))
    return [(loc, float(data))] if isinstance(data, int | float) and not isinstance(data, bool) else []
