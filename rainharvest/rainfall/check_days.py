"""Checks of days and runs of days: bounds, outliers, repeats, dryness that is not, hidden totals."""

from __future__ import annotations

import numpy as np
import pandas as pd

from rainharvest.core.defaults import Default
from rainharvest.rainfall.fill_methods import season_distance
from rainharvest.rainfall.flags import Finding, finding_runs, many

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
    for first, last in finding_runs(values < 0):
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
    for first, last in finding_runs(values > most):
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
        for first, last in finding_runs((values > ceiling * k) & (values <= most)):
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
            for c, d in finding_runs(np.concatenate([np.diff(wet[a:b]) == 1])):
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


DUPLICATE_WET = Default(
    5, "day", "Durre et al. 2010, JAMC 49:1615 ask 3 non-zero values; raised for dry sites", "own choice"
)

DUPLICATE_SHARE = Default(0.9, "1", "share of the month that must be known", "own choice")

DRY_CHANCE = Default(
    0.01, "1", "expected number in the record, from the chance that dry follows dry", "own choice"
)

DRY_SPREAD = Default(
    2.5, "1", "robust deviations of the logarithm of the year's longest dry spell", "own choice"
)

DRY_SPREAD_LEAST = 0.25

EMPTY_CHANCE = Default(0.01, "1", "expected number in the record, from a gamma distribution", "own choice")

TOTAL_SHARE = Default(95.0, "percent", "rank among the record's own sums over as many days", "own choice")

TOTAL_GAP = Default(2, "day", "missing days before the value, at least", "own choice")

TOTAL_LONGEST = Default(31, "day", "missing days before the value, at most", "own choice")


def duplicates(values: np.ndarray, days: pd.DatetimeIndex) -> list[Finding]:
    """Return months, and sequences of months, that repeat others day for day."""
    starts = np.flatnonzero(days.day == 1)
    months = [
        (start, values[start : start + length])
        for start, length in zip(starts, days[starts].days_in_month, strict=True)
        if start + length <= len(values)
    ]
    groups: dict[bytes, list[int]] = {}
    for number, (_, month) in enumerate(months):
        known = np.isfinite(month)
        if known.mean() >= DUPLICATE_SHARE.value and (month > 0).sum() >= DUPLICATE_WET.value:
            groups.setdefault(np.where(known, month, -1.0)[:28].tobytes(), []).append(number)
    pairs = set()
    for group in groups.values():
        for later in range(1, len(group)):
            one, other = months[group[0]][1], months[group[later]][1]
            common = min(len(one), len(other))
            if np.array_equal(one[:common], other[:common], equal_nan=True):
                pairs.add((group[0], group[later]))
    out = []
    while pairs:
        source, copy = min(pairs, key=lambda pair: (pair[1], pair[0]))
        length = 0
        while (source + length, copy + length) in pairs:
            pairs.remove((source + length, copy + length))
            length += 1
        first, end = months[copy][0], months[copy + length - 1]
        last = end[0] + len(end[1]) - 1
        said = f"{days[first]:%B %Y}" if length == 1 else f"the {length} months from {days[first]:%B %Y}"
        model = days[months[source][0]]
        out.append(
            Finding(
                "duplicate",
                "suspect",
                days[first],
                days[last],
                last - first + 1,
                f"{said} {'repeats' if length == 1 else 'repeat'}, day for day, the rain of {model:%B %Y}"
                f"{'' if length == 1 else ' and after'}; one of the two was copied",
                "find out which is the copy and reject it (accepting this rejects the later one)",
                "rejected",
            )
        )
    return out


