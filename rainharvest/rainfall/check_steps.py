"""Checks of hourly and minute rain, before it is summed to days."""

from __future__ import annotations

import numpy as np
import pandas as pd
import xarray as xr

from rainharvest.errors import InputError
from rainharvest.rainfall.check import table_of
from rainharvest.rainfall.check_finding import Finding, many, runs
from rainharvest.rainfall.flags import Flag
from rainharvest.sources import Default

HOUR_RECORD = Default(401.0, "mm", "largest hourly rain taken as possible by the GSDR checks", "open data")
DAY_RECORD = Default(1825.0, "mm", "WMO world record of a day (wmo.asu.edu)", "open data")
EQUAL_STEPS = Default(4, "1", "equal non-zero readings in sequence, at least", "own choice")
CHANCE = Default(0.01, "1", "expected number in the record above which chance explains it", "own choice")
LUMPED_DAYS = Default(5, "day", "wet days that a month needs", "own choice")
LUMPED_SHARE = Default(0.8, "1", "of them with all their rain in one reading at one hour", "own choice")
LUMPED_CHANCE = Default(1e-4, "1", "binomial, from the share in the whole record", "own choice")


def check_steps(rain_step: xr.DataArray) -> pd.DataFrame:
    """Doubt an hourly or minute record: readings that cannot be, that repeat, or that hold a whole day.

    Parameters
    ----------
    rain_step : DataArray [mm]
        Rain of each reading on ``time``, as `rainharvest.rainfall.read_subdaily.read_subdaily` gives it.

    Returns
    -------
    DataFrame
        Findings as `rainharvest.rainfall.check.check_rain` returns them, by day, so that those accepted can
        be set on the daily record with `rainharvest.rainfall.check.accept_findings`.

    Raises
    ------
    InputError
        If it is not a record of readings less than a day apart.

    Notes
    -----
    "lumped days" are days whose rain stands in one reading, month after month at the same hour: a daily gauge
    written into an hourly file. Their daily sums are right; anything read from their hours is not.

    Examples
    --------
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
        for first, last in runs(bad):
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
