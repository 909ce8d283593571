"""What a climate model changes between two periods, laid on the record of a station: delta change on quantiles."""

from __future__ import annotations

import numpy as np
import xarray as xr

from rainharvest.climates.statistics import WET_DAY
from rainharvest.core.errors import require
from rainharvest.rainfall.read_columns import in_mm


def delta_change(
    rain: xr.DataArray,
    historical: xr.DataArray,
    future: xr.DataArray,
    *,
    wet_day: float = WET_DAY.value,
    seed: int = 0,
) -> xr.DataArray:
    """Lay the change of a climate model between two periods on a station's record, month by month.

    Parameters
    ----------
    rain : DataArray [mm/day]
        The station's record, without gaps.
    historical, future : DataArray [mm/day]
        The model's rain at the station in two periods, in its own calendar; another unit that it states is converted.
    wet_day : float [mm/day]
        Rain from which a day counts as wet.
    seed : int [1]
        Makes the choice of the days that are dried or wetted repeatable.

    Returns
    -------
    DataArray [mm/day]
        The record as it would be: on the same days.

    Raises
    ------
    InputError
        If the record has gaps, or rains in a month in which the model's historical period has no wet day.

    Notes
    -----
    In each month of the year wet days are dried, or dry days wetted, at random, by the model's ratio of wet days. Each
    wet day then takes the station's depth at its new rank, times the model's ratio of the depths at that rank, and all
    are scaled so that the mean of the month changes as the model's does. The ratios of quantiles are those of Cannon,
    Sobie and Murdock 2015 (Journal of Climate 28), turned round to change a record; the thinning is our own. The order
    of wet and dry days otherwise stays: longer dry spells than the model's wet days imply are not made. One model is
    one opinion: put several side by side.

    Examples
    --------
    >>> days = xr.date_range("2001-01-01", "2004-12-31")
    >>> rng = np.random.default_rng(1)
    >>> depth = np.where(rng.random(1461) < 0.3, 1 + rng.exponential(6, 1461), 0)
    >>> rain = xr.DataArray(depth, {"time": days}, ("time",))
    >>> float((delta_change(rain, rain, 0.9 * rain, wet_day=0.5).sum() / rain.sum()).round(6))
    0.9
    """
    rain, historical, future = (in_mm(one) for one in (rain, historical, future))
    require(rain.notnull().all(), "the record has gaps", "fill it first (fill_gaps)", "rain")
    periods = [(one.values, one.time.dt.month.values) for one in (historical, future)]
    return rain.copy(data=changed(rain.values, rain.time.dt.month.values, *periods, wet_day, seed))


def changed(
    rain: np.ndarray,
    months: np.ndarray,
    historical: tuple[np.ndarray, np.ndarray],
    future: tuple[np.ndarray, np.ndarray],
    wet_day: float = WET_DAY.value,
    seed: int = 0,
) -> np.ndarray:
    """Return a record changed as a model does between two periods, each given as its values and their months."""
    rng, out = np.random.default_rng(seed), rain.astype(float)
    for month in range(1, 13):
        at = np.flatnonzero(months == month)
        before, after = (values[own == month] for values, own in (historical, future))
        before, after = before[np.isfinite(before)], after[np.isfinite(after)]
        own, was, will = (np.sort(x[x >= wet_day]) for x in (out[at], before, after))
        if not own.size:
            continue
        problem = f"the model has no wet day in month {month}"
        require(was.size and after.size, problem, "give longer periods of the model", "historical")
        count = min(round(own.size * (will.size / after.size) / (was.size / before.size)), at.size)
        total = out[at].sum() * after.mean() / before.mean()
        out[at] = _depths(out[at], own, was, will, count, wet_day, rng)
        fallen = out[at].sum()
        out[at] *= total / fallen if fallen > 0 else 0.0
    return out


def _depths(values, own, was, will, count: int, wet_day: float, rng: np.random.Generator) -> np.ndarray:
    """Return the days of a month with so many wet ones, each with the depth of its new rank as the model changes it."""
    values, wet = values.copy(), values >= wet_day
    if count < own.size:
        values[rng.choice(np.flatnonzero(wet), own.size - count, replace=False)] = 0.0
    elif count > own.size:
        new = rng.choice(np.flatnonzero(~wet), count - own.size, replace=False)
        values[new] = rng.choice(own, new.size)  # for their ranks
    wet = np.flatnonzero(values >= wet_day)
    if wet.size and will.size:
        part = (np.argsort(np.argsort(values[wet], kind="stable"), kind="stable") + 0.5) / wet.size
        depth, earlier, later = (np.quantile(x, part, method="hazen") for x in (own, was, will))
        values[wet] = depth * later / earlier
    return values
