"""How well a record can be filled: known days are hidden, filled, and held against what was measured."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
import pandas as pd
import xarray as xr

from rainharvest.core.defaults import defaults_of
from rainharvest.core.errors import require
from rainharvest.core.quantities import attributes
from rainharvest.rainfall.fill import Method, fill_gaps
from rainharvest.rainfall.fill_methods import LIMITS, season_distance
from rainharvest.rainfall.flags import Flag, as_record, require_count, runs, sound_values

USUAL_LENGTHS = (1, 2, 3, 5, 10, 20, 31, 60, 90)

REFERENCE = {name: row.value for name, row in defaults_of("rainfall")["skill"].items()}

FILLINGS = ("fill", "same-season mean")


def hide_blocks(
    sound: np.ndarray, share: float, lengths: Sequence[int], rng: np.random.Generator
) -> np.ndarray:
    """Return which known days to hide: blocks at random, each with a known day on either side.

    >>> hidden = hide_blocks(np.ones(1000), 0.1, [5, 20], np.random.default_rng(0))
    >>> bool(abs(hidden.mean() - 0.1) < 0.02), bool(hidden[0] or hidden[-1])
    (True, False)
    """
    free = np.isfinite(sound)
    wanted = share * free.sum()
    hidden = np.zeros(len(sound), dtype=bool)
    tries = 0
    while hidden.sum() < wanted:
        tries += 1
        length = int(rng.choice(lengths))
        problem = f"{share:.0%} of the known days cannot be hidden in blocks of up to {max(lengths)} days"
        possible = tries <= 200 * len(sound) and length <= len(sound) - 2
        require(possible, problem, "hide fewer days or shorter blocks", "share")
        start = int(rng.integers(1, len(sound) - length))
        around = slice(start - 1, start + length + 1)
        if free[around].all() and not hidden[around].any():
            hidden[start : start + length] = True
    return hidden


def season_mean(sound: np.ndarray, days: pd.DatetimeIndex) -> np.ndarray:
    """Return for each day the mean rain [mm/day] of the known days within 15 days of its season.

    The simplest filling, for comparison only: it rains a little every day.
    """
    season = days.day_of_year.to_numpy()
    known = np.isfinite(sound)
    near = [known & (season_distance(season, day) <= 15) for day in range(1, 367)]
    mean = np.array([sound[days_near].mean() if days_near.any() else np.nan for days_near in near])
    return mean[season - 1]


def fill_skill(
    rain: xr.DataArray | pd.Series,
    neighbours: xr.DataArray | Sequence[xr.DataArray | pd.Series] | None = None,
    share: float = 0.15,
    *,
    simulate: Callable[..., xr.Dataset] | None = None,
    repeats: int = 5,
    members: int = 20,
    seed: int = 0,
    lengths: Sequence[int] | None = None,
    method: Method = "quantile",
    wet_day: float = LIMITS["wet_day"],
) -> xr.Dataset:
    """Hide known days in blocks, fill them, and report how the filled record compares with the measured one.

    The same is done with the mean of the season, the simplest filling, to show what it costs. The record's
    own gaps are filled once beforehand, the same way for all, so that a tank can be run over the whole of it.

    >>> days = pd.date_range("2001-01-01", "2006-12-31")
    >>> there = pd.Series(np.random.default_rng(1).gamma(0.2, 20, len(days)).round(1), days)
    >>> skill = fill_skill((1.2 * there).round(1), [there], repeats=2)
    >>> ours, mean = skill["wet_agreement"].values
    >>> bool(ours > mean)
    True
    """
    remedy = "hide more than nothing and at most half the days"
    require(0 < share <= 0.5, f"share is {share!r}", remedy, "share")
    require_count("repeats", repeats, 1)
    record = as_record(rain)
    days = record.indexes["time"]
    sound = sound_values(record)
    base = fill_gaps(record, neighbours, seed=seed, method=method, wet_day=wet_day)
    truth = np.where(np.isfinite(sound), sound, np.nan_to_num(base.to_numpy()[0]))
    helped = neighbours is not None or bool((base["flag"] == Flag.FILLED).any())
    lengths = _lengths(sound, lengths, helped)
    rng = np.random.default_rng(seed)
    rows = []
    for repeat in range(repeats):
        hidden = hide_blocks(sound, share, lengths, rng)
        shown = record.copy(data=np.where(hidden, np.nan, record.to_numpy()))
        shown["flag"] = ("time", np.where(hidden, Flag.MISSING, record["flag"]).astype("int8"))
        shown["total_days"] = ("time", np.where(hidden, 0, record["total_days"]).astype("int16"))
        given = {"method": method, "wet_day": wet_day}
        filled = fill_gaps(shown, neighbours, members, seed + repeat + 1, **given).to_numpy()
        ours = np.where(hidden & np.isfinite(filled), filled, truth)
        plain = np.where(hidden, season_mean(np.where(hidden, np.nan, sound), days), truth)[None]
        row = [_measures(versions, truth, hidden, days, wet_day, simulate) for versions in (ours, plain)]
        row[0] |= _coverage(ours, truth, hidden, days)
        rows.append(row)
    names = list(rows[0][0])
    mean = {name: [np.mean([row[k].get(name, np.nan) for row in rows]) for k in (0, 1)] for name in names}
    return xr.Dataset(
        {name: ("way_filled", values, attributes(name)) for name, values in mean.items()},
        coords={"way_filled": ("way_filled", list(FILLINGS), attributes("way_filled"))},
        attrs={"share": float(share), "wet_day": float(wet_day), "method": method}
        | {"repeats": int(repeats), "members": int(members), "seed": int(seed)}
        | {"lengths": ", ".join(map(str, sorted(set(lengths))))},
    )


def _lengths(sound: np.ndarray, lengths: Sequence[int] | None, helped: bool) -> list[int]:
    longest, days = LIMITS["longest_gap" if helped else "longest_alone"], len(sound)
    require(days >= 4, f"the record has {days} days, too few to hide any", "give a longer record", "rain")
    if lengths is None:
        first, last = runs(np.isnan(sound))
        own = (last - first + 1).tolist()
        lengths = own if len(own) >= 10 else USUAL_LENGTHS
    kept = [int(n) for n in lengths if 1 <= n <= min(longest, days // 4)]
    remedy = f"give lengths of 1 to {longest} days"
    require(kept, "no block is short enough to be filled", remedy, "lengths")
    return kept


def _dry_spells(values: np.ndarray, wet_day: float) -> np.ndarray:
    first, last = runs(values < wet_day)
    return last - first + 1


def _measures(versions, truth, hidden, days, wet_day, simulate) -> dict[str, float]:
    wet, wet_truth = versions >= wet_day, truth >= wet_day
    spells = [_dry_spells(one, wet_day) for one in versions]
    true_spells = _dry_spells(truth, wet_day)
    out = {
        "wet_agreement": (wet[:, hidden] == wet_truth[hidden]).mean(),
        "absolute_error": np.abs(versions[:, hidden] - truth[hidden]).mean(),
        "total_error": versions.mean() / truth.mean() - 1,
        "wet_share_error": wet.mean() - wet_truth.mean(),
        "spell_error": np.mean([s.mean() for s in spells]) / true_spells.mean() - 1,
        "longest_spell_error": np.mean([s.max() for s in spells]) / true_spells.max() - 1,
    }
    if simulate is not None:
        catch = REFERENCE["area"] * REFERENCE["runoff"]
        time = {"time": days}
        inflow = xr.DataArray(catch * np.vstack([versions, truth]), time, ("member", "time"))
        steady = REFERENCE["demand"] * catch * truth.mean()
        tank = simulate(inflow, xr.DataArray(np.full(len(days), steady), time, ("time",)), REFERENCE["tank"])
        reliability, drawn = (np.ravel(tank[name]) for name in ("volume_reliability", "delivered"))
        out["yield_error"] = drawn[:-1].mean() / drawn[-1] - 1
        out["reliability_error"] = reliability[:-1].mean() - reliability[-1]
    return {name: float(value) for name, value in out.items()}


def _coverage(versions, truth, hidden, days) -> dict[str, float]:
    """Return how often a block's or a year's total lies in the members' 90 % band.

    The band runs between ranks 0.05 (m + 1) and 0.95 (m + 1) of the m members, between which a further
    version would fall nine times in ten; it needs 19 members.
    """
    if len(versions) < 19:
        return {"gap_coverage": np.nan, "year_coverage": np.nan}
    first, last = runs(hidden)
    years = days.year.to_numpy() - days[0].year
    edges = np.concatenate([[0], np.flatnonzero(np.diff(years)) + 1, [len(years)]])
    touched = np.add.reduceat(hidden, edges[:-1]) > 0
    spans = {"gap_coverage": (first, last + 1), "year_coverage": (edges[:-1][touched], edges[1:][touched])}
    sums = np.concatenate([np.zeros((len(versions), 1)), np.cumsum(versions, axis=1)], axis=1)
    true_sums = np.concatenate([[0.0], np.cumsum(truth)])
    out = {}
    for name, (a, b) in spans.items():
        low, high = np.quantile(sums[:, b] - sums[:, a], [0.05, 0.95], axis=0, method="weibull")
        true = true_sums[b] - true_sums[a]
        out[name] = float(((true >= low - 1e-6) & (true <= high + 1e-6)).mean())
    return out
