"""Siting, the list of parts, and the upkeep calendar."""

from __future__ import annotations

import math
import operator
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import pandas as pd

from rainharvest.catchment.hydraulics import TOLERANCE, Levels, total_length
from rainharvest.catchment.tables import FALL, TRADE_SIZES
from rainharvest.core.defaults import rows_of
from rainharvest.core.reader import MONTHS_SHORT, measure, number
from rainharvest.siteworks.base import Vessel
from rainharvest.siteworks.tables import DEFAULTS, FITTING_NAMES, PART_NAMES, SiteWorks
from rainharvest.siteworks.treatment import rows_there
from rainharvest.sizing.tables import Costs

if TYPE_CHECKING:
    from rainharvest.siteworks.works import Works

_SITING, TASKS = rows_of("siteworks", "siting"), rows_of("siteworks", "upkeep")["task"]

WALK_ROUND = 0.6

"""Own choice, m: between the tank and the nearest building."""


def check_list(there: set[str], name: str = "tick") -> tuple[str, ...]:
    """Return what to tick off of what is there: before anybody digs ("tick"), or on the last day ("handover").

    >>> len(check_list({"rain only", "not for drinking"})), len(check_list({"combined", "disinfected", "wet run"}))
    (11, 15)
    """
    return tuple(row["text"] for row in rows_there(_SITING[name], there))


def siting_checks(vessel: Vessel, site: SiteWorks, levels: Levels | None, rain: bool) -> pd.DataFrame:
    """Return the levels and distances of a site, each against what it must be, by the name of its row of siting.toml.

    >>> from rainharvest.catchment.hydraulics import run_levels
    >>> from rainharvest.catchment.tables import Conveyance
    >>> from rainharvest.siteworks.base import vessel_of
    >>> run = run_levels(Conveyance(kind="dry", run=10, bore=100, outlet_level=3.0, inlet_level=2.1), 2.0)
    >>> table = siting_checks(vessel_of(10_000), SiteWorks(soakaway_distance=6), run, rain=True)
    >>> table.fits.tolist()
    ['yes', 'yes', 'measure it', 'measure it', 'yes', 'measure it', 'measure it']
    """
    rows: dict[str, tuple[str, str, str, str]] = {}

    def add(name: str, found: str, fits: bool | None, **facts: object) -> None:
        facts |= {"none": measure(0.0, "m")}
        check, asked = (_SITING["check"][name][key].format(**facts) for key in ("check", "asked"))
        rows[name] = check, found, asked, "measure it" if fits is None else "yes" if fits else "no"

    overflow_to = site.overflow_to if rain else ""
    if levels is not None:
        conveyance, short = levels.conveyance, levels.margin < 0
        dry = conveyance.kind == "dry"
        words = f"{'level' if dry else 'head'} {'too little' if short else 'left'}"
        words += " over the fall" if dry else " in the design storm"
        found = levels.answer or f"{measure(abs(levels.margin), 'm', 3)} of {words}"
        add("run", found, not levels.answer and levels.margin >= 0, kind=conveyance.kind)
        gap = conveyance.inlet_level - vessel.overflow_mark
        add("inlet", measure(gap, "m", 3), gap > 0)
    clear = DEFAULTS["soakaway_clear"]
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
        found = measure(distance, "m", 3) if measured else "not measured"
        asks = {"least": measure(least, "m", 3), "source": clear.source}
        add(name, found, holds(distance, least) if measured else None, **asks)
    if overflow_to and (site.buried or site.overflow_end is not None):
        ends = site.floor_height + vessel.overflow_mark - FALL.value * site.overflow_run
        asked = (
            (ends if overflow_to == "soakaway" else 0.0) if site.overflow_end is None else site.overflow_end
        )
        short = ends - asked < -TOLERANCE
        left = measure(abs(ends - asked), "m", 3)
        add("runs off", f"{left} {'too low' if short else 'of level left'}", not short)
    if overflow_to == "soakaway" and (site.buried or site.groundwater is not None):
        pipe = min(site.floor_height + vessel.overflow_mark - FALL.value * site.overflow_run, 0.0)
        least, water = DEFAULTS["groundwater_clear"].value, site.groundwater
        left = None if water is None else water + pipe - site.soakaway_depth
        found = "not measured" if left is None else measure(left, "m", 3)
        enough = None if left is None else left >= least - TOLERANCE
        add("groundwater", found, enough, least=measure(least, "m", 3))
    if not site.buried:
        add("shade", {None: "not looked at", True: "yes", False: "no"}[site.shaded], site.shaded)
    return pd.DataFrame.from_dict(rows, "index", columns=["check", "found", "asked", "fits"])


