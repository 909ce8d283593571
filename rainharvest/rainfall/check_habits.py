"""Checks of the observer's and the file's habits: resolution, units, rounding, small amounts, weekdays."""

from __future__ import annotations

import numpy as np
import pandas as pd

from rainharvest.rainfall.check_finding import Finding, runs
from rainharvest.sources import Default

# least step, words, tolerance; the inch steps are often stored rounded to a tenth of a millimetre
STEPS = (
    (2.54, "0.1 inch", 0.051),
    (1.0, "1 mm", 0.006),
    (0.5, "0.5 mm", 0.006),
    (0.254, "0.01 inch", 0.051),
    (0.25, "0.25 mm", 0.006),
    (0.2, "0.2 mm", 0.006),
    (0.1, "0.1 mm", 0.006),
)
FITS = Default(0.97, "1", "share of a year's wet values that stand on the steps", "own choice")
FACTORS = (
    (10.0, "10", "divide these days by 10"),
    (0.1, "1/10", "multiply these days by 10"),
    (25.4, "25.4", "divide these days by 25.4"),
    (1 / 25.4, "1/25.4", "multiply these days by 25.4"),
)
FACTOR_WIDTH = Default(0.45, "1", "how far, as a logarithm, a ratio may stand from the factor", "own choice")
FACTOR_RAIN = Default(40, "day", "wet days that a stretch in another unit holds at least", "own choice")
ROUND_EXCESS = Default(1.5, "1", "times the share that even chances give", "own choice")
ROUND_CHANCE = Default(0.001, "1", "binomial, one-sided", "own choice")
WEEKDAY_CHANCE = Default(0.01, "1", "chi-square of wet days by weekday", "own choice")
WEEKDAY_EFFECT = Default(0.08, "1", "how far the odd weekday stands from the mean", "own choice")
SMALL_CHANGE = Default(
    2.0, "1", "times by which small amounts are rarer than in the fuller years", "own choice"
)
GRIDDED_DRY, GRIDDED_DRIZZLE = 0.15, 0.05  # share of days without rain, share with up to 0.2 mm


def year_steps(values: np.ndarray, days: pd.DatetimeIndex) -> pd.Series:
    """Return the step (place in ``STEPS``) on which each year's amounts stand, -1 where on none or "
    "too few.
    """
    wet = values > 0
    amounts, years = values[wet], days.year.to_numpy()[wet]
    tenths = np.abs(amounts * 10 - np.round(amounts * 10)) < 0.01
    fits = np.empty((len(STEPS), len(amounts)), dtype=bool)
    for row, (step, _, tolerance) in enumerate(STEPS):
        off = np.abs(amounts - np.round(amounts / step) * step)
        # a tenth-rounded file cannot be held to the inch lattice more closely than its own rounding
        fits[row] = (off <= np.where(tenths, tolerance, 0.006)) & (np.round(amounts / step) > 0)
    frame = pd.DataFrame(fits.T).groupby(years).agg(["mean", "size"])
    out = {}
    for year in frame.index:
        share = np.array([frame.loc[year, (row, "mean")] for row in range(len(STEPS))])
        enough = frame.loc[year, (0, "size")] >= 20
        held = np.flatnonzero(share >= FITS.value)
        out[year] = int(held[0]) if enough and len(held) else -1
    return pd.Series(out, dtype=int)


def resolution(values: np.ndarray, days: pd.DatetimeIndex) -> list[Finding]:
    """Return the years from which the amounts stand on other steps than before."""
    steps = year_steps(values, days)
    steps = steps[steps >= 0]
    out, last = [], None
    blocks = steps.ne(steps.shift()).cumsum()
    kept = [block for _, block in steps.groupby(blocks) if len(block) >= 2]
    for block in kept:
        step = int(block.iloc[0])
        if last is not None and step != last:
            first = pd.Timestamp(block.index[0], 1, 1)
            out.append(
                Finding(
                    "resolution",
                    "note",
                    first,
                    min(pd.Timestamp(block.index[-1], 12, 31), days[-1]),
                    int((days.year >= block.index[0]).sum()),
                    f"from {block.index[0]} the amounts stand on steps of {STEPS[step][1]}, before on "
                    f"steps of "
                    f"{STEPS[last][1]}: the gauge, the observer or the unit changed",
                    "look for the change in the station's history; compare the small amounts before "
                    "and after",
                )
            )
        last = step
    return out


