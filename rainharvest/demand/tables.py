"""The tables of the study file on demand: kinds of use, uses, calendar, garden, pool, weather."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import xarray as xr
from pydantic import BaseModel, ConfigDict, Field, ValidationInfo, field_validator

from rainharvest.core.defaults import Default
from rainharvest.core.errors import InputError
from rainharvest.core.quantities import attributes
from rainharvest.core.tables import quantity
from rainharvest.demand.periods import WEEKDAYS, _rules, as_days, check_rule, weekday

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
    """One kind of use."""

    meaning: str  # What it is, in words
    counted: Literal["people", "units"]  # "people" or "units"
    unit: str  # What is counted, one of them: "person", "patient a day", "head of cattle"
    # Litres each a day; None where no figure with a source is known, so that the user gives it
    litres: Default | None
    quality: Quality  # The quality of water that it needs
    essential: bool  # Whether rationing spares it
    days: Days = "all"  # On which days it draws: all, working, term, closed
    grows: bool = True  # Whether enrolment, the season's load and visitors change it
    seasonal: bool = False  # Whether enrolment, the season's load and visitors change it
    visited: bool = False  # Whether enrolment, the season's load and visitors change it


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

    Source: United Kingdom government water-efficiency method for new dwellings. The counts are of people
    at home all day; nothing here reduces them for a place of work.

    >>> round(flush_litres(6, 4), 1), round(flush_litres(6), 2)
    (20.6, 26.52)
    """
    from rainharvest.core.errors import InputError

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
        "pool top-up at a steady rate (by the weather: rainharvest.demand.garden)",
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


class Visit(BaseModel):
    """People who come on some days in addition to those who are always there."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    people: float = quantity("1", "How many come on each of these days.", gt=0, le=1e6, allow_inf_nan=False)
    days: tuple[str, ...] = Field(
        min_length=1,
        description='Rules for the days (see `rainharvest.demand.periods.check_rule`), for example ["sat", "sun"] or ["07-01 to 08-31"].',
    )

    _spelled = field_validator("days", mode="before")(_rules)


class Calendar(BaseModel):
    """The days on which a building is used, and by how many.

    A working day is one of the working days of the week, in term, and not a holiday. Term is the whole
    year where no terms are given.

    >>> school = Calendar(holidays=["12-15 to 01-10", "easter-2 to easter+1"])
    >>> school.working_days
    ('mon', 'tue', 'wed', 'thu', 'fri')
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    working_days: tuple[str, ...] = Field(
        WEEKDAYS[:5],
        min_length=1,
        description='Days of the week: "mon" to "sun". Monday to Friday by default.',
    )
    terms: tuple[str, ...] = Field(
        (),
        description='Spans in which the building is open, by rule ("09-01 to 12-14" every year) or by date ("2026-09-07 to 2026-12-11"); the whole year by default.',
    )
    holidays: tuple[str, ...] = Field(
        (),
        description='Days and spans in which it is closed, likewise; also "last mon of 08" and "easter-2".',
    )
    growth: float = quantity(
        "1/year",
        "Growth of enrolment: 0.02 is 2 % more people in each year than in the one before. It goes in yearly steps, from the year in which the series begins.",
        0.0,
        ge=-0.5,
        le=0.5,
        allow_inf_nan=False,
    )
    growth_month: int = quantity("1", "Month in which each step is taken.", 1, ge=1, le=12)
    growth_years: int | None = quantity(
        "year",
        "After how many steps enrolment stays as it is; by default it never does.",
        None,
        ge=0,
        le=1000,
    )
    seasonal: tuple[float, ...] = quantity(
        "1",
        "Load of each month, January first, as a multiple of the ordinary load, for the uses that follow the season (patients at a clinic).",
        (1.0,) * 12,
        min_length=12,
        max_length=12,
    )
    visits: tuple[Visit, ...] = Field(
        (), description="Visiting population, for the uses that visitors share."
    )

    _spelled = field_validator("terms", "holidays", mode="before")(_rules)

    @field_validator("working_days", mode="before")
    @classmethod
    def _known_weekdays(cls, values: object) -> object:
        several = values if isinstance(values, list | tuple) else [values]
        plain = [weekday(v) for v in several]
        if len(set(plain)) < len(plain):
            raise InputError("a day of the week is named twice", "name each day once")
        return tuple(plain)

    @field_validator("seasonal")
    @classmethod
    def _sane_loads(cls, values: tuple[float, ...]) -> tuple[float, ...]:
        if not all(0 <= v <= 10 for v in values):
            raise InputError("a month's load is below 0 or above 10", "give loads like 0.8 or 1.3")
        return values


