"""The record as one piece of work: read, checked, filled, described, and written."""

from __future__ import annotations

import os
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
import xarray as xr

from rainharvest import __version__
from rainharvest.core.errors import InputError
from rainharvest.core.outputs import check_folder, whole_files, write_csv
from rainharvest.core.text import texts_of
from rainharvest.rainfall.check import accept_findings, check_rain
from rainharvest.rainfall.check_habits import check_steps
from rainharvest.rainfall.describe import describe_rain, one_version
from rainharvest.rainfall.fill import fill_gaps, years_filled
from rainharvest.rainfall.flags import MEANINGS, Flag, plural, spans, worst_first
from rainharvest.rainfall.read import read_rain, read_subdaily
from rainharvest.rainfall.refusals import refuse_unless
from rainharvest.rainfall.summary import summary
from rainharvest.rainfall.tables import Rain

HINTS = ("column", "units", "day_first", "at", "blank_is_zero")  # arguments of read_rain that settle a doubt


@dataclass(frozen=True)
class RainRecord:
    """What ``make_record`` found."""

    read: xr.DataArray  # [mm/day] The first file's rain as read
    neighbours: tuple[xr.DataArray, ...]  # [mm/day] The other files' rain as read
    findings: pd.DataFrame  # What ``check_rain`` doubts, with a column ``accepted``
    filled: xr.DataArray  # [mm/day] Equally likely complete versions (member, time)
    description: xr.Dataset  # What ``describe_rain`` says of the first version
    text: str  # A readable summary

    @property
    def year_start_month(self) -> int:
        """First month of the hydrological year."""
        return self.description.attrs["year_start_month"]


def make_record(
    files: Sequence[str | os.PathLike],
    out: str | os.PathLike | None = None,
    *,
    accept: Sequence[str] = ("wrong",),
    members: int = 20,
    seed: int = 0,
    method: str = "quantile",
    wet_day: float = 1.0,
    year_start_month: int | None = None,
    hints: Mapping[str, object] | None = None,
    gaps_end_in_totals: bool | None = None,
) -> RainRecord:
    """Read, check, fill and describe a rain record, and write it out.

    The first file is the site's; the others are neighbours, which help to check and to fill it. Findings
    change the record only where they are accepted: by default those that cannot be right ("wrong").

    Parameters
    ----------
    files : sequence of path
        The site's file, then its neighbours'.
    out : path, optional
        Folder for ``record.csv`` (date, rain of the first version, origin of the day, neighbour it was
        filled from), ``findings.csv``, ``record.nc`` (every version, the rain as read, the description,
        attributes) and ``summary.txt``, written all together or not at all. Nothing is written without it.
        A name that a spreadsheet would take for a formula bears an apostrophe before it in the tables.
    accept : sequence of str
        Findings to accept, by severity ("wrong", "suspect") or by check ("negative", "outlier" and so on).
    members : int [1]
        How many equally likely versions of the filled record are made.
    seed : int [1]
        Makes the random choices repeatable.
    method : str
        How gaps are filled; see ``fill_gaps``.
    wet_day : float [mm/day]
        Rain from which a day counts as wet.
    year_start_month : int, optional [1]
        First month of the hydrological year; the one after the driest season where not given.
    hints : mapping, optional
        ``column``, ``units``, ``day_first``, ``at``, ``blank_is_zero`` as in ``read_rain``; each is used
        only in the files that leave that doubt.
    gaps_end_in_totals : bool, optional
        As in ``check_rain``.

    Returns
    -------
    RainRecord

    Raises
    ------
    InputError
        If no file is named, one cannot be read, the record cannot be filled, or the folder not written.

    Examples
    --------
    >>> import tempfile, pathlib
    >>> file = pathlib.Path(tempfile.mkdtemp()) / "gauge.csv"
    >>> days = pd.date_range("1990-01-01", "1993-12-31")
    >>> rain = np.random.default_rng(1).gamma(0.2, 20, len(days)).round(1)
    >>> rain[500:510] = np.nan
    >>> pd.DataFrame({"date": days, "rain_mm": rain}).to_csv(file, index=False)
    >>> record = make_record([file], members=3)
    >>> record.filled.sizes["member"], int(record.filled.isnull().sum())
    (3, 0)
    """
    if out is not None:
        check_folder(out)
    month = 1 if year_start_month is None else year_start_month
    refuse_unless(1 <= month <= 12, "no_month", month=month)
    rain, near, findings, sound = read_and_check(files, hints, accept, gaps_end_in_totals=gaps_end_in_totals)
    try:
        filled = fill_gaps(sound, near or None, members, seed, method=method, wet_day=wet_day)
    except InputError as error:
        raise error.at(files[0]) from None
    first = one_version(filled)
    start = year_start_month or suggested_start(first, wet_day)
    description = describe_rain(first, wet_day, start)
    text = summary(rain, near, findings, filled, description)
    record = RainRecord(rain, near, findings, filled, description, text)
    if out is not None:
        write_record(record, out)
    return record


