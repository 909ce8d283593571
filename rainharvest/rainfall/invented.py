"""Invented daily rain: a seeded generator for demonstrations, tests and made-up centuries.

``python -m rainharvest.rainfall.invented data/records`` remakes the demo files, byte for byte.
Random numbers are taken as uniforms only and turned by inverse distribution functions, because those
streams stay the same from one NumPy to the next.
"""

from __future__ import annotations

import math
import os
import sys
from collections.abc import Sequence

import numpy as np
import pandas as pd
import xarray as xr

from rainharvest.errors import InputError
from rainharvest.names import attributes
from rainharvest.outputs import whole_files
from rainharvest.rainfall.flags import Flag, flag_attributes
from rainharvest.rainfall.invented_climates import CLIMATES, Climate, Gauge
from rainharvest.rainfall.invented_gaps import with_gaps

LATTICE = 0.2  # [mm] what one tip of the invented gauges measures
DEMO_YEARS, DEMO_LAST = 60, 2024
_EARTH_RADIUS = 6371.0  # [km]


def invent_rain(
    climate: Climate | str,
    years: int = DEMO_YEARS,
    seed: int = 0,
    first_year: int | None = None,
    gauges: Sequence[Gauge] | None = None,
) -> xr.DataArray:
    """Invent a complete daily record at one or more gauges of a climate.

    On each day one standard normal number a gauge, correlated between gauges as exp(-distance/reach),
    settles both whether it rains and how much. It becomes a uniform u; the day is wet where u < p, p being
    the chance of rain after a dry day, P(1 - d), or after a wet one, P + d(1 - P), with P the season's share
    of wet days and d the persistence (a two-state Markov chain). Where it is wet, u/p is again uniform, and
    the depth is the Weibull quantile at 1 - u/p, rounded to the gauge's 0.2 mm; so a gauge that is barely
    wet has little rain and a neighbour that is probably dry. A slow variation, one value a rain year,
    first-order autoregressive and common to all gauges, moves the log-odds of rain and the depth together:
    it is what makes droughts last for several years.

    Parameters
    ----------
    climate : Climate or str
        A climate, or the name of one of ``CLIMATES``.
    years : int [year]
        How many calendar years.
    seed : int [1]
        The same seed gives the same rain.
    first_year : int [1], optional
        First calendar year; by default the record ends with 2024.
    gauges : sequence of Gauge, optional
        Where to invent rain; by default the climate's own three gauges.

    Returns
    -------
    DataArray [mm/day]
        Dimensions (site, time), with the coordinates that a rain record has.

    Raises
    ------
    InputError
        If the climate is unknown or no year is asked for.

    Notes
    -----
    Method: a chain of wet and dry days with seasonal chances (Richardson 1981), driven at several sites by
    correlated normal numbers (Wilks 1998); Weibull depths with a shape near 2/3 after Wilson and Toumi
    (2005). All three from memory, not verified. Limits: depths on following days are linked only through
    season and slow variation, and the correlation between gauges does not change with the season.

    Examples
    --------
    >>> rain = invent_rain("monsoon", years=2, seed=7)
    >>> dict(rain.sizes), [str(site) for site in rain.site.values]
    ({'site': 3, 'time': 731}, ['Tamarun', 'Bhelasor', 'Odhrani'])
    """
    climate = _known(climate)
    if years < 1:
        raise InputError(f"{years} years of rain were asked for", "ask for 1 or more", "years")
    gauges = tuple(climate.gauges if gauges is None else gauges)
    first_year = DEMO_LAST - years + 1 if first_year is None else first_year
    rng = np.random.default_rng(seed)
    days, rain_year, day_of_cycle = _calendar(first_year, years, climate.year_start_month)

    slow = _slow_variation(rng, rain_year[-1] + 1, climate.memory)[rain_year]
    chance = _through_the_year(climate.wet_share, day_of_cycle)
    chance = 1 / (1 + (1 / chance - 1) * np.exp(-climate.slow_share * slow))
    depth = _through_the_year(climate.wet_depth, day_of_cycle)
    depth *= np.exp(climate.slow_depth * slow - climate.slow_depth**2 / 2) / math.gamma(1 + 1 / climate.shape)

    weather = _correlated_uniforms(rng, len(days), _between_gauges(gauges, climate.reach))
    rain = np.empty((len(gauges), len(days)))
    for row, gauge, uniform in zip(rain, gauges, weather, strict=True):
        left = _wet_remainder(uniform, chance, climate.persistence)
        with np.errstate(divide="ignore"):  # a uniform of exactly 0 has no finite depth; none was ever drawn
            millimetres = gauge.depth_factor * depth * (-np.log(left)) ** (1 / climate.shape)
        row[:] = np.round(np.round(millimetres / LATTICE) * LATTICE, 1)
    return _as_record(rain, days, gauges, climate.name, seed)