class Use(BaseModel):
    """One use of water: how many draw how much, on which days, and whether it can wait.

    What is left out comes from the table of kinds (`rainharvest.demand.tables.KINDS`).

    >>> use = Use(name="pupils' toilets", kind="school_flush", people=120)
    >>> use.litres, use.quality, use.essential, use.days
    (20.0, 'flushing', False, 'working')
    """

    model_config = ConfigDict(frozen=True, extra="forbid", validate_default=True)

    name: str = Field(min_length=1, max_length=80, description="The name that tables and figures show.")
    kind: str = Field(description='A kind of the table, for example "dual_flush" or "outpatient".')
    people: float | None = quantity(
        "1",
        "How many people draw on an ordinary day, for kinds counted by people.",
        None,
        gt=0,
        le=1e6,
        allow_inf_nan=False,
        likely=(0.01, 50000),
    )
    units: float | None = quantity(
        "1",
        "How many things draw, for kinds counted by units (animals, washes, square metres of floor).",
        None,
        gt=0,
        le=1e6,
        allow_inf_nan=False,
    )
    source: str = Field("", description="Where that figure comes from; filled in where it is the table's.")
    litres: float = quantity(
        "L/day",
        "What each of them draws on a day of use.",
        None,
        gt=0,
        le=1e5,
        allow_inf_nan=False,
        likely=(0.1, 2000),
    )
    essential: bool = Field(None, description="Whether rationing spares it.")
    quality: Quality = Field(
        None, description="The quality that it needs: drinking, washing, flushing, outdoor, livestock."
    )
    days: Days | tuple[str, ...] = Field(
        None,
        description='"all", "working", "term" (every day of the week in term, except holidays), "closed" (the days that are not worked), or a list of days of the week ("fri"), which holidays do not interrupt.',
    )
    grows: bool = Field(None, description="Whether it grows with enrolment.")
    seasonal: bool = Field(None, description="Whether it follows the calendar's seasonal load.")
    visited: bool = Field(
        None, description="Whether visitors use it too; a visitor draws as much as one of the people."
    )

    @field_validator("kind")
    @classmethod
    def _known(cls, kind: str) -> str:
        if kind not in KINDS:
            raise InputError(f'there is no kind of use "{kind}"', f"choose one of {known_kinds()}")
        return kind

    @field_validator("people", "units")
    @classmethod
    def _counted_rightly(cls, count: float | None, info: ValidationInfo) -> float | None:
        kind = KINDS.get(info.data.get("kind", ""))
        # One mistake is reported once: what failed before is not in the data.
        if kind is None or (info.field_name == "units" and "people" not in info.data):
            return count
        if (count is not None) != (info.field_name == kind.counted):
            have = "missing" if count is None else "given"
            raise InputError(
                f'"{info.data["kind"]}" is counted by {kind.counted} (one {kind.unit} each) and '
                f"{info.field_name} is {have}",
                f"give {kind.counted} only",
            )
        return count

    @field_validator("litres", "essential", "quality", "days", "grows", "seasonal", "visited", mode="before")
    @classmethod
    def _from_the_table(cls, value: object, info: ValidationInfo) -> object:
        kind = KINDS.get(info.data.get("kind", ""))
        if value is not None:
            return value
        if kind is None:
            # The kind has been refused already: give a value that passes, so that one error is shown.
            return {"litres": 1.0, "quality": "outdoor", "days": "all"}.get(info.field_name, False)
        default = getattr(kind, info.field_name)
        if info.field_name == "litres":
            if default is None:
                raise InputError(
                    f'no figure with a source is known for "{info.data["kind"]}"',
                    f"give litres, what one {kind.unit} draws on a day of use, and its source",
                )
            return default.value
        return default

    @field_validator("days", mode="before")
    @classmethod
    def _known_days(cls, value: object) -> object:
        if value is None or (isinstance(value, str) and value in Days.__args__):
            return value
        if isinstance(value, str) and value.lower() not in WEEKDAYS:
            raise InputError(
                f'"{value}" does not say on which days',
                f"give one of {', '.join(Days.__args__)}, or days of the week",
            )
        several = value if isinstance(value, list | tuple) else [value]
        if not several:
            raise InputError("the list of days is empty", "name at least one day of the week")
        return tuple(weekday(v) for v in several)

    @property
    def count(self) -> float:
        """How many people or units draw on an ordinary day."""
        return self.units if self.people is None else self.people

    @property
    def default(self) -> Default | None:
        """The table's figure, if it is the one used."""
        figure = KINDS[self.kind].litres
        return figure if figure is not None and figure.value == self.litres and not self.source else None

    @property
    def origin(self) -> str:
        """Where the litres come from, in words."""
        if self.default is None:
            return self.source or "given by the user"
        return self.default.source


FAO_56_CROPS = "Allen et al. 1998, FAO-56, table 12, as quoted in a public source file"

FAO_56_SOILS = "Allen et al. 1998, FAO-56, table 19, as quoted in a public source file, middle of its range"

