"""Rain as a table of steps and series, checked once at the door."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np
import pandas as pd
import xarray as xr

from rainharvest.core.defaults import rows_of
from rainharvest.core.errors import InputError, require
from rainharvest.core.tables import Table, quantity
from rainharvest.rainfall.read_columns import in_mm

TROPIC = 23.4

"""Latitude of the tropics, degrees."""


@dataclass(frozen=True)
class Rain:
    """Rain as a table of steps and series, with what is needed to label the results."""

    depth: np.ndarray  # Rain in each step, mm
    array: xr.DataArray  # The rain as labelled, ``time`` first
    hours: float  # [h] Length of a step

    def label(self, rows: np.ndarray) -> xr.DataArray:
        """Give rows of the trace, shape (rows, steps, series), their dimensions back."""
        shape = (rows.shape[0], *self.array.shape)
        coords = {d: self.array[d].variable for d in self.array.dims if d in self.array.indexes}
        return xr.DataArray(rows.reshape(shape), dims=("row", *self.array.dims), coords=coords)


def on_time(values: object) -> object:
    """Return a pandas Series as a DataArray on time, anything else as it is."""
    if not isinstance(values, pd.Series):
        return values
    return xr.DataArray(values.to_numpy(dtype=float), {"time": values.index.to_numpy()}, ("time",))


def read_steps(rain: xr.DataArray | pd.Series, name: str = "rain") -> Rain:
    """Check a series of rain, mm/day in daily steps or mm/h in finer ones, and lay it out as depths."""
    rain = on_time(rain)
    timed = isinstance(rain, xr.DataArray) and "time" in rain.dims and "time" in rain.indexes
    require(timed, "the rain has no time axis", "give a DataArray on time, or a Series with dates", name)
    rain = rain.transpose("time", ...)
    index = rain.indexes["time"]
    require(index.size >= 2, "the rain has fewer than two steps", "give a longer record", name)
    zone = getattr(index[0], "tzinfo", None)
    require(zone is None, f"the days have the time zone {zone}", "take it off: tz_localize(None)", name)
    steps = index[1:] - index[:-1]
    odd = np.flatnonzero((steps != steps[0]) | (steps[0] <= pd.Timedelta(0)))
    if odd.size:
        where = f"{name} at {index[odd[0] + 1]}"
        raise InputError("the steps are not even", "give every step one value, in order", where)
    hours = steps[0] / pd.Timedelta(hours=1)
    rain = in_mm(rain, name) if hours >= 24 else rain
    values = np.ascontiguousarray(rain.values.reshape(index.size, -1), dtype=float)
    bad = ~(values >= 0) | np.isinf(values)
    if bad.any():
        at = int(np.flatnonzero(bad.any(axis=1))[0])
        wrong = "below zero" if (values[at] < 0).any() else "without end"
        what = "rain is missing" if np.isnan(values[at]).any() else f"rain is {wrong}"
        problem = f"{what} ({int(bad.sum())} values in all)"
        raise InputError(
            problem, "fill it first with rainharvest.fill_gaps", f"{name} at {str(index[at])[:10]}"
        )
    if hours < 24:
        unit = rain.attrs.get("units", "mm/h")
        require(unit == "mm/h", f"steps of {hours:g} h in {unit}", "give rain finer than a day in mm/h", name)
        values = values * hours
    return Rain(values, rain, hours)


def read_daily(rain: xr.DataArray | pd.Series) -> Rain:
    """Check that the rain is daily and lay it out as steps."""
    steps = read_steps(rain)
    remedy = "give daily rain, or use rainharvest.catchment.collect.collect_finer"
    require(steps.hours == 24, f"the rain comes in steps of {steps.hours:g} h", remedy, "rain")
    return steps


class Intensity(Table):
    """How hard it rains where the roof stands."""

    mean_intensity: float = quantity("mm/h", gt=0, le=100, examples=[2.1])
    """Mean rain of the hours with rain."""

    variation: float = quantity("1", ge=0.2, le=6, examples=[1.3])
    """Coefficient of variation of wet-hour rain about the mean of its day (about the overall mean where
    ``depth_growth`` is zero)."""

    depth_growth: float = quantity("1", 0.0, ge=0, le=0.95)
    """Exponent with which the mean of a day's wet hours grows with the day's depth; 0 for none."""

    source: str = "given"
    """Where the three come from."""

    kind: str = "given"
    """"open data", "own choice" and so on, as in `rainharvest.core.defaults`; "given" for the user's own."""


