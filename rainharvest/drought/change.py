"""The record under a changed climate: amount, wet days and intensity by season, each by its own factor."""

from __future__ import annotations

import numpy as np
import xarray as xr

from rainharvest.core.errors import require
from rainharvest.drought.tables import Change, Scenario
from rainharvest.rainfall.check_days import LIMITS
from rainharvest.rainfall.check_years import mann_kendall
from rainharvest.rainfall.climatology import period_totals

FEWEST_WET = 20  # own choice: fewer wet days of a season hold no distribution to be changed

WET_DAY = 1.0  # [mm/day]


def changed_rain(
    rain: xr.DataArray, scenario: Scenario, *, wet_day: float = WET_DAY, seed: int = 0
) -> xr.DataArray:
    """Return the record as it would have been under a scenario's factors.

    For each season, its days taken together: (1) where wet days become fewer, the smallest turn dry (no
    rain), so that dry spells join; where they become more, dry days next to wet ones turn wet, with depths
    drawn from the season's own wet days, so that wet spells grow. (2) With w the depth of a wet day, every
    wet day's x becomes w + k (x - w)^b: order is kept, a wet day stays wet, b is the one that gives the
    coefficient of variation of wet-day depths wanted and k the one that gives the total wanted. Mean, share
    of wet days and that coefficient so answer each to its own factor and to no other; the mean depth of a wet
    day is amount / frequency. All at 1 leaves the season's days as they are, bit for bit.

    The power law after Leander and Buishand (2007), from memory; wet-day thinning as in delta-change practice.
    The factors act alike in every year: how years differ, and how long droughts last, follows the record.
    Where the trend is carried, every day's factor on amount is also multiplied by
    1 + slope x (trend_to - the record's middle) / mean, with Sen's slope of the yearly totals.

    >>> from rainharvest.drought.tables import Change, Scenario
    >>> import pandas as pd
    >>> days = pd.date_range("2001-01-01", "2012-12-31")
    >>> rain = xr.DataArray(np.random.default_rng(1).gamma(0.2, 20, days.size), {"time": days}, ("time",))
    >>> drier = changed_rain(rain, Scenario(name="drier", source="made up", change=[Change(amount=0.8)]))
    >>> round(float(drier.mean() / rain.mean()), 6)
    0.8
    """
    require(wet_day > 0, f"a wet day from {wet_day:g} mm", "give a depth above 0", "wet_day")
    require(not rain.isnull().any(), "a day's rain is unknown", "fill the gaps first", "rain")
    out = rain.transpose(..., "time").copy(deep=True)
    month = out.time.dt.month.values
    rows = out.values.reshape(-1, month.size)
    carried, words = 1.0, "trend not carried forward"
    if scenario.trend_to is not None:
        carried, words = _carried(out, scenario.trend_to)
    seasons = list(scenario.change)
    if carried != 1:
        rest = sorted(set(range(1, 13)) - {m for one in seasons for m in one.months})
        seasons += [Change(months=tuple(rest))] if rest else []
    done = []
    for change in seasons:
        here = np.isin(month, change.months)
        amount = change.amount * carried
        if change.none and amount == 1:
            continue
        done.append(
            f"months {', '.join(map(str, change.months))}: amount x {amount:.4g}, wet days x "
            f"{change.frequency:g}, intensity x {change.intensity:g}"
        )
        for k, row in enumerate(rows):
            rng = np.random.default_rng([seed, k])
            row[here] = _season(row[here], amount, change, wet_day, rng)
    changed = out.copy(data=rows.reshape(out.shape)).transpose(*rain.dims)
    detail = "; ".join([*done, words])
    return changed.assign_attrs(rain.attrs | {"scenario": f"{scenario.name} ({scenario.source}): {detail}"})


