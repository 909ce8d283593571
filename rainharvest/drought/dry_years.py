"""Dry years found three ways, and the driest runs of years with their return period."""

from __future__ import annotations

import numpy as np
import xarray as xr

from rainharvest.drought.defaults import DRY_SHARE, INDEX_MONTHS
from rainharvest.errors import InputError
from rainharvest.names import attributes
from rainharvest.rainfall.spi import standardised_precipitation_index
from rainharvest.rainfall.totals import period_totals
from rainharvest.storage.settings import year_edges

SPANS = (1, 2, 3)  # [year]
DRAWS = 4000
MEMORY = 0.2  # below this, the correlation of following years is not told from chance in most records


def dry_years(
    rain,
    shortfall,
    *,
    year_start_month: int = 1,
    scale: int = int(INDEX_MONTHS.value),
    dry_share: float = DRY_SHARE.value,
    index: xr.DataArray | None = None,
) -> xr.Dataset:
    """Find the dry years by rain, by the precipitation index and by what this tank could not supply.

    Each way calls the same number of whole hydrological years dry, dry_share x years rounded, at least one:
    those with the least rain; those that reached the lowest index within the year; those with the largest
    shortfall. A year without shortfall is never dry by the tank.

    Parameters
    ----------
    rain : DataArray or Series [mm/day]
        One daily record without gaps.
    shortfall : DataArray or Series [L/day]
        Water asked for and not supplied on the same days.
    year_start_month : int [1]
        First month of the hydrological year.
    scale : int [1]
        Months of the precipitation index.
    dry_share : float [1]
        Share of the years that are called dry.
    index : DataArray [1], optional
        What `monthly_index` gave, where many years are found on one record.

    Returns
    -------
    Dataset
        On ``year``, whole years only: ``year_rain`` [mm], ``lowest_spi`` [1], ``year_short`` [L], and
        ``dry_by_rain``, ``dry_by_index``, ``dry_by_tank``.

    Raises
    ------
    InputError
        If there is no whole year, the days differ, or the share is not between 0 and 1.

    Notes
    -----
    The three disagree, and should: a total says nothing of the season in which rain failed, an index nothing
    of the tank. The index is that of `rainharvest.rainfall.spi`.

    Examples
    --------
    >>> from rainharvest.rainfall.invented import invent_rain
    >>> rain = invent_rain("winter_rain", 12, seed=1).isel(site=0, drop=True)
    >>> found = dry_years(rain, xr.zeros_like(rain), year_start_month=3)
    >>> int(found.dry_by_rain.sum()), int(found.dry_by_tank.sum())
    (2, 0)
    """
    if not 0 < dry_share < 1:
        raise InputError(f"a share of {dry_share:g}", "give one between 0 and 1", "dry_share")
    totals = period_totals(rain, 12, year_start_month)
    index = monthly_index(rain, scale) if index is None else index
    short = shortfall if isinstance(shortfall, xr.DataArray) else shortfall.rename_axis("time").to_xarray()
    same = rain.indexes["time"] if isinstance(rain, xr.DataArray) else rain.index
    if not short.indexes["time"].equals(same):
        raise InputError("rain and shortfall cover different days", "cut both to the same days", "shortfall")
    edges, year, _ = year_edges(short.time, year_start_month)
    lost = np.add.reduceat(short.values, edges[:-1])
    whole = totals.known_share.values == 1
    if not whole.any():
        raise InputError("no hydrological year is whole", "give a longer record", "rain")
    of_year = (index.month.dt.year - (index.month.dt.month < year_start_month)).values
    lowest = np.array([_lowest(index.values[of_year == y]) for y in year])
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
    found = xr.Dataset(
        {name: ("year", values, attributes(name)) for name, values in out.items()},
        coords={"year": ("year", year[whole], attributes("year"))},
    )
    return found.assign_attrs(
        year_start_month=int(year_start_month), index_months=int(scale), dry_share=float(dry_share)
    )


def monthly_index(rain, scale: int = int(INDEX_MONTHS.value)) -> xr.DataArray:
    """Return the precipitation index of each month of a record.

    Parameters
    ----------
    rain : DataArray or Series [mm/day]
        One daily record.
    scale : int [1]
        Months of the index.

    Returns
    -------
    DataArray [1]
        On ``month``, as `rainharvest.rainfall.spi.standardised_precipitation_index`.
    """
    months = period_totals(rain, 1)
    total = xr.DataArray(months.total.values, {"month": months.time.values}, "month")
    return standardised_precipitation_index(total, scale)


def _lowest(values: np.ndarray) -> float:
    known = values[~np.isnan(values)]
    return float(known.min()) if known.size else np.nan


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
    if known.size < 10:
        raise InputError(f"{known.size} yearly totals are known", "give 10 or more", "year_rain")
    if not known.std() > 0:
        raise InputError("every year has the same rain", "give a record of rain as it fell", "year_rain")
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
        if not 1 <= span <= total.size:
            raise InputError(f"a run of {span} years", f"give 1 to {total.size}", "spans")
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
    table = np.array(rows, dtype=float).T
    out = {name: ("span", values, attributes(name)) for name, values in zip(columns, table, strict=True)}
    out["year_correlation"] = ((), float(link), attributes("year_correlation"))
    return xr.Dataset(out, coords={"span": ("span", np.asarray(spans), attributes("span"))})
