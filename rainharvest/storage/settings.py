"""What the balance is given: series and settings with names, checked and laid out in lanes."""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
import pandas as pd
import xarray as xr

from rainharvest.errors import InputError


def common_time(**series) -> xr.DataArray:
    """Return the days that all labelled series share, or numbers where none is labelled.

    Parameters
    ----------
    **series
        Series by argument name; None and plain numbers are passed over.

    Returns
    -------
    DataArray
        The ``time`` coordinate.

    Raises
    ------
    InputError
        If two series do not cover the same days, or a day is missing from the index.
    """
    found: tuple[str, pd.Index] | None = None
    length: tuple[str, int] | None = None
    for name, values in series.items():
        if isinstance(values, pd.Series):
            index = values.index
        elif isinstance(values, xr.DataArray) and "time" in values.indexes:
            index = values.indexes["time"]
        elif isinstance(values, xr.DataArray):
            length = length or (("time" in values.dims) and (name, values.sizes["time"])) or None
            continue
        else:
            length = length or ((name, len(values)) if values is not None and np.ndim(values) > 0 else None)
            continue
        if found is None:
            found = (name, index)
        elif index is not found[1] and not index.equals(found[1]):
            raise InputError(
                f"{name} covers {_span(index)} and {found[0]} covers {_span(found[1])}",
                "cut both to the same days",
                name,
            )
    if found is None:
        if length is None:
            raise InputError("no series says how many days there are", "give inflow as a series", "inflow")
        if length[1] == 0:
            raise InputError("the series holds no day", "give at least one day", length[0])
        return xr.DataArray(np.arange(length[1]), dims="time", name="time")
    name, index = found
    if index.size == 0:
        raise InputError("the series holds no day", "give at least one day", name)
    if isinstance(index, pd.DatetimeIndex):
        days = index.to_numpy()
        odd = np.flatnonzero(days[1:] - days[:-1] != np.timedelta64(1, "D"))
        if odd.size:
            day = index[odd[0]].date()
            raise InputError(
                f"the day after {day} is not in the index", "give one value a day, in order", name
            )
    return xr.DataArray(index, dims="time", name="time")


def _span(index: pd.Index) -> str:
    """Return the days covered, in words."""
    if index.size == 0:
        return "no day"
    return f"{index.size} days from {str(index[0])[:10]} to {str(index[-1])[:10]}"


def as_series(name: str, values, time: xr.DataArray) -> xr.DataArray:
    """Return a series as a DataArray whose last dimension is ``time``.

    Parameters
    ----------
    name : str
        The argument, for errors.
    values : array_like, Series, DataArray or float
        One number serves for every day.
    time : DataArray
        The days.

    Returns
    -------
    DataArray
        Floats, time last, contiguous, without missing values.

    Raises
    ------
    InputError
        If the length does not fit or a day has no value.
    """
    if isinstance(values, xr.DataArray) and "time" in values.dims:
        turned = values.variable.transpose(..., "time")
        labels = {d: values.coords[d].variable for d in turned.dims[:-1] if d in values.coords}
        array = xr.DataArray(np.array(turned.values, dtype=float, order="C"), labels, turned.dims)
    elif isinstance(values, xr.DataArray):
        array = values.reset_coords(drop=True).astype(float).expand_dims(time=time.size, axis=-1)
        array = array.copy(data=np.ascontiguousarray(array.values))
    else:
        plain = np.array(values, dtype=float, order="C")
        if plain.ndim > 1:
            raise InputError(
                "an array of more than one dimension has no names for them",
                "give a DataArray with named dimensions",
                name,
            )
        array = xr.DataArray(np.full(time.size, float(plain)) if plain.ndim == 0 else plain, dims="time")
    if array.sizes["time"] != time.size:
        raise InputError(
            f"{name} has {array.sizes['time']} days, not {time.size}", "give one value a day", name
        )
    missing = ~np.isfinite(array.values)
    if missing.any():
        unknown = missing.reshape(-1, time.size).any(axis=0)
        first = str(time.values[np.argmax(unknown)])[:10]
        raise InputError(
            f"{int(unknown.sum())} days have no value, the first on {first}",
            "fill the gaps (fill_gaps) or leave those years out",
            name,
        )
    return array