def write_records(folder: str | os.PathLike, climates: Sequence[str] = tuple(CLIMATES)) -> list[str]:
    """Write the demo records: 60 years ending with 2024, three gauges a climate, gaps included.

    Parameters
    ----------
    folder : str or path
        Where the files go.
    climates : sequence of str
        Which climates.

    Returns
    -------
    list of str
        The names of the files written.

    Raises
    ------
    InputError
        If a climate is unknown or the folder cannot be written.
    """
    names = []
    with whole_files(folder) as scratch:
        for name in climates:
            climate = _known(name)
            rain = with_gaps(invent_rain(climate, DEMO_YEARS, climate.seed), climate.seed)
            for k, gauge in enumerate(climate.gauges):
                suffix = "_" + gauge.site.lower().replace(" ", "_") if k else ""
                names.append(f"{name}{suffix}.csv")
                text = _file_text(rain.isel(site=k), gauge, climate)
                (scratch / names[-1]).write_text(text, encoding="utf-8", newline="\n")
    return names


def _known(climate: Climate | str) -> Climate:
    if isinstance(climate, Climate):
        return climate
    if climate not in CLIMATES:
        raise InputError(f"there is no climate {climate!r}", f"name one of {', '.join(CLIMATES)}", "climate")
    return CLIMATES[climate]


def _calendar(first_year: int, years: int, start_month: int):
    """Return the days, the index of each one's rain year, and its place in the cycle of seasons [0, 12)."""
    days = np.arange(f"{first_year:04d}-01-01", f"{first_year + years:04d}-01-01", dtype="datetime64[D]")
    months = days.astype("datetime64[M]")
    month_of_record = (months - months[0]).astype(int)
    rain_year = (month_of_record + 12 - (start_month - 1)) // 12
    length = ((months + 1).astype("datetime64[D]") - months.astype("datetime64[D]")).astype(int)
    within = (days - months.astype("datetime64[D]")).astype(int)
    return days, rain_year, month_of_record % 12 + (within + 0.5) / length


def _through_the_year(by_month: tuple[float, ...], day_of_cycle: np.ndarray) -> np.ndarray:
    return np.interp(day_of_cycle, np.arange(12) + 0.5, by_month, period=12)


def _slow_variation(rng: np.random.Generator, years: int, memory: float) -> np.ndarray:
    """Return one standard normal value a rain year, each correlated with the last by ``memory``."""
    from scipy.special import ndtri

    value = ndtri(rng.random(years))
    for k in range(1, years):
        value[k] = memory * value[k - 1] + math.sqrt(1 - memory**2) * value[k]
    return value


def _between_gauges(gauges: Sequence[Gauge], reach: float) -> np.ndarray:
    latitude = np.radians([gauge.latitude for gauge in gauges])[:, None]
    longitude = np.radians([gauge.longitude for gauge in gauges])[:, None]
    half = (
        np.sin((latitude - latitude.T) / 2) ** 2
        + np.cos(latitude) * np.cos(latitude.T) * np.sin((longitude - longitude.T) / 2) ** 2
    )
    return np.exp(-2 * _EARTH_RADIUS * np.arcsin(np.sqrt(half)) / reach)


