"""Siting, the list of parts, and the upkeep calendar."""

from __future__ import annotations

import math
import operator
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass

import pandas as pd

from rainharvest.catchment.hydraulics import run_levels, total_length
from rainharvest.catchment.tables import Conveyance
from rainharvest.core.defaults import rows_of
from rainharvest.core.errors import require
from rainharvest.core.reader import MONTHS_SHORT
from rainharvest.siteworks.base import Base, Vessel
from rainharvest.siteworks.delivery import Tap
from rainharvest.siteworks.overflow import OverflowPipe
from rainharvest.siteworks.tables import DEFAULTS, FITTING_NAMES, SiteWorks
from rainharvest.siteworks.treatment import SOURCES, ChlorinePlan, air_gap

_SITING = rows_of("siteworks", "siting")

WALK_ROUND = 0.6

"""Own choice, m: between the tank and the nearest building."""


def check_list(arrangement: str, conveyance: str, pump: bool = False) -> tuple[str, ...]:
    """Return what to tick off on the site.

    >>> len(check_list("rain only", "dry")), len(check_list("combined", "wet", pump=True))
    (14, 18)
    """
    lists = _SITING["list"]
    for name, value in (("arrangement", arrangement), ("conveyance", conveyance)):
        one_of = f"choose one of {', '.join(lists[name])}"
        require(value in lists[name], f'"{value}" is not known', one_of, name)
    of_both = lists["conveyance"][conveyance] + lists["arrangement"][arrangement]
    return (*lists["everywhere"], *of_both, *(lists["pump"] if pump else ()))


def siting_checks(
    vessel: Vessel,
    site: SiteWorks,
    conveyance: Conveyance | None,
    flow: float,
    *,
    overflow_to: str = "soakaway",
) -> pd.DataFrame:
    """Return the levels and distances of a site, each against what it must be.

    >>> from rainharvest.siteworks.base import vessel_of
    >>> run = Conveyance(kind="dry", run=10, bore=100, outlet_level=3.0, inlet_level=2.1)
    >>> table = siting_checks(vessel_of(10_000), SiteWorks(soakaway_distance=6), run, 2.0)
    >>> table.fits.tolist()
    ['yes', 'yes', 'measure it', 'measure it', 'yes', 'measure it', 'measure it']
    """
    rows: list[tuple[str, str, str, str]] = []

    def add(name: str, found: str, fits: bool | None, **facts: object) -> None:
        check, asked = (_SITING["check"][name][key].format(**facts) for key in ("check", "asked"))
        rows.append((check, found, asked, "measure it" if fits is None else "yes" if fits else "no"))

    if conveyance is not None:
        levels = run_levels(conveyance, flow)
        words = "level left over the fall" if conveyance.kind == "dry" else "head left in the design storm"
        found = levels.answer or f"{levels.margin:.2f} m of {words}"
        add("run", found, not levels.answer and levels.margin >= 0, kind=conveyance.kind)
        gap = conveyance.inlet_level - vessel.overflow_mark
        add("inlet", f"{gap:.2f} m", gap > 0)
    clear = DEFAULTS["soakaway_distance"]
    size = min(vessel.tank_width, vessel.tank_length, vessel.height)
    distances = {
        "building": (site.building_distance, operator.ge, WALK_ROUND),
        "boundary": (site.boundary_distance, operator.gt, 0.0),
        "soakaway": (site.soakaway_distance, operator.ge, clear.value),
        "opening": (site.opening, operator.gt, size),
    }
    for name, (distance, holds, least) in distances.items():
        if name == "soakaway" and overflow_to != "soakaway":
            continue
        measured = distance is not None
        found = f"{distance:g} m" if measured else "not measured"
        add(name, found, holds(distance, least) if measured else None, least=least, source=clear.source)
    add("shade", {None: "not looked at", True: "yes", False: "no"}[site.shaded], site.shaded)
    return pd.DataFrame(rows, columns=["check", "found", "asked", "fits"])


@dataclass(frozen=True)
class Task:
    """One task of upkeep: a row of upkeep.toml."""

    task: str  # What is done
    months: int  # Every so many months
    source: str  # Where the interval comes from
    where: Sequence[str] = ()  # What must be there, all of it
    mind: str = ""  # The caution of that task: a key of `rainharvest.core.defaults.CAUTIONS`


TASKS = [Task(**row) for row in rows_of("siteworks", "upkeep")["task"]]


def upkeep_calendar(there: set[str], wet_month: int = 1) -> pd.DataFrame:
    """Return a year of upkeep of what is there: an x in each month in which a task falls due.

    Tasks of more than a month fall due in the month before the rains and every so many months after; tasks
    of more than a year in the first year.

    >>> year = upkeep_calendar({"roof"}, wet_month=5)
    >>> row = year[year.task.str.startswith("look at roof")].iloc[0]
    >>> [month for month in MONTHS_SHORT if row[month]]
    ['Apr', 'Oct']
    """
    require(wet_month in range(1, 13), f"{wet_month} is no month", "give one of 1 to 12", "wet_month")
    rows = []
    for task in TASKS:
        if there.issuperset(task.where):
            due = {(wet_month - 2 + k) % 12 for k in range(0, 12, task.months)}
            row = {"task": task.task} | {m: "x" if n in due else "" for n, m in enumerate(MONTHS_SHORT)}
            source = task.source.format(**SOURCES)
            rows.append(row | {"every": task.months, "source": source, "mind": task.mind})
    return pd.DataFrame(rows)


