"""CF netCDF, a station or a grid: the variable, its unit, its calendar, its place."""

from __future__ import annotations

import os
import shutil
import tempfile
import warnings
from collections.abc import Iterator, Mapping
from contextlib import contextmanager

import numpy as np
import xarray as xr

from rainharvest.core.defaults import Default
from rainharvest.core.errors import InputError
from rainharvest.rainfall.flags import Flag
from rainharvest.rainfall.read_columns import looks_like_rain, parse_unit
from rainharvest.rainfall.read_days import Readings, usual_step
from rainharvest.rainfall.read_layout import Preamble
from rainharvest.rainfall.read_open import Source, unpacked
from rainharvest.rainfall.read_rows import Hints, file_unit
from rainharvest.rainfall.read_values import NEGATIVE_CODES, plural

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
    """Return the name of a variable's time, latitude or longitude: by its CF attributes, then its name."""
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

    >>> round(float(distance(0.0, 1.0, (0.0, 0.0))), 1)
    111.2
    """
    p1, p2 = np.radians(lat), np.radians(place[0])
    half = np.sin((p1 - p2) / 2) ** 2 + np.cos(p1) * np.cos(p2) * np.sin(np.radians(lon - place[1]) / 2) ** 2
    return 2 * EARTH_RADIUS * np.arcsin(np.sqrt(np.clip(half, 0, 1)))


def asked_place(at: object) -> tuple[float, float]:
    """Return ``at`` as latitude and longitude."""
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
    """Select the place that the caller means."""
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


PACKING_DUST = Default(
    0.01, "mm", "below zero by less than this is the rounding of a packed zero", "own choice"
)


MOST_TIMES = 50_000_000

"""Longest dimension read: 95 years of minutes; a longer one is a damaged header."""


RAIN_NAMES = frozenset(
    "precipitation_flux rainfall_flux lwe_precipitation_rate rainfall_rate precipitation_amount "
    "rainfall_amount lwe_thickness_of_precipitation_amount thickness_of_rainfall_amount".split()
)

"""CF standard names of rain."""


def read_netcdf(source: Source, hints: Hints) -> Readings:
    """Read the rain at one place from a netCDF file."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # what matters of them is said in words below
            with _dataset(source) as data:
                return _read(data, hints)
    except InputError:
        raise
    except Exception as error:  # a damaged file can raise anything out of the netCDF libraries
        raise InputError(
            f"the netCDF file is damaged or not CF ({_short(error)})", "fetch or export it again"
        ) from None


def _short(error: Exception) -> str:
    return " ".join(str(error).split())[:160] or type(error).__name__


@contextmanager
def _dataset(source: Source) -> Iterator[xr.Dataset]:
    if source.packing:
        with tempfile.TemporaryDirectory() as folder:
            path = os.path.join(folder, "unpacked.nc")
            with unpacked(source.path, source.packing) as packed, open(path, "wb") as out:
                shutil.copyfileobj(packed, out)
            with open_netcdf(path) as data:
                yield data
    else:
        with open_netcdf(os.fspath(source.path)) as data:
            yield data


def open_netcdf(path: str) -> xr.Dataset:
    """Open the root of a netCDF file, or the one group that holds variables with a time; nothing is read yet."""
    with open(path, "rb") as handle:
        classic = handle.read(4) in (b"CDF\x01", b"CDF\x02")
    if classic:
        # the C library can loop for minutes over a damaged classic header; scipy's reader stops at once
        return xr.open_dataset(path, engine="scipy", decode_timedelta=False)
    import netCDF4

    with netCDF4.Dataset(path) as raw:
        if max((len(d) for d in raw.dimensions.values()), default=0) > MOST_TIMES:
            raise InputError("its header promises more times than any record has", "fetch the file again")
        top = any(v.ndim and name not in raw.dimensions for name, v in raw.variables.items())
        groups = [name for name, group in raw.groups.items() if group.variables]
    if top or not groups:
        return xr.open_dataset(path, engine="netcdf4", decode_timedelta=False)
    if len(groups) != 1:
        raise InputError("the file holds no variables at its top", "extract the rain to a file of its own")
    return xr.open_dataset(path, engine="netcdf4", group=groups[0], decode_timedelta=False)