def upkeep_calendar(there: set[str], wet_month: int = 1) -> pd.DataFrame:
    """Return a year of upkeep of what is there: an x in each month in which a task falls due.

    Tasks of more than a month fall due in the month before the rains and every so many months after; tasks
    of more than a year in the first year.

    >>> year = upkeep_calendar({"roof"}, wet_month=5)
    >>> row = year[year.task.str.startswith("look at roof")].iloc[0]
    >>> [month for month in MONTHS_SHORT if row[month]]
    ['Apr', 'Oct']
    """
    rows = []
    for task in rows_there(TASKS, there):
        every = task["months"]
        due = {(wet_month - 2 + k) % 12 for k in range(0, 12, every)}
        row = {"task": task["task"]} | {m: "x" if n in due else "" for n, m in enumerate(MONTHS_SHORT)}
        rows.append(row | {"every": every, "source": task["source"], "mind": task.get("mind", "")})
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


TANK, LINK = "tank", "link between tanks"


def priced_by_costs(costs: Costs, nominal: float, many: int, bought: dict) -> dict[str, float]:
    """Return the prices of one piece that a table of costs, or a catalogue, gives to parts on the list."""
    out = {part.name: part.price(nominal) for part in costs.part if part.name in PART_NAMES}
    if "tank_price" in bought:
        link = bought["link_price"]
        out |= {TANK: (bought["tank_price"] - link * (many - 1)) / many, LINK: link}
    elif costs.per_litre:
        out[TANK] = costs.per_litre * nominal / many
    return out


SMALL_SIZES = {"metric": (15.0, 20.0, 25.0), "us": (12.7, 19.05, 25.4)}

"""Trade sizes below those of a run of pipe, mm. Common practice, no source."""


def trade_bores(bore: float, units: str = "metric") -> tuple[float, ...]:
    """Return the trade sizes no narrower than a bore, but for a twentieth: the first is that by which it is bought.

    >>> trade_bores(160.0)
    (200.0, 250.0, 300.0)
    """
    return tuple(one for one in SMALL_SIZES[units] + TRADE_SIZES[units] if one >= 0.95 * bore)


def trade_size(bore: float, units: str = "metric") -> str:
    """Return the name of the least trade size no narrower than a bore, but for a twentieth: DN 20 is 3/4 in.

    >>> trade_size(96.0), trade_size(100, "us"), trade_size(20.0), trade_size(20.0, "us")
    ('DN 100', '4 in', 'DN 20', '0.75 in')
    """
    size = next(iter(trade_bores(bore, units)), None)
    if size is None:
        return "made to order"
    return f"DN {number(size)}" if units == "metric" else f"{number(size / 25.4)} in"


