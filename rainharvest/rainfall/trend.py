"""Trend of a series of yearly values: Mann-Kendall test and Sen's slope."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rainharvest.errors import InputError


@dataclass(frozen=True)
class Trend:
    """A trend and how likely chance alone would show as much.

    Parameters
    ----------
    score : float [1]
        Mann-Kendall S: pairs that rise less pairs that fall.
    z : float [1]
        The score as a standard normal number.
    p : float [1]
        Chance of a score this far from zero where there is no trend (two-sided).
    slope : float [1/year]
        Sen's slope: the median of the slopes between all pairs of years, in units of the values a year.
    slope_low, slope_high : float [1/year]
        Its 95 percent interval.
    """

    score: float
    z: float
    p: float
    slope: float
    slope_low: float
    slope_high: float


def mann_kendall(values, years=None, correlated: bool = False) -> Trend:
    """Test a series for a trend that rises or falls throughout, whatever its shape.

    S = sum over i < j of sign(x_j - x_i); its variance without a trend is
    (n(n-1)(2n+5) - sum over groups of t ties of t(t-1)(2t+5)) / 18, and z = (S - sign(S)) / sqrt(variance).
    Years without a value are left out.

    Parameters
    ----------
    values : array_like [1]
        One value a year, in any unit; NaN where there is none.
    years : array_like, optional
        The years; by default they follow one another.
    correlated : bool
        Widen the variance for values that depend on the years before (Hamed and Rao 1998): it is multiplied
        by 1 + 2/(n(n-1)(n-2)) times the sum over lags k of (n-k)(n-k-1)(n-k-2) r_k, r_k being those
        autocorrelations of the ranks, Sen's slope removed, that pass 1.96/sqrt(n) in size.

    Returns
    -------
    Trend

    Raises
    ------
    InputError
        If there are fewer than 4 values.

    Notes
    -----
    Mann (1945), Kendall (1975), Sen (1968), Hamed and Rao (1998), from memory, checked against a library of
    the same tests. Where the years before have a say, the plain test finds trends too readily; the correction
    leans on autocorrelations that a short series gives only roughly.

    Examples
    --------
    >>> found = mann_kendall([1.0, 3.0, 2.0, 5.0, 4.0, 6.0])
    >>> found.score, round(found.slope, 2), round(found.p, 3)
    (11.0, 1.0, 0.06)
    """
    from scipy.stats import norm, theilslopes

    x = np.asarray(values, float)
    t = np.arange(len(x), dtype=float) if years is None else np.asarray(years, float)
    x, t = x[~np.isnan(x)], t[~np.isnan(x)]
    n = len(x)
    if n < 4:
        raise InputError(f"a trend was asked of {n} years with a value", "give 4 or more", "values")
    score = float(sum(np.sign(x[k + 1 :] - x[k]).sum() for k in range(n - 1)))
    ties = np.unique(x, return_counts=True)[1].astype(float)
    variance = (n * (n - 1) * (2 * n + 5) - (ties * (ties - 1) * (2 * ties + 5)).sum()) / 18
    slope, _, low, high = theilslopes(x, t)
    if correlated:
        variance *= _widening(x - slope * (t - t[0]))
    z = (score - np.sign(score)) / np.sqrt(variance) if variance > 0 else 0.0
    return Trend(score, float(z), float(2 * norm.sf(abs(z))), float(slope), float(low), float(high))


def _widening(residual: np.ndarray) -> float:
    from scipy.stats import rankdata

    n = len(residual)
    rank = rankdata(residual)
    rank -= rank.mean()
    if not rank.any():  # a straight line leaves nothing to be correlated
        return 1.0
    correlation = np.correlate(rank, rank, "full")[n:] / (rank @ rank)  # lags 1 to n - 1
    lag = np.arange(1, n)
    telling = np.abs(correlation) > 1.96 / np.sqrt(n)
    weight = (n - lag) * (n - lag - 1) * (n - lag - 2)
    return float(1 + 2 / (n * (n - 1) * (n - 2)) * (weight * correlation)[telling].sum())