CLIMATES = {name: Intensity(**row) for name, row in rows_of("catchment", "intensities").items()}

"""How hard it rains, by climate: one measured, the others own choices and marked as such."""


def intensity_of_place(latitude: float | None) -> Intensity:
    """Return how hard it rains where nobody said: by the latitude of the site [degrees], where that is known.

    Own choice: within 10 degrees of the equator as in the wet tropics, within the tropics as under a monsoon,
    beyond them, or where the latitude is not known, as measured in a humid mid-latitude. Hourly rain is better.

    >>> [intensity_of_place(latitude).mean_intensity for latitude in (-1.1, 15.0, 40.6, None)]
    [3.5, 3.0, 1.7, 1.7]
    """
    far = 90.0 if latitude is None else abs(latitude)
    name = "wet tropics" if far <= 10 else "monsoon" if far <= TROPIC else "humid mid-latitude"
    by = "the site's latitude is not given" if latitude is None else "by the site's latitude"
    found = CLIMATES[name]
    return found.model_copy(update={"source": f"taken as {name} ({by}); {found.source}"})


@lru_cache(maxsize=256)
def weibull_shape(variation: float) -> float:
    """Return the shape of the Weibull law with this coefficient of variation.

    Gamma(1 + 2/k) / Gamma(1 + 1/k)^2 = 1 + CV^2, solved for the shape k.

    >>> weibull_shape(1.0)
    1.0000
    >>> weibull_shape(2.0)
    0.5427
    """
    from fluids.numerics import brenth
    from scipy.special import gammaln

    require(
        0.05 <= variation <= 20, f"{variation} is not possible", "give a value from 0.05 to 20", "variation"
    )

    def excess(log_shape: float) -> float:
        k = np.exp(log_shape)
        return gammaln(1 + 2 / k) - 2 * gammaln(1 + 1 / k) - np.log1p(variation**2)

    return float(np.exp(brenth(excess, np.log(0.15), np.log(30), xtol=1e-13)))


def share_below(limit, mean_intensity, variation: float) -> np.ndarray:
    """Return the share of the rain that passes a limit of intensity: E[min(I, c)] / E[I].

    With I Weibull of mean mu, shape k and scale l, and z = (c / l)^k,
    share = P(1 + 1/k, z) + (c / mu) exp(-z), P the regularised lower incomplete gamma function.

    Limits: an hour hides bursts. Sizes of gutters and pipes come from design intensities, not from this.

    The exponential law, 1 - exp(-c / mu):

    >>> float(share_below(1.5, 1.5, 1.0)), float(1 - np.exp(-1))
    (0.63212, 0.63212)
    """
    from scipy.special import gamma, gammainc

    k = weibull_shape(float(variation))
    ratio = np.atleast_1d(np.minimum(np.asarray(limit, dtype=float) / mean_intensity, 1e9))
    z = (ratio * gamma(1 + 1 / k)) ** k
    share = np.ones(z.shape)
    near = z < 40 + 8 / k  # beyond it the formula gives 1 to the last bit, and takes most of the time
    share[near] = np.minimum(gammainc(1 + 1 / k, z[near]) + ratio[near] * np.exp(-z[near]), 1.0)
    return share.reshape(np.broadcast_shapes(np.shape(limit), np.shape(mean_intensity)))


