"""Checks of days and runs of days: bounds, outliers, repeats, dryness that is not, hidden totals."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from math import comb

import numpy as np
import pandas as pd

from rainharvest.core.defaults import defaults_of
from rainharvest.rainfall.fill_methods import season_distance
from rainharvest.rainfall.flags import Finding, alike, finding, finding_at, spans

WORLD_RECORD = defaults_of("rainfall")["check"]["world_record"]
LIMITS = {name: row.value for name, row in defaults_of("rainfall")["check"].items()}

# Durre et al. 2010: in ten successive wet values, so many equal ones at or above such a percentile
FREQUENT = ((9, 30), (8, 50), (7, 70), (5, 90))
DRY_SPREAD_LEAST = 0.25
DRY_PRIOR = 5.0  # [day] of the usual year that each year's own share of dry days is held together with


def most_rain(total_days: np.ndarray) -> np.ndarray:
    """Return the most rain ever measured over so many days [mm]."""
    k = np.maximum(total_days, 1)
    return np.where(k < 4, LIMITS["world_record"] * k, LIMITS["world_record_4"] * k / 4)


def bounds(
    values: np.ndarray, total_days: np.ndarray, days: pd.DatetimeIndex, ceiling: float | None
) -> Iterator[Finding]:
    """Find values that cannot be: negative, above the world record, or above the user's ceiling."""
    k = np.maximum(total_days, 1)
    record, four, most = LIMITS["world_record"], LIMITS["world_record_4"], most_rain(k)
    bad = {"negative": values < 0, "impossible": values > most}
    if ceiling is not None:
        bad["ceiling"] = (values > ceiling * k) & (values <= most)
    known = {"day_record": record, "four_record": four, "ceiling": ceiling}
    for kind, mask in bad.items():
        for first, last in spans(mask):
            found = values[first : last + 1]
            yield finding_at(kind, days, first, last, worst=found.min(), largest=found.max(), **known)


def outliers(values: np.ndarray, days: pd.DatetimeIndex) -> Iterator[Finding]:
    """Find values far outside the site's own climate."""
    season, months = days.day_of_year.to_numpy(), days.month.to_numpy()
    wet = values > 0
    if wet.sum() < 20:
        return
    steps = {}
    for month in range(1, 13):
        ordered = np.sort(values[wet & (months == month)])
        jumps = np.flatnonzero(np.diff(ordered) >= LIMITS["step"])
        if len(jumps):
            steps[month] = ordered[jumps[0]]
    middle = np.median(values[wet])
    for i in np.flatnonzero(values >= max(6 * middle, 1.0)):
        apart = season_distance(season, season[i])
        other = wet.copy()
        other[i] = False
        near, wide = values[other & (apart <= 14)], values[other & (apart <= 45)]
        value, here = values[i], (days, i, i)
        if value > steps.get(months[i], np.inf):
            yield finding_at("outlier_step", *here, value=value, next=steps[months[i]])
        elif len(near) >= 20 and value >= LIMITS["outlier"] * (p95 := np.percentile(near, 95)):
            yield finding_at("outlier_climate", *here, value=value, times=value / p95, p95=p95)
        elif len(wide) >= 100 and value >= LIMITS["alone"] * (most := wide.max()):
            yield finding_at("outlier_alone", *here, value=value, times=value / most, next=most)


def repeats(values: np.ndarray, days: pd.DatetimeIndex) -> Iterator[Finding]:
    """Find streaks of one value, values that come too often, and a largest value that never changes.

    A coarse gauge repeats itself by chance, so a streak counts only where, with the value's own frequency,
    fewer than 0.01 such streaks were to be expected in the whole record.
    """
    wet = np.flatnonzero(values > 0)
    if len(wet) < 50:
        return
    amounts = values[wet]
    _, place, count = np.unique(amounts, return_inverse=True, return_counts=True)
    share = count[place] / len(wet)
    ranks = np.searchsorted(np.sort(amounts), amounts, "right") / len(wet) * 100
    seen = np.zeros(len(values), dtype=bool)

    def doubt(kind, first, last, value, number):
        if not seen[first : last + 1].any():
            seen[first : last + 1] = True
            yield finding_at(kind, days, first, last, value=value, number=number)

    for a, b in alike(amounts):
        number, value = b - a + 1, amounts[a]
        if number >= LIMITS["streak"] and len(wet) * share[a] ** number < LIMITS["chance"]:
            yield from doubt("streak_rainy", wet[a], wet[b], value, number)
        elif number >= LIMITS["equal_days"] and value >= np.median(amounts):
            daily = count[place[a]] / np.isfinite(values).sum()
            for c, d in spans(np.diff(wet[a : b + 1]) == 1):
                length = d - c + 2
                if length >= LIMITS["equal_days"] and len(values) * daily**length < LIMITS["chance"]:
                    yield from doubt("streak_days", wet[a + c], wet[a + d + 1], value, length)
    windows = np.lib.stride_tricks.sliding_window_view(amounts, 10)
    equal = (windows[:, :, None] == windows[:, None, :]).sum(axis=2)
    most, inner = equal.max(axis=1), np.arange(len(windows)) + equal.argmax(axis=1)
    for least, percentile in FREQUENT:
        rare = len(wet) * _at_least(least, 10, share[inner]) < LIMITS["chance"]
        for w in np.flatnonzero((most >= least) & (ranks[inner] >= percentile) & rare):
            yield from doubt("streak_frequent", wet[w], wet[w + 9], amounts[inner[w]], most[w])
    yield from _capped(values, days)


