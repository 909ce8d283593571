"""Checks against neighbours and gridded products: days out of step, rain alone, dryness denied."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

import numpy as np
import pandas as pd
import xarray as xr

from rainharvest.core.quantities import along, variables
from rainharvest.core.text import texts_of
from rainharvest.rainfall.check_days import LIMITS
from rainharvest.rainfall.check_habits import DRIZZLE, GRIDDED_DRIZZLE, GRIDDED_DRY, factor_of
from rainharvest.rainfall.climatology import daily_amounts
from rainharvest.rainfall.fill_methods import LIMITS as FILL
from rainharvest.rainfall.fill_methods import rank_correlation
from rainharvest.rainfall.flags import Finding, Neighbour, as_record, finding, finding_at, spans
from rainharvest.rainfall.read_days import swapped_days
from rainharvest.rainfall.refusals import refuse_unless

# [mm] of a month at one of the gauges; how far a part, as a logarithm, may stand from the factor
PART_RAIN, PART_WIDTH = 10.0, 0.8
SWAP_DAYS = 100  # common days of the 132 in a year that day and month leave in doubt
SHIFT_DAYS, SHIFT_WET = 120, 15  # common days and wet days that half a year must have
ZERO_BELOW = 0.1  # mm a day; less is a dry day here

# Durre et al. 2010, JAMC 49:1615, as coded by others: threshold in mm by the difference in percentiles
CORROBORATE = (269.24, 45.72)


def kindred(values: np.ndarray, neighbours: Sequence[Neighbour]) -> list[Neighbour]:
    """Return the neighbours that agree with the record, on one day or the next, well enough to judge it."""

    def best(item: Neighbour) -> float:
        return max(np.nan_to_num(rank_correlation(values, np.roll(item.values, s))[0]) for s in (0, -1, 1))

    return [item for item in neighbours if best(item) >= FILL["correlation"]]


def shifts(values: np.ndarray, days: pd.DatetimeIndex, neighbours: Sequence[Neighbour]) -> Iterator[Finding]:
    """Find half-years in which the record fits its neighbours better when moved by a day."""
    half = (days.year.to_numpy() - days[0].year) * 2 + (days.month.to_numpy() > 6)
    edges = np.searchsorted(half, np.arange(half[-1] + 2))
    votes: dict[int, list[tuple]] = {}
    for number, (a, b) in enumerate(zip(edges[:-1], edges[1:], strict=True)):
        for item in neighbours:
            here, there = values[a:b], item.values[a:b]
            both = np.isfinite(here) & np.isfinite(there)
            if both.sum() < SHIFT_DAYS or min((here[both] >= 1).sum(), (there[both] >= 1).sum()) < SHIFT_WET:
                continue
            now = rank_correlation(here, there)[0]
            moved = {s: rank_correlation(here[1:-1], there[1 + s : b - a - 1 + s])[0] for s in (-1, 1)}
            step = max(moved, key=moved.get)
            vote = step if moved[step] - now > LIMITS["shift_gain"] else 0
            votes.setdefault(number, []).append((vote, now, moved[step], item.name))
    agreed = np.zeros(half[-1] + 1, dtype=int)
    for number, cast in votes.items():
        for step in (-1, 1):
            if 2 * sum(vote[0] == step for vote in cast) > len(cast):
                agreed[number] = step
    for step, sooner, late in ((-1, "earlier", "late"), (1, "later", "early")):
        for first, last in spans(agreed == step):
            cast = [v for n in range(first, last + 1) for v in votes[n] if v[0] == step]
            facts = _agreement(cast) | {"sooner": sooner, "late": late, "step": step}
            # the neighbour moved by +1 fits: what fell here on a day stands there on the day after
            yield finding_at("shifted_days", days, edges[first], edges[last + 1] - 1, **facts)


def swapped(values: np.ndarray, days: pd.DatetimeIndex, neighbours: Sequence[Neighbour]) -> Iterator[Finding]:
    """Find years in which the record fits its neighbours only with day and month changed over."""
    turned = days.get_indexer(pd.DatetimeIndex(swapped_days(days.to_numpy().astype("datetime64[D]"))))
    doubtful = (turned >= 0) & (turned != np.arange(len(days)))
    for year in np.unique(days.year):
        at, votes = np.flatnonzero(doubtful & (days.year == year)), []
        for item in neighbours:
            now, common = rank_correlation(values[at], item.values[at])
            moved = rank_correlation(values[at], item.values[turned[at]])[0]
            if common >= SWAP_DAYS:
                votes.append((moved > now + LIMITS["swap_gain"], now, moved, item.name))
        fits = [vote for vote in votes if vote[0]]
        if 2 * len(fits) > len(votes):
            ends = days[at[[0, -1]]]
            yield finding("swapped_days", *ends, len(at), year=year, **_agreement(fits))


def _agreement(votes: Sequence[tuple]) -> dict[str, object]:
    """Return which neighbours vote for a change, and their mean rank correlation before and after it."""
    now, moved = np.mean([vote[1:3] for vote in votes], axis=0)
    return {"names": ", ".join(sorted({vote[3] for vote in votes})), "now": now, "moved": moved}


def scale(values: np.ndarray, days: pd.DatetimeIndex, neighbours: Sequence[Neighbour]) -> Iterator[Finding]:
    """Find a record, or months of it, at a unit's factor from every neighbour."""
    month = pd.PeriodIndex(days, freq="M")
    ratios, monthly = [], []
    for item in neighbours:
        both = np.isfinite(values) & np.isfinite(item.values)
        ratios.append(max(values[both].sum(), 1e-9) / max(item.values[both].sum(), 1e-9))
        sums = pd.DataFrame({"here": values[both], "there": item.values[both]}).groupby(month[both]).sum()
        sums = sums[sums.max(axis=1) >= PART_RAIN] + 1.0
        log = np.log(sums["here"] / sums["there"])
        monthly.append((log - log.groupby(log.index.month).transform("median")).rename(len(monthly)))
    if not ratios:
        return
    names = ", ".join(n.name for n in neighbours)
    if found := factor_of(ratios):
        facts = dict(zip(("factor", "remedy"), found, strict=True), ratio=np.mean(ratios), names=names)
        yield finding_at("unit_of_all", days, 0, len(days) - 1, **facts)
        return
    table = pd.concat(monthly, axis=1).dropna()
    spread = 1.4826 * table.abs().median().to_numpy()
    for first, last in spans((table.abs() > np.log(10) / 2).all(axis=1).to_numpy()):
        part = table.iloc[first : last + 1]
        found = factor_of(np.exp(part.mean()).tolist(), PART_WIDTH)
        sure = (part.mean().abs() * np.sqrt(len(part)) / np.maximum(spread, 0.2)).min()
        if found and len(part) >= 2 and sure >= LIMITS["factor_part"]:
            inside = np.flatnonzero((month >= part.index[0]) & (month <= part.index[-1]))
            ratio = np.exp(part.to_numpy().mean())
            facts = dict(zip(("factor", "remedy"), found, strict=True), ratio=ratio, names=names)
            yield finding_at("unit_of_part", days, inside[0], inside[-1], **facts)


