"""From readings to the daily record: no gaps in the index, each day with its origin; hours summed."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd
import xarray as xr

from rainharvest.core.quantities import attributes
from rainharvest.rainfall.check_days import most_rain
from rainharvest.rainfall.flags import Flag, flag_attributes, plural
from rainharvest.rainfall.refusals import refusal, refuse_unless

SUB_DAILY = 0.75 * 86400  # readings closer together than this [s] are sub-daily


# A year was mistyped where so few days stand so far from the rest; day and month changed over where at least so many
# rows of a year step back (own choice).
STRAY_APART, STRAY_DAYS, SWAPPED_ROWS = 3 * 365, 31, 10


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


def one_step_each(stamp: np.ndarray, rain: np.ndarray, flag: np.ndarray, **more: object) -> Readings:
    """Return readings of a file without lines, none of them a total over several days."""
    return Readings(stamp, rain, flag, np.ones(len(stamp), int), np.array([], int), **more)


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


def within_record(readings: Readings) -> Readings:
    """Take out values beyond the world's record of rain: a fill value or a slip of the pen, never a reading."""
    beyond = np.abs(readings.fallen) > most_rain(readings.total_days)
    if not beyond.any():
        return readings
    worst = f"as far as {max(readings.fallen[beyond], key=abs):g} mm"
    said = f"{plural(int(beyond.sum()), 'value')} beyond the world's record of rain, {worst}, set to unknown"
    flag = np.where(beyond, Flag.REJECTED, readings.flag).astype(np.int8)
    rain = np.where(beyond, np.nan, readings.fallen)
    return replace(readings, fallen=rain, flag=flag, notes=(*readings.notes, said))


def refuse_apart(readings: Readings) -> None:
    """Refuse rows that stand days apart all along: monthly totals, or totals over an unstated number of days."""
    day = np.unique(readings.stamp.astype("datetime64[D]"))
    if len(day) < 4 or (readings.total_days > 1).any():
        return
    gaps = np.diff(day).astype(int)
    refuse_unless(gaps.min() < 28 or gaps.max() > 31, "months_apart")
    refuse_unless(gaps.min() < gaps.max() or gaps[0] == 1, "days_apart", days=gaps[0])


def to_days(readings: Readings) -> xr.DataArray:
    """Lay daily readings on a gapless index."""
    notes = list(readings.notes)
    day = readings.stamp.astype("datetime64[D]")
    refuse_unless(len(day), "no_day")
    if (np.diff(day) < np.timedelta64(0, "s")).any():
        _refuse_swapped(readings, day)
        notes.append("the rows were not in order of date and were sorted")
    keep = one_each(readings, day, "day", notes)
    _refuse_stray(readings, day, keep)
    day, rain = day[keep], readings.fallen[keep]
    total = np.where(np.isnan(rain), 0, readings.total_days[keep].astype(np.int64))

    first = (day - np.maximum(total - 1, 0)).min()
    length = int((day[-1] - first).astype(int)) + 1
    at = (day - first).astype(np.int64)
    values = np.full(length, np.nan)
    flags = np.full(length, Flag.MISSING, dtype=np.int8)
    totals = np.zeros(length, dtype=np.int16)
    values[at], flags[at], totals[at] = rain, readings.flag[keep], total
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


def _refuse_stray(readings: Readings, day: np.ndarray, order: np.ndarray) -> None:
    """Refuse a few days that stand years away from all others: a year was mistyped."""
    apart = np.diff(day[order]).astype(int)
    for k in np.flatnonzero(apart > STRAY_APART):
        few, rows = min(
            (k + 1, order[: k + 1]), (len(order) - k - 1, order[k + 1 :]), key=lambda side: side[0]
        )
        if few <= STRAY_DAYS and few < 0.1 * len(order):
            place, stand = place_of(readings, int(rows[0])), "stands" if few == 1 else "stand"
            raise refusal("stray_days", days=plural(few), stand=stand, years=apart[k] / 365.25, place=place)


def swapped_days(day: np.ndarray) -> np.ndarray:
    """Return days with day and month changed over; those after the twelfth stay.

    >>> swapped_days(np.array(["2001-03-04", "2001-03-14"], dtype="datetime64[D]")).astype(str).tolist()
    ['2001-04-03', '2001-03-14']
    """
    month = day.astype("datetime64[M]")
    dates, months = (day - month).astype(int), month.astype(int) % 12
    other = (month - months + dates).astype("datetime64[D]") + months
    return np.where(dates < 12, other, day)


def _refuse_swapped(readings: Readings, day: np.ndarray) -> None:
    """Refuse a year whose rows are out of order as they are dated, and in order with day and month changed over."""
    years, turned = day.astype("datetime64[Y]"), swapped_days(day)
    back, back_turned = (np.diff(one) < np.timedelta64(0, "D") for one in (day, turned))
    same = years[1:] == years[:-1]
    for year in np.unique(years[1:][back & same]):
        inside = same & (years[1:] == year)
        if back[inside].sum() >= SWAPPED_ROWS and not back_turned[inside].any():
            row = int(np.flatnonzero(inside & back)[0]) + 1
            raise refusal("swapped_rows", year=year, place=place_of(readings, row))


