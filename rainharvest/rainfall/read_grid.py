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
from cf_xarray.criteria import coordinate_criteria

from rainharvest.core.errors import InputError, require_file
from rainharvest.rainfall.calendars import SHORT, standard_stamps
from rainharvest.rainfall.flags import Flag
from rainharvest.rainfall.read_columns import looks_like_rain, parse_unit
from rainharvest.rainfall.read_days import SUB_DAILY, Readings, one_step_each, usual_step
from rainharvest.rainfall.read_layout import Preamble
from rainharvest.rainfall.read_open import Source, unpacked
from rainharvest.rainfall.read_rows import Hints, file_unit, one_of
from rainharvest.rainfall.read_values import FIRST_YEAR, LAST_YEAR, LIMITS, NEGATIVE_CODES, READING, plural
from rainharvest.rainfall.refusals import refusal, refuse_unless

EARTH_RADIUS = 6371.0  # mean radius of the earth [km]

QUARTER_DEGREE = 27.8  # [km] the size of a cell that stands alone

NAMES = {key: frozenset(words.split()) for key, words in READING["netcdf"].items()}


def axis(data: xr.Dataset, rain: xr.DataArray, role: str) -> str | None:
    """Return the name of a variable's time, latitude or longitude: by its CF attributes, then its name."""
    near = {str(n): v for n, v in data.variables.items() if set(v.dims) <= set(rain.dims) and n != rain.name}
    found = [name for name, variable in near.items() if _marked(variable, role)]
    if role == "time":
        found = [name for name in found if near[name].ndim <= 1]
        found += [
            name for name, variable in near.items() if variable.ndim == 1 and variable.dtype.kind == "M"
        ]
    found += [name for name in near if name.lower() in NAMES[role]]
    return found[0] if found else None


def _marked(variable: xr.Variable, role: str) -> bool:
    """Tell whether a variable's attributes mark its role (standard name, unit, axis), as CF has it."""
    return any(
        str(variable.attrs.get(key, "")).lower() in map(str.lower, said)
        for key, said in coordinate_criteria[role].items()
    )


def distance(lat: np.ndarray, lon: np.ndarray, place: tuple[float, float]) -> np.ndarray:
    """Return great-circle distances [km] by the haversine formula.

    >>> round(float(distance(0.0, 1.0, (0.0, 0.0))), 1)
    111.2
    """
    p1, p2 = np.radians(lat), np.radians(place[0])
    half = np.sin((p1 - p2) / 2) ** 2 + np.cos(p1) * np.cos(p2) * np.sin(np.radians(lon - place[1]) / 2) ** 2
    return 2 * EARTH_RADIUS * np.arcsin(np.sqrt(np.clip(half, 0, 1)))


def given_place(at: object) -> tuple[float, float]:
    """Return ``at`` as latitude and longitude."""
    try:
        lat, lon = (float(x) for x in at)
        good = abs(lat) <= 90 and abs(lon) <= 360
    except (TypeError, ValueError):
        good = False
    refuse_unless(good, "no_place", at=at)
    return lat, lon


def _cell(data: xr.Dataset, rain: xr.DataArray, time: str, at: object, notes: list[str]) -> tuple:
    """Select the place that the caller means; return its rain and what is known of the place."""
    along = data[time].dims
    lat, lon = axis(data, rain, "latitude"), axis(data, rain, "longitude")
    dims = [d for d in rain.dims if d not in along]
    spread = [d for d in dims if any(d in data[name].dims for name in (lat, lon) if name)]
    for dim in [d for d in dims if d not in spread and rain.sizes[d] > 1]:
        if (labels := _labels(data, dim)) is not None:
            index, site = _named(dim, labels, at)
            return rain.isel(index), site | _where(data, lat, lon, index)
        raise refusal("another_dimension", dim=dim, size=rain.sizes[dim])
    rain = rain.isel({d: 0 for d in dims if d not in spread})
    sizes = [rain.sizes[d] for d in spread]
    asks = at is None and max(sizes, default=1) > 1
    labels = _labels(data, spread[0]) if spread else None
    if spread and isinstance(at, str) or asks and len(spread) == 1 and labels is not None:
        index, site = _named(spread[0], labels or [], at)
        return rain.isel(index), site | _where(data, lat, lon, index)
    refuse_unless(not asks, "which_cell", cells=" by ".join(map(str, sizes)))
    if not spread or at is None:
        index = dict.fromkeys(spread, 0)
        return rain.isel(index), _where(data, lat, lon, index)
    refuse_unless(lat is not None and lon is not None, "unplaced_grid")
    index = _nearest(data[lat], data[lon], given_place(at), notes)
    facts = _where(data, lat, lon, index)
    out = rain.isel(index)
    refuse_unless(not out.isnull().all(), "masked_cell", **facts)
    return out, facts


