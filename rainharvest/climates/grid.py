"""Gridded daily rain, or many sites: opened without being read, and checked before anything is computed."""

from __future__ import annotations

import glob
import math
import os
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import xarray as xr

from rainharvest.climates.tiles import Grid, read_raw, source_chunk
from rainharvest.core.errors import InputError
from rainharvest.rainfall.read_columns import Unit, asked_unit, parse_unit
from rainharvest.rainfall.read_grid import axis, day_stamps, open_netcdf, rain_variable
from rainharvest.rainfall.read_rows import Hints
from rainharvest.rainfall.read_values import LIMITS, plural

DAY = 86400

NO_LEAP = ("noleap", "365_day")


def common_unit(pieces: list[tuple[object, xr.DataArray]], hints: Hints, notes: list[str]) -> Unit:
    """Return the one unit of all pieces."""
    asked = asked_unit(hints.units)
    if asked:
        notes.append(f"rain was read in {asked.text}, as asked")
        return asked
    found: tuple[object, Unit] | None = None
    for file, rain in pieces:
        text = str(rain.attrs.get("units", ""))
        unit = parse_unit(text)
        if unit is None:
            said = f"says {text!r}, which is no unit of rain" if text else "states no unit"
            raise InputError(
                f"{rain.name!r} {said}", "say units='mm/day' (or 'kg m-2 s-1', ...)", "units", file
            )
        if found is None:
            found = file, unit
        elif (unit.factor, unit.per) != (found[1].factor, found[1].per):
            raise InputError(
                f"its unit is {unit.text}, that of {found[0]} is {found[1].text}",
                "convert the files to one unit first",
                "units",
                file,
            )
    if found[1].per in ("hour", "minute"):
        notes.append(f"{found[1].text} was taken for the mean rate of each day")
    return found[1]


def days_of(
    pieces: list[tuple[object, xr.Dataset, xr.DataArray]], notes: list[str]
) -> tuple[pd.DatetimeIndex, list[np.ndarray], np.ndarray]:
    """Return the days of all pieces, and where the times of each piece stand among them."""
    dates, short = [], False
    for file, data, time in pieces:
        try:
            stamps, begins = day_stamps(data, time, notes)
            if begins is None:
                notes.append("no time bounds: each value was taken for the day of its date")
            moments = stamps if begins is None else begins
            _refuse_other_steps(moments)
            short |= getattr(time.values.flat[0], "calendar", "") in NO_LEAP
            dates.append(moments.astype("datetime64[D]"))
        except InputError as error:
            raise error.at(file) if file is not None else error from None
    together = np.concatenate(dates)
    first, last = together.min(), together.max()
    days = np.arange(first, last + 1)
    count = np.bincount((together - first).astype(np.int64), minlength=days.size)
    _refuse_twice(pieces, dates, days, count)
    absent = days[count == 0]
    leap = (
        np.array([str(day)[5:] == "02-29" for day in absent], dtype=bool)
        if short
        else np.zeros(absent.size, bool)
    )
    if (~leap).any():
        raise InputError(
            f"{int((~leap).sum())} days are not in the files, the first {absent[~leap][0]}",
            "give files that follow one another without a gap",
            "time",
            pieces[-1][0] if len(pieces) > 1 else pieces[0][0],
        )
    if leap.any():
        notes.append(
            f"the calendar has no 29 February: {int(leap.sum())} of them were given the mean of the days beside them"
        )
    if days.size < 365:
        raise InputError(f"only {days.size} days", "give at least a year of daily rain", "time", pieces[0][0])
    index = pd.DatetimeIndex(days.astype("datetime64[ns]"), name="time")
    return index, [(d - first).astype(np.int64) for d in dates], np.flatnonzero(count == 0)


