"""Options of a study: the same study with other roofs, another conveyance, another tank, another site.

An option names what it changes. A table is merged key by key with the study's; a list of tables takes the
place of the study's; ``roofs`` and ``uses`` choose among the study's by name.
"""

from __future__ import annotations

import datetime
import os
from dataclasses import replace
from difflib import get_close_matches
from functools import cache
from itertools import pairwise
from pathlib import Path

from pydantic import Field, ValidationError, field_validator, model_validator

from rainharvest.catchment.hydraulics import require_feasible
from rainharvest.catchment.intensity import intensity_of_place
from rainharvest.catchment.tables import (
    DRY_ONLY,
    WET_ONLY,
    Catchment,
    Conveyance,
    Losses,
    Roof,
    with_full_tank,
)
from rainharvest.core.errors import InputError, require
from rainharvest.core.mistakes import (
    Mistake,
    StudyFileError,
    found_by_pydantic,
    missing_files,
    read_toml,
    studies_of,
    to_metric,
    value_at,
)
from rainharvest.core.reader import US_UNITS, Dates, Numbers, Reader, Units, number, reading
from rainharvest.core.tables import Table, file_name, known_of, models_of, quantity
from rainharvest.demand.facts import uses_served
from rainharvest.demand.tables import Calendar, Garden, Pool, Use, Weather
from rainharvest.drought.tables import Drought
from rainharvest.rainfall.tables import Rain
from rainharvest.siteworks.tables import SiteWorks
from rainharvest.sizing.tables import Catalogue, Costs, Sizing, Target
from rainharvest.storage.tables import Arrangement, Rationing, Tank

_CHOICES = {"roofs": "roof", "uses": "use"}

_OWN = ("name", "note", *_CHOICES)

NOT_CHANGED = ("title", "units", "confirmed", "report", "option")


def with_options(data: dict) -> tuple[dict, list[Mistake]]:
    """Return a study's tables with each option written out as a whole study."""
    options = data.get("option", [])
    if not isinstance(options, list) or not all(isinstance(option, dict) for option in options):
        return data, [Mistake(("option",), "it is not a list of tables", "write each as [[option]]")]
    if not options:
        return data, []
    base = {key: value for key, value in data.items() if key != "option"}
    mistakes: list[Mistake] = []
    whole = []
    for i, option in enumerate(options):
        loc = ("option", i, "study")
        for key in NOT_CHANGED:
            if key in option:
                mistakes.append(Mistake((*loc, key), "an option cannot change it", "leave it out"))
        changes = {k: v for k, v in option.items() if k not in (*_OWN, *NOT_CHANGED)}
        if not changes and not any(key in option for key in (*_CHOICES, *NOT_CHANGED)):
            mistakes.append(
                Mistake(("option", i), "it changes nothing", "name what it changes, such as tank.chosen")
            )
        study = merged(base, changes)
        for key, table in _CHOICES.items():
            if key in option:
                study[table] = _chosen(study.get(table), option[key], (*loc, key), mistakes)
        whole.append({k: option[k] for k in ("name", "note") if k in option} | {"study": study})
    return base | {"option": whole}, mistakes


def merged(base: dict, changes: dict) -> dict:
    """Return tables with changes laid over them, key by key.

    >>> merged({"tank": {"chosen": 5000, "theta": 0}}, {"tank": {"chosen": 9000}})
    {'tank': {'chosen': 9000, 'theta': 0}}
    """
    out = dict(base)
    for key, value in changes.items():
        before = out.get(key)
        if not (isinstance(value, dict) and isinstance(before, dict)):
            out[key] = value
            continue
        if key == "conveyance" and value.get("kind", before.get("kind")) != before.get("kind"):
            before = {k: v for k, v in before.items() if k not in (*WET_ONLY, *DRY_ONLY)}
        out[key] = merged(before, value)
    return out


def _chosen(tables: object, names: object, loc: tuple, mistakes: list[Mistake]) -> object:
    """Return the tables of these names."""
    tables = [t for t in tables if isinstance(t, dict)] if isinstance(tables, list) else []
    known = [str(table["name"]) for table in tables if table.get("name")]
    among = f"choose from {', '.join(known)}" if known else "give the study's own a name each first"
    if not isinstance(names, list) or not names:
        mistakes.append(Mistake(loc, "it is not a list of names", among))
        return tables
    for name in names:
        if name not in known:
            near = get_close_matches(str(name), known, 1)
            remedy = f"did you mean {near[0]}?" if near else among
            mistakes.append(Mistake(loc, f"{name!r} is no name of the study's", remedy))
    return [table for table in tables if table.get("name") in names] or tables


