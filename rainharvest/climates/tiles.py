"""How a grid is cut into regions of whole cells, and rain that lies day by day is laid out cell by cell."""

from __future__ import annotations

import math
import os
import shutil
from dataclasses import replace
from itertools import product
from pathlib import Path

import numpy as np

from rainharvest.climates.grid import Grid
from rainharvest.climates.read import read_raw

CELLS = 256
"""Cells of a region: enough that writing takes little, few enough that memory stays small (measured)."""
MEMORY = 512e6
"""Bytes that laying out may take at once."""
WASTE = 4.0
"""Reading may decode so many times the bytes that it wants before the rain is laid out anew."""


def tile_of(space: dict[str, int], chunk: dict[str, int] | None = None, cells: int = CELLS) -> dict[str, int]:
    """Return the sides of a region: whole chunks of the source as far as they fit.

    Parameters
    ----------
    space : dict of str to int
        Dimensions of the places and their sizes.
    chunk : dict of str to int, optional
        Sides of the source's chunks.
    cells : int
        How many cells a region has at most.

    Returns
    -------
    dict of str to int
        Sides, in the order of the dimensions.

    Examples
    --------
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

    Parameters
    ----------
    space : dict of str to int
        Dimensions of the places and their sizes.
    tile : dict of str to int
        Sides of a region.

    Returns
    -------
    list of dict of str to slice
        Together they cover every place once.

    Examples
    --------
    >>> len(regions_of({"latitude": 40, "longitude": 50}, {"latitude": 5, "longitude": 50}))
    8
    """
    cuts = [[slice(a, min(a + tile[d], n)) for a in range(0, n, tile[d])] for d, n in space.items()]
    return [dict(zip(space, one, strict=True)) for one in product(*cuts)]


def source_chunk(grid: Grid) -> dict[str, int]:
    """Return the sides of the chunks in which the rain lies on the disk, places and time.

    Parameters
    ----------
    grid : Grid
        The grid.

    Returns
    -------
    dict of str to int
        The largest over the pieces; sides of 1 where it lies unpacked, so that any part can be read.
    """
    out = dict.fromkeys((*grid.space, "time"), 1)
    for piece in grid.pieces:
        sides = piece.encoding.get("chunksizes") or piece.encoding.get("chunks") or (1,) * piece.ndim
        for dim, side in zip(piece.dims, sides, strict=True):
            out[dim] = max(out[dim], int(side))
    return out


def lies_by_cell(grid: Grid, tile: dict[str, int]) -> bool:
    """Tell whether a region can be read without decoding much more than it.

    Parameters
    ----------
    grid : Grid
        The grid.
    tile : dict of str to int
        Sides of a region.

    Returns
    -------
    bool
        True as well for rain in memory and for a grid of one region.
    """
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

    Parameters
    ----------
    grid : Grid
        The grid as it lies in its files.
    tile : dict of str to int
        Sides of a region.
    folder : path
        Where the Zarr folder goes.
    digest : str
        What the rain is, so that another rain's slabs are not taken for its own.
    memory : float
        Bytes that a slab may take.

    Returns
    -------
    Grid
        The same rain, a piece for all days.
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