def _read(data: xr.Dataset, hints: Hints) -> Readings:
    notes: list[str] = []
    name = rain_variable(data, hints, notes)
    rain = data[name]
    time = axis(data, rain, "time")
    if time is None:
        raise InputError(f"{name!r} has no time", "name a variable with a time axis", "column")
    facts: dict[str, object] = {}
    rain = cell(data, rain, time, hints, facts, notes)
    stamp, begins = day_stamps(data, data[time], notes)
    step = _interval(data, data[time], begins)
    unit = file_unit(hints, [parse_unit(str(rain.attrs.get("units", "")))], Preamble(), name, notes)
    raw = np.atleast_1d(np.asarray(rain.values, dtype=float))
    if raw.ndim != 1 or len(raw) != len(stamp):
        raise InputError(
            f"{name!r} does not have one value a time", "give a variable of time and place", name
        )
    values, flags = _clean(raw, unit, step, notes)
    ends = begins is None and step < 0.75 * 86400 and name == "tp"
    if ends:
        notes.append("tp is accumulated to the end of each step, as its maker defines it")
    if step < 0.75 * 86400:
        _refuse_piled(stamp, values, step)
    elif begins is None:
        notes.append(
            f"no time bounds: each value, stamped {str(stamp[0])[11:16]}, was taken for the day of its date"
        )
    one, none = np.ones(len(values), dtype=np.int64), np.array([], dtype=np.int64)
    when = stamp if begins is None else begins
    return Readings(when, values, flags, one, none, facts, tuple(notes), step, ends)


def rain_variable(data: xr.Dataset, hints: Hints, notes: list[str]) -> str:
    """Choose the variable that is the rain."""
    timed = [
        str(n)
        for n, v in data.data_vars.items()
        if v.ndim and np.issubdtype(v.dtype, np.number) and axis(data, v, "time")
    ]
    if hints.column is not None:
        if hints.column not in data.data_vars:
            raise InputError(
                f"no variable is called {hints.column!r}", f"name one of: {', '.join(timed)}", "column"
            )
        return str(hints.column)
    rain = [n for n in timed if data[n].attrs.get("standard_name") in RAIN_NAMES]
    rain = rain or [n for n in timed if looks_like_rain(n)]
    rain = rain or [n for n in timed if looks_like_rain(str(data[n].attrs.get("long_name", "")))]
    if not rain and len(timed) == 1:
        notes.append(f"{timed[0]!r}, the only variable with a time, was taken for the rain")
        return timed[0]
    if len(rain) == 1:
        return rain[0]
    if not timed:
        raise InputError("no variable has a time axis", "give a file with rain by day")
    problem = "more than one variable may be the rain" if rain else "no variable is plainly the rain"
    raise InputError(f"{problem}: {', '.join((rain or timed)[:12])}", "say which with column=", "column")