class _Dryness(NamedTuple):
    """What a neighbour says of a dry spell: its chance, its wet days, and how often those are dry here."""

    chance: float
    wet: int
    dry_here: float
    neighbour: Neighbour


def _witnesses(
    values: np.ndarray, neighbours: Sequence[Neighbour], spells: Sequence[tuple[int, int]]
) -> list[list[_Dryness]]:
    """Return, for each dry spell, what the neighbours that know four fifths of it say."""
    dry = values < ZERO_BELOW
    after_dry = np.concatenate([[False], dry[:-1]])
    out: list[list[_Dryness]] = [[] for _ in spells]
    for item in neighbours:
        wet = item.values >= 1
        after = wet & after_dry & np.isfinite(values)
        known, wets, afters = (
            np.concatenate([[0], np.cumsum(m)]) for m in (np.isfinite(item.values), wet, after)
        )
        stayed = int((after & dry).sum())
        for said, (first, last) in zip(out, spells, strict=True):
            if known[last + 1] - known[first] >= 0.8 * (last - first + 1):
                inside = afters[last + 1] - afters[first]
                q = (stayed - inside + 1) / (afters[-1] - inside + 2)
                w = int(wets[last + 1] - wets[first])
                said.append(_Dryness(q**w, w, q, item))
    return out