@cache
def _likely() -> dict[tuple[str, str], tuple[float, float, str]]:
    """Return the likely range and the unit of each key that states one, by table and key."""
    return {
        (table, key): (*known_of(model, "likely")[key], known_of(model, "unit")[key])
        for table, field in Study.model_fields.items()
        for model in models_of(field.annotation)
        for key in known_of(model, "likely")
    }


def unlikely_values(metric: dict, data: dict) -> list[Mistake]:
    """Return the values outside their likely range."""
    us = data.get("units") == "us"
    out = []
    for start, tables in studies_of(metric):
        for path, (low, high, own) in _likely().items():
            for loc, value in _values(tables, path, ()):
                if low <= value <= high or value <= 0 <= low:  # what is refused is not doubted
                    continue
                unit, factor = US_UNITS.get(own, (own, 1.0)) if us else (own, 1.0)
                unit = "" if unit == "1" else f" {unit}"
                given = value_at(data, (*start, *loc))
                given = value_at(data, loc) if given is None else given
                side, limit = ("above", high) if value > high else ("below", low)
                problem = (
                    f"{number(given)}{unit} is {side} {number(limit / factor, 3)}{unit}, which is unlikely"
                )
                remedy = f"check its unit ({unit.strip()})" if unit else "check it"
                out.append(Mistake((*start, *loc), problem, remedy, doubt=True))
    return out


THIRST = 3.0

"""Water that a garden or a pool loses on a day where the study gives no monthly means [mm/day] (own choice)."""


def cannot_serve(study: Study) -> list[Mistake]:
    """Return where nothing may be served, and the tanks that hold less than a day asks on which every use draws."""
    options = [(("option", i, "study"), option.study) for i, option in enumerate(study.option)]
    return [mistake for start, one in [((), study), *options] for mistake in _cannot_serve(one, start)]


def _cannot_serve(study: Study, start: tuple) -> list[Mistake]:
    tank = study.tank
    try:
        day = sum(use.count * use.litres for use in uses_served(study))
    except InputError as error:
        return [Mistake((*start, *error.place.split(".")), error.problem, error.remedy)]
    weather = study.weather  # a garden or a pool loses about what the air takes from it
    depth = max(weather.evapotranspiration) if weather and weather.evapotranspiration else THIRST
    day += depth * (sum(one.bed_area for one in study.garden) + sum(one.pool_area for one in study.pool))
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


class Site(Table):
    """Where the building stands."""

    name: str = Field(min_length=1, max_length=120, examples=["Hill School"])
    """What the place is called."""

    latitude: float | None = Field(None, ge=-90, le=90, examples=[-33.42])
    """Degrees north; south is negative. A weather file needs it."""

    longitude: float | None = Field(None, ge=-180, le=360, examples=[4.85])
    """Degrees east; west is negative."""

    elevation: float | None = quantity("m", None, ge=-450, le=9000, examples=[120])
    """Height above the sea."""

    invented: bool = Field(False, examples=[True])
    """Whether the example is invented: the report then says so."""

    note: str = Field("", examples=["A day school of 240 pupils."])
    """A sentence about the place, printed as it stands."""


class Report(Table):
    """For whom the report is, and in what form they read numbers and dates."""

    client: str = Field("", examples=["The board of Hill School"])
    """For whom the report is."""

    author: str = Field("", examples=["Water study desk"])
    """The firm or desk that makes it."""

    note: str = Field("", examples=["Roofs measured on 3 March."])
    """A sentence that the report prints beside the site."""

    date: datetime.date | None = Field(None, examples=[datetime.date(2026, 3, 2)])
    """The day on which it is issued; without one the report says that it is a draft."""

    revision: str = Field("", max_length=20, examples=["B"])
    """Which issue of the report it is."""

    prepared_by: str = Field("", max_length=120, examples=["A. Water, engineer"])
    """Who prepared it."""

    checked_by: str = Field("", max_length=120, examples=["B. Check, engineer"])
    """Who checked it."""

    approved_by: str = Field("", max_length=120, examples=["C. Sign, director"])
    """Who approves it."""

    template: str | None = file_name(None, examples=["letterhead.docx"])
    """A Word document whose header, logo and styles the report takes."""

    numbers: Numbers = "1,234.5"
    """How numbers are written."""

    dates: Dates | None = None
    """How dates are written: year, month and day by default, or month, day and year in a US file."""

    @field_validator("date", mode="before", json_schema_input_type=datetime.date | None)
    @classmethod
    def _a_day(cls, value: object) -> object:
        number_given = isinstance(value, int | float)
        require(not number_given, f"{value} is no date", "give year, month and day: 2026-03-02")
        return value


