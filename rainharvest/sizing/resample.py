"""Other records that could have been: years drawn anew, the memory of years, the length of a record."""

from __future__ import annotations

from functools import lru_cache
from typing import NamedTuple

import numpy as np
import xarray as xr

from rainharvest.core.defaults import Default, defaults_of
from rainharvest.core.errors import require
from rainharvest.core.quantities import attributes
from rainharvest.sizing.trade_off import along_sizes, whole_years
from rainharvest.storage.simulate import simulate, year_edges

LEAST_YEARS = 2

"""Fewest whole years that differ: from one alone no spread can be told."""


CARRIED = tuple(round(0.05 + 0.1 * k, 2) for k in range(10))

"""Correlations of the slow part of a year with the next, tried with equal weight."""


SLOW = tuple(round(0.2 * k, 1) for k in range(6))

"""Shares of the slow part in the variance of a year, tried with equal weight; 0 is no memory at all."""


def long_run_means(yearly, count: int, rng: np.random.Generator) -> np.ndarray:
    """Draw long-run means that could have given the record's years.

    A year's value is taken as the long-run mean and a slow part, correlated with the next year's by phi,
    and a part of its own: normal values whose correlation k years apart is s phi^k (1 at k = 0). Thirty
    years cannot tell phi and s, so neither is estimated: every pair of a grid (`CARRIED`, `SLOW`) counts
    by how well it fits the record. Given phi and s, the long-run mean is Student's t about the generalised
    mean of the years, with a degree of freedom fewer than years.

    The usual Bayesian answer to a mean with unknown correlation: flat in the mean, in the logarithm of the
    spread and over the grid. Ordinary resampling takes the record's own correlation, which in thirty years
    comes out too small, and so tells a band that is too narrow; `tests/sizing` measures both on invented
    climates of which the long run is known. Limits: one slow part only, and the future like the past.

    >>> years = [610.0, 540, 700, 650, 480, 500, 620, 590, 610, 560]
    >>> drawn = long_run_means(years, 2000, np.random.default_rng(1))
    >>> bool(abs(np.median(drawn) - np.mean(years)) < 10), bool(np.std(drawn) > np.std(years) / 10**0.5)
    (True, True)
    """
    from scipy.special import stdtrit

    years = np.asarray(yearly, dtype=float)
    which, chance = rng.random(count), np.clip(rng.random(count), 1e-12, 1 - 1e-12)
    spread = float(np.std(years))
    if spread <= 1e-12 * float(np.abs(years).max()):
        return np.full(count, years.mean())
    inverse, log_det, total = _grid(years.size)
    scaled = (years - years.mean()) / spread
    middle = inverse.dot(scaled).sum(axis=1) / total
    left = scaled - middle[:, None]
    squares = np.einsum("gi,gij,gj->g", left, inverse, left)
    fit = -0.5 * log_det - 0.5 * np.log(total) - 0.5 * (years.size - 1) * np.log(squares)
    weight = np.cumsum(np.exp(fit - fit.max()))
    pair = np.minimum(np.searchsorted(weight, which * weight[-1]), weight.size - 1)
    scale = np.sqrt(squares / ((years.size - 1) * total))
    return years.mean() + spread * (middle[pair] + scale[pair] * stdtrit(years.size - 1, chance))


ENOUGH_YEARS, SHORT_OF_THEM = 30, 50

"""From so many years on long-run means spread as drawn; each year fewer widens them by a fiftieth (own choice)."""


def widening(years: int) -> float:
    """Return by how much the spread of long-run means is widened for a record of few years.

    Fewer than thirty years know neither how far years lie apart nor the driest that may come: measured on three
    invented climates, 220 samples each, bands from fifteen years held the truth in 86 to 91 of 100 without and in 90
    to 93 with this (`tests/sizing/test_band_covers.py`).

    >>> widening(15), widening(45)
    (1.3, 1.0)
    """
    return 1.0 + max(0, ENOUGH_YEARS - years) / SHORT_OF_THEM


