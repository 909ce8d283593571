"""Checks of the observer's and the file's habits, and of hourly and minute rain."""

from __future__ import annotations

from calendar import day_name
from collections.abc import Iterator

import numpy as np
import pandas as pd
import xarray as xr

from rainharvest.rainfall.check_days import LIMITS
from rainharvest.rainfall.flags import Finding, Flag, alike, finding, finding_at, plural, spans, table_of
from rainharvest.rainfall.refusals import refuse_unless

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

FACTORS = (
    (10.0, "10", "divide these days by 10"),
    (0.1, "1/10", "multiply these days by 10"),
    (25.4, "25.4", "divide these days by 25.4"),
    (1 / 25.4, "1/25.4", "multiply these days by 25.4"),
)

GRIDDED_DRY, GRIDDED_DRIZZLE = 0.15, 0.05  # share of days without rain, share with up to 0.2 mm
DRIZZLE = 0.2  # [mm/day] up to which a day above zero is drizzle


def factor_of(ratios: list[float], width: float = LIMITS["factor_width"]) -> tuple[str, str] | None:
    """Return the words and the remedy of the unit's factor that all ratios are closest to, if they are close to one."""
    logs = np.log(ratios)
    factor, words, remedy = min(FACTORS, key=lambda row: abs(logs.mean() - np.log(row[0])))
    return (words, remedy) if np.abs(logs - np.log(factor)).max() < width else None


def year_steps(values: np.ndarray, days: pd.DatetimeIndex) -> pd.Series:
    """Return the step (place in ``STEPS``) of each year's amounts; years on none, or with too few, are left out."""
    wet = values > 0
    amounts, years = values[wet], days.year.to_numpy()[wet]
    tenths = np.abs(amounts * 10 - np.round(amounts * 10)) < 0.01
    fits = np.empty((len(STEPS), len(amounts)), dtype=bool)
    for row, (step, _, tolerance) in enumerate(STEPS):
        off = np.abs(amounts - np.round(amounts / step) * step)
        # a tenth-rounded file cannot be held to the inch lattice more closely than its own rounding
        fits[row] = (off <= np.where(tenths, tolerance, 0.006)) & (np.round(amounts / step) > 0)
    by_year = pd.DataFrame(fits.T).groupby(years)
    held = by_year.mean() >= LIMITS["fits"]
    held = held[(by_year.size() >= 20) & held.any(axis=1)]
    return pd.Series(held.to_numpy().argmax(axis=1), held.index, dtype=int)


def resolution(values: np.ndarray, days: pd.DatetimeIndex) -> Iterator[Finding]:
    """Find the years from which the amounts stand on other steps than before."""
    steps = year_steps(values, days)
    last = None
    for _, block in steps.groupby(steps.ne(steps.shift()).cumsum()):
        if len(block) < 2:
            continue
        step = int(block.iloc[0])
        if last is not None and step != last:
            first, end = pd.Timestamp(block.index[0], 1, 1), pd.Timestamp(block.index[-1], 12, 31)
            since, now, before = int((days >= first).sum()), STEPS[step][1], STEPS[last][1]
            yield finding("resolution", first, min(end, days[-1]), since, now=now, before=before)
        last = step


def units(values: np.ndarray, days: pd.DatetimeIndex) -> Iterator[Finding]:
    """Find stretches whose wet days stand at 10, 1/10, 25.4 or 1/25.4 times those of the rest."""
    wet = np.flatnonzero(values > 0)
    if len(wet) < 200:
        return
    month = days.month.to_numpy()[wet]
    logs = np.log(values[wet])
    usual = np.array([np.median(logs[month == m]) if (month == m).any() else 0.0 for m in range(1, 13)])
    excess = logs - usual[month - 1]
    if found := list(_since_a_day(excess, days[wet])):
        yield from found
        return
    # rain drizzles for weeks in a drought, and never storms for weeks: shallow days need a longer stretch
    for sign, times, least in ((1, 1, "factor_rain"), (-1, 2, "factor_dry")):
        half = int(LIMITS["factor_window"]) * times
        smooth = pd.Series(excess).rolling(2 * half + 1, center=True, min_periods=half).median().to_numpy()
        for first, last in spans(sign * smooth > np.log(10) / 2):
            if last - first >= LIMITS[least] - 1:
                yield from _in_another_unit(excess, days[wet], first, last)