def denied_dryness(
    values: np.ndarray, days: pd.DatetimeIndex, neighbours: Sequence[Neighbour]
) -> Iterator[Finding]:
    """Find dry spells during which it rained so often next door that chance does not explain them.

    With q the share of the neighbour's wet days (1 mm) that are dry here when the day before was dry here
    too, the chance of a spell that holds w such days is about q^w. Every neighbour that knows the spell must
    speak against it; the one that does so most is named.
    """
    spells = [(a, b) for a, b in spans(values < ZERO_BELOW) if b - a + 1 >= LIMITS["denied_days"]]
    for (first, last), said in zip(spells, _witnesses(values, neighbours, spells), strict=True):
        if not said or max(one.chance for one in said) > LIMITS["denied_each"]:
            continue
        chance, wet, dry_here, worst = min(said, key=lambda one: one.chance)
        if chance < LIMITS["denied"] and wet >= LIMITS["denied_days"]:
            facts = {"neighbour": worst.name, "wet": wet, "dry_here": dry_here}
            rain = np.nansum(worst.values[first : last + 1])
            yield finding_at("false_zeros_denied", days, first, last, rain=rain, **facts)


def not_borne_out(
    findings: Sequence[Finding], values: np.ndarray, days: pd.DatetimeIndex, neighbours: Sequence[Neighbour]
) -> list[Finding]:
    """Return the findings of false zeros that no neighbour's own dryness bears out."""
    said = _witnesses(
        values, neighbours, [(days.get_loc(f.first_day), days.get_loc(f.last_day)) for f in findings]
    )
    doubted = [not any(w.chance > LIMITS["denied_each"] for w in witnesses) for witnesses in said]
    return [one for one, kept in zip(findings, doubted, strict=True) if kept]


def uncorroborated(
    values: np.ndarray, days: pd.DatetimeIndex, neighbours: Sequence[Neighbour]
) -> Iterator[Finding]:
    """Find days whose rain no neighbour confirms on that day or either side of it.

    A day is doubted where it lies outside the range of at least three neighbours' values over three days
    and the distance to the nearest exceeds 269.24 - 45.72 ln(d) mm, d being the least difference between the
    percentile of the day's rain in its own record and those of the neighbours' in theirs.
    """
    if len(neighbours) < LIMITS["corroborating"]:
        return
    around = []
    for item in neighbours:
        x = item.values
        around.append([np.concatenate([[np.nan], x[:-1]]), x, np.concatenate([x[1:], [np.nan]])])
    around = np.array(around)
    percent = np.array([_percentile(n.values, three) for n, three in zip(neighbours, around, strict=True)])
    enough = np.isfinite(around).any(axis=1).sum(axis=0) >= LIMITS["corroborating"]
    flat, ranks = around.reshape(-1, len(values)), percent.reshape(-1, len(values))
    for i in np.flatnonzero(enough & np.isfinite(values) & (values > 20)):
        known = np.isfinite(flat[:, i])
        most = flat[known, i].max()
        if values[i] <= most:
            continue
        difference = max(np.abs(_percentile(values, values[i]) - ranks[known, i]).min(), 1.0)
        if values[i] - most > CORROBORATE[0] - CORROBORATE[1] * np.log(difference):
            when = {"since": days[max(i - 1, 0)], "until": days[min(i + 1, len(days) - 1)]}
            facts = {"value": values[i], "neighbours": len(neighbours), "most": most}
            yield finding_at("uncorroborated", days, i, i, **facts | when)


def _percentile(record: np.ndarray, value):
    known = np.sort(record[np.isfinite(record)])
    rank = np.searchsorted(known, value, "right") / max(len(known), 1) * 100
    return np.where(np.isfinite(value), rank, np.nan)