# Readings up to which they are checked one by one: they must fit the memory; beyond, only the days are.
MOST_READINGS = 10_000_000


def read_and_check(
    files: Sequence[str | os.PathLike],
    hints: Mapping[str, object] | None = None,
    accept: Sequence[str] = ("wrong",),
    *,
    place: Mapping[str, object] | None = None,
    gaps_end_in_totals: bool | None = None,
    by_reading: bool = True,
) -> tuple[xr.DataArray, tuple[xr.DataArray, ...], pd.DataFrame, xr.DataArray]:
    """Return a record and its neighbours as read, the findings and which are accepted, and the record with these.

    Where the file has hours or minutes, these are checked as the days are, unless ``by_reading`` is False. ``place``
    is where the gauge stands, should its file not say.
    """
    refuse_unless(files, "no_file_named")
    hints = {key: value for key, value in (hints or {}).items() if value is not None}
    for key in hints:
        refuse_unless(key in HINTS, "no_hint", key=key, names=", ".join(HINTS))
    used: list[dict[str, object]] = []
    read, *near = (read_as_far_as_needed(file, hints, used=used) for file in files)
    try:
        _refuse_ignored(files[0], read, hints, used)
        placed = read.assign_attrs({**(place or {}), **read.attrs})
        found = check_rain(placed, near or None, gaps_end_in_totals=gaps_end_in_totals)
        step = read.attrs.get("step_seconds") if by_reading else None
        if step and read.sizes["time"] * 86400 / step <= MOST_READINGS:
            steps = check_steps(read_as_far_as_needed(files[0], hints, read_subdaily))
            tables = [table for table in (found, steps) if len(table)] or [found]
            found = worst_first(pd.concat(tables, ignore_index=True))
        found = found.assign(accepted=_accepted(found, accept))
        return read, tuple(near), found, accept_findings(read, found[found["accepted"]])
    except InputError as error:
        raise error.at(files[0]) from None


def suggested_start(version: xr.DataArray, wet_day: float = 1.0) -> int:
    """Return the month that begins the hydrological year of a record so that its dry season stays whole."""
    return int(describe_rain(version, wet_day).suggested_start) or 1


_ARGUMENT = re.compile(rf"\b({'|'.join(HINTS)})=(True|False|'[^']*'|\([^)]*\))?")


def in_words_of(error: InputError, command: bool = False) -> InputError:
    """Return an error whose remedy names keys of [rain] in a study file, or options of the command line."""

    def said(found: re.Match) -> str:
        name, value = found[1], found[2] or ""
        if not command:
            value = value.lower() if value in ("True", "False") else value.translate(_TO_TOML)
            return f"{name} = {value}" if value else name
        option = ("site" if name == "at" and not value else name).replace("_", "-")
        if value in ("True", "False"):
            return f"--{'no-' * (value == 'False')}{option}"
        return f"--{option} {value.translate(_TO_WORDS)}".rstrip()

    return InputError(error.problem, _ARGUMENT.sub(said, error.remedy), error.place, error.file or None)


_TO_TOML = str.maketrans("'()", '"[]')

