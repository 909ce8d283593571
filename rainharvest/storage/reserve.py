"""What a reserve rides out, how large it must be for a stated ride-out, and how old its water grows."""

from __future__ import annotations

import numpy as np
import pandas as pd
import xarray as xr

from rainharvest.errors import InputError
from rainharvest.names import attributes
from rainharvest.storage.settings import as_series, check_range, common_time


def ride_out(demand, capacity) -> xr.DataArray:
    """Return how long a full reserve lasts if the mains fail on the morning of each day.

    The longest x with the demand of the next x days no more than the reserve; within the last day the
    draw is even. It is infinite where the record ends first.

    Parameters
    ----------
    demand : DataArray, Series or 1-D array [L/day]
        Water asked for.
    capacity : float, list or DataArray [L]
        Usable size of the reserve.

    Returns
    -------
    DataArray [day]
        On (capacity, time).

    Raises
    ------
    InputError
        If the demand has a missing or negative day, or the size is negative.

    Examples
    --------
    Five days of 100 L, then a weekend: 250 L last two days and a half from Monday; from Thursday they
    last over the weekend.

    >>> week = [100.0] * 5 + [0.0] * 2
    >>> ride_out(week * 2, 250.0).values[0, [0, 3]]
    array([2.5, 4.5])
    """
    time, sums = _sums(demand)
    sizes = np.atleast_1d(np.asarray(capacity, dtype=float))
    if sizes.ndim != 1 or not (np.isfinite(sizes) & (sizes >= 0)).all():
        raise InputError(f"a reserve of {capacity} L", "give a size of zero or more", "capacity")
    days = time.size
    later = np.append(np.diff(sums), np.inf)
    out = np.empty((sizes.size, days))
    for i, size in enumerate(sizes):
        reach = sums[:-1] + size
        # What is met but for the rounding of the sums is met; so the day after it asks for something.
        full = np.searchsorted(sums, reach * (1 + 1e-12) + 1e-9, side="right") - 1
        rest = np.maximum(reach - sums[full], 0.0) / later[full]
        out[i] = np.where(full < days, full - np.arange(days) + rest, np.inf)
    return xr.DataArray(
        out,
        {"capacity": ("capacity", sizes, attributes("capacity")), "time": time},
        ("capacity", "time"),
        name="ride_out",
        attrs=attributes("ride_out"),
    )


def smallest_reserve(demand, days: float) -> float:
    """Return the smallest full reserve that rides out so many days without mains, whenever they begin.

    S = max over t of the demand from t to t + days, t any moment of the record; the draw of a day is
    even over the day.

    Parameters
    ----------
    demand : DataArray, Series or 1-D array [L/day]
        Water asked for.
    days : float [day]
        The ride-out; 0.25 is six hours.

    Returns
    -------
    float [L]
        Usable size.

    Raises
    ------
    InputError
        If the demand has a missing or negative day, or the record is shorter than the ride-out.

    Examples
    --------
    >>> smallest_reserve([100.0] * 5 + [0.0] * 2 + [100.0] * 5, 3), smallest_reserve([100.0] * 9, 0.25)
    (300.0, 25.0)
    """
    time, sums = _sums(demand)
    if not 0 < days <= time.size:
        raise InputError(
            f"a ride-out of {days} days on {time.size} days of demand",
            "give more than zero, and no more than the record covers",
            "days",
        )
    edge = np.arange(sums.size, dtype=float)
    # The sum between two moments is piecewise linear: its largest value has an end on a midnight.
    most = 0.0
    for begins in (edge, edge - days):
        begins = begins[(begins >= 0) & (begins + days <= edge[-1])]
        most = max(most, (np.interp(begins + days, edge, sums) - np.interp(begins, edge, sums)).max())
    return float(most)