def one_each(readings: Readings, stamp: np.ndarray, each: str, notes: list[str]) -> np.ndarray:
    """Return the rows to keep, in order of time, one a stamp; two different values for it are an error."""
    rain, total = readings.fallen, readings.total_days
    if (np.diff(stamp) > np.timedelta64(0, "s")).all():
        return np.arange(len(stamp))
    order = np.lexsort((np.isnan(rain), stamp))  # of the rows of a stamp the first that is known leads
    _, first, count = np.unique(stamp[order], return_index=True, return_counts=True)
    keep = order[first]
    lead = np.repeat(keep, count)
    blank = np.isnan(rain[order]) & (order != lead)
    differ = ~blank & (order != lead) & ((rain[order] != rain[lead]) | (total[order] != total[lead]))
    if differ.any():
        row, kept = order[differ.argmax()], lead[differ.argmax()]
        facts = {"one": rain[kept], "other": rain[row], "moment": str(stamp[row]).replace("T", " ")}
        raise refusal(f"two_values_of_{each}", **facts, place=place_of(readings, int(row)))
    blank &= ~np.isnan(rain[lead])
    twice = len(order) - len(keep) - int(blank.sum())
    if twice:
        notes.append(f"{plural(twice, each)} stood twice with the same value; one was kept")
    if blank.any():
        notes.append(
            f"{plural(int(blank.sum()), each)} stood once blank and once with a value; the value was kept"
        )
    return keep


def _lay_totals(readings, values, flags, totals, row_of, first, notes) -> None:
    """Mark the days inside multi-day totals; a value of its own inside a total is an error."""
    zeros = 0
    ends = np.flatnonzero(totals > 1)
    for end in ends:
        flags[end] = Flag.TOTAL
        inside = slice(end - int(totals[end]) + 1, end)
        own = [*np.flatnonzero(values[inside] > 0), *np.flatnonzero(totals[inside] > 1)]
        if own:
            day = first + (inside.start + own[0])
            raise refusal(
                "value_in_total", days=totals[end], day=day, place=place_of(readings, int(row_of[end]))
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


def refuse_piled(stamp: np.ndarray, values: np.ndarray, step: float) -> None:
    """Refuse readings [s] that pile up to one moment of each day: summing them counts rain many times over."""
    change, clock = np.diff(values), stamp[1:] % 86400
    change[np.diff(stamp) != step] = 0.0
    falls, rises = clock[change < -1e-6], clock[change > 1e-6]
    refuse_unless(len(falls) < 3 or len(np.unique(falls)) > 1 or len(np.unique(rises)) < 2, "piled_up")


def begin(part: Readings, stamp_ends: bool | None) -> Readings:
    """Move the stamps of a chunk to the beginning of each reading."""
    if part.step >= SUB_DAILY:
        return part
    refuse_piled(part.stamp.astype("datetime64[s]").astype(np.int64), part.fallen, part.step)
    ends = part.stamp_ends if stamp_ends is None else stamp_ends
    why = " as asked" if stamp_ends is not None else ""
    note = f"each stamp was taken for the {'end' if ends else 'beginning'} of its reading{why}"
    stamp = part.stamp - np.timedelta64(int(part.step), "s") if ends else part.stamp
    return replace(part, stamp=stamp, notes=(*part.notes, note), stamp_ends=False)


def day_sums(chunks: Iterable[Readings], blank_is_zero: bool | None = None) -> Readings:
    """Sum chunks of sub-daily readings to days, keeping no more than a few numbers a day."""
    parts, notes = [], []
    first = None
    off = wet = 0
    for part in chunks:
        notes += part.notes
        if not len(part.stamp):
            continue
        first = first or part
        keep = one_each(part, part.stamp, "moment", notes)
        stamp, rain, flag = part.stamp[keep], part.fallen[keep], part.flag[keep]
        off += int(((stamp - first.stamp[0]).astype(np.int64) % int(first.step) != 0).sum())
        wet += int((rain > 0).sum())
        known, day = ~np.isnan(rain), stamp.astype("datetime64[D]").astype("datetime64[s]")
        counted = {"total": np.nan_to_num(rain), "known": known, "seen": 1, "traces": flag == Flag.TRACE}
        parts.append(pd.DataFrame(counted).groupby(day).sum())
    refuse_unless(first, "no_day")
    days = pd.concat(parts).groupby(level=0).sum()
    per_day, every = 86400 / first.step, pd.date_range(days.index[0], days.index[-1], unit="s")
    if blank_is_zero:
        notes.append("the time between readings was taken for dry, as asked")
        days = days.reindex(every, fill_value=0).assign(known=per_day)
    else:
        only_wet = blank_is_zero is None and wet == days["known"].sum() and len(every) * per_day > 3 * wet
        refuse_unless(off <= 0.01 * days["seen"].sum() and not only_wet, "moments_of_rain")
        refuse_unless(per_day % 1 == 0, "odd_step", step=first.step)
        many = days["seen"] > per_day
        refuse_unless(not many.any(), "many_readings", day=days.index[many.argmax()].date(), most=per_day)
        notes.append(f"readings every {first.step:g} s were summed to days from midnight")
        if lacking := int((days["known"] != per_day).sum()):
            notes.append(f"{plural(lacking)} with missing readings left unknown")
    whole, trace = days["known"] == per_day, (days["total"] == 0) & (days["traces"] > 0)
    rain = days["total"].where(whole).round(9)  # tenths, without the dust of binary fractions
    flag = np.where(whole, np.where(trace, Flag.TRACE, Flag.MEASURED), Flag.MISSING).astype(np.int8)
    day, notes = days.index.to_numpy().astype("datetime64[s]"), tuple(dict.fromkeys(notes))
    return one_step_each(day, rain.to_numpy(), flag, facts=first.facts, notes=notes)
