"""Checks of the observer's and the file's habits, and of hourly and minute rain."""

from __future__ import annotations

import numpy as np
import pandas as pd
import xarray as xr

from rainharvest.core.defaults import Default
from rainharvest.core.errors import InputError
from rainharvest.rainfall.flags import Finding, Flag, finding_runs, many, table_of

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
    for first, last in finding_runs(np.abs(smooth) > np.log(10) / 2):
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
    for first, last in finding_runs(told & (ratio < usual / SMALL_CHANGE.value)):
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


HOUR_RECORD = Default(401.0, "mm", "largest hourly rain taken as possible by the GSDR checks", "open data")

DAY_RECORD = Default(1825.0, "mm", "WMO world record of a day (wmo.asu.edu)", "open data")

EQUAL_STEPS = Default(4, "1", "equal non-zero readings in sequence, at least", "own choice")

CHANCE = Default(0.01, "1", "expected number in the record above which chance explains it", "own choice")

LUMPED_DAYS = Default(5, "day", "wet days that a month needs", "own choice")

LUMPED_SHARE = Default(0.8, "1", "of them with all their rain in one reading at one hour", "own choice")

LUMPED_CHANCE = Default(1e-4, "1", "binomial, from the share in the whole record", "own choice")


def check_steps(rain_step: xr.DataArray) -> pd.DataFrame:
    """Doubt an hourly or minute record: readings that cannot be, that repeat, or that hold a whole day.

    "lumped days" are days whose rain stands in one reading, month after month at the same hour: a daily gauge
    written into an hourly file. Their daily sums are right; anything read from their hours is not.

    >>> time = pd.date_range("2000-01-01", periods=500, freq="h", name="time")
    >>> rain = xr.DataArray(np.zeros(500), dims="time", coords={"time": time})
    >>> rain[100] = -1.0
    >>> check_steps(rain)[["check", "first_day"]].values.tolist()
    [['negative', Timestamp('2000-01-05 00:00:00')]]
    """
    index = (
        rain_step.indexes.get("time")
        if isinstance(rain_step, xr.DataArray) and rain_step.dims == ("time",)
        else None
    )
    if not isinstance(index, pd.DatetimeIndex) or len(index) < 2 or not index.is_monotonic_increasing:
        raise InputError(
            "readings in order of time were expected", "read the file with read_subdaily", "rain_step"
        )
    step = float(np.median(np.diff(index.to_numpy()) / np.timedelta64(1, "s")))
    if step >= 86_400:
        raise InputError("the readings are a day or more apart", "check them with check_rain", "rain_step")
    values = rain_step.to_numpy().astype(float).copy()
    if "flag" in rain_step.coords:
        values[(rain_step["flag"] == Flag.REJECTED).to_numpy()] = np.nan
    days = index.normalize()
    found = _bounds(values, days, step) + _missing(values, days)
    values[values < 0] = np.nan
    values[values > _most(step)] = np.nan
    return table_of(found + _streaks(values, days) + _lumped(values, index))


def _most(step: float) -> float:
    return HOUR_RECORD.value if step <= 3600 else DAY_RECORD.value


def _bounds(values: np.ndarray, days: pd.DatetimeIndex, step: float) -> list[Finding]:
    out = []
    for check, bad, said in (
        ("negative", values < 0, "negative, which rain cannot be; they may be a code for a missing reading"),
        ("impossible", values > _most(step), f"more than {_most(step):g} mm, the most taken as possible"),
    ):
        for first, last in finding_runs(bad):
            number, worst = last - first + 1, values[first : last + 1]
            worst = worst.min() if check == "negative" else worst.max()
            out.append(
                Finding(
                    check,
                    "wrong",
                    days[first],
                    days[last],
                    int((days[last] - days[first]).days + 1),
                    f"{many(number, 'reading')}, as far as {worst:g} mm, "
                    f"{'is' if number == 1 else 'are'} {said}",
                    "reject the days",
                    "rejected",
                )
            )
    return out


def _streaks(values: np.ndarray, days: pd.DatetimeIndex) -> list[Finding]:
    known = np.isfinite(values)
    wet = values[values > 0]
    if len(wet) < 50:
        return []
    kinds, count = np.unique(wet, return_counts=True)
    change = np.flatnonzero(np.concatenate([[True], values[1:] != values[:-1], [True]]))
    out = []
    for a, b in zip(change[:-1], change[1:], strict=True):
        if b - a < EQUAL_STEPS.value or not values[a] > 0:
            continue
        # rain goes on: the chance that the next reading is the same is its share of the wet readings
        share = count[np.searchsorted(kinds, values[a])] / len(wet)
        if known.sum() * share ** (b - a - 1) * len(wet) / known.sum() < CHANCE.value:
            out.append(
                Finding(
                    "streak",
                    "suspect",
                    days[a],
                    days[b - 1],
                    int((days[b - 1] - days[a]).days + 1),
                    f"{values[a]:g} mm stands in {b - a} readings in sequence: a stuck gauge, or a "
                    f"longer total "
                    "shared out evenly",
                    "look the hours up in the original",
                    "suspect",
                )
            )
    return out


def _lumped(values: np.ndarray, index: pd.DatetimeIndex) -> list[Finding]:
    from scipy.stats import binom

    frame = pd.DataFrame({"day": index.normalize(), "hour": index.hour, "rain": values})
    wet = frame[frame["rain"] > 0]
    if wet.empty:
        return []
    by_day = wet.groupby("day").agg(readings=("rain", "size"), hour=("hour", "first"))
    single = by_day["readings"] == 1
    month = by_day.index.to_period("M")
    lumped = {}
    for name, part in by_day.groupby(month):
        alone = part[part["readings"] == 1]
        hits = int(alone["hour"].value_counts().max()) if len(alone) else 0
        if len(part) < LUMPED_DAYS.value or hits < LUMPED_SHARE.value * len(part):
            continue
        others = single[month != name]
        usual = min((others.sum() + 1) / (len(others) + 2) / 4, 0.5)  # at one hour: a quarter, to be safe
        if 24 * binom.sf(hits - 1, len(part), usual) < LUMPED_CHANCE.value:
            lumped[name] = (len(part), hits, int(alone["hour"].mode()[0]))
    out, names = [], sorted(lumped)
    while names:
        stretch = [names.pop(0)]
        while names and names[0] == stretch[-1] + 1:
            stretch.append(names.pop(0))
        number, hits = (sum(lumped[m][k] for m in stretch) for k in (0, 1))
        out.append(
            Finding(
                "lumped days",
                "suspect",
                stretch[0].start_time.normalize(),
                stretch[-1].end_time.normalize(),
                number,
                f"on {hits} of {number} wet days all the rain stands in one reading, at "
                f"{lumped[stretch[0]][2]:02d} h: daily totals written into an hourly file",
                "trust the daily sums and take no intensity from these hours",
            )
        )
    return out


def _missing(values: np.ndarray, days: pd.DatetimeIndex) -> list[Finding]:
    lost = pd.Series(np.isnan(values)).groupby(np.asarray(days)).any()
    if not lost.any():
        return []
    where = lost.index[lost]
    return [
        Finding(
            "completeness",
            "note",
            pd.Timestamp(where[0]),
            pd.Timestamp(where[-1]),
            int(lost.sum()),
            f"{many(int(lost.sum()), 'day')} {'lacks' if lost.sum() == 1 else 'lack'} a reading and so "
            f"{'has' if lost.sum() == 1 else 'have'} no daily total",
            "fill the days from neighbours once the record is summed",
        )
    ]