_TO_WORDS = str.maketrans({mark: None for mark in "'(),"})


def read_as_far_as_needed(
    file: str | os.PathLike,
    hints: Mapping[str, object],
    read: Callable[..., xr.DataArray] = read_rain,
    used: list[dict[str, object]] | None = None,
) -> xr.DataArray:
    """Read a file, using each hint only if the file leaves the doubt that it settles; add those used to ``used``."""
    needed: dict[str, object] = {}
    while True:
        try:
            rain = read(file, **needed)
        except InputError as error:
            settles = error.place if error.place in hints and error.place not in needed else ""
            if not settles:
                raise
            needed[settles] = hints[settles]
        else:
            if used is not None:
                used.append(needed)
            return rain


def _refuse_ignored(file, read: xr.DataArray, hints: Mapping[str, object], used: list[dict]) -> None:
    """Refuse a unit, a column or an order of dates that no file asked for and that the record's own denies."""
    for key in hints.keys() & {"units", "column", "day_first"} - set().union(*used):
        told = read_rain(file, **used[0], **{key: hints[key]})
        refuse_unless(told.equals(read), "hint_denied", key=key, value=hints[key])


def _accepted(findings: pd.DataFrame, accept: Sequence[str]) -> np.ndarray:
    """Return which findings are accepted; a word that names none of the record's is no error."""
    words = [accept] if isinstance(accept, str) else [*accept]
    named = findings["severity"].isin(words) | findings["check"].isin(words)
    return np.asarray(named & (findings["flag"] != ""), dtype=bool)


def write_record(record: RainRecord, out: str | os.PathLike, page: str = "") -> None:
    """Write a record's files, and its page where one is given, into a folder, all together or not at all."""
    with whole_files(out) as folder:
        if page:
            (folder / "record.html").write_text(page, encoding="utf-8", newline="\n")
        write_csv(record_table(record.filled), folder / "record.csv", index=False)
        write_csv(record.findings, folder / "findings.csv", index=False)
        (folder / "summary.txt").write_text(record.text, encoding="utf-8")
        record_dataset(record).to_netcdf(folder / "record.nc", engine="netcdf4")


def record_table(filled: xr.DataArray) -> pd.DataFrame:
    """Return the first version of a filled record as a table that ``read_rain`` reads back."""
    first = one_version(filled)
    return pd.DataFrame(
        {
            "date": first.indexes["time"].strftime("%Y-%m-%d"),
            "rain_mm": np.round(first.values, 3),
            "flag": [MEANINGS[Flag(f)] for f in first["flag"].values],
            "donor": filled["donor"].values,
        }
    )


def record_dataset(record: RainRecord) -> xr.Dataset:
    """Return everything as one Dataset: the versions, the rain as read, the description."""
    read = record.read
    out = record.description.assign(
        rain=record.filled,
        rain_read=("time", read.values, dict(read.attrs, long_name="Rain as read")),
        flag_read=("time", read["flag"].values, dict(read["flag"].attrs, long_name="Origin as read")),
        total_days=("time", read["total_days"].values, read["total_days"].attrs),
    )
    files = [one.attrs["source_file"] for one in (read, *record.neighbours)]
    digests = [one.attrs["sha256"] for one in (read, *record.neighbours)]
    return out.assign_attrs(
        record.description.attrs,
        Conventions="CF-1.8",
        title=f"Daily rain, read, checked and filled: {read.attrs.get('site', files[0])}",
        source_files=", ".join(files),
        source_sha256=", ".join(digests),
        findings=plural(len(record.findings), "finding"),
        findings_accepted=int(record.findings["accepted"].sum()),
        seed=record.filled.attrs["seed"],
        rainharvest=__version__,
    )


@dataclass(frozen=True)
class StudyRecord:
    """What the study knows of its rain."""

    raw: xr.DataArray  # [mm/day] The record as read
    # [mm/day] (member, time): equally likely versions, over the longest stretch without a day left open
    filled: xr.DataArray
    findings: pd.DataFrame  # What checking found
    year_start_month: int  # [1] First month of the hydrological year
    left_out: str  # Which days are not used, and why; empty if all are
    # Station by its own name, file and SHA-256: the record, then its neighbours
    sources: tuple[tuple[str, str, str], ...] = ()