def _where(data: xr.Dataset, lat: str | None, lon: str | None, index: Mapping) -> dict[str, object]:
    """Return the latitude and longitude of a place, as far as they are known."""
    facts: dict[str, object] = {}
    for role, name in (("latitude", lat), ("longitude", lon)):
        if name is not None:
            value = data[name].isel(index, missing_dims="ignore")
            if value.size == 1:
                facts[role] = round(float(value.values.reshape(-1)[0]), 6)
    if "longitude" in facts:
        facts["longitude"] = round((facts["longitude"] + 180) % 360 - 180, 6)
    return facts


def _labels(data: xr.Dataset, dim: str) -> list[str] | None:
    """Return the names of the stations along a dimension."""
    for variable in data.variables.values():
        named = variable.attrs.get("cf_role") == "timeseries_id" or variable.dtype.kind in "SUOT"
        if variable.dims == (dim,) and named:
            texts = (v.decode("utf-8", "replace") if isinstance(v, bytes) else v for v in variable.values)
            return [str(text).strip() for text in texts]
    return None


def _named(dim: str, labels: list[str], at: object) -> tuple[dict[str, int], dict[str, object]]:
    """Return the index of the site that ``at`` names, and its name."""
    refuse_unless(at is None or isinstance(at, str), "unplaced_sites", names=", ".join(labels[:12]))
    found = one_of(labels, at)
    return {dim: found}, {"site": labels[found]}


def _nearest(
    lat: xr.DataArray, lon: xr.DataArray, place: tuple[float, float], notes: list[str]
) -> dict[str, int]:
    """Return the index of the nearest cell or station; refuse a place that the file does not cover."""
    stations = lat.dims == lon.dims and lat.ndim == 1
    if lat.ndim <= 1 and lon.ndim <= 1 and not stations:
        apart = (abs(lat - place[0]), abs((lon - place[1] + 180) % 360 - 180))
        index = {dim: int(one.argmin()) for one in apart for dim in one.dims}
    else:
        away = distance(*xr.broadcast(lat, lon), place)
        index = {dim: int(at) for dim, at in away.fillna(np.inf).argmin(dim=[*away.dims]).items()}

    def at(place: Mapping[str, int]) -> tuple[float, float]:
        return tuple(float(one.isel(place, missing_dims="ignore")) for one in (lat, lon))

    here, sizes = at(index), {**lat.sizes, **lon.sizes}
    beside = [
        index | {dim: k + 1 if k + 1 < sizes[dim] else k - 1} for dim, k in index.items() if sizes[dim] > 1
    ]
    step = np.nanmax([0.0, *(float(distance(*at(other), here)) for other in beside)]) or QUARTER_DEGREE
    most = LIMITS["farthest_station"].value if stations else LIMITS["farthest"].value * step
    away = float(distance(*here, place))
    where = f"{'station' if stations else 'cell'} at {here[0]:g}, {(here[1] + 180) % 360 - 180:g}"
    refuse_unless(away <= most, "far_away", where=where, away=away, most=most)
    notes.append(f"the nearest {where} stands for the place, {away:.1f} km away")
    return index


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
        short = " ".join(str(error).split())[:160] or type(error).__name__
        raise refusal("damaged_netcdf", error=short) from None


