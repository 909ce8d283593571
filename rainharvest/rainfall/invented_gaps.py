"""Gaps for invented rain: lost days, lost weeks, long outages, readings over several days, traces."""

from __future__ import annotations

import numpy as np
import xarray as xr

from rainharvest.errors import InputError
from rainharvest.names import attributes
from rainharvest.rainfall.flags import Flag, flag_attributes


def with_gaps(rain: xr.DataArray, seed: int = 0) -> xr.DataArray:
    """Lose days of a complete invented record as real gauges do.

    Each gauge loses single days (about 1 in 1,000), some weeks (about one in 4 years), and three long outages
    of 1 to 7 months, never two gauges' long outages at once. About once a year a reading covers 2 to 4 days:
    its total stands on the last of them. About twice a year a dry day is a trace.

    Parameters
    ----------
    rain : DataArray [mm/day]
        A complete record with dimensions (site, time), of 3 years or more.
    seed : int [1]
        The same seed loses the same days.

    Returns
    -------
    DataArray [mm/day]
        The record with its gaps, its ``flag`` and ``total_days`` telling what happened to each day.

    Raises
    ------
    InputError
        If the record is too short to hold the gaps.

    Examples
    --------
    >>> from rainharvest.rainfall.invented import invent_rain
    >>> rain = with_gaps(invent_rain("monsoon", years=20, seed=7), seed=7)
    >>> bool((rain.total_days.where(rain.notnull(), 0) == rain.total_days).all())
    True
    """
    sites, length = rain.sizes["site"], rain.sizes["time"]
    if length < 3 * 365:
        raise InputError(f"the record has {length} days", "give 3 years or more", "rain")
    rng = np.random.default_rng([seed, 1])  # not the stream that made the rain
    rain = rain.transpose("site", "time").copy(deep=True)
    values = rain.values
    flags = np.full((sites, length), Flag.MEASURED, dtype="int8")
    totals = np.ones((sites, length), dtype="int16")

    slots = np.argsort(rng.random(3 * sites), kind="stable").reshape(sites, 3)
    slot = length // (3 * sites)
    for site in range(sites):
        value, flag, total = values[site], flags[site], totals[site]
        for _ in range(2 * length // 365):
            day = _whole(rng, 0, length - 1)
            if value[day] == 0:
                flag[day] = Flag.TRACE
        for _ in range(length // 365):
            covered = _whole(rng, 2, 4)
            last = _whole(rng, covered, length - 1)
            days = slice(last - covered + 1, last + 1)
            if (flag[days] == Flag.MEASURED).all():
                value[last] = round(value[days].sum(), 1)
                value[last - covered + 1 : last] = np.nan
                flag[days] = Flag.IN_TOTAL
                flag[last], total[last] = Flag.TOTAL, covered
        gaps = [(_whole(rng, 0, length - 1), 1) for _ in range(length // 1000)]
        gaps += [(_whole(rng, 0, length - 14), _whole(rng, 5, 14)) for _ in range(length // 1461)]
        for start in slots[site] * slot:
            long = min(_whole(rng, 31, 215), slot - 1)
            gaps.append((start + _whole(rng, 0, slot - long - 1), long))
        for start, long in gaps:
            _lose(value, flag, total, start, start + long)
    totals[np.isnan(values)] = 0
    rain["flag"] = (("site", "time"), flags, flag_attributes())
    rain["total_days"] = (("site", "time"), totals, attributes("total_days"))
    return rain


def _whole(rng: np.random.Generator, low: int, high: int) -> int:
    return low + int(rng.random() * (high - low + 1))


def _lose(value: np.ndarray, flag: np.ndarray, total: np.ndarray, start: int, stop: int) -> None:
    """Lose the days from ``start`` to ``stop``, and with them any multi-day total that they touch."""
    while start > 0 and flag[start] in (Flag.IN_TOTAL, Flag.TOTAL) and flag[start - 1] == Flag.IN_TOTAL:
        start -= 1
    while stop < len(flag) and flag[stop - 1] == Flag.IN_TOTAL:
        stop += 1
    value[start:stop], flag[start:stop], total[start:stop] = np.nan, Flag.MISSING, 0
