"""Rain as a table of steps and series, checked once at the door."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
import xarray as xr

from rainharvest.errors import InputError


@dataclass(frozen=True)
class Rain:
    """Rain as a table of steps and series, with what is needed to label the results.

    Parameters
    ----------
    depth : ndarray, shape (steps, series)
        Rain in each step, mm.
    array : DataArray
        The rain as labelled, ``time`` first.
    hours : float [h]
        Length of a step.
    """

    depth: np.ndarray
    array: xr.DataArray
    hours: float

    def label(self, rows: np.ndarray) -> xr.DataArray:
        """Give rows of the trace, shape (rows, steps, series), their dimensions back."""
        shape = (rows.shape[0], *self.array.shape)
        coords = {d: self.array[d].variable for d in self.array.dims if d in self.array.indexes}
        return xr.DataArray(rows.reshape(shape), dims=("row", *self.array.dims), coords=coords)


def read_steps(rain: xr.DataArray | pd.Series, name: str = "rain") -> Rain:
    """Check a series of rain, mm/day in daily steps or mm/h in finer ones, and lay it out as depths.

    Parameters
    ----------
    rain : DataArray or Series
        Rain on ``time``, evenly spaced; further dimensions are separate series.
    name : str
        What to call it in an error.

    Returns
    -------
    Rain
        Depths in mm.

    Raises
    ------
    InputError
        If it has no even time axis, a missing value or a value below zero.
    """
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
    """Check that the rain is daily and lay it out as steps.

    Parameters
    ----------
    rain : DataArray or Series [mm/day]
        Rain on ``time``.

    Returns
    -------
    Rain
        Depths by step and series.

    Raises
    ------
    InputError
        If its steps are not days, or as `read_steps`.
    """
    steps = read_steps(rain)
    if steps.hours != 24:
        raise InputError(
            f"the rain comes in steps of {steps.hours:g} h",
            "give daily rain, or use rainharvest.catchment.finer.collect_finer",
            "rain",
        )
    return steps