def _since_a_day(excess: np.ndarray, wet: pd.DatetimeIndex) -> Iterator[Finding]:
    """Find the part of the record in another unit, where the unit changes on one day and stays so."""
    from scipy.stats import rankdata

    cut = int(np.abs(np.cumsum(rankdata(excess) - (len(wet) + 1) / 2))[:-1].argmax()) + 1
    yield from _in_another_unit(excess, wet, *((0, cut - 1) if cut <= len(wet) / 2 else (cut, len(wet) - 1)))


def _in_another_unit(excess: np.ndarray, wet: pd.DatetimeIndex, first: int, last: int) -> Iterator[Finding]:
    """Find a stretch of wet days that stands at a unit's factor from the others, beyond doubt."""
    from scipy.stats import rankdata

    inside = np.zeros(len(wet), dtype=bool)
    inside[first : last + 1] = True
    number, lasts = last - first + 1, int((wet[last] - wet[first]).days + 1)
    # by chance the ranks of so many days from one population stand so many deviations from the middle
    chance = np.sqrt((len(wet) + 1) * max(len(wet) - number, 1) / (12 * number))
    apart = (rankdata(excess)[inside].mean() - (len(wet) + 1) / 2) / chance
    # a dry month of drizzle has a small median too: its heavy days must be out by the factor as well
    ratios = [np.exp(np.quantile(excess[inside], q) - np.quantile(excess[~inside], q)) for q in (0.5, 0.9)]
    found = factor_of(ratios, max(LIMITS["factor_width"], 3.5 * excess.std() / np.sqrt(number)))
    if not found or abs(apart) < LIMITS["factor_sure"] or lasts < LIMITS["factor_days"]:
        return
    beside = np.r_[excess[max(first - number, 0) : first], excess[last + 1 : last + 1 + number]]
    if abs(np.median(excess[inside]) - np.median(beside)) < np.log(10) / 2:
        return  # weeks of drizzle within a part in another unit stand apart from the rest, not from their neighbours
    facts = {"middle": ratios[0], "heaviest": ratios[1], "factor": found[0], "remedy": found[1]}
    yield finding("unit", wet[first], wet[last], lasts, **facts)


def rounding(values: np.ndarray, days: pd.DatetimeIndex) -> Iterator[Finding]:
    """Find a liking for round numbers: multiples of 5 and 10 steps."""
    from scipy.stats import binom

    steps = year_steps(values, days)
    if steps.empty:
        return
    row = int(steps.mode().iloc[0])
    step, words, _ = STEPS[row]
    held = np.isin(days.year.to_numpy(), steps.index[steps == row])
    amounts = np.round(values[held & (values > 0)] / step).astype(int)
    excess = {5: (0.0, 0), 10: (0.0, 0)}  # times the even share, among how many
    for multiple in excess:
        among = amounts[amounts >= multiple]
        hits = int((among % multiple == 0).sum())
        if len(among) >= 100 and binom.sf(hits - 1, len(among), 1 / multiple) < LIMITS["round_chance"]:
            excess[multiple] = (hits / len(among) * multiple, len(among))
    # rounding to ten steps shows among the multiples of five too, but more faintly
    multiple = 10 if excess[10][0] > 1.2 * excess[5][0] else 5
    much, number = excess[multiple]
    if much <= LIMITS["round_excess"]:
        return
    facts = {"share": much / multiple, "multiple": multiple * step, "step": words, "even": 1 / multiple}
    yield finding("rounding", days[0], days[-1], number, **facts)