def dry_runs(values: np.ndarray, days: pd.DatetimeIndex, zero_below: float = 0.1) -> list[Finding]:
    """Return dry spells that the site's own climate does not explain: missing days written as zeros.

    Two things must hold. From the chance that a dry day follows a dry day in the same season (long spells
    left out), fewer than 0.01 such spells were to be expected in the whole record; and the spell's
    length stands more than 2.5 robust deviations above the longest spells of other years.
    """
    dry = values < zero_below
    spans = finding_runs(dry)
    if len(spans) < 20:
        return []
    length = np.array([last - first + 1 for first, last in spans])
    year = np.array([days[first].year for first, _ in spans])
    longest = pd.Series(length).groupby(year).max()
    logs = np.log(longest.to_numpy(dtype=float))
    if len(logs) < 5:
        return []
    middle = np.median(logs)
    spread = max(1.4826 * np.median(np.abs(logs - middle)), DRY_SPREAD_LEAST)
    bound = np.exp(middle + DRY_SPREAD.value * spread)
    follows = dry[:-1] & np.isfinite(values[1:])
    stays = dry[:-1] & dry[1:]
    season = days.day_of_year.to_numpy()[:-1]
    away = np.ones(len(follows), dtype=bool)  # the doubted spells say nothing of the climate
    for (first, last), n in zip(spans, length, strict=True):
        away[max(first - 1, 0) : last + 1] &= n <= bound
    out = []
    for (first, last), n in zip(spans, length, strict=True):
        if n <= bound:
            continue
        chance = 1.0
        for at in np.linspace(first, last, max(n // 15, 2)).astype(int):
            near = away & (season_distance(season, season[min(at, len(season) - 1)]) <= 30)
            p = (stays[near].sum() + 1) / (follows[near].sum() + 2)
            chance *= p ** (n / max(n // 15, 2))
        expected = chance * len(spans)
        if expected < DRY_CHANCE.value:
            usual = np.exp(middle)
            out.append(
                Finding(
                    "false zeros",
                    "suspect",
                    days[first],
                    days[last],
                    int(n),
                    f"{n} days without rain, where a year's longest dry spell is usually {usual:.0f} days; "
                    "missing days may have been written as zeros",
                    "reject the days, so that they are filled, unless a drought is confirmed elsewhere",
                    "rejected",
                )
            )
    return out


def empty_months(values: np.ndarray, days: pd.DatetimeIndex) -> list[Finding]:
    """Return months without rain that were never dry in the other years (20 at least)."""
    frame = pd.DataFrame({"rain": values, "known": np.isfinite(values)}, index=days)
    months = frame.groupby([days.year, days.month]).agg(
        rain=("rain", "sum"), known=("known", "sum"), days=("known", "size")
    )
    whole = months[(months["known"] == months["days"]) & (months["days"] >= 28)]
    out = []
    for number, year_values in whole.groupby(level=1):
        dry = year_values["rain"] == 0
        rest = year_values["rain"][~dry]
        if dry.sum() != 1 or len(rest) < 20:
            continue
        # a gamma distribution of the other years' totals says how likely less than a tenth of their least is
        from scipy.stats import gamma

        shape, _, scale = gamma.fit(rest, floc=0)
        chance = gamma.cdf(0.1 * rest.min(), shape, scale=scale) * len(whole)
        if chance < EMPTY_CHANCE.value:
            first = pd.Timestamp(year_values.index[dry][0][0], number, 1)
            last = first + pd.offsets.MonthEnd(1)
            out.append(
                Finding(
                    "false zeros",
                    "suspect",
                    first,
                    last,
                    last.day,
                    f"{first:%B %Y} has no rain at all; the driest of the {len(rest)} other years had "
                    f"{rest.min():.1f} mm in that month",
                    "reject the days, so that they are filled, unless the dry month is confirmed elsewhere",
                    "rejected",
                )
            )
    return out


def hidden_totals(values: np.ndarray, days: pd.DatetimeIndex) -> list[Finding]:
    """Return values after missing days that look like the total of those days."""
    missing = np.isnan(values)
    if not missing.any() or (~missing).sum() < 365:
        return []
    cumulated = np.concatenate([[0.0], np.cumsum(np.where(missing, 0.0, values))])
    holes = np.concatenate([[0], np.cumsum(missing)])
    gaps = [(a, b) for a, b in finding_runs(missing) if b + 1 < len(values)]
    out, bounds = [], {}
    for first, last in gaps:
        k = last - first + 1
        if not TOTAL_GAP.value <= k <= TOTAL_LONGEST.value:
            continue
        if k not in bounds:
            sums = cumulated[k + 1 :] - cumulated[: -(k + 1)]
            whole = holes[k + 1 :] == holes[: -(k + 1)]
            bounds[k] = np.percentile(sums[whole], TOTAL_SHARE.value) if whole.sum() >= 100 else np.inf
        value = values[last + 1]
        if value > max(bounds[k], np.nanpercentile(values[values > 0], 95)):
            out.append(
                Finding(
                    "hidden total",
                    "suspect",
                    days[first],
                    days[last + 1],
                    k + 1,
                    f"{value:g} mm stands after {k} missing days and is more than {bounds[k]:.1f} mm, which "
                    f"{TOTAL_SHARE.value:.0f} % of this record's sums over {k + 1} days do not "
                    f"exceed: it may "
                    "be the total of them all",
                    f"treat it as a total over {k + 1} days, if the original says so",
                    "total",
                )
            )
    after = np.array([values[last + 1] for first, last in gaps if last - first < TOTAL_LONGEST.value])
    return out + _after_gaps(after, values, days)


def _after_gaps(after: np.ndarray, values: np.ndarray, days: pd.DatetimeIndex) -> list[Finding]:
    """Return whether the days after gaps carry more rain than chance gives them."""
    known = values[np.isfinite(values)]
    if len(after) < 10 or after.mean() < 1.5 * known.mean():
        return []
    rng = np.random.default_rng(0)
    drawn = rng.choice(known, (2000, len(after))).mean(axis=1)
    p = (1 + (drawn >= after.mean()).sum()) / 2001
    if p >= 0.01:
        return []
    return [
        Finding(
            "hidden total",
            "suspect",
            days[0],
            days[-1],
            len(after),
            f"the {many(len(after), 'day')} that follow a gap carry {after.mean() / known.mean():.1f} "
            f"times the "
            f"rain of any day (chance {p:.3f}): readings after an absence are probably totals",
            "ask how absences were read; mark those readings as totals in the file",
        )
    ]