FAO_56_MEMORY = "Allen et al. 1998, FAO-56, from memory, not verified"

FAO_TRAINING = (
    "Brouwer, Prins and Heibloem (FAO) 1989, Irrigation scheduling, training manual 4, from memory, "
    "not verified"
)


@dataclass(frozen=True)
class Crop:
    """Crop coefficients of one planting: at the beginning, in mid-season and at the end."""

    initial: float  # Multiples of the reference evapotranspiration
    middle: float  # Multiples of the reference evapotranspiration
    late: float  # Multiples of the reference evapotranspiration
    source: str = FAO_56_CROPS  # Where they come from


CROPS: dict[str, Crop] = {
    "lawn, cool season": Crop(0.90, 0.95, 0.95, FAO_56_MEMORY),
    "lawn, warm season": Crop(0.80, 0.85, 0.85, FAO_56_MEMORY),
    "lettuce": Crop(0.7, 1.00, 0.95),
    "cabbage": Crop(0.7, 1.05, 0.95),
    "carrot": Crop(0.7, 1.05, 0.95),
    "tomato": Crop(0.6, 1.15, 0.90),
    "pepper": Crop(0.6, 1.05, 0.90),
    "potato": Crop(0.5, 1.15, 0.75),
    "green beans": Crop(0.5, 1.05, 0.90),
    "strawberry": Crop(0.40, 0.85, 0.75),
    "banana": Crop(0.50, 1.10, 1.00),
}

"""Where the table gives a range, its upper end: too small a demand hides failures."""


SOILS: dict[str, Default] = {
    "sand": Default(75.0, "mm/m", FAO_56_SOILS, "handbook", 50.0, 110.0),
    "loam": Default(130.0, "mm/m", FAO_56_SOILS, "handbook", 100.0, 180.0),
    "clay": Default(140.0, "mm/m", FAO_56_SOILS, "handbook", 80.0, 200.0),
}

"""Water that plants can take from a metre of soil: field capacity less wilting point."""


METHODS: dict[str, Default] = {
    "drip": Default(0.90, "1", FAO_TRAINING, "from memory"),
    "sprinkler": Default(0.75, "1", FAO_TRAINING, "from memory"),
    "surface": Default(0.60, "1", FAO_TRAINING, "from memory"),
    "hose or can": Default(0.70, "1", "own choice, between sprinkler and surface", "own choice"),
}

"""Share of the water applied that stays in the root zone."""


ROOT_DEPTH = Default(0.3, "m", "own choice: lawn and vegetables in garden soil", "own choice", 0.2, 1.0)

READILY = Default(0.4, "1", FAO_56_MEMORY + " (table 22, lawn and vegetables)", "from memory", 0.2, 0.5)

"""Share of the available water that plants take without stress."""

SMALL_RAIN = Default(0.2, "1", FAO_56_MEMORY + " (chapter 8)", "from memory")

"""Rain below this share of the day's reference evapotranspiration evaporates and is not counted."""

RAIN_KEPT = Default(0.9, "1", "own choice: the rest runs off or stays on leaves", "own choice", 0.7, 1.0)


OPEN_WATER = Default(1.05, "1", FAO_56_MEMORY + " (table 12, open water less than 2 m deep)", "from memory")

"""Evaporation of a shallow pool, a multiple of the reference evapotranspiration."""

POOL_DROP = Default(50.0, "mm", "own choice: as deep as the mouth of a skimmer", "own choice", 10.0, 150.0)


def season_coefficients(crop: str, sown: str, stage_lengths, time) -> xr.DataArray:
    """Return the crop coefficient of every day of a crop that is sown each year.

    Level through the initial stage, straight up to mid-season, level through it, straight down to the
    end of the late stage; zero where nothing grows.

    FAO-56, chapter 6, figure 34. Stage lengths there, as quoted in a public source file: lettuce 20, 30,
    15, 10 days; tomato 30, 40, 45, 30.

    >>> import pandas as pd
    >>> days = pd.date_range("2023-01-01", "2023-12-31")
    >>> kc = season_coefficients("lettuce", "03-01", (20, 30, 15, 10), days)
    >>> kc.sel(time=["2023-02-28", "2023-03-01", "2023-04-05", "2023-04-25", "2023-06-01"]).values
    array([0.  , 0.7 , 0.85, 1.  , 0.  ])
    """
    if crop not in CROPS:
        raise InputError(f'there is no crop "{crop}"', f"choose one of {', '.join(CROPS)}", "crop")
    lengths = np.asarray(stage_lengths, dtype=float)
    if lengths.shape != (4,) or not (lengths > 0).all() or lengths.sum() > 365:
        raise InputError(
            f"stages of {stage_lengths} days do not fit a year", "give four lengths in days", "stage_lengths"
        )
    days = as_days(time)
    if len(check_rule(sown)) != 5 or sown == "02-29":
        raise InputError(f'"{sown}" is not a day of every year', "give MM-DD, such as 03-15", "sown")
    begun = np.array([f"{y}-{sown}" for y in range(days[0].year - 1, days[-1].year + 1)], "datetime64[D]")
    at = np.searchsorted(begun, days.to_numpy(), side="right") - 1
    since = (days.to_numpy() - begun[at]) / np.timedelta64(1, "D")
    k, ends = CROPS[crop], np.cumsum(lengths)
    values = np.interp(
        since, [0, ends[0], ends[1], ends[2], ends[3]], [k.initial, k.initial, k.middle, k.middle, k.late]
    )
    values = np.where((since < 0) | (since >= ends[3]), 0.0, values)
    return xr.DataArray(
        values, {"time": days}, ("time",), name="crop_coefficient", attrs=attributes("crop_coefficient")
    )


