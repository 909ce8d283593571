"""Dry spells, heavy days, and the standardised precipitation index."""

from __future__ import annotations

import numpy as np
import pandas as pd
import xarray as xr

from rainharvest.core.quantities import DAYS_A_YEAR, along, attributes, variables
from rainharvest.rainfall.flags import Flag, as_record, require_count, runs
from rainharvest.rainfall.refusals import refuse_unless


def period_totals(rain: xr.DataArray | pd.Series, months: int = 12, year_start_month: int = 1) -> xr.Dataset:
    """Sum rain over periods of whole months, counted from the first month of the hydrological year.

    A period with a missing day has no total. A reading over several days counts in full where all its days
    lie in one period; where it crosses into the next, neither period has a total, because nobody knows how
    much fell before midnight.

    That no day may be missing from a total of rain is the rule of the World Meteorological Organization, as
    the Utah Climate Center quotes it.

    >>> days = pd.date_range("2001-01-01", "2001-03-30")
    >>> found = period_totals(pd.Series(1.0, days), months=1)
    >>> found.total.values, found.known_share.values.round(2)
    (array([31., 28., nan]), array([1.  , 1.  , 0.97]))
    """
    record = as_record(rain)
    day = record["time"].values.astype("datetime64[D]")
    period = (day.astype("datetime64[M]").astype(int) - (year_start_month - 1)) // months
    first = period[0]
    period -= first
    known = accounted(record, period)
    month = np.arange(first, first + period[-1] + 2) * months + year_start_month - 1
    starts = month.astype("datetime64[M]")
    length = np.diff(starts.astype("datetime64[D]").astype(int))
    share = np.bincount(period, known) / length
    total = np.bincount(period, np.nan_to_num(record.values))
    return xr.Dataset(
        {
            "total": ("time", np.where(share == 1, total, np.nan), attributes("period_total")),
            "known_share": ("time", share, attributes("known_share")),
        },
        coords={"time": starts[:-1].astype("datetime64[ns]")},
    )


def daily_amounts(rain: xr.DataArray | pd.Series) -> np.ndarray:
    """Return the rain of each single day [mm/day]: NaN inside a reading over several days, unless it was dry.

    >>> days = pd.date_range("2001-01-01", periods=3)
    >>> notes = {"time": days, "flag": ("time", [0, 6, 5]), "total_days": ("time", [1, 0, 2])}
    >>> reading = xr.DataArray([1.0, np.nan, 5.0], dims="time", coords=notes)
    >>> daily_amounts(reading)
    array([ 1., nan, nan])
    """
    record = as_record(rain)
    values = record.values.copy()
    for first, last in _readings(record):
        values[first : last + 1] = 0.0 if values[last] == 0 else np.nan
    return values


def _readings(record: xr.DataArray) -> list[tuple[int, int]]:
    """Return the first and the last day of each reading over several days."""
    days = record["total_days"].values
    lasts = np.flatnonzero((record["flag"].values == Flag.TOTAL) & (days > 1))
    return [(max(int(last - days[last] + 1), 0), int(last)) for last in lasts]


def accounted(record: xr.DataArray, period: np.ndarray) -> np.ndarray:
    """Return which days' rain is known to have fallen in their own period."""
    known, days = record.notnull().values, record["total_days"].values
    for first, last in _readings(record):
        whole = last - first + 1 == days[last]  # a reading that began before the record is not
        known[first : last + 1] = whole and period[first] == period[last]
    return known


def dry_spells(rain: xr.DataArray | pd.Series, wet_day: float = 1.0) -> xr.Dataset:
    """Find every run of consecutive days that each had less rain than a wet day has.

    A day whose own rain is unknown ends a spell. A spell that touches such a day, or an end of the record,
    may have been longer than it is seen to be: it is marked as cut.

    >>> days = pd.date_range("2001-01-01", periods=8)
    >>> found = dry_spells(pd.Series([0, 0, 5.0, 0.4, 0, 0, 2.0, 0], days))
    >>> found.dry_spell.values, found.spell_cut.values
    (array([2, 3, 1]), array([ True, False,  True]))
    """
    record = as_record(rain)
    amount = daily_amounts(record)
    dry = amount < wet_day  # False where unknown
    first, last = runs(dry)
    unknown = np.isnan(np.concatenate(([np.nan], amount, [np.nan])))
    columns = {
        "dry_spell": last - first + 1,
        "spell_start": record["time"].values[first],
        "spell_cut": unknown[first] | unknown[last + 2],
    }
    return xr.Dataset(variables("spell", columns), along(spell=np.arange(1, len(first) + 1)))