class Option(Table):
    """Another choice to compare with the study: the study with what the option changes."""

    name: str = Field(min_length=1, max_length=60, examples=["Classroom block only"])
    """What the option is called."""

    note: str = Field("", examples=["The clinic keeps its own downpipes."])
    """A sentence about it."""

    study: Study


class Study(Table):
    """A whole study, as its file states it; metric, whatever the file's units.

    ``confirmed`` names the places that look implausible and are right (see `rainharvest.study.file`).
    """

    title: str = Field(min_length=1, max_length=160, examples=["Rain for the toilets of Hill School"])
    """What the report is called."""

    units: Units = Field("metric", examples=["us"])
    """Units of every number of the file and of the report: metric, or gallons, feet and inches."""

    confirmed: tuple[str, ...] = Field((), examples=[["use[1].litres"]])
    """Places of the file whose values look implausible and are right, as the refusal names them."""

    site: Site
    """Where the building stands."""

    rain: Rain
    """The rain files and how they are read and filled."""

    roof: tuple[Roof, ...] = Field((), max_length=100)
    """The roofs that drain to the tank."""

    conveyance: Conveyance | None = None
    """The run of pipe from the roofs to the tank; without one nothing is lost on the way."""

    losses: Losses = Losses()
    """What stands between roof and tank, and how hard it rains."""

    calendar: Calendar = Calendar()
    """The days on which the building is used."""

    use: tuple[Use, ...] = Field((), max_length=200)
    """The uses of water that the tank may serve."""

    garden: tuple[Garden, ...] = Field((), max_length=20)
    """Gardens that are watered."""

    pool: tuple[Pool, ...] = Field((), max_length=20)
    """Pools whose level is kept."""

    weather: Weather | None = None
    """The weather that gardens and pools feel, beside the rain."""

    tank: Tank = Tank()
    """What of the tank can be used, and the sizes to try."""

    arrangement: Arrangement = Arrangement()
    """How rain and mains supply the building."""

    rationing: tuple[Rationing, ...] = ()
    """Stages of rationing that are always followed."""

    target: Target = Target()
    """What the tank must reach."""

    sizing: Sizing = Sizing()
    """How the size is decided and how sure it is."""

    catalogue: Catalogue | None = None
    """Which tanks can be bought."""

    costs: Costs | None = None
    """Prices, the tariff and the terms on which costs are reckoned."""

    drought: Drought = Drought()
    """What the study asks about its bad years."""

    site_works: SiteWorks = SiteWorks()
    """Ground, tank, tap, overflow, pump and treatment."""

    report: Report = Report()
    """For whom the report is, who signs it, and its form."""

    option: tuple[Option, ...] = Field((), max_length=12)
    """Other choices to compare with the study."""

    @model_validator(mode="after")
    def _fits_together(self):
        rain = self.arrangement.kind != "mains reserve"
        require(
            self.roof or not rain,
            "no roof is given",
            "add a [[roof]] table, or set the arrangement to mains reserve",
        )
        draws = self.use or self.garden or self.pool
        require(draws, "nothing draws water", "add a [[use]], a [[garden]] or a [[pool]] table")
        require(
            self.weather or not (self.garden or self.pool),
            "a garden or a pool needs reference evapotranspiration",
            "add [weather] with evapotranspiration, twelve monthly means, January first",
        )
        blind = self.weather and self.weather.file and self.site.latitude is None
        require(not blind, "a weather file needs to know how high the sun stands", "give site.latitude")
        for low, high in pairwise(sorted(self.rationing, key=lambda stage: stage.level)):
            require(
                low.share <= high.share,
                f"rationing below {low.level:g} keeps {low.share:g}, that below {high.level:g} only {high.share:g}",
                "let a lower level of rationing keep no more than a higher one",
            )
        drawing = [thing.name for thing in (*self.use, *self.garden, *self.pool)]
        named = {
            "uses": drawing,
            "options": [option.name for option in self.option],
            "roofs": [roof.name for roof in self.roof if "name" in roof.model_fields_set],
        }
        for what, names in named.items():
            for name in names:
                require(
                    names.count(name) == 1, f'two {what} bear the name "{name}"', "give each its own name"
                )
        if self.roof:
            self.catchment  # noqa: B018 - says what does not fit between roofs and conveyance
        return self

    @model_validator(mode="after")
    def _rains_as_at_the_site(self):
        """Let the site say how hard it rains, where the file does not."""
        if "intensity" not in self.losses.model_fields_set:
            found = intensity_of_place(self.site.latitude)
            self.__dict__["losses"] = self.losses.model_copy(update={"intensity": found})
        return self

    @model_validator(mode="after")
    def _run_meets_the_tank(self):
        """Tell the run how high the water of a tank of a given height stands; refuse a run that cannot work."""
        from rainharvest.siteworks.base import overflow_level

        if self.conveyance is not None and self.site_works.height is not None:
            full = overflow_level(self.site_works, self.tank.freeboard_share)
            self.__dict__["conveyance"] = with_full_tank(self.conveyance, full)
        if self.conveyance is not None and self.arrangement.kind != "mains reserve":
            with reading(reader_of(self)):
                require_feasible(self.conveyance)
        return self

    @property
    def catchment(self) -> Catchment:
        """The roofs, the run of pipe and what stands between, with the defaults in place."""
        given = self.losses.model_dump(exclude={"intensity"}, exclude_none=True, exclude_unset=True)
        return Catchment(roofs=self.roof, conveyance=self.conveyance, **given)


