"""The kinds of use: litres each a day with their source, the quality they need, and what they are for.

Where a source gives a range, its upper end is the default: a demand that is too small hides failures.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from rainharvest.sources import Default

Quality = Literal["drinking", "washing", "flushing", "outdoor", "livestock"]
Days = Literal["all", "working", "term", "closed"]

QUALITIES: dict[str, str] = {
    "drinking": "drunk, cooked with, or used on patients",
    "washing": "on skin, clothes or dishes, not drunk",
    "flushing": "toilets, urinals and floors",
    "outdoor": "plants, vehicles and yards",
    "livestock": "drunk by animals",
}
"""The qualities of water, from the most to the least demanding for people."""

SPHERE_2011 = "Sphere handbook 2011, water supply standard 1, as quoted by the Open University (OpenLearn)"
SPHERE_2018 = "Sphere handbook 2018, appendix 3, from memory, not verified"
OFDA = "United States Field Operations Guide, chapter III, water"
WHO_HEALTH = (
    "Adams, Bartram and Chartier (WHO) 2008, Essential environmental health standards in health care, "
    "from memory, not verified"
)
WHO_SCHOOL = (
    "Adams, Bartram, Chartier and Sims (WHO, UNICEF) 2009, Water, sanitation and hygiene standards for "
    "schools in low-cost settings, from memory, not verified"
)
MSF = "MSF, Management of a cholera epidemic, section 7.4 (cites WHO 2013)"
UK_METHOD = (
    "United Kingdom government water-efficiency method for new dwellings (Approved Document G, appendix "
    "A), factors as printed on a building-regulation compliance form"
)
UK_FITTINGS = (
    "United Kingdom Water Supply (Water Fittings) Regulations 1999, schedule 2, as quoted in an "
    "installation requirement note: at most 7.5 L an hour to each urinal of a shared cistern; the 10 hours "
    "a day are an own choice"
)
UK_MEALS = "daily water usage chart of British practice, 7 L a restaurant meal, as quoted on a public page"
CAR_WASH = (
    "New England trade association of car washes, 15 US gallons at a self-service bay to 66 from a garden "
    "hose in 10 minutes, as quoted on a public page"
)
MOPPING = "own choice: a bucket of 10 L for 50 m2 of floor"
NO_SOURCE = "common practice, no source"


@dataclass(frozen=True)
class KindOfUse:
    """One kind of use.

    Parameters
    ----------
    meaning : str
        What it is, in words.
    counted : str
        "people" or "units".
    unit : str
        What is counted, one of them: "person", "patient a day", "head of cattle".
    litres : Default or None
        Litres each a day; None where no figure with a source is known, so that the user gives it.
    quality : str
        The quality of water that it needs.
    essential : bool
        Whether rationing spares it.
    days : str
        On which days it draws: all, working, term, closed.
    grows, seasonal, visited : bool
        Whether enrolment, the season's load and visitors change it.
    """

    meaning: str
    counted: Literal["people", "units"]
    unit: str
    litres: Default | None
    quality: Quality
    essential: bool
    days: Days = "all"
    grows: bool = True
    seasonal: bool = False
    visited: bool = False


def _a_day(value: float, source: str, kind: str, low: float | None = None) -> Default:
    return Default(value, "L/day", source, kind, low, None if low is None else value)


WC_VOLUME = Default(
    6.0, "L", "flush volume of cisterns since 2001, Waterwise 2006 as quoted by the BBC", "handbook"
)
"""Full flush of a modern cistern."""
FULL_FLUSHES = Default(1.46, "1/day", UK_METHOD, "standard")
"""Full flushes a person a day with a dual-flush cistern."""
PART_FLUSHES = Default(2.96, "1/day", UK_METHOD, "standard")
"""Part flushes a person a day with a dual-flush cistern."""
SINGLE_FLUSHES = Default(4.42, "1/day", UK_METHOD, "standard")
"""Flushes a person a day with a single-flush cistern."""
PART_VOLUME = Default(4.0, "L", NO_SOURCE, "common practice")
"""Part flush of a 6 and 4 litre cistern."""


def flush_litres(full_flush: float, part_flush: float | None = None) -> float:
    """Return what one person at home flushes in a day.

    Single flush: 4.42 V. Dual flush: 1.46 V_full + 2.96 V_part.

    Parameters
    ----------
    full_flush : float [L]
        Volume of a full flush.
    part_flush : float [L], optional
        Volume of a part flush; none for a single-flush cistern.

    Returns
    -------
    float [L/day]
        Litres a person a day.

    Raises
    ------
    InputError
        If a volume is not positive, or the part flush is larger than the full one.

    Notes
    -----
    Source: United Kingdom government water-efficiency method for new dwellings. The counts are of people
    at home all day; nothing here reduces them for a place of work.

    Examples
    --------
    >>> round(flush_litres(6, 4), 1), round(flush_litres(6), 2)
    (20.6, 26.52)
    """
    from rainharvest.errors import InputError

    if not 0 < full_flush <= 30:
        raise InputError(f"a full flush of {full_flush} L", "give a volume above 0 up to 30 L", "full_flush")
    if part_flush is None:
        return SINGLE_FLUSHES.value * full_flush
    if not 0 < part_flush <= full_flush:
        raise InputError(
            f"a part flush of {part_flush} L",
            f"give a volume above 0 and no larger than the full flush ({full_flush} L)",
            "part_flush",
        )
    return FULL_FLUSHES.value * full_flush + PART_FLUSHES.value * part_flush


def _person(meaning, litres, quality, essential, days="all", visited=True) -> KindOfUse:
    return KindOfUse(meaning, "people", "person", litres, quality, essential, days, visited=visited)


def _patient(meaning, unit, litres, counted="people", days="all") -> KindOfUse:
    return KindOfUse(meaning, counted, unit, litres, "drinking", True, days, grows=False, seasonal=True)


def _thing(meaning, unit, litres, quality, essential=False, days="all") -> KindOfUse:
    return KindOfUse(meaning, "units", unit, litres, quality, essential, days, grows=False)


KINDS: dict[str, KindOfUse] = {
    # ---- people at home or at work
    "drinking": _person("drinking and food", _a_day(3.0, SPHERE_2011, "handbook", 2.5), "drinking", True),
    "cooking": _person("cooking", _a_day(6.0, SPHERE_2011, "handbook", 3.0), "drinking", True),
    "hand_washing": _person(
        "hand-washing and basic hygiene", _a_day(6.0, SPHERE_2011, "handbook", 2.0), "washing", True
    ),
    "kitchen": _person(
        "kitchen of a canteen, one meal a day", _a_day(7.0, UK_MEALS, "common practice"), "drinking", True
    ),
    "laundry": _person(
        "laundry by machine",
        _a_day(round(8.17 * 2.1, 3), UK_METHOD, "standard"),
        "washing",
        False,
        visited=False,
    ),
    "dual_flush": _person(
        "dual-flush toilets, 6 and 4 L",
        _a_day(round(flush_litres(WC_VOLUME.value, PART_VOLUME.value), 3), UK_METHOD, "standard"),
        "flushing",
        False,
    ),
    "single_flush": _person(
        "single-flush toilets, 6 L",
        _a_day(round(flush_litres(WC_VOLUME.value), 3), UK_METHOD, "standard"),
        "flushing",
        False,
    ),
    "school_flush": _person(
        "flush toilets at a school, a person a school day",
        _a_day(20.0, WHO_SCHOOL, "from memory", 10.0),
        "flushing",
        False,
        "working",
    ),
    "pour_flush": _person(
        "pour-flush toilets, a person a day", _a_day(3.0, WHO_SCHOOL, "from memory", 1.5), "flushing", False
    ),
    "anal_washing": _person(
        "anal washing, a person a day", _a_day(2.0, WHO_SCHOOL, "from memory", 1.0), "washing", True
    ),
    "external": _person(
        "outdoor tap of a dwelling", _a_day(5.0, UK_METHOD, "standard"), "outdoor", False, visited=False
    ),
    # ---- schools
    "day_pupil": _person("day pupil", _a_day(5.0, WHO_SCHOOL, "from memory"), "drinking", True, "working"),
    "boarder": _person("boarder", _a_day(20.0, WHO_SCHOOL, "from memory"), "drinking", True, "term"),
    "school_staff": _person(
        "staff at a school", _a_day(5.0, WHO_SCHOOL, "from memory"), "drinking", True, "working"
    ),
    "resident_staff": _person(
        "staff who live at a school", _a_day(20.0, WHO_SCHOOL, "from memory"), "drinking", True
    ),
    # ---- health care
    "outpatient": _patient(
        "outpatient", "consultation a day", _a_day(5.0, WHO_HEALTH, "from memory"), days="working"
    ),
    "inpatient": _patient("inpatient", "occupied bed", _a_day(60.0, OFDA, "handbook", 40.0)),
    "delivery_or_theatre": _patient(
        "delivery or operation",
        "delivery or operation a day",
        _a_day(100.0, WHO_HEALTH, "from memory"),
        "units",
    ),
    "dry_feeding": _patient(
        "dry supplementary feeding",
        "consultation a day",
        _a_day(5.0, WHO_HEALTH, "from memory", 0.5),
        days="working",
    ),
    "wet_feeding": _patient(
        "wet supplementary feeding",
        "consultation a day",
        _a_day(15.0, WHO_HEALTH, "from memory"),
        days="working",
    ),
    "therapeutic_feeding": _patient(
        "inpatient therapeutic feeding", "occupied bed", _a_day(30.0, OFDA, "handbook")
    ),
    "cholera": _patient("cholera treatment centre", "patient", _a_day(60.0, MSF, "handbook")),
    "oral_rehydration": _patient("oral rehydration point", "patient a day", _a_day(10.0, MSF, "handbook")),
    "isolation": _patient(
        "isolation of respiratory disease", "occupied bed", _a_day(400.0, WHO_HEALTH, "from memory", 100.0)
    ),
    "haemorrhagic_isolation": _patient(
        "isolation of viral haemorrhagic fever",
        "occupied bed",
        _a_day(400.0, WHO_HEALTH, "from memory", 300.0),
    ),
    # ---- things and animals
    "urinal": _thing(
        "urinal, flushed by an automatic cistern",
        "bowl",
        _a_day(75.0, UK_FITTINGS, "standard"),
        "flushing",
        days="working",
    ),
    "cleaning": _thing(
        "mopping of floors", "m2 of floor", _a_day(0.2, MOPPING, "own choice"), "flushing", days="working"
    ),
    "vehicle_washing": _thing(
        "vehicle washing", "wash a day", _a_day(250.0, CAR_WASH, "common practice", 57.0), "outdoor"
    ),
    "pool": _thing(
        "pool top-up at a steady rate (by the weather: rainharvest.demand.pool)",
        "m2 of pool",
        None,
        "outdoor",
    ),
    "cattle": _thing("cattle", "head", _a_day(40.0, OFDA, "handbook", 20.0), "livestock", True),
    "small_stock": _thing(
        "sheep, goats and other small stock", "head", _a_day(5.0, OFDA, "handbook"), "livestock", True
    ),
    "garden": _thing(
        "garden at a steady rate (by the weather: rainharvest.demand.garden)", "m2 of bed", None, "outdoor"
    ),
    "other": _thing("anything else", "unit", None, "outdoor"),
}
"""Every kind of use that a study may name."""


def known_kinds() -> str:
    """Return the names of all kinds of use, for an error message."""
    return ", ".join(KINDS)
