"""A rain record: what is missing in it, how it is filled, how far that can be trusted, what rain it holds."""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from functools import lru_cache, partial

import ipywidgets as widgets

from rainharvest.core.board import board, cautions
from rainharvest.core.controls import choice, slider
from rainharvest.core.errors import InputError
from rainharvest.rainfall import facts, figures
from rainharvest.rainfall.check_years import double_mass
from rainharvest.rainfall.climatology import standardised_precipitation_index
from rainharvest.rainfall.describe import describe_rain, one_version, version_totals
from rainharvest.rainfall.facts import SAY, CheckedRecord, checked_record, checked_upload, hidden_days_skill
from rainharvest.rainfall.record import HINTS
from rainharvest.storage.simulate import simulate
from rainharvest.study.choices import OwnFile, rain_hints, saving

ASK = ""  # not None, for which a list shows nothing chosen

UNITS = {"ask me": ASK, "millimetres": "mm", "tenths of a millimetre": "0.1 mm", "inches": "in"}

LISTS = {"units": "If it gives no unit", "day_first": "If its dates fit both ways"}

DATES = {"ask me": ASK, "day before month": True, "month before day": False}


GOES_WITH_THE_RAIN = dict.fromkeys(
    ("rain.gaps_end_in_totals", "rain.year_start_month", "losses.intensity", "sizing.finer_rain")
)
"""Keys of a study that tell of its own rain; with the rain of another place they go."""


def upload_controls(words: str) -> dict[str, widgets.Widget]:
    """Return what takes a rain file of the reader's own, and settles the doubts that most files leave."""
    about = "A daily rain record in almost any layout; it stays on this machine"
    upload = widgets.FileUpload(
        accept="", multiple=False, description=words, tooltip=about, layout={"width": "20em"}
    )
    return {
        "upload": upload,
        "units": choice(LISTS["units"], UNITS, ASK, "Used only where your file leaves that doubt"),
        "day_first": choice(LISTS["day_first"], DATES, ASK, "The same for 03/04/2001"),
    }


def uploaded(upload: Sequence[Mapping]) -> tuple[str, bytes]:
    """Return the name and the bytes of the file that was put in; both empty where none was."""
    return (upload[0]["name"], bytes(upload[0]["content"])) if upload else ("", b"")


def hints_of(units: str, day_first: bool | str) -> dict[str, object]:
    """Return what the reader settled, as `rainharvest.read_rain` takes it."""
    return {key: value for key, value in (("units", units), ("day_first", day_first)) if value != ASK}


def uploaded_record(file: str, content: bytes, units: str, day_first: bool | str) -> CheckedRecord:
    """Read and check a file that was put in; where it leaves a doubt, name the list that settles it."""
    try:
        return checked_upload(file, content, hints_of(units, day_first))
    except InputError as error:
        if {"units": units, "day_first": day_first}.get(error.place) != ASK:
            raise
        raise InputError(error.problem, f'choose it under "{LISTS[error.place]}"', file=error.file) from None


