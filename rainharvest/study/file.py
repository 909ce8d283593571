"""The study file: what was asked, in TOML; read whole, every mistake named at once."""

from __future__ import annotations

import os
from dataclasses import replace
from pathlib import Path

from pydantic import Field, ValidationError, model_validator

from rainharvest.catchment.conveyance import Conveyance
from rainharvest.catchment.parts import Catchment
from rainharvest.catchment.roofs import Roof
from rainharvest.demand.calendar import Calendar
from rainharvest.demand.garden import Garden
from rainharvest.demand.pool import Pool
from rainharvest.demand.uses import Use
from rainharvest.errors import InputError
from rainharvest.reader import Reader, Units
from rainharvest.sizing.costs_prices import Costs
from rainharvest.storage.tank import Tank
from rainharvest.study.file_drought import Drought
from rainharvest.study.file_mistakes import (
    Mistake,
    StudyFileError,
    found_by_pydantic,
    missing_files,
    read_toml,
    studies_of,
    value_at,
)
from rainharvest.study.file_options import merged, with_options
from rainharvest.study.file_siteworks import SiteWorks
from rainharvest.study.file_sizing import Catalogue, Sizing
from rainharvest.study.file_supply import Arrangement, Weather
from rainharvest.study.file_tables import Losses, Rain, Rationing, Report, Site, Table, Target
from rainharvest.study.file_units import to_metric
from rainharvest.study.plausible import too_small, unlikely_values


class Option(Table):
    """Another choice to compare with the study: the study with what the option changes."""

    name: str = Field(min_length=1, max_length=60)
    note: str = ""
    study: Study


class Study(Table):
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
    drought: Drought = Drought()
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
    data, text = read_toml(path)
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
    study, found = _validated(whole, data)
    mistakes += found
    if study is None:
        # One part that fails hides what does not fit together in another: each is looked at by itself.
        for start, tables in studies_of(whole):
            alone = {key: value for key, value in tables.items() if key != "option"}
            mistakes += [
                replace(m, loc=(*start, *m.loc)) for m in _validated(alone, _as_written(data, start))[1]
            ]
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
    # What an option takes over from the study is doubted there, if anywhere.
    kept = [m for m in kept if not (m.doubt and m.option and value_at(data, m.loc) is None)]
    return study, list(dict.fromkeys(kept))


def _validated(tables: dict, data: dict) -> tuple[Study | None, list[Mistake]]:
    try:
        return Study.model_validate(tables), []
    except ValidationError as error:
        return None, found_by_pydantic(error, Study, data)


def _as_written(data: dict, start: tuple) -> dict:
    """Return the file's tables with what the option at a place changes, as the file has both."""
    return merged(data, value_at(data, start)) if start else data
