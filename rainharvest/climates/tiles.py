"""A grid cut into regions of whole cells, and the rain of each read and laid out cell by cell."""

from __future__ import annotations

import math
import os
import shutil
from dataclasses import dataclass, replace
from itertools import product
from pathlib import Path

import numpy as np
import pandas as pd
import xarray as xr

from rainharvest.climates.statistics import months_of
from rainharvest.climates.store import Array, make_store, regions_left, store_attributes, write_region
from rainharvest.core.compiled import compiled
from rainharvest.core.errors import require
from rainharvest.rainfall.check_days import WORLD_RECORD
from rainharvest.rainfall.read_columns import Unit
from rainharvest.rainfall.read_values import NEGATIVE_CODES


@dataclass(frozen=True)
class Grid:
    """Daily rain at many places, not yet read."""

    pieces: tuple[xr.DataArray, ...]  # The rain in its own unit, a piece a file, in order of time
    places: tuple[np.ndarray, ...]  # For each piece, where each of its times stands among the days
    days: pd.DatetimeIndex  # The days, without a gap
    space: dict[str, int]  # Dimensions other than time and their sizes, in order
    coords: dict[str, xr.Variable]  # Coordinates on them
    unit: Unit  # Unit of the rain
    dust: float  # [mm] Below zero by less than this is the rounding of a packed zero
    calendar: str = (
        "standard"  # Calendar of the files; the days that a short one lacks are filled in each place
    )
    readings: int = 1  # [1/day] How many there are in the files; they are summed to days
    mask: xr.DataArray | None = None  # Places to work on; all if None
    # [mm/h] How hard it rains at each place, where the files say so
    mean_intensity: xr.DataArray | None = None
    files: tuple[Path, ...] = ()  # Where the rain lies; none for rain in memory
    notes: tuple[str, ...] = ()  # Assumptions made
    invented: bool = False  # Whether the files say that they are invented

    @property
    def cells(self) -> int:
        """How many places there are."""
        return math.prod(self.space.values())

    def on_the_map(self) -> tuple[xr.Variable, xr.Variable]:
        """Return latitude and longitude, an axis or a list each."""
        roles = {v.attrs.get("standard_name"): v for v in self.coords.values()}
        lat, lon = roles.get("latitude"), roles.get("longitude")
        problem, remedy = "the rain has no latitude and longitude", "give them as its axes, or do without"
        axes = lat is not None and lon is not None and lat.ndim == lon.ndim == 1
        require(axes, problem, remedy, "region", *self.files[:1])
        return lat, lon


_CODES = np.array(sorted(NEGATIVE_CODES), dtype=float)

COUNTS = ("days_missing", "days_clipped", "days_impossible")

"""What reading did to the rain of each place, in the order in which `_clean` counts it."""


@compiled(nogil=True, error_model="numpy")
def _clean(rain, lacking, raw_factor, dust, most, codes, counts):  # pragma: no cover - compiled
    """Clip and count in place; a gap within a record makes the place missing whole."""
    for c in range(rain.shape[0]):
        missing, clipped, impossible, inside, since = 0, 0, 0, 0, -1
        for t in range(rain.shape[1]):
            value = rain[c, t]
            if lacking[t]:
                continue
            if not np.isfinite(value):
                missing += 1
            elif value < 0.0:
                coded = False
                for code in codes:
                    coded |= abs(value / raw_factor - code) < 0.005
                if coded:
                    rain[c, t] = np.nan
                    missing += 1
                elif value > -dust:
                    rain[c, t] = 0.0
                    clipped += 1
                else:
                    impossible += 1
            elif value > most:
                impossible += 1
            if np.isfinite(rain[c, t]):
                # days missing between the first day known and this
                inside = missing - since if since >= 0 else 0
                since = missing if since < 0 else since
        counts[0, c], counts[1, c], counts[2, c] = missing, clipped, impossible
        if inside + impossible > 0:
            rain[c, :] = np.nan