def _refuse_other_steps(stamps: np.ndarray) -> None:
    """Refuse months, hours, and times that do not rise."""
    if stamps.size < 2:
        return
    steps = np.diff(stamps.astype("datetime64[s]")).astype(np.int64)
    if (steps <= 0).any():
        at = str(stamps[1:][steps <= 0][0])[:10]
        raise InputError(f"the times do not rise at {at}", "sort the file by time, each day once", "time")
    step = float(np.median(steps))
    if step >= 28 * DAY:
        what = "monthly" if step <= 31 * DAY else "yearly" if step > 300 * DAY else "totals over many days"
        raise InputError(f"the rain is {what}", "give daily rain; totals cannot be undone", "time")
    if step < 0.75 * DAY:
        raise InputError(
            f"the rain comes in steps of {step / 3600:g} h", "sum it to days first, by the local day", "time"
        )
    if step != DAY:
        raise InputError(f"the steps are {step / DAY:g} days", "give daily rain", "time")


def _refuse_twice(pieces, dates, days, count) -> None:
    twice = np.flatnonzero(count > 1)
    if not twice.size:
        return
    day = days[twice[0]]
    file = [p[0] for p, d in zip(pieces, dates, strict=True) if day in d][-1]
    raise InputError(f"{day} stands twice", "give each day once: files must not overlap", "time", file)


PLACES = {"latitude": "latitude", "longitude": "longitude"}


def open_grid(
    source,
    *,
    column: str | None = None,
    units: str | None = None,
    mask: str | xr.DataArray | None = None,
    region: Sequence[float] | None = None,
) -> Grid:
    """Open daily rain at many places without reading it, and refuse what cannot be used.

    >>> days = pd.date_range("2001-01-01", periods=400)
    >>> rain = xr.DataArray(
    ...     np.ones((400, 2)), {"time": days, "site": ["a", "b"]}, ("time", "site"), attrs={"units": "mm/day"}
    ... )
    >>> open_grid(rain).space
    {'site': 2}
    """
    opened = _open(source)
    notes: list[str] = []
    hints = Hints(column=column, units=units)
    named = [_piece(data, hints, notes, file) for file, data in opened]
    named.sort(key=lambda one: str(one[2].values.flat[0]))
    files = [one[0] for one in named]
    first, rain = named[0][1], named[0][3]
    time = str(named[0][2].dims[0])
    for file, _, other_time, other in named[1:]:
        _same_places(rain, other, time, str(other_time.dims[0]), file)
    unit = common_unit([(one[0], one[3]) for one in named], hints, notes)
    days, places, leap = days_of([(one[0], one[1], one[2]) for one in named], notes)
    pieces = tuple(
        one[3].rename({str(one[2].dims[0]): "time"}).drop_vars("time", errors="ignore") for one in named
    )
    scale = max(abs(float(p.encoding.get("scale_factor", 0.0) or 0.0)) for p in pieces)
    dust = max(LIMITS["packing_dust"].value, float(unit.mm(np.array(1.001 * scale))))
    space = {str(d): n for d, n in rain.sizes.items() if d != time}
    grid = Grid(
        pieces=pieces,
        places=tuple(places),
        days=days,
        leap=leap,
        space=space,
        coords=_coords(first, rain, space),
        unit=unit,
        dust=dust,
        mask=_mask(first, mask, space),
        mean_intensity=_hardness(first, space),
        files=tuple(Path(f) for f in files if f is not None),
        notes=tuple(dict.fromkeys(notes)),
        invented="invented" in " ".join(map(str, first.attrs.values())).lower(),
    )
    return grid if region is None else within(grid, region)


def _open(source) -> list[tuple[object, xr.Dataset]]:
    """Return each file with its lazy Dataset; rain in memory has no file."""
    if isinstance(source, xr.DataArray):
        return [(None, source.to_dataset(name=source.name or "rain"))]
    if isinstance(source, xr.Dataset):
        return [(None, source)]
    given = [source] if isinstance(source, str | os.PathLike) else list(source)
    files: list[Path] = []
    for one in map(str, given):
        found = [one] if os.path.exists(one) else sorted(glob.glob(one))
        if not found:
            raise InputError("no such file or folder", "check the path or the pattern", "grid", one)
        files += [Path(file).absolute() for file in found]  # a worker of a cluster may stand elsewhere
    return [(file, _open_one(file)) for file in files]


