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
from numba import njit

from rainharvest.rainfall.check_days import WORLD_RECORD
from rainharvest.rainfall.read_columns import Unit
from rainharvest.rainfall.read_values import NEGATIVE_CODES


@dataclass(frozen=True)
class Grid:
    """Daily rain at many places, not yet read."""

    pieces: tuple[xr.DataArray, ...]  # The rain in its own unit, a piece a file, in order of time
    places: tuple[np.ndarray, ...]  # For each piece, where each of its times stands among the days
    days: pd.DatetimeIndex  # The days, without a gap
    leap: np.ndarray  # Days that the calendar of the files does not have: each 29 February
    space: dict[str, int]  # Dimensions other than time and their sizes, in order
    coords: dict[str, xr.Variable]  # Coordinates on them
    unit: Unit  # Unit of the rain
    dust: float  # [mm] Below zero by less than this is the rounding of a packed zero
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


_CODES = np.array(sorted(NEGATIVE_CODES), dtype=float)


@dataclass(frozen=True)
class Read:
    """Rain of some places, and what was done to it."""

    # [mm/day] On the dimensions of the places, time last; a place with a day that is not known is missing
    # whole
    rain: np.ndarray
    missing: np.ndarray  # [day] Days without a value, by place
    clipped: np.ndarray  # [day] Days a hair below zero, set to zero
    impossible: np.ndarray  # [day] Days below zero by more, or above the world's record


@njit(cache=True, nogil=True, error_model="numpy")
def _clean(rain, raw_factor, dust, most, codes, counts):  # pragma: no cover - compiled
    """Clip and count in place; a place with a day that is not known becomes missing whole."""
    for c in range(rain.shape[0]):
        missing, clipped, impossible = 0, 0, 0
        for t in range(rain.shape[1]):
            value = rain[c, t]
            if not np.isfinite(value):
                missing += 1
            elif value < 0.0:
                coded = False
                for code in codes:
                    coded |= abs(value / raw_factor - code) < 0.005
                if coded:
                    missing += 1
                elif value > -dust:
                    rain[c, t] = 0.0
                    clipped += 1
                else:
                    impossible += 1
            elif value > most:
                impossible += 1
        counts[0, c], counts[1, c], counts[2, c] = missing, clipped, impossible
        if missing + impossible > 0:
            rain[c, :] = np.nan


def read_cells(grid: Grid, region: dict[str, slice]) -> Read:
    """Read the rain of some places over all days."""
    raw = read_raw(grid, region)
    rain = np.ascontiguousarray(grid.unit.mm(raw), dtype=float)
    if rain is raw or np.shares_memory(rain, raw):
        rain = rain.copy()
    flat = rain.reshape(-1, rain.shape[-1])
    counts = np.zeros((3, flat.shape[0]))
    factor = float(grid.unit.mm(np.array(1e6))) / 1e6
    _clean(flat, factor, grid.dust, WORLD_RECORD.value, _CODES, counts)
    return Read(rain, *counts.reshape(3, *rain.shape[:-1]))


def read_raw(grid: Grid, region: dict[str, slice]) -> np.ndarray:
    """Read the values of some places as the files have them, the days of all files together, time last."""
    wanted = range(grid.days.size)[region.get("time", slice(None))]
    where = {d: s for d, s in region.items() if d != "time"}
    out = None
    for piece, place in zip(grid.pieces, grid.places, strict=True):
        inside = np.flatnonzero((place >= wanted.start) & (place < wanted.stop))
        if not inside.size:
            continue
        times = slice(int(inside[0]), int(inside[-1]) + 1)
        values = piece.variable.isel({**where, "time": times}).transpose(*grid.space, "time").values
        if out is None and inside.size == len(wanted):
            out = values  # one file holds all of it: no copy
            break
        if out is None:
            out = np.full((*values.shape[:-1], len(wanted)), np.nan, values.dtype)
        out[..., place[inside] - wanted.start] = values
    if out is None:
        shape = [len(range(n)[where.get(d, slice(None))]) for d, n in grid.space.items()]
        out = np.full((*shape, len(wanted)), np.nan)
    for day in grid.leap - wanted.start:
        if 0 < day < len(wanted) - 1:  # the calendar of the files lacks 29 February
            out[..., day] = (out[..., day - 1] + out[..., day + 1]) / 2
    return out


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
    import xarray as xr
    import zarr

    folder = Path(folder)
    days, bytes_each = grid.days.size, grid.pieces[0].dtype.itemsize
    slab = int(min(days, max(1, memory // (3 * grid.cells * bytes_each))))
    slabs = math.ceil(days / slab)
    if folder.exists():
        try:
            kept = zarr.open_group(folder, mode="r+")
            if kept.attrs.get("digest") != digest or kept["done"].shape != (slabs,):
                raise ValueError("of another run")
        except (ValueError, KeyError, FileNotFoundError):
            shutil.rmtree(folder)
    if not folder.exists():
        kept = zarr.open_group(folder, mode="w", zarr_format=2)
        sides = tuple(tile[d] for d in grid.space)
        kept.create_array(
            "rain",
            shape=(*grid.space.values(), days),
            chunks=(*sides, slab),
            dtype=grid.pieces[0].dtype,
            fill_value=np.nan,
            attributes={"_ARRAY_DIMENSIONS": [*grid.space, "time"]},
        )
        kept.create_array(
            "done",
            shape=(slabs,),
            chunks=(1,),
            dtype="i1",
            fill_value=0,
            attributes={"_ARRAY_DIMENSIONS": ["slab"]},
        )
        kept.attrs["digest"] = digest
    for k in np.flatnonzero(kept["done"][:] == 0):
        times = slice(k * slab, min((k + 1) * slab, days))
        values = read_raw(grid, {"time": slice(max(times.start - 1, 0), min(times.stop + 1, days))})
        before = times.start - max(times.start - 1, 0)  # a day each side, for a 29 February at the edge
        kept["rain"][..., times] = values[..., before : before + times.stop - times.start]
        kept["done"][k] = 1
    laid = xr.open_zarr(folder, chunks=None, consolidated=False, mask_and_scale=False).rain
    return replace(grid, pieces=(laid,), places=(np.arange(days),), leap=np.array([], dtype=np.int64))
