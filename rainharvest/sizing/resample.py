"""Other records that could have been: years of the record drawn anew, in blocks that keep droughts whole."""

from __future__ import annotations

import numpy as np
import pandas as pd
import xarray as xr

from rainharvest.errors import InputError
from rainharvest.names import attributes
from rainharvest.sizing.memory import LEAST_YEARS, long_run_means, tilted_chances
from rainharvest.sources import Default
from rainharvest.storage.settings import year_edges

BLOCK_YEARS = Default(
    3.0,
    "year",
    "own choice: keeps a drought of three years whole and still gives ten blocks in thirty years; blocks of "
    "1 to 5 years covered alike on invented climates, because what lasts longer is added apart",
    "own choice",
    1.0,
    5.0,
)
"""Years in a row that are drawn together."""


def year_draws(
    time,
    *,
    count: int,
    block_years: int = int(BLOCK_YEARS.value),
    seed: int = 0,
    year_start_month: int = 1,
    yearly=None,
) -> xr.DataArray:
    """Draw hydrological years, in blocks, and say which day of the record stands on each day.

    The calendar stays as it is: each draw covers the record's whole hydrological years, day by day, and
    says from which day its weather comes. What follows from the weather (inflow, garden demand) is taken
    from there with `take_days`; what follows from the calendar (weekends, terms, growth) is not touched. A
    block begins on the first day of any whole year and goes on through the days that followed; after the
    last year comes the first, so that every year has the same chance (circular block bootstrap, Politis
    and Romano 1992, from memory). A block placed over one leap day more or fewer than it had ends a day
    later or earlier in the record; the season shifts by no more than that, and no day is invented.

    With ``yearly``, each draw also has its own long-run mean: `rainharvest.sizing.memory.long_run_means`
    says what the record leaves possible, and the chances of the blocks are tilted towards wetter or drier
    ones to match. Only what resampling alone leaves out is added, so that the spread of the draws is that
    of the long run.

    Parameters
    ----------
    time : DatetimeIndex, Series or DataArray
        The days of the record, or a series on them.
    count : int [1]
        How many draws.
    block_years : int [year]
        Years drawn together.
    seed : int [1]
        The same seed gives the same draws.
    year_start_month : int [1]
        First month of the hydrological year.
    yearly : array_like, optional
        One value a whole year that the response follows, such as the yearly yield of a middling tank.

    Returns
    -------
    DataArray
        (draw, time): positions in ``time``, on the days of the whole years.

    Raises
    ------
    InputError
        If the record has fewer than 2 whole years, or a number is out of range.

    Examples
    --------
    >>> days = pd.date_range("2001-01-01", "2009-12-31")
    >>> draws = year_draws(days, count=2, block_years=2, seed=3)
    >>> dict(draws.sizes), bool((draws.diff("time") == 1).mean() > 0.99)
    ({'draw': 2, 'time': 3287}, True)
    """
    for name, value in (("count", count), ("block_years", block_years)):
        if int(value) != value or value < 1:
            raise InputError(f"{value!r} is not possible", "give a whole number of 1 or more", name)
    labels, first, last, starts = _span(time, year_start_month)
    years = starts.size
    if years < LEAST_YEARS:
        raise InputError(
            f"the record has {years} whole years", f"give {LEAST_YEARS} or more to draw from", "rain"
        )
    block_years = min(int(block_years), years)
    blocks = -(-years // block_years)
    rng = np.random.default_rng(seed)
    chance = np.full((count, years), 1.0 / years)
    if yearly is not None:
        values = np.asarray(yearly, dtype=float)
        if values.shape != (years,):
            raise InputError(
                f"{values.size} yearly values for {years} whole years", "give one a year", "yearly"
            )
        chance = _chances(values, block_years, blocks, count, rng)
    uniform = rng.random((count, blocks))
    reached = np.cumsum(chance, axis=1)
    drawn = np.array(
        [np.searchsorted(r, u * r[-1], side="right") for r, u in zip(reached, uniform, strict=True)]
    )
    drawn = np.minimum(drawn, years - 1)
    days = last - first
    block_starts = starts[::block_years] - first
    length = np.diff(np.append(block_starts, days))
    within = np.arange(days) - np.repeat(block_starts, length)
    position = (np.repeat(starts[drawn] - first, length, axis=1) + within) % days + first
    return xr.DataArray(
        position.astype(np.int32),
        {"draw": ("draw", np.arange(count), attributes("draw")), "time": labels[first:last]},
        ("draw", "time"),
        "day_drawn",
        {"seed": seed, "block_years": block_years, "year_start_month": year_start_month},
    )


def whole_years(days_in_year: np.ndarray) -> np.ndarray:
    """Return which hydrological years the record covers from end to end.

    Parameters
    ----------
    days_in_year : ndarray [day]
        Days of each year within the record.

    Returns
    -------
    ndarray of int
        Their positions.

    Examples
    --------
    >>> whole_years(np.array([120, 365, 366, 40]))
    array([1, 2])
    """
    return np.flatnonzero(days_in_year >= 365)


def _span(time, year_start_month: int):
    """Return the days, where the whole years begin and end among them, and the first day of each."""
    if isinstance(time, pd.Series):
        time = time.index
    labels = time["time"].values if isinstance(time, xr.DataArray) else np.asarray(time)
    edges, _, days_in_year = year_edges(xr.DataArray(labels, dims="time", name="time"), year_start_month)
    whole = whole_years(days_in_year)
    if not whole.size:
        return labels, 0, 0, edges[:0]
    return labels, int(edges[whole[0]]), int(edges[whole[-1] + 1]), edges[whole]


def _chances(values: np.ndarray, block_years: int, blocks: int, count: int, rng) -> np.ndarray:
    """Return the chance of each block in each draw, so that the draws spread as the long run may."""
    means = long_run_means(values, count, rng)
    around = np.arange(values.size)[:, None] + np.arange(block_years)
    of_block = values[around % values.size].mean(axis=1)
    apart = means - values.mean()
    wanted, given = float(np.mean(apart**2)), float(of_block.var()) / blocks
    part = np.sqrt(max(0.0, 1.0 - given / wanted)) if wanted > 0 else 0.0
    return tilted_chances(of_block, values.mean() + part * apart)


def take_days(series: xr.DataArray | pd.Series, draws: xr.DataArray) -> xr.DataArray:
    """Return a series with the days of each draw.

    Parameters
    ----------
    series : DataArray or Series
        On the ``time`` that was drawn from; further dimensions are carried through.
    draws : DataArray
        What `year_draws` returned.

    Returns
    -------
    DataArray
        (draw, ..., time), on the calendar of the whole years.

    Raises
    ------
    InputError
        If a draw asks for a day that the series does not have.

    Examples
    --------
    >>> days = pd.date_range("2001-01-01", "2009-12-31")
    >>> draws = year_draws(days, count=2, seed=3)
    >>> dict(take_days(pd.Series(1.0, days), draws).sizes)
    {'draw': 2, 'time': 3287}
    """
    if isinstance(series, pd.Series):
        series = xr.DataArray(series.to_numpy(dtype=float), dims="time", name=series.name)
    turned = series.transpose(..., "time")
    if int(draws.max()) >= turned.sizes["time"]:
        raise InputError(
            f"the series has {turned.sizes['time']} days and the draws were made for more",
            "draw from the same days",
            "series",
        )
    values = np.moveaxis(np.take(turned.values, draws.values, axis=-1), -2, 0)
    coords = {d: turned.coords[d].variable for d in turned.dims[:-1] if d in turned.coords}
    coords |= {"draw": draws["draw"].variable, "time": draws["time"].variable}
    return xr.DataArray(values, coords, ("draw", *turned.dims), series.name, series.attrs)
