"""The tank through its worst sequence: when it emptied, how long it stayed empty, how long it took to recover."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import xarray as xr

from rainharvest.errors import InputError
from rainharvest.rainfall.spells import runs


@dataclass(frozen=True)
class Drawdown:
    """A stretch between two overflows of the tank.

    Parameters
    ----------
    begins, ends : int
        Places of its first and last day in the record.
    from_overflow, to_overflow : bool
        Whether it begins after an overflow and ends before one; if not, the record cuts it.
    unsupplied : float [L]
        Water asked for and not supplied within it.
    days_short : int [day]
        Days on which something was short.
    first_short : int [day]
        Days from its beginning to the first such day; -1 where none was short.
    longest_short : int [day]
        The most of them on end, days on which nothing was asked passed over.
    recovery : int [day]
        Days from the last short day to its end; -1 where none was short.
    lowest : float [L]
        Least water stored.
    """

    begins: int
    ends: int
    from_overflow: bool
    to_overflow: bool
    unsupplied: float
    days_short: int
    first_short: int
    longest_short: int
    recovery: int
    lowest: float


def drawdowns(daily: xr.Dataset, demand) -> list[Drawdown]:
    """Cut a simulated record at its overflows.

    Parameters
    ----------
    daily : Dataset
        ``stored`` [L], ``unmet_daily`` and ``spilled_daily`` [L/day] on ``time``, as `rainharvest.simulate`
        traces one tank.
    demand : array_like [L/day]
        Water asked for on the same days.

    Returns
    -------
    list of Drawdown
        In order of time.

    Raises
    ------
    InputError
        If there are further dimensions, or the demand has other days.

    Examples
    --------
    >>> from rainharvest import simulate
    >>> done = simulate([30, 0, 0, 0, 30, 0], 10.0, 20.0, start=20.0, trace=True).isel(capacity=0)
    >>> [(d.begins, d.ends, d.days_short) for d in drawdowns(done, [10.0] * 6)]
    [(1, 3, 2), (5, 5, 0)]
    """
    short, asked, stored, begins, ends = _stretches(daily, demand)
    return [_measured(short, asked, stored, *pair) for pair in zip(begins, ends, strict=True)]


def _stretches(daily: xr.Dataset, demand):
    """Return what is measured, and where each stretch between overflows begins and ends."""
    if daily.stored.dims != ("time",):
        raise InputError(f"the trace has dimensions {daily.stored.dims}", "choose one tank", "daily")
    asked = np.asarray(demand, dtype=float)
    short = daily.unmet_daily.values
    if asked.shape != short.shape:
        raise InputError(f"{asked.size} days of demand", f"give {short.size}", "demand")
    return short, asked, daily.stored.values, *runs(daily.spilled_daily.values <= 0)


def _measured(short, asked, stored, first: int, last: int) -> Drawdown:
    part = slice(first, last + 1)
    failed = short[part] > 1e-9 * asked[part]
    where = np.flatnonzero(failed)
    used = failed[asked[part] > 0]
    longest = max((b - a + 1 for a, b in zip(*runs(used), strict=True)), default=0)
    return Drawdown(
        int(first),
        int(last),
        bool(first > 0),
        bool(last < short.size - 1),
        float(short[part].sum()),
        int(where.size),
        int(where[0]) if where.size else -1,
        int(longest),
        int(last - first - where[-1] + 1) if where.size else -1,
        float(stored[part].min()),
    )


def worst_drawdown(daily: xr.Dataset, demand) -> Drawdown:
    """Return the stretch between overflows that left most unsupplied; the lowest where nothing was short.

    Parameters
    ----------
    daily : Dataset
        As `drawdowns`.
    demand : array_like [L/day]
        Water asked for on the same days.

    Returns
    -------
    Drawdown

    Raises
    ------
    InputError
        As `drawdowns`; also if the tank overflows on every day.
    """
    short, asked, stored, begins, ends = _stretches(daily, demand)
    if begins.size == 0:
        raise InputError("the tank overflows on every day", "give a larger tank or a larger demand", "daily")
    total = np.concatenate([[0.0], np.cumsum(short)])
    lost = total[ends + 1] - total[begins]
    worst = int(np.argmax(lost))
    if not lost[worst] > 0:
        worst = int(np.argmin([stored[a : b + 1].min() for a, b in zip(begins, ends, strict=True)]))
    return _measured(short, asked, stored, begins[worst], ends[worst])


def normal_year(year_rain: xr.DataArray) -> int:
    """Return the year whose rain is nearest to the middle one.

    Parameters
    ----------
    year_rain : DataArray [mm]
        Totals on ``year``; NaN where not known.

    Returns
    -------
    int
        The year.

    Raises
    ------
    InputError
        If no year is known.

    Examples
    --------
    >>> normal_year(xr.DataArray([300.0, 500.0, 900.0], {"year": [2001, 2002, 2003]}, "year"))
    2002
    """
    known = year_rain.dropna("year")
    if known.sizes["year"] == 0:
        raise InputError("no year's rain is known", "give a longer record", "year_rain")
    off = abs(known - known.median())
    return int(known.year.values[int(off.values.argmin())])
