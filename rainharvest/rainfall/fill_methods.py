"""Ways to fill: alone, from the season's own days, or by the mean of what neighbours had; and which may serve."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from rainharvest.core.defaults import defaults_of
from rainharvest.core.errors import require
from rainharvest.core.text import texts_of
from rainharvest.rainfall.flags import Neighbour

LIMITS = {name: row.value for name, row in defaults_of("rainfall")["fill"].items()}

ENOUGH = 60  # runs to choose among, at least

ALIKE_AROUND = 1 / 6  # mean difference of ranks of wetness: with enough below, no run is sought farther off


def season_distance(day_of_year: np.ndarray, day: int) -> np.ndarray:
    """Return how many days apart in the season two days of the year stand (0 to 183)."""
    apart = np.abs(day_of_year - day)
    return np.minimum(apart, 366 - apart)


def years_drawn(days: pd.DatetimeIndex, members: int, rng: np.random.Generator) -> np.ndarray:
    """Return how often each member draws the year of each day: with replacement, as samples differ."""
    year = days.year.to_numpy() - days[0].year
    count = int(year[-1]) + 1
    return rng.multinomial(count, np.full(count, 1 / count), size=members)[:, year]


def drawn(weights: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Return one column for each row, drawn by weight; evenly where a row weighs nothing."""
    weights = weights + 1e-9
    reached = np.cumsum(weights, axis=1)
    return (reached < rng.random(len(weights))[:, None] * reached[:, -1:]).sum(axis=1)


def run_starts(known: np.ndarray, season: np.ndarray, first: int, length: int, window: int) -> np.ndarray:
    """Return where a wholly known run of ``length`` days begins within ``window`` days of the season."""
    count = np.concatenate([[0], np.cumsum(known)])
    starts = np.flatnonzero(season_distance(season[: len(season) - length + 1], season[first]) <= window)
    return starts[count[starts + length] - count[starts] == length]


def _flank_misses(filled, known, around, starts, first, length, wet_day) -> np.ndarray:
    """Return, for each member and run, on how many sides the next day disagrees, and how far the wetness does.

    The next days agree wet with wet and dry with dry. The wetness before and after, in ranks among the runs, counts
    for less: its mean difference, below 1.
    """
    apart = np.zeros(len(starts))
    for wetness, step in zip(around, (0, length - 1), strict=True):
        there = wetness[starts + step]
        rank = np.searchsorted(np.sort(there), np.append(there, wetness[first + step]))
        apart += np.abs(rank[:-1] - rank[-1]) / (2 * len(starts) + 1)
    misses = np.tile(apart, (len(filled), 1))
    last = filled.shape[1] - 1
    for off in (-1, length):
        here, there = first + off, np.clip(starts + off, 0, last)
        if 0 <= here <= last and not np.isnan(filled[0, here]):
            unlike = (filled[:, here, None] >= wet_day) != (filled[:, there] >= wet_day)
            misses += unlike | (there != starts + off) | ~known[there]
    return misses


def resample(
    filled: np.ndarray,
    known: np.ndarray,
    around: tuple[np.ndarray, np.ndarray],
    season: np.ndarray,
    first: int,
    length: int,
    wet_day: float,
    weights: np.ndarray,
    rng: np.random.Generator,
) -> bool:
    """Fill one gap of every member, in place, with a real run of days of the same season.

    A run of the same length is drawn from the other years (or other weeks) within 15 days of the season
    (30, then 45, where fewer than sixty agree): the sixty with wet or dry days next to them as the gap has and
    with the wetness before and after most alike, and all as good. The run is taken as it was, so amounts, wet
    days and spells keep their sequence. A gap for which too few whole runs exist is filled in two halves.
    """
    for window in (15, 30, 45):
        starts = run_starts(known, season, first, length, window)
        if len(starts) < ENOUGH:
            continue
        misses = _flank_misses(filled[:1], known, around, starts, first, length, wet_day)
        if (misses < ALIKE_AROUND).sum() >= ENOUGH:
            break
    if len(starts) < ENOUGH:
        if length > 1:
            half = length // 2
            return resample(filled, known, around, season, first, half, wet_day, weights, rng) and resample(
                filled, known, around, season, first + half, length - half, wet_day, weights, rng
            )
        if len(starts) == 0:
            return False
    misses = _flank_misses(filled, known, around, starts, first, length, wet_day)
    most = np.partition(misses, min(ENOUGH, len(starts)) - 1, axis=1)[:, min(ENOUGH, len(starts)) - 1, None]
    chosen = starts[drawn(weights[:, starts] * (misses <= most), rng)]
    filled[:, first : first + length] = np.take_along_axis(
        filled, chosen[:, None] + np.arange(length), axis=1
    )
    return True


