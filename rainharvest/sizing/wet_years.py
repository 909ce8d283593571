"""Which years were wet and which were dry, to the tanks that might be built."""

from __future__ import annotations

import numpy as np
import xarray as xr

from rainharvest.errors import InputError
from rainharvest.sizing.memory import LEAST_YEARS
from rainharvest.sizing.resample import whole_years
from rainharvest.storage.simulate import simulate

JUDGING_DAYS = (5.0, 20.0, 80.0)
"""The tanks by whose yearly yields years are called dry or wet, in days of mean demand (own choice).

Small tanks feel how often it rains, large ones how much: with one middling tank the band of the smallest
and the largest came out too narrow (measured as in `tests/sizing/test_band_covers.py`)."""


def wet_and_dry_years(
    time: xr.DataArray, inflow: np.ndarray, mean_demand: float, year_start_month: int
) -> np.ndarray:
    """Return how wet each whole year was to three tanks: their yields, each made standard, in the mean.

    Parameters
    ----------
    time : DataArray
        The days of the record.
    inflow : ndarray [L/day]
        Water at the tank inlet.
    mean_demand : float [L/day]
        Mean demand, asked on every day: growth of the demand over the record must not pass for weather.
    year_start_month : int [1]
        First month of the hydrological year.

    Returns
    -------
    ndarray
        One value a whole year, mean zero; all zero where no year differs or there are fewer than two.

    Raises
    ------
    InputError
        If nothing is asked.

    Examples
    --------
    >>> days = xr.DataArray(np.arange(3 * 365), dims="time")
    >>> wet = np.repeat([10.0, 30.0, 20.0], 365)
    >>> wet_and_dry_years(days, wet, 40.0, 1).round(2)
    array([-1.18,  1.26, -0.09])
    """
    if not mean_demand > 0:
        raise InputError("nothing is asked of the tank", "give a demand above zero", "demand")
    sizes = np.array(JUDGING_DAYS) * mean_demand
    half = xr.DataArray(sizes / 2, {"capacity": sizes}, ("capacity",))
    flow = xr.DataArray(inflow, {"time": time.variable}, ("time",))
    done = simulate(flow, mean_demand, sizes, start=half, year_start_month=year_start_month)
    whole = whole_years(done.days_in_year.values)
    if whole.size < LEAST_YEARS:
        return np.zeros(whole.size)
    yearly = (done.yield_by_year / done.days_in_year).values[:, whole]
    apart, spread = yearly - yearly.mean(axis=1, keepdims=True), yearly.std(axis=1, keepdims=True)
    return np.divide(apart, spread, out=np.zeros_like(apart), where=spread > 1e-9 * mean_demand).mean(axis=0)
