"""From readings to the daily record: no gaps in the index, each day with its origin; hours summed."""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

import numpy as np
import pandas as pd
import xarray as xr

from rainharvest.core.defaults import Default
from rainharvest.core.errors import InputError
from rainharvest.core.quantities import attributes
from rainharvest.rainfall.flags import Flag, flag_attributes
from rainharvest.rainfall.read_columns import Unit
from rainharvest.rainfall.read_values import plural, positive_codes

LONGEST_TOTAL = Default(
    366, "day", "days over which a total may reach; longer is a writing error", "own choice"
)


@dataclass(frozen=True)
class Readings:
    """What a file says, one entry a row, in the file's order."""

    stamp: np.ndarray  # [s] The observation day, or the moment of a sub-daily reading
    fallen: np.ndarray  # [mm] Rain; NaN where unknown
    flag: np.ndarray  # ``flags.Flag``
    total_days: np.ndarray  # Days over which the value was measured
    line: np.ndarray  # Line of the file, for errors; empty where the file has no lines
    # latitude, longitude, elevation, site, as far as known
    facts: Mapping[str, object] = field(default_factory=dict)
    notes: tuple[str, ...] = ()  # Assumptions made
    step: float = 86400.0  # Seconds between readings; 86400 for daily ones
    stamp_ends: bool = False  # Whether the file tells that stamps are the end of each reading


def usual_step(stamps: np.ndarray) -> float:
    """Return the commonest step between readings [s]; a day where there is no telling.

    >>> usual_step(np.array(["2000-01-01T00", "2000-01-01T01", "2000-01-01T02"], dtype="datetime64[s]"))
    3600.0
    """
    gaps, count = np.unique(np.diff(np.unique(stamps)).astype(np.int64), return_counts=True)
    return float(min(gaps[count.argmax()], 86400)) if len(gaps) else 86400.0


def place_of(readings: Readings, row: int) -> str:
    """Return where a reading stands, in words for an error."""
    day = str(readings.stamp[row].astype("datetime64[D]"))
    return f"line {readings.line[row]}, {day}" if len(readings.line) else day


def refuse_apart(readings: Readings) -> None:
    """Refuse rows that stand days apart all along: monthly totals, or totals over an unstated number of days."""
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
    """Lay daily readings on a gapless index."""
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


Entry = tuple[np.datetime64, float, str, str, str, int]

"""Day, value (NaN if missing), measurement flag, quality flag, source flag, line."""


def join_elements(elements: dict[str, list[Entry]], unit: Unit, facts: dict, notes: list[str]) -> Readings:
    """Join rain by day with totals over several days and their number of days."""
    rows = [*elements.get("PRCP", ())]
    own = {e[0] for e in rows if not e[3]}
    known = np.array(sorted(own), dtype="datetime64[s]")
    spans = {e[0]: int(e[1]) for e in elements.get("DAPR", ()) if not e[3]}
    total = [1] * len(rows)
    guessed = lost = 0
    last = None  # the day on which the total before this one ends
    for entry in sorted(elements.get("MDPR", ()), key=lambda e: e[0]):
        day = entry[0]
        if day in own:
            lost += 1
            continue
        before = np.searchsorted(known, day)
        free = (
            int((day - known[before - 1]).astype("timedelta64[D]").astype(int))
            if before
            else LONGEST_TOTAL.value
        )
        if last is not None:
            free = min(free, int((day - last).astype("timedelta64[D]").astype(int)))
        span = spans.get(day, 0)
        if not span and before and free <= 31:
            span, guessed = free, guessed + 1
        if not 1 <= span <= free:
            lost += 1
            entry = (*entry[:3], "span", *entry[4:])
        last = day
        rows.append(entry)
        total.append(max(span, 1))
    if guessed:
        notes.append(
            f"{plural(guessed, 'total')} of unstated length taken to cover the days since the last value"
        )
    if lost:
        notes.append(
            f"{plural(lost, 'total')} over several days left out: the days have values of their own, or the "
            "number of them is not given"
        )
    quality = np.array([bool(e[3]) for e in rows], dtype=bool)
    trace = np.array([e[2] == "T" for e in rows], dtype=bool)
    raw = np.array([e[1] for e in rows], dtype=float)
    codes = positive_codes(raw, unit.factor)
    coded = np.isin(raw, codes)
    if codes:
        notes.append(f"{', '.join(f'{c:g}' for c in codes)} taken for a missing code")
    rain = unit.mm(np.where(coded, np.nan, raw))
    rain = np.where(quality, np.nan, np.where(trace, 0.0, rain))
    flag = np.where(trace, Flag.TRACE, np.where(np.isnan(rain), Flag.MISSING, Flag.MEASURED))
    flag = np.where(quality, Flag.REJECTED, flag).astype(np.int8)
    _flag_notes(rows, quality, notes)
    return Readings(
        np.array([e[0] for e in rows], dtype="datetime64[s]"),
        rain,
        flag,
        np.array(total, dtype=np.int64),
        np.array([e[5] for e in rows], dtype=np.int64),
        facts,
        tuple(notes),
    )


