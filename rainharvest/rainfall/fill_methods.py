"""Ways to fill: alone, from the season's own days, or by what neighbours had on the same day."""

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


WINDOW_PAIRS = 300  # pairs below which the whole year stands in for the three months

# Wetness around a day, the rain of the days before and after with weights that fall by such a factor a day, is told
# apart in classes with as many days: how wet a day is depends on it, and dry spells last as they do in the record.
DECAY, BEFORE, CLASSES = 0.7, 20, 5

CLASS_PAIRS = 60  # pairs below which the wetness around is not told apart

# Days of like rank looked at on either side, share of the pool and least. The spread of n pairs is short of that of a
# further one by (n + 1) / (n - 1) in variance: 1.05 with 20 on either side; with 25 a dry neighbour is blurred.
HALF_SHARE, HALF_LEAST = 0.015, 20

KNOWN = 0.5  # share of a run's days whose level must be known

TRIES = 4  # runs of scatter looked at for the days that the first does not know

# Runs of scatter are like a gap where the levels next to it are alike, on either side, and the mean of so many days on
# both sides; squared differences weighted so.
AROUND, ALIKE = 15, (1.0, 1.0, 10.0)

SEASON = 30  # days of the season within which a run of scatter is drawn


@dataclass(frozen=True)
class _Pool:
    """Pairs of days of like wetness around: their ranks at the neighbour, and the scatter around each."""

    ranks: np.ndarray
    windows: (
        np.ndarray
    )  # (pair, 2 half + 1): rank here less rank there of the pairs around each, a view of theirs

    def day_here(self, rank: np.ndarray, level: np.ndarray) -> np.ndarray:
        """Return the rank here of days with these ranks there, at these levels of the scatter."""
        windows, width = self.windows.shape
        left, taken = np.modf(level * width)
        # A day stands between two pairs, before or after all: what is left of its level shares these places evenly.
        place = (np.searchsorted(self.ranks, rank) + left) * (windows / (windows + 1))
        scatter = np.sort(self.windows[place.astype(int)], axis=-1)
        here = np.abs(rank + np.take_along_axis(scatter, taken.astype(int)[..., None], axis=-1)[..., 0])
        return np.where(here > 1, 2 - here, here)


