"""Invented daily and hourly rain: a seeded generator for demonstrations, tests and made-up centuries.

``python data/make/rain.py data/records`` remakes the demo records, byte for byte.
"""

from __future__ import annotations

import math
import os
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
import xarray as xr

from rainharvest.core.errors import InputError
from rainharvest.core.outputs import whole_files
from rainharvest.core.quantities import attributes
from rainharvest.rainfall.flags import Flag, flag_attributes


@dataclass(frozen=True)
class Gauge:
    """One invented rain gauge."""

    site: str  # Its invented name
    latitude: float  # [degrees_north] Where it stands
    longitude: float  # [degrees_east] Where it stands
    elevation: float  # [m] Height above the sea
    depth_factor: float = 1.0  # [1] Rain on a wet day, as a multiple of the climate's


@dataclass(frozen=True)
class Climate:
    """The settings of one invented climate, months running from January to December."""

    name: str  # Its name, also the name of its demo files
    gauges: tuple[Gauge, ...]  # The gauge of the study first, its neighbours after it
    # [1] Share of days with rain in the middle of each month; the days between are interpolated
    wet_share: tuple[float, ...]
    # [mm] Mean rain on a day with rain in the middle of each month; the days between are interpolated
    wet_depth: tuple[float, ...]
    # [1] How much likelier rain is after a wet day than after a dry one (difference of the two chances), 0
    # for independent days
    persistence: float
    # [1] Shape of the Weibull law of wet-day depths; smaller is more skewed, 1 is the exponential law
    shape: float
    slow_share: float  # [1] Effect of one standard deviation of the slow variation on the log-odds of rain
    # [1] Effect of one standard deviation of the slow variation on the logarithm of the wet-day depth
    slow_depth: float
    memory: float  # [1] Correlation of the slow variation from one year to the next
    reach: float  # [km] Distance over which the correlation of the weather between two gauges falls to 1/e
    year_start_month: int  # [1] Month, in the dry season, in which the slow variation takes its next value
    seed: int  # [1] Seed of its demo files


_ALL = (
    Climate(
        name="winter_rain",
        gauges=(
            Gauge("Velmarra", -33.42, 4.85, 120),
            Gauge("Ostrel Head", -33.35, 4.97, 65, 0.90),
            Gauge("Pindrake", -33.58, 4.96, 310, 1.18),
        ),
        wet_share=(0.07, 0.07, 0.11, 0.20, 0.33, 0.42, 0.44, 0.41, 0.31, 0.20, 0.13, 0.08),
        wet_depth=(4.0, 4.2, 4.8, 6.0, 7.2, 8.2, 8.0, 7.2, 6.2, 5.2, 4.6, 4.2),
        persistence=0.34,
        shape=0.75,
        slow_share=0.16,
        slow_depth=0.08,
        memory=0.65,
        reach=190,
        year_start_month=2,
        seed=107,
    ),
    Climate(
        name="monsoon",
        gauges=(
            Gauge("Tamarun", 17.86, 88.30, 210),
            Gauge("Bhelasor", 17.95, 88.42, 260, 1.10),
            Gauge("Odhrani", 17.68, 88.24, 150, 0.92),
        ),
        wet_share=(0.02, 0.03, 0.04, 0.06, 0.13, 0.44, 0.62, 0.60, 0.44, 0.18, 0.06, 0.02),
        wet_depth=(8.0, 8.0, 8.0, 10.0, 13.0, 15.5, 16.5, 15.5, 15.0, 15.0, 12.0, 8.0),
        persistence=0.30,
        shape=0.72,
        slow_share=0.14,
        slow_depth=0.08,
        memory=0.65,
        reach=150,
        year_start_month=2,
        seed=103,
    ),
    Climate(
        name="two_rainy_seasons",
        gauges=(
            Gauge("Lumaketi", -1.12, 50.20, 1480),
            Gauge("Orongesa", -1.04, 50.31, 1610, 1.12),
            Gauge("Wakindu", -1.29, 50.14, 1350, 0.88),
        ),
        wet_share=(0.16, 0.15, 0.34, 0.54, 0.40, 0.14, 0.09, 0.11, 0.13, 0.34, 0.52, 0.32),
        wet_depth=(8.0, 8.5, 10.0, 12.5, 10.0, 6.0, 4.5, 5.0, 6.0, 8.5, 10.5, 9.0),
        persistence=0.28,
        shape=0.75,
        slow_share=0.18,
        slow_depth=0.09,
        memory=0.60,
        reach=150,
        year_start_month=8,
        seed=111,
    ),
    Climate(
        name="semi_arid",
        gauges=(
            Gauge("Tarrabine", -26.45, 98.60, 340),
            Gauge("Coolgarra Well", -26.60, 98.72, 325, 0.94),
            Gauge("Mullenary", -26.30, 98.75, 380, 1.08),
        ),
        wet_share=(0.19, 0.19, 0.14, 0.08, 0.07, 0.07, 0.06, 0.05, 0.06, 0.09, 0.12, 0.16),
        wet_depth=(10.5, 11.0, 9.5, 7.5, 6.0, 5.0, 4.5, 4.5, 5.5, 7.0, 8.0, 9.0),
        persistence=0.30,
        shape=0.70,
        slow_share=0.22,
        slow_depth=0.12,
        memory=0.65,
        reach=170,
        year_start_month=8,
        seed=109,
    ),
    Climate(
        name="temperate_all_year",
        gauges=(
            Gauge("Aldermoss", 51.30, -21.40, 85),
            Gauge("Fennholt Rise", 51.22, -21.24, 140, 1.10),
            Gauge("Brackenwell", 51.44, -21.58, 50, 0.93),
        ),
        wet_share=(0.55, 0.50, 0.47, 0.45, 0.43, 0.41, 0.41, 0.42, 0.44, 0.51, 0.55, 0.56),
        wet_depth=(4.7, 4.4, 4.1, 4.1, 4.4, 5.0, 5.3, 5.5, 5.3, 5.5, 5.3, 5.1),
        persistence=0.30,
        shape=0.78,
        slow_share=0.12,
        slow_depth=0.05,
        memory=0.60,
        reach=190,
        year_start_month=4,
        seed=101,
    ),
)