FEWEST_WET = 10  # own choice: fewer months with rain hold no shape

# classes of McKee, Doesken and Kleist (1993) as the IRI data library prints them; an edge belongs to the
# class farther from normal
EDGES = (-2.0, -1.5, -1.0, 1.0, 1.5, 2.0)

CLASSES = ("extremely dry", "severely dry", "moderately dry", "near normal")
CLASSES += ("moderately wet", "very wet", "extremely wet")


def standardised_precipitation_index(monthly_total: xr.DataArray, scale: int = 3) -> xr.DataArray:
    """Say how unusual the rain of the last ``scale`` months is, as a standard normal number.

    For each calendar month the sums of the months up to it follow a gamma law where they are above zero
    (maximum likelihood) and are zero with the chance q seen in the record: H(x) = q + (1 - q) G(x), and the
    index is the standard normal quantile of H.

    McKee, Doesken and Kleist (1993), from memory, checked against a library. The whole record is the
    reference: 30 years or more are advised. A dry season of zero sums has an index above its rank, because
    all of them share the same H = q.

    >>> month = pd.date_range("1991-01-01", periods=360, freq="MS")
    >>> total = xr.DataArray(np.random.default_rng(1).gamma(2, 30, 360), {"month": month}, "month")
    >>> index = standardised_precipitation_index(total, scale=6)
    >>> round(float(index.mean()), 2), round(float(index.std()), 1), int(index.isnull().sum())
    (0.00, 1.0, 5)
    """
    from scipy.special import gammainc, ndtri
    from scipy.stats import gamma

    require_count("scale", scale, 1)
    month = monthly_total["month"].values.astype("datetime64[M]").astype(int)
    refuse_unless((np.diff(month) == 1).all(), "months_left_out")
    total = np.asarray(monthly_total.values, float)
    sums = np.full(len(total), np.nan)
    if len(total) >= scale:
        sums[scale - 1 :] = np.lib.stride_tricks.sliding_window_view(total, scale).sum(axis=1)
    index = np.full(len(total), np.nan)
    for calendar_month in range(12):
        here = (month % 12 == calendar_month) & ~np.isnan(sums)
        wet = here & (sums > 0)
        if wet.sum() < FEWEST_WET or np.ptp(sums[wet]) == 0:
            continue
        shape, _, size = gamma.fit(sums[wet], floc=0)
        none = 1 - wet.sum() / here.sum()
        index[here] = ndtri(none + (1 - none) * gammainc(shape, sums[here] / size))
    attrs = attributes("spi", months=int(scale))
    return xr.DataArray(index, {"month": monthly_total["month"]}, "month", "spi", attrs)


def spi_class(index: float) -> str:
    """Return the words for a value of the index.

    >>> [spi_class(value) for value in (-2.0, -1.99, -1.0, 0.99, 1.0, 2.0)]
    ['extremely dry', 'severely dry', 'moderately dry', 'near normal', 'moderately wet', 'extremely wet']
    """
    if np.isnan(index):
        return "unknown"
    return CLASSES[int(np.searchsorted(EDGES, index, side="left" if index < 0 else "right"))]


EVENTS_A_YEAR = 3.0  # own choice: the threshold lets through about as many as in Coles' example (152 in 48)

FEWEST_EVENTS = 30  # own choice: fewer events hold no shape

DEPTHS = (0.2, 0.5, 1, 2, 5, 10, 15, 20, 30, 40, 50, 75, 100, 150, 200, 300, 500)  # [mm/day]

RETURN_PERIODS = (2, 5, 10, 20, 50, 100)  # [year]

LEVELS = ("return_level", "return_level_low", "return_level_high")


def days_a_year(rain: xr.DataArray | pd.Series, depth=DEPTHS) -> xr.DataArray:
    """Count the days a year that have at least each depth of rain.

    >>> days = pd.date_range("2001-01-01", periods=100)
    >>> days_a_year(pd.Series([0, 0, 4, 30] * 25, days), depth=[1, 10]).values
    array([182.625 ,  91.3125])
    """
    amount = daily_amounts(rain)
    amount = np.sort(amount[~np.isnan(amount)])
    depth = np.asarray(depth, float)
    count = len(amount) - np.searchsorted(amount, depth)
    share = count / len(amount) if len(amount) else np.full(len(depth), np.nan)
    return xr.DataArray(share * DAYS_A_YEAR, along(depth=depth), "depth", attrs=attributes("days_a_year"))


