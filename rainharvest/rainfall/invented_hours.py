"""Hourly rain of the demo, made from its invented daily rain."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pandas as pd
import xarray as xr

from rainharvest.errors import InputError

MEAN = 1.7
"""Mean rain in a wet hour [mm/h], in the range of three real airports (1.5 to 1.9)."""
SHAPE = 0.66
"""Shape of the Weibull law of an hour's share of its day (own choice: uneven, as real hours are)."""


def invent_hours(rain: xr.DataArray, seed: int = 0) -> pd.Series:
    """Spread each day's rain over hours by a seeded choice.

    A day of P mm has about P / 1.7 wet hours in a row, beginning at any hour; their amounts follow a
    Weibull law and add up to the day.

    Parameters
    ----------
    rain : DataArray [mm/day]
        Daily rain, midnight to midnight; a day without a value counts as dry.
    seed : int [1]
        The same seed gives the same hours.

    Returns
    -------
    Series [mm]
        Rain of each hour, to a tenth, stamped by its start; named ``rain_mm``.

    Raises
    ------
    InputError
        If the rain has further dimensions.

    Examples
    --------
    >>> days = xr.DataArray([12.0, 0.0], {"time": pd.date_range("2001-01-01", periods=2)}, ("time",))
    >>> hours = invent_hours(days)
    >>> len(hours), round(float(hours[:24].sum()), 6), float(hours[24:].sum())
    (48, 12.0, 0.0)
    """
    if rain.dims != ("time",):
        raise InputError("the rain has further dimensions", "give one daily record", "rain")
    rng = np.random.default_rng(seed)
    depth = np.nan_to_num(rain.values.astype(float))
    tenths = np.zeros((depth.size, 24), dtype=int)
    for day in np.flatnonzero(depth > 0):
        count = int(np.clip(round(depth[day] / MEAN), 1, 24))
        first = int(rng.integers(0, 25 - count))
        share = rng.weibull(SHAPE, count)
        whole = round(10 * depth[day])
        edges = np.round(np.concatenate([[0.0], np.cumsum(share) / share.sum()]) * whole).astype(int)
        tenths[day, first : first + count] = np.diff(edges)
    start = pd.Timestamp(rain["time"].values[0])
    index = pd.date_range(start, periods=24 * depth.size, freq="h", name="time")
    return pd.Series(tenths.ravel() / 10, index=index, name="rain_mm")


def main(argv: list[str]) -> int:
    """Write the hourly demo record.

    Parameters
    ----------
    argv : list of str
        The daily record, the file to write, the first and the last year.

    Returns
    -------
    int
        0.
    """
    from rainharvest.rainfall.read import read_rain

    source, out, first, last = argv
    rain = read_rain(source).sel(time=slice(first, last))
    hours = invent_hours(rain, seed=20)
    lines = [
        "# INVENTED: no such gauge exists. Hourly rain (mm), each stamp the start of its hour,",
        f"# made from the invented daily record {Path(source).name} by a seeded generator; lost days are dry here.",
        "time,rain_mm",
    ]
    lines += [
        f"{stamp:%Y-%m-%d %H:%M},{value:g}"
        for stamp, value in zip(hours.index, hours.to_numpy(), strict=True)
    ]
    Path(out).write_text("\n".join(lines) + "\n", encoding="utf-8", newline="\n")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