def as_setting(name: str, value, alone: str | None = None) -> xr.DataArray:
    """Return a setting as a DataArray.

    Parameters
    ----------
    name : str
        The argument, for errors.
    value : float, array_like or DataArray
        The setting.
    alone : str, optional
        Dimension that a plain number or list is laid along.

    Returns
    -------
    DataArray
        Floats; a number or a list laid along ``alone`` where that is given.

    Raises
    ------
    InputError
        If it is not a number, or a list for which no dimension is known.
    """
    try:
        if isinstance(value, xr.DataArray):
            array = value.astype(float)
        else:
            plain = np.asarray(value, dtype=float)
            if alone:
                plain = np.atleast_1d(plain)
            if plain.ndim > (1 if alone else 0):
                raise InputError(
                    "a list without a named dimension", "give a DataArray that names its dimension", name
                )
            labels = {alone: plain} if alone == "capacity" else {}
            array = xr.DataArray(plain, labels, dims=(alone,) if alone else ())
    except (TypeError, ValueError) as error:
        if isinstance(error, InputError):
            raise
        raise InputError(f"{value!r} is not a number", "give a number", name) from None
    if "time" in array.dims:
        raise InputError("it varies from day to day", "give one value for the whole record", name)
    if np.isnan(array.values).any():
        raise InputError("it holds a missing value", "give a number for each", name)
    if array.size == 0:
        raise InputError("it is empty", "give at least one value", name)
    if alone == "capacity" and array.dims == ("capacity",) and "capacity" not in array.coords:
        array = array.assign_coords(capacity=array.values)
    return array


def check_range(name: str, values: xr.DataArray, low: float, high: float) -> None:
    """Refuse values outside a range, naming the first.

    Parameters
    ----------
    name : str
        The argument.
    values : DataArray
        Its values.
    low, high : float
        The range, both ends allowed.

    Raises
    ------
    InputError
        If a value lies outside.
    """
    wrong = (values.values < low) | (values.values > high)
    if wrong.any():
        worst = values.values[wrong].flat[0]
        span = f"at least {low:g}" if math.isinf(high) else f"from {low:g} to {high:g}"
        raise InputError(f"{worst:g} is out of range", f"give {name} {span}", name)


def year_edges(time: xr.DataArray, year_start_month: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return where each hydrological year begins, its name and its days.

    Parameters
    ----------
    time : DataArray
        The days; plain numbers make years of 365 days.
    year_start_month : int [1]
        First month of the hydrological year.

    Returns
    -------
    tuple of ndarray
        Index of each first day and then the number of days; the year in which each begins; its days
        within the record.

    Raises
    ------
    InputError
        If the month is not 1 to 12.
    """
    if year_start_month not in range(1, 13):
        raise InputError(f"{year_start_month!r} is no month", "give a month from 1 to 12", "year_start_month")
    if np.issubdtype(time.dtype, np.datetime64):
        first = int(time.values[0].astype("datetime64[D]").astype(np.int64))
        return _edges_of_days(first, time.size, year_start_month)
    if np.issubdtype(time.dtype, np.integer):
        return _edges(np.arange(time.size) // 365)
    return _edges(time.dt.year.values - (time.dt.month.values < year_start_month))


@lru_cache(maxsize=64)
def _edges_of_days(first: int, size: int, year_start_month: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return the edges for days that follow one another from a first one (kept: sliders ask again and again)."""
    months = np.arange(first, first + size).astype("datetime64[D]").astype("datetime64[M]").astype(np.int64)
    return _edges(1970 + months // 12 - (months % 12 + 1 < year_start_month))


def _edges(name: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return where each year begins, its name and its days, from the name of every day's year."""
    first = np.flatnonzero(np.diff(name, prepend=name[0] - 1))
    edges = np.append(first, name.size).astype(np.int64)
    return edges, name[first], np.diff(edges)