def split_total(total: float, pattern: np.ndarray) -> np.ndarray | None:
    """Return a total shared over its days in proportion to a pattern, or None where the pattern is dry.

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
    season: np.ndarray,
    first: int,
    length: int,
    members: int,
    rng: np.random.Generator,
) -> np.ndarray:
    """Return a multi-day total spread as rain fell on as many days of the same season with a like total.

    Among the whole runs within 45 days of the season, the sixty whose totals are nearest in ratio are
    drawn from, one a member, and scaled to the total. Where the record holds none, the total stands on
    its last day.
    """
    out = np.zeros((members, length))
    if total == 0:
        return out
    starts = run_starts(np.isfinite(sound), season, first, length, 45)
    runs = sound[starts[:, None] + np.arange(length)]
    runs = runs[runs.sum(axis=1) > 0]
    if len(runs) == 0:
        out[:, -1] = total
        return out
    nearest = np.argsort(np.abs(np.log(runs.sum(axis=1) / total)), kind="stable")[:ENOUGH]
    for member, pick in enumerate(rng.choice(nearest, members)):
        out[member] = split_total(total, runs[pick])
    return out


@dataclass(frozen=True)
class Donor:
    """A neighbour that may serve as donor."""

    name: str  # Its name
    values: np.ndarray  # [mm/day] Its rain on the target's days
    correlation: float  # [1] Daily Spearman rank correlation with the target
    distance: float  # [km] Distance to the target, NaN where a position is not known
    doubts: tuple[str, ...] = ()  # What the report says of it


def _number(attrs: dict, key: str) -> float:
    """Return a number of a record's attributes, NaN where there is none."""
    try:
        return float(attrs[key])
    except (KeyError, TypeError, ValueError):
        return float("nan")


def distance_km(one: dict, other: dict) -> float:
    """Return the great-circle distance [km] between two records' positions, NaN where one is unknown.

    >>> distance_km({"latitude": 0.0, "longitude": 0.0}, {"latitude": 0.0, "longitude": 1.0})
    111.19
    """
    places = [_number(x, key) for x in (one, other) for key in ("latitude", "longitude")]
    lat1, lon1, lat2, lon2 = np.radians(places)
    half = np.sin((lat2 - lat1) / 2) ** 2 + np.cos(lat1) * np.cos(lat2) * np.sin((lon2 - lon1) / 2) ** 2
    return float(2 * 6371.0 * np.arcsin(np.sqrt(np.clip(half, 0, 1))))


def rank_correlation(one: np.ndarray, other: np.ndarray) -> tuple[float, int]:
    """Return the Spearman rank correlation of two daily series and the days that both know.

    >>> rank_correlation(np.array([0.0, 1.0, 5.0, np.nan]), np.array([0.0, 2.0, 3.0, 1.0]))
    (1.0, 3)
    """
    both = np.isfinite(one) & np.isfinite(other)
    if both.sum() < 3:
        return float("nan"), int(both.sum())
    ranks = pd.DataFrame({"one": one[both], "other": other[both]}).rank().to_numpy()
    if (ranks.std(axis=0) == 0).any():
        return float("nan"), int(both.sum())
    return float(np.corrcoef(ranks.T)[0, 1]), int(both.sum())


