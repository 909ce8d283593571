"""Climates in a few numbers: what they are, which go with an outcome, which are alike."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
import xarray as xr

from rainharvest.core.defaults import Default, rows_of
from rainharvest.core.errors import require
from rainharvest.core.quantities import attributes
from rainharvest.rainfall.calendars import SHORT, native_months

WET_DAY = Default(1.0, "mm/day", "WMO practice for counts of wet days", "from memory", 0.1, 1.0)

MONTH_DAYS = np.array([31, 28.25, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])

NAMES = rows_of("climates", "results")["statistics"]

STATISTICS = tuple(NAMES["measured"])

MOST = 4000

"""Places that are grouped directly; of more, so many evenly chosen ones, and the rest go to the nearest group."""


def statistics_of(
    rain: np.ndarray, days: pd.DatetimeIndex, wet_day: float = WET_DAY.value, calendar: str = "standard"
) -> np.ndarray:
    """Return the statistics of rain on place and day that is known throughout, a row for each of `STATISTICS`.

    A storm is a run of wet days; a dry spell is a run of days that are not wet, one that touches an end of the
    record included. Seasonality is the index of Walsh and Lawler (1981), sum over months of
    |mean rain of the month - mean rain of the year / 12| over the mean rain of the year: near 0 for even rain,
    11/6 for rain in one month; the months are those of the calendar in which the rain was made. The variation is that
    of the whole calendar years.

    >>> days = pd.date_range("2001-01-01", "2001-12-31")
    >>> found = statistics_of(np.where(days.month == 7, 10.0, 0.0)[None], days)
    >>> dict(zip(STATISTICS, found[:, 0].round(2).tolist()))["seasonality"]
    1.83
    """
    month, month_days = months_of(days, calendar)
    total, wet = rain.sum(axis=1), rain >= wet_day
    turns = wet[:, 1:] != wet[:, :-1]
    storms = (turns & wet[:, 1:]).sum(axis=1) + wet[:, 0]
    spells = (turns & ~wet[:, 1:]).sum(axis=1) + ~wet[:, 0]
    wet_days, order = wet.sum(axis=1), np.argsort(month, kind="stable")
    own, first, length = np.unique(month[order], return_index=True, return_counts=True)
    # contiguous, so that the sums of a place have the same bits beside others as alone
    by_month = np.ascontiguousarray(
        np.add.reduceat(np.ascontiguousarray(rain[:, order]), first, axis=1)[:, own < 12]
    )
    by_month *= month_days[own[own < 12]] / length[own < 12]
    of_months = by_month.sum(axis=1, keepdims=True)
    year, first, length = np.unique(days.year, return_index=True, return_counts=True)
    whole = length == np.where(pd.to_datetime(year, format="%Y").is_leap_year, 366, 365)
    by_year = np.ascontiguousarray(np.add.reduceat(rain, first, axis=1)[:, whole])
    found = (
        total / rain.shape[1] * 365.25,
        wet_days / rain.shape[1],
        _ratio(np.where(wet, rain, 0.0).sum(axis=1), storms),
        _ratio(rain.shape[1] - wet_days, spells),
        _ratio(np.abs(by_month - of_months / 12).sum(axis=1), of_months[:, 0]),
        _ratio(by_year.std(axis=1, ddof=1), by_year.mean(axis=1), np.nan)
        if whole.sum() > 1
        else np.full(len(rain), np.nan),
    )
    return np.stack(found)


def _ratio(part: np.ndarray, whole: np.ndarray, otherwise: float = 0.0) -> np.ndarray:
    """Return ratios; another value where the whole is zero."""
    return np.divide(part, whole, out=np.full(len(part), otherwise), where=whole > 0)


def months_of(days: pd.DatetimeIndex, calendar: str) -> tuple[np.ndarray, np.ndarray]:
    """Return the month of each day in a calendar, from 0, and 12 where it lacks the day; and the months' lengths."""
    if calendar in SHORT:
        return native_months(days, calendar)
    return (days.month.to_numpy() - 1).astype(np.int64), MONTH_DAYS


