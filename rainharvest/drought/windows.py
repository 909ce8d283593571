"""The same days of every year of a record, side by side."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rainharvest.errors import InputError
from rainharvest.storage.settings import as_series, common_time


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


def cut_windows(flows: Flows, month: int, day: int, days: int) -> Windows:
    """Return the days from a date on, of every year that the record holds whole.

    Parameters
    ----------
    flows : Flows
        The record.
    month, day : int [1]
        The date on which each window begins; 29 February begins on 1 March where there is none.
    days : int [day]
        Length of a window.

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
    start = begins(flows, years, month, day)
    whole = (start >= 0) & (start + days <= length)
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


def begins(flows: Flows, years, month: int, day: int) -> np.ndarray:
    """Return on which day of the record a date falls in each of several years.

    Parameters
    ----------
    flows : Flows
        The record.
    years : array_like of int
        Calendar years.
    month, day : int [1]
        The date.

    Returns
    -------
    ndarray of int
        Places in the record, outside it where they are negative or too large.
    """
    months = (np.asarray(years) - 1970) * 12 + month - 1
    dates = months.astype("datetime64[M]").astype("datetime64[D]") + (day - 1)
    return (dates - flows.first).astype(int)