def _open_one(file: Path) -> xr.Dataset:
    try:
        if file.is_dir():
            return xr.open_zarr(file, chunks=None, decode_timedelta=False)
        return open_netcdf(os.fspath(file))
    except InputError as error:
        raise error.at(file) from None
    except Exception as error:  # a damaged file can raise anything out of the libraries
        short = " ".join(str(error).split())[:160] or type(error).__name__
        raise InputError(
            f"it is damaged, or neither netCDF nor Zarr ({short})", "fetch or export it again", file=file
        ) from None


def _piece(data: xr.Dataset, hints: Hints, notes: list[str], file) -> tuple:
    """Return file, Dataset, time and rain of one piece."""
    try:
        name = rain_variable(data, hints, notes)
        rain = data[name]
        time = axis(data, rain, "time")
        if time is None:
            raise InputError(f"{name!r} has no time axis", "give daily rain with its dates", name)
        if data[time].ndim != 1:
            raise InputError("the time is a single moment", "give rain with a dimension of time", time)
        return file, data, data[time], rain
    except InputError as error:
        raise error.at(file) if file is not None else error from None


def _same_places(rain: xr.DataArray, other: xr.DataArray, time: str, other_time: str, file) -> None:
    """Refuse a piece whose places are not those of the first."""
    ours = {d: n for d, n in rain.sizes.items() if d != time}
    theirs = {d: n for d, n in other.sizes.items() if d != other_time}
    same = ours == theirs and all(
        np.array_equal(rain[d].values, other[d].values)
        for d in ours
        if d in rain.coords and d in other.coords
    )
    if not same:
        raise InputError(
            f"its places are {theirs}, where the first file has {ours}, or lie elsewhere",
            "give files of one grid",
            file=file,
        )


def _coords(data: xr.Dataset, rain: xr.DataArray, space: dict[str, int]) -> dict[str, xr.Variable]:
    """Return the coordinates of the places, latitude and longitude by these names."""
    found: dict[str, xr.Variable] = {}
    for role in PLACES:
        name = axis(data, rain, role)
        if name is not None and set(data[name].dims) <= set(space):
            attrs = {
                "units": "degrees_north" if role == "latitude" else "degrees_east",
                "standard_name": role,
            }
            found[name] = xr.Variable(data[name].dims, data[name].values.astype(float), attrs)
    for dim in space:
        if dim in rain.coords and dim not in found:
            found[dim] = rain[dim].variable.to_base_variable()
    return found


def _mask(data: xr.Dataset, mask, space: dict[str, int]) -> xr.DataArray | None:
    if mask is None:
        return None
    if isinstance(mask, str):
        if mask not in data.variables:
            raise InputError(f"no variable is called {mask!r}", "name a variable of the file", "mask")
        mask = data[mask].squeeze(drop=True)
    if not set(mask.dims) <= set(space) or any(mask.sizes[d] != space[d] for d in mask.dims):
        raise InputError(
            f"the mask has {dict(mask.sizes)}, the rain {space}",
            "give a mask on the grid of the rain",
            "mask",
        )
    values = mask.variable.to_base_variable().set_dims(space).transpose(*space).values
    return xr.DataArray(np.nan_to_num(np.asarray(values, dtype=float)) > 0, dims=tuple(space))


def _hardness(data: xr.Dataset, space: dict[str, int]) -> xr.DataArray | None:
    """Return the mean wet-hour intensity of each place, where the file has it."""
    if "mean_intensity" not in data.variables or not set(data.mean_intensity.dims) <= set(space):
        return None
    values = data.mean_intensity.variable.to_base_variable().set_dims(space).transpose(*space)
    return xr.DataArray(np.asarray(values.values, dtype=float), dims=tuple(space))