@lru_cache(maxsize=8)
def _grid(years: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return, for each pair of the grid, the inverse correlation, its log determinant and its sum."""
    apart = np.abs(np.subtract.outer(np.arange(years), np.arange(years)))
    all_of = np.array([(1 - s) * np.eye(years) + s * phi**apart for phi in CARRIED for s in SLOW])
    inverse = np.linalg.inv(all_of)
    return inverse, np.linalg.slogdet(all_of)[1], inverse.sum(axis=(1, 2))


def tilted_chances(values, wanted) -> np.ndarray:
    """Return chances of drawing each value so that the mean drawn is the one wanted.

    Of all such chances, those nearest to equal ones: p proportional to exp(lambda value), lambda solved
    for each mean wanted (exponential tilting).

    >>> tilted_chances([1.0, 2.0, 3.0], [2.0, 2.5]).round(3)
    array([[0.333, 0.333, 0.333],
           [0.116, 0.268, 0.616]])
    """
    values, wanted = np.asarray(values, dtype=float), np.atleast_1d(np.asarray(wanted, dtype=float))
    low, high = values.min(), values.max()
    spread = values.std()
    if not spread > 1e-12 * max(abs(low), abs(high)):
        return np.full((wanted.size, values.size), 1.0 / values.size)
    margin = 0.02 * (high - low)
    scaled = (values - values.mean()) / spread
    goal = (np.clip(wanted, low + margin, high - margin) - values.mean()) / spread
    below, above = np.full(wanted.size, -200.0), np.full(wanted.size, 200.0)
    for _ in range(60):
        middle = (below + above) / 2
        power = middle[:, None] * scaled
        chance = np.exp(power - power.max(axis=1, keepdims=True))
        chance /= chance.sum(axis=1, keepdims=True)
        short = (chance * scaled).sum(axis=1) < goal
        below, above = np.where(short, middle, below), np.where(short, above, middle)
    return chance


DEFAULTS = defaults_of("sizing")
BLOCK_YEARS = DEFAULTS["block_years"]


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

    With ``yearly``, each draw also has its own long-run mean: `rainharvest.sizing.resample.long_run_means`
    says what the record leaves possible, and the chances of the blocks are tilted towards wetter or drier
    ones to match. Only what resampling alone leaves out is added, so that the spread of the draws is that
    of the long run.

    >>> days = np.arange("2001-01-01", "2010-01-01", dtype="datetime64[D]")
    >>> draws = year_draws(days, count=2, block_years=2, seed=3)
    >>> dict(draws.sizes), bool((draws.diff("time") == 1).mean() > 0.99)
    ({'draw': 2, 'time': 3287}, True)
    """
    labels, first, last, starts = _span(time, year_start_month)
    years = starts.size
    enough = years >= LEAST_YEARS
    require(enough, f"the record has {years} whole years", f"give {LEAST_YEARS} or more to draw from", "rain")
    block_years = min(block_years, years)
    blocks = -(-years // block_years)
    rng = np.random.default_rng(seed)
    chance = np.full((count, years), 1.0 / years)
    if yearly is not None:
        chance = _chances(yearly, block_years, blocks, count, rng)
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


def _span(time, year_start_month: int):
    """Return the days, where the whole years begin and end among them, and the first day of each."""
    labels = time["time"].values if isinstance(time, xr.DataArray) else np.asarray(time)
    edges, _, days_in_year = year_edges(xr.DataArray(labels, dims="time", name="time"), year_start_month)
    whole = whole_years(days_in_year)
    if not whole.size:
        return labels, 0, 0, edges[:0]
    return labels, int(edges[whole[0]]), int(edges[whole[-1] + 1]), edges[whole]


def _chances(values: np.ndarray, block_years: int, blocks: int, count: int, rng) -> np.ndarray:
    """Return the chance of each block in each draw, so that the draws spread as the long run may."""
    means = values.mean() + widening(values.size) * (long_run_means(values, count, rng) - values.mean())
    around = np.arange(values.size)[:, None] + np.arange(block_years)
    of_block = values[around % values.size].mean(axis=1)
    apart = means - values.mean()
    wanted, given = float(np.mean(apart**2)), float(of_block.var()) / blocks
    part = np.sqrt(max(0.0, 1.0 - given / wanted)) if wanted > 0 else 0.0
    return tilted_chances(of_block, values.mean() + part * apart)


def take_days(series: xr.DataArray, draws: xr.DataArray) -> xr.DataArray:
    """Return a series with the days of each draw.

    >>> days = np.arange("2001-01-01", "2010-01-01", dtype="datetime64[D]")
    >>> draws = year_draws(days, count=2, seed=3)
    >>> dict(take_days(xr.DataArray(np.ones(len(days)), dims="time"), draws).sizes)
    {'draw': 2, 'time': 3287}
    """
    turned = series.transpose(..., "time")
    values = np.moveaxis(np.take(turned.values, draws.values, axis=-1), -2, 0)
    coords = {d: turned.coords[d].variable for d in turned.dims[:-1] if d in turned.coords}
    coords |= {"draw": draws["draw"].variable, "time": draws["time"].variable}
    return xr.DataArray(values, coords, ("draw", *turned.dims), series.name, series.attrs)


class RecordLength(NamedTuple):
    """How far a record carries a decision."""

    years: float  # [year] Length of the record used
    level: str  # "indicative", "screening", "fair" or "full"
    wanted: Default  # The next length that guidance asks for; for a full record, the one that it meets
    short: bool  # Whether the record is shorter than guidance asks for


def record_length(years: float) -> RecordLength:
    """Say how far a record of this length carries a decision.

    >>> record_length(12.5).level, record_length(12.5).wanted.value, record_length(41).short
    ('screening', 20.0, False)
    """
    for level, wanted in DEFAULTS["record"].items():
        if years < wanted.value:
            return RecordLength(years, level, wanted, True)
    return RecordLength(years, "full", wanted, False)


TANKS_OF_DAYS = (5.0, 20.0, 80.0)

"""The tanks by whose yearly yields years are called dry or wet, in days of mean demand (own choice).

Small tanks feel how often it rains, large ones how much: with one middling tank the band of the smallest
and the largest came out too narrow (measured as in `tests/sizing/test_band_covers.py`)."""


def wet_and_dry_years(
    time: xr.DataArray, inflow: np.ndarray, mean_demand: float, year_start_month: int
) -> np.ndarray:
    """Return how wet each whole year was to three tanks: their yields, each made standard, in the mean.

    >>> days = xr.DataArray(np.arange(3 * 365), dims="time")
    >>> wet = np.repeat([10.0, 30.0, 20.0], 365)
    >>> wet_and_dry_years(days, wet, 40.0, 1).round(2)
    array([-1.18,  1.26, -0.09])
    """
    require(mean_demand > 0, "nothing is asked of the tank", "give a demand above zero", "demand")
    sizes = np.array(TANKS_OF_DAYS) * mean_demand
    half = along_sizes(sizes) / 2
    flow = xr.DataArray(inflow, {"time": time.variable}, ("time",))
    done = simulate(flow, mean_demand, sizes, start=half, year_start_month=year_start_month)
    whole = whole_years(done.days_in_year.values)
    if whole.size < LEAST_YEARS:
        return np.zeros(whole.size)
    yearly = (done.yield_by_year / done.days_in_year).values[:, whole]
    apart, spread = yearly - yearly.mean(axis=1, keepdims=True), yearly.std(axis=1, keepdims=True)
    return np.divide(apart, spread, out=np.zeros_like(apart), where=spread > 1e-9 * mean_demand).mean(axis=0)
