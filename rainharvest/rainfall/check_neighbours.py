"""Checks against neighbours and gridded products: days out of step, rain alone, dryness denied."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
import pandas as pd
import xarray as xr

from rainharvest.core.defaults import Default
from rainharvest.core.errors import InputError
from rainharvest.core.quantities import attributes
from rainharvest.rainfall.check_habits import FACTOR_WIDTH, FACTORS, GRIDDED_DRIZZLE, GRIDDED_DRY
from rainharvest.rainfall.climatology import daily_amounts
from rainharvest.rainfall.fill_methods import CORRELATION, rank_correlation
from rainharvest.rainfall.flags import Finding, Neighbour, as_record, day, finding_runs

SHIFT_GAIN = Default(0.15, "1", "rank correlation gained by moving a day, over half a year", "own choice")

SHIFT_DAYS, SHIFT_WET = 120, 15  # common days and wet days that half a year must have

ZERO_BELOW = 0.1  # mm a day; less is a dry day here

DENIED = Default(1e-6, "1", "chance of a dry spell given the neighbours' wet days", "own choice")

DENIED_EACH = Default(0.01, "1", "the same for each other neighbour that knows the spell", "own choice")

DENIED_DAYS = Default(5, "day", "wet days at the neighbour, at least", "own choice")

# Durre et al. 2010, JAMC 49:1615, as coded by others: threshold in mm by the difference in percentiles
CORROBORATE = (269.24, 45.72)

CORROBORATE_NEIGHBOURS = Default(3, "1", "Durre et al. 2010", "open data")


def kindred(values: np.ndarray, neighbours: Sequence[Neighbour]) -> list[Neighbour]:
    """Return the neighbours that agree with the record, on one day or the next, well enough to judge it."""
    out = []
    for item in neighbours:
        best = max(np.nan_to_num(rank_correlation(values, np.roll(item.values, s))[0]) for s in (0, -1, 1))
        if best >= CORRELATION.value:
            out.append(item)
    return out


def shifts(values: np.ndarray, days: pd.DatetimeIndex, neighbours: Sequence[Neighbour]) -> list[Finding]:
    """Return half-years in which the record fits its neighbours better when moved by a day."""
    half = (days.year.to_numpy() - days[0].year) * 2 + (days.month.to_numpy() > 6)
    edges = np.searchsorted(half, np.arange(half[-1] + 2))
    votes = {}
    for number, (a, b) in enumerate(zip(edges[:-1], edges[1:], strict=True)):
        for item in neighbours:
            here, there = values[a:b], item.values[a:b]
            both = np.isfinite(here) & np.isfinite(there)
            if both.sum() < SHIFT_DAYS or min((here[both] >= 1).sum(), (there[both] >= 1).sum()) < SHIFT_WET:
                continue
            now = rank_correlation(here, there)[0]
            moved = {s: rank_correlation(here[1:-1], there[1 + s : b - a - 1 + s])[0] for s in (-1, 1)}
            step = max(moved, key=moved.get)
            gain = moved[step] - now
            votes.setdefault(number, []).append(
                (step if gain > SHIFT_GAIN.value else 0, now, moved[step], item)
            )
    out = []
    agreed = np.zeros(half[-1] + 1, dtype=int)
    for number, cast in votes.items():
        for step in (-1, 1):
            if 2 * sum(vote[0] == step for vote in cast) > len(cast):
                agreed[number] = step
    for step in (-1, 1):
        for first, last in finding_runs(agreed == step):
            cast = [v for n in range(first, last + 1) for v in votes[n] if v[0] == step]
            names = sorted({v[3].name for v in cast})
            a, b = edges[first], edges[last + 1] - 1
            # the neighbour moved by +1 fits: what fell here on a day stands there on the day after
            late = step == -1
            out.append(
                Finding(
                    "shifted days",
                    "suspect",
                    days[a],
                    days[b],
                    int(b - a + 1),
                    f"the rain fits {', '.join(names)} better one day {'earlier' if late else 'later'} (rank "
                    f"correlation {np.mean([v[2] for v in cast]):.2f} instead of "
                    f"{np.mean([v[1] for v in cast]):.2f}): its days stand one day too "
                    f"{'late' if late else 'early'}, or the neighbours reckon the day otherwise",
                    f"move these days by {-1 if late else 1:+d} day, if the observation hours bear it out",
                    "suspect",
                )
            )
    return out


def scale(values: np.ndarray, days: pd.DatetimeIndex, neighbours: Sequence[Neighbour]) -> list[Finding]:
    """Return whether the whole record stands at a unit's factor from every neighbour."""
    ratios = []
    for item in neighbours:
        both = np.isfinite(values) & np.isfinite(item.values)
        ratios.append(values[both].sum() / max(item.values[both].sum(), 1e-9))
    for factor, words, remedy in FACTORS:
        if ratios and max(abs(np.log(max(ratio, 1e-9) / factor)) for ratio in ratios) < FACTOR_WIDTH.value:
            return [
                Finding(
                    "unit",
                    "suspect",
                    days[0],
                    days[-1],
                    len(days),
                    f"the record has {np.mean(ratios):.3g} times the rain of "
                    f"{', '.join(n.name for n in neighbours)}, "
                    f"close to {words}: one of them is in another unit",
                    f"find out which; if it is this one, {remedy} in the file, or name the unit when "
                    f"it is read",
                )
            ]
    return []