def _ranks(values: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Return ranks between 0 and 1, ties (dry days above all) in an order left to chance."""
    order = np.lexsort((rng.random(len(values)), values))
    out = np.empty(len(values))
    out[order] = (np.arange(len(values)) + 1) / (len(values) + 1)
    return out


def _pool(there: np.ndarray, here: np.ndarray, rng: np.random.Generator) -> tuple[_Pool, np.ndarray]:
    """Return the pool of some pairs of ranks, and the level at which each pair stands in its own scatter."""
    order = np.argsort(there)
    apart = (here - there)[order]
    half = min(max(HALF_LEAST, int(HALF_SHARE * len(order))), (len(order) - 1) // 2)
    # Mirrored at its ends, with its sign as ranks are, every pair stands in as many windows: else the wettest would be
    # drawn too seldom.
    mirrored = np.concatenate([-apart[half - 1 :: -1], apart, -apart[: -half - 1 : -1]])
    windows = np.lib.stride_tricks.sliding_window_view(mirrored, 2 * half + 1)
    level = np.empty(len(order))
    level[order] = ((windows < apart[:, None]).sum(axis=1) + rng.random(len(order))) / windows.shape[1]
    return _Pool(there[order], windows), level


def antecedent(rain: np.ndarray, days: np.ndarray, usual: float) -> np.ndarray:
    """Return the antecedent wetness of days, on the last axis of the rain: the weighted mean of the known days before.

    What lies further back is usual. A gap has known days beside it more often than other days have: were unknown
    days usual too, dry days beside gaps would look wetter than those in them.

    >>> antecedent(np.array([[8.0, 0.0, np.nan, 4.0]]), np.array([2, 4]), 0.0).round(2)
    array([[3.29, 3.67]])
    """
    steps = np.arange(1, BEFORE + 1)
    weights, beyond = DECAY ** (steps - 1), DECAY**BEFORE / (1 - DECAY)
    there = days[:, None] - steps
    rain = np.where(there >= 0, rain[:, np.maximum(there, 0)], np.nan)
    known = np.isfinite(rain)
    return (np.where(known, rain, 0) @ weights + beyond * usual) / (known @ weights + beyond)


def wetness_around(rain: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return the wetness of the days before each day, and of the days after it."""
    usual, every = float(np.nanmean(rain)), np.arange(len(rain))
    return antecedent(rain[None], every, usual)[0], antecedent(rain[None, ::-1], every, usual)[0, ::-1]


@dataclass(frozen=True)
class _Relation:
    """How the rain of one season here goes with the rain there."""

    there: np.ndarray
    here: np.ndarray
    edges: np.ndarray  # [mm] between the classes of wetness around
    pools: tuple[_Pool, ...]  # by that class


def _relations(sound, donor, wetness, days, rng) -> tuple[dict[int, _Relation], np.ndarray]:
    """Return the relation of each month, and the level in the scatter of each day that both know."""
    months = days.month.to_numpy()
    both = np.isfinite(sound) & np.isfinite(donor)
    level = np.full(len(sound), np.nan)
    relations = {}
    for month in range(1, 13):
        near = both & np.isin(months, [(month - 2) % 12 + 1, month, month % 12 + 1])
        pairs = np.flatnonzero(near if near.sum() >= WINDOW_PAIRS else both)
        there, here = _ranks(donor[pairs], rng), _ranks(sound[pairs], rng)
        pools, edges = [], np.quantile(wetness[pairs], np.arange(1, CLASSES) / CLASSES)
        classes = np.searchsorted(edges, wetness[pairs], "right")
        for k in range(CLASSES):
            alike = np.flatnonzero(classes == k)
            alike = alike if len(alike) >= CLASS_PAIRS else np.arange(len(pairs))
            pool, own = _pool(there[alike], here[alike], rng)
            mine = (months[pairs[alike]] == month) & (classes[alike] == k)
            level[pairs[alike[mine]]] = own[mine]
            pools.append(pool)
        relations[month] = _Relation(np.sort(donor[pairs]), np.sort(sound[pairs]), edges, tuple(pools))
    return relations, level


def _levels(level, days, new, members, rng) -> np.ndarray:
    """Return levels in the scatter for the new days, drawn in whole runs so that they keep their sequence."""
    season, weights = days.day_of_year.to_numpy(), years_drawn(days, members, rng)
    summed = np.pad(np.cumsum([np.isfinite(level), np.nan_to_num(level)], axis=1), ((0, 0), (1, 0)))
    every, last = np.arange(len(level) + 1), len(level)
    before = summed - summed[:, np.maximum(every - AROUND, 0)]
    after = summed[:, np.minimum(every + AROUND, last)] - summed
    beside = np.pad(level, 1, constant_values=np.nan)
    out = rng.random((members, len(new)))
    for run in np.split(np.arange(len(new)), np.flatnonzero(np.diff(new) != 1) + 1):
        first, length = new[run[0]], len(run)
        starts = np.flatnonzero(season_distance(season[: last - length + 1], season[first]) <= SEASON)
        share = (summed[0, starts + length] - summed[0, starts]) / length
        starts = starts[(share > 0) & (share >= min(share.max(initial=0), KNOWN))]
        if not len(starts):
            continue
        at = np.append(starts, first)
        count, total = before[:, at] + after[:, at + length]
        mean = total / np.where(count > 0, count, np.nan)
        apart = 0.0
        for weight, side in zip(ALIKE, (beside[at], beside[at + length + 1], mean), strict=True):
            # a run that does not know its sides is as far off as the middle of the scatter
            apart += weight * np.nan_to_num((side[:-1] - side[-1]) ** 2, nan=1 / 12)
        starts = starts[np.argsort(apart, kind="stable")[:ENOUGH]]
        taken = np.full((members, length), np.nan)
        for _ in range(TRIES):  # a stretch that one run does not know is taken from the next
            chosen = starts[drawn(weights[:, starts], rng)]
            taken = np.where(np.isnan(taken), level[chosen[:, None] + np.arange(length)], taken)
        out[:, run] = np.where(np.isnan(taken), out[:, run], taken)
    return out


@dataclass(frozen=True)
class Match:
    """How the rain here goes with that at a donor: what filled days are drawn from."""

    donor: np.ndarray  # [mm/day] Its rain
    known: np.ndarray  # Whether a day is known here
    level: np.ndarray  # [1] Level in the scatter of each day that both know
    # Wetness of the days after and relations by month: where the next day is filled too, and where it is known
    sides: tuple[tuple[np.ndarray, dict[int, _Relation]], ...]


def match(sound: np.ndarray, donor: np.ndarray, days: pd.DatetimeIndex, rng: np.random.Generator) -> Match:
    """Return how the rain here goes with that at a donor.

    In the three months around each, the days that both records know give each record's ranks
    (ties, above all dry days, in random order) and, for each pair of days, the scatter: rank here less
    rank there, told apart by the wetness around. The wetness of the days after is that at the donor, in amounts
    of like rank here, as these days are not yet filled; where the next day is known it is that here.
    """
    known = np.isfinite(sound)
    both = known & np.isfinite(donor)
    there = np.interp(donor, np.sort(donor[both]), np.sort(sound[both]))
    before, after_here = wetness_around(np.where(known, sound, there))
    sides, levels = [], []
    for after in (wetness_around(there)[1], after_here):
        relations, level = _relations(sound, donor, before + after, days, rng)
        sides.append((after, relations))
        levels.append(level)
    return Match(donor, known, levels[0], tuple(sides))


def matched(
    match: Match, days: pd.DatetimeIndex, new: np.ndarray, members: int, rng: np.random.Generator
) -> tuple[np.ndarray, np.ndarray]:
    """Return the rain here on new days for each class of wetness around, and the antecedent wetness between them.

    A new day takes its rank at the donor, plus a scatter drawn from days of like rank there
    and of like wetness around, and the amount that has that rank here::

        F_here(y) = F_there(x) + e,    e drawn from days with F_there close to F_there(x)

    So the wet-day share and the distribution of amounts are those measured here.

    Where in the scatter a day falls is not drawn day by day: a run of days of the same season is taken from
    the common record and its levels are used in sequence, so that a spell, a month or a year
    in which the two sites part company is as likely in a filled gap as it was in the record; the runs drawn
    from are the sixty whose sides had levels most like those on both sides of the gap.
    """
    months = days.month.to_numpy()
    next_known = np.append(match.known, False)[new + 1]
    out, edges = np.empty((CLASSES, members, len(new))), np.empty((len(new), CLASSES - 1))
    levels = _levels(match.level, days, new, members, rng)
    for (after, relations), mine in zip(match.sides, (~next_known, next_known), strict=True):
        for month, relation in relations.items():
            here = np.flatnonzero(mine & (months[new] == month))
            x = match.donor[new[here]]
            low = np.searchsorted(relation.there, x, "left")
            tied = np.searchsorted(relation.there, x, "right") - low
            rank = (low + rng.random((members, len(here))) * (tied + 1)) / (len(relation.there) + 1)
            edges[here] = relation.edges - after[new[here], None]
            for k, pool in enumerate(relation.pools):
                place = (pool.day_here(rank, levels[:, here]) * len(relation.here)).astype(int)
                out[k][:, here] = relation.here[np.minimum(place, len(relation.here) - 1)]
    return out, edges
