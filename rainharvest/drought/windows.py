"""Every year of the record from one date on, run side by side as lanes of the daily balance."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rainharvest.compiled import compiling_notice
from rainharvest.errors import InputError
from rainharvest.storage.balance import BY_YEAR, DAILY, LANES, TOTALS, balance
from rainharvest.storage.settings import as_series, common_time

STORED, DRAWN, UNMET = DAILY.index("stored"), DAILY.index("drawn"), DAILY.index("unmet")
DAYS_FAILED = BY_YEAR.index("days_failed")


@dataclass(frozen=True)
class Windows:
    """The same days of every year, a column a year and member.

    Parameters
    ----------
    inflow, demand, essential : ndarray, shape (days, columns) [L/day]
        Water at the inlet, water asked for, and the part of it that is never cut.
    year : ndarray, shape (columns,)
        The calendar year in which each column begins.
    members : int
        Columns to a year, side by side.
    """

    inflow: np.ndarray
    demand: np.ndarray
    essential: np.ndarray
    year: np.ndarray
    members: int


@dataclass(frozen=True)
class Flows:
    """What the windows are cut from: a whole record.

    Parameters
    ----------
    inflow : ndarray, shape (members, days) [L/day]
        Water at the inlet in each filled version.
    demand, essential : ndarray, shape (days,) [L/day]
        Water asked for, and the part of it that is never cut.
    first : datetime64[D]
        The record's first day.
    """

    inflow: np.ndarray
    demand: np.ndarray
    essential: np.ndarray
    first: np.datetime64


def as_flows(inflow, demand, essential=None) -> Flows:
    """Return checked series as plain arrays, once for many outlooks.

    Parameters
    ----------
    inflow : DataArray or Series [L/day]
        Water at the inlet, on dated days; with ``member`` or without.
    demand : DataArray, Series or float [L/day]
        Water asked for.
    essential : DataArray, Series or float [L/day], optional
        The part of it that is never cut; nothing by default.

    Returns
    -------
    Flows

    Raises
    ------
    InputError
        If the days carry no dates or differ, a value is missing or negative, or more is essential than asked.
    """
    time = common_time(inflow=inflow, demand=demand, essential=essential)
    if not np.issubdtype(time.dtype, np.datetime64):
        raise InputError("the days carry no dates", "give series on dated days", "inflow")
    water = as_series("inflow", inflow, time)
    asked = as_series("demand", demand, time)
    kept = as_series("essential", 0.0 if essential is None else essential, time)
    if set(water.dims) - {"member", "time"} or asked.ndim > 1 or kept.ndim > 1:
        raise InputError("there are more dimensions than member and time", "choose one of each", "inflow")
    for name, series in (("inflow", water), ("demand", asked), ("essential", kept)):
        if (series.values < 0).any():
            raise InputError("a day is below zero", "give litres a day, zero or more", name)
    if (kept.values > asked.values * (1 + 1e-12)).any():
        raise InputError(
            "the essential demand exceeds the demand", "essential is a part of demand", "essential"
        )
    first = time.values[0].astype("datetime64[D]")
    return Flows(np.atleast_2d(water.values), asked.values, kept.values, first)


def cut_windows(flows: Flows, month: int, day: int, days: int, leave_out: int | None = None) -> Windows:
    """Return the days from a date on, of every year that the record holds whole.

    Parameters
    ----------
    flows : Flows
        The record.
    month, day : int [1]
        The date on which each window begins; 29 February begins on 1 March where there is none.
    days : int [day]
        Length of a window.
    leave_out : int [1], optional
        A calendar year whose window is left out, and with it every window that shares a day with it.

    Returns
    -------
    Windows

    Raises
    ------
    InputError
        If there is no such date, or fewer than 2 years are left.

    Examples
    --------
    >>> import pandas as pd
    >>> rain = pd.Series(1.0, pd.date_range("2001-01-01", "2004-12-31"))
    >>> cut_windows(as_flows(rain, 1.0), 11, 15, 60).year
    array([2001, 2002, 2003])
    """
    if (
        month not in range(1, 13)
        or not 1 <= day <= (31, 29, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)[month - 1]
    ):
        raise InputError(f"there is no day {day} of month {month}", "give a date of the year", "date")
    length = flows.inflow.shape[1]
    if not 1 <= days <= length:
        raise InputError(f"an outlook of {days} days", f"give 1 to {length}", "days")
    years = np.arange(flows.first.astype("datetime64[Y]").astype(int) + 1970 - 1, 10_000)
    years = years[: length // 365 + 3]
    begins = ((years - 1970) * 12 + month - 1).astype("datetime64[M]").astype("datetime64[D]") + (day - 1)
    start = (begins - flows.first).astype(int)
    whole = (start >= 0) & (start + days <= length)
    if leave_out is not None:
        own = start[years == leave_out]
        whole &= np.abs(start - own[0]) >= days if own.size else True
    if np.count_nonzero(whole) < 2:
        raise InputError(
            f"the record holds fewer than 2 whole stretches of {days} days from that date",
            "give a longer record or a shorter outlook",
            "days",
        )
    start, years = start[whole], years[whole]
    at = start[:, None] + np.arange(days)
    members = flows.inflow.shape[0]
    water = flows.inflow[:, at].transpose(2, 1, 0).reshape(days, -1)
    asked, kept = (np.repeat(series[at].T, members, axis=1) for series in (flows.demand, flows.essential))
    return Windows(water, asked, kept, np.repeat(years, members), members)


@dataclass(frozen=True)
class Settings:
    """What the lanes differ in: a row a setting.

    Parameters
    ----------
    start : ndarray, shape (settings,) [L]
        Stored on the first morning.
    level, share : ndarray, shape (settings, stages)
        Rationing levels [L] and shares of the non-essential demand served below them; a level of zero is
        never reached from above.
    """

    start: np.ndarray
    level: np.ndarray
    share: np.ndarray


def plain(start) -> Settings:
    """Return settings without rationing.

    Parameters
    ----------
    start : array_like [L]
        Stored on the first morning, a value a setting.

    Returns
    -------
    Settings
    """
    start = np.atleast_1d(np.asarray(start, dtype=float))
    return Settings(start, np.zeros((start.size, 1)), np.ones((start.size, 1)))


def run_windows(
    windows: Windows, capacity: float, settings: Settings, theta: float = 0.0, edges=None
) -> np.ndarray:
    """Run every setting through every window and count the failed days of each part of the window.

    Parameters
    ----------
    windows : Windows
        What comes and what is asked.
    capacity : float [L]
        Usable tank size.
    settings : Settings
        What the lanes differ in.
    theta : float [1]
        As in `rainharvest.simulate`.
    edges : sequence of int [day], optional
        Where the parts begin, from 0, and where the last one ends; one part by default.

    Returns
    -------
    ndarray, shape (settings, parts, columns)
        Failed days.
    """
    days = windows.inflow.shape[0]
    edges = np.array([0, days] if edges is None else edges, dtype=np.int64)
    failed = np.empty((settings.start.size, edges.size - 1, windows.year.size))
    for row, begin, end, _, by_part, _ in _blocks(windows, capacity, settings, theta, edges, False):
        failed[row, :, begin:end] = by_part[DAYS_FAILED, :, : end - begin]
    return failed


def trace_windows(
    windows: Windows, capacity: float, settings: Settings, theta: float = 0.0
) -> tuple[np.ndarray, np.ndarray]:
    """Run every setting through every window and keep the store of each evening.

    Parameters
    ----------
    windows : Windows
        What comes and what is asked.
    capacity : float [L]
        Usable tank size.
    settings : Settings
        What the lanes differ in.
    theta : float [1]
        As in `rainharvest.simulate`.

    Returns
    -------
    tuple of ndarray
        Stored (settings, days, columns) [L], in single precision; the number of days before the first failed
        one (settings, columns), the length of the window where none failed.
    """
    days = windows.inflow.shape[0]
    stored = np.empty((settings.start.size, days, windows.year.size), dtype=np.float32)
    lasts = np.empty((settings.start.size, windows.year.size), dtype=np.int64)
    edges = np.array([0, days], dtype=np.int64)
    for row, begin, end, asked, _, daily in _blocks(windows, capacity, settings, theta, edges, True):
        stored[row, :, begin:end] = daily[STORED, :, : end - begin]
        short = daily[UNMET, :, : end - begin] > 1e-9 * asked[:, : end - begin]
        lasts[row, begin:end] = np.where(short.any(axis=0), short.argmax(axis=0), days)
    return stored, lasts


def _blocks(windows: Windows, capacity: float, settings: Settings, theta: float, edges, trace: bool):
    """Yield the results of each block of lanes; the arrays are used again for the next."""
    days, columns = windows.inflow.shape
    if not capacity > 0:
        raise InputError(f"a tank of {capacity:g} L", "give a size above zero", "capacity")
    if (settings.start < 0).any() or (settings.start > capacity * (1 + 1e-12)).any():
        raise InputError(
            "the gauge shows more than the tank holds, or less than nothing",
            f"give a level from 0 to {capacity:g} L",
            "start",
        )
    total = np.empty((len(TOTALS), LANES))
    by_part = np.empty((len(BY_YEAR), edges.size - 1, LANES))
    daily = np.zeros((len(DAILY), days, LANES)) if trace else None
    tank = np.empty((3, LANES))
    tank[0], tank[1] = capacity, theta
    with compiling_notice("the daily balance"):
        for begin in range(0, columns, LANES):
            end = min(begin + LANES, columns)
            lanes = np.minimum(np.arange(begin, begin + LANES), end - 1)  # a short block repeats its last
            flows = [
                np.ascontiguousarray(series[:, begin:end] if end - begin == LANES else series[:, lanes])
                for series in (windows.inflow, windows.demand, windows.essential)
            ]
            for row in range(settings.start.size):
                tank[2] = settings.start[row]
                level, share = (
                    np.repeat(rule[row][:, None], LANES, axis=1) for rule in (settings.level, settings.share)
                )
                balance(*flows, None, tank, level, share, None, edges, total, by_part, daily)
                yield row, begin, end, flows[1], by_part, daily
