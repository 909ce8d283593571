"""From readings, one a row, to the daily record: no gaps in the index, each day with its origin."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import pandas as pd
import xarray as xr

from rainharvest.errors import InputError
from rainharvest.names import attributes
from rainharvest.rainfall.flags import Flag, flag_attributes
from rainharvest.sources import Default

LONGEST_TOTAL = Default(
    366, "day", "days over which a total may reach; longer is a writing error", "own choice"
)


@dataclass(frozen=True)
class Readings:
    """What a file says, one entry a row, in the file's order.

    Parameters
    ----------
    stamp : array of datetime64[s]
        The observation day, or the moment of a sub-daily reading.
    fallen : array of float [mm]
        Rain; NaN where unknown.
    flag : array of int8
        ``flags.Flag``.
    total_days : array of int
        Days over which the value was measured.
    line : array of int
        Line of the file, for errors; empty where the file has no lines.
    facts : mapping
        latitude, longitude, elevation, site, as far as known.
    notes : tuple of str
        Assumptions made.
    step : float
        Seconds between readings; 86400 for daily ones.
    stamp_ends : bool
        Whether the file tells that stamps are the end of each reading.
    """

    stamp: np.ndarray
    fallen: np.ndarray
    flag: np.ndarray
    total_days: np.ndarray
    line: np.ndarray
    facts: Mapping[str, object] = field(default_factory=dict)
    notes: tuple[str, ...] = ()
    step: float = 86400.0
    stamp_ends: bool = False


def plural(count: int, one: str = "day", many: str = "") -> str:
    """Return "1 day", "2 days".

    Parameters
    ----------
    count : int
        How many.
    one, many : str
        The noun for one and for several; an s is added where ``many`` is not given.

    Returns
    -------
    str

    Examples
    --------
    >>> plural(1), plural(3, "value")
    ('1 day', '3 values')
    """
    return f"{count} {one if count == 1 else many or one + 's'}"


def usual_step(stamps: np.ndarray) -> float:
    """Return the commonest step between readings [s]; a day where there is no telling.

    Parameters
    ----------
    stamps : array of datetime64
        Moments of the readings.

    Returns
    -------
    float
        Seconds.

    Examples
    --------
    >>> usual_step(np.array(["2000-01-01T00", "2000-01-01T01", "2000-01-01T02"], dtype="datetime64[s]"))
    3600.0
    """
    gaps, count = np.unique(np.diff(np.unique(stamps)).astype(np.int64), return_counts=True)
    return float(min(gaps[count.argmax()], 86400)) if len(gaps) else 86400.0


def place_of(readings: Readings, row: int) -> str:
    """Return where a reading stands, in words for an error.

    Parameters
    ----------
    readings : Readings
        The readings.
    row : int
        Which of them.

    Returns
    -------
    str
        Line and day.
    """
    day = str(readings.stamp[row].astype("datetime64[D]"))
    return f"line {readings.line[row]}, {day}" if len(readings.line) else day


def refuse_apart(readings: Readings) -> None:
    """Refuse rows that stand days apart all along: monthly totals, or totals over an unstated number of days.

    Parameters
    ----------
    readings : Readings
        The rows of a table.

    Raises
    ------
    InputError
        If they do.
    """
    day = np.unique(readings.stamp.astype("datetime64[D]"))
    if len(day) < 4 or (readings.total_days > 1).any():
        return
    gaps = np.diff(day).astype(int)
    if gaps.min() >= 28 and gaps.max() <= 31:
        raise InputError("the values are a month apart", "give daily rain; monthly totals cannot be undone")
    if gaps.min() == gaps.max() > 1:
        raise InputError(
            f"the values are {gaps[0]} days apart: totals over {gaps[0]} days, or one day in {gaps[0]}",
            "add a column 'days' with the days over which each value was measured",
        )


def to_days(readings: Readings) -> xr.DataArray:
    """Lay daily readings on a gapless index.

    Parameters
    ----------
    readings : Readings
        Daily readings in any order.

    Returns
    -------
    DataArray [mm/day]
        Dimension ``time``; coordinates ``flag`` and ``total_days``. Days without a row are NaN, never dry.

    Raises
    ------
    InputError
        If the file gives two different values for one day, or a total over days that have their own.
    """
    notes = list(readings.notes)
    day = readings.stamp.astype("datetime64[D]")
    if not len(day):
        raise InputError("the file has no day in it", "check that this is the file meant")
    rain, flag, total = readings.fallen, readings.flag, readings.total_days.astype(np.int64)
    order = np.argsort(day, kind="stable")
    if (np.diff(day) < np.timedelta64(0)).any():
        notes.append("the rows were not in order of date and were sorted")
    keep = _one_a_day(readings, day, order, notes)
    day, rain, flag, total = day[keep], rain[keep], flag[keep], total[keep]
    total = np.where(np.isnan(rain), 0, total)

    first = (day - np.maximum(total - 1, 0)).min()
    length = int((day[-1] - first).astype(int)) + 1
    at = (day - first).astype(np.int64)
    values = np.full(length, np.nan)
    flags = np.full(length, Flag.MISSING, dtype=np.int8)
    totals = np.zeros(length, dtype=np.int16)
    values[at], flags[at], totals[at] = rain, flag, total
    row_of = np.full(length, -1)
    row_of[at] = keep

    _lay_totals(readings, values, flags, totals, row_of, first, notes)
    absent = int(((row_of < 0) & (flags == Flag.MISSING)).sum())
    if absent:
        notes.append(
            f"{plural(absent)} without a row in the file {'is' if absent == 1 else 'are'} unknown, not dry"
        )
    time = pd.DatetimeIndex(np.arange(first, first + length).astype("datetime64[ns]"), name="time")
    return xr.DataArray(
        values,
        dims="time",
        coords={
            "time": ("time", time, {"long_name": "Day", "standard_name": "time"}),
            "flag": ("time", flags, flag_attributes()),
            "total_days": ("time", totals, {"units": "day", "long_name": "Days in the total"}),
        },
        attrs=attributes("rain", **readings.facts, assumptions="; ".join(dict.fromkeys(notes))),
        name="rain",
    )


def _one_a_day(readings: Readings, day: np.ndarray, order: np.ndarray, notes: list[str]) -> np.ndarray:
    """Return the rows to keep, sorted by day, one a day; two different values for a day are an error."""
    ordered = day[order]
    same = np.flatnonzero(ordered[1:] == ordered[:-1])
    if not len(same):
        return order
    drop, twice, blank = set(), 0, 0
    kept = {}
    for i in same:
        a, b = kept.get(ordered[i], order[i]), order[i + 1]
        x, y = readings.fallen[a], readings.fallen[b]
        if np.isnan(x) or np.isnan(y):
            loser = a if np.isnan(x) else b
            blank += not (np.isnan(x) and np.isnan(y))
            twice += bool(np.isnan(x) and np.isnan(y))
        elif x == y and readings.total_days[a] == readings.total_days[b]:
            loser = b
            twice += 1
        else:
            raise InputError(
                f"two values for one day, {x:g} and {y:g} mm",
                "keep the right one in the file (or name the site with at=, if the file holds several)",
                place_of(readings, b),
            )
        kept[ordered[i]] = b if loser == a else a
        drop.add(loser)
    if twice:
        notes.append(f"{plural(twice, 'day')} stood twice with the same value; one was kept")
    if blank:
        notes.append(f"{plural(blank, 'day')} stood once blank and once with a value; the value was kept")
    return order[~np.isin(order, list(drop))]


def _lay_totals(readings, values, flags, totals, row_of, first, notes) -> None:
    """Mark the days inside multi-day totals; a value of its own inside a total is an error."""
    zeros = 0
    ends = np.flatnonzero(totals > 1)
    for end in ends:
        flags[end] = Flag.TOTAL
        inside = slice(end - int(totals[end]) + 1, end)
        own = np.flatnonzero(values[inside] > 0)
        if len(own) or (totals[inside] > 1).any():
            own = own[0] if len(own) else np.flatnonzero(totals[inside] > 1)[0]
            day = str(first + (inside.start + own))
            raise InputError(
                f"the total over {totals[end]} days includes {day}, which has a value of its own",
                "correct the number of days of the total, or blank the value inside it",
                place_of(readings, int(row_of[end])),
            )
        zeros += int((values[inside] == 0).sum())
        values[inside], totals[inside], flags[inside] = np.nan, 0, Flag.IN_TOTAL
    if len(ends):
        notes.append(
            f"{plural(len(ends), 'value is a total', 'values are totals')} over several days, kept as such"
        )
    if zeros:
        notes.append(
            f"{plural(zeros, 'zero')} inside multi-day totals taken for blanks: the total covers the day"
        )