class _Dryness(NamedTuple):
    """What a neighbour says of a dry spell: its chance, its wet days, and how often those are dry here."""

    chance: float
    wet: int
    dry_here: float
    neighbour: Neighbour


def _witnesses(
    values: np.ndarray, neighbours: Sequence[Neighbour], spans: Sequence[tuple[int, int]]
) -> list[list[_Dryness]]:
    """Return, for each dry spell, what the neighbours that know four fifths of it say."""
    dry = values < ZERO_BELOW
    after_dry = np.concatenate([[False], dry[:-1]])
    out: list[list[_Dryness]] = [[] for _ in spans]
    for item in neighbours:
        wet = item.values >= 1
        asking = wet & after_dry & np.isfinite(values)
        known, wets, asked = (
            np.concatenate([[0], np.cumsum(m)]) for m in (np.isfinite(item.values), wet, asking)
        )
        stayed = int((asking & dry).sum())
        for said, (first, last) in zip(out, spans, strict=True):
            if known[last + 1] - known[first] >= 0.8 * (last - first + 1):
                inside = asked[last + 1] - asked[first]
                q = (stayed - inside + 1) / (asked[-1] - inside + 2)
                w = int(wets[last + 1] - wets[first])
                said.append(_Dryness(q**w, w, q, item))
    return out


def denied_dryness(
    values: np.ndarray, days: pd.DatetimeIndex, neighbours: Sequence[Neighbour]
) -> list[Finding]:
    """Return dry spells during which it rained so often next door that chance does not explain them.

    With q the share of the neighbour's wet days (1 mm) that are dry here when the day before was dry here
    too, the chance of a spell that holds w such days is about q^w. Every neighbour that knows the spell must
    speak against it; the one that does so most is named.
    """
    spans = [(a, b) for a, b in finding_runs(values < ZERO_BELOW) if b - a + 1 >= DENIED_DAYS.value]
    out = []
    for (first, last), said in zip(spans, _witnesses(values, neighbours, spans), strict=True):
        if not said or max(one.chance for one in said) > DENIED_EACH.value:
            continue
        worst = min(said, key=lambda one: one.chance)
        if worst.chance < DENIED.value and worst.wet >= DENIED_DAYS.value:
            rain = np.nansum(worst.neighbour.values[first : last + 1])
            out.append(
                Finding(
                    "false zeros",
                    "suspect",
                    days[first],
                    days[last],
                    int(last - first + 1),
                    f"no rain on {last - first + 1} days while {worst.neighbour.name} had {worst.wet} "
                    f"wet days "
                    f"with {rain:.0f} mm in all; in other dry spells {worst.dry_here:.0%} of its wet "
                    f"days are dry "
                    "here; missing days may have been written as zeros",
                    "reject the days, so that they are filled",
                    "rejected",
                )
            )
    return out


def not_borne_out(
    findings: Sequence[Finding], values: np.ndarray, days: pd.DatetimeIndex, neighbours: Sequence[Neighbour]
) -> list[Finding]:
    """Return the findings of false zeros that no neighbour's own dryness bears out."""
    spans = [(days.get_loc(one.first), days.get_loc(one.last)) for one in findings]
    said = _witnesses(values, neighbours, spans)
    return [
        one
        for one, witnesses in zip(findings, said, strict=True)
        if not any(w.chance > DENIED_EACH.value for w in witnesses)
    ]


def uncorroborated(
    values: np.ndarray, days: pd.DatetimeIndex, neighbours: Sequence[Neighbour]
) -> list[Finding]:
    """Return days whose rain no neighbour confirms on that day or either side of it.

    A day is doubted where it lies outside the range of at least three neighbours' values over three days
    and the distance to the nearest exceeds 269.24 - 45.72 ln(d) mm, d being the least difference between the
    percentile of the day's rain in its own record and those of the neighbours' in theirs.
    """
    if len(neighbours) < CORROBORATE_NEIGHBOURS.value:
        return []
    around, percent = [], []
    for item in neighbours:
        x = item.values
        three = np.array([np.concatenate([[np.nan], x[:-1]]), x, np.concatenate([x[1:], [np.nan]])])
        around.append(three)
        percent.append(_percentile(x, three))
    around, percent = np.array(around), np.array(percent)
    enough = np.isfinite(around).any(axis=1).sum(axis=0) >= CORROBORATE_NEIGHBOURS.value
    flat, ranks = around.reshape(-1, len(values)), percent.reshape(-1, len(values))
    some = np.flatnonzero(enough & np.isfinite(values) & (values > 20))
    out = []
    for i in some:
        known = np.isfinite(flat[:, i])
        apart = values[i] - flat[known, i].max()
        if apart <= 0:
            continue
        difference = max(np.abs(_percentile(values, values[i]) - ranks[known, i]).min(), 1.0)
        if apart > CORROBORATE[0] - CORROBORATE[1] * np.log(difference):
            out.append(
                Finding(
                    "uncorroborated",
                    "suspect",
                    days[i],
                    days[i],
                    1,
                    f"{values[i]:g} mm, while none of {len(neighbours)} neighbours had more than "
                    f"{flat[known, i].max():g} mm from {day(days[max(i - 1, 0)])} to "
                    f"{day(days[min(i + 1, len(days) - 1)])}",
                    "look the day up in the original",
                    "suspect",
                )
            )
    return out