def site_parts(works: Works) -> list[Part]:
    """Return the parts of a site, by kind and size: the rows of parts.toml of which there is any."""
    site, vessel, base, tap, pump = works.site, works.vessel, works.base, works.tap, works.pump
    overflow, given, there, dosed = works.overflow, works.given, works.there, works.chlorine
    many, catchment, run, units = vessel.tanks, given.catchment, given.conveyance, given.units
    says = "rain only" if "not for drinking" in there else given.arrangement
    roofs = catchment.roofs if catchment else ()
    sides = ("pump" in there) + ("surface pump" in there)  # of the pump that can be reached
    motor = pump.duty.motor_size if pump else math.nan
    dug = works.soakaway is not None and site.overflow_to == "soakaway"
    long = float(works.soakaway.soakaway_length) if dug else 0.0
    wide, deep = site.soakaway_width, site.soakaway_depth
    flush = catchment.first_flush * sum(roof.area for roof in roofs) if catchment else 0.0
    lengths = {"height": vessel.height, "stand": base.stand}
    lengths |= {"tap_height": tap.tap_height, "bucket_height": site.bucket_height}
    bores = {"mains_bore": site.mains_bore, "tap_bore": tap.tap_bore, "gap": works.air_gap()}
    bores |= {"bore": run.bore} if run else {}
    bores |= {"overflow_bore": overflow.overflow_bore} if overflow else {}
    litres = {"each": vessel.nominal / many, "flush": flush}
    litres |= {"vessel_volume": pump.vessel_volume} if pump else {}
    if dosed:
        litres |= {"contact_tank": dosed.contact_tank, "baffled_tank": dosed.baffled_tank}
        bores["contact_bore"] = dosed.contact_bore
    facts = {
        **{name: measure(length, "m", 3) for name, length in lengths.items()},
        **{name: measure(bore, "mm") for name, bore in bores.items()},
        **{name: measure(round(volume), "L") for name, volume in litres.items()},
        "outlet": measure(vessel.outlet_mark, "m", 2),
        "mesh": measure(1.0, "mm", 2),
        "contact_pipe": measure(round(dosed.contact_pipe), "m") if dosed else "",
        "anchor": measure(round(site.anchor_mass), "kg"),
        "run": run,
        "dose": number(dosed.dose, 2) if dosed else "",
        "grams": number(dosed.chlorine, 2) if dosed else "",
        "beside": f"beside the {'change-over valve' if given.change_over else 'air gap'}",
        "bucket": "stands under it" if works.bucket_fits else "is too high for it",
        "motor": "by an engineer" if math.isnan(motor) else f"{number(motor / 1000)} kW",
        "size": trade_size(run.bore, units) if run else "",
        "mains_size": trade_size(site.mains_bore, units),
        "tap_size": trade_size(tap.tap_bore, units),
        "pump_size": trade_size(site.pump.pipe_bore, units) if site.pump else "",
        "pump_side": "after" if sides == 1 else "on both sides of",
        "overflow_size": trade_size(overflow.overflow_bore, units) if overflow else "",
        "shape": _PARTS["shape"][vessel.form],
        "sign": _PARTS["sign"][says],
        "label": _PARTS["label"][says],
    }
    much = {
        "one": 1,
        "tanks": many,
        "links": many - 1,
        "pipe": total_length(run) if run else 0,
        "downpipes": max(len(roofs), run.downpipes if run else 0),
        "valves": many + sides + ("mains" in there),
        "sides": sides,
        "anchors": many if site.anchor_mass else 0,
        "concrete": many * base.slab_area * base.slab_thickness,
        "slab": many * base.slab_area if base.slab_thickness else 0,
        "overflow": many * overflow.pipes * site.overflow_run if overflow else 0,
        "overflows": many * (overflow.pipes if overflow else 1),
        "stone": long * wide * deep,
        "cloth": 2 * (long + wide) * deep + 2 * long * wide if long else 0,
        "tap run": tap.tap_run,
        "housings": 3,
    }
    out = []
    for name, row in _PARTS["part"].items():
        if name == "pipe fitting":
            counts = {f"pipe {fitting}": n for fitting, n in run.fittings.items()} if run else {}
            rows = {fitting: n for fitting, n in counts.items() if fitting in FITTING_NAMES}
        else:
            rows = {name: much[row["quantity"]] if there.issuperset(row.get("where", ())) else 0}
        found = [(part, quantity) for part, quantity in rows.items() if quantity > 0]
        out += [Part(part, float(q), row["counted"], row["what_for"].format(**facts)) for part, q in found]
    return out
