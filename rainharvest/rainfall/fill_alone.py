"""Filling without a neighbour: real runs of days of the same season, and multi-day totals spread."""

from __future__ import annotations

import numpy as np
import pandas as pd

FLANK = 2  # days looked at on either side of a gap
ENOUGH = 60  # runs to choose among, at least


def season_distance(day_of_year: np.ndarray, day: int) -> np.ndarray:
    """Return how many days apart in the season two days of the year stand (0 to 183)."""
    apart = np.abs(day_of_year - day)
    return np.minimum(apart, 366 - apart)


def years_drawn(years: np.ndarray, members: int, rng: np.random.Generator) -> np.ndarray:
    """Return how often each member draws each year: with replacement, so that members differ as samples do.

    Parameters
    ----------
    years : ndarray of int (time,)
        The year of each day, counted from 0.
    members : int [1]
        How many versions.
    rng : Generator
        Source of chance.

    Returns
    -------
    ndarray (member, year)
    """
    count = int(years[-1]) + 1
    return rng.multinomial(count, np.full(count, 1 / count), size=members).astype(float)


def drawn(weights: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Return one column for each row, drawn by weight; evenly where a row weighs nothing."""
    weights = weights + 1e-9
    reached = np.cumsum(weights, axis=1)
    return (reached < rng.random(len(weights))[:, None] * reached[:, -1:]).sum(axis=1)


def run_starts(known: np.ndarray, days: pd.DatetimeIndex, first: int, length: int, window: int) -> np.ndarray:
    """Return where a wholly known run of ``length`` days begins within ``window`` days of the season."""
    count = np.concatenate([[0], np.cumsum(known)])
    whole = count[length:] - count[:-length] == length
    near = season_distance(days.day_of_year.to_numpy()[: len(whole)], days.day_of_year[first]) <= window
    return np.flatnonzero(whole & near)


def _flank_matches(filled, known, starts, first, length, wet_day) -> np.ndarray:
    """Return, for each member and run, how well the days either side agree, wet with wet, dry with dry."""
    score = np.zeros((len(filled), len(starts)))
    last = filled.shape[1] - 1
    for step in range(1, FLANK + 1):
        for off in (-step, length - 1 + step):
            here, there = first + off, starts + off
            if not 0 <= here <= last:
                continue
            inside = (there >= 0) & (there <= last)
            there = np.clip(there, 0, last)
            both = np.isfinite(filled[:, here, None]) & (inside & known[there])
            score += (
                both
                * ((filled[:, here, None] >= wet_day) == (filled[:, there] >= wet_day))
                * 2.0 ** (1 - step)
            )
    return score


def resample(
    filled: np.ndarray,
    known: np.ndarray,
    days: pd.DatetimeIndex,
    first: int,
    length: int,
    wet_day: float,
    weights: np.ndarray,
    rng: np.random.Generator,
) -> bool:
    """Fill one gap of every member, in place, with a real run of days of the same season.

    A run of the same length is drawn from the other years (or other weeks) within 15 days of the season
    (30, then 45, where too few runs are whole), among those whose days before and after agree best, wet
    with wet and dry with dry, with the days that stand either side of the gap. The run is taken as it
    was, so amounts, wet days and spells keep their sequence. A gap for which too few whole runs exist is
    filled in two halves.

    Parameters
    ----------
    filled : ndarray (member, time) [mm/day]
        The members, changed in place.
    known : ndarray of bool (time,)
        The days to draw from: measured, or filled before this gap.
    days : DatetimeIndex
        Their dates.
    first : int
        Place of the gap's first day.
    length : int [day]
        Its length.
    wet_day : float [mm/day]
        Rain from which a day counts as wet.
    weights : ndarray (member, year) [1]
        How readily each member draws each year, see `years_drawn`.
    rng : Generator
        Source of chance.

    Returns
    -------
    bool
        Whether the gap could be filled.
    """
    for window in (15, 30, 45):
        starts = run_starts(known, days, first, length, window)
        if len(starts) >= ENOUGH:
            break
    else:
        if length > 1:
            half = length // 2
            return resample(filled, known, days, first, half, wet_day, weights, rng) and resample(
                filled, known, days, first + half, length - half, wet_day, weights, rng
            )
        if len(starts) == 0:
            return False
    score = _flank_matches(filled, known, starts, first, length, wet_day)
    least = -np.sort(-score, axis=1)[:, min(ENOUGH, len(starts)) - 1, None]
    year = days.year.to_numpy()[starts] - days[0].year
    chosen = starts[drawn(weights[:, year] * (score >= least), rng)]
    filled[:, first : first + length] = np.take_along_axis(
        filled, chosen[:, None] + np.arange(length), axis=1
    )
    return True


def split_total(total: float, pattern: np.ndarray) -> np.ndarray | None:
    """Return a total shared over its days in proportion to a pattern, or None where the pattern is dry.

    Parameters
    ----------
    total : float [mm]
        The rain of all the days together.
    pattern : ndarray [mm/day]
        What fell elsewhere, or at another time, on as many days.

    Returns
    -------
    ndarray or None
        Shares that add up to the total.

    Examples
    --------
    >>> split_total(30.0, np.array([0.0, 10.0, 5.0]))
    array([ 0., 20., 10.])
    """
    if total == 0:
        return np.zeros(len(pattern))
    whole = pattern.sum()
    if not (np.isfinite(whole) and whole > 0):
        return None
    shares = total * pattern / whole
    shares[np.argmax(shares)] += total - shares.sum()
    return shares


def spread_alone(
    total: float,
    sound: np.ndarray,
    days: pd.DatetimeIndex,
    first: int,
    length: int,
    members: int,
    rng: np.random.Generator,
) -> np.ndarray:
    """Return a multi-day total spread as rain fell on as many days of the same season with a like total.

    Among the whole runs within 45 days of the season, the sixty whose totals are nearest in ratio are
    drawn from, one a member, and scaled to the total. Where the record holds none, the total stands on
    its last day.

    Parameters
    ----------
    total : float [mm]
        The rain of all the days together.
    sound : ndarray (time,) [mm/day]
        The days to draw from, NaN elsewhere.
    days, first, length
        As in `resample`.
    members : int [1]
        How many versions.
    rng : Generator
        Source of chance.

    Returns
    -------
    ndarray (member, day) [mm/day]
    """
    out = np.zeros((members, length))
    if total == 0:
        return out
    starts = run_starts(np.isfinite(sound), days, first, length, 45)
    runs = sound[starts[:, None] + np.arange(length)]
    runs = runs[runs.sum(axis=1) > 0]
    if len(runs) == 0:
        out[:, -1] = total
        return out
    nearest = np.argsort(np.abs(np.log(runs.sum(axis=1) / total)), kind="stable")[:ENOUGH]
    for member, pick in enumerate(rng.choice(nearest, members)):
        out[member] = split_total(total, runs[pick])
    return out
