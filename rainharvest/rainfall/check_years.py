"""Checks of years: which are whole, breaks, trend, alone or beside neighbours."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
import pandas as pd
import xarray as xr

from rainharvest.core.quantities import attributes
from rainharvest.core.reader import MONTHS
from rainharvest.rainfall.check_days import LIMITS
from rainharvest.rainfall.climatology import accounted
from rainharvest.rainfall.flags import (
    Finding,
    Flag,
    Neighbour,
    as_neighbours,
    as_record,
    finding,
    finding_at,
    sound_values,
)
from rainharvest.rainfall.refusals import refuse_unless

WET_DAY = 1.0  # [mm/day]
SIMULATIONS = 5000


@dataclass(frozen=True)
class Break:
    """What a test for one break says."""

    statistic: float  # [1] The test's statistic
    before: int  # [1] How many values stand before the break; 0 for a test that names no place
    p: float  # [1] Chance of as large a statistic in a series without a break


def _series(values) -> np.ndarray:
    x = np.asarray(values, dtype=float)
    enough = x.ndim == 1 and len(x) >= 5 and np.isfinite(x).all()
    refuse_unless(enough, "short_series")
    return x


def pettitt(values) -> Break:
    """Test for one change of the median (Pettitt 1979).

    With r_i the ranks, U_k = 2 sum(r_1..r_k) - k (n + 1); the statistic is K = max |U_k| and
    p = 2 exp(-6 K^2 / (n^3 + n^2)), at most 1.

    >>> found = pettitt([1, 2, 1, 2, 1, 2, 8, 9, 8, 9, 8, 9])
    >>> found.statistic, found.before, round(found.p, 3)
    (36.0, 6, 0.031)
    """
    from scipy.stats import rankdata

    x = _series(values)
    n = len(x)
    u = 2 * np.cumsum(rankdata(x)) - np.arange(1, n + 1) * (n + 1)
    k = int(np.argmax(np.abs(u[:-1])))
    size = float(np.abs(u[k]))
    return Break(size, k + 1, float(min(1.0, 2 * np.exp(-6 * size**2 / (n**3 + n**2)))))


def _standard(x: np.ndarray) -> np.ndarray:
    spread = x.std(axis=-1, ddof=1, keepdims=True)
    return (x - x.mean(axis=-1, keepdims=True)) / np.where(spread > 0, spread, 1)


def _snht(x: np.ndarray) -> np.ndarray:
    """Return T_k for each k, on the last axis."""
    n = x.shape[-1]
    k = np.arange(1, n)
    sums = np.cumsum(_standard(x), axis=-1)[..., :-1]
    return sums**2 / k + sums**2 / (n - k)  # the standardised values sum to nothing


def _range(x: np.ndarray) -> np.ndarray:
    n = x.shape[-1]
    partial = np.cumsum(_standard(x) * np.sqrt(n / (n - 1)), axis=-1) / np.sqrt(n)
    return np.maximum(partial.max(axis=-1), 0) - np.minimum(partial.min(axis=-1), 0)


def _von_neumann(x: np.ndarray) -> np.ndarray:
    spread = ((x - x.mean(axis=-1, keepdims=True)) ** 2).sum(axis=-1)
    return (np.diff(x, axis=-1) ** 2).sum(axis=-1) / np.where(spread > 0, spread, 1)


STATISTICS = {"snht": lambda x: _snht(x).max(axis=-1), "range": _range, "ratio": _von_neumann}


@lru_cache(maxsize=64)
def _null(test: str, n: int) -> np.ndarray:
    """Return the sorted statistics of series without a break: independent normal values, seeded."""
    return np.sort(STATISTICS[test](np.random.default_rng(n).standard_normal((SIMULATIONS, n))))


def _chance(test: str, n: int, statistic: float, upper: bool = True) -> float:
    null = _null(test, n)
    beyond = np.searchsorted(null, statistic, "left" if upper else "right")
    return float((1 + (len(null) - beyond if upper else beyond)) / (1 + len(null)))


def snht(values) -> Break:
    """Test for one change of the mean: the standard normal homogeneity test (Alexandersson 1986).

    With z standardised (divisor n - 1), T_k = k mean(z_1..z_k)^2 + (n - k) mean(z_k+1..z_n)^2; the
    statistic is the largest T_k. The chance comes from 5,000 seeded series of independent normal values.

    >>> found = snht([1, 2, 1, 2, 1, 2, 8, 9, 8, 9, 8, 9])
    >>> round(found.statistic, 2), found.before, found.p < 0.01
    (10.78, 6, True)
    """
    x = _series(values)
    t = _snht(x)
    k = int(np.argmax(t))
    return Break(float(t[k]), k + 1, _chance("snht", len(x), float(t[k])))


def buishand_range(values) -> Break:
    """Test for a change of the mean by the rescaled range of the partial sums (Buishand 1982).

    With S_k the sum of the first k deviations over the standard deviation (divisor n), the statistic is
    (max S_k - min S_k) / sqrt(n); chance as in `snht`.

    >>> round(buishand_range([1, 2, 1, 2, 1, 2, 8, 9, 8, 9, 8, 9]).statistic, 3)
    1.715
    """
    x = _series(values)
    statistic = float(_range(x))
    sums = np.abs(np.cumsum(_standard(x)))[:-1]
    return Break(statistic, int(np.argmax(sums)) + 1, _chance("range", len(x), statistic))


def von_neumann_ratio(values) -> Break:
    """Test whether values a year apart are more alike than chance makes them (von Neumann 1941).

    The ratio of the squared differences to the squared deviations from the mean is about 2 in a series
    without a break and smaller with one; it names no place. Chance as in `snht`.

    >>> round(von_neumann_ratio([1, 2, 1, 2, 1, 2, 8, 9, 8, 9, 8, 9]).statistic, 2)
    0.31
    """
    x = _series(values)
    statistic = float(_von_neumann(x))
    return Break(statistic, 0, _chance("ratio", len(x), statistic, upper=False))


@dataclass(frozen=True)
class Trend:
    """A trend and how likely chance alone would show as much."""

    score: float  # [1] Mann-Kendall S: pairs that rise less pairs that fall
    z: float  # [1] The score as a standard normal number
    p: float  # [1] Chance of a score this far from zero where there is no trend (two-sided)
    # [1/year] Sen's slope: the median of the slopes between all pairs of years, in units of the values a year
    slope: float
    slope_low: float  # [1/year] Its 95 percent interval
    slope_high: float  # [1/year] Its 95 percent interval


def mann_kendall(values, years=None, correlated: bool = False) -> Trend:
    """Test a series for a trend that rises or falls throughout, whatever its shape.

    S = sum over i < j of sign(x_j - x_i); its variance without a trend is
    (n(n-1)(2n+5) - sum over groups of t ties of t(t-1)(2t+5)) / 18, and z = (S - sign(S)) / sqrt(variance).
    Years without a value are left out.

    Mann (1945), Kendall (1975), Sen (1968), Hamed and Rao (1998), from memory, checked against a library of
    the same tests. Where the years before have a say, the plain test finds trends too readily; the correction
    leans on autocorrelations that a short series gives only roughly.

    >>> found = mann_kendall([1.0, 3.0, 2.0, 5.0, 4.0, 6.0])
    >>> found.score, round(found.slope, 2), round(found.p, 3)
    (11.0, 1.0, 0.06)
    """
    from scipy.stats import norm, theilslopes

    x = np.asarray(values, float)
    t = np.arange(len(x), dtype=float) if years is None else np.asarray(years, float)
    x, t = x[~np.isnan(x)], t[~np.isnan(x)]
    n = len(x)
    refuse_unless(n >= 4, "few_years", years=n)
    score = float(sum(np.sign(x[k + 1 :] - x[k]).sum() for k in range(n - 1)))
    ties = np.unique(x, return_counts=True)[1].astype(float)
    variance = (n * (n - 1) * (2 * n + 5) - (ties * (ties - 1) * (2 * ties + 5)).sum()) / 18
    slope, _, low, high = theilslopes(x, t)
    if correlated:
        variance *= _widening(x - slope * (t - t[0]))
    z = (score - np.sign(score)) / np.sqrt(variance) if variance > 0 else 0.0
    return Trend(score, float(z), float(2 * norm.sf(abs(z))), float(slope), float(low), float(high))


def _widening(residual: np.ndarray) -> float:
    from scipy.stats import rankdata

    n = len(residual)
    rank = rankdata(residual)
    rank -= rank.mean()
    if not rank.any():  # a straight line leaves nothing to be correlated
        return 1.0
    correlation = np.correlate(rank, rank, "full")[n:] / (rank @ rank)  # lags 1 to n - 1
    lag = np.arange(1, n)
    telling = np.abs(correlation) > 1.96 / np.sqrt(n)
    weight = (n - lag) * (n - lag - 1) * (n - lag - 2)
    return float(1 + 2 / (n * (n - 1) * (n - 2)) * (weight * correlation)[telling].sum())


def completeness(rain: xr.DataArray | pd.Series) -> pd.DataFrame:
    """Count the missing days of each month and year.

    A total of rain allows no missing day: a month, or a year, with one has none. Days inside a multi-day
    total count as known as long as the total ends in the same month; a total that crosses the end of a month
    leaves both months without a total.

    >>> days = pd.date_range("2001-01-01", "2001-12-31")
    >>> rain = pd.Series(1.0, days).drop(days[40:43])
    >>> completeness(rain)[[1, 2, "missing", "days"]]
          1  2  missing  days
    year
    2001  0  3        3   365
    """
    record = as_record(rain)
    days = record.indexes["time"]
    month = days.year.to_numpy() * 12 + days.month.to_numpy() - 1
    known = accounted(record, month)
    years = np.arange(days[0].year, days[-1].year + 1)
    have = np.bincount(month[known] - years[0] * 12, minlength=12 * len(years)).reshape(-1, 12)
    first = pd.date_range(f"{years[0]:04d}-01-01", periods=12 * len(years), freq="MS", unit="s")
    length = first.days_in_month.to_numpy().reshape(-1, 12)
    out = pd.DataFrame(length - have, index=pd.Index(years, name="year"), columns=range(1, 13))
    return out.assign(missing=out.sum(axis=1), days=length.sum(axis=1))


def incomplete_years(record: xr.DataArray) -> Iterator[Finding]:
    """Find the years with missing days, with what that does to their totals."""
    days = record.indexes["time"]
    table = completeness(record)
    for year, row in table[table["missing"] > 0].iterrows():
        months = [f"{name} ({row[m]})" for m, name in enumerate(MONTHS, 1) if row[m]]
        first, last = max(pd.Timestamp(year, 1, 1), days[0]), min(pd.Timestamp(year, 12, 31), days[-1])
        share = row["missing"] / row["days"]
        facts = {"share": share, "year": year}
        facts["months"] = f"in {', '.join(months)}" if len(months) <= 6 else f"in {len(months)} months"
        kind = "completeness_poor" if share > LIMITS["year_missing"] else "completeness"
        yield finding(kind, first, last, int(row["missing"]), **facts)


def _yearly(values: np.ndarray, years: np.ndarray, others: Sequence[np.ndarray]) -> dict[str, pd.Series]:
    """Return yearly total, wet days and mean wet day, as ratios to the neighbours' where there are any."""
    known = np.isfinite([values, *others]).all(axis=0)
    share = pd.Series(known).groupby(years).sum()
    share /= np.where(pd.to_datetime(share.index, format="%Y").is_leap_year, 366, 365)

    def measures(x):
        wet = known & (x >= WET_DAY)
        part = pd.DataFrame({"rain": np.where(known, x, 0.0), "wet": wet, "deep": np.where(wet, x, 0.0)})
        sums = part.groupby(years).sum()
        return {
            "yearly total": sums["rain"],
            "number of wet days": sums["wet"].astype(float),
            "mean depth of a wet day": sums["deep"] / sums["wet"].where(sums["wet"] > 0),
        }

    here = measures(values)
    if others:
        there = [measures(other) for other in others]
        here = {name: one / sum(t[name] for t in there) * len(there) for name, one in here.items()}
    else:  # a year with a few days missing is put on a full year's footing
        for name in ("yearly total", "number of wet days"):
            here[name] = here[name] / share
    keep = share >= LIMITS["year_common" if others else "year_known"]
    return {name: one[keep].replace([np.inf, -np.inf], np.nan).dropna() for name, one in here.items()}


