"""Siting, the list of parts, and the upkeep calendar."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from difflib import get_close_matches

import pandas as pd

from rainharvest.catchment.hydraulics import run_levels, total_length
from rainharvest.catchment.tables import FITTINGS, Conveyance
from rainharvest.core.errors import InputError
from rainharvest.siteworks.base import Base, Vessel
from rainharvest.siteworks.delivery import Tap
from rainharvest.siteworks.overflow import OverflowPipe
from rainharvest.siteworks.tables import NO_SOURCE, SOAKAWAY_DISTANCE
from rainharvest.siteworks.treatment import ENHEALTH, air_gap

ARRANGEMENT_LIST: dict[str, tuple[str, ...]] = {
    "mains reserve": (
        "the mains enter above the overflow through an air gap or an approved device, put in by a licensed plumber",
        "the float valve closes below the overflow, and its warning pipe ends where somebody sees it run",
        "the water passes through the tank and does not stand beside it: inlet and outlet at opposite ends",
        "whoever ties the reserve in can drain it, and bypass it while it is cleaned",
    ),
    "rain only": (
        "no pipe joins the tank to the mains, not even through a valve",
        "each tap says that its water is not for drinking, in words and by a picture",
        "the pipes have their own colour or tape from the tank to the last tap",
    ),
    "combined": (
        "the mains enter the tank above the overflow through an air gap, put in by a licensed plumber",
        "all water of the tank counts as rain: filters and disinfection stand between the tank and every tap",
        "a device against backflow stands at the meter where the rules ask for one",
        "a sample tap stands after the disinfection",
    ),
}

"""What to see to in each arrangement. Common practice, no source: local rules govern."""


CONVEYANCE_LIST: dict[str, tuple[str, ...]] = {
    "dry": (
        "the pipe falls all the way and has no sag where water would stand",
        "its brackets hold it full of water, though it never should be",
        "the filter or leaf screen can be reached from the ground or from a safe stand",
    ),
    "wet": (
        "the gutter outlets are the lowest opening, and stand above the tank inlet by the head that the storm needs",
        "every joint below the inlet is a pressure joint and was tested before it was buried",
        "the low point has a valve or a bleed that somebody can reach, with a place for its water to run",
        "both ends are screened against mosquitoes; the pipe lies below frost and clear of cables and roots",
    ),
    "none": ("the downpipe ends in the tank: its screen can be reached and cleaned",),
}

"""What to see to of each conveyance. Common practice, no source: local rules govern."""


SITE_LIST: tuple[str, ...] = (
    "the ground is natural, level, drained and dug into: not fill, peat or clay that swells",
    "a lorry or four people can bring the tank to its place, and somebody can take it away again",
    "shade keeps the water cool, but no branches hang over the roof that feeds it",
    "the boundary, the neighbour's wall and the drains are as far off as the local rules ask",
    "no wall, septic tank, soakaway or slope stands within the depth to which the base presses",
    "the lid can be reached and locked; no child can climb to it",
    "a person can walk round the tank to look for leaks",
    "cables overhead and underground were looked for before anybody digs or lifts",
)

"""What to look at on every site. Common practice, no source."""


@dataclass(frozen=True)
class Distances:
    """What was measured on the site, from the edge of the tank; None where nobody has."""

    building_distance: float | None = None  # [m] To the nearest building
    boundary_distance: float | None = None  # [m] To the boundary
    soakaway_distance: float | None = None  # [m] From the soakaway to the nearest building or boundary
    opening: float | None = None  # [m] Narrowest opening on the way in
    shaded: bool | None = None  # Whether it stands in the shade at noon


def check_list(arrangement: str, conveyance: str, pump: bool = False) -> tuple[str, ...]:
    """Return what to tick off on the site.

    >>> len(check_list("rain only", "dry")), len(check_list("combined", "wet", pump=True))
    (14, 18)
    """
    for name, value, known in (
        ("arrangement", arrangement, ARRANGEMENT_LIST),
        ("conveyance", conveyance, CONVEYANCE_LIST),
    ):
        if value not in known:
            raise InputError(f'"{value}" is not known', f"choose one of {', '.join(known)}", name)
    more = (
        "the pump stands dry, shaded, bolted down, above any flood, with an earth-leakage switch of its own",
        "it stops before it runs dry, and somebody has tried that",
    )
    return (*SITE_LIST, *CONVEYANCE_LIST[conveyance], *ARRANGEMENT_LIST[arrangement], *(more if pump else ()))


def siting_checks(
    vessel: Vessel,
    floor_height: float,
    conveyance: Conveyance | None,
    flow: float,
    *,
    distances: Distances,
    overflow_to: str = "soakaway",
) -> pd.DataFrame:
    """Return the levels and distances of a site, each against what it must be.

    >>> from rainharvest.siteworks.base import vessel_of
    >>> run = Conveyance(kind="dry", run=10, bore=100, outlet_level=3.0, inlet_level=2.1)
    >>> table = siting_checks(vessel_of(10_000), 0.1, run, 2.0, distances=Distances(soakaway_distance=6))
    >>> table.fits.tolist()
    ['yes', 'yes', 'measure it', 'measure it', 'yes', 'measure it', 'measure it']
    """
    rows: list[tuple[str, str, str, str]] = []

    def add(check: str, found: str, asked: str, fits: bool | None) -> None:
        rows.append((check, found, asked, "measure it" if fits is None else "yes" if fits else "no"))

    if conveyance is not None:
        levels = run_levels(conveyance, flow)
        words = "level left over the fall" if conveyance.kind == "dry" else "head left in the design storm"
        add(
            f"{conveyance.kind} run from the gutter to the tank",
            levels.answer or f"{levels.margin:.2f} m of {words}",
            "0 m or more",
            not levels.answer and levels.margin >= 0,
        )
        gap = conveyance.inlet_level - vessel.overflow_mark
        add(
            "inlet above the overflow",
            f"{gap:.2f} m",
            "above 0 m, or a full tank backs up into the run",
            gap > 0,
        )
    near = distances.building_distance
    add(
        "tank clear of the nearest building",
        "not measured" if near is None else f"{near:g} m",
        "room to walk round it (0.6 m, own choice); its base must not press on a footing",
        None if near is None else near >= 0.6,
    )
    boundary = distances.boundary_distance
    add(
        "tank clear of the boundary",
        "not measured" if boundary is None else f"{boundary:g} m",
        "what the local rules ask",
        None if boundary is None else boundary > 0,
    )
    if overflow_to == "soakaway":
        far = distances.soakaway_distance
        add(
            "soakaway clear of buildings and boundary",
            "not measured" if far is None else f"{far:g} m",
            f"{SOAKAWAY_DISTANCE.value:g} m or more ({SOAKAWAY_DISTANCE.source})",
            None if far is None else far >= SOAKAWAY_DISTANCE.value,
        )
    size = min(vessel.tank_width, vessel.tank_length, vessel.height)
    opening = distances.opening
    add(
        "way in for the tank",
        "not measured" if opening is None else f"{opening:g} m",
        f"more than {size:.1f} m, the least side of one tank, unless it is built on the spot",
        None if opening is None else opening > size,
    )
    add(
        "shade at noon",
        "not looked at" if distances.shaded is None else "yes" if distances.shaded else "no",
        "shade, or a light colour and an opaque wall",
        distances.shaded,
    )
    return pd.DataFrame(rows, columns=["check", "found", "asked", "fits"])


NOTICE = "an Australian health district's public notice"

MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


@dataclass(frozen=True)
class Task:
    """One task of upkeep."""

    task: str  # What is done
    months: int  # Every so many months
    source: str  # Where the interval comes from
    # Parts that must be there: "roof", "wet run", "pump", "lamp", "chlorine", "filters", "mains"; all of them
    where: tuple[str, ...] = ()
    mind: str = ""  # The caution of that task: a key of `rainharvest.core.defaults.CAUTIONS`


TASKS: tuple[Task, ...] = (
    Task("empty the first-flush space and clear it of debris; again after each storm", 1, NOTICE, ("roof",)),
    Task("read the gauge, look at the water, smell it, write both down", 1, NO_SOURCE),
    Task("flush the low point of the wet run", 1, NO_SOURCE, ("wet run",)),
    Task("look at roof and gutters from a safe stand, and clean them", 6, ENHEALTH, ("roof",), "roof work"),
    Task("clean and mend leaf screens, inlet mesh and overflow mesh", 6, ENHEALTH, (), "mosquitoes"),
    Task(
        "look into the tank from outside for animals, larvae, green growth; close what let them in",
        6,
        ENHEALTH,
        (),
        "confined space",
    ),
    Task("look at tank, lid, base and pipes for cracks, holes and movement", 6, ENHEALTH, (), "weight"),
    Task("cut branches back from the roof", 6, NOTICE, ("roof",), "roof work"),
    Task("pour water into the overflow and watch it go where it should", 6, NO_SOURCE, (), "overflow"),
    Task(
        "change the cartridges of the sediment and carbon filters, sooner if the pressure falls",
        6,
        NO_SOURCE,
        ("filters",),
    ),
    Task(
        "run the pump dry-running switch, the earth-leakage switch and the starts an hour",
        12,
        NO_SOURCE,
        ("pump",),
        "electricity",
    ),
    Task(
        "change the ultraviolet lamp, clean its sleeve",
        12,
        f"about 9,000 hours of lamp life; {NO_SOURCE}",
        ("lamp",),
        "electricity",
    ),
    Task("test the strength of the chlorine in store", 3, NO_SOURCE, ("chlorine",)),
    Task(
        "test the backflow device or measure the air gap; dye test for cross-connection",
        12,
        NO_SOURCE,
        ("mains",),
        "backflow",
    ),
    Task(
        "measure the sludge on the floor; where it covers the floor, have it taken out",
        24,
        f"{NOTICE}: at least every 2 to 3 years",
        (),
        "confined space",
    ),
)

"""Every task, the most frequent first within its kind. An interval is a beginning: shorten it by what is found."""


def upkeep_tasks(parts: set[str]) -> tuple[Task, ...]:
    """Return the tasks of a site with these parts.

    >>> len(upkeep_tasks(set())), len(upkeep_tasks({"pump"}))
    (6, 7)
    """
    return tuple(task for task in TASKS if set(task.where) <= parts)


def upkeep_calendar(parts: set[str], wet_month: int = 1) -> pd.DataFrame:
    """Return a year of upkeep: an x in each month in which a task falls due.

    Tasks of more than a month fall due in the month before the rains and every so many months after; tasks
    of more than a year in the first year.

    >>> year = upkeep_calendar({"roof"}, wet_month=5)
    >>> row = year[year.task.str.startswith("look at roof")].iloc[0]
    >>> [month for month in MONTHS if row[month]]
    ['Apr', 'Oct']
    """
    if wet_month not in range(1, 13):
        raise InputError(f"{wet_month} is no month", "give one of 1 to 12", "wet_month")
    rows = []
    for task in upkeep_tasks(parts):
        due = {(wet_month - 2 + k) % 12 for k in range(0, 12, task.months)}
        row = {"task": task.task} | {month: "x" if n in due else "" for n, month in enumerate(MONTHS)}
        rows.append(row | {"every": task.months, "source": task.source, "mind": task.mind})
    return pd.DataFrame(rows)


@dataclass(frozen=True)
class Part:
    """One part."""

    part: str  # What it is, by kind and size; the key under which its price is given
    quantity: float  # How much of it
    counted: str  # What is counted: "piece", "m", "m2", "m3"
    what_for: str = ""  # Its size and duty


PART_NAMES: tuple[str, ...] = (
    "pipe",
    *(f"pipe {name}" for name in FITTINGS if name != "entrance"),
    "low-point valve",
    "leaf screen",
    "first-flush diverter",
    "tank",
    "concrete",
    "reinforcing mesh",
    "stand",
    "link between tanks",
    "gauge",
    "float valve",
    "overflow pipe",
    "overflow screen",
    "clean stone",
    "filter cloth",
    "tap",
    "tap pipe",
    "pump",
    "pressure vessel",
    "filter housing",
    "ultraviolet lamp",
    "chlorine doser and contact tank",
    "sample tap",
    "warning sign",
)

"""Every part that a site can have, in the order of the water."""


def price_parts(parts: list[Part], prices: Mapping[str, float]) -> pd.DataFrame:
    """Return the list of parts with what each costs.

    >>> table = price_parts([Part("tap", 2, "piece")], {"tap": 15.0})
    >>> table.cost.tolist()
    [30.0]
    """
    for name, price in prices.items():
        if name not in PART_NAMES:
            near = get_close_matches(name, PART_NAMES, 1)
            raise InputError(
                f'no part is called "{name}"',
                f"did you mean {near[0]}?" if near else f"use one of {', '.join(PART_NAMES)}",
                f"prices.{name}",
            )
        if not 0 <= price < math.inf:
            raise InputError(f"a price of {price:g}", "give zero or more", f"prices.{name}")
    rows = [
        {
            "part": part.part,
            "quantity": part.quantity,
            "counted": part.counted,
            "what_for": part.what_for,
            "price": prices.get(part.part, math.nan),
            "cost": part.quantity * prices.get(part.part, math.nan),
        }
        for part in parts
        if part.quantity > 0
    ]
    return pd.DataFrame(rows)


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
) -> list[Part]:
    """Return the parts of a site, by kind and size.

    >>> from rainharvest.siteworks.base import base_of
    >>> from rainharvest.siteworks.base import vessel_of
    >>> tank = vessel_of(10_000)
    >>> [part.part for part in site_parts(tank, base_of(tank))]
    ['tank', 'concrete', 'reinforcing mesh', 'gauge', 'overflow screen', 'warning sign']
    """
    number, out = vessel.tanks, []
    each = vessel.nominal / number
    shape = {
        "upright": "upright, round",
        "horizontal": "on its side, in cradles",
        "rectangular": "rectangular",
    }
    if conveyance is not None:
        out.append(
            Part("pipe", total_length(conveyance), "m", f"{conveyance.bore:g} mm bore, {conveyance.kind} run")
        )
        out += [
            Part(f"pipe {name}", count, "piece", f"{conveyance.bore:g} mm")
            for name, count in conveyance.fittings.items()
            if name != "entrance"
        ]
        if conveyance.kind == "wet":
            out.append(Part("low-point valve", 1, "piece", "to flush and to drain the run"))
    if roofs:
        out.append(Part("leaf screen", roofs, "piece", "one at each roof's downpipe, more if it has more"))
    if flush_litres > 0:
        out.append(
            Part("first-flush diverter", roofs, "piece", f"{flush_litres:,.0f} L in all, by roof area")
        )
    out.append(
        Part(
            "tank",
            number,
            "piece",
            f"{each:,.0f} L, {shape[vessel.form]}, {vessel.height:.2f} m high, opaque",
        )
    )
    out.append(Part("concrete", number * base.slab_area * base.slab_thickness, "m3", "slab under each tank"))
    out.append(
        Part("reinforcing mesh", number * base.slab_area if base.slab_thickness else 0.0, "m2", "in the slab")
    )
    if base.stand > 0:
        out.append(Part("stand", number, "piece", f"{base.stand:g} m high, to an engineer's design"))
    if number > 1:
        out.append(Part("link between tanks", number - 1, "piece", "at the floor, with a valve each"))
    out.append(Part("gauge", 1, "piece", f"0 to {vessel.height:.2f} m, marked at outlet and overflow"))
    if mains_bore is not None:
        out.append(
            Part(
                "float valve",
                1,
                "piece",
                f"{mains_bore:g} mm, above an air gap of {air_gap(mains_bore):g} mm",
            )
        )
    if overflow is not None:
        out.append(
            Part(
                "overflow pipe",
                number * overflow.pipes * overflow_run,
                "m",
                f"{overflow.overflow_bore:g} mm bore",
            )
        )
    out.append(
        Part("overflow screen", number * (overflow.pipes if overflow else 1), "piece", "mesh of about 1 mm")
    )
    if soakaway is not None:
        length, width, depth = soakaway
        out.append(Part("clean stone", length * width * depth, "m3", "fill of the soakaway"))
        walls = 2 * (length + width) * depth + 2 * length * width
        out.append(Part("filter cloth", walls if length else 0.0, "m2", "round the fill, without laps"))
    if tap is not None:
        out.append(Part("tap", 1, "piece", f"{tap.tap_bore:g} mm, lockable, labelled"))
        out.append(Part("tap pipe", tap.tap_run, "m", f"{tap.tap_bore:g} mm bore"))
    if motor_size is not None:
        size = "by an engineer" if math.isnan(motor_size) else f"{motor_size / 1000:g} kW"
        out.append(Part("pump", 1, "piece", f"motor {size}, dry-running switch, earth-leakage switch"))
    if vessel_volume is not None:
        out.append(Part("pressure vessel", 1, "piece", f"{vessel_volume:,.0f} L"))
    if disinfect is not None:
        out.append(Part("filter housing", 3, "piece", "20 and 5 micrometres, carbon"))
        if disinfect in ("ultraviolet", "both"):
            out.append(Part("ultraviolet lamp", 1, "piece", "40 mJ/cm2 at the peak flow, with an alarm"))
        if disinfect in ("chlorine", "both"):
            out.append(Part("chlorine doser and contact tank", 1, "piece", "30 minutes at the peak flow"))
        out.append(Part("sample tap", 1, "piece", "after the disinfection"))
    out.append(Part("warning sign", 1, "piece", "not for drinking, confined space, keep locked"))
    return [part for part in out if part.quantity > 0]