def _at_least(k: int, n: int, p: np.ndarray) -> np.ndarray:
    return sum(comb(n, j) * p**j * (1 - p) ** (n - j) for j in range(k, n + 1))


def _capped(values: np.ndarray, days: pd.DatetimeIndex) -> Iterator[Finding]:
    largest = pd.Series(values, days).groupby(days.year).max()
    largest = largest[largest > 0]
    for a, b in alike(largest.to_numpy()):
        if b - a + 1 >= LIMITS["capped_years"]:
            first, last = pd.Timestamp(largest.index[a], 1, 1), pd.Timestamp(largest.index[b], 12, 31)
            most, on = largest.iloc[a], (values == largest.iloc[a]) & (days >= first) & (days <= last)
            yield finding("capped", first, last, int(on.sum()), years=b - a + 1, largest=most)


def duplicates(values: np.ndarray, days: pd.DatetimeIndex) -> Iterator[Finding]:
    """Find months, and sequences of months, that repeat others day for day."""
    starts = np.flatnonzero(days.day == 1)
    ends = starts + days[starts].days_in_month
    months = [(a, values[a:b]) for a, b in zip(starts, ends, strict=True) if b <= len(values)]
    groups: dict[bytes, list[int]] = {}
    for number, (_, month) in enumerate(months):
        known = np.isfinite(month)
        if known.mean() >= LIMITS["duplicate_share"] and (month > 0).sum() >= LIMITS["duplicate_wet"]:
            groups.setdefault(np.where(known, month, -1.0)[:28].tobytes(), []).append(number)
    pairs = set()
    for first, *others in groups.values():
        for later in others:
            one, other = months[first][1], months[later][1]
            common = min(len(one), len(other))
            if np.array_equal(one[:common], other[:common], equal_nan=True):
                pairs.add((first, later))
    while pairs:
        source, copy = min(pairs, key=lambda pair: (pair[1], pair[0]))
        length = 0
        while (source + length, copy + length) in pairs:
            pairs.remove((source + length, copy + length))
            length += 1
        first, end = months[copy][0], months[copy + length - 1]
        last, origin = end[0] + len(end[1]) - 1, days[months[source][0]]
        kind = "duplicate" if length == 1 else "duplicates"
        yield finding_at(kind, days, first, last, months=length, source=origin)


def dry_runs(values: np.ndarray, days: pd.DatetimeIndex, zero_below: float = 0.1) -> Iterator[Finding]:
    """Find dry spells that the site's own climate does not explain: missing days written as zeros.

    Two things must hold. From the chance that a dry day follows a dry day in the same season, in a year like
    any of the record's (long spells left out), fewer than 0.01 such spells were to be expected in the whole
    record; and the spell's length stands more than 2.5 robust deviations above the longest spells of other years.
    """
    dry = values < zero_below
    spells = spans(dry)
    if len(spells) < 20:
        return
    length = np.array([last - first + 1 for first, last in spells])
    longest = pd.Series(length).groupby([days[first].year for first, _ in spells]).max()
    logs = np.log(longest.to_numpy(dtype=float))
    if len(logs) < 5:
        return
    middle = np.median(logs)
    spread = max(1.4826 * np.median(np.abs(logs - middle)), DRY_SPREAD_LEAST)
    bound = np.exp(middle + LIMITS["dry_spread"] * spread)
    long = [(first, last, n) for (first, last), n in zip(spells, length, strict=True) if n > bound]
    chance = _dry_chance(values, days, [(first, last) for first, last, _ in long], zero_below)
    for first, last, _ in long:
        if chance(first, last) * len(spells) < LIMITS["dry_chance"]:
            yield finding_at("false_zeros_spell", days, first, last, usual=np.exp(middle))