def breaks(values: np.ndarray, days: pd.DatetimeIndex, neighbours: Sequence[Neighbour]) -> Iterator[Finding]:
    """Find breaks in homogeneity: four tests at 1 %, two that reject make it doubtful, three suspect.

    The series tested are the yearly total, wet days and mean wet day; where neighbours cover nine tenths of
    the record, their ratios to the neighbours' mean, in which the climate's own changes cancel.
    """
    known = np.isfinite(values)
    long = [n for n in neighbours if np.isfinite(n.values[known]).mean() >= 0.9]
    for name, series in _yearly(values, days.year.to_numpy(), [n.values for n in long]).items():
        if len(series) < LIMITS["break_years"] or series.std() == 0:
            continue
        found = {"Pettitt": pettitt(series), "SNHT": snht(series), "Buishand": buishand_range(series)}
        found["von Neumann"] = von_neumann_ratio(series)
        rejecting = [test for test, one in found.items() if one.p < LIMITS["break_chance"]]
        if len(rejecting) < 2:
            continue
        k = found["SNHT"].before
        year = int(series.index[k])
        facts = {"series": name, "year": year, "ratio": series.iloc[k:].mean() / series.iloc[:k].mean()}
        facts["tests"] = ", ".join(f"{test} p {found[test].p:.2g}" for test in rejecting)
        facts["names"] = ", ".join(n.name for n in long)
        kind = "homogeneity_neighbours" if long else "homogeneity"
        one = finding(kind, days[0], max(pd.Timestamp(year, 1, 1), days[0]), len(days), **facts)
        yield one if len(rejecting) >= 3 else replace(one, severity="note")