def units(values: np.ndarray, days: pd.DatetimeIndex) -> list[Finding]:
    """Return stretches whose wet days stand at 10, 1/10, 25.4 or 1/25.4 times those of the rest."""
    wet = np.flatnonzero(values > 0)
    if len(wet) < 200:
        return []
    month = days.month.to_numpy()[wet]
    logs = np.log(values[wet])
    usual = np.array([np.median(logs[month == m]) if (month == m).any() else 0.0 for m in range(1, 13)])
    excess = logs - usual[month - 1]
    half = int(FACTOR_RAIN.value)
    smooth = pd.Series(excess).rolling(2 * half + 1, center=True, min_periods=half).median().to_numpy()
    out = []
    for first, last in runs(np.abs(smooth) > np.log(10) / 2):
        if last - first + 1 < half:
            continue
        inside = np.zeros(len(wet), dtype=bool)
        inside[first : last + 1] = True
        # a dry month of drizzle has a small median too: its heavy days must be out by the factor as well
        ratios = [
            np.exp(np.quantile(excess[inside], q) - np.quantile(excess[~inside], q)) for q in (0.5, 0.9)
        ]
        for factor, words, remedy in FACTORS:
            if max(abs(np.log(ratio / factor)) for ratio in ratios) < FACTOR_WIDTH.value:
                a, b = days[wet[first]], days[wet[last]]
                out.append(
                    Finding(
                        "unit",
                        "wrong",
                        a,
                        b,
                        int((b - a).days + 1),
                        f"wet days are {ratios[0]:.3g} times as deep as in the rest of the record "
                        f"(the heaviest "
                        f"tenth {ratios[1]:.3g} times), close to {words}: the unit seems to change",
                        f"{remedy} in the file and read it again, or reject them",
                        "rejected",
                    )
                )
                break
    return out


def rounding(values: np.ndarray, days: pd.DatetimeIndex) -> list[Finding]:
    """Return a liking for round numbers: multiples of 5 and 10 steps."""
    from scipy.stats import binom

    steps = year_steps(values, days)
    steps = steps[steps >= 0]
    if steps.empty:
        return []
    row = int(steps.mode().iloc[0])
    step, words, _ = STEPS[row]
    held = np.isin(days.year.to_numpy(), steps.index[steps == row])
    steps_up = np.round(values[held & (values > 0)] / step).astype(int)
    excess = {}
    for multiple in (5, 10):
        among = steps_up[steps_up >= multiple]
        hits = int((among % multiple == 0).sum())
        if len(among) >= 100 and binom.sf(hits - 1, len(among), 1 / multiple) < ROUND_CHANCE.value:
            excess[multiple] = (hits / len(among) * multiple, len(among))
    # rounding to ten steps shows among the multiples of five too, but more faintly
    multiple = 10 if excess.get(10, (0,))[0] > 1.2 * excess.get(5, (0,))[0] else 5
    if excess.get(multiple, (0,))[0] <= ROUND_EXCESS.value:
        return []
    much, number = excess[multiple]
    return [
        Finding(
            "rounding",
            "note",
            days[0],
            days[-1],
            number,
            f"{much / multiple:.0%} of the amounts are multiples of {multiple * step:g} mm, where "
            f"even chances "
            f"on steps of {words} give {1 / multiple:.0%}: the observer rounds",
            "totals hold; take care with small amounts and with wet days near the threshold",
        )
    ]


