"""``read_rain``: a rain file as it comes, to daily rain in mm with the origin of each day."""

from __future__ import annotations

import os
from collections.abc import Iterator
from dataclasses import replace
from itertools import chain, islice

import numpy as np
import xarray as xr

from rainharvest.core.errors import InputError
from rainharvest.rainfall.flags import Flag
from rainharvest.rainfall.read_days import SUB_DAILY, Readings, begin, day_sums, to_days
from rainharvest.rainfall.read_grid import read_netcdf
from rainharvest.rainfall.read_layout import find_table, undated
from rainharvest.rainfall.read_open import Source, lines, open_source, sheet_names, workbook_lines
from rainharvest.rainfall.read_rows import Hints, read_rows, text_rows
from rainharvest.rainfall.read_values import plural
from rainharvest.rainfall.read_wide import TENTHS, find_ghcn, find_wide, read_ghcn, read_wide

HEAD = 400

"""Lines looked at to work out the layout."""


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
        ``assumptions`` and, where known, ``latitude``, ``longitude``, ``elevation``, ``site``.

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
    hints = Hints(column, units, day_first, at, blank_is_zero)
    source, chunks = readings_of(path, column, units, day_first, at)
    try:
        first = next(chunks)
        chunks = chain([first], chunks)
        if first.step < SUB_DAILY:
            rain = to_days(day_sums((begin(part, None) for part in chunks), blank_is_zero=blank_is_zero))
        else:
            rain = _dry_blanks(to_days(_joined(chunks)), hints)
    except InputError as error:
        raise error.at(source.path) from None
    notes = [n for n in (*source.notes, rain.attrs["assumptions"]) if n]
    rain.attrs |= {"source_file": source.path.name, "sha256": source.sha256, "assumptions": "; ".join(notes)}
    return rain


def readings_of(path, column, units, day_first, at) -> tuple[Source, Iterator[Readings]]:
    """Open a file and return its readings, a chunk at a time, whatever its layout."""
    source = open_source(path)
    try:
        return source, _layout(source, Hints(column, units, day_first, at))
    except InputError as error:
        raise error.at(source.path) from None


def _layout(source: Source, hints: Hints) -> Iterator[Readings]:
    if source.kind == "netcdf":
        return iter([read_netcdf(source, hints)])
    if source.kind == "excel":
        body = [*workbook_lines(source.path, hints.at)]
        if not isinstance(hints.at, str) or hints.at in sheet_names(source.path):
            hints = replace(hints, at=None)
    else:
        body = None
    head = [line.rstrip("\r\n") for line in islice(_lines(source, body), HEAD)]
    if form := find_ghcn(head):
        return iter([read_ghcn(form, _lines(source, body), hints)])
    if wide := find_wide(head):
        return iter([read_wide(wide, _lines(source, body), hints)])
    table = find_table(head)
    if table is None:
        name, cell = undated(head)
        if name:
            raise InputError(
                f"{cell!r} is no date that can be read", "write dates as 1990-01-31", f"column {name!r}"
            )
        raise InputError(
            "no table of days was found in it",
            "give a row a day with a date and the rain, under a header such as date,rain_mm",
        )
    fixed = TENTHS if {"souid", "date", "rr"} <= {n.strip().lower() for n in table.names} else None
    return read_rows(text_rows(_lines(source, body), table), table, hints, fixed)


def _lines(source: Source, body: list[str] | None) -> Iterator[str]:
    return lines(source) if body is None else iter(body)


def _joined(chunks: Iterator[Readings]) -> Readings:
    """Join the chunks of a daily file."""
    parts = list(chunks)
    stamp = np.concatenate([p.stamp for p in parts])
    notes = [note for p in parts for note in p.notes]
    clock = np.unique(stamp - stamp.astype("datetime64[D]"))
    if (clock > np.timedelta64(0)).any():
        stamped = f"stamped {str(stamp[0])[11:16]}" if len(clock) == 1 else "whatever its time"
        notes.append(f"each value, {stamped}, was taken for the day of its date")
    rest = (
        np.concatenate([getattr(p, name) for p in parts]) for name in ("fallen", "flag", "total_days", "line")
    )
    return Readings(stamp, *rest, parts[0].facts, tuple(notes))


def _dry_blanks(rain: xr.DataArray, hints: Hints) -> xr.DataArray:
    """Apply ``blank_is_zero``; ask for it where a file lists nothing but rain days."""
    blank = rain.flag.values == Flag.MISSING
    if hints.blank_is_zero:
        rain = rain.copy(data=np.where(blank, 0.0, rain.values))
        rain["flag"].values[blank] = Flag.MEASURED
        rain["total_days"].values[blank] = 1
        rain.attrs["assumptions"] += f"; {plural(int(blank.sum()), 'blank day')} taken for dry, as asked"
        return rain
    known = rain.values[~np.isnan(rain.values)]
    if hints.blank_is_zero is None and len(known) >= 5 and known.min() > 0 and blank.sum() > len(known):
        raise InputError(
            "the file lists nothing but rain days: the days between may be dry or unknown",
            "say blank_is_zero=True if they were dry, False if they are unknown",
            "blank_is_zero",
        )
    return rain
