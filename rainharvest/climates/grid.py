"""Gridded daily rain, or many sites: opened without being read, and checked before anything is computed."""

from __future__ import annotations

import glob
import math
import os
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pandas as pd
import xarray as xr

from rainharvest.climates.days import common_unit, days_of
from rainharvest.errors import InputError
from rainharvest.rainfall.read_cell import axis
from rainharvest.rainfall.read_days import plural
from rainharvest.rainfall.read_grid import PACKING_DUST, open_netcdf, rain_variable
from rainharvest.rainfall.read_plan import Hints
from rainharvest.rainfall.read_units import Unit

PLACES = {"latitude": "latitude", "longitude": "longitude"}


@dataclass(frozen=True)
class Grid:
    """Daily rain at many places, not yet read.

    Parameters
    ----------
    pieces : tuple of DataArray
        The rain in its own unit, a piece a file, in order of time.
    places : tuple of ndarray of int
        For each piece, where each of its times stands among the days.
    days : DatetimeIndex
        The days, without a gap.
    leap : ndarray of int
        Days that the calendar of the files does not have: each 29 February.
    space : dict of str to int
        Dimensions other than time and their sizes, in order.
    coords : dict of str to Variable
        Coordinates on them.
    unit : Unit
        Unit of the rain.
    dust : float [mm]
        Below zero by less than this is the rounding of a packed zero.
    mask : DataArray of bool or None
        Places to work on; all if None.
    mean_intensity : DataArray [mm/h] or None
        How hard it rains at each place, where the files say so.
    files : tuple of Path
        Where the rain lies; none for rain in memory.
    notes : tuple of str
        Assumptions made.
    invented : bool
        Whether the files say that they are invented.
    """

    pieces: tuple[xr.DataArray, ...]
    places: tuple[np.ndarray, ...]
    days: pd.DatetimeIndex
    leap: np.ndarray
    space: dict[str, int]
    coords: dict[str, xr.Variable]
    unit: Unit
    dust: float
    mask: xr.DataArray | None = None
    mean_intensity: xr.DataArray | None = None
    files: tuple[Path, ...] = ()
    notes: tuple[str, ...] = ()
    invented: bool = False

    @property
    def cells(self) -> int:
        """How many places there are."""
        return math.prod(self.space.values())


def open_grid(
    source,
    *,
    column: str | None = None,
    units: str | None = None,
    mask: str | xr.DataArray | None = None,
    region: Sequence[float] | None = None,
) -> Grid:
    """Open daily rain at many places without reading it, and refuse what cannot be used.

    Parameters
    ----------
    source : path, list of paths, DataArray or Dataset
        A netCDF file, a Zarr folder, a pattern such as "rain_*.nc" or a list of files that follow one another
        in time, or what xarray has opened. Dimensions other than time (latitude and longitude, site, member)
        are all places.
    column : str, optional
        The rain variable, where the file leaves doubt.
    units : str, optional
        The unit, where the file leaves doubt.
    mask : str or DataArray, optional
        Places to work on: those where it is above zero; the name of a variable of the file, or an array.
    region : four floats, optional
        South, north, west and east edges in degrees.

    Returns
    -------
    Grid
        Lazy; ``notes`` says what was assumed.

    Raises
    ------
    InputError
        If a file cannot be opened, has no daily time axis, states no unit or another one than its fellows, has
        another grid than they, days are missing or stand twice, or the calendar has days that the year has not.

    Examples
    --------
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
    dust = max(PACKING_DUST.value, float(unit.mm(np.array(1.001 * scale))))
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
    """Return the part of a grid between two parallels and two meridians.

    Parameters
    ----------
    grid : Grid
        A grid with latitude and longitude along one dimension each.
    region : four floats
        South, north, west and east edges in degrees.

    Returns
    -------
    Grid
        Lazy still.

    Raises
    ------
    InputError
        If the grid has no such coordinates, or no place lies inside.
    """
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