def _correlated_uniforms(rng: np.random.Generator, days: int, correlation: np.ndarray) -> np.ndarray:
    from scipy.special import ndtr, ndtri

    root = np.linalg.cholesky(correlation + 1e-12 * np.eye(len(correlation)))
    normal = ndtri(rng.random((days, len(correlation))))
    # einsum, not a matrix product: its order of additions does not depend on the machine's linear algebra
    return ndtr(np.einsum("sk,tk->st", root, normal))


def _wet_remainder(uniform: np.ndarray, chance: np.ndarray, persistence: float) -> np.ndarray:
    """Return u/p on wet days (uniform again) and 1 on dry ones.

    A day below both chances is wet whatever came before, one above both is dry, one between keeps the
    state of the day before; so the chain is the last decided day carried forward, without a loop.
    """
    after_dry = chance * (1 - persistence)
    after_wet = chance + persistence * (1 - chance)
    decided = (uniform < after_dry) | (uniform >= after_wet)
    decided[0] = True
    last = np.maximum.accumulate(np.where(decided, np.arange(len(uniform)), 0))
    wet = (uniform < after_dry)[last]
    before = np.concatenate(([False], wet[:-1]))
    return np.where(wet, uniform / np.where(before, after_wet, after_dry), 1.0)


def _as_record(rain, days, gauges: Sequence[Gauge], climate: str, seed: int) -> xr.DataArray:
    # nanoseconds end in 2262; a made-up 10,000 years needs seconds
    unit = "ns" if days[0] > np.datetime64("1678") and days[-1] < np.datetime64("2262") else "s"
    out = xr.DataArray(
        rain,
        dims=("site", "time"),
        coords={"site": [gauge.site for gauge in gauges], "time": days.astype(f"datetime64[{unit}]")},
        name="rain",
        attrs=attributes("rain", assumptions=f"invented: climate {climate}, seed {seed}"),
    )
    for name in ("latitude", "longitude", "elevation"):
        out[name] = ("site", [float(getattr(gauge, name)) for gauge in gauges], attributes(name))
    out["flag"] = (("site", "time"), np.full(rain.shape, Flag.MEASURED, dtype="int8"), flag_attributes())
    out["total_days"] = (("site", "time"), np.ones(rain.shape, dtype="int16"), attributes("total_days"))
    return out


def _file_text(rain: xr.DataArray, gauge: Gauge, climate: Climate) -> str:
    head = f"""\
# INVENTED daily rain from rainharvest.rainfall.invented, seed {climate.seed}: no such place or gauge exists
# place: {gauge.site} (invented), climate: {climate.name}
# latitude: {gauge.latitude}
# longitude: {gauge.longitude}
# elevation: {gauge.elevation} m
# unit: mm
# day: 24 hours to the morning reading, dated by the day of reading
# days: over how many days the amount was measured; blank amount: no reading; T: trace, too little to measure
date,rain_mm,days
"""
    amount = np.char.mod("%.1f", rain.values)
    amount[rain.flag.values == Flag.TRACE] = "T"
    amount[np.isnan(rain.values)] = ""
    days = np.where(rain.total_days.values == 0, "", rain.total_days.values.astype(str))
    dates = pd.DatetimeIndex(rain.time.values).strftime("%Y-%m-%d")
    return head + "".join(f"{d},{a},{k}\n" for d, a, k in zip(dates, amount, days, strict=True))


if __name__ == "__main__":
    if len(sys.argv) != 2 or sys.argv[1].startswith("-"):
        sys.exit("usage: python -m rainharvest.rainfall.invented FOLDER")
    try:
        print("\n".join(write_records(sys.argv[1])))
    except InputError as error:
        sys.exit(str(error))