def explain(
    outcome: xr.DataArray, climate: xr.Dataset, statistics: Sequence[str] = NAMES["explaining"]
) -> xr.Dataset:
    """Return how an outcome goes with each statistic of the climate over the places.

    ``rank_correlation`` is Spearman's. ``rank_slope`` is that of a regression of the outcome's ranks on the ranks
    of all statistics at once, standardised; ``explained`` is the share of variance that it explains, and
    ``explained_without`` the same with one statistic left out: a statistic whose leaving out costs nothing tells
    nothing that the others do not. ``between`` holds the rank correlations among the statistics.

    No chance of error is given: neighbouring places share their weather, so that a grid has far fewer independent
    places than cells, and a correlation over places does not say what would change if a statistic did.

    Parameters
    ----------
    outcome : DataArray
        One value a place.
    climate : Dataset
        The statistics at the same places.
    statistics : list of str
        Which of them.

    Returns
    -------
    Dataset
        On ``statistic``; attribute ``places``: how many entered.

    Raises
    ------
    InputError
        If fewer than five places are known, or the outcome is the same everywhere.

    Examples
    --------
    >>> x = xr.DataArray([1.0, 2.0, 3.0, 4.0, 5.0, 6.0], dims="site")
    >>> found = explain(x**2, xr.Dataset({"mean_storm": x, "seasonality": -x % 3}), ["mean_storm", "seasonality"])
    >>> found.rank_correlation.round(2).values, float(found.explained)
    (array([ 1.  , -0.48]), 1.0)
    """
    from scipy.stats import rankdata

    names = list(statistics)
    columns = np.stack([climate[name].transpose(*outcome.dims).values.ravel() for name in names])
    values = outcome.values.ravel().astype(float)
    known = np.isfinite(values) & np.isfinite(columns).all(axis=0)
    places, least = int(known.sum()), len(names) + 2
    require(places >= least, f"only {places} places are known", f"give at least {least}", "outcome")
    require(
        np.ptp(values[known]), "the outcome is the same everywhere", "there is nothing to explain", "outcome"
    )
    ranks = np.stack([rankdata(row[known]) for row in (values, *columns)])
    ranks -= ranks.mean(axis=1, keepdims=True)
    spread = ranks.std(axis=1, keepdims=True)
    ranks = np.divide(ranks, spread, out=np.zeros_like(ranks), where=spread > 0)
    between = ranks @ ranks.T / places  # Spearman's: that of Pearson for ranks
    rho = np.where(spread[1:, 0] > 0, between[0, 1:], np.nan)
    slopes, explained = _regression(ranks[0], ranks[1:])
    without = [_regression(ranks[0], np.delete(ranks[1:], k, axis=0))[1] for k in range(len(names))]
    out = xr.Dataset(
        {
            "rank_correlation": ("statistic", rho, attributes("rank_correlation")),
            "rank_slope": ("statistic", slopes, attributes("rank_slope")),
            "explained": ((), explained, attributes("explained")),
            "explained_without": ("statistic", without, attributes("explained")),
            "between": (("statistic", "other"), between[1:, 1:], attributes("rank_correlation")),
        },
        {"statistic": names, "other": names},
    )
    out.attrs = {"places": places, "outcome": str(outcome.name or "")}
    return out


def _regression(ranks: np.ndarray, on: np.ndarray) -> tuple[np.ndarray, float]:
    """Return the slopes of standardised ranks on others, and the share explained."""
    from scipy.linalg import lstsq

    if not on.shape[0]:
        return np.empty(0), 0.0
    slopes = lstsq(on.T, ranks)[0]
    return slopes, float(1 - ((ranks - slopes @ on) ** 2).sum() / (ranks**2).sum())


def group_climates(
    climate: xr.Dataset, groups: int = 4, statistics: Sequence[str] = NAMES["grouping"]
) -> xr.DataArray:
    """Return the number of each place's group of places whose climates are alike, the wettest group first.

    The statistics are standardised over the places; groups grow from the bottom up by Ward's criterion: at each step
    the two whose union adds least to the spread within groups. The number of groups is the reader's choice;
    climates change gradually, so that a border between two groups is where the method cut, and no wall.

    >>> rain = xr.DataArray([1400.0, 1380.0, 300.0, 310.0], dims="site")
    >>> group_climates(xr.Dataset({"rain_year": rain}), 2, ["rain_year"]).values
    array([1., 1., 2., 2.])
    """
    from scipy.cluster.hierarchy import fcluster, linkage
    from scipy.stats import rankdata

    names = list(statistics)
    first = climate["rain_year" if "rain_year" in climate else names[0]]
    columns = np.stack([climate[name].transpose(*first.dims).values.ravel() for name in names], axis=1)
    known = np.flatnonzero(np.isfinite(columns).all(axis=1))
    said = f"{groups} groups of {known.size} places"
    require(1 <= groups <= known.size, said, "ask for fewer groups", "groups")
    mean, spread = columns[known].mean(axis=0), columns[known].std(axis=0)
    scaled = (columns[known] - mean) / np.where(spread > 0, spread, 1.0)
    chosen = np.unique(np.linspace(0, known.size - 1, min(known.size, MOST)).astype(int))
    alone = chosen.size == 1
    of_chosen = np.array([1]) if alone else fcluster(linkage(scaled[chosen], "ward"), groups, "maxclust")
    labels = np.unique(of_chosen)
    middles = np.stack([scaled[chosen][of_chosen == k].mean(axis=0) for k in labels])
    nearest = ((scaled[:, None] - middles[None]) ** 2).sum(axis=2).argmin(axis=1)
    nearest[chosen] = np.searchsorted(labels, of_chosen)
    means = [first.values.ravel()[known][nearest == k].mean() for k in range(labels.size)]
    out = np.full(first.size, np.nan)
    out[known] = rankdata(-np.array(means), "ordinal")[nearest]
    coords = {n: c.variable for n, c in first.coords.items() if set(c.dims) <= set(first.dims)}
    return xr.DataArray(out.reshape(first.shape), coords, first.dims, "group", attributes("group"))