@contextmanager
def _dataset(source: Source) -> Iterator[xr.Dataset]:
    with tempfile.TemporaryDirectory() as folder:
        path = os.fspath(source.path)
        if source.packing:
            path = os.path.join(folder, "unpacked.nc")
            with unpacked(source.path, source.packing) as packed, open(path, "wb") as out:
                shutil.copyfileobj(packed, out)
        with open_netcdf(path) as data:
            yield data


def open_netcdf(path: str) -> xr.Dataset:
    """Open the root of a netCDF file, or the one group that holds variables with a time; nothing is read yet."""
    require_file(path)
    with open(path, "rb") as handle:
        classic = handle.read(4) in (b"CDF\x01", b"CDF\x02")
    if classic:
        # the C library can loop for minutes over a damaged classic header; scipy's reader stops at once
        return xr.open_dataset(path, engine="scipy", decode_timedelta=False)
    import netCDF4

    with netCDF4.Dataset(path) as raw:
        longest = max((len(d) for d in raw.dimensions.values()), default=0)
        top = any(v.ndim and name not in raw.dimensions for name, v in raw.variables.items())
        groups = [name for name, group in raw.groups.items() if group.variables]
    refuse_unless(longest <= LIMITS["rows"].value, "many_times")
    group = None if top or not groups else groups[0]
    refuse_unless(group is None or len(groups) == 1, "no_variables")
    return xr.open_dataset(path, engine="netcdf4", group=group, decode_timedelta=False)


def _read(data: xr.Dataset, hints: Hints) -> Readings:
    notes: list[str] = []
    name = rain_variable(data, hints, notes)
    time = axis(data, data[name], "time")
    refuse_unless(time is not None, "no_time", name=name)
    rain, facts = _cell(data, data[name], time, hints.at, notes)
    stamp, begins = day_stamps(data, data[time], notes)
    refuse_unless(len(stamp), "no_times")
    step = usual_step(stamp)
    unit = file_unit(hints, [parse_unit(str(rain.attrs.get("units", "")))], Preamble(), name, notes)
    raw = np.atleast_1d(np.asarray(rain.values, dtype=float))
    refuse_unless(raw.shape == stamp.shape, "not_one_a_time", name=name)
    raw = np.where(np.isclose(raw, _never_written(rain), rtol=1e-6, atol=0), np.nan, raw)
    values, flags = _clean(raw, unit, step, notes)
    ends = begins is None and step < SUB_DAILY and name == "tp"
    if ends:
        notes.append("tp is accumulated to the end of each step, as its maker defines it")
    if step >= SUB_DAILY and begins is None:
        notes.append(
            f"no time bounds: each value, stamped {str(stamp[0])[11:16]}, was taken for the day of its date"
        )
    when = stamp if begins is None else begins
    return one_step_each(when, values, flags, facts=facts, notes=tuple(notes), step=step, stamp_ends=ends)


def rain_variable(data: xr.Dataset, hints: Hints, notes: list[str]) -> str:
    """Choose the variable that is the rain."""
    timed = [
        str(n)
        for n, v in data.data_vars.items()
        if v.ndim and np.issubdtype(v.dtype, np.number) and axis(data, v, "time")
    ]
    if hints.column is not None:
        known = hints.column in data.data_vars
        refuse_unless(known, "no_such_variable", column=hints.column, names=", ".join(timed))
        return str(hints.column)
    rain = [n for n in timed if data[n].attrs.get("standard_name") in NAMES["rain"]]
    rain = rain or [n for n in timed if looks_like_rain(n)]
    rain = rain or [n for n in timed if looks_like_rain(str(data[n].attrs.get("long_name", "")))]
    if not rain and len(timed) == 1:
        notes.append(f"{timed[0]!r}, the only variable with a time, was taken for the rain")
        return timed[0]
    if len(rain) == 1:
        return rain[0]
    refuse_unless(timed, "no_timed_variable")
    kind = "which_variable" if rain else "no_rain_variable"
    raise refusal(kind, names=", ".join((rain or timed)[:12]))