def reserve_curve(demand, ride_outs) -> xr.DataArray:
    """Return the smallest reserve for each of several ride-outs.

    Parameters
    ----------
    demand : DataArray, Series or 1-D array [L/day]
        Water asked for.
    ride_outs : list of float [day]
        The ride-outs.

    Returns
    -------
    DataArray [L]
        On ``ride_out``.

    Raises
    ------
    InputError
        As `smallest_reserve`.

    Examples
    --------
    >>> reserve_curve([100.0] * 9, [0.5, 2, 3]).values
    array([ 50., 200., 300.])
    """
    lengths = [float(d) for d in ride_outs]
    return xr.DataArray(
        [smallest_reserve(demand, d) for d in lengths],
        {"ride_out": ("ride_out", lengths, attributes("ride_out"))},
        ("ride_out",),
        name="smallest_reserve",
        attrs=attributes("smallest_reserve"),
    )


def water_age(daily: xr.Dataset) -> xr.DataArray:
    """Return the mean age of the water in the tank each evening.

    a <- old (a + 1)/(old + new), old what the day's draw left of the evening before, new what came in
    and stayed; 0 in an empty tank. The tank is taken as mixed, and the water of the first morning as
    fresh.

    Parameters
    ----------
    daily : Dataset
        With ``stored``, ``drawn_daily`` and ``stored_start``: a simulation with ``trace=True``.

    Returns
    -------
    DataArray [day]
        On the dimensions of ``stored``.

    Raises
    ------
    InputError
        If the simulation has no trace.

    Notes
    -----
    Own mass balance, for yield after spillage: the draw comes out of yesterday's water.

    Examples
    --------
    >>> from rainharvest.storage.simulate import simulate
    >>> done = simulate([100.0, 0.0, 0.0, 0.0, 0.0], 10.0, 100.0, trace=True)
    >>> water_age(done).values[0].astype(int)
    array([0, 1, 2, 3, 4])
    """
    if "stored" not in daily or "drawn_daily" not in daily:
        raise InputError("the simulation has no daily values", "simulate with trace=True", "daily")
    stored = daily.stored.transpose("time", ...)
    drawn = daily.drawn_daily.transpose(*stored.dims).values
    level = stored.values
    start = np.broadcast_to(daily.stored_start.transpose(*stored.dims[1:]).values, level.shape[1:])
    before = np.concatenate([start[None], level[:-1]])
    old = np.minimum(np.maximum(before - drawn, 0.0), level)
    share = np.divide(old, level, out=np.zeros_like(level), where=level > 1e-9)
    age = np.zeros_like(level)
    last = np.zeros(level.shape[1:])
    for t in range(level.shape[0]):
        last = share[t] * (last + 1.0)
        age[t] = last
    out = xr.DataArray(age, stored.coords, stored.dims, name="water_age", attrs=attributes("water_age"))
    return out.transpose(*daily.stored.dims)


def reserve_measures(daily: xr.Dataset, capacity: float) -> pd.Series:
    """Return how a tank's water is turned over and how old it grows.

    Parameters
    ----------
    daily : Dataset
        A simulation of one tank with ``trace=True``.
    capacity : float [L]
        Usable tank size.

    Returns
    -------
    Series
        ``turnover`` [1/year] (drawn a year over the capacity), ``mean_age`` [day], ``oldest`` [day],
        ``failures_a_year`` [1/year], ``days_failed`` [day].

    Raises
    ------
    InputError
        If there is more than one tank, or no trace.
    """
    if daily.get("stored") is None or daily.stored.dims != ("time",):
        raise InputError("there is not one tank with its daily values", "choose one, trace=True", "daily")
    check_range("capacity", xr.DataArray(float(capacity)), 1e-9, np.inf)
    age, years = water_age(daily), daily.sizes["time"] / 365.25
    wet = daily.stored > 1e-9
    return pd.Series(
        {
            "turnover": float(daily.delivered) / capacity / years,
            "mean_age": float(age.where(wet).mean()) if bool(wet.any()) else 0.0,
            "oldest": float(age.max()),
            "failures_a_year": float(daily.failure_events) / years,
            "days_failed": float(daily.days_failed),
        }
    )


def _sums(demand) -> tuple[xr.DataArray, np.ndarray]:
    """Return the days of the demand, and its running sum from zero."""
    time = common_time(demand=demand)
    asked = as_series("demand", demand, time)
    if asked.dims != ("time",):
        raise InputError(f"the demand has dimensions {asked.dims}", "sum it over its uses first", "demand")
    check_range("demand", asked, 0.0, np.inf)
    return time, np.concatenate([[0.0], np.cumsum(asked.values)])