def band_of_years(
    yields: xr.DataArray,
    other: xr.DataArray | None = None,
    *,
    share: float = 0.9,
    draws: int = 2000,
    seed: int = 0,
) -> xr.Dataset:
    """Return the mean of yearly values with a band from the years, drawn anew with replacement (bootstrap).

    Parameters
    ----------
    yields : DataArray
        Yearly values on ``year`` and any further dimension: ``yield_by_year`` of `rainharvest.simulate`, say, of its
        whole years.
    other : DataArray, optional
        Yearly values to set against them, on the same years: the band is then that of ``yields - other``, with the
        same years drawn for both, so that what a dry year does to both cancels out.
    share : float [1]
        Share of the draws within the band.
    draws : int [1]
        How many times the years are drawn.
    seed : int [1]
        Makes the draws repeatable.

    Returns
    -------
    Dataset
        ``middle``, the mean of the years; ``low`` and ``high``.

    Raises
    ------
    InputError
        If the years differ, fewer than two are given, or a value is missing.

    Notes
    -----
    Years are drawn one by one: where they remember one another, the band is too narrow.

    Examples
    --------
    >>> dry = xr.DataArray([50.0, 60.0, 40.0, 55.0], {"year": [2001, 2002, 2003, 2004]}, ("year",))
    >>> band = band_of_years(dry, dry - 2.0)
    >>> float(band.low), float(band.middle), float(band.high)
    (2.0, 2.0, 2.0)
    """
    years = yields.sizes["year"]
    if other is not None:
        alike = yields.indexes["year"].equals(other.indexes["year"])
        require(alike, "the two are not of the same years", "give both the same years", "other")
        yields = yields - other
    require(years > 1, f"{years} years give no band", "give at least two years", "yields")
    require(bool(yields.notnull().all()), "a year has no value", "leave it out of both", "yields")
    require(0 < share < 1, f"{share!r} is no share", "give a share between 0 and 1", "share")
    drawn = np.random.default_rng(seed).multinomial(years, np.full(years, 1 / years), draws) / years
    means = xr.DataArray(drawn, dims=("draw", "year")).dot(yields.drop_vars("year"), dim="year")
    low, high = (means.quantile(q, "draw").drop_vars("quantile") for q in ((1 - share) / 2, (1 + share) / 2))
    return xr.Dataset({"middle": yields.mean("year"), "low": low, "high": high}, attrs={"share": share})


def classes_at(results: xr.Dataset, classes: xr.DataArray) -> xr.DataArray:
    """Return the class of each place from a map of classes, joined on latitude and longitude.

    Parameters
    ----------
    results : Dataset
        As `rainharvest.over_cells`, with ``latitude`` and ``longitude``.
    classes : DataArray
        A map (of climates, soils, districts ...) on ``latitude`` and ``longitude``, or ``lat`` and ``lon``, evenly
        spaced; of numbers or words.

    Returns
    -------
    DataArray
        The class of the cell of the map in which each place lies; missing outside the map. ``results.groupby`` of it
        gives the results by class.

    Raises
    ------
    InputError
        If either has no latitude and longitude.

    Examples
    --------
    >>> classes = xr.DataArray([["Cs", "BS"]], {"lat": [40.0], "lon": [350.0, 355.0]}, ("lat", "lon"))
    >>> at = {"latitude": ("site", [41.0, 39.0, 10.0]), "longitude": ("site", [-9.0, -4.0, -4.0])}
    >>> classes_at(xr.Dataset(coords=at), classes).values
    array(['Cs', 'BS', nan], dtype=object)
    """
    given = {"lat": "latitude", "lon": "longitude"}
    classes = classes.rename({name: full for name, full in given.items() if name in classes.dims})
    for one, name in ((results, "results"), (classes, "classes")):
        known = {"latitude", "longitude"} <= set(one.coords)
        require(known, "there is no latitude and longitude", "name its coordinates so", name)
    half = {
        n: float(np.abs(np.diff(classes[n])).max()) / 2 if classes.sizes[n] > 1 else np.nan
        for n in given.values()
    }
    half = {n: np.nanmax(list(half.values())) if np.isnan(value) else value for n, value in half.items()}
    west = float(classes.longitude.min()) - half["longitude"]
    lat, lon = results.latitude.variable, results.longitude.variable
    turned = (lon - west) % 360 + west
    found = classes.sel(
        latitude=lat.to_base_variable(), longitude=turned.to_base_variable(), method="nearest"
    )
    far = [
        np.abs(found[name].variable.to_base_variable() - own) > half[name]
        for name, own in (("latitude", lat), ("longitude", turned))
    ]
    coords = {"latitude": results.latitude, "longitude": results.longitude}
    values = found.variable.to_base_variable().where(~(far[0] | far[1]))
    return xr.DataArray(values, coords, name="class")
