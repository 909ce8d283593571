"""``read_rain``: a rain file as it comes, to daily rain in mm with the origin of each day; or kept sub-daily."""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from functools import partial
from itertools import chain, islice

import numpy as np
import pandas as pd
import xarray as xr

from rainharvest.core.errors import InputError
from rainharvest.core.quantities import attributes
from rainharvest.rainfall.flags import Flag, flag_attributes, plural
from rainharvest.rainfall.read_days import (
    SUB_DAILY,
    Readings,
    begin,
    day_sums,
    one_each,
    to_days,
    within_record,
)
from rainharvest.rainfall.read_ghcn import TENTHS, find_ghcn, read_ghcn
from rainharvest.rainfall.read_grid import read_netcdf
from rainharvest.rainfall.read_layout import find_table, undated
from rainharvest.rainfall.read_open import Source, lines, open_source, workbook_lines
from rainharvest.rainfall.read_rows import Hints, read_rows, text_rows
from rainharvest.rainfall.read_values import LIMITS
from rainharvest.rainfall.read_wide import find_wide, read_wide
from rainharvest.rainfall.refusals import refusal, refuse_unless

HEAD = 400  # lines looked at to work out the layout


def read_rain(
    path: str | os.PathLike,
    *,
    column: str | None = None,
    units: str | None = None,
    day_first: bool | None = None,
    at: object = None,
    blank_is_zero: bool | None = None,
) -> xr.DataArray:
    r"""Read the daily rain of one site from a file as it comes.

    The layout is worked out from the file. Where the file leaves real doubt the reader asks: the error
    names the doubt and the argument that settles it. Every assumption that it did make stands in the
    attribute ``assumptions``.

    Parameters
    ----------
    path : str or path
        The file: delimited text (a row a day, an hour or a minute; a row a month with a column a day),
        GHCN-Daily, ECA&D, a workbook or CF netCDF; plain or packed.
    column : str, optional
        The rain column, by its name, where several could be it.
    units : str, optional
        The unit of the rain in the file, where the file does not say: "mm", "0.1 mm", "in" and so on.
    day_first : bool, optional
        Whether 03/04/1990 is the 3rd of April, where the dates fit both ways.
    at : tuple of float or str, optional
        Where, in a file of many places: (latitude, longitude), or the name of the site,
        or of the sheet.
    blank_is_zero : bool, optional
        Whether days that are blank or have no row were dry. Asked for only where a file lists nothing
        but rain days; otherwise such days are unknown unless True is given.

    Returns
    -------
    DataArray [mm/day]
        Dimension ``time``, daily without gaps; NaN where unknown; coordinates ``flag``
        (``rainfall.flags.Flag``) and ``total_days``; attributes ``source_file``, ``sha256``,
        ``assumptions`` and, where known, ``latitude``, ``longitude``, ``elevation``, ``site``; where
        regular readings were summed, ``step_seconds``.

    Raises
    ------
    InputError
        If the file cannot be read, or leaves a doubt.

    Examples
    --------
    >>> import tempfile, pathlib
    >>> file = pathlib.Path(tempfile.mkdtemp()) / "gauge.csv"
    >>> _ = file.write_text("date,rain_mm\n1990-01-01,2.5\n1990-01-02,T\n1990-01-04,0.0\n")
    >>> rain = read_rain(file)
    >>> rain.values, rain.flag.values
    (array([2.5, 0. , nan, 0. ]), array([0, 1, 2, 0], dtype=int8))
    """
    _told(day_first=day_first, blank_is_zero=blank_is_zero)
    with _opened(path, Hints(column, units, day_first, at)) as (source, chunks):
        first = next(chunks)
        chunks = chain([first], chunks)
        if first.step < SUB_DAILY:
            rain = to_days(day_sums((begin(part, None) for part in chunks), blank_is_zero))
            if not blank_is_zero:
                rain.attrs["step_seconds"] = first.step
        else:
            rain = _dry_blanks(to_days(_whole(chunks)), blank_is_zero)
    notes = [n for n in (*source.notes, rain.attrs["assumptions"]) if n]
    rain.attrs |= _origin(source) | {"assumptions": "; ".join(notes)}
    return rain