def _dry_chance(
    values: np.ndarray, days: pd.DatetimeIndex, doubted: list[tuple[int, int]], zero_below: float = 0.1
) -> Callable[[int, int], float]:
    """Return a function that gives the chance of a dry spell, once begun, in a year like any of the record's.

    The doubted spells say nothing of the climate.
    """
    dry = values < zero_below
    follows, stays = dry[:-1] & np.isfinite(values[1:]), dry[:-1] & dry[1:]
    season, year = days.day_of_year.to_numpy()[:-1], days.year.to_numpy()[:-1] - days[0].year
    away = np.ones(len(follows), dtype=bool)
    for first, last in doubted:
        away[max(first - 1, 0) : last + 1] = False

    def chance(first: int, last: int) -> float:
        n = last - first + 1
        logs, parts = np.zeros(year[-1] + 1), max(n // 15, 2)
        for at in np.linspace(first, last, parts).astype(int):
            near = away & (season_distance(season, season[min(at, len(season) - 1)]) <= 30)
            dry_next, after_dry = (np.bincount(year[near], one[near], len(logs)) for one in (stays, follows))
            usual = (dry_next.sum() + 1) / (after_dry.sum() + 2)
            logs += n / parts * np.log((dry_next + DRY_PRIOR * usual) / (after_dry + DRY_PRIOR))
        return float(np.exp(logs).mean())

    return chance


def empty_months(values: np.ndarray, days: pd.DatetimeIndex) -> Iterator[Finding]:
    """Find months without rain that were never dry in the other years (20 at least)."""
    frame = pd.DataFrame({"rain": values, "known": np.isfinite(values)}, index=days)
    months = frame.groupby([days.year, days.month]).agg(
        rain=("rain", "sum"), known=("known", "sum"), days=("known", "size")
    )
    whole = months[(months["known"] == months["days"]) & (months["days"] >= 28)]
    for number, year_values in whole.groupby(level=1):
        dry = year_values["rain"] == 0
        rest = year_values["rain"][~dry]
        if dry.sum() != 1 or len(rest) < 20:
            continue
        first = pd.Timestamp(year_values.index[dry][0][0], number, 1)
        last = first + pd.offsets.MonthEnd(1)
        month = days.get_loc(first), days.get_loc(last)
        if _dry_chance(values, days, [month])(*month) * len(whole) < LIMITS["empty_chance"]:
            said = {"others": len(rest), "driest": rest.min()}
            yield finding("false_zeros_month", first, last, last.day, **said)


def short_gaps(blank: np.ndarray, values: np.ndarray) -> list[tuple[int, int]]:
    """Return (first, last) of each run of blank days, a month at most, between days with a value."""
    gaps = [(a, b) for a, b in spans(blank) if 0 < a and b + 1 < len(values)]
    known, most = np.isfinite(values), LIMITS["total_longest"]
    return [(a, b) for a, b in gaps if b - a < most and known[a - 1] and known[b + 1]]


def hidden_totals(
    values: np.ndarray, blank: np.ndarray, days: pd.DatetimeIndex, said: bool | None
) -> list[Finding]:
    """Return values after blank days that look like the total of those days, all of them or one by one."""
    gaps = short_gaps(blank, values)
    if said is False or not gaps:
        return []
    if said:
        return [finding("hidden_totals_said", days[0], days[-1], len(gaps))]
    after = _after_gaps(gaps, values, days)
    if (~blank).sum() < 365 or any(one.flag for one in after):
        return after
    missing = np.isnan(values)
    cumulated = np.concatenate([[0.0], np.cumsum(np.where(missing, 0.0, values))])
    holes = np.concatenate([[0], np.cumsum(missing)])
    out, usual = [], {}
    for first, last in gaps:
        k = last - first + 1
        if k < LIMITS["total_gap"]:
            continue
        if k not in usual:
            sums = cumulated[k + 1 :] - cumulated[: -(k + 1)]
            whole = holes[k + 1 :] == holes[: -(k + 1)]
            usual[k] = np.percentile(sums[whole], LIMITS["total_share"]) if whole.sum() >= 100 else np.inf
        value = values[last + 1]
        if value > max(usual[k], np.nanpercentile(values[values > 0], 95)):
            facts = {"value": value, "missing": k, "bound": usual[k], "share": LIMITS["total_share"]}
            out.append(finding_at("hidden_total", days, first, last + 1, **facts))
    return out + after


def _after_gaps(gaps: list[tuple[int, int]], values: np.ndarray, days: pd.DatetimeIndex) -> list[Finding]:
    """Return whether the days after gaps carry more rain than chance gives days of their months.

    Beyond chance, they are taken for totals where they carry more than half of what the rain of all the days
    would add, counted from the days before the gaps: a gauge that fails in storms has wet days on both sides.
    """
    if len(gaps) < LIMITS["totals_gaps"]:
        return []
    first, last = np.array(gaps).T
    month, known = days.month.to_numpy(), np.isfinite(values)
    after, before = values[last + 1].mean(), values[first - 1].mean()
    rng = np.random.default_rng(0)
    usual, drawn = np.zeros(len(gaps)), np.zeros((2000, len(gaps)))
    for m in np.unique(month[last + 1]):
        here, pool = month[last + 1] == m, values[known & (month == m)]
        usual[here], drawn[:, here] = pool.mean(), rng.choice(pool, (2000, int(here.sum())))
    chance = (1 + (drawn.mean(axis=1) >= after).sum()) / 2001
    if after < 1.5 * usual.mean() or chance >= 0.01:
        return []
    share = (after - max(before, usual.mean())) / ((last - first + 1) * usual).mean()
    sure = chance < LIMITS["totals_chance"] and share > LIMITS["totals_part"]
    facts = {"times": after / usual.mean(), "chance": chance, "share": share}
    kind = "hidden_totals" if sure else "hidden_totals_doubt"
    return [finding(kind, days[0], days[-1], len(gaps), **facts)]
