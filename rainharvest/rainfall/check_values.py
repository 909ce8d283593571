"""Checks of single values: bounds, the site's own climate, repeated values."""

from __future__ import annotations

import numpy as np
import pandas as pd

from rainharvest.rainfall.check_finding import Finding, runs
from rainharvest.rainfall.fill_alone import season_distance
from rainharvest.sources import Default

WORLD_RECORD = Default(
    1825.0, "mm/day", "WMO world record: Foc-Foc, Reunion, 7-8 January 1966 (wmo.asu.edu)", "open data"
)
WORLD_RECORD_4 = Default(4936.0, "mm", "WMO world record over four days, as quoted by WMO", "open data")
OUTLIER = Default(
    9.0,
    "1",
    "Durre et al. 2010, JAMC 49:1615, times p95 of wet days within 14 days of the season",
    "open data",
)
STEP = Default(300.0, "mm/day", "Durre et al. 2010: gap in a calendar month's sorted values", "open data")
ALONE = Default(3.0, "1", "times the next largest of the season", "own choice")
STREAK = Default(20, "1", "Durre et al. 2010: equal non-zero values in sequence", "open data")
EQUAL_DAYS = Default(4, "day", "equal values, at least the median wet day, on days in sequence", "own choice")
CHANCE = Default(0.01, "1", "expected number in the record above which chance explains it", "own choice")
# Durre et al. 2010: in ten successive wet values, so many equal ones at or above such a percentile
FREQUENT = ((9, 30), (8, 50), (7, 70), (5, 90))
CAPPED_YEARS = Default(
    3, "year", "after the R package reddPrec: one largest value, years running", "open data"
)


def bounds(
    values: np.ndarray, total_days: np.ndarray, days: pd.DatetimeIndex, ceiling: float | None
) -> list[Finding]:
    """Return values that cannot be: negative, above the world record, or above the user's ceiling."""
    out = []
    k = np.maximum(total_days, 1)
    most = np.where(k < 4, WORLD_RECORD.value * k, WORLD_RECORD_4.value * k / 4)
    for first, last in runs(values < 0):
        worst = values[first : last + 1].min()
        out.append(
            Finding(
                "negative",
                "wrong",
                days[first],
                days[last],
                last - first + 1,
                f"the rain is negative, down to {worst:g} mm; rain cannot be less than nothing, and "
                f"the value "
                "may be a code for a missing day",
                "reject the days",
                "rejected",
            )
        )
    for first, last in runs(values > most):
        out.append(
            Finding(
                "impossible",
                "wrong",
                days[first],
                days[last],
                last - first + 1,
                f"{values[first : last + 1].max():g} mm is more than has ever been measured "
                f"({WORLD_RECORD.value:g} mm in a day, {WORLD_RECORD_4.value:g} mm in four)",
                "reject the days, or correct the unit",
                "rejected",
            )
        )
    if ceiling is not None:
        for first, last in runs((values > ceiling * k) & (values <= most)):
            out.append(
                Finding(
                    "ceiling",
                    "suspect",
                    days[first],
                    days[last],
                    last - first + 1,
                    f"{values[first : last + 1].max():g} mm is above the ceiling of {ceiling:g} mm a day set "
                    "for this site",
                    "look the days up in the original",
                    "suspect",
                )
            )
    return out


def outliers(values: np.ndarray, days: pd.DatetimeIndex) -> list[Finding]:
    """Return values far outside the site's own climate."""
    out = []
    season, months = days.day_of_year.to_numpy(), days.month.to_numpy()
    wet = values > 0
    if wet.sum() < 20:
        return out
    monthly = {m: np.sort(values[wet & (months == m)]) for m in range(1, 13)}
    steps = {}
    for month, sorted_values in monthly.items():
        jumps = np.flatnonzero(np.diff(sorted_values) >= STEP.value)
        if len(jumps):
            steps[month] = sorted_values[jumps[0]]
    middle = np.median(values[wet])
    for i in np.flatnonzero(values >= max(6 * middle, 1.0)):
        apart = season_distance(season, season[i])
        other = wet.copy()
        other[i] = False
        near, wide = values[other & (apart <= 14)], values[other & (apart <= 45)]
        said = ""
        if months[i] in steps and values[i] > steps[months[i]]:
            said = f"the next lower value of the month is {steps[months[i]]:g} mm"
        elif len(near) >= 20 and values[i] >= OUTLIER.value * np.percentile(near, 95):
            p95 = np.percentile(near, 95)
            said = (
                f"that is {values[i] / p95:.0f} times the depth that one wet day in twenty exceeds at this "
                f"time of the year ({p95:.1f} mm)"
            )
        elif len(wide) >= 100 and values[i] >= ALONE.value * wide.max():
            said = f"that is {values[i] / wide.max():.1f} times the next of the season ({wide.max():g} mm)"
        if said:
            out.append(
                Finding(
                    "outlier",
                    "suspect",
                    days[i],
                    days[i],
                    1,
                    f"{values[i]:g} mm: {said}",
                    "look the day up in the original: a slipped decimal point or a total over several days?",
                    "suspect",
                )
            )
    return out