def read_cells(grid: Grid, region: dict[str, slice]) -> tuple[np.ndarray, dict[str, np.ndarray]]:
    """Read the rain [mm/day] of some places over all days, time last, and what was done to each, by `COUNTS`."""
    raw = read_raw(grid, region)
    rain = np.ascontiguousarray(grid.unit.mm(raw), dtype=float)
    if np.shares_memory(rain, raw):
        rain = rain.copy()
    flat = rain.reshape(-1, rain.shape[-1])
    counts = np.zeros((3, flat.shape[0]))
    factor = float(grid.unit.mm(np.array(1e6))) / 1e6
    lacking = months_of(grid.days, grid.calendar)[0] == 12
    _clean(flat, lacking, factor, grid.dust, WORLD_RECORD.value, _CODES, counts)
    return rain, dict(zip(COUNTS, counts.reshape(3, *rain.shape[:-1]), strict=True))


def cell_at(grid: Grid, latitude: float, longitude: float) -> dict[str, slice]:
    """Return the region of the one cell of a grid that is nearest to a point and no farther than a cell's side."""
    lat, lon = grid.on_the_map()
    north = np.abs(lat.values - latitude)
    east = np.abs((lon.values - longitude + 180) % 360 - 180)
    if lat.dims == lon.dims:
        at = {lat.dims[0]: int(np.hypot(north, east * np.cos(np.radians(latitude))).argmin())}
    else:
        at = {lat.dims[0]: int(north.argmin()), lon.dims[0]: int(east.argmin())}
        for values, off in ((lat.values, north), (lon.values, east)):
            near = values.size < 2 or off.min() <= np.abs(np.diff(values)).max()
            said = f"{latitude:g}, {longitude:g} lies outside the grid"
            require(near, said, "give a grid that covers it", "grid", *grid.files[:1])
    further = [d for d, n in grid.space.items() if d not in at and n > 1]
    require(
        not further,
        f"it has several along {' and '.join(further)}",
        "give one at a time",
        "grid",
        *grid.files[:1],
    )
    return {d: slice(at.get(d, 0), at.get(d, 0) + 1) for d in grid.space}


def read_raw(grid: Grid, region: dict[str, slice]) -> np.ndarray:
    """Read the rain of some places in the unit of the files, the days of all files together, time last."""
    wanted = range(grid.days.size)[region.get("time", slice(None))]
    where = {d: s for d, s in region.items() if d != "time"}
    shape = [len(range(n)[where.get(d, slice(None))]) for d, n in grid.space.items()]
    out, count = None, np.zeros(len(wanted), dtype=int)
    for piece, place in zip(grid.pieces, grid.places, strict=True):
        inside = np.flatnonzero((place >= wanted.start) & (place < wanted.stop))
        parts = 1 if grid.readings == 1 else math.ceil(inside.size * math.prod(shape) / VALUES)
        for some in np.array_split(inside, parts) if inside.size else ():
            times = slice(int(some[0]), int(some[-1]) + 1)
            values = piece.variable.isel({**where, "time": times}).transpose(*grid.space, "time").values
            if grid.readings == 1 and out is None and some.size == len(wanted):
                return values  # one file holds all of it: no copy
            day = place[some] - wanted.start
            if grid.readings == 1:
                dtype = np.result_type(values.dtype, np.float32)  # which can hold that a day is unknown
                out = np.full((*shape, len(wanted)), np.nan, dtype) if out is None else out
                out[..., day] = values
                continue
            out = np.zeros((*shape, len(wanted))) if out is None else out
            values = np.where(np.isin(np.round(values, 2), _CODES), np.nan, values)
            begins = np.flatnonzero(np.diff(day, prepend=-1))
            out[..., day[begins]] += np.add.reduceat(values, begins, axis=-1, dtype=float)
            count += np.bincount(day, minlength=count.size)
    if out is None:
        return np.full((*shape, len(wanted)), np.nan)
    if grid.readings > 1:
        out[..., count < grid.readings] = np.nan
        out /= grid.readings if grid.unit.per else 1
    return out


VALUES = 16e6

"""Readings finer than a day that are read at once."""

CELLS = 256

"""Cells of a region: enough that writing takes little, few enough that memory stays small (measured)."""

MEMORY = 512e6

"""Bytes that laying out may take at once."""

