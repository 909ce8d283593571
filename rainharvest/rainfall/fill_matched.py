"""Filling by one neighbour: the rank of a day there, with the scatter of days as wet around, as an amount here."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from rainharvest.rainfall.fill_methods import ENOUGH, drawn, season_distance, years_drawn

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