def weekdays(values: np.ndarray, days: pd.DatetimeIndex) -> list[Finding]:
    """Return a weekday that is wet more or less often than the others."""
    from scipy.stats import binom, chi2

    known = np.isfinite(values)
    weekday = days.day_of_week.to_numpy()
    number = np.bincount(weekday[known], minlength=7)
    wet = np.bincount(weekday[values > 0], minlength=7)
    if number.min() < 100 or wet.sum() == 0 or wet.sum() == number.sum():
        return []
    share = wet.sum() / number.sum()
    square = ((wet - number * share) ** 2 / (number * share * (1 - share))).sum()
    p = chi2.sf(square, 6)
    effect = wet / number / share - 1
    odd = int(np.argmax(np.abs(effect)))
    least = binom.cdf(wet, number, share) * 7  # the weekday with the fewest, seven looks allowed for
    if p >= WEEKDAY_CHANCE.value and least.min() >= WEEKDAY_CHANCE.value:
        return []
    if least.min() < min(p, WEEKDAY_CHANCE.value):
        odd, p = int(np.argmin(least)), float(least.min())
    if abs(effect[odd]) < WEEKDAY_EFFECT.value:
        return []
    names = ("Mondays", "Tuesdays", "Wednesdays", "Thursdays", "Fridays", "Saturdays", "Sundays")
    return [
        Finding(
            "weekday",
            "suspect",
            days[0],
            days[-1],
            int(number[odd]),
            f"{names[odd]} are wet {abs(effect[odd]):.0%} {'more' if effect[odd] > 0 else 'less'} "
            f"often than the "
            f"mean weekday (chance {p:.2g}), and rain knows no weekday: readings are missed or put together",
            "ask on which days the gauge is read; treat the reading after as a total",
        )
    ]


def small_amounts(values: np.ndarray, days: pd.DatetimeIndex) -> list[Finding]:
    """Return stretches of years in which amounts under 1 mm are far rarer than in the others."""
    block = (days.year.to_numpy() - days[0].year) // 5
    small = np.bincount(block[(values >= 0.1) & (values < 1)], minlength=block.max() + 1)
    next_up = np.bincount(block[(values >= 1) & (values < 2)], minlength=block.max() + 1)
    told = next_up >= 30
    if told.sum() < 2:
        return []
    ratio = small / np.maximum(next_up, 1)
    usual = np.quantile(ratio[told], 0.75)
    if small[told & (ratio >= usual)].sum() < 100:
        return []
    out = []
    for first, last in runs(told & (ratio < usual / SMALL_CHANGE.value)):
        span = np.flatnonzero((block >= first) & (block <= last))
        got = small[first : last + 1].sum() / next_up[first : last + 1].sum()
        out.append(
            Finding(
                "small amounts",
                "note",
                days[span[0]],
                days[span[-1]],
                len(span),
                f"for each amount of 1 to 2 mm there are {got:.1f} under 1 mm, where the fuller years have "
                f"{usual:.1f}: small amounts were not always recorded",
                "count wet days from 1 mm; the missing amounts wet a roof and little more",
            )
        )
    return out


def drizzle(values: np.ndarray, days: pd.DatetimeIndex) -> list[Finding]:
    """Return whether the record rains too often to be a gauge's: a gridded product or a model."""
    known = values[np.isfinite(values)]
    if len(known) < 365:
        return []
    dry, little = (known == 0).mean(), ((known > 0) & (known <= 0.2)).mean()
    if dry >= GRIDDED_DRY or little <= GRIDDED_DRIZZLE:
        return []
    return [
        Finding(
            "gridded",
            "note",
            days[0],
            days[-1],
            len(known),
            f"only {dry:.0%} of the days are dry and {little:.0%} have no more than 0.2 mm: this "
            f"looks like a "
            "gridded product or a model, not a gauge; its drizzle is lost on the roof and its storms "
            "are smoothed",
            "put it beside a gauge before trusting it",
        )
    ]
