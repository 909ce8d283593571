"""One way to write Zarr region by region: made whole, written a chunk at a time, marked when a region is done."""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path
from typing import NamedTuple

import numpy as np
import xarray as xr

from rainharvest.core.outputs import scratch_folder
from rainharvest.core.quantities import attributes


class Array(NamedTuple):
    """An array of a store, empty at first."""

    sizes: Mapping[str, int]  # Dimensions and their sizes
    chunk: Mapping[str, int]  # Sides of a chunk; whole along a dimension that is not named
    attrs: Mapping[str, object]
    dtype: object = "f8"


def make_store(path: Path, fixed: xr.Dataset, arrays: Mapping[str, Array], regions: int) -> None:
    """Write the empty store beside its place and move it there."""
    import zarr

    marks = Array({"region": regions}, {"region": 1}, attributes("done"), "i1")
    with scratch_folder(path.parent) as scratch:
        fixed.to_zarr(scratch / "store", mode="w", zarr_format=2, consolidated=False)
        group = zarr.open_group(scratch / "store", mode="r+")
        for name, array in {**arrays, "done": marks}.items():
            group.create_array(
                name,
                shape=tuple(array.sizes.values()),
                chunks=tuple(array.chunk.get(dim, size) for dim, size in array.sizes.items()),
                dtype=array.dtype,
                fill_value=np.nan if np.dtype(array.dtype).kind == "f" else 0,
                attributes={"_ARRAY_DIMENSIONS": list(array.sizes), **array.attrs},
            )
        zarr.consolidate_metadata(scratch / "store", zarr_format=2)
        os.replace(scratch / "store", path)


def store_attributes(path: Path) -> dict:
    """Return the attributes of a store; none where there is no store."""
    import zarr

    try:
        return dict(zarr.open_group(path, mode="r").attrs)
    except Exception:  # any library's way to say that this is no Zarr folder
        return {}


def regions_left(path: Path) -> np.ndarray:
    """Return the numbers of the regions that are not done."""
    import zarr

    return np.flatnonzero(zarr.open_group(path, mode="r")["done"][:] == 0)


def write_region(path: Path, number: int, where: tuple, values: Mapping[str, np.ndarray]) -> None:
    """Write a region, and then mark it as done.

    Each array's part is whole chunks, files that are written beside their place and renamed. A process killed at any
    moment leaves a region either marked, and then whole, or not marked, and then it is computed again.
    """
    import zarr

    group = zarr.open_group(path, mode="r+")
    for name, array in values.items():
        group[name][where] = array
    group["done"][number] = 1