def day_stamps(
    data: xr.Dataset, time: xr.DataArray, notes: list[str]
) -> tuple[np.ndarray, np.ndarray | None]:
    """Return the stamps and, where there are bounds, when each interval begins."""
    stamp = _plain(np.atleast_1d(time.values), notes)
    bounds = time.attrs.get("bounds") or time.encoding.get("bounds")
    if bounds not in data.variables or np.issubdtype(data[bounds].dtype, np.number):
        return stamp, None
    edges = np.asarray(data[bounds].values)
    if edges.shape != (len(stamp), 2) or (edges[:, 1] <= edges[:, 0]).any():
        return stamp, None
    begins, length = edges[:, 0], edges[:, 1] - edges[:, 0]
    if np.median(length.astype("timedelta64[s]").astype(np.int64)) >= SUB_DAILY:
        # a day from 09:00 to 09:00 bears the date on which most of it lies, in the calendar of the file
        begins = begins + length // 2
        clock = str(edges[0, 0])[11:16]
        if clock != "00:00":
            notes.append(f"the days run from {clock} by their bounds and were given the date of their middle")
    return stamp, _plain(begins, [])


def _plain(moments: np.ndarray, notes: list[str]) -> np.ndarray:
    """Return times as datetime64[s] by their date on the wall; those of a short calendar by their place in the year."""
    dated = np.issubdtype(moments.dtype, np.datetime64)
    calendar = "" if dated else getattr(next(moments.flat, None), "calendar", "")
    refuse_unless(dated or calendar, "no_unit_of_time")
    refuse_unless(not dated or not np.isnat(moments).any(), "missing_times")
    years = xr.DataArray(moments, dims="time").dt.year.values
    inside = ((years >= FIRST_YEAR) & (years <= LAST_YEAR)).all()
    first, last = years.min(initial=LAST_YEAR), years.max(initial=FIRST_YEAR)
    refuse_unless(inside, "odd_years", first=first, last=last)
    if dated:
        return moments.astype("datetime64[s]")
    refuse_unless(calendar not in ("all_leap", "366_day"), "odd_calendar", calendar=calendar)
    if calendar in SHORT:
        notes.append(
            f"the calendar {calendar} was set on the days of the year by their place in it; "
            "the days that it lacks are unknown, not dry"
        )
        return standard_stamps(moments)
    if calendar == "julian":
        notes.append("the dates of the Julian calendar were taken as they stand")
    texts = [moment.strftime("%Y-%m-%dT%H:%M:%S") for moment in moments]
    return np.array(texts, dtype="datetime64[s]")


def _never_written(rain: xr.DataArray) -> float:
    """Return what the netCDF library leaves in cells never written, where the file names no fill of its own."""
    from netCDF4 import default_fillvals

    coding = rain.encoding
    fill = default_fillvals.get(np.dtype(coding.get("dtype", rain.dtype)).str[1:], np.nan)
    if "_FillValue" in coding or isinstance(fill, str):
        return np.nan
    return float(fill) * float(coding.get("scale_factor", 1)) + float(coding.get("add_offset", 0))


def _clean(raw: np.ndarray, unit, step: float, notes: list[str]) -> tuple[np.ndarray, np.ndarray]:
    """Turn values to mm; fill values that were not declared and packing dust are named."""
    raw = np.where(np.isfinite(raw), raw, np.nan)
    coded = np.isin(np.round(raw, 2), list(NEGATIVE_CODES))
    if coded.any():
        notes.append(f"{plural(int(coded.sum()), 'value')} with an undeclared missing code set to unknown")
    values = unit.mm(np.where(coded, np.nan, raw), step)
    dust = (values < 0) & (values > -LIMITS["packing_dust"].value)
    if dust.any():
        notes.append(f"{plural(int(dust.sum()), 'value')} a hair below zero (packing) set to 0")
    values = np.where(dust, 0.0, values)
    return values, np.where(np.isnan(values), Flag.MISSING, Flag.MEASURED).astype(np.int8)
