"""Quantile matching with scatter: what a day's rank at a neighbour says of the same day here."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from rainharvest.rainfall.fill_alone import drawn, season_distance, years_drawn
from rainharvest.rainfall.fill_donors import Donor

WINDOW_PAIRS = 300  # pairs below which the whole year stands in for the three months
STATE_PAIRS = 60  # pairs below which wet and dry yesterdays are not told apart
HALF_SHARE, HALF_LEAST = 0.015, 10  # days of like rank looked at on either side, share of the pool and least
KNOWN = 0.5  # share of a run's days whose level must be known
SEASON = 30  # days of the season within which a run of scatter is drawn


@dataclass(frozen=True)
class _Pool:
    """Pairs of days with a like yesterday: their ranks at the neighbour, and the scatter around each."""

    ranks: np.ndarray
    scatter: np.ndarray

    def day_here(self, rank: np.ndarray, level: np.ndarray) -> np.ndarray:
        """Return the rank here of days with these ranks there, at these levels of the scatter."""
        windows, width = self.scatter.shape
        place = np.clip(np.searchsorted(self.ranks, rank) - width // 2, 0, windows - 1)
        here = np.abs(rank + self.scatter[place, (level * width).astype(int)])
        return np.where(here > 1, 2 - here, here)


def _ranks(values: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Return ranks between 0 and 1, ties (dry days above all) in an order left to chance."""
    order = np.lexsort((rng.random(len(values)), values))
    out = np.empty(len(values))
    out[order] = (np.arange(len(values)) + 0.5) / len(values)
    return out


