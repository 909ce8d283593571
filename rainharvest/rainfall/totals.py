"""Totals by month, season and hydrological year: a period with a missing day has none."""

from __future__ import annotations

import numpy as np
import pandas as pd
import xarray as xr

from rainharvest.names import attributes
from rainharvest.rainfall.fill_input import as_record
from rainharvest.rainfall.flags import Flag


def period_totals(rain: xr.DataArray | pd.Series, months: int = 12, year_start_month: int = 1) -> xr.Dataset:
    """Sum rain over periods of whole months, counted from the first month of the hydrological year.

    A period with a missing day has no total. A reading over several days counts in full where all its days
    lie in one period; where it crosses into the next, neither period has a total, because nobody knows how
    much fell before midnight.

    Parameters
    ----------
    rain : DataArray or Series [mm/day]
        One daily record.
    months : int [1]
        Months in a period: 1, 3 (a season) or 12 (a hydrological year); any divisor of 12.
    year_start_month : int [1]
        First month of the hydrological year.

    Returns
    -------
    Dataset
        On ``time``, the first day of each period: ``total`` [mm], and ``known_share`` [1], the share of the
        period's days whose rain is known.

    Raises
    ------
    InputError
        If the record is not daily rain on one dimension.

    Notes
    -----
    That no day may be missing from a total of rain is the rule of the World Meteorological Organization, as
    the Utah Climate Center quotes it.

    Examples
    --------
    >>> days = pd.date_range("2001-01-01", "2001-03-30")
    >>> found = period_totals(pd.Series(1.0, days), months=1)
    >>> found.total.values, found.known_share.values.round(2)
    (array([31., 28., nan]), array([1.  , 1.  , 0.97]))
    """
    record = as_record(rain)
    day = record["time"].values.astype("datetime64[D]")
    period = (day.astype("datetime64[M]").astype(int) - (year_start_month - 1)) // months
    first = period[0]
    period -= first
    known = _accounted(record, period)
    starts = (np.arange(first, first + period[-1] + 2) * months + year_start_month - 1).astype(
        "datetime64[M]"
    )
    length = np.diff(starts.astype("datetime64[D]").astype(int))
    share = np.bincount(period, known) / length
    total = np.bincount(period, np.nan_to_num(record.values))
    return xr.Dataset(
        {
            "total": ("time", np.where(share == 1, total, np.nan), attributes("period_total")),
            "known_share": ("time", share, attributes("known_share")),
        },
        coords={"time": starts[:-1].astype("datetime64[ns]")},
    )


def daily_amounts(rain: xr.DataArray | pd.Series) -> np.ndarray:
    """Return the rain of each single day [mm/day]: NaN inside a reading over several days, unless it was dry.

    Parameters
    ----------
    rain : DataArray or Series [mm/day]
        One daily record.

    Returns
    -------
    ndarray [mm/day]
        One value a day of the record.

    Examples
    --------
    >>> days = pd.date_range("2001-01-01", periods=3)
    >>> notes = {"time": days, "flag": ("time", [0, 6, 5]), "total_days": ("time", [1, 0, 2])}
    >>> reading = xr.DataArray([1.0, np.nan, 5.0], dims="time", coords=notes)
    >>> daily_amounts(reading)
    array([ 1., nan, nan])
    """
    record = as_record(rain)
    values = record.values.copy()
    for first, last in _readings(record):
        values[first : last + 1] = 0.0 if values[last] == 0 else np.nan
    return values


def _readings(record: xr.DataArray) -> list[tuple[int, int]]:
    """Return the first and the last day of each reading over several days."""
    days = record["total_days"].values
    lasts = np.flatnonzero((record["flag"].values == Flag.TOTAL) & (days > 1))
    return [(max(int(last - days[last] + 1), 0), int(last)) for last in lasts]


def _accounted(record: xr.DataArray, period: np.ndarray) -> np.ndarray:
    """Return which days' rain is known to have fallen in their own period."""
    known = record.notnull().values
    days = record["total_days"].values
    for first, last in _readings(record):
        whole = last - first + 1 == days[last]  # a reading that began before the record is not
        known[first : last + 1] = whole and period[first] == period[last]
    return known
