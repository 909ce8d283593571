"""The study file: what was asked, in TOML; read whole, every mistake named at once."""

from __future__ import annotations

import os
import tomllib
from pathlib import Path
from typing import Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError, field_validator, model_validator

from rainharvest.catchment.conveyance import Conveyance
from rainharvest.catchment.intensity import CLIMATES, Intensity
from rainharvest.catchment.parts import INTENSITY, Catchment
from rainharvest.catchment.roofs import Roof
from rainharvest.demand.calendar import Calendar
from rainharvest.demand.garden import Garden
from rainharvest.demand.pool import Pool
from rainharvest.demand.uses import Use
from rainharvest.errors import InputError
from rainharvest.reader import Dates, Numbers, Reader, Units
from rainharvest.sizing.costs_prices import Costs
from rainharvest.storage.tank import Tank
from rainharvest.study.file_mistakes import Mistake, StudyFileError, found_by_pydantic, missing_files
from rainharvest.study.file_options import with_options
from rainharvest.study.file_siteworks import SiteWorks
from rainharvest.study.file_sizing import Catalogue, Sizing
from rainharvest.study.file_supply import Arrangement, Weather
from rainharvest.study.file_units import to_metric
from rainharvest.study.plausible import too_small, unlikely_values


class _Table(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class Site(_Table):
    """Where the building stands.

    Parameters
    ----------
    elevation : float [m]
        Height above the sea.
    """

    name: str = Field(min_length=1, max_length=120)
    latitude: float | None = Field(None, ge=-90, le=90)
    longitude: float | None = Field(None, ge=-180, le=360)
    elevation: float | None = Field(None, ge=-450, le=9000)
    invented: bool = False
    note: str = ""


class Rain(_Table):
    """The rain files and how they are read and filled.

    ``column``, ``units``, ``day_first``, ``at`` and ``blank_is_zero`` are what `rainharvest.read_rain` asks for
    where a file leaves doubt; each is used only for a file that does.
    """

    file: str = Field(min_length=1)
    neighbours: tuple[str, ...] = ()
    column: str | None = None
    units: str | None = None
    day_first: bool | None = None
    at: tuple[float, float] | str | None = None
    blank_is_zero: bool | None = None
    members: int = Field(20, ge=1, le=200)
    seed: int = Field(0, ge=0)
    year_start_month: int | None = Field(None, ge=1, le=12)


class Losses(_Table):
    """What stands between roof and tank; what is left out takes the catchment's defaults.

    ``intensity`` says how hard it rains, which matters where a gutter or pipe has a limit: the name of a climate of
    `rainharvest.catchment.intensity.CLIMATES`, or a table with what hourly rain of the place gave.

    Parameters
    ----------
    first_flush : float [mm]
        Depth of runoff turned away at the start of an event.
    first_flush_bleed : float [L/day]
        What the bleed of each roof's first-flush space lets out.
    """

    first_flush: float | None = Field(None, ge=0, le=100)
    first_flush_bleed: float | None = Field(None, ge=0, le=1e5)
    first_flush_reset: float | None = Field(None, ge=1, le=3650)
    filter_efficiency: float | None = Field(None, ge=0, le=1)
    intensity: Intensity = INTENSITY

    @field_validator("intensity", mode="before")
    @classmethod
    def _by_name(cls, value: object) -> object:
        if not isinstance(value, str):
            return value
        if value not in CLIMATES:
            raise InputError(f'no climate is called "{value}"', f"choose one of {', '.join(CLIMATES)}")
        return CLIMATES[value]


class Rationing(_Table):
    """One stage of rationing: below a share of the usable size, non-essential uses keep a share."""

    level: float = Field(gt=0, le=1)
    share: float = Field(ge=0, le=1)


class Target(_Table):
    """What the tank must reach."""

    reliability: float = Field(0.9, gt=0, le=1)
    measure: Literal["volume_reliability", "time_reliability"] = "volume_reliability"


class Report(_Table):
    """For whom the report is, and in what form they read numbers and dates (see `rainharvest.reader`)."""

    client: str = ""
    author: str = ""
    note: str = ""
    numbers: Numbers = "1,234.5"
    dates: Dates | None = None


class Option(_Table):
    """Another choice to compare with the study: the study with what the option changes."""

    name: str = Field(min_length=1, max_length=60)
    note: str = ""
    study: Study


class Study(_Table):
    """A whole study, as its file states it; metric, whatever the file's units.

    ``confirmed`` names the places that look implausible and are right (see `rainharvest.study.plausible`).
    """

    title: str = Field(min_length=1, max_length=160)
    units: Units = "metric"
    confirmed: tuple[str, ...] = ()
    site: Site
    rain: Rain
    roof: tuple[Roof, ...] = Field((), max_length=100)
    conveyance: Conveyance | None = None
    losses: Losses = Losses()
    calendar: Calendar = Calendar()
    use: tuple[Use, ...] = Field((), max_length=200)
    garden: tuple[Garden, ...] = Field((), max_length=20)
    pool: tuple[Pool, ...] = Field((), max_length=20)
    weather: Weather | None = None
    tank: Tank = Tank()
    arrangement: Arrangement = Arrangement()
    rationing: tuple[Rationing, ...] = ()
    target: Target = Target()
    sizing: Sizing = Sizing()
    catalogue: Catalogue | None = None
    costs: Costs | None = None
    site_works: SiteWorks = SiteWorks()
    report: Report = Report()
    option: tuple[Option, ...] = Field((), max_length=12)

    @model_validator(mode="after")
    def _fits_together(self):
        if self.arrangement.kind != "mains reserve" and not self.roof:
            raise InputError(
                "no roof is given", "add a [[roof]] table, or set the arrangement to mains reserve"
            )
        if not (self.use or self.garden or self.pool):
            raise InputError("nothing draws water", "add a [[use]], a [[garden]] or a [[pool]] table")
        if (self.garden or self.pool) and self.weather is None:
            raise InputError(
                "a garden or a pool needs the thirst of the air",
                "add [weather] with evapotranspiration, twelve monthly means, January first",
            )
        drawing = [thing.name for thing in (*self.use, *self.garden, *self.pool)]
        for what, names in (("uses", drawing), ("options", [option.name for option in self.option])):
            for name in dict.fromkeys(name for name in names if names.count(name) > 1):
                raise InputError(f'two {what} bear the name "{name}"', "give each its own name")
        if self.roof:
            self.catchment  # noqa: B018 - says what does not fit between roofs and conveyance
        return self

    @property
    def catchment(self) -> Catchment:
        """The roofs, the run of pipe and what stands between, with the defaults in place."""
        given = self.losses.model_dump(exclude={"intensity"}, exclude_none=True)
        return Catchment(roofs=self.roof, conveyance=self.conveyance, **given)


Option.model_rebuild()


def reader_of(study: Study) -> Reader:
    """Return the form of numbers, units and dates that the study's reader expects.

    Parameters
    ----------
    study : Study
        The study.

    Returns
    -------
    Reader
        Dates are written month first where the units are those of the US and nothing else is asked.
    """
    dates = study.report.dates or ("11/25/2026" if study.units == "us" else "2026-11-25")
    return Reader(study.units, study.report.numbers, dates)


def read_study(path: str | os.PathLike) -> tuple[Study, str]:
    """Read a study file.

    Parameters
    ----------
    path : str or path
        A TOML file.

    Returns
    -------
    tuple of Study and str
        The study and the text of its file.

    Raises
    ------
    InputError
        If the file cannot be read or is not TOML; `StudyFileError`, with every mistake, if it says what
        cannot be, or what is implausible and not confirmed, or names a rain file that is not there.
    """
    path = Path(path)
    try:
        text = path.read_bytes().decode("utf-8-sig")
    except OSError as error:
        raise InputError(
            f"cannot be read ({error.strerror})", "name a study file that exists", file=path
        ) from None
    except UnicodeDecodeError as error:
        raise InputError("it is not UTF-8 text", "save it as UTF-8", f"byte {error.start}", path) from None
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise InputError(
            f"it is not TOML: {error}", "mend that line (text in quotes, tables in [brackets])", file=path
        ) from None
    study, mistakes = study_from(data, path.parent)
    if mistakes or study is None:
        raise StudyFileError([mistake.error(path) for mistake in mistakes])
    return study, text


def study_from(data: dict, folder: Path) -> tuple[Study | None, list[Mistake]]:
    """Return the study that a file's tables state, and every mistake in them.

    Parameters
    ----------
    data : dict
        The tables.
    folder : Path
        The folder of the study file, from which its paths are meant.

    Returns
    -------
    tuple of Study or None, and list of Mistake
        No study where its tables cannot be read as one.
    """
    metric, mistakes = to_metric(data, Study)
    whole, more = with_options(metric)
    mistakes += more
    study = None
    try:
        study = Study.model_validate(whole)
    except ValidationError as error:
        mistakes += found_by_pydantic(error, Study, data)
    else:
        mistakes += too_small(study)
    mistakes += unlikely_values(whole, data)
    mistakes += missing_files(whole, folder)
    confirmed = data.get("confirmed")
    confirmed = confirmed if isinstance(confirmed, list) else []
    # One mistake, one line: an option repeats the study's own.
    own = {(m.tail, m.problem) for m in mistakes if not m.option}
    sure = {m.loc for m in mistakes if not m.doubt}
    kept = [m for m in mistakes if not (m.option and (m.tail, m.problem) in own)]
    kept = [m for m in kept if not (m.doubt and (m.place in confirmed or m.loc in sure))]
    return study, list(dict.fromkeys(kept))
