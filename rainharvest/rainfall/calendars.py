"""The calendars of climate models, of 360 or 365 days a year, set on the days of the year."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import pandas as pd
import xarray as xr

SHORT = ("noleap", "365_day", "360_day")

"""Calendars whose years lack days."""


@lru_cache(maxsize=32)
def native_days(first_year: int, last_year: int, calendar: str) -> tuple[np.ndarray, np.ndarray]:
    """Return the day on which each day of a short calendar is set, by its place in the year, and its own month."""
    ends = f"{first_year:04}-01-01", f"{last_year + 1:04}-01-01"
    span = xr.date_range(*ends, calendar=calendar, use_cftime=True, inclusive="left")
    month = xr.DataArray(span.month, {"time": span}, ("time",))
    moved = month.convert_calendar("standard", align_on="year", use_cftime=False)
    return moved.time.values.astype("datetime64[D]"), moved.values


def standard_stamps(moments: np.ndarray) -> np.ndarray:
    """Return moments of a short calendar on the days of the year.

    >>> import cftime
    >>> standard_stamps(np.array([cftime.Datetime360Day(2001, 2, 30, 6)]))[0]
    np.datetime64('2001-03-02T06:00:00')
    """
    from cftime import date2num

    years, calendar = [moment.year for moment in moments], moments[0].calendar
    since = f"seconds since {min(years):04}-01-01"
    day, clock = np.divmod(np.round(date2num(moments, since, calendar)).astype(np.int64), 86400)
    return native_days(min(years), max(years), calendar)[0][day] + clock.astype("timedelta64[s]")


def native_months(days: pd.DatetimeIndex, calendar: str) -> tuple[np.ndarray, np.ndarray]:
    """Return the month of each day in a short calendar, from 0, and 12 where it lacks the day; its months' days.

    >>> month, length = native_months(pd.date_range("2004-02-28", "2004-03-01"), "noleap")
    >>> month, length[:3]
    (array([ 1, 12,  2]), array([31., 28., 31.]))
    """
    on, own = native_days(int(days[0].year), int(days[-1].year), calendar)
    wanted = days.to_numpy().astype("datetime64[D]")
    at = np.minimum(np.searchsorted(on, wanted), on.size - 1)
    length = np.bincount(own - 1, minlength=12) / (days[-1].year - days[0].year + 1)
    return np.where(on[at] == wanted, own[at] - 1, 12), length