def double_mass(rain, neighbours) -> xr.Dataset:
    """Accumulate a record and the mean of its neighbours, year by year, for the double-mass curve.

    Only days that all records know are summed, so that gaps bend nothing. A straight line through the origin
    means that the record kept its relation to its neighbours; a bend marks a change.

    >>> days = pd.date_range("2001-01-01", "2002-12-31")
    >>> rain = pd.Series(1.0, days)
    >>> double_mass(rain.where(days.year < 2002, 0.8), [rain])["slope"].values
    array([1. , 0.8])
    """
    record = as_record(rain)
    values = sound_values(record)
    near = [n.values for n in as_neighbours(neighbours, record)]
    mean = np.mean(near, axis=0) if near else np.full(values.size, np.nan)
    both = np.isfinite(values) & np.isfinite(mean)
    common = pd.DataFrame({"here": np.where(both, values, 0), "there": np.where(both, mean, 0)})
    sums = common.groupby(record.indexes["time"].year).sum()
    sums = sums[sums["there"] > 0]
    total = sums.cumsum()
    found = {
        "here": (total["here"], "mm", "Rain here, cumulated"),
        "there": (total["there"], "mm", "Mean of the neighbours"),
        "slope": (sums["here"] / sums["there"], "1", "Ratio"),
    }
    return xr.Dataset(
        {
            name: ("year", values.to_numpy(), {"units": unit, "long_name": words})
            for name, (values, unit, words) in found.items()
        },
        coords={"year": ("year", sums.index.to_numpy(), attributes("year"))},
    )