@dataclass(frozen=True)
class Part:
    """One part."""

    part: str  # What it is, by kind and size; the key under which its price is given
    quantity: float  # How much of it
    counted: str  # What is counted: "piece", "m", "m2", "m3"
    what_for: str = ""  # Its size and duty


_PARTS = rows_of("siteworks", "parts")


def price_parts(parts: Sequence[Part], prices: Mapping[str, float]) -> pd.DataFrame:
    """Return the list of parts with what each costs.

    >>> table = price_parts([Part("tap", 2, "piece")], {"tap": 15.0})
    >>> table.cost.tolist()
    [30.0]
    """
    table = pd.DataFrame(parts)
    price = [prices.get(name, math.nan) for name in table.part]
    return table.assign(price=price, cost=table.quantity * price)


def site_parts(
    vessel: Vessel,
    base: Base,
    *,
    overflow: OverflowPipe | None = None,
    overflow_run: float = 0.0,
    soakaway: tuple[float, float, float] | None = None,
    conveyance: Conveyance | None = None,
    roofs: int = 0,
    flush_litres: float = 0.0,
    tap: Tap | None = None,
    motor_size: float | None = None,
    vessel_volume: float | None = None,
    mains_bore: float | None = None,
    disinfect: str | None = None,
    chlorine: ChlorinePlan | None = None,
    arrangement: str = "rain only",
) -> list[Part]:
    """Return the parts of a site, by kind and size.

    >>> from rainharvest.siteworks.base import base_of, vessel_of
    >>> tank = vessel_of(10_000)
    >>> [part.part for part in site_parts(tank, base_of(tank))]
    ['tank', 'concrete', 'reinforcing mesh', 'gauge', 'overflow screen', 'warning sign']
    """
    many, run = vessel.tanks, conveyance
    facts: dict[str, object] = {
        "each": vessel.nominal / many,
        "shape": _PARTS["shape"][vessel.form],
        "height": vessel.height,
        "stand": base.stand,
        "flush_litres": flush_litres,
        "vessel_volume": vessel_volume,
        "sign": _PARTS["sign"][arrangement],
    }
    if chlorine is not None:
        facts |= asdict(chlorine)
    out = {}
    if run is not None:
        facts |= {"bore": run.bore, "kind": run.kind}
        out["pipe"] = total_length(run)
        out |= {f"pipe {name}": count for name, count in run.fittings.items() if name != "entrance"}
        out["low-point valve"] = int(run.kind == "wet")
    out["leaf screen"] = roofs
    out["first-flush diverter"] = roofs if flush_litres > 0 else 0
    out["tank"] = many
    out["concrete"] = many * base.slab_area * base.slab_thickness
    out["reinforcing mesh"] = many * base.slab_area if base.slab_thickness else 0
    out["stand"] = many if base.stand > 0 else 0
    out["link between tanks"] = many - 1
    out["gauge"] = 1
    if mains_bore is not None:
        facts |= {"mains_bore": mains_bore, "gap": air_gap(mains_bore)}
        out["float valve"] = 1
    if overflow is not None:
        facts["overflow_bore"] = overflow.overflow_bore
        out["overflow pipe"] = many * overflow.pipes * overflow_run
    out["overflow screen"] = many * (overflow.pipes if overflow else 1)
    if soakaway is not None:
        length, width, depth = soakaway
        out["clean stone"] = length * width * depth
        out["filter cloth"] = (2 * (length + width) * depth + 2 * length * width) if length else 0
    if tap is not None:
        facts["tap_bore"] = tap.tap_bore
        out |= {"tap": 1, "tap pipe": tap.tap_run}
    if motor_size is not None:
        facts["motor"] = "by an engineer" if math.isnan(motor_size) else f"{motor_size / 1000:g} kW"
        out["pump"] = 1
    out["pressure vessel"] = int(vessel_volume is not None)
    if disinfect is not None:
        out["filter housing"] = 3
        out["ultraviolet lamp"] = int(disinfect != "chlorine")
        out["sample tap"] = 1
    out["chlorine doser"] = int(chlorine is not None)
    out["contact tank"] = int(chlorine is not None and disinfect is not None)
    out["warning sign"] = 1
    return [_part(name, quantity, facts) for name, quantity in out.items() if quantity > 0]


def _part(name: str, quantity: float, facts: Mapping[str, object]) -> Part:
    row = _PARTS["part"]["pipe fitting" if name in FITTING_NAMES else name]
    return Part(name, float(quantity), row["counted"], row["what_for"].format(**facts))