def _pool(there: np.ndarray, here: np.ndarray, rng: np.random.Generator) -> tuple[_Pool, np.ndarray]:
    """Return the pool of some pairs of ranks, and the level at which each pair stands in its own scatter."""
    order = np.argsort(there)
    apart = (here - there)[order]
    half = min(max(HALF_LEAST, int(HALF_SHARE * len(order))), (len(order) - 1) // 2)
    windows = np.lib.stride_tricks.sliding_window_view(apart, 2 * half + 1)
    own = windows[np.clip(np.arange(len(order)) - half, 0, len(windows) - 1)]
    level = np.empty(len(order))
    level[order] = ((own < apart[:, None]).sum(axis=1) + rng.random(len(order))) / own.shape[1]
    return _Pool(there[order], np.sort(windows, axis=1)), level


@dataclass(frozen=True)
class _Relation:
    """How the rain of one season here goes with the rain there."""

    there: np.ndarray
    here: np.ndarray
    pools: tuple[_Pool, _Pool]


def _relations(sound, donor, days, wet_day, rng) -> tuple[dict[int, _Relation], np.ndarray]:
    """Return the relation of each month, and the level in the scatter of each day that both know."""
    months = days.month.to_numpy()
    both = np.isfinite(sound) & np.isfinite(donor)
    before = np.concatenate([[np.nan], sound[:-1]])
    yesterday = np.where(np.isfinite(before), before >= wet_day, -1)
    level = np.full(len(sound), np.nan)
    relations = {}
    for month in range(1, 13):
        near = both & np.isin(months, [(month - 2) % 12 + 1, month, month % 12 + 1])
        pairs = np.flatnonzero(near if near.sum() >= WINDOW_PAIRS else both)
        there, here = _ranks(donor[pairs], rng), _ranks(sound[pairs], rng)
        pools = []
        for wet in (0, 1):
            alike = np.flatnonzero(yesterday[pairs] == wet)
            alike = alike if len(alike) >= STATE_PAIRS else np.arange(len(pairs))
            pool, own = _pool(there[alike], here[alike], rng)
            mine = (months[pairs[alike]] == month) & (yesterday[pairs[alike]] == wet)
            level[pairs[alike[mine]]] = own[mine]
            pools.append(pool)
        relations[month] = _Relation(np.sort(donor[pairs]), np.sort(sound[pairs]), tuple(pools))
    return relations, level


def _levels(level, days, new, members, rng) -> np.ndarray:
    """Return levels in the scatter for the new days, drawn in whole runs so that they keep their sequence."""
    season, years = days.day_of_year.to_numpy(), days.year.to_numpy() - days[0].year
    known = np.isfinite(level)
    count = np.concatenate([[0], np.cumsum(known)])
    weights = years_drawn(years, members, rng)
    out = rng.random((members, len(new)))
    for run in np.split(np.arange(len(new)), np.flatnonzero(np.diff(new) != 1) + 1):
        length = len(run)
        near = season_distance(season[: len(season) - length + 1], season[new[run[0]]]) <= SEASON
        starts = np.flatnonzero(near)
        share = (count[starts + length] - count[starts]) / length
        starts = starts[(share > 0) & (share >= min(share.max(initial=0), KNOWN))]
        if len(starts):
            chosen = starts[drawn(weights[:, years[starts]], rng)]
            out[:, run] = level[_known_in(chosen[:, None] + np.arange(length), known, rng)]
    return out


def _known_in(source: np.ndarray, known: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Return runs of days with each unknown day replaced by a known one of its own run."""
    out = source.copy()
    for row in np.flatnonzero(~known[source].all(axis=1)):
        there = known[source[row]]
        out[row, ~there] = rng.choice(source[row][there], (~there).sum())
    return out


def matched(
    sound: np.ndarray,
    donor: Donor,
    days: pd.DatetimeIndex,
    new: np.ndarray,
    members: int,
    wet_day: float,
    rng: np.random.Generator,
) -> np.ndarray:
    """Return the rain here on new days, by quantile matching with scatter from one donor.

    In the three months around the day's own, the days that both records know give each record's ranks
    (ties, above all dry days, in random order) and, for each pair of days, the scatter: rank here less
    rank there. A new day takes its rank at the donor, plus a scatter drawn from days of like rank there
    and like yesterday here (wet or dry), and the amount that has that rank here::

        F_here(y) = F_there(x) + e,    e drawn from days with F_there close to F_there(x)

    So the wet-day share and the distribution of amounts are those measured here. Where in the scatter a
    day falls is not drawn day by day: a run of days of the same season is taken from the common record
    and its levels are used in sequence, so that a spell, a month or a year in which the two sites part
    company is as likely in a filled gap as it was in the record.

    Parameters
    ----------
    sound : ndarray (time,) [mm/day]
        The sound days of the record, NaN elsewhere.
    donor : Donor
        The neighbour.
    days : DatetimeIndex
        The dates.
    new : ndarray of int
        Places of the days to fill, ascending; the donor has a value on each.
    members : int [1]
        How many versions.
    wet_day : float [mm/day]
        Rain from which a day counts as wet.
    rng : Generator
        Source of chance.

    Returns
    -------
    ndarray (2, member, day) [mm/day]
        The rain if the day before was dry, and if it was wet.
    """
    relations, level = _relations(sound, donor.values, days, wet_day, rng)
    levels = _levels(level, days, new, members, rng)
    months = days.month.to_numpy()[new]
    out = np.empty((2, members, len(new)))
    for month in np.unique(months):
        here = np.flatnonzero(months == month)
        relation = relations[month]
        x = donor.values[new[here]]
        low = np.searchsorted(relation.there, x, "left")
        tied = np.maximum(np.searchsorted(relation.there, x, "right") - low, 1)
        rank = (low + rng.random((members, len(here))) * tied) / len(relation.there)
        rank = np.minimum(rank, 1 - 0.5 / len(relation.there))
        for wet, pool in enumerate(relation.pools):
            place = (pool.day_here(rank, levels[:, here]) * len(relation.here)).astype(int)
            out[wet][:, here] = relation.here[np.minimum(place, len(relation.here) - 1)]
    return out