# [day] Gaps through which a study carries its store (own choice): the versions differ as the record's seasons do, and a
# year that is mostly filled counts for none.
LONGEST_CARRIED = 3 * 366


def study_record(rain: Rain, folder: Path, place: Mapping[str, float | None] | None = None) -> StudyRecord:
    """Read, check and fill the study's rain, whose file may not say where it stands.

    Findings marked wrong are taken out before filling; those marked suspect are reported and kept.
    """
    files = [folder / name for name in (rain.file, *rain.neighbours)]
    known = {name: value for name, value in (place or {}).items() if value is not None}
    try:
        hints, totals = rain.model_dump(include=set(HINTS)), {"gaps_end_in_totals": rain.gaps_end_in_totals}
        raw, near, findings, sound = read_and_check(files, hints, place=known, **totals)
    except InputError as error:
        raise in_words_of(error) from None
    most = LONGEST_CARRIED
    given = {"members": rain.members, "seed": rain.seed, "longest_gap": most, "longest_alone": most}
    refuse_unless((sound > 0).any(), "no_rain", files[0])
    filled, left_out = longest_stretch(fill_gaps(sound, near or None, **given))
    if (filled == filled[0]).all():  # nothing was left to chance: one version says all
        filled = filled.isel(member=[0]).assign_attrs(members=1)
    days = filled.sizes["time"]
    refuse_unless(days >= 365, "short_record", files[0], days=days)
    month = rain.year_start_month or suggested_start(filled.isel(member=0))
    names = ("site", "source_file", "sha256")
    sources = tuple(tuple(str(one.attrs.get(name, "")) for name in names) for one in (raw, *near))
    return StudyRecord(raw, filled, findings.drop(columns="accepted"), month, left_out, sources)


LEAST_SINCE = 5  # [year] Years after a break on which a tank can be sized at all (own choice)


def part_since(record: StudyRecord) -> pd.Timestamp | None:
    """Return the day from which the record is another: after a proven break, or the later half under a proven trend."""
    found, days = record.findings, record.filled.indexes["time"]
    if not len(found):
        return None
    proven = found[found["severity"] == "suspect"].set_index("check")["last_day"]
    since = proven.get("homogeneity")
    if since is None and "trend" in proven:
        since = pd.Timestamp(days[len(days) // 2].year + 1, 1, 1)
    if since is None:
        return None
    since = pd.Timestamp(np.max(since))
    return since if (days[-1] - since).days >= LEAST_SINCE * 365 and since > days[0] else None


def measured_years(record: StudyRecord | RainRecord) -> float:
    """Return the years of the record used, without those of which more than a fifth is filled."""
    out = [int(year) for year in record.filled.attrs.get("years_to_leave_out", "").split(", ") if year]
    return int((~np.isin(record.filled.indexes["time"].year, out)).sum()) / 365.25


def longest_stretch(filled: xr.DataArray) -> tuple[xr.DataArray, str]:
    """Return the longest run of days that have a value in every member, and what was left out.

    Years that do not follow one another are not spliced: the store of one would be handed to the other.
    """
    known = filled.notnull().all("member").values
    if known.all():
        return filled, ""
    stretches = spans(known)
    if not stretches:
        return filled.isel(time=slice(0, 0)), "no day is known"
    begin, last = max(stretches, key=lambda run: run[1] - run[0])
    stretch = filled.isel(time=slice(begin, last + 1))
    first, last = (str(t)[:10] for t in stretch.time.values[[0, -1]])
    new = np.isin(stretch.flag.values, [Flag.FILLED, Flag.RESAMPLED])
    stretch = stretch.assign_attrs(years_filled(stretch.indexes["time"], new, np.zeros_like(new)))
    inside, outside = int((~known).sum()), int(known.size - stretch.sizes["time"])
    return stretch, texts_of("rainfall").left_out(inside, first, last, outside)
