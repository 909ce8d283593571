"""The week and the year of a demand, as its pictures show them."""

from __future__ import annotations

import numpy as np
import xarray as xr

from rainharvest.demand.periods import WEEKDAYS
from rainharvest.errors import InputError
from rainharvest.names import attributes


def week_of(demand: xr.DataArray) -> xr.DataArray:
    """Return the mean demand of each day of the week, by use.

    Parameters
    ----------
    demand : DataArray [L/day]
        On ``time``, with ``use`` or without.

    Returns
    -------
    DataArray [L/day]
        With ``weekday`` ("mon" to "sun") in place of ``time``.

    Raises
    ------
    InputError
        If the demand covers less than a week.

    Examples
    --------
    >>> import pandas as pd
    >>> days = pd.date_range("2024-03-04", periods=14)
    >>> week_of(xr.DataArray(range(14), {"time": days}, ("time",))).values
    array([3.5, 4.5, 5.5, 6.5, 7.5, 8.5, 9.5])
    """
    if demand.sizes["time"] < 7:
        raise InputError("the demand covers less than a week", "give seven days or more", "demand")
    number = demand.time.dt.dayofweek.values
    means = [demand.isel(time=np.flatnonzero(number == day)).mean("time") for day in range(7)]
    names = xr.DataArray(list(WEEKDAYS), dims="weekday", attrs=attributes("weekday"))
    out = xr.concat(means, "weekday").assign_coords(weekday=names)
    return out.transpose(..., "weekday").assign_attrs(attributes("demand")).rename("demand")


def months_of(demand: xr.DataArray) -> xr.DataArray:
    """Return the mean demand of each month of the year, by use.

    Parameters
    ----------
    demand : DataArray [L/day]
        On ``time``, with ``use`` or without.

    Returns
    -------
    DataArray [L/day]
        With ``calendar_month`` (1 to 12) in place of ``time``.

    Raises
    ------
    InputError
        If a month of the year does not occur.

    Examples
    --------
    >>> import pandas as pd
    >>> days = pd.date_range("2023-01-01", "2023-12-31")
    >>> months_of(xr.DataArray(days.month, {"time": days}, ("time",))).values.astype(int)
    array([ 1,  2,  3,  4,  5,  6,  7,  8,  9, 10, 11, 12])
    """
    month = demand.time.dt.month.values
    missing = sorted(set(range(1, 13)) - set(month.tolist()))
    if missing:
        raise InputError(f"month {missing[0]} has no day", "give a year or more", "demand")
    means = [demand.isel(time=np.flatnonzero(month == m)).mean("time") for m in range(1, 13)]
    numbers = xr.DataArray(np.arange(1, 13), dims="calendar_month", attrs=attributes("calendar_month"))
    out = xr.concat(means, "calendar_month").assign_coords(calendar_month=numbers)
    return out.transpose(..., "calendar_month").assign_attrs(attributes("demand")).rename("demand")


def thirstiest_year(demand: xr.DataArray) -> xr.DataArray:
    """Return the days of the calendar year that asks for most, of those that the record covers whole.

    Parameters
    ----------
    demand : DataArray [L/day]
        Total demand, on ``time`` only.

    Returns
    -------
    DataArray [L/day]
        365 or 366 days.

    Raises
    ------
    InputError
        If no year is whole, or there are further dimensions.

    Examples
    --------
    >>> import pandas as pd
    >>> days = pd.date_range("2021-06-01", "2024-12-31")
    >>> one = xr.DataArray(days.year * 1.0, {"time": days}, ("time",))
    >>> thirstiest_year(one).sizes["time"]
    366
    """
    if demand.dims != ("time",):
        raise InputError(f"the demand has dimensions {demand.dims}", "sum it over its uses first", "demand")
    year = demand.time.dt.year.values
    first = np.flatnonzero(np.diff(year, prepend=year[0] - 1))
    end = np.append(first[1:], year.size)
    length = np.where(demand.time.dt.is_leap_year.values[first], 366, 365)
    whole = np.flatnonzero(end - first == length)
    if whole.size == 0:
        raise InputError("no calendar year is whole", "give a demand of a year or more", "demand")
    sums = np.array([demand.values[first[i] : end[i]].sum() for i in whole])
    best = whole[int(np.argmax(sums))]
    return demand.isel(time=slice(int(first[best]), int(end[best])))