def weekdays(values: np.ndarray, days: pd.DatetimeIndex) -> Iterator[Finding]:
    """Find a weekday that is wet more or less often than the others."""
    from scipy.stats import binom, chi2

    known = np.isfinite(values)
    weekday = days.day_of_week.to_numpy()
    number = np.bincount(weekday[known], minlength=7)
    wet = np.bincount(weekday[values > 0], minlength=7)
    if number.min() < 100 or wet.sum() == 0 or wet.sum() == number.sum():
        return
    share = wet.sum() / number.sum()
    square = ((wet - number * share) ** 2 / (number * share * (1 - share))).sum()
    p = chi2.sf(square, 6)
    effect = wet / number / share - 1
    odd = int(np.argmax(np.abs(effect)))
    least = binom.cdf(wet, number, share) * 7  # the weekday with the fewest, seven looks allowed for
    if p >= LIMITS["weekday_chance"] and least.min() >= LIMITS["weekday_chance"]:
        return
    if least.min() < min(p, LIMITS["weekday_chance"]):
        odd, p = int(np.argmin(least)), float(least.min())
    if abs(effect[odd]) < LIMITS["weekday_effect"]:
        return
    facts = {"weekday": day_name[odd], "effect": abs(effect[odd]), "chance": p}
    facts["more"] = "more" if effect[odd] > 0 else "less"
    yield finding("weekday", days[0], days[-1], int(number[odd]), **facts)


def small_amounts(values: np.ndarray, days: pd.DatetimeIndex) -> Iterator[Finding]:
    """Find stretches of years in which amounts under 1 mm are far rarer than in the others."""
    block = (days.year.to_numpy() - days[0].year) // 5
    small = np.bincount(block[(values >= 0.1) & (values < 1)], minlength=block.max() + 1)
    next_up = np.bincount(block[(values >= 1) & (values < 2)], minlength=block.max() + 1)
    enough = next_up >= 30
    if enough.sum() < 2:
        return
    ratio = small / np.maximum(next_up, 1)
    usual = np.quantile(ratio[enough], 0.75)
    if small[enough & (ratio >= usual)].sum() < 100:
        return
    for first, last in spans(enough & (ratio < usual / LIMITS["small_change"])):
        span = np.flatnonzero((block >= first) & (block <= last))
        here = small[first : last + 1].sum() / next_up[first : last + 1].sum()
        yield finding_at("small_amounts", days, span[0], span[-1], here=here, usual=usual)


def drizzle(values: np.ndarray, days: pd.DatetimeIndex) -> Iterator[Finding]:
    """Find a record that rains too often to be a gauge's: a gridded product or a model."""
    known = values[np.isfinite(values)]
    if len(known) < 365:
        return
    dry, little = (known == 0).mean(), ((known > 0) & (known <= DRIZZLE)).mean()
    if dry >= GRIDDED_DRY or little <= GRIDDED_DRIZZLE:
        return
    yield finding("gridded", days[0], days[-1], len(known), dry=dry, little=little)


def all_habits(values: np.ndarray, days: pd.DatetimeIndex) -> Iterator[Finding]:
    """Find what the habits of a daily record let doubt; its unit is checked before."""
    for check in (resolution, rounding, weekdays, small_amounts, drizzle):
        yield from check(values, days)


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
    single = isinstance(rain_step, xr.DataArray) and rain_step.dims == ("time",)
    index = rain_step.indexes.get("time") if single else None
    ordered = isinstance(index, pd.DatetimeIndex) and len(index) > 1 and index.is_monotonic_increasing
    refuse_unless(ordered, "no_ordered_readings")
    step = float(np.median(np.diff(index.to_numpy()) / np.timedelta64(1, "s")))
    refuse_unless(step < 86_400, "days_to_check")
    values = rain_step.to_numpy().astype(float).copy()
    if "flag" in rain_step.coords:
        values[(rain_step["flag"] == Flag.REJECTED).to_numpy()] = np.nan
    days = index.normalize()
    most = LIMITS["hour_record"] if step <= 3600 else LIMITS["world_record"]
    found = [*_impossible(values, days, most), *_missing(values, days)]
    values[(values < 0) | (values > most)] = np.nan
    return table_of([*found, *_streaks(values, days), *_lumped(values, index)])