def day_stamps(
    data: xr.Dataset, time: xr.DataArray, notes: list[str]
) -> tuple[np.ndarray, np.ndarray | None]:
    """Return the stamps and, where there are bounds, when each interval begins."""
    stamp = _plain(time, notes)
    bounds = time.attrs.get("bounds") or time.encoding.get("bounds")
    if bounds not in data.variables:
        return stamp, None
    edges = data[bounds]
    edges = _plain(edges, []) if not np.issubdtype(edges.dtype, np.number) else None
    if edges is None or edges.shape != (len(stamp), 2):
        return stamp, None
    begins, length = edges[:, 0], (edges[:, 1] - edges[:, 0]).astype(np.int64)
    if (length <= 0).any():
        return stamp, None
    if np.median(length) >= 0.75 * 86400:
        # a day from 09:00 to 09:00 bears the date on which most of it lies
        begins = begins + (length // 2).astype("timedelta64[s]")
        clock = str(edges[0, 0])[11:16]
        if clock != "00:00":
            notes.append(f"the days run from {clock} by their bounds and were given the date of their middle")
    return stamp, begins


def _plain(time: xr.DataArray, notes: list[str]) -> np.ndarray:
    """Return times as datetime64[s] by their date on the wall, whatever their calendar."""
    values = np.asarray(time.values)
    if np.issubdtype(values.dtype, np.datetime64):
        stamp = np.atleast_1d(values.astype("datetime64[s]"))
    elif values.dtype == object and values.size and hasattr(values.flat[0], "calendar"):
        calendar = values.flat[0].calendar
        if calendar in ("360_day", "all_leap", "366_day"):
            raise InputError(
                f"the calendar {calendar!r} has days that the year does not",
                "convert the file to the standard calendar first, and say in the study how",
                "time",
            )
        texts = [t.strftime("%Y-%m-%dT%H:%M:%S") for t in values.flat]
        stamp = np.array(texts, dtype="datetime64[s]").reshape(values.shape)
        if calendar in ("noleap", "365_day"):
            notes.append("the calendar has no 29 February; those days are unknown, not dry")
        elif calendar == "julian":
            notes.append("the dates of the Julian calendar were taken as they stand")
    else:
        raise InputError(
            "the times have no unit such as 'days since 1990-01-01'", "give the time its unit", "time"
        )
    if np.isnat(stamp).any():
        raise InputError("some times are missing", "repair the time axis", "time")
    years = stamp.astype("datetime64[Y]").astype(np.int64) + 1970
    if years.size and not (1600 <= years.min() and years.max() <= 2200):
        raise InputError(
            f"the years run from {years.min()} to {years.max()}", "repair the unit of time", "time"
        )
    return stamp


def _interval(data: xr.Dataset, time: xr.DataArray, begins: np.ndarray | None) -> float:
    stamp = _plain(time, [])
    if not len(stamp):
        raise InputError("the file has no times in it", "check that this is the file meant")
    return usual_step(stamp)


def _clean(raw: np.ndarray, unit, step: float, notes: list[str]) -> tuple[np.ndarray, np.ndarray]:
    """Turn values to mm; fill values that were not declared and packing dust are named."""
    raw = np.where(np.isfinite(raw), raw, np.nan)
    coded = np.isin(np.round(raw, 2), list(NEGATIVE_CODES))
    if coded.any():
        notes.append(f"{plural(int(coded.sum()), 'value')} with an undeclared missing code set to unknown")
    values = unit.mm(np.where(coded, np.nan, raw), step)
    dust = (values < 0) & (values > -PACKING_DUST.value)
    if dust.any():
        notes.append(f"{plural(int(dust.sum()), 'value')} a hair below zero (packing) set to 0")
    values = np.where(dust, 0.0, values)
    return values, np.where(np.isnan(values), Flag.MISSING, Flag.MEASURED).astype(np.int8)


def _refuse_piled(stamp: np.ndarray, values: np.ndarray, step: float) -> None:
    """Refuse sub-daily values that pile up from midnight: summing them counts rain many times over."""
    day = (stamp - np.timedelta64(int(step), "s")).astype("datetime64[D]")
    within = np.diff(day) == np.timedelta64(0)
    rises = np.diff(values)[within]
    wet = np.unique(day[1:][within][values[1:][within] > 0])
    if (
        len(wet) >= 3
        and (rises[~np.isnan(rises)] >= -1e-6).all()
        and (np.diff(values)[~within] < -1e-6).any()
    ):
        raise InputError(
            "the values pile up through each day (accumulated from midnight)",
            "keep the stamp 00:00, which holds the total of the day before, or take differences first",
        )
