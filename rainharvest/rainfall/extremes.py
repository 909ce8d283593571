"""Heavy days: how often a depth is passed, and the depth to expect once in so many years."""

from __future__ import annotations

import numpy as np
import pandas as pd
import xarray as xr

from rainharvest.errors import InputError
from rainharvest.names import attributes
from rainharvest.rainfall.totals import daily_amounts

DAYS_A_YEAR = 365.25
EVENTS_A_YEAR = 3.0  # own choice: the threshold lets through about as many as in Coles' example (152 in 48)
FEWEST_EVENTS = 30  # own choice: fewer events hold no shape
DEPTHS = (0.2, 0.5, 1, 2, 5, 10, 15, 20, 30, 40, 50, 75, 100, 150, 200, 300, 500)  # [mm/day]
RETURN_PERIODS = (2, 5, 10, 20, 50, 100)  # [year]


def days_a_year(rain: xr.DataArray | pd.Series, depth=DEPTHS) -> xr.DataArray:
    """Count the days a year that have at least each depth of rain.

    Parameters
    ----------
    rain : DataArray or Series [mm/day]
        One daily record.
    depth : sequence of float [mm/day]
        The depths.

    Returns
    -------
    DataArray [day/year]
        On ``depth``: days found, divided by days known, times 365.25.

    Raises
    ------
    InputError
        If the record is not daily rain on one dimension.

    Examples
    --------
    >>> days = pd.date_range("2001-01-01", periods=100)
    >>> days_a_year(pd.Series([0, 0, 4, 30] * 25, days), depth=[1, 10]).values
    array([182.625 ,  91.3125])
    """
    amount = daily_amounts(rain)
    amount = np.sort(amount[~np.isnan(amount)])
    depth = np.asarray(depth, float)
    count = len(amount) - np.searchsorted(amount, depth)
    share = count / len(amount) if len(amount) else np.full(len(depth), np.nan)
    out = xr.DataArray(share * DAYS_A_YEAR, {"depth": depth}, "depth", attrs=attributes("days_a_year"))
    out["depth"].attrs = attributes("depth")
    return out


def return_levels(
    rain: xr.DataArray | pd.Series,
    threshold: float | None = None,
    return_period=RETURN_PERIODS,
    separation: int = 1,
) -> xr.Dataset:
    """Fit the heaviest days and give the daily depth reached on average once in each return period.

    The excess over the threshold u follows a generalised Pareto law, fitted by maximum likelihood. With a
    share z of the days above u, the depth reached once in N years is
    x_N = u + (scale/shape) ((365.25 N z)^shape - 1). Its 95 percent interval is where the profile
    log-likelihood stays within 1.92 of its best; z counts as known.

    Parameters
    ----------
    rain : DataArray or Series [mm/day]
        One daily record.
    threshold : float [mm/day], optional
        Depth above which a day is heavy; by default the one that about 3 days a year pass.
    return_period : sequence of float [year]
        The return periods.
    separation : int [day]
        Heavy days closer than this belong to one event, of which the heaviest day counts; 1 counts each.

    Returns
    -------
    Dataset
        On ``return_period``: ``return_level``, ``return_level_low``, ``return_level_high`` [mm/day]; and
        ``threshold``, ``gpd_scale`` [mm/day], ``gpd_shape``, ``gpd_loss`` (the negative log-likelihood),
        ``events``.

    Raises
    ------
    InputError
        If fewer than 30 events pass the threshold.

    Notes
    -----
    Coles (2001), An Introduction to Statistical Modeling of Extreme Values, chapter 4. A level for a return
    period longer than the record is extrapolated; the interval says how loosely. A daily reading cuts
    storms in two: the greatest 24 hours bring more.

    Examples
    --------
    >>> from rainharvest.rainfall.invented import invent_rain
    >>> found = return_levels(invent_rain("monsoon", 40, seed=1).isel(site=0), return_period=[10])
    >>> bool(found.return_level_low[0] < found.return_level[0] < found.return_level_high[0])
    True
    """
    from scipy.stats import genpareto

    amount = daily_amounts(rain)
    known = np.count_nonzero(~np.isnan(amount))
    if threshold is None:
        if known == 0:
            raise InputError("no day is known", "give a record with rain", "rain")
        threshold = float(np.nanquantile(amount, 1 - EVENTS_A_YEAR / DAYS_A_YEAR, method="lower"))
    excess = _events(amount, threshold, separation) - threshold
    if len(excess) < FEWEST_EVENTS:
        raise InputError(
            f"{len(excess)} events pass {threshold:g} mm a day",
            f"give a longer record or a lower threshold: {FEWEST_EVENTS} events or more",
            "threshold",
        )
    shape, _, scale = genpareto.fit(excess, floc=0)
    best = float(genpareto.nnlf((shape, 0, scale), excess))
    per_year = DAYS_A_YEAR * len(excess) / known
    years = np.asarray(return_period, float)
    level = _growth(years * per_year, shape) * scale
    bounds = [_profile_interval(excess, n * per_year, x, best) for n, x in zip(years, level, strict=True)]
    low, high = np.array(bounds).T
    curves = {"return_level": level, "return_level_low": low, "return_level_high": high}
    single = {
        "threshold": threshold,
        "gpd_scale": scale,
        "gpd_shape": shape,
        "gpd_loss": best,
        "events": len(excess),
    }
    out = xr.Dataset(
        {name: ("return_period", threshold + value, attributes(name)) for name, value in curves.items()}
        | {name: ((), value, attributes(name)) for name, value in single.items()},
        coords={"return_period": ("return_period", years, attributes("return_period"))},
    )
    return out


def _events(amount: np.ndarray, threshold: float, separation: int) -> np.ndarray:
    day = np.flatnonzero(amount > threshold)  # False where unknown
    if len(day) == 0:
        return np.empty(0)
    starts = np.flatnonzero(np.diff(day, prepend=day[0] - separation) >= separation)
    return np.maximum.reduceat(amount[day], starts)


def _growth(m, shape: float):
    """Return (m^shape - 1)/shape, which is log(m) where the shape is 0."""
    log = np.log(m)
    return log if abs(shape) < 1e-9 else np.expm1(shape * log) / shape


def _profile_interval(excess: np.ndarray, m: float, level: float, best: float) -> tuple[float, float]:
    """Return the 95 percent interval of the level passed once in m events, above the threshold."""
    from scipy.optimize import brentq, minimize_scalar

    if m <= 1:  # so frequent that the level lies below the threshold
        return np.nan, np.nan

    def loss(shape: float, x: float) -> float:
        scale = x / _growth(m, shape)
        inside = 1 + shape * excess / scale
        if (inside <= 0).any():
            return 1e10 - shape  # outside the law's range; lower towards larger shapes
        tail = np.log(inside) * (1 + 1 / shape) if abs(shape) > 1e-9 else excess / scale
        return len(excess) * np.log(scale) + tail.sum()

    def over(x: float) -> float:
        found = minimize_scalar(
            loss, bounds=(-0.9, 2.0), args=(x,), method="bounded", options={"xatol": 1e-5}
        )
        return found.fun - best - 1.920729  # half the 95 percent point of chi-squared with one degree

    if over(level) >= 0:  # the best law lies beyond the shapes searched, as with excesses that have an end
        return np.nan, np.nan

    def edge(factor: float) -> float:
        near, far = level, level * factor
        while over(far) < 0:
            near, far = far, far * factor
        return brentq(over, near, far, rtol=1e-4)

    return edge(0.9), edge(1.15)