def return_levels(
    rain: xr.DataArray | pd.Series,
    threshold: float | None = None,
    return_period=RETURN_PERIODS,
    separation: int = 1,
) -> xr.Dataset:
    """Fit the heaviest days and give the daily depth reached on average once in each return period.

    The excess over the threshold u follows a generalised Pareto law, fitted by maximum likelihood. With a
    share z of the days above u, the depth reached once in N years is
    x_N = u + (scale/shape) ((365.25 N z)^shape - 1). Its 95 percent interval is where the profile
    log-likelihood stays within 1.92 of its best; z counts as known.

    Coles (2001), An Introduction to Statistical Modeling of Extreme Values, chapter 4. A level for a return
    period longer than the record is extrapolated; the interval says how loosely. A daily reading cuts
    storms in two: the greatest 24 hours bring more.

    >>> days = pd.date_range("1981-01-01", "2020-12-31")
    >>> rain = pd.Series(np.random.default_rng(1).gamma(0.2, 20, len(days)), days)
    >>> found = return_levels(rain, return_period=[10])
    >>> bool(found.return_level_low[0] < found.return_level[0] < found.return_level_high[0])
    True
    """
    from scipy.stats import genpareto

    amount = daily_amounts(rain)
    known = np.count_nonzero(~np.isnan(amount))
    if threshold is None:
        refuse_unless(known, "no_known_day")
        threshold = float(np.nanquantile(amount, 1 - EVENTS_A_YEAR / DAYS_A_YEAR, method="lower"))
    excess = _events(amount, threshold, separation) - threshold
    said = {"events": len(excess), "threshold": threshold, "least": FEWEST_EVENTS}
    refuse_unless(len(excess) >= FEWEST_EVENTS, "few_events", **said)
    shape, _, scale = genpareto.fit(excess, floc=0)
    best = float(genpareto.nnlf((shape, 0, scale), excess))
    per_year = DAYS_A_YEAR * len(excess) / known
    years = np.asarray(return_period, float)
    level = _growth(years * per_year, shape) * scale
    bounds = [_profile_interval(excess, n * per_year, x, best) for n, x in zip(years, level, strict=True)]
    low, high = np.array(bounds).T
    curves = dict(zip(LEVELS, (threshold + depth for depth in (level, low, high)), strict=True))
    single = {"threshold": threshold, "gpd_scale": scale, "gpd_shape": shape, "gpd_loss": best}
    single["events"] = len(excess)
    found = variables("return_period", curves) | variables((), single)
    return xr.Dataset(found, along(return_period=years))


def _events(amount: np.ndarray, threshold: float, separation: int) -> np.ndarray:
    day = np.flatnonzero(amount > threshold)  # False where unknown
    if len(day) == 0:
        return np.empty(0)
    starts = np.flatnonzero(np.diff(day, prepend=day[0] - separation) >= separation)
    return np.maximum.reduceat(amount[day], starts)


def _growth(m, shape: float):
    """Return (m^shape - 1)/shape, which is log(m) where the shape is 0."""
    log = np.log(m)
    return log if abs(shape) < 1e-9 else np.expm1(shape * log) / shape


def _profile_interval(excess: np.ndarray, m: float, level: float, best: float) -> tuple[float, float]:
    """Return the 95 percent interval of the level passed once in m events, above the threshold."""
    from scipy.optimize import brentq, minimize_scalar

    if m <= 1:  # so frequent that the level lies below the threshold
        return np.nan, np.nan

    def loss(shape: float, x: float) -> float:
        scale = x / _growth(m, shape)
        inside = 1 + shape * excess / scale
        if (inside <= 0).any():
            return 1e10 - shape  # outside the law's range; lower towards larger shapes
        tail = np.log(inside) * (1 + 1 / shape) if abs(shape) > 1e-9 else excess / scale
        return len(excess) * np.log(scale) + tail.sum()

    def over(x: float) -> float:
        options = {"xatol": 1e-5}
        found = minimize_scalar(loss, bounds=(-0.9, 2.0), args=(x,), method="bounded", options=options)
        return found.fun - best - 1.920729  # half the 95 percent point of chi-squared with one degree

    if over(level) >= 0:  # the best law lies beyond the shapes searched, as with excesses that have an end
        return np.nan, np.nan

    def edge(factor: float) -> float:
        near, far = level, level * factor
        while over(far) < 0:
            near, far = far, far * factor
        return brentq(over, near, far, rtol=1e-4)

    return edge(0.9), edge(1.15)