def within(grid: Grid, region: Sequence[float]) -> Grid:
    """Return the part of a grid between two parallels and two meridians."""
    by_role = {v.attrs.get("standard_name"): (n, v) for n, v in grid.coords.items()}
    try:
        south, north, west, east = (float(x) for x in region)
        (_, lat), (_, lon) = by_role["latitude"], by_role["longitude"]
    except KeyError:
        raise InputError("the rain has no latitude and longitude", "leave region out", "region") from None
    except (TypeError, ValueError):
        raise InputError(f"{region!r} is no region", "give south, north, west, east", "region") from None
    if lat.ndim != 1 or lon.ndim != 1 or lat.dims == lon.dims:
        raise InputError("latitude and longitude are not the grid's axes", "give a mask instead", "region")
    rows = np.flatnonzero((lat.values >= south) & (lat.values <= north))
    turn = (lon.values - west) % 360
    columns = np.flatnonzero(turn <= (east - west) % 360 if east - west < 360 else turn >= 0)
    if not rows.size or not columns.size:
        raise InputError(
            f"no place of the grid lies in {south:g} to {north:g}, {west:g} to {east:g}",
            "give south, north, west and east edges within the grid",
            "region",
        )
    if (np.diff(columns) != 1).any():
        raise InputError("the region crosses the edge of the grid", "turn the longitudes first", "region")
    cut = {lat.dims[0]: slice(rows[0], rows[-1] + 1), lon.dims[0]: slice(columns[0], columns[-1] + 1)}
    part = {d: len(range(n)[cut[d]]) if d in cut else n for d, n in grid.space.items()}
    return replace(
        grid,
        pieces=tuple(p.isel(cut) for p in grid.pieces),
        space=part,
        coords={n: v.isel({d: cut[d] for d in v.dims if d in cut}) for n, v in grid.coords.items()},
        mask=None if grid.mask is None else grid.mask.isel(cut),
        mean_intensity=None if grid.mean_intensity is None else grid.mean_intensity.isel(cut),
        notes=(
            *grid.notes,
            f"region {south:g} to {north:g}, {west:g} to {east:g}: {plural(math.prod(part.values()), 'place')}",
        ),
    )


DAYS, SAMPLED_PLACES = 5, 64

"""As many days of the whole grid, or as many places over all days, whichever decodes less."""


def check_sample(grid: Grid) -> None:
    """Look at a part of the rain and refuse what is plainly not daily rain."""
    values = grid.unit.mm(_some_places(grid) if source_chunk(grid)["time"] > 366 else _some_days(grid))
    file = grid.files[0] if grid.files else None
    known = values[np.isfinite(values) & (values > -90 * grid.unit.mm(np.array(1.0)))]
    if not known.size:  # the places looked at may all lie at sea
        values = grid.unit.mm(_some_days(grid))
        known = values[np.isfinite(values) & (values > -90 * grid.unit.mm(np.array(1.0)))]
    if not known.size:
        raise InputError(
            "no place has a value on the days looked at", "check the file and its mask", file=file
        )
    if (known < -grid.dust).mean() > 0.01:
        raise InputError(
            f"{100 * (known < -grid.dust).mean():.0f} % of the values looked at are below zero",
            "check that the variable is rain, and how it is packed",
            file=file,
        )
    if float(np.mean(known)) > 100.0:
        raise InputError(
            f"the mean of what was looked at is {float(np.mean(known)):,.0f} mm a day, which falls nowhere",
            "check the unit of the rain, and give units= if the file is wrong",
            "units",
            file,
        )


def _some_days(grid: Grid) -> np.ndarray:
    """Return the rain of a few days at all places, as the files have it."""
    days = np.linspace(1, grid.days.size - 2, DAYS).astype(int)
    sample = [read_raw(grid, {"time": slice(t, t + 1)})[..., 0] for t in days]
    return np.concatenate([day.ravel() if grid.mask is None else day[grid.mask.values] for day in sample])


def _some_places(grid: Grid) -> np.ndarray:
    """Return the rain of some places over all days, as the files have it."""
    wanted = np.arange(grid.cells) if grid.mask is None else np.flatnonzero(grid.mask.values)
    if not wanted.size:
        return np.empty(0)
    some = wanted[np.linspace(0, wanted.size - 1, min(SAMPLED_PLACES, wanted.size)).astype(int)]
    at = np.unravel_index(some, tuple(grid.space.values()))
    places = [dict(zip(grid.space, one, strict=True)) for one in zip(*at, strict=True)]
    return np.concatenate(
        [read_raw(grid, {d: slice(i, i + 1) for d, i in one.items()}).ravel() for one in places]
    )