def wet_day_intensity(wet: np.ndarray, intensity: Intensity) -> np.ndarray:
    """Return the mean wet-hour intensity of the days with rain of one record.

    mu_t = a P_t^g, with a such that the mean over all wet hours of the record stays the mean given:
    a = mu sum(P^(1 - g)) / sum(P), since a day of depth P_t has P_t / mu_t wet hours.

    >>> hard = Intensity(mean_intensity=2.0, variation=1.0, depth_growth=0.5)
    >>> wet_day_intensity(np.array([4.0, 16.0]), hard).round(3)
    array([1.2, 2.4])
    """
    grown = wet**intensity.depth_growth
    # P^(1 - g) = P / P^g: one power in place of two
    return intensity.mean_intensity * ((wet / grown).sum() / wet.sum()) * grown


def estimate_intensity(rain_rate: xr.DataArray | pd.Series) -> Intensity:
    """Return how hard it rains, estimated from hourly or finer rain.

    The mean is that of the wet steps. For each growth from 0 to 0.9 the variation is that of the wet
    steps over the mean of their day; the growth kept is the one whose closed form comes closest to the
    record (least squares) at limits of 1, 2, 4, 8 and 16 times the mean, over all days and over the
    heaviest tenth of the wet days.

    Limits: a year or more of rain, with at least 30 wet days. Steps shorter than an hour give higher
    means and need limits that short.
    """
    steps = read_steps(rain_rate, "rain_rate")
    single = steps.depth.shape[1] == 1 and steps.hours < 24
    require(single, "one series of hourly or finer rain is needed", "give mm/h on time alone", "rain_rate")
    depth, index = steps.depth[:, 0], steps.array.indexes["time"]
    day = pd.factorize(pd.DatetimeIndex(index).floor("D"))[0]
    days = np.bincount(day, depth)
    rains = days > 0
    require(rains.sum() >= 30, f"only {int(rains.sum())} wet days", "give a longer record", "rain_rate")
    wet = depth > 0
    rate, day = depth[wet] / steps.hours, day[wet]
    mean = float(rate.mean())
    limits = mean * np.array([1.0, 2.0, 4.0, 8.0, 16.0])
    groups = [rains, days >= np.quantile(days[rains], 0.9)]
    passed = [
        [np.minimum(part, c).sum() / part.sum() for c in limits] for part in (rate[g[day]] for g in groups)
    ]
    first, last = str(index[0])[:10], str(index[-1])[:10]
    source = f"estimated from {steps.hours:g}-hour rain, {first} to {last}, {int(wet.sum())} wet steps"

    def attempt(depth_growth: float) -> tuple[float, Intensity]:
        start = Intensity(mean_intensity=mean, variation=1.0, depth_growth=depth_growth)
        of_day = np.full(days.shape, mean)
        of_day[rains] = wet_day_intensity(days[rains], start)
        ratio = rate / of_day[day]
        variation = float(np.clip(ratio.std() / ratio.mean(), 0.2, 6.0))
        share = share_below(limits[:, None], of_day, variation)
        off = [share[:, g] @ days[g] / days[g].sum() - known for g, known in zip(groups, passed, strict=True)]
        found = start.model_copy(update={"variation": variation, "source": source, "kind": "estimated"})
        return float(np.square(off).sum()), found

    return min((attempt(g) for g in np.round(np.arange(0, 0.91, 0.05), 2)), key=lambda pair: pair[0])[1]


def intensity_of_file(path: Path, units: str | None = None) -> Intensity:
    """Return how hard it rains, estimated from a file of hourly or finer rain."""
    require(
        path.is_file(), f"there is no file {path}", "name a file that exists, from the folder of this one"
    )
    return _of_file(path, units, path.stat().st_mtime_ns)


@lru_cache
def _of_file(path: Path, units: str | None, changed: int) -> Intensity:
    """Estimate once, as long as the file does not change; days with a reading missing are left out."""
    from rainharvest.rainfall.read import read_subdaily

    rain = read_subdaily(path, units=units)
    step = pd.Timedelta(seconds=float(rain.attrs["step_seconds"]))
    depth = rain.to_series().asfreq(step)
    whole = depth.groupby(depth.index.floor("D")).transform("count") == pd.Timedelta(days=1) / step
    return estimate_intensity(depth.where(whole, 0.0) / (step / pd.Timedelta(hours=1)))
