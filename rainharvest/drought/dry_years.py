"""Dry years, dry spells and failures: how often, how long, how bad, how soon over."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import xarray as xr

from rainharvest.core.errors import require
from rainharvest.core.quantities import along, attributes, variables
from rainharvest.drought.tables import DEFAULTS
from rainharvest.rainfall.climatology import period_totals, standardised_precipitation_index
from rainharvest.rainfall.flags import runs
from rainharvest.storage.simulate import as_series, common_time, year_edges

SPANS = (1, 2, 3)  # [year]

DRAWS = 4000

GUMBEL_SKEW = np.log(9 / 8) / np.log(2)  # [1] L-skewness of Gumbel's law

LIKE_GUMBEL = 20  # [year] that speak for Gumbel's shape beside the record's own: own choice

FEWEST_YEARS = 10  # own choice: fewer yearly values hold no law

LONG_SPELL = 10.0  # [day] own choice, where none is given

INDEX_MONTHS = int(DEFAULTS["index_months"].value)

MEMORY = 0.2  # below this, the correlation of following years is not told from chance in most records


def dry_years(
    rain,
    shortfall,
    *,
    year_start_month: int = 1,
    scale: int = INDEX_MONTHS,
    dry_share: float = DEFAULTS["dry_share"].value,
    index: xr.DataArray | None = None,
) -> xr.Dataset:
    """Find the dry years by rain, by the precipitation index and by what this tank could not supply.

    Each way calls the same number of whole hydrological years dry, dry_share x years rounded, at least one:
    those with the least rain; those that reached the lowest index within the year; those with the largest
    shortfall. A year without shortfall is never dry by the tank.

    The three disagree, and should: a total says nothing of the season in which rain failed, an index nothing
    of the tank. The index is that of `rainharvest.rainfall.climatology`.

    >>> import pandas as pd
    >>> days = pd.date_range("2001-01-01", "2012-12-31")
    >>> rain = xr.DataArray(np.random.default_rng(1).gamma(0.2, 20, days.size), {"time": days}, ("time",))
    >>> found = dry_years(rain, xr.zeros_like(rain), year_start_month=3)
    >>> int(found.dry_by_rain.sum()), int(found.dry_by_tank.sum())
    (2, 0)
    """
    require(0 < dry_share < 1, f"a share of {dry_share:g}", "give one between 0 and 1", "dry_share")
    totals = period_totals(rain, 12, year_start_month)
    index = monthly_index(rain, scale) if index is None else index
    short = shortfall if isinstance(shortfall, xr.DataArray) else shortfall.rename_axis("time").to_xarray()
    days = rain.indexes["time"] if isinstance(rain, xr.DataArray) else rain.index
    same = short.indexes["time"].equals(days)
    require(same, "rain and shortfall cover different days", "cut both to the same days", "shortfall")
    edges, year, _ = year_edges(short.time, year_start_month)
    lost = np.add.reduceat(short.values, edges[:-1])
    whole = totals.known_share.values == 1
    require(whole.any(), "no hydrological year is whole", "give a longer record", "rain")
    of_year = (index.month.dt.year - (index.month.dt.month < year_start_month)).values
    # fmin passes over what is unknown
    lowest = np.array([np.fmin.reduce(index.values[of_year == y], initial=np.nan) for y in year])
    depth = totals.total.values
    count = max(round(dry_share * whole.sum()), 1)
    out = {
        "year_rain": depth[whole],
        "lowest_spi": lowest[whole],
        "year_short": lost[whole],
        "dry_by_rain": _first(depth[whole], count),
        "dry_by_index": _first(lowest[whole], count),
        "dry_by_tank": _first(-lost[whole], count) & (lost[whole] > 0),
    }
    found = xr.Dataset(variables("year", out), along(year=year[whole]))
    return found.assign_attrs(
        year_start_month=int(year_start_month), index_months=int(scale), dry_share=float(dry_share)
    )


def monthly_index(rain, scale: int = INDEX_MONTHS) -> xr.DataArray:
    """Return the precipitation index of each month of a record."""
    months = period_totals(rain, 1)
    total = xr.DataArray(months.total.values, {"month": months.time.values}, "month")
    return standardised_precipitation_index(total, scale)


def _first(values: np.ndarray, count: int) -> np.ndarray:
    """Return which are the so many lowest; unknown ones never."""
    order = np.argsort(values, kind="stable")[:count]
    chosen = np.zeros(values.size, dtype=bool)
    chosen[order] = ~np.isnan(values[order])
    return chosen


def driest_runs(year_rain, spans=SPANS, *, seed: int = 0, draws: int = DRAWS) -> xr.Dataset:
    """Return the driest runs of consecutive years and how rare they are, with the uncertainty of that.

    Yearly totals are taken as gamma, with the record's mean and variance, and as linked from year to year by
    the record's own correlation r where that passes 0.2. For records as long as this one, drawn anew, the
    chance p of a run as dry as their driest is known; its 10th, 50th and 90th percentiles over the draws give
    the return period 1/p and its 80 percent interval. For single independent years p follows a beta law with
    parameters 1 and n, whatever the law of rain.

    Parameters
    ----------
    year_rain : array_like [mm]
        Totals of consecutive hydrological years; NaN where not known.
    spans : sequence of int [year]
        Lengths of run.
    seed : int [1]
        The same seed gives the same draws.
    draws : int
        How many records are drawn.

    Returns
    -------
    Dataset
        On ``span``: ``driest_run_total`` [mm], the mean of the run, ``driest_run_start`` (NaN-free only if
        the years are labelled), ``run_return_period``, ``run_return_period_low``, ``run_return_period_high``
        [year]; and ``year_correlation`` [1].

    Raises
    ------
    InputError
        If fewer than 10 totals are known, or a run is longer than the record.

    Notes
    -----
    Own method, from order statistics: the driest year of n has been as rare as "once in n years" only in the
    middle of a wide range. Overlapping runs are counted as they are, since the drawn records overlap alike.

    Examples
    --------
    >>> found = driest_runs(np.linspace(300.0, 900.0, 30))
    >>> found.span.values, bool((found.run_return_period_low < found.run_return_period).all())
    (array([1, 2, 3]), True)
    """
    from scipy.special import gammaincinv, ndtr, ndtri

    total = np.asarray(year_rain, dtype=float)
    known = total[~np.isnan(total)]
    require(
        known.size >= FEWEST_YEARS,
        f"{known.size} yearly totals are known",
        f"give {FEWEST_YEARS} or more",
        "year_rain",
    )
    require(known.std() > 0, "every year has the same rain", "give a record of rain as it fell", "year_rain")
    years = getattr(year_rain, "year", None)
    names = np.arange(total.size) if years is None else np.asarray(years)
    link = np.corrcoef(total[:-1], total[1:])[0, 1] if known.size == total.size else 0.0
    rng = np.random.default_rng(seed)
    normal = ndtri(rng.random((draws, total.size)))
    used = link if link > MEMORY else 0.0
    for k in range(1, total.size):
        normal[:, k] = used * normal[:, k - 1] + np.sqrt(1 - used**2) * normal[:, k]
    shape = (known.mean() / known.std(ddof=1)) ** 2
    drawn = gammaincinv(shape, ndtr(normal))
    rows = []
    for span in spans:
        require(1 <= span <= total.size, f"a run of {span} years", f"give 1 to {total.size}", "spans")
        mean = np.convolve(total, np.ones(span) / span, "valid")
        place = int(np.nanargmin(mean)) if not np.isnan(mean).all() else 0
        sums = np.cumsum(np.pad(drawn, ((0, 0), (1, 0))), axis=1)
        sums = sums[:, span:] - sums[:, :-span]
        pool = np.sort(sums.ravel())
        rarity = np.searchsorted(pool, sums.min(axis=1), side="right") / (pool.size + 1)
        rows.append((mean[place], names[place], *(1 / np.quantile(rarity, [0.5, 0.9, 0.1]))))
    columns = (
        "driest_run_total",
        "driest_run_start",
        "run_return_period",
        "run_return_period_low",
        "run_return_period_high",
    )
    out = variables("span", dict(zip(columns, np.array(rows, dtype=float).T, strict=True)))
    out |= variables((), {"year_correlation": float(link)})
    return xr.Dataset(out, along(span=np.asarray(spans)))


def longest_in_years(longest_dry_spell, years=(1, 2, 5, 10, 20, 50, 100)) -> xr.Dataset:
    """Return the longest dry spell to expect in so many years, from the longest of each year of a record.

    The yearly longest follow a generalised extreme value law, fitted by L-moments, its shape drawn towards
    Gumbel's as by 20 years that have it. The interval holds the longest of so many years *to come* in 8 of 10
    cases: for records as long as this one, drawn from the law, it is known where the longest of the years that
    follow lies between their own L-moments.

    The fit after Hosking (1990), from memory; the interval is an own method. Measured, longest of 10 years to
    come: 0.79 to 0.91 on six invented climates from 15 or 30 years, 0.72 where years remember one another
    (0.5 from year to year); 0.81 in the mean of 10 real records (the band of Gumbel's law alone: 0.68). The
    years count as alike; beyond the record's own length the answer is extrapolated.

    >>> found = longest_in_years([20.0, 25, 31, 18, 22, 40, 27, 24, 29, 21], years=[10])
    >>> found.longest_low.item() < found.longest_expected.item() < found.longest_high.item()
    True
    """
    from scipy.special import gamma

    x = np.asarray(longest_dry_spell, dtype=float).ravel()
    x = x[~np.isnan(x)]
    known = f"the longest dry spell is known of {x.size} years"
    require(x.size >= FEWEST_YEARS, known, f"give {FEWEST_YEARS} or more", "rain")
    years = np.asarray(years, dtype=float)
    mean, spread, skew = _l_moments(x)
    skew = GUMBEL_SKEW + x.size / (x.size + LIKE_GUMBEL) * (skew - GUMBEL_SKEW)
    c = 2 / (3 + skew) - np.log(2) / np.log(3)
    k = 7.859 * c + 2.9554 * c**2 or 1e-9
    scale = spread * k / ((1 - 2**-k) * gamma(1 + k))
    expected = mean + scale * gamma(1 + k) * (1 - years**-k) / k
    rng = np.random.default_rng(0)
    drawn = _l_moments((1 - rng.exponential(size=(DRAWS, x.size)) ** k) / k)
    to_come = (1 - (rng.exponential(size=(DRAWS, 1)) / years) ** k) / k
    low, high = mean + spread * np.quantile(
        (to_come - drawn[0][:, None]) / drawn[1][:, None], [0.1, 0.9], axis=0
    )
    curves = {"longest_expected": expected, "longest_low": low, "longest_high": high}
    return xr.Dataset(variables("return_period", curves), along(return_period=years))


def _l_moments(x: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return mean, L-scale and L-skewness (Gumbel's where nothing varies) along the last dimension."""
    x, n = np.sort(x, axis=-1), x.shape[-1]
    rank = np.arange(n)
    mean, b1 = x.mean(axis=-1), (rank / (n - 1) * x).mean(axis=-1)
    b2 = (rank * (rank - 1) / ((n - 1) * (n - 2)) * x).mean(axis=-1)
    scale, third = 2 * b1 - mean, 6 * b2 - 6 * b1 + mean
    return mean, scale, np.where(scale > 0, third / np.where(scale > 0, scale, 1.0), GUMBEL_SKEW)


def spells_by_month(spells: xr.Dataset, years: float, long_spell: float = LONG_SPELL) -> xr.DataArray:
    """Count the long dry spells that begin in each month.

    >>> import pandas as pd
    >>> from rainharvest.rainfall.climatology import dry_spells
    >>> days = pd.date_range("2001-01-01", "2001-12-31")
    >>> found = dry_spells(pd.Series(1.0 * (days.month != 7), days))
    >>> spells_by_month(found, 1.0).sel(calendar_month=[6, 7]).values
    array([0., 1.])
    """
    require(long_spell >= 1, f"a long spell from {long_spell:g} days", "give 1 or more", "long_spell")
    require(years > 0, "the record knows no day", "give a record with rain", "rain")
    begun = spells.spell_start.dt.month.values[spells.dry_spell.values >= long_spell]
    count = np.bincount(begun, minlength=13)[1:] / years
    months = along(calendar_month=np.arange(1, 13))
    return xr.DataArray(count, months, "calendar_month", attrs=attributes("spells_by_month"))


MEASURES = (
    "time_reliability",
    "volume_reliability",
    "failure_events",
    "resilience",
    "vulnerability",
    "vulnerability_share",
    "mean_shortfall",
    "largest_shortfall",
    "mean_failure",
)


def failure_measures(shortfall, demand) -> xr.Dataset:
    """Measure how often, how long and how badly a supply fails.

    With N days on which something is asked, of which a day fails when its shortfall passes 1e-9 of the demand:
    time reliability = days not failed / N; volume reliability = 1 - sum of shortfalls / sum of demand;
    resilience = failed days followed by a day that does not fail / failed days that any day follows;
    vulnerability = mean over the failure events of each event's largest daily shortfall, also as a share of a mean
    day's demand.

    Hashimoto, Stedinger and Loucks (1982), Water Resources Research 18(1):14-20; the estimators as McMahon,
    Adeloye and Zhou (2006) give them, from memory. A day without demand neither fails nor ends a
    failure, as in the daily balance. The last day of the record has no day after it: a failure that it cuts
    is not counted as unrecovered.

    >>> found = failure_measures([0, 0, 2, 4, 0, 0, 3, 0, 0, 0], 10.0)
    >>> float(found.time_reliability), round(float(found.resilience), 3), float(found.vulnerability)
    (0.7, 0.667, 3.5)
    """
    time = common_time(shortfall=shortfall, demand=demand)
    both = {"shortfall": as_series("shortfall", shortfall, time), "demand": as_series("demand", demand, time)}
    for name, series in both.items():
        require((series.values >= 0).all(), "a day is below zero", "give litres a day, zero or more", name)
    short, demand = (series.transpose(..., "time") for series in xr.broadcast(*both.values()))
    rows = (series.values.reshape(-1, time.size) for series in (short, demand))
    table = np.array([_measure(*pair) for pair in zip(*rows, strict=True)]).T
    shape, dims = short.shape[:-1], short.dims[:-1]
    measures = {name: row.reshape(shape) for name, row in zip(MEASURES, table, strict=True)}
    return xr.Dataset(variables(dims, measures), {d: short[d] for d in dims if d in short.coords})


def _measure(short: np.ndarray, demand: np.ndarray) -> tuple[float, ...]:
    """Return the measures of one supply in the order of `MEASURES`."""
    failed = short > 1e-9 * demand
    total = demand.sum()
    used = demand > 0
    reliability = 1 - failed.sum() / max(used.sum(), 1), 1 - short.sum() / total if total > 0 else 1.0
    failing, lost = failed[used], short[used]
    first, last = runs(failing)
    if first.size == 0:
        return *reliability, 0.0, np.nan, np.nan, np.nan, np.nan, 0.0, np.nan
    followed = failing[:-1]
    ended = followed & ~failing[1:]
    resilience = ended.sum() / followed.sum() if followed.any() else np.nan
    worst = np.array([lost[a : b + 1].max() for a, b in zip(first, last, strict=True)])
    of_a_day = worst.mean() / demand[used].mean()
    severity = worst.mean(), of_a_day, lost[failing].mean(), lost.max()
    return *reliability, float(first.size), resilience, *severity, failing.sum() / first.size


@dataclass(frozen=True)
class Drawdown:
    """A stretch between two overflows of the tank."""

    begins: int  # Place of its first day in the record
    ends: int  # Place of its last day
    from_overflow: bool  # Whether it begins after an overflow; if not, the record cuts it
    to_overflow: bool  # Whether it ends before one
    unsupplied: float  # [L] Demand not supplied within it
    days_short: int  # [day] Days on which something was short
    first_short: int  # [day] Days from its beginning to the first such day; -1 where none was short
    longest_short: int  # [day] The most of them on end, days without demand passed over
    recovery: int  # [day] Days from the last short day to its end; -1 where none was short
    lowest: float  # [L] Least water stored


def worst_drawdown(daily: xr.Dataset, demand) -> Drawdown:
    """Return the stretch between overflows that left most unsupplied; the lowest where nothing was short.

    >>> from rainharvest import simulate
    >>> done = simulate([30, 0, 0, 0, 30, 0], 10.0, 20.0, start=20.0, trace=True).isel(capacity=0)
    >>> found = worst_drawdown(done, [10.0] * 6)
    >>> found.begins, found.ends, found.days_short
    (1, 3, 2)
    """
    dims, short, stored = daily.stored.dims, daily.unmet_daily.values, daily.stored.values
    require(dims == ("time",), f"the trace has dimensions {dims}", "choose one tank", "daily")
    demand = np.asarray(demand, dtype=float)
    require(demand.shape == short.shape, f"{demand.size} days of demand", f"give {short.size}", "demand")
    begins, ends = runs(daily.spilled_daily.values <= 0)
    full = "the tank overflows on every day"
    require(begins.size, full, "give a larger tank or a larger demand", "daily")
    total = np.concatenate([[0.0], np.cumsum(short)])
    lost = total[ends + 1] - total[begins]
    lowest = np.array([stored[a : b + 1].min() for a, b in zip(begins, ends, strict=True)])
    worst = int(np.argmax(lost)) if lost.max() > 0 else int(np.argmin(lowest))
    first, last = int(begins[worst]), int(ends[worst])
    part = slice(first, last + 1)
    failed = short[part] > 1e-9 * demand[part]
    where = np.flatnonzero(failed).tolist()
    on_end = zip(*runs(failed[demand[part] > 0]), strict=True)
    return Drawdown(
        begins=first,
        ends=last,
        from_overflow=first > 0,
        to_overflow=last < short.size - 1,
        unsupplied=float(short[part].sum()),
        days_short=len(where),
        first_short=where[0] if where else -1,
        longest_short=max((int(b - a + 1) for a, b in on_end), default=0),
        recovery=last - first - where[-1] + 1 if where else -1,
        lowest=float(lowest[worst]),
    )


def normal_year(year_rain: xr.DataArray) -> int:
    """Return the year whose rain is nearest to the middle one.

    >>> normal_year(xr.DataArray([300.0, 500.0, 900.0], {"year": [2001, 2002, 2003]}, "year"))
    2002
    """
    known = year_rain.dropna("year")
    require(known.size, "no year's rain is known", "give a longer record", "year_rain")
    off = abs(known - known.median())
    return int(known.year.values[int(off.values.argmin())])