def choose_donors(
    sound: np.ndarray, attrs: dict, neighbours: Sequence[Neighbour]
) -> tuple[list[Donor], list[str]]:
    """Return the neighbours that may serve, best correlated first, and why the others may not.

    A donor has at least 365 days in common with the target, a daily Spearman rank correlation of at least
    0.4 (below 0.6 it is used with a warning), stands no more than 150 km off where both positions are
    known, and is not out of step: if moving it by a day raises the correlation by more than 0.1, its days
    are reckoned otherwise and it is refused.
    """
    say = texts_of("rainfall")
    donors, refused = [], []
    for item in neighbours:
        correlation, common = rank_correlation(sound, item.values)
        distance = distance_km(attrs, item.attrs)
        if common < LIMITS["common_days"]:
            refused.append(say.donor_short(item.name, common))
            continue
        shifted = {step: rank_correlation(sound, np.roll(item.values, step))[0] for step in (-1, 1)}
        step = max(shifted, key=lambda s: np.nan_to_num(shifted[s], nan=-1))
        if shifted[step] > np.nan_to_num(correlation) + LIMITS["shift_gain"]:
            refused.append(say.donor_shifted(item.name, step, shifted[step], correlation))
        elif not correlation >= LIMITS["correlation"]:
            refused.append(say.donor_unlike(item.name, correlation))
        elif distance > LIMITS["distance"]:
            refused.append(say.donor_far(item.name, distance, LIMITS["distance"]))
        else:
            doubts = []
            if correlation < LIMITS["correlation_warn"]:
                doubts.append(say.donor_weak(item.name, correlation))
            climb = abs(_number(attrs, "elevation") - _number(item.attrs, "elevation"))
            if climb > LIMITS["elevation_warn"]:
                doubts.append(say.donor_climb(item.name, climb))
            donors.append(Donor(item.name, item.values, correlation, distance, tuple(doubts)))
    return sorted(donors, key=lambda d: -d.correlation), refused


def best_donor(donors: Sequence[Donor], days: np.ndarray) -> np.ndarray:
    """Return, for each of some days, the place in ``donors`` of the best that has a value, or -1."""
    best = np.full(len(days), -1)
    for place in range(len(donors) - 1, -1, -1):
        best[np.isfinite(donors[place].values[days])] = place
    return best


def normal_ratio(values: np.ndarray, normals: np.ndarray, normal: float) -> np.ndarray:
    """Return the normal-ratio estimate: the mean of the neighbours' rain, each scaled by the normals.

    P = (N / n) sum(P_i / N_i), over the neighbours that have a value.

    >>> float(normal_ratio(np.array([110.0, 90.0, 70.0]), np.array([1100.0, 1200.0, 1250.0]), 1000.0))
    77.0
    """
    values = np.asarray(values, dtype=float)
    normals = np.asarray(normals, dtype=float).reshape((-1,) + (1,) * (values.ndim - 1))
    wet = np.all(normals > 0) and normal > 0
    require(wet, "a normal is not above zero", "give the normals of wet stations", "normals")
    return _weighted_mean(values * normal / normals, np.ones(values.shape[0]))


def inverse_distance(values: np.ndarray, distances: np.ndarray, power: float = 2.0) -> np.ndarray:
    """Return the mean of the neighbours' rain weighted by an inverse power of their distances.

    P = sum(P_i / d_i^p) / sum(1 / d_i^p), over the neighbours that have a value; a dry neighbour counts.

    >>> float(inverse_distance(np.array([98.0, 80.0, 110.0]), np.array([15.0, 73.0, 36.0])))
    99.088
    """
    values, distances = np.asarray(values, dtype=float), np.asarray(distances, dtype=float)
    apart = np.all(distances > 0)
    require(apart, "a distance is not above zero", "give each neighbour's distance", "distances")
    return _weighted_mean(values, distances**-power)


def _weighted_mean(values: np.ndarray, weights: np.ndarray) -> np.ndarray:
    mean = np.ma.average(np.ma.masked_invalid(values), axis=0, weights=weights)
    return np.ma.filled(mean, np.nan)[()]