def _flag_notes(rows: list[Entry], quality: np.ndarray, notes: list[str]) -> None:
    if quality.any():
        letters = "".join(sorted({e[3] for e in rows if len(e[3]) == 1}))
        notes.append(
            f"{plural(int(quality.sum()), 'value')} rejected (quality flags {letters}) set to unknown"
        )
    if presumed := sum(e[2] == "P" and not e[3] for e in rows):
        notes.append(f"{plural(presumed, 'zero')} that the source presumes (flag P) kept")
    wet = sum(e[1] > 0 and not e[3] for e in rows)
    if wet and (loose := sum(e[4] == "S" and e[1] > 0 and not e[3] for e in rows)) > 0.05 * wet:
        notes.append(f"{plural(loose, 'wet day')} come from the source S, the least reliable one for rain")


SUB_DAILY = 0.75 * 86400

"""Readings closer together than this [s] are sub-daily."""


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
    from rainharvest.rainfall.read import readings_of

    source, chunks = readings_of(path, column, units, day_first, at)
    try:
        parts = [begin(part, stamp_ends) for part in chunks]
        step, facts = parts[0].step, parts[0].facts
        if step >= SUB_DAILY:
            raise InputError("the readings are a day apart", "read them with read_rain")
        notes = dict.fromkeys([*source.notes, *(note for part in parts for note in part.notes)])
        columns = []
        for name in ("stamp", "fallen", "flag", "line"):  # one after the other: a minute record fills memory
            columns.append(np.concatenate([getattr(part, name) for part in parts]))
        del parts
        stamp, rain, flag, line = columns
        whole = Readings(stamp, rain, flag, line[:0], line)
        keep = _single(whole)
    except InputError as error:
        raise error.at(source.path) from None
    if len(keep) < len(stamp) or (np.diff(keep) < 0).any():
        stamp, rain, flag = stamp[keep], rain[keep], flag[keep]
    more = dict(facts, step_seconds=step, assumptions="; ".join(notes))
    more |= {"source_file": source.path.name, "sha256": source.sha256}
    return xr.DataArray(
        rain,
        dims="time",
        coords={
            "time": pd.DatetimeIndex(stamp.astype("datetime64[ns]"), name="time"),
            "flag": ("time", flag, flag_attributes()),
        },
        attrs=attributes("rain_step", **more),
        name="rain_step",
    )


def sum_to_days(
    rain_step: xr.DataArray | pd.Series, *, day_start: float = 0.0, blank_is_zero: bool | None = None
) -> xr.DataArray:
    """Sum sub-daily rain to observation days.

    A day counts only when every reading of it is known: no missing reading is allowed in a total.

    Parameters
    ----------
    rain_step : DataArray or Series [mm]
        What ``read_subdaily`` gave, or any series of regular readings.
    day_start : float [h]
        Hour of the clock at which the observation day begins. A day from midnight bears its own date; one
        that begins later bears the date on which it ends, the day of reading.
    blank_is_zero : bool, optional
        Whether the time between readings was dry, as in a record of bucket tips.

    Returns
    -------
    DataArray [mm/day]
        As ``read_rain`` gives.

    Raises
    ------
    InputError
        If the readings do not divide the day, an interval has two of them, or the hour is none of the day's.

    Examples
    --------
    >>> rain = pd.Series(1.0, pd.date_range("2000-01-01", periods=48, freq="h"))
    >>> sum_to_days(rain).values, sum_to_days(rain, day_start=9).values
    (array([24., 24.]), array([nan, 24., nan]))
    """
    if not 0 <= day_start < 24:
        raise InputError(f"hour {day_start}", "give an hour from 0 to below 24", "day_start")
    if isinstance(rain_step, pd.Series):
        rain_step = xr.DataArray(rain_step.to_numpy(float), dims="time", coords={"time": rain_step.index})
    stamp = rain_step["time"].values.astype("datetime64[s]")
    step = float(rain_step.attrs.get("step_seconds", 0)) or usual_step(stamp)
    keep = ("latitude", "longitude", "elevation", "site")
    facts = {k: v for k, v in rain_step.attrs.items() if k in keep}
    notes = (rain_step.attrs["assumptions"],) if rain_step.attrs.get("assumptions") else ()
    none = np.array([], dtype=np.int64)
    flag = np.where(rain_step.isnull(), Flag.MISSING, Flag.MEASURED)
    flag = rain_step["flag"].values if "flag" in rain_step.coords else flag
    readings = Readings(stamp, rain_step.values, flag, none, none, facts, notes, step)
    out = to_days(day_sums([readings], day_start, blank_is_zero))
    out.attrs |= {k: rain_step.attrs[k] for k in ("source_file", "sha256") if k in rain_step.attrs}
    return out


def begin(part: Readings, stamp_ends: bool | None) -> Readings:
    """Move the stamps of a chunk to the beginning of each reading."""
    ends = part.stamp_ends if stamp_ends is None else stamp_ends
    if part.step >= SUB_DAILY:
        return part
    why = " as asked" if stamp_ends is not None else ""
    notes = (
        *part.notes,
        f"each stamp was taken for the {'end' if ends else 'beginning'} of its reading{why}",
    )
    stamp = part.stamp - np.timedelta64(int(part.step), "s") if ends else part.stamp
    return Readings(stamp, part.fallen, part.flag, part.total_days, part.line, part.facts, notes, part.step)