def repeats(values: np.ndarray, days: pd.DatetimeIndex) -> list[Finding]:
    """Return streaks of one value, values that come too often, and a largest value that never changes.

    A coarse gauge repeats itself by chance, so a streak counts only where, with the value's own frequency,
    fewer than 0.01 such streaks were to be expected in the whole record.
    """
    out = []
    wet = np.flatnonzero(values > 0)
    if len(wet) < 50:
        return out
    amounts = values[wet]
    kinds, place, count = np.unique(amounts, return_inverse=True, return_counts=True)
    share = count[place] / len(wet)
    ranks = np.searchsorted(np.sort(amounts), amounts, "right") / len(wet) * 100
    seen = np.zeros(len(values), dtype=bool)

    def tell(first, last, number, said):
        if seen[first : last + 1].any():
            return
        seen[first : last + 1] = True
        out.append(
            Finding(
                "streak",
                "suspect",
                days[first],
                days[last],
                last - first + 1,
                said,
                "reject the days if the original does not confirm them",
                "suspect",
            )
        )

    change = np.flatnonzero(np.concatenate([[True], amounts[1:] != amounts[:-1], [True]]))
    for a, b in zip(change[:-1], change[1:], strict=True):
        number, value = b - a, amounts[a]
        if number >= STREAK.value and len(wet) * share[a] ** number < CHANCE.value:
            tell(wet[a], wet[b - 1], number, f"{value:g} mm stands on {number} rainy days running")
        elif number >= EQUAL_DAYS.value and value >= np.median(amounts):
            for c, d in runs(np.concatenate([np.diff(wet[a:b]) == 1])):
                length = d - c + 2
                daily = count[place[a]] / np.isfinite(values).sum()
                if length >= EQUAL_DAYS.value and len(values) * daily**length < CHANCE.value:
                    tell(
                        wet[a + c],
                        wet[a + d + 1],
                        length,
                        f"{value:g} mm stands on {length} days in sequence",
                    )
    if len(amounts) >= 10:
        windows = np.lib.stride_tricks.sliding_window_view(amounts, 10)
        equal = (windows[:, :, None] == windows[:, None, :]).sum(axis=2)
        most, at = equal.max(axis=1), equal.argmax(axis=1)
        inner = np.arange(len(windows)) + at
        for least, percentile in FREQUENT:
            rare = len(wet) * _at_least(least, 10, share[inner]) < CHANCE.value
            for w in np.flatnonzero((most >= least) & (ranks[inner] >= percentile) & rare):
                tell(
                    wet[w],
                    wet[w + 9],
                    most[w],
                    f"{amounts[inner[w]]:g} mm stands on {most[w]} of 10 successive rainy days",
                )
    return out + _capped(values, days)


def _at_least(k: int, n: int, p: np.ndarray) -> np.ndarray:
    from math import comb

    return sum(comb(n, j) * p**j * (1 - p) ** (n - j) for j in range(k, n + 1))


def _capped(values: np.ndarray, days: pd.DatetimeIndex) -> list[Finding]:
    largest = pd.Series(values, days).groupby(days.year).max()
    largest = largest[largest > 0]
    out = []
    change = np.flatnonzero(np.concatenate([[True], np.diff(largest.to_numpy()) != 0, [True]]))
    for a, b in zip(change[:-1], change[1:], strict=True):
        if b - a >= CAPPED_YEARS.value:
            first, last = pd.Timestamp(largest.index[a], 1, 1), pd.Timestamp(largest.index[b - 1], 12, 31)
            on = (values == largest.iloc[a]) & (days >= first) & (days <= last)
            out.append(
                Finding(
                    "capped",
                    "suspect",
                    first,
                    last,
                    int(on.sum()),
                    f"the largest day of each of {b - a} years is {largest.iloc[a]:g} mm: the gauge "
                    f"or the file "
                    "seems to hold no more",
                    "ask how deep a day the gauge or the form can hold; larger days are cut short",
                )
            )
    return out