def read_subdaily(
    path: str | os.PathLike,
    *,
    column: str | None = None,
    units: str | None = None,
    day_first: bool | None = None,
    at: object = None,
    stamp_ends: bool | None = None,
) -> xr.DataArray:
    """Read hourly or minute rain and keep it so, as the sub-daily checks need it.

    Parameters
    ----------
    path : str or path
        The file, in any layout that ``read_rain`` takes.
    column, units, day_first, at
        As in ``read_rain``.
    stamp_ends : bool, optional
        Whether a reading's stamp is the end of its interval. The default takes it for the beginning,
        and says so in ``assumptions``, unless the file itself tells.

    Returns
    -------
    DataArray [mm]
        Rain of each reading on ``time``, the beginning of its interval; rows that the file leaves out
        are not added. Coordinate ``flag``; attributes as ``read_rain`` gives, and ``step_seconds``.

    Raises
    ------
    InputError
        As ``read_rain`` does; and if the readings are a day apart.
    """
    _told(day_first=day_first, stamp_ends=stamp_ends)
    with _opened(path, Hints(column, units, day_first, at)) as (source, chunks):
        parts = [begin(part, stamp_ends) for part in chunks]
        step = parts[0].step
        refuse_unless(step < SUB_DAILY, "days_not_readings")
        whole = joined(parts)
        del parts  # a minute record fills memory
        notes = [*source.notes, *whole.notes]
        keep = one_each(whole, whole.stamp, "moment", notes)
    stamp, rain, flag = whole.stamp[keep], whole.fallen[keep], whole.flag[keep]
    more = {"step_seconds": step, "assumptions": "; ".join(dict.fromkeys(notes))} | _origin(source)
    return xr.DataArray(
        rain,
        dims="time",
        coords={
            "time": pd.DatetimeIndex(stamp.astype("datetime64[ns]"), name="time"),
            "flag": ("time", flag, flag_attributes()),
        },
        attrs=attributes("rain_step", **whole.facts, **more),
        name="rain_step",
    )


def _told(**settings: object) -> None:
    """Refuse settings that are neither true, false nor left open: any word would count as true."""
    for name, value in settings.items():
        refuse_unless(value is None or isinstance(value, bool | np.bool_), "no_truth", name=name, value=value)


def _origin(source: Source) -> dict[str, object]:
    return {"source_file": source.path.name, "sha256": source.sha256}


@contextmanager
def _opened(path: str | os.PathLike, hints: Hints) -> Iterator[tuple[Source, Iterator[Readings]]]:
    """Give a file and its readings, a chunk at a time, whatever its layout; errors of reading them name the file."""
    source = open_source(path)
    try:
        yield source, map(within_record, _layout(source, hints))
    except InputError as error:
        raise error.at(source.path) from None


def _layout(source: Source, hints: Hints) -> Iterator[Readings]:
    if source.kind == "netcdf":
        return iter([read_netcdf(source, hints)])
    again = partial(lines, source)
    if source.kind == "excel":
        rows, sheet_named = workbook_lines(source.path, hints.at)
        again = partial(iter, rows)
        hints = replace(hints, at=None) if sheet_named else hints
    head = [line.rstrip("\r\n") for line in islice(again(), HEAD)]
    wide = max(
        (max(len(line.split()), *(line.count(mark) + 1 for mark in ";\t,|")) for line in head), default=0
    )
    most = LIMITS["columns"].value
    refuse_unless(wide <= most, "many_columns", columns=wide, most=most)
    if form := find_ghcn(head):
        return iter([read_ghcn(form, again(), hints)])
    if wide := find_wide(head):
        return iter([read_wide(wide, again(), hints)])
    table = find_table(head)
    if table is None:
        name, cell = undated(head)
        refuse_unless(not name, "no_readable_date", cell=cell, column=name)
        raise refusal("no_table")
    fixed = TENTHS if {"souid", "date", "rr"} <= {n.strip().lower() for n in table.names} else None
    return read_rows(text_rows(again(), table), table, hints, fixed)


def joined(parts: Sequence[Readings]) -> Readings:
    """Join the chunks of a file."""
    names = ("stamp", "fallen", "flag", "total_days", "line")
    columns = (np.concatenate([getattr(part, name) for part in parts]) for name in names)
    return Readings(
        *columns, parts[0].facts, tuple(note for part in parts for note in part.notes), parts[0].step
    )


def _whole(chunks: Iterable[Readings]) -> Readings:
    """Join the chunks of a daily file."""
    whole = joined([*chunks])
    clock = np.unique(whole.stamp - whole.stamp.astype("datetime64[D]"))
    if not (clock > np.timedelta64(0, "s")).any():
        return whole
    stamped = f"stamped {str(whole.stamp[0])[11:16]}" if len(clock) == 1 else "whatever its time"
    return replace(whole, notes=(*whole.notes, f"each value, {stamped}, was taken for the day of its date"))


def _dry_blanks(rain: xr.DataArray, blank_is_zero: bool | None) -> xr.DataArray:
    """Apply ``blank_is_zero``; ask for it where a file lists nothing but rain days."""
    blank = rain.flag.values == Flag.MISSING
    if blank_is_zero:
        rain.values[blank] = 0.0
        rain["flag"].values[blank] = Flag.MEASURED
        rain["total_days"].values[blank] = 1
        rain.attrs["assumptions"] += f"; {plural(int(blank.sum()), 'blank day')} taken for dry, as asked"
        return rain
    known = rain.values[~np.isnan(rain.values)]
    told = blank_is_zero is not None or len(known) < 5 or known.min() <= 0 or blank.sum() <= len(known)
    refuse_unless(told, "only_rain_days")
    return rain