def _percentile(record: np.ndarray, value):
    known = np.sort(record[np.isfinite(record)])
    return np.where(
        np.isfinite(value), np.searchsorted(known, value, "right") / max(len(known), 1) * 100, np.nan
    )


FEWEST_DAYS = 365  # own choice: every season once

DRIZZLE = 0.2  # [mm/day] up to which a day above zero is drizzle

LAGS = (-1, 0, 1)  # [day]


def beside_gauge(
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
    >>> found = beside_gauge(rain, cell)
    >>> found.looks_gridded.values, found.zero_share.values.round(2)
    (array([False,  True]), array([0.7, 0. ]))
    """
    if not wet_day > 0:
        raise InputError(f"a wet day from {wet_day} mm", "give a depth above 0", "wet_day")
    amounts = [_days(one, place) for one, place in ((rain, "gauge"), (product, "product"))]
    both = pd.concat(amounts, axis=1, join="inner")
    here, there = both.to_numpy(float).T
    known = np.isfinite(here) & np.isfinite(there)
    if known.sum() < FEWEST_DAYS:
        raise InputError(
            f"the two records know {known.sum()} days in common",
            f"give records that share {FEWEST_DAYS} days or more",
            "product",
        )
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
    agreement = [_agreement(here, there, lag) for lag in LAGS]
    found = xr.Dataset(
        {name: ("record", value, attributes(name)) for name, value in columns.items()}
        | {
            "lag_agreement": ("lag", agreement, attributes("lag_agreement")),
            "common_days": ((), int(known.sum()), attributes("common_days")),
        },
        coords={
            "record": ("record", ["gauge", "product"], attributes("record")),
            "lag": ("lag", list(LAGS), attributes("lag")),
        },
    )
    found.attrs["wet_day"] = float(wet_day)
    return found.assign_attrs(warnings="; ".join(_warnings(found)))


def _days(rain, place: str) -> pd.Series:
    record = as_record(rain, place)
    return pd.Series(daily_amounts(record), record.indexes["time"], name=place)


def _agreement(here: np.ndarray, there: np.ndarray, lag: int) -> float:
    """Return the rank correlation of each day here with the product's day ``lag`` days later."""
    moved = np.full(len(there), np.nan)
    if lag > 0:
        moved[:-lag] = there[lag:]
    elif lag < 0:
        moved[-lag:] = there[:lag]
    else:
        moved = there
    return rank_correlation(here, moved)[0]


def _warnings(found: xr.Dataset) -> list[str]:
    out = []
    for name in found.record.values[found.looks_gridded.values]:
        one = found.sel(record=name)
        out.append(
            f"the {name} drizzles: only {float(one.zero_share):.0%} of its days are dry and "
            f"{float(one.drizzle_share):.0%} bring no more than {DRIZZLE:g} mm, which looks like a grid or a "
            "model; on a roof its drizzle is lost"
        )
    mean, heavy = found.daily_mean.values, found.heavy_day.values
    if mean[0] > 0 and abs(mean[1] / mean[0] - 1) > 0.1:
        out.append(f"the product brings {mean[1] / mean[0]:.2f} times the gauge's rain")
    if heavy[0] > 0 and abs(heavy[1] / heavy[0] - 1) > 0.1:
        out.append(f"its heavy days bring {heavy[1] / heavy[0]:.2f} times the gauge's")
    wet = found.wet_share.values
    if abs(wet[1] - wet[0]) > 0.03:
        depth = found.attrs["wet_day"]
        out.append(f"{wet[1]:.0%} of its days bring {depth:g} mm or more, {wet[0]:.0%} of the gauge's")
    agreement = np.nan_to_num(found.lag_agreement.values, nan=-2.0)  # none for a record that never varies
    best = int(found.lag.values[np.argmax(agreement)])
    if best and agreement.max() > agreement[LAGS.index(0)]:
        out.append(
            f"it agrees best a day {'later' if best > 0 else 'earlier'}: its day is another one than the "
            "gauge's; move it before any day is compared"
        )
    return out