def _single(readings: Readings) -> np.ndarray:
    """Return the rows to keep, in order of time; two different values at one moment are an error."""
    if (np.diff(readings.stamp) > np.timedelta64(0)).all():
        return np.arange(len(readings.stamp))
    order = np.argsort(readings.stamp, kind="stable")
    stamp, rain = readings.stamp[order], readings.fallen[order]
    same = np.flatnonzero(stamp[1:] == stamp[:-1])
    differ = same[~((rain[same] == rain[same + 1]) | (np.isnan(rain[same]) & np.isnan(rain[same + 1])))]
    if len(differ):
        row = int(order[differ[0] + 1])
        moment = str(readings.stamp[row]).replace("T", " ")
        raise InputError(
            f"two values at {moment}",
            "keep the right one (where clocks change to summer time, give the times in standard time)",
            place_of(readings, row),
        )
    return np.delete(order, same + 1)


def day_sums(
    chunks: Iterable[Readings], day_start: float = 0.0, blank_is_zero: bool | None = None
) -> Readings:
    """Sum chunks of sub-daily readings to days, keeping no more than a few numbers a day."""
    days, sums, known, seen, traces, notes = [], [], [], [], [], []
    first = None
    off = wet = 0
    for part in chunks:
        notes += part.notes
        if not len(part.stamp):
            continue
        if first is None:
            first, per_day = part, 86400 / part.step
        keep = _single(part)
        stamp, rain, flag = part.stamp[keep], part.fallen[keep], part.flag[keep]
        off += int(((stamp - first.stamp[0]).astype(np.int64) % int(first.step) != 0).sum())
        wet += int((rain > 0).sum())
        day = (stamp - np.timedelta64(int(day_start * 3600), "s")).astype("datetime64[D]")
        unique, inverse = np.unique(day + (1 if day_start else 0), return_inverse=True)
        days.append(unique)
        known.append(np.bincount(inverse, ~np.isnan(rain), len(unique)))
        seen.append(np.bincount(inverse, minlength=len(unique)))
        sums.append(np.bincount(inverse, np.nan_to_num(rain), len(unique)))
        traces.append(np.bincount(inverse, flag == Flag.TRACE, len(unique)))
    if first is None:
        raise InputError("the file has no day in it", "check that this is the file meant")
    day, inverse = np.unique(np.concatenate(days), return_inverse=True)
    total, known, seen, traces = (
        np.bincount(inverse, np.concatenate(x), len(day)) for x in (sums, known, seen, traces)
    )
    if blank_is_zero:
        return _silent_is_dry(day, total, traces, first, notes)
    spell = int((day[-1] - day[0]).astype(int) + 1) * per_day
    only_wet = blank_is_zero is None and wet == known.sum() and spell > 3 * wet
    if off > 0.01 * seen.sum() or only_wet:
        raise InputError(
            "the file lists moments of rain, not regular readings: the time between may be dry or unknown",
            "say blank_is_zero=True if it was dry",
            "blank_is_zero",
        )
    if per_day % 1:
        raise InputError(
            f"readings every {first.step:g} s do not divide the day", "sum them to hours or days"
        )
    if (seen > per_day).any():
        raise InputError(
            f"{day[seen > per_day][0]} has more than {per_day:g} readings: the step or the clocks change",
            "give the times in standard time and one step throughout",
        )
    whole = known == per_day
    words = "from midnight" if not day_start else f"from {day_start:g} h, named by the day on which they end"
    notes.append(f"readings every {first.step:g} s were summed to days {words}")
    if not whole.all():
        notes.append(f"{plural(int((~whole).sum()))} with missing readings left unknown")
    flag = np.where(whole, np.where((total == 0) & (traces > 0), Flag.TRACE, Flag.MEASURED), Flag.MISSING)
    return _daily(day, np.where(whole, total, np.nan), flag, first, notes)


def _silent_is_dry(day, total, traces, first: Readings, notes: list[str]) -> Readings:
    notes.append("the time between readings was taken for dry, as asked")
    every = np.arange(day[0], day[-1] + 1)
    rain, trace = np.zeros(len(every)), np.zeros(len(every))
    at = (day - day[0]).astype(np.int64)
    rain[at], trace[at] = total, traces
    return _daily(every, rain, np.where((rain == 0) & (trace > 0), Flag.TRACE, Flag.MEASURED), first, notes)


def _daily(day, rain, flag, first: Readings, notes: list[str]) -> Readings:
    one, none = np.ones(len(day), dtype=np.int64), np.array([], dtype=np.int64)
    rain = np.round(rain, 9)  # sums of tenths, without the dust of binary fractions
    return Readings(
        day.astype("datetime64[s]"),
        rain,
        flag.astype(np.int8),
        one,
        none,
        first.facts,
        tuple(dict.fromkeys(notes)),
    )