def record_panel(
    records: Mapping[str, Sequence[str | os.PathLike]], study: str | os.PathLike | None = None
) -> widgets.VBox:
    """Return the panel that fills a record, one of those named or a file of the reader's own.

    Parameters
    ----------
    records : mapping of str to list of path
        By the name shown, the site's file and its neighbours'.
    study : str or path, optional
        The study file, which can take the record and the number of filled versions.

    Returns
    -------
    VBox
        A choice of the record, an upload, the fill's settings; where each day comes from, the years, and
        the test on hidden days.
    """
    settled = rain_hints(study) if study else {}
    hidden = slider("hidden_share", 15, 5, 30, 5, unit="%", scale=0.01)
    hidden.continuous_update = False  # a test fills twice
    controls = {
        "name": choice("Record", list(records), next(iter(records)), "Invented records of five climates"),
        **upload_controls("Or a file of your own"),
        "longest_gap": slider("longest_gap", 366, 0, 366, 1, scale=1),
        "members": slider("members", 10, 1, 20, 1, scale=1),
        "hidden_share": hidden,
    }

    @lru_cache(maxsize=8)
    def chosen(name: str, file: str, content: bytes, units: str, day_first: bool | str):
        if file:
            return uploaded_record(file, content, units, day_first)
        return checked_record(records[name], settled)

    @lru_cache(maxsize=8)
    def tested(key: tuple, hidden_share: float):
        return hidden_days_skill(chosen(*key), hidden_share, simulate)

    def redraw(name, upload, units, day_first, longest_gap, members, hidden_share) -> dict[str, tuple]:
        key = (name, *uploaded(upload), *((units, day_first) if upload else (ASK, ASK)))
        record = chosen(*key)
        filled = facts.fill_recent(record, members, longest_gap)
        annual, skill = version_totals(filled), tested(key, hidden_share)
        origins = SAY.record(facts.record_facts(record, filled))
        return {
            "origin": (partial(figures.origin_figure, filled), origins),
            "annual": (partial(figures.annual_figure, annual), SAY.annual(facts.whole_years(annual))),
            "skill": (partial(figures.skill_figure, skill), SAY.skill(skill)),
        }

    def as_its_rain(values) -> dict[str, object]:
        file, content = uploaded(values["upload"])
        units, day_first = values["units"], values["day_first"]
        record = chosen(values["name"], file, content, units, day_first)
        own, *near = (OwnFile(file, content),) if file else records[values["name"]]
        given = {"file": own, "neighbours": near}
        hints = dict.fromkeys(HINTS) | (hints_of(units, day_first) if file else settled)
        place = {f"site.{key}": record.read.attrs.get(key) for key in ("latitude", "longitude", "elevation")}
        return {f"rain.{key}": value for key, value in (given | hints).items()} | place | GOES_WITH_THE_RAIN

    own_rain = dict.fromkeys(("name", "upload", "units", "day_first"), as_its_rain)
    keys = saving(study, members="rain.members", **own_rain)
    return board("record", controls, redraw, f"{SAY.panel_note()} {cautions('drinking')}", keys)


def rain_panel(
    records: Mapping[str, Sequence[str | os.PathLike]], study: str | os.PathLike | None = None
) -> widgets.VBox:
    """Return the panel that describes the rain of a record.

    Parameters
    ----------
    records : mapping of str to list of path
        By the name shown, the site's file and its neighbours'.
    study : str or path, optional
        The study file, which settles what its files leave in doubt.

    Returns
    -------
    VBox
        A choice of the record, what counts as a wet day, how far the drought index looks back; months, dry
        spells, index, double mass and heavy days.
    """
    settled = rain_hints(study) if study else {}
    wet_day = slider("wet_day", 1.0, 0.2, 5.0, 0.2)
    wet_day.continuous_update = False  # the whole record is described anew
    controls = {
        "name": choice("Record", list(records), next(iter(records)), "Invented records of five climates"),
        "wet_day": wet_day,
        "scale": slider("scale", 12, 1, 24, 1, scale=1),
    }

    @lru_cache(maxsize=len(records))
    def whole(name: str):
        record = checked_record(records[name], settled)
        filled = one_version(facts.fill_recent(record))
        return record, filled, double_mass(record.read, record.neighbours)

    @lru_cache(maxsize=32)
    def described(name: str, wet_day: float):
        return describe_rain(whole(name)[1], wet_day)

    def redraw(name: str, wet_day: float, scale: int) -> dict[str, tuple]:
        record, filled, mass = whole(name)
        found = described(name, wet_day)
        index = standardised_precipitation_index(found.monthly_total, scale).assign_coords(scale=scale)
        years = filled.sizes["time"] / 365.25
        ten, ratio = found.sel(return_period=10), SAY.double_mass(facts.double_mass_facts(mass))
        return {
            "months": (partial(figures.monthly_figure, found), SAY.months(facts.months_facts(found))),
            "spells": (partial(figures.spells_figure, found), SAY.spells(facts.spells_facts(found))),
            "spi": (partial(figures.spi_figure, index), SAY.spi(facts.spi_facts(index), scale)),
            "mass": (partial(figures.double_mass_figure, mass), ratio),
            "levels": (partial(figures.return_levels_figure, found, years), SAY.return_levels(ten, years)),
        }

    return board("rain", controls, redraw, cautions("overflow"))
