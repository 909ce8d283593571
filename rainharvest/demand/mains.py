"""When the mains supply: by schedule, by a pattern of the week, or in random spells without."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping

import numpy as np
import pandas as pd
import xarray as xr

from rainharvest.core.errors import require
from rainharvest.core.quantities import attributes
from rainharvest.demand.periods import WEEKDAYS, as_days, in_period, weekday


def mains_by_rule(time, off: Iterable[str] = ()) -> xr.DataArray:
    """Return when the mains supply, given the days on which they do not.

    >>> mains_by_rule(pd.date_range("2024-03-01", periods=4), ["sat", "sun"]).values
    array([1., 0., 0., 1.])
    """
    days = as_days(time)
    rules = [off] if isinstance(off, str) else list(off)
    without = in_period(rules, days) if rules else np.zeros(days.size, dtype=bool)
    said = f"no mains on {', '.join(rules)}" if rules else "mains every day"
    return _mains(days, (~without).astype(float), said)


def mains_by_week(time, hours: Mapping[str, float]) -> xr.DataArray:
    """Return when the mains supply, given the hours of supply on each day of the week.

    >>> mains_by_week(pd.date_range("2024-03-01", periods=4), {"fri": 6, "sun": 0}).values
    array([0.25, 1.  , 0.  , 1.  ])
    """
    days = as_days(time)
    week = np.full(7, 24.0)
    for name, value in hours.items():
        require(0 <= value <= 24, f"{value} hours on {name}", "give hours between 0 and 24", "hours")
        week[WEEKDAYS.index(weekday(name))] = value
    said = ", ".join(f"{n} {h:g} h" for n, h in hours.items())
    return _mains(days, week[np.asarray(days.weekday)] / 24.0, f"mains by the week: {said or 'always'}")


def mains_in_spells(
    time, spell_length: float, interruptions_a_year: float, seed: int, scenarios: int | None = None
) -> xr.DataArray:
    """Return when the mains supply, interrupted by random spells.

    Spells without mains and stretches with them follow one another; both lengths are exponential, with
    means L and 365.25/n - L. A spell begins at any hour; a day's value is the share of it with mains.

    Exponential lengths are the plainest choice (own choice): where a log of the interruptions exists,
    put it in place of them by `mains_by_rule`.

    >>> days = pd.date_range("1990-01-01", "2019-12-31")
    >>> on = mains_in_spells(days, spell_length=2, interruptions_a_year=12, seed=4)
    >>> round(float(1 - on.mean()), 2)  # 24 of 365.25 days without is 0.066
    0.07
    """
    days = as_days(time)
    require(
        0 < spell_length <= 3650 and 0 < interruptions_a_year <= 2000,
        f"spells of {spell_length} days, {interruptions_a_year} a year",
        "give both above zero",
        "spell_length",
    )
    with_mains = 365.25 / interruptions_a_year - spell_length
    full = f"{interruptions_a_year} spells of {spell_length} days fill more than the year"
    require(with_mains > 0, full, "give fewer or shorter ones", "interruptions_a_year")
    whole = isinstance(seed, int | np.integer) and seed >= 0
    require(whole, f"{seed!r} is not a seed", "give a whole number, 0 or more", "seed")
    few = scenarios is None or 1 <= scenarios <= 10_000
    require(few, f"{scenarios} scenarios", "give 1 to 10,000", "scenarios")
    streams = np.random.default_rng(seed).spawn(scenarios or 1)
    rows = np.stack([_shares(rng, days.size, spell_length, with_mains) for rng in streams])
    said = (
        f"no mains in random spells of {spell_length:g} days on average, {interruptions_a_year:g} a year, "
        f"seed {seed}"
    )
    if scenarios is None:
        return _mains(days, rows[0], said)
    out = _mains(days, rows, said, ("scenario", "time"))
    return out.assign_coords(scenario=("scenario", np.arange(scenarios), attributes("scenario")))


def _shares(rng: np.random.Generator, days: int, off: float, on: float) -> np.ndarray:
    """Return the share with mains of each day, from spells laid end to end over continuous time."""
    pairs = max(16, math.ceil(1.5 * days / (off + on)))
    # Without memory, what is left of the stretch in which the record begins is as long as a whole one.
    begins_on = rng.random() < on / (off + on)
    ends, with_mains = [0.0], [0.0]
    while ends[-1] < days:
        lengths = np.column_stack([rng.exponential(on, pairs), rng.exponential(off, pairs)])
        if not begins_on:
            lengths[0, 0] = 0.0
        begins_on = True
        gain = lengths * [1.0, 0.0]
        ends += (ends[-1] + np.cumsum(lengths)).tolist()
        with_mains += (with_mains[-1] + np.cumsum(gain)).tolist()
    return np.clip(np.diff(np.interp(np.arange(days + 1.0), ends, with_mains)), 0.0, 1.0)


def _mains(days: pd.DatetimeIndex, values: np.ndarray, said: str, dims=("time",)) -> xr.DataArray:
    return xr.DataArray(
        values, {"time": days}, dims, name="mains_on", attrs=attributes("mains_on", assumptions=said)
    )