def _season(x: np.ndarray, amount: float, change: Change, w: float, rng) -> np.ndarray:
    """Return one season's days, all years together, under its factors."""
    place = f"scenario, months {', '.join(map(str, change.months))}"
    wet = x >= w
    count = np.count_nonzero(wet)
    require(
        count >= FEWEST_WET,
        f"the season has {count} wet days in the record",
        f"take a longer season: {FEWEST_WET} wet days or more",
        place,
    )
    want = round(change.frequency * count)
    require(
        FEWEST_WET <= want <= x.size,
        f"frequency = {change.frequency:g} would leave {want} wet days of {x.size}",
        "give a factor nearer to 1",
        place,
    )
    spread = x[wet].std() / x[wet].mean()
    y = _with_count(x, wet, want, rng)
    return _with_shape(y, y >= w, amount * x.sum(), change.intensity * spread, w, place)


def _with_count(x: np.ndarray, wet: np.ndarray, want: int, rng) -> np.ndarray:
    """Turn the smallest wet days dry, or the dry days nearest to wet ones wet."""
    y = x.copy()
    count = np.count_nonzero(wet)
    if want < count:
        place = np.flatnonzero(wet)
        y[place[np.argsort(x[place], kind="stable")[: count - want]]] = 0.0
    elif want > count:
        at, day = np.flatnonzero(wet), np.arange(x.size)
        after = np.searchsorted(at, day)
        gap = np.minimum(
            np.abs(day - at[np.maximum(after - 1, 0)]), np.abs(at[np.minimum(after, at.size - 1)] - day)
        )
        order = np.lexsort([rng.random(x.size), gap])
        new = order[~wet[order]][: want - count]
        y[new] = x[at][(rng.random(new.size) * at.size).astype(int)]
    return y


def _with_shape(
    y: np.ndarray, wet: np.ndarray, total: float, spread: float, w: float, place: str
) -> np.ndarray:
    """Give the wet days the total and the coefficient of variation wanted, their order kept."""
    from scipy.optimize import brentq

    above = y[wet] - w
    mean = (total - y[~wet].sum()) / above.size
    require(
        mean > w * (1 + 1e-9),
        f"so many wet days of {w:g} mm or more hold more than the amount wanted",
        "give a larger amount or fewer wet days",
        place,
    )
    require(np.ptp(above) > 0, "every wet day of the season has the same rain", "give rain as it fell", place)
    scaled = above / above.max()

    def depth(b: float) -> np.ndarray:
        z = scaled**b
        return w + (mean - w) * z / z.mean()

    def off(b: float) -> float:
        return depth(b).std() / mean - spread

    low, high = 0.02, 12.0
    require(
        off(low) <= 0 <= off(high),
        "no such unevenness of wet days fits the amount and the number of wet days",
        "give an intensity nearer to 1",
        place,
    )
    out = y.copy()
    out[wet] = np.maximum(depth(brentq(off, low, high, xtol=1e-13, rtol=1e-14)), w)
    return out


def _carried(rain: xr.DataArray, year: int) -> tuple[float, str]:
    """Return the factor that carries the trend of yearly rain to a year, and what it rests on, in words."""
    first = rain.isel({d: 0 for d in rain.dims if d != "time"}, drop=True).reset_coords(drop=True)
    totals = period_totals(first, 12, int(first.time.dt.month[0]))
    whole = totals.total.values[totals.known_share.values == 1]
    found = mann_kendall(whole)
    middle = float(first.time.dt.year.values.mean())
    factor = 1 + found.slope * (year - middle) / whole.mean()
    require(
        factor > 0,
        f"the trend of {found.slope:.2g} mm a year leaves no rain in {year}",
        "carry it to a nearer year, or not at all",
        "trend_to",
    )
    proven = "" if found.p < LIMITS["trend_chance"] else ", which so is not proven"
    return factor, (
        f"trend of {found.slope:.2g} mm a year (95 % interval {found.slope_low:.2g} mm to {found.slope_high:.2g} mm, "
        f"chance of such a trend without one {found.p:.2g}{proven}) carried to {year}"
    )


def wet_day_spread(rain, wet_day: float = WET_DAY) -> float:
    """Return how unevenly wet days share the rain: the coefficient of variation of their depths.

    >>> wet_day_spread([0.0, 2.0, 4.0, 6.0, 0.4])
    0.408248290463863
    """
    x = np.asarray(rain, dtype=float)
    x = x[x >= wet_day]
    return float(x.std() / x.mean()) if x.size else float("nan")
