"""Resilience and vulnerability: how soon a failure ends, and how bad it gets."""

from __future__ import annotations

import numpy as np
import xarray as xr

from rainharvest.errors import InputError
from rainharvest.names import attributes
from rainharvest.rainfall.spells import runs
from rainharvest.storage.settings import as_series, common_time

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

    With N days, of which a day fails when its shortfall passes 1e-9 of what was asked: time reliability =
    days not failed / N; volume reliability = 1 - sum of shortfalls / sum of demand; resilience = failed days
    followed by a day that does not fail / failed days that any day follows; vulnerability = mean over the
    failure events of each event's largest daily shortfall, also as a share of a mean day's demand.

    Parameters
    ----------
    shortfall : array_like [L/day]
        Water asked for and not supplied on each day; further dimensions are measured one by one.
    demand : array_like or float [L/day]
        Water asked for on each day.

    Returns
    -------
    Dataset
        ``time_reliability``, ``volume_reliability``, ``resilience``, ``vulnerability_share`` [1],
        ``failure_events`` [1], ``vulnerability``, ``mean_shortfall``, ``largest_shortfall`` [L/day] and
        ``mean_failure`` [day]. Without a failure, resilience and what is averaged over failures are NaN:
        nothing was there to recover from.

    Raises
    ------
    InputError
        If the series cover different days, or a day has no value or a negative one.

    Notes
    -----
    Hashimoto, Stedinger and Loucks (1982), Water Resources Research 18(1):14-20; the estimators as McMahon,
    Adeloye and Zhou (2006) give them, from memory. A day on which nothing is asked neither fails nor ends a
    failure, as in the daily balance. The last day of the record has no day after it: a failure that it cuts
    is not counted as unrecovered.

    Examples
    --------
    >>> found = failure_measures([0, 0, 2, 4, 0, 0, 3, 0, 0, 0], 10.0)
    >>> float(found.time_reliability), round(float(found.resilience), 3), float(found.vulnerability)
    (0.7, 0.667, 3.5)
    """
    time = common_time(shortfall=shortfall, demand=demand)
    short, asked = as_series("shortfall", shortfall, time), as_series("demand", demand, time)
    for name, series in (("shortfall", short), ("demand", asked)):
        if (series.values < 0).any():
            raise InputError("a day is below zero", "give litres a day, zero or more", name)
    short, asked = xr.broadcast(short, asked)
    short, asked = short.transpose(..., "time"), asked.transpose(..., "time")
    rows = [
        _measure(*pair)
        for pair in zip(short.values.reshape(-1, time.size), asked.values.reshape(-1, time.size), strict=True)
    ]
    table, shape, dims = np.array(rows), short.shape[:-1], short.dims[:-1]
    return xr.Dataset(
        {name: (dims, table[:, k].reshape(shape), attributes(name)) for k, name in enumerate(MEASURES)},
        coords={d: short[d] for d in dims if d in short.coords},
    )


def _measure(short: np.ndarray, asked: np.ndarray) -> tuple[float, ...]:
    """Return the measures of one supply in the order of `MEASURES`."""
    failed = short > 1e-9 * asked
    total = asked.sum()
    reliability = 1 - failed.mean(), 1 - short.sum() / total if total > 0 else 1.0
    used = asked > 0
    failing, lost = failed[used], short[used]
    first, last = runs(failing)
    if first.size == 0:
        return *reliability, 0.0, np.nan, np.nan, np.nan, np.nan, 0.0, np.nan
    followed = failing[:-1]
    ended = followed & ~failing[1:]
    resilience = ended.sum() / followed.sum() if followed.any() else np.nan
    worst = np.array([lost[a : b + 1].max() for a, b in zip(first, last, strict=True)])
    mean_day = asked[used].mean()
    return (
        *reliability,
        float(first.size),
        resilience,
        worst.mean(),
        worst.mean() / mean_day,
        lost[failing].mean(),
        lost.max(),
        failing.sum() / first.size,
    )