WASTE = 4.0

"""Reading may decode so many times the bytes that it wants before the rain is laid out anew."""


def tile_of(space: dict[str, int], chunk: dict[str, int] | None = None, cells: int = CELLS) -> dict[str, int]:
    """Return the sides of a region: whole chunks of the source as far as they fit.

    >>> tile_of({"latitude": 40, "longitude": 50})
    {'latitude': 5, 'longitude': 50}
    >>> tile_of({"latitude": 720, "longitude": 1440}, {"latitude": 10, "longitude": 20})
    {'latitude': 10, 'longitude': 20}
    """
    tile = {d: min(n, (chunk or {}).get(d, 1)) for d, n in space.items()}
    while math.prod(tile.values()) > cells:  # a chunk too large is cut along its longest side
        longest = max(tile, key=tile.get)
        tile[longest] = math.ceil(tile[longest] / 2)
    for dim in reversed(space):
        side, room = tile[dim], cells // math.prod(tile.values())
        count = math.ceil(space[dim] / min(space[dim], side * max(room, 1)))
        tile[dim] = min(space[dim], math.ceil(space[dim] / count / side) * side)  # parts of about one size
        if tile[dim] < space[dim]:
            break
    return tile


def regions_of(space: dict[str, int], tile: dict[str, int]) -> list[dict[str, slice]]:
    """Return the regions of a grid, in order.

    >>> len(regions_of({"latitude": 40, "longitude": 50}, {"latitude": 5, "longitude": 50}))
    8
    """
    cuts = [[slice(a, min(a + tile[d], n)) for a in range(0, n, tile[d])] for d, n in space.items()]
    return [dict(zip(space, one, strict=True)) for one in product(*cuts)]


def source_chunk(grid: Grid) -> dict[str, int]:
    """Return the sides of the chunks in which the rain lies on the disk, places and time."""
    out = dict.fromkeys((*grid.space, "time"), 1)
    for piece in grid.pieces:
        sides = piece.encoding.get("chunksizes") or piece.encoding.get("chunks") or (1,) * piece.ndim
        for dim, side in zip(piece.dims, sides, strict=True):
            out[dim] = max(out[dim], int(side))
    return out


def lies_by_cell(grid: Grid, tile: dict[str, int]) -> bool:
    """Tell whether a region can be read without decoding much more than it."""
    if not grid.files or math.prod(tile.values()) >= grid.cells:
        return True
    chunk = source_chunk(grid)
    touched = math.prod(min(math.ceil(tile[d] / chunk[d]) * chunk[d], n) for d, n in grid.space.items())
    return touched / math.prod(tile.values()) <= WASTE


def lay_out(
    grid: Grid, tile: dict[str, int], folder: str | os.PathLike, digest: str, memory: float = MEMORY
) -> Grid:
    """Lay the rain out cell by cell in a Zarr folder, slabs of days at a time, and return the grid that reads it.

    A file a year, or a chunk a day, would have to be decoded whole for every region. Here each is decoded once.
    A slab that is written is marked, so that a run that was killed goes on from there.
    """
    folder = Path(folder)
    days = grid.days.size
    dtype = grid.pieces[0].dtype if grid.readings == 1 else np.dtype(float)
    slab = int(min(days, max(1, memory // (3 * grid.cells * dtype.itemsize))))
    digest = f"{digest} {slab}"
    if store_attributes(folder).get("digest") != digest:
        shutil.rmtree(folder, ignore_errors=True)
        sizes = grid.space | {"time": days}
        rain = Array(sizes, tile | {"time": slab}, {}, dtype)
        make_store(folder, xr.Dataset(attrs={"digest": digest}), {"rain": rain}, math.ceil(days / slab))
    for k in regions_left(folder):
        first, end = k * slab, min((k + 1) * slab, days)
        values = read_raw(grid, {"time": slice(first, end)})
        write_region(folder, k, (..., slice(first, end)), {"rain": values})
    laid = xr.open_zarr(folder, chunks=None, consolidated=False, mask_and_scale=False).rain
    return replace(grid, pieces=(laid,), places=(np.arange(days),), readings=1)
