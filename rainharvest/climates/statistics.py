"""What a climate is, in a few numbers a place: storms, dry spells, seasons, wet years and dry."""

from __future__ import annotations

import numpy as np
import pandas as pd
import xarray as xr
from numba import njit

from rainharvest.errors import InputError
from rainharvest.names import attributes
from rainharvest.sources import Default

WET_DAY = Default(1.0, "mm/day", "WMO practice for counts of wet days", "from memory", 0.1, 1.0)

MONTH_DAYS = np.array([31, 28.25, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])

STATISTICS = ("rain_year", "wet_share", "mean_storm", "mean_dry_spell", "seasonality", "annual_cv")
"""Names in the order of the rows that `measure_climate` fills."""


@njit(cache=True, nogil=True, error_model="numpy")
def measure_climate(rain, month, year, whole, wet_day, out):  # pragma: no cover - compiled
    """Fill the statistics of each place, in the order of `STATISTICS`.

    A storm is a run of wet days; a dry spell is a run of days that are not wet, one that touches an end of the
    record included. Seasonality is the index of Walsh and Lawler (1981), sum over months of
    |mean rain of the month - mean rain of the year / 12| over the mean rain of the year: near 0 for even rain,
    11/6 for rain in one month. The variation is that of the whole calendar years.
    """
    days, years = rain.shape[1], whole.size
    by_year, by_month, length = np.zeros(years), np.zeros(12), np.zeros(12)
    for t in range(days):
        length[month[t]] += 1.0
    for c in range(rain.shape[0]):
        by_year[:] = 0.0
        by_month[:] = 0.0
        wet_days, storms, storm_rain, spells, total = 0, 0, 0.0, 0, 0.0
        was_wet = -1
        for t in range(days):
            fallen = rain[c, t]
            by_month[month[t]] += fallen
            by_year[year[t]] += fallen
            total += fallen
            is_wet = 1 if fallen >= wet_day else 0
            if is_wet == 1:
                wet_days += 1
                storm_rain += fallen
                storms += 1 if was_wet != 1 else 0
            else:
                spells += 1 if was_wet != 0 else 0
            was_wet = is_wet
        mean_year = total / days * 365.25
        of_months, uneven = 0.0, 0.0
        for m in range(12):
            by_month[m] *= MONTH_DAYS[m] / length[m] if length[m] > 0.0 else 0.0
            of_months += by_month[m]
        for m in range(12):
            uneven += abs(by_month[m] - of_months / 12)
        count, mean, square = 0, 0.0, 0.0
        for y in range(years):
            if whole[y]:
                count += 1
                mean += by_year[y]
        mean = mean / count if count > 0 else 0.0
        for y in range(years):
            if whole[y]:
                square += (by_year[y] - mean) ** 2
        out[0, c] = mean_year
        out[1, c] = wet_days / days
        out[2, c] = storm_rain / storms if storms > 0 else 0.0
        out[3, c] = (days - wet_days) / spells if spells > 0 else 0.0
        out[4, c] = uneven / of_months if of_months > 0.0 else 0.0
        out[5, c] = np.sqrt(square / (count - 1)) / mean if count > 1 and mean > 0.0 else np.nan


def statistics_of(rain: np.ndarray, days: pd.DatetimeIndex, wet_day: float = WET_DAY.value) -> np.ndarray:
    """Return the statistics of places whose rain is known throughout.

    Parameters
    ----------
    rain : ndarray, shape (places, days) [mm/day]
        Without missing values.
    days : DatetimeIndex
        The days.
    wet_day : float [mm/day]
        A day with at least this much rain is wet.

    Returns
    -------
    ndarray, shape (len(STATISTICS), places)
        In the order of `STATISTICS`.
    """
    month = (days.month.to_numpy() - 1).astype(np.int64)
    year = (days.year.to_numpy() - days.year[0]).astype(np.int64)
    first = pd.Timestamp(days.year[0], 1, 1)
    ends = [first + pd.DateOffset(years=int(k)) for k in range(year[-1] + 2)]
    whole = np.bincount(year) == np.array([(b - a).days for a, b in zip(ends, ends[1:], strict=False)])
    out = np.empty((len(STATISTICS), rain.shape[0]))
    measure_climate(np.ascontiguousarray(rain, dtype=float), month, year, whole, wet_day, out)
    return out


def climate_statistics(rain: xr.DataArray | pd.Series, wet_day: float = WET_DAY.value) -> xr.Dataset:
    """Return what the climate of each place is, in a few numbers.

    Parameters
    ----------
    rain : DataArray or Series [mm/day]
        Daily rain on ``time``; further dimensions are places. A place with a missing day is missing.
    wet_day : float [mm/day]
        A day with at least this much rain is wet.

    Returns
    -------
    Dataset
        ``rain_year`` (mm/year), ``wet_share``, ``mean_storm`` (mm, mean rain of a run of wet days),
        ``mean_dry_spell`` (day), ``seasonality`` (0 for even rain, 1.83 for rain in one month) and
        ``annual_cv``. Source of the seasonality index: Walsh and Lawler 1981, Weather 36:201 (from memory).

    Raises
    ------
    InputError
        If the rain has no dates.

    Examples
    --------
    >>> days = pd.date_range("2001-01-01", "2001-12-31")
    >>> rain = pd.Series(np.where(days.month == 7, 10.0, 0.0), days)
    >>> found = climate_statistics(rain)
    >>> float(found.mean_storm), float(found.mean_dry_spell), float(found.seasonality)
    (310.0, 167.0, 1.83)
    """
    if isinstance(rain, pd.Series):
        rain = xr.DataArray(rain.to_numpy(dtype=float), {"time": rain.index}, ("time",))
    if "time" not in rain.indexes or not isinstance(rain.indexes["time"], pd.DatetimeIndex):
        raise InputError("the rain has no dates", "give daily rain on time", "rain")
    turned = rain.transpose(..., "time")
    flat = np.asarray(turned.values, dtype=float).reshape(-1, turned.sizes["time"])
    known = ~np.isnan(flat).any(axis=1)
    values = np.full((len(STATISTICS), flat.shape[0]), np.nan)
    values[:, known] = statistics_of(flat[known], turned.indexes["time"], wet_day)
    dims, shape = turned.dims[:-1], turned.shape[:-1]
    coords = {d: turned[d].variable for d in dims if d in turned.coords}
    return xr.Dataset(
        {
            name: (dims, row.reshape(shape), attributes(name))
            for name, row in zip(STATISTICS, values, strict=True)
        },
        coords,
    )
