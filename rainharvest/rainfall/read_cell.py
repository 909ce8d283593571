"""Which place of a netCDF variable is meant: one station, or the nearest cell, with its distance."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import xarray as xr

from rainharvest.errors import InputError
from rainharvest.rainfall.read_plan import Hints
from rainharvest.sources import Default

EARTH_RADIUS = 6371.0
"""Mean radius of the earth [km]."""

FARTHEST = Default(1.5, "1", "cells, from the nearest centre, that a grid can stand for", "own choice")

FARTHEST_STATION = Default(10.0, "km", "beyond it a station is not the one meant", "own choice")

_UNITS = {
    "latitude": ("degrees_north", "degree_north", "degrees_n", "degree_n", "degreesn"),
    "longitude": ("degrees_east", "degree_east", "degrees_e", "degree_e", "degreese"),
}
_NAMES = {
    "latitude": ("lat", "latitude", "nav_lat", "xlat"),
    "longitude": ("lon", "longitude", "nav_lon", "xlong", "long"),
    "time": ("time", "valid_time", "t", "date"),
}


def axis(data: xr.Dataset, rain: xr.DataArray, role: str) -> str | None:
    """Return the name of a variable's time, latitude or longitude: by its CF attributes, then its name.

    Parameters
    ----------
    data : Dataset
        The file.
    rain : DataArray [mm/day]
        The rain variable, in its own unit.
    role : str
        "time", "latitude" or "longitude".

    Returns
    -------
    str or None
        The variable's name.
    """
    names = [str(n) for n in data.variables if set(data[n].dims) <= set(rain.dims)]
    for name in names:
        attrs = data[name].attrs
        if attrs.get("standard_name") == role or str(attrs.get("units", "")).lower() in _UNITS.get(role, ()):
            if name != rain.name and (role != "time" or data[name].ndim <= 1):
                return name
    for name in names:
        if (
            role == "time"
            and (data[name].attrs.get("axis") == "T" or _is_time(data[name]))
            and data[name].ndim == 1
        ):
            return name
    return next((n for n in names if n.lower() in _NAMES[role] and n != rain.name), None)


def _is_time(variable: xr.DataArray) -> bool:
    return np.issubdtype(variable.dtype, np.datetime64)


def distance(lat: np.ndarray, lon: np.ndarray, place: tuple[float, float]) -> np.ndarray:
    """Return great-circle distances [km] by the haversine formula.

    Parameters
    ----------
    lat, lon : array of float
        Places, in degrees.
    place : tuple of float
        Latitude and longitude, in degrees.

    Returns
    -------
    array of float
        Distances in km.

    Examples
    --------
    >>> round(float(distance(0.0, 1.0, (0.0, 0.0))), 1)
    111.2
    """
    p1, p2 = np.radians(lat), np.radians(place[0])
    half = np.sin((p1 - p2) / 2) ** 2 + np.cos(p1) * np.cos(p2) * np.sin(np.radians(lon - place[1]) / 2) ** 2
    return 2 * EARTH_RADIUS * np.arcsin(np.sqrt(np.clip(half, 0, 1)))


def asked_place(at: object) -> tuple[float, float]:
    """Return ``at`` as latitude and longitude.

    Parameters
    ----------
    at : object
        What the caller gave.

    Returns
    -------
    tuple of float
        Latitude and longitude.

    Raises
    ------
    InputError
        If it is no such pair.
    """
    try:
        lat, lon = (float(x) for x in at)
        good = abs(lat) <= 90 and abs(lon) <= 360
    except (TypeError, ValueError):
        good = False
    if not good:
        raise InputError(f"{at!r} is no place", "give at=(latitude, longitude) in degrees", "at")
    return lat, lon


def cell(
    data: xr.Dataset, rain: xr.DataArray, time: str, hints: Hints, facts: dict, notes: list[str]
) -> xr.DataArray:
    """Select the place that the caller means.

    Parameters
    ----------
    data : Dataset
        The file.
    rain : DataArray
        The rain variable.
    time : str
        Its time coordinate.
    hints : Hints
        ``at``: (latitude, longitude) or the name of a station.
    facts : dict
        Latitude, longitude and site are added.
    notes : list of str
        Assumptions are added.

    Returns
    -------
    DataArray
        On time alone.

    Raises
    ------
    InputError
        If several places are there and none is named, or the one named is not covered.
    """
    along = data[time].dims
    lat, lon = axis(data, rain, "latitude"), axis(data, rain, "longitude")
    dims = [d for d in rain.dims if d not in along]
    spread = {d for name in (lat, lon) if name for d in data[name].dims if d not in along}
    for dim in [d for d in dims if d not in spread and rain.sizes[d] > 1]:
        if (label := _labels(data, dim)) is not None:
            return _by_name(data, rain, dim, label, hints, facts)
        raise InputError(
            f"the rain also varies along {dim!r} ({rain.sizes[dim]} values)",
            "select one of them first",
            str(dim),
        )
    rain = rain.isel({d: 0 for d in dims if d not in spread})
    if not spread:
        _add_facts(data, rain, lat, lon, {}, facts)
        return rain
    sizes = {d: rain.sizes[d] for d in spread}
    if hints.at is None and int(np.prod([*sizes.values()])) > 1:
        if len(spread) == 1 and (label := _labels(data, next(iter(spread)))) is not None:
            return _by_name(data, rain, next(iter(spread)), label, hints, facts)
        raise InputError(
            f"the file is a grid of {' by '.join(map(str, sizes.values()))} cells",
            "say at=(latitude, longitude)",
            "at",
        )
    if isinstance(hints.at, str):
        dim = next(iter(spread))
        return _by_name(data, rain, dim, _labels(data, dim) or [], hints, facts)
    if hints.at is None:
        index: Mapping = dict.fromkeys(spread, 0)
    elif lat is None or lon is None:
        raise InputError("the grid has no latitude and longitude", "give a file with CF coordinates", "at")
    else:
        index = _nearest(data, rain, lat, lon, asked_place(hints.at), notes)
    _add_facts(data, rain, lat, lon, index, facts)
    out = rain.isel(index)
    if hints.at is not None and bool(out.isnull().all()):
        raise InputError(
            f"the nearest cell ({facts['latitude']:g}, {facts['longitude']:g}) holds no values (a mask)",
            "say at= of a cell that does",
            "at",
        )
    return out


def _add_facts(data, rain, lat, lon, index, facts) -> None:
    for role, name in (("latitude", lat), ("longitude", lon)):
        if name is not None:
            value = data[name].isel({d: i for d, i in index.items() if d in data[name].dims})
            if value.size == 1:
                facts[role] = round(float(value.values.reshape(-1)[0]), 6)
    if "longitude" in facts:
        facts["longitude"] = round((facts["longitude"] + 180) % 360 - 180, 6)


def _labels(data: xr.Dataset, dim: str) -> list[str] | None:
    """Return the names of the stations along a dimension."""
    for name in data.variables:
        variable = data[name]
        if variable.dims == (dim,) and (
            variable.attrs.get("cf_role") == "timeseries_id"
            or variable.dtype.kind in "SUOT"
            and variable.dtype.kind != "M"
        ):
            return [
                v.decode("utf-8", "replace").strip() if isinstance(v, bytes) else str(v).strip()
                for v in variable.values
            ]
    return None


def _by_name(data, rain, dim, labels: list[str], hints: Hints, facts) -> xr.DataArray:
    shown = ", ".join(labels[:12])
    if hints.at is None:
        raise InputError(
            f"the file holds more than one site: {shown}", "say which with at=, by its name", "at"
        )
    if not isinstance(hints.at, str):
        raise InputError(
            "the sites have names but no latitude and longitude", f"say at= one of: {shown}", "at"
        )
    found = [i for i, label in enumerate(labels) if label.lower() == hints.at.strip().lower()]
    if len(found) != 1:
        raise InputError(f"no site is called {hints.at!r}", f"name one of: {shown}", "at")
    facts["site"] = labels[found[0]]
    _add_facts(
        data, rain, axis(data, rain, "latitude"), axis(data, rain, "longitude"), {dim: found[0]}, facts
    )
    return rain.isel({dim: found[0]})


def _nearest(data, rain, lat: str, lon: str, place: tuple[float, float], notes: list[str]) -> dict[str, int]:
    """Return the index of the nearest cell or station; refuse a place that the file does not cover."""
    lats, lons = data[lat], data[lon]
    if lats.dims == lons.dims and lats.ndim == 1:  # stations along one dimension
        away = np.nan_to_num(distance(lats.values, lons.values, place), nan=np.inf)
        i = int(away.argmin())
        _check(away[i], FARTHEST_STATION.value, "station", lats.values[i], lons.values[i], notes)
        return {lats.dims[0]: i}
    if lats.ndim <= 1 and lons.ndim <= 1:
        y, x = np.atleast_1d(lats.values).astype(float), np.atleast_1d(lons.values).astype(float)
        i = int(np.abs(y - place[0]).argmin())
        j = int(np.abs((x - place[1] + 180) % 360 - 180).argmin())
        away = float(distance(y[i], x[j], place))
        high, wide = _spacing(y), _spacing(x)
        high, wide = high or wide or 0.25, wide or high or 0.25
        size = max(high, wide * float(np.cos(np.radians(y[i]))))
        limit = FARTHEST.value * float(np.radians(size)) * EARTH_RADIUS
        _check(away, limit, "cell", y[i], x[j], notes)
        return {d: k for name, k in ((lats, i), (lons, j)) for d in name.dims}
    lats, lons = xr.broadcast(lats, lons)
    away = np.nan_to_num(distance(lats.values, lons.values, place), nan=np.inf)
    at = np.unravel_index(int(away.argmin()), away.shape)
    here = (float(lats.values[at]), float(lons.values[at]))
    steps = []
    for k in range(away.ndim):
        beside = list(at)
        beside[k] += 1 if at[k] + 1 < away.shape[k] else -1
        if away.shape[k] > 1:
            steps.append(float(distance(lats.values[tuple(beside)], lons.values[tuple(beside)], here)))
    _check(float(away[at]), FARTHEST.value * max(steps or [25.0]), "cell", *here, notes)
    return dict(zip(lats.dims, map(int, at), strict=True))


def _spacing(values: np.ndarray) -> float:
    return float(np.median(np.abs(np.diff(values)))) if len(values) > 1 else 0.0


def _check(away: float, limit: float, what: str, lat: float, lon: float, notes: list[str]) -> None:
    where = f"{what} at {float(lat):g}, {(float(lon) + 180) % 360 - 180:g}"
    if not away <= limit:
        raise InputError(
            f"the nearest {where} is {away:.0f} km away, beyond the {limit:.0f} km that it can stand for",
            "give a file that covers the place, or at= within it",
            "at",
        )
    notes.append(f"the nearest {where} stands for the place, {away:.1f} km away")
