"""The tables of the study file on demand: uses, calendar, garden, pool, weather, and the kinds to choose from."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

from pydantic import ConfigDict, Field, ValidationInfo, field_validator, model_validator

from rainharvest.core.defaults import Default, defaults_of, rows_of
from rainharvest.core.errors import require
from rainharvest.core.tables import Table, file_name, quantity
from rainharvest.demand.evapotranspiration import check_monthly
from rainharvest.demand.periods import WEEKDAYS, Rules, check_rule, weekday

DEFAULTS = defaults_of("demand")

Quality = Literal["drinking", "washing", "flushing", "outdoor", "livestock"]

Days = Literal["all", "working", "term", "closed"]


class KindOfUse(Table):
    """One kind of use."""

    meaning: str  # What it is, in words
    counted: Literal["people", "units"]
    unit: str  # What is counted, one of them: "person", "patient a day", "head of cattle"
    # Litres each a day; None where no figure with a source is known, so that the user gives it
    litres: Default | None = None
    quality: Quality  # The quality of water that it needs
    essential: bool  # Whether rationing spares it
    days: Days = "all"  # On which days it draws
    grows: bool = True  # Whether it grows with enrolment
    seasonal: bool = False  # Whether it follows the calendar's seasonal load
    visited: bool = False  # Whether visitors share it


def _kinds(rows: dict) -> dict[str, KindOfUse]:
    """Return the kinds of use, the litres of each with its source; the upper end of a range is the value."""
    for row in rows["kind"].values():
        if figure := row.get("litres"):
            high = figure["value"] if "low" in figure else None
            row["litres"] = figure | rows["source"][figure["source"]] | {"unit": "L/day", "high": high}
    return {name: KindOfUse(**row) for name, row in rows["kind"].items()}


_ROWS = rows_of("demand", "kinds")

KINDS = _kinds(_ROWS)

"""Every kind of use that a study may name."""

QUALITIES: dict[str, str] = _ROWS["quality"]

"""The qualities of water, from the most to the least demanding for people."""


class Visit(Table):
    """People who come on some days in addition to those who are always there."""

    people: float = quantity("1", gt=0, le=1e6, examples=[150])
    """How many come on each of these days."""

    days: Rules = Field(min_length=1, examples=[["sat", "07-01 to 08-31"]])
    """Days on which they come: days of the week, dates, or spans by rule."""


class Calendar(Table):
    """The days on which a building is used, and by how many.

    A working day is one of the working days of the week, in term, and not a holiday. Term is the whole
    year where no terms are given.

    >>> school = Calendar(holidays=["12-15 to 01-10", "easter-2 to easter+1"])
    >>> school.working_days
    ('mon', 'tue', 'wed', 'thu', 'fri')
    """

    working_days: tuple[str, ...] = Field(WEEKDAYS[:5], min_length=1)
    """Days of the week: "mon" to "sun". Monday to Friday by default."""

    terms: Rules = Field((), examples=[["09-01 to 12-14", "01-10 to 06-20"]])
    """Spans in which the building is open, by rule ("09-01 to 12-14" every year) or by date ("2026-09-07 to
    2026-12-11"); the whole year by default."""

    holidays: Rules = Field((), examples=[["easter-2", "last mon of 08"]])
    """Days and spans in which it is closed, likewise; also "last mon of 08" and "easter-2"."""

    growth: float = quantity("1/year", 0.0, ge=-0.5, le=0.5)
    """Growth of enrolment: 0.02 is 2 % more people in each year than in the one before. It goes in yearly
    steps, from the year in which the series begins."""

    growth_month: int = quantity("1", 1, ge=1, le=12)
    """Month in which each step is taken."""

    growth_years: int | None = quantity("year", None, ge=0, le=1000, examples=[10])
    """After how many steps enrolment stays as it is; by default it never does."""

    seasonal: tuple[float, ...] = quantity("1", (1.0,) * 12, min_length=12, max_length=12)
    """Load of each month, January first, as a multiple of the ordinary load, for the uses that follow the
    season (patients at a clinic)."""

    visits: tuple[Visit, ...] = ()
    """Visiting population, for the uses that visitors share."""

    @field_validator("working_days", mode="before", json_schema_input_type=str | tuple[str, ...])
    @classmethod
    def _known_weekdays(cls, values: object) -> object:
        plain = _weekdays(values)
        require(len(set(plain)) == len(plain), "a day of the week is named twice", "name each day once")
        return plain

    @field_validator("seasonal")
    @classmethod
    def _sane_loads(cls, values: tuple[float, ...]) -> tuple[float, ...]:
        sane = all(0 <= v <= 10 for v in values)
        require(sane, "a month's load is below 0 or above 10", "give loads like 0.8 or 1.3")
        return values


def _weekdays(values: object) -> tuple[str, ...]:
    return tuple(weekday(v) for v in (values if isinstance(values, list | tuple) else [values]))


class Use(Table):
    """One use of water: how many draw how much, on which days, and whether it can wait.

    What is left out comes from the table of kinds (`rainharvest.demand.tables.KINDS`).

    >>> use = Use(name="pupils' toilets", kind="school_flush", people=120)
    >>> use.litres, use.quality, use.essential, use.days
    (20.0, 'flushing', False, 'working')
    """

    model_config = ConfigDict(validate_default=True)

    name: str = Field(min_length=1, max_length=80, examples=["pupils' toilets"])
    """The name that tables and figures show."""

    kind: str = Field(examples=["pour_flush"], json_schema_extra={"enum": [*KINDS]})
    """What kind of use it is: how much one draws, of what quality, on which days."""

    people: float | None = quantity("1", None, gt=0, le=1e6, likely=(0.01, 50000), examples=[240])
    """How many people draw on an ordinary day, for kinds counted by people."""

    units: float | None = quantity("1", None, gt=0, le=1e6, examples=[12])
    """How many things draw, for kinds counted by units (animals, washes, square metres of floor)."""

    source: str = Field("", examples=["metered in March"])
    """Where that figure comes from; filled in where it is the table's."""

    litres: float = quantity("L/day", None, gt=0, le=1e5, likely=(0.1, 2000), examples=[10])
    """What each of them draws on a day of use; the kind's figure if not given."""

    essential: bool = Field(None, examples=[True])
    """Whether rationing spares it; as the kind if not given."""

    quality: Quality = None
    """The quality of water that it needs; as the kind if not given."""

    days: Days | tuple[str, ...] = Field(None, examples=["working"])
    """"all", "working", "term" (every day of the week in term, except holidays), "closed" (the days that are
    not worked), or a list of days of the week ("fri"), which holidays do not interrupt; as the kind if not
    given."""

    grows: bool = None
    """Whether it grows with enrolment; as the kind if not given."""

    seasonal: bool = None
    """Whether it follows the calendar's seasonal load; as the kind if not given."""

    visited: bool = None
    """Whether visitors use it too, a visitor as much as one of the people; as the kind if not given."""

    @field_validator("kind")
    @classmethod
    def _known(cls, kind: str) -> str:
        require(kind in KINDS, f'there is no kind of use "{kind}"', f"choose one of {', '.join(KINDS)}")
        return kind

    @field_validator("people", "units")
    @classmethod
    def _counted_rightly(cls, count: float | None, info: ValidationInfo) -> float | None:
        kind = KINDS.get(info.data.get("kind", ""))
        # One mistake is reported once: what failed before is not in the data.
        if kind is None or (info.field_name == "units" and "people" not in info.data):
            return count
        require(
            (count is not None) == (info.field_name == kind.counted),
            f'"{info.data["kind"]}" is counted by {kind.counted} (one {kind.unit} each) and '
            f"{info.field_name} is {'missing' if count is None else 'given'}",
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
        require(
            default is not None,
            f'no figure with a source is known for "{info.data["kind"]}"',
            f"give litres, what one {kind.unit} draws on a day of use, and its source",
        )
        return default.value if isinstance(default, Default) else default

    @field_validator("days", mode="before", json_schema_input_type=str | tuple[str, ...])
    @classmethod
    def _known_days(cls, value: object) -> object:
        named = get_args(Days)
        if value is None or (isinstance(value, str) and value in named):
            return value
        require(
            not isinstance(value, str) or value.lower() in WEEKDAYS,
            f'"{value}" does not say on which days',
            f"give one of {', '.join(named)}, or days of the week",
        )
        days = _weekdays(value)
        require(days, "the list of days is empty", "name at least one day of the week")
        return days

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
        return self.default.source if self.default else self.source or "given by the user"


@dataclass(frozen=True)
class Crop:
    """Crop coefficients of one planting: multiples of the reference evapotranspiration."""

    initial: float
    middle: float
    late: float
    source: str


CROPS = {name: Crop(**row) for name, row in rows_of("demand", "crops").items()}

SOILS: dict[str, Default] = DEFAULTS["soil"]

METHODS: dict[str, Default] = DEFAULTS["method"]


class Garden(Table):
    """A garden and how it is watered.

    >>> beds = Garden(bed_area=200, crop="tomato", soil="sand")
    >>> round(beds.available_water, 1), round(beds.efficiency, 2)
    (22.5, 0.9)
    """

    name: str = Field("garden", min_length=1, max_length=80, examples=["kitchen garden"])
    """The name that tables and figures show."""

    bed_area: float = quantity("m2", gt=0, le=1e6, likely=(0.5, 50000), examples=[60])
    """Planted area that is watered."""

    crop: str = Field("lawn, warm season", json_schema_extra={"enum": [*CROPS]})
    """What grows there; unless it is sown each year its mid-season coefficient is used all year."""

    sown: str | None = Field(None, examples=["03-15"])
    """Day on which the crop is sown each year, such as "03-15"; needs stages."""

    stages: tuple[float, ...] = quantity("day", (), examples=[[30, 40, 45, 30]])
    """How long the crop is in its initial, growing, middle and late stage, at most a year in all."""

    soil: str = Field("loam", json_schema_extra={"enum": [*SOILS]})
    """What the roots stand in."""

    root_depth: float = quantity("m", DEFAULTS["root_depth"], ge=0.05, le=3, likely=(0.05, 2))
    """Depth from which roots draw."""

    method: str = Field("drip", json_schema_extra={"enum": [*METHODS]})
    """How it is watered; the share that stays in the root zone follows."""

    readily_available: float = quantity("1", DEFAULTS["readily_available"], gt=0, lt=1)
    """Share of the soil's available water that plants take without stress: watering keeps it at that."""

    rain_kept: float = quantity("1", DEFAULTS["rain_kept"], ge=0, le=1)
    """Share of the rain that reaches the root zone."""

    watered: Rules = Field((), examples=[["mon", "thu"]])
    """Days on which watering is allowed: days of the week, dates, or spans by rule; all if not given."""

    essential: bool = False
    """Whether rationing spares it."""

    @field_validator("crop", "soil", "method")
    @classmethod
    def _known(cls, value: str, info: ValidationInfo) -> str:
        table = {"crop": CROPS, "soil": SOILS, "method": METHODS}[info.field_name]
        require(
            value in table, f'no {info.field_name} is called "{value}"', f"choose one of {', '.join(table)}"
        )
        return value

    @model_validator(mode="after")
    def _fits_a_year(self):
        stages, days = self.stages, sum(self.stages)
        require(
            bool(self.sown) == bool(stages), "a season is known by half", "give sown and stages, or neither"
        )
        if self.sown:
            possible = len(stages) == 4 and min(stages) > 0 and days <= 365
            odd = f"stages of {', '.join(f'{length:g}' for length in stages)} days do not fit a year"
            require(possible, odd, "give four lengths in days", "stages")
            yearly = len(check_rule(self.sown)) == 5 and self.sown != "02-29"
            day = f'"{self.sown}" is not a day of every year'
            require(yearly, day, "give MM-DD, such as 03-15", "sown")
        return self

    @property
    def available_water(self) -> float:
        """Water [mm] between field capacity and wilting point in the root zone."""
        return SOILS[self.soil].value * self.root_depth

    @property
    def efficiency(self) -> float:
        """Share of the water applied that stays in the root zone."""
        return METHODS[self.method].value


class Pool(Table):
    """A pool whose level is kept by topping up.

    >>> Pool(pool_area=50).pool_drop
    50.0
    """

    name: str = Field("pool", min_length=1, max_length=80)
    """The name that tables and figures show."""

    pool_area: float = quantity("m2", gt=0, le=1e5, likely=(0.5, 5000), examples=[50])
    """Water surface."""

    pool_drop: float = quantity("mm", DEFAULTS["pool_drop"], gt=0, le=1000)
    """How far the level may fall below the overflow before it is topped up: room for the next rain."""

    essential: bool = False
    """Whether rationing spares it."""


class Weather(Table):
    """The weather that gardens and pools feel, beside the rain: monthly means, or a file of daily weather.

    >>> Weather(file="weather.csv").wind_height
    2.0
    """

    evapotranspiration: tuple[float, ...] | None = quantity(
        "mm/day",
        None,
        min_length=12,
        max_length=12,
        examples=[[4.3, 4.5, 4.4, 3.9, 3.6, 3.5, 3.5, 3.8, 4.2, 4.2, 3.8, 3.9]],
    )
    """Mean reference evapotranspiration of each month, January first."""

    file: str | None = file_name(None, min_length=1, examples=["weather.csv"])
    """Daily weather (CSV), instead of monthly means: the columns date (2015-07-06), tmin and tmax (degC), and
    any of tmean, dew_point (degC), rhmax, rhmin (%), vapour_pressure (kPa), wind (m/s), sunshine (h), solar
    (MJ/m2/day), metric in any study. With wind: Penman-Monteith, which needs site.elevation; else Hargreaves.
    Days that it lacks have the mean of their month."""

    wind_height: float = quantity("m", DEFAULTS["wind_height"], ge=0.5, le=100, likely=(1, 30))
    """Height above the ground at which the file's wind is measured."""

    source: str = "given by the user"
    """Where the means, or the weather, come from."""

    @field_validator("evapotranspiration")
    @classmethod
    def _a_day(cls, monthly: tuple[float, ...] | None) -> tuple[float, ...] | None:
        check_monthly(monthly or ())
        return monthly

    @model_validator(mode="after")
    def _given_once(self):
        require(
            (self.evapotranspiration is None) != (self.file is None),
            "the weather is needed once",
            "give evapotranspiration, twelve monthly means, or file, a table of daily weather",
        )
        return self