def trend(values: np.ndarray, days: pd.DatetimeIndex) -> Iterator[Finding]:
    """Find a trend in the yearly totals that chance does not explain."""
    totals = _yearly(values, days.year.to_numpy(), [])["yearly total"]
    if len(totals) < LIMITS["trend_years"] or totals.std() == 0:
        return
    found = mann_kendall(totals.to_numpy(), totals.index.to_numpy())
    if found.p >= LIMITS["trend_chance"]:
        return
    facts = {"rise": "rise" if found.slope > 0 else "fall", "decade": abs(found.slope) * 10}
    facts |= {"low": found.slope_low * 10, "high": found.slope_high * 10, "p": found.p, "years": len(totals)}
    one = finding_at("trend", days, 0, len(days) - 1, **facts)
    yield replace(one, severity="suspect") if found.p < LIMITS["break_chance"] else one


def snow(record: xr.DataArray) -> Iterator[Finding]:
    """Warn of a gauge where winters bring snow, by latitude and height, as far as they are known."""
    try:
        latitude, height = (float(record.attrs.get(name, 0.0)) for name in ("latitude", "elevation"))
    except (TypeError, ValueError):
        return
    if not abs(latitude) + height / LIMITS["snow_climb"] >= LIMITS["snow_latitude"]:
        return
    days, high = record.indexes["time"], f" and {height:.0f} m above the sea" if height > 0 else ""
    yield finding_at("snow", days, 0, len(days) - 1, latitude=latitude, height=high)


def beyond_today(record: xr.DataArray) -> Iterator[Finding]:
    """Find days dated in the future."""
    days = record.indexes["time"]
    late = np.asarray(days > pd.Timestamp.now().normalize()) & (record["flag"].values != Flag.MISSING)
    if late.any():
        yield finding("future", days[late][0], days[late][-1], int(late.sum()))
