"""How far the mean of a short record may lie from the long-run mean, when wet and dry years cluster."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from rainharvest.errors import InputError

LEAST_YEARS = 2
"""Fewest whole years that differ: from one alone no spread can be told."""

CARRIED = tuple(round(0.05 + 0.1 * k, 2) for k in range(10))
"""Correlations of the slow part of a year with the next, tried with equal weight."""

SLOW = tuple(round(0.2 * k, 1) for k in range(6))
"""Shares of the slow part in the variance of a year, tried with equal weight; 0 is no memory at all."""


def long_run_means(yearly, count: int, rng: np.random.Generator) -> np.ndarray:
    """Draw long-run means that could have given the record's years.

    A year's value is taken as the long-run mean and a slow part, correlated with the next year's by phi,
    and a part of its own: normal values whose correlation k years apart is s phi^k (1 at k = 0). Thirty
    years cannot tell phi and s, so neither is estimated: every pair of a grid (`CARRIED`, `SLOW`) counts
    by how well it fits the record. Given phi and s, the long-run mean is Student's t about the generalised
    mean of the years, with a degree of freedom fewer than years.

    Parameters
    ----------
    yearly : array_like
        One value a whole year, in order; any unit.
    count : int [1]
        How many means to draw.
    rng : Generator
        Where the random numbers come from; only uniform numbers are taken.

    Returns
    -------
    ndarray
        ``count`` means, in the unit of the years; all equal where the years are.

    Raises
    ------
    InputError
        If there are fewer than `LEAST_YEARS` years or a value is missing.

    Notes
    -----
    The usual Bayesian answer to a mean with unknown correlation: flat in the mean, in the logarithm of the
    spread and over the grid. Ordinary resampling takes the record's own correlation, which in thirty years
    comes out too small, and so tells a band that is too narrow; `tests/sizing` measures both on invented
    climates of which the long run is known. Limits: one slow part only, and the future like the past.

    Examples
    --------
    >>> years = [610.0, 540, 700, 650, 480, 500, 620, 590, 610, 560]
    >>> drawn = long_run_means(years, 2000, np.random.default_rng(1))
    >>> bool(abs(np.median(drawn) - np.mean(years)) < 10), bool(np.std(drawn) > np.std(years) / 10**0.5)
    (True, True)
    """
    from scipy.special import stdtrit

    years = np.asarray(yearly, dtype=float)
    if years.ndim != 1 or years.size < LEAST_YEARS:
        raise InputError(
            f"{years.size} whole years are too few to say how far the record may mislead",
            f"give a record of {LEAST_YEARS} whole years or more",
            "rain",
        )
    if not np.isfinite(years).all():
        raise InputError("a year has no value", "fill the gaps or leave those years out", "rain")
    which, chance = rng.random(count), np.clip(rng.random(count), 1e-12, 1 - 1e-12)
    spread = float(np.std(years))
    if spread <= 1e-12 * float(np.abs(years).max()):
        return np.full(count, years.mean())
    inverse, log_det, total = _grid(years.size)
    scaled = (years - years.mean()) / spread
    middle = inverse.dot(scaled).sum(axis=1) / total
    left = scaled - middle[:, None]
    squares = np.einsum("gi,gij,gj->g", left, inverse, left)
    fit = -0.5 * log_det - 0.5 * np.log(total) - 0.5 * (years.size - 1) * np.log(squares)
    weight = np.cumsum(np.exp(fit - fit.max()))
    pair = np.minimum(np.searchsorted(weight, which * weight[-1]), weight.size - 1)
    scale = np.sqrt(squares / ((years.size - 1) * total))
    return years.mean() + spread * (middle[pair] + scale[pair] * stdtrit(years.size - 1, chance))


@lru_cache(maxsize=8)
def _grid(years: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return, for each pair of the grid, the inverse correlation, its log determinant and its sum."""
    apart = np.abs(np.subtract.outer(np.arange(years), np.arange(years)))
    all_of = np.array([(1 - s) * np.eye(years) + s * phi**apart for phi in CARRIED for s in SLOW])
    inverse = np.linalg.inv(all_of)
    return inverse, np.linalg.slogdet(all_of)[1], inverse.sum(axis=(1, 2))


def tilted_chances(values, wanted) -> np.ndarray:
    """Return chances of drawing each value so that the mean drawn is the one wanted.

    Of all such chances, those nearest to equal ones: p proportional to exp(lambda value), lambda solved
    for each mean wanted (exponential tilting).

    Parameters
    ----------
    values : array_like
        What is drawn from, shape (values,).
    wanted : array_like
        Means, shape (count,). One outside the range of the values is brought to 2 % of the range from its
        end: what the record never saw cannot be drawn from it.

    Returns
    -------
    ndarray
        Chances, shape (count, values); each row adds up to 1.

    Examples
    --------
    >>> tilted_chances([1.0, 2.0, 3.0], [2.0, 2.5]).round(3)
    array([[0.333, 0.333, 0.333],
           [0.116, 0.268, 0.616]])
    """
    values, wanted = np.asarray(values, dtype=float), np.atleast_1d(np.asarray(wanted, dtype=float))
    low, high = values.min(), values.max()
    spread = values.std()
    if not spread > 1e-12 * max(abs(low), abs(high)):
        return np.full((wanted.size, values.size), 1.0 / values.size)
    margin = 0.02 * (high - low)
    scaled = (values - values.mean()) / spread
    goal = (np.clip(wanted, low + margin, high - margin) - values.mean()) / spread
    below, above = np.full(wanted.size, -200.0), np.full(wanted.size, 200.0)
    for _ in range(60):
        middle = (below + above) / 2
        power = middle[:, None] * scaled
        chance = np.exp(power - power.max(axis=1, keepdims=True))
        chance /= chance.sum(axis=1, keepdims=True)
        short = (chance * scaled).sum(axis=1) < goal
        below, above = np.where(short, middle, below), np.where(short, above, middle)
    return chance