CLIMATES: dict[str, Climate] = {climate.name: climate for climate in _ALL}


def with_gaps(rain: xr.DataArray, seed: int = 0) -> xr.DataArray:
    """Lose days of a complete invented record as real gauges do.

    Each gauge loses single days (about 1 in 1,000), some weeks (about one in 4 years), and three long outages
    of 1 to 7 months, never two gauges' long outages at once. About once a year a reading covers 2 to 4 days:
    its total stands on the last of them. About twice a year a dry day is a trace.

    >>> from rain import invent_rain
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

    Method: a chain of wet and dry days with seasonal chances (Richardson 1981), driven at several sites by
    correlated normal numbers (Wilks 1998); Weibull depths with a shape near 2/3 after Wilson and Toumi
    (2005). All three from memory, not verified. Limits: depths on following days are linked only through
    season and slow variation, and the correlation between gauges does not change with the season.

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
    """Write the demo records: 60 years ending with 2024, three gauges a climate, gaps included."""
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
    # The first line names the place where this generator stood when the records were first written.
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


MEAN = 1.7  # [mm/h] rain in a wet hour, in the range of three real airports (1.5 to 1.9)
SHAPE = 0.66  # of the Weibull law of an hour's share of its day (own choice: uneven, as real hours are)


def invent_hours(rain: xr.DataArray, seed: int = 0) -> pd.Series:
    """Spread each day's rain over hours by a seeded choice.

    A day of P mm has about P / 1.7 wet hours in a row, beginning at any hour; their amounts follow a
    Weibull law and add up to the day.

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


def write_hours(source: str, out: str, first: str, last: str) -> None:
    """Write an hourly demo record, made from the days of a daily one from the first year to the last."""
    from rainharvest.rainfall.read import read_rain

    hours = invent_hours(read_rain(source).sel(time=slice(first, last)), seed=20)
    lines = [
        "# INVENTED: no such gauge exists. Hourly rain (mm), each stamp the start of its hour,",
        f"# made from the invented daily record {Path(source).name} by a seeded generator; lost days are dry here.",
        "time,rain_mm",
        *(f"{t:%Y-%m-%d %H:%M},{x:g}" for t, x in zip(hours.index, hours.to_numpy(), strict=True)),
    ]
    Path(out).write_text("\n".join(lines) + "\n", encoding="utf-8", newline="\n")


USAGE = """usage: python data/make/rain.py FOLDER
       python data/make/rain.py DAILY HOURLY FIRST_YEAR LAST_YEAR"""


def main(arguments: list[str]) -> None:
    """Remake the demo records in a folder, or an hourly record from one of them."""
    if len(arguments) not in (1, 4) or arguments[0].startswith("-"):
        sys.exit(USAGE)
    try:
        if len(arguments) == 1:
            print("\n".join(write_records(arguments[0])))
        else:
            write_hours(*arguments)
    except InputError as error:
        sys.exit(str(error))


if __name__ == "__main__":
    main(sys.argv[1:])