def _of_readings(kind: str, days: pd.DatetimeIndex, first: int, last: int, **facts) -> Finding:
    """Return a finding about the days between two readings."""
    return finding(kind, days[first], days[last], int((days[last] - days[first]).days + 1), **facts)


def _impossible(values: np.ndarray, days: pd.DatetimeIndex, most: float) -> Iterator[Finding]:
    bounds = {"negative_reading": (values < 0, np.min), "impossible_reading": (values > most, np.max)}
    for kind, (bad, worst) in bounds.items():
        for first, last in spans(bad):
            number, farthest = last - first + 1, worst(values[first : last + 1])
            facts = {"readings": plural(number, "reading"), "are": "is" if number == 1 else "are"}
            yield _of_readings(kind, days, first, last, worst=farthest, most=most, **facts)


def _streaks(values: np.ndarray, days: pd.DatetimeIndex) -> Iterator[Finding]:
    known = np.isfinite(values)
    wet = values[values > 0]
    if len(wet) < 50:
        return
    kinds, count = np.unique(wet, return_counts=True)
    for a, b in alike(values):
        number, value = b - a + 1, values[a]
        if number < LIMITS["equal_steps"] or not value > 0:
            continue
        # rain goes on: the chance that the next reading is the same is its share of the wet readings
        share = count[np.searchsorted(kinds, value)] / len(wet)
        if known.sum() * share ** (number - 1) * len(wet) / known.sum() < LIMITS["chance"]:
            yield _of_readings("streak_readings", days, a, b, value=value, number=number)


def _lumped(values: np.ndarray, index: pd.DatetimeIndex) -> Iterator[Finding]:
    from scipy.stats import binom

    frame = pd.DataFrame({"day": index.normalize(), "hour": index.hour, "rain": values})
    wet = frame[frame["rain"] > 0]
    if wet.empty:
        return
    by_day = wet.groupby("day").agg(readings=("rain", "size"), hour=("hour", "first"))
    single = by_day["readings"] == 1
    month = by_day.index.to_period("M")
    lumped = {}
    for name, part in by_day.groupby(month):
        alone = part[part["readings"] == 1]
        hits = int(alone["hour"].value_counts().max()) if len(alone) else 0
        if len(part) < LIMITS["lumped_days"] or hits < LIMITS["lumped_share"] * len(part):
            continue
        others = single[month != name]
        usual = min((others.sum() + 1) / (len(others) + 2) / 4, 0.5)  # at one hour: a quarter, to be safe
        if 24 * binom.sf(hits - 1, len(part), usual) < LIMITS["lumped_chance"]:
            lumped[name] = (len(part), hits, int(alone["hour"].mode()[0]))
    names = sorted(lumped)
    while names:
        stretch = [names.pop(0)]
        while names and names[0] == stretch[-1] + 1:
            stretch.append(names.pop(0))
        number, hits = (sum(lumped[m][k] for m in stretch) for k in (0, 1))
        first, last = stretch[0].start_time.normalize(), stretch[-1].end_time.normalize()
        facts = {"lumped": hits, "wet": number, "hour": lumped[stretch[0]][2]}
        yield finding("lumped_days", first, last, number, **facts)


def _missing(values: np.ndarray, days: pd.DatetimeIndex) -> Iterator[Finding]:
    lost = days[np.isnan(values)].unique()
    if not len(lost):
        return
    have = {"lack": "lacks", "have": "has"} if len(lost) == 1 else {"lack": "lack", "have": "have"}
    yield finding("missing_readings", lost[0], lost[-1], len(lost), **have)