class Garden(BaseModel):
    """A garden and how it is watered.

    >>> beds = Garden(bed_area=200, crop="tomato", soil="sand")
    >>> round(beds.available_water, 1), round(beds.efficiency, 2)
    (22.5, 0.9)
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    name: str = Field(
        "garden", min_length=1, max_length=80, description="The name that tables and figures show."
    )
    bed_area: float = quantity(
        "m2", "Planted area that is watered.", gt=0, le=1e6, allow_inf_nan=False, likely=(0.5, 50000)
    )
    crop: str = Field(
        "lawn, warm season",
        description="One of `rainharvest.demand.tables.CROPS`; its mid-season coefficient is used all year. For a crop that is sown and reaped give `garden_demand` a series of coefficients.",
    )
    soil: str = Field("loam", description="sand, loam or clay.")
    root_depth: float = quantity(
        "m", "Depth from which roots draw.", ROOT_DEPTH, ge=0.05, le=3, allow_inf_nan=False, likely=(0.05, 2)
    )
    method: str = Field("drip", description="One of `rainharvest.demand.tables.METHODS`.")
    readily_available: float = quantity(
        "1",
        "Share of the soil's available water that plants take without stress: watering keeps it at that.",
        READILY,
        gt=0,
        lt=1,
    )
    rain_kept: float = quantity("1", "Share of the rain that reaches the root zone.", RAIN_KEPT, ge=0, le=1)
    watered: tuple[str, ...] = Field(
        (),
        description="Rules for the days on which watering is allowed (see `rainharvest.demand.periods.check_rule`); all days by default.",
    )
    essential: bool = Field(False, description="Whether rationing spares it.")

    @field_validator("crop", "soil", "method")
    @classmethod
    def _known(cls, value: str, info) -> str:
        table = {"crop": CROPS, "soil": SOILS, "method": METHODS}[info.field_name]
        if value not in table:
            raise InputError(f'no {info.field_name} is called "{value}"', f"choose one of {', '.join(table)}")
        return value

    @field_validator("watered")
    @classmethod
    def _known_rules(cls, rules: tuple[str, ...]) -> tuple[str, ...]:
        return tuple(check_rule(rule) for rule in rules)

    @property
    def available_water(self) -> float:
        """Water [mm] between field capacity and wilting point in the root zone."""
        return SOILS[self.soil].value * self.root_depth

    @property
    def efficiency(self) -> float:
        """Share of the water applied that stays in the root zone."""
        return METHODS[self.method].value


class Pool(BaseModel):
    """A pool whose level is kept by topping up.

    >>> Pool(pool_area=50).pool_drop
    50.0
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    name: str = Field(
        "pool", min_length=1, max_length=80, description="The name that tables and figures show."
    )
    pool_area: float = quantity("m2", "Water surface.", gt=0, le=1e5, allow_inf_nan=False, likely=(0.5, 5000))
    pool_drop: float = quantity(
        "mm",
        "How far the level may fall below the overflow before it is topped up: room for the next rain.",
        POOL_DROP,
        gt=0,
        le=1000,
        allow_inf_nan=False,
    )
    essential: bool = Field(False, description="Whether rationing spares it.")


class Weather(BaseModel):
    """The weather that gardens and pools feel, beside the rain."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    evapotranspiration: tuple[float, ...] = quantity(
        "mm/day",
        "Mean reference evapotranspiration of each month, January first.",
        min_length=12,
        max_length=12,
    )
    source: str = Field("given by the user", description="Where the twelve means come from.")

    @field_validator("evapotranspiration")
    @classmethod
    def _a_day(cls, monthly: tuple[float, ...]) -> tuple[float, ...]:
        if not all(0 <= mean <= 25 for mean in monthly):
            raise InputError(
                "a month's mean is below 0 or above 25 mm a day", "give means a day, not totals of the month"
            )
        return monthly