Option.model_rebuild()


def reader_of(study: Study) -> Reader:
    """Return the form of numbers, units and dates that the study's reader expects."""
    dates = study.report.dates or ("11/25/2026" if study.units == "us" else "2026-11-25")
    return Reader(study.units, study.report.numbers, dates)


def read_study(path: str | os.PathLike) -> tuple[Study, str]:
    """Read a study file."""
    path = Path(path)
    data, text = read_toml(path)
    study, mistakes = study_from(data, path.parent)
    if mistakes or study is None:
        raise StudyFileError([mistake.error(path) for mistake in mistakes])
    return study, text


def study_from(data: dict, folder: Path) -> tuple[Study | None, list[Mistake]]:
    """Return the study that a file's tables state, and every mistake in them."""
    metric, mistakes = to_metric(data, Study)
    whole, more = with_options(metric)
    mistakes += more
    study, found = _validated(whole, data, folder)
    mistakes += found
    if study is None:
        # One part that fails hides what does not fit together in another: each is looked at by itself.
        for start, tables in studies_of(whole):
            alone = {key: value for key, value in tables.items() if key != "option"}
            written = merged(data, value_at(data, start)) if start else data
            mistakes += [replace(m, loc=(*start, *m.loc)) for m in _validated(alone, written, folder)[1]]
    else:
        mistakes += cannot_serve(study)
        mistakes += [
            Mistake(
                ("option", i, "study", "target", "measure"),
                "it has another measure than the study",
                "compare by one",
            )
            for i, option in enumerate(study.option)
            if option.study.target.measure != study.target.measure
        ]
    mistakes += unlikely_values(whole, data)
    mistakes += missing_files(whole, folder, Study)
    confirmed = data.get("confirmed")
    confirmed = confirmed if isinstance(confirmed, list) else []
    # One mistake, one line: an option repeats the study's own.
    own = {(m.tail, m.problem) for m in mistakes if not m.option}
    sure = {m.loc for m in mistakes if not m.doubt}
    kept = [m for m in mistakes if not (m.option and (m.tail, m.problem) in own)]
    kept = [m for m in kept if not (m.doubt and (m.place in confirmed or m.loc in sure))]
    # What an option takes over from the study is doubted there, if anywhere.
    kept = [m for m in kept if not (m.doubt and m.option and value_at(data, m.loc) is None)]
    return study, list(dict.fromkeys(kept))


def _validated(tables: dict, data: dict, folder: Path) -> tuple[Study | None, list[Mistake]]:
    try:
        return Study.model_validate(tables, context={"folder": folder}), []
    except ValidationError as error:
        return None, found_by_pydantic(error, Study, data)
