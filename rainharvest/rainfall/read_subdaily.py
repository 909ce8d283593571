"""Hourly and minute rain: kept as it is for the sub-daily checks, and summed to observation days."""

from __future__ import annotations

import os
from collections.abc import Iterable

import numpy as np
import pandas as pd
import xarray as xr

from rainharvest.errors import InputError
from rainharvest.names import attributes
from rainharvest.rainfall.flags import Flag, flag_attributes
from rainharvest.rainfall.read_days import Readings, place_of, plural, to_days, usual_step

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
    """Move the stamps of a chunk to the beginning of each reading.

    Parameters
    ----------
    part : Readings
        The chunk; daily readings are given back as they are.
    stamp_ends : bool or None
        What the caller says; None leaves it to the file.

    Returns
    -------
    Readings
    """
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
    """Sum chunks of sub-daily readings to days, keeping no more than a few numbers a day.

    Parameters
    ----------
    chunks : iterable of Readings
        Sub-daily readings with stamps at the beginning of each.
    day_start : float [h]
        As in ``sum_to_days``.
    blank_is_zero : bool, optional
        As in ``sum_to_days``.

    Returns
    -------
    Readings
        Daily.

    Raises
    ------
    InputError
        As ``sum_to_days`` does.
    """
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
