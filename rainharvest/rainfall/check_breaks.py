"""Breaks in a series of yearly values: Pettitt, SNHT, Buishand, von Neumann, and the double mass."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from rainharvest.errors import InputError

SIMULATIONS = 5000


@dataclass(frozen=True)
class Break:
    """What a test for one break says.

    Parameters
    ----------
    statistic : float [1]
        The test's statistic.
    before : int [1]
        How many values stand before the break; 0 for a test that names no place.
    p : float [1]
        Chance of as large a statistic in a series without a break.
    """

    statistic: float
    before: int
    p: float


def _series(values) -> np.ndarray:
    x = np.asarray(values, dtype=float)
    if x.ndim != 1 or len(x) < 5 or not np.isfinite(x).all():
        raise InputError(
            "a break needs five known values at least", "give one value a year, none missing", "values"
        )
    return x


def pettitt(values) -> Break:
    """Test for one change of the median (Pettitt 1979).

    With r_i the ranks, U_k = 2 sum(r_1..r_k) - k (n + 1); the statistic is K = max |U_k| and
    p = 2 exp(-6 K^2 / (n^3 + n^2)), at most 1.

    Parameters
    ----------
    values : array_like
        One value a year, in any unit.

    Returns
    -------
    Break

    Raises
    ------
    InputError
        If there are fewer than five values, or one is missing.

    Examples
    --------
    >>> found = pettitt([1, 2, 1, 2, 1, 2, 8, 9, 8, 9, 8, 9])
    >>> found.statistic, found.before, round(found.p, 3)
    (36.0, 6, 0.031)
    """
    from scipy.stats import rankdata

    x = _series(values)
    n = len(x)
    u = 2 * np.cumsum(rankdata(x)) - np.arange(1, n + 1) * (n + 1)
    k = int(np.argmax(np.abs(u[:-1])))
    size = float(np.abs(u[k]))
    return Break(size, k + 1, float(min(1.0, 2 * np.exp(-6 * size**2 / (n**3 + n**2)))))


def _standard(x: np.ndarray) -> np.ndarray:
    spread = x.std(axis=-1, ddof=1, keepdims=True)
    return (x - x.mean(axis=-1, keepdims=True)) / np.where(spread > 0, spread, 1)


def _snht(x: np.ndarray) -> np.ndarray:
    """Return T_k for each k, on the last axis."""
    n = x.shape[-1]
    k = np.arange(1, n)
    sums = np.cumsum(_standard(x), axis=-1)[..., :-1]
    return sums**2 / k + sums**2 / (n - k)  # the standardised values sum to nothing


def _range(x: np.ndarray) -> np.ndarray:
    n = x.shape[-1]
    partial = np.cumsum(_standard(x) * np.sqrt(n / (n - 1)), axis=-1) / np.sqrt(n)
    return np.maximum(partial.max(axis=-1), 0) - np.minimum(partial.min(axis=-1), 0)


def _von_neumann(x: np.ndarray) -> np.ndarray:
    spread = ((x - x.mean(axis=-1, keepdims=True)) ** 2).sum(axis=-1)
    return (np.diff(x, axis=-1) ** 2).sum(axis=-1) / np.where(spread > 0, spread, 1)


@lru_cache(maxsize=64)
def _null(test: str, n: int) -> np.ndarray:
    """Return the sorted statistics of series without a break: independent normal values, seeded."""
    x = np.random.default_rng(n).standard_normal((SIMULATIONS, n))
    value = {
        "snht": lambda: _snht(x).max(axis=-1),
        "range": lambda: _range(x),
        "ratio": lambda: _von_neumann(x),
    }
    return np.sort(value[test]())


def _chance(test: str, n: int, statistic: float, upper: bool = True) -> float:
    null = _null(test, n)
    beyond = (
        len(null) - np.searchsorted(null, statistic, "left")
        if upper
        else np.searchsorted(null, statistic, "right")
    )
    return float((1 + beyond) / (1 + len(null)))


def snht(values) -> Break:
    """Test for one change of the mean: the standard normal homogeneity test (Alexandersson 1986).

    With z standardised (divisor n - 1), T_k = k mean(z_1..z_k)^2 + (n - k) mean(z_k+1..z_n)^2; the
    statistic is the largest T_k. The chance comes from 5,000 seeded series of independent normal values.

    Parameters
    ----------
    values : array_like
        One value a year, in any unit.

    Returns
    -------
    Break

    Raises
    ------
    InputError
        If there are fewer than five values, or one is missing.

    Examples
    --------
    >>> found = snht([1, 2, 1, 2, 1, 2, 8, 9, 8, 9, 8, 9])
    >>> round(found.statistic, 2), found.before, found.p < 0.01
    (10.78, 6, True)
    """
    x = _series(values)
    t = _snht(x)
    k = int(np.argmax(t))
    return Break(float(t[k]), k + 1, _chance("snht", len(x), float(t[k])))


def buishand_range(values) -> Break:
    """Test for a change of the mean by the rescaled range of the partial sums (Buishand 1982).

    With S_k the sum of the first k deviations over the standard deviation (divisor n), the statistic is
    (max S_k - min S_k) / sqrt(n); chance as in `snht`.

    Parameters
    ----------
    values : array_like
        One value a year, in any unit.

    Returns
    -------
    Break
        ``before`` is where the partial sums stand farthest from nothing.

    Raises
    ------
    InputError
        If there are fewer than five values, or one is missing.

    Examples
    --------
    >>> round(buishand_range([1, 2, 1, 2, 1, 2, 8, 9, 8, 9, 8, 9]).statistic, 3)
    1.715
    """
    x = _series(values)
    statistic = float(_range(x))
    sums = np.abs(np.cumsum(_standard(x)))[:-1]
    return Break(statistic, int(np.argmax(sums)) + 1, _chance("range", len(x), statistic))


def von_neumann_ratio(values) -> Break:
    """Test whether values a year apart are more alike than chance makes them (von Neumann 1941).

    The ratio of the squared differences to the squared deviations from the mean is about 2 in a series
    without a break and smaller with one; it names no place. Chance as in `snht`.

    Parameters
    ----------
    values : array_like
        One value a year, in any unit.

    Returns
    -------
    Break

    Raises
    ------
    InputError
        If there are fewer than five values, or one is missing.

    Examples
    --------
    >>> round(von_neumann_ratio([1, 2, 1, 2, 1, 2, 8, 9, 8, 9, 8, 9]).statistic, 2)
    0.31
    """
    x = _series(values)
    statistic = float(_von_neumann(x))
    return Break(statistic, 0, _chance("ratio", len(x), statistic, upper=False))