FEWEST_DAYS = 365  # own choice: every season once
LAGS = (-1, 0, 1)  # [day]


def compare_with_gauge(
    rain: xr.DataArray | pd.Series, product: xr.DataArray | pd.Series, wet_day: float = 1.0
) -> xr.Dataset:
    """Put two records of one place side by side, on the days that both know.

    A product on a grid, or a model, means rain over a cell: it drizzles where a gauge is dry and its storms
    are smoothed. Drizzle never leaves a roof, and smoothed storms spill less, so a yield study on such a
    record errs both ways. Its day may also be another one: rain dated by universal time beside a morning
    reading agrees best a day off.

    A record looks gridded where fewer than 15 % of its days are exactly dry and more than 5 % lie above zero
    and at or below 0.2 mm: own choice after points of a gridded set (2 to 5 % dry days) and gauges
    (61 to 70 %).

    >>> rng = np.random.default_rng(1)
    >>> days = pd.date_range("2001-01-01", periods=2000)
    >>> rain = pd.Series(np.where(rng.random(2000) < 0.3, rng.gamma(0.7, 12, 2000), 0.0), days)
    >>> cell = 0.7 * rain + rng.random(2000) * 0.4
    >>> found = compare_with_gauge(rain, cell)
    >>> found.looks_gridded.values, found.zero_share.values.round(2)
    (array([False,  True]), array([0.7, 0. ]))
    """
    refuse_unless(wet_day > 0, "no_wet_day", depth=wet_day)
    both = pd.concat([_days(rain, "gauge"), _days(product, "product")], axis=1, join="inner")
    here, there = both.to_numpy(float).T
    known = np.isfinite(here) & np.isfinite(there)
    refuse_unless(known.sum() >= FEWEST_DAYS, "little_in_common", days=known.sum(), least=FEWEST_DAYS)
    values = np.array([here[known], there[known]])
    zero = (values == 0).mean(axis=1)
    drizzle = ((values > 0) & (values <= DRIZZLE)).mean(axis=1)
    columns = {
        "zero_share": zero,
        "drizzle_share": drizzle,
        "wet_share": (values >= wet_day).mean(axis=1),
        "daily_mean": values.mean(axis=1),
        "heavy_day": np.quantile(values, 0.99, axis=1),
        "looks_gridded": (zero < GRIDDED_DRY) & (drizzle > GRIDDED_DRIZZLE),
    }
    later = pd.Series(there)
    agreement = [rank_correlation(here, later.shift(-lag).to_numpy())[0] for lag in LAGS]
    found = xr.Dataset(
        variables("record", columns)
        | variables("lag", {"lag_agreement": agreement})
        | variables((), {"common_days": int(known.sum())}),
        along(record=["gauge", "product"], lag=list(LAGS)),
        {"wet_day": float(wet_day)},
    )
    return found.assign_attrs(warnings="; ".join(_warnings(found)))


def _days(rain, place: str) -> pd.Series:
    record = as_record(rain, place)
    return pd.Series(daily_amounts(record), record.indexes["time"], name=place)


def _warnings(found: xr.Dataset) -> list[str]:
    say, out = texts_of("rainfall"), []
    for name in found.record.values[found.looks_gridded.values]:
        one = found.sel(record=name)
        out.append(say.product_drizzles(name, float(one.zero_share), float(one.drizzle_share), DRIZZLE))
    for name in ("daily_mean", "heavy_day"):
        gauge, product = found[name].values
        if gauge > 0 and abs(product / gauge - 1) > 0.1:
            out.append(say.product_ratio(name, product / gauge))
    wet = found.wet_share.values
    if abs(wet[1] - wet[0]) > 0.03:
        out.append(say.product_wet(*wet, found.attrs["wet_day"]))
    agreement = np.nan_to_num(found.lag_agreement.values, nan=-2.0)  # none for a record that never varies
    best = int(found.lag.values[np.argmax(agreement)])
    if best and agreement.max() > agreement[LAGS.index(0)]:
        out.append(say.product_lag(best))
    return out
