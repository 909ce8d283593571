"""One way to write Zarr region by region: made whole, written a chunk at a time, marked when a region is done."""

from __future__ import annotations

import errno
import os
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import NamedTuple

import numpy as np
import xarray as xr

from rainharvest.core.errors import InputError, require
from rainharvest.core.outputs import scratch_folder
from rainharvest.core.quantities import attributes


class Array(NamedTuple):
    """An array of a store, empty at first."""

    sizes: Mapping[str, int]  # Dimensions and their sizes
    chunk: Mapping[str, int]  # Sides of a chunk; whole along a dimension that is not named
    attrs: Mapping[str, object]
    dtype: object = "f8"


@contextmanager
def held_alone(path: Path) -> Iterator[None]:
    """Hold a store for one process: another that starts on it ends in an error; a killed one lets go of it."""
    lock = path.with_name(f".{path.name}.lock")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle = open(lock, "w")
    except OSError as error:
        raise _cannot_write(error, path) from None
    with handle:
        busy = "another run is writing to this folder", "wait until it has ended, or name another folder"
        try:
            import fcntl

            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except ImportError:  # a system without such locks: nobody is kept out
            pass
        except OSError:
            raise InputError(*busy, "--out", path) from None
        require(os.fstat(handle.fileno()).st_nlink, *busy, "--out", path)  # it was let go of this very moment
        try:
            yield
        except OSError as error:
            if error.errno not in (errno.ENOSPC, errno.EDQUOT):
                raise
            full = f"the disk is full ({error.strerror})"
            remedy = "make room and run the same command again: it goes on from there"
            raise InputError(full, remedy, "--out", path) from None
        finally:
            lock.unlink(missing_ok=True)


def _cannot_write(error: OSError, path: Path) -> InputError:
    """Return the error of a place where nothing can be written."""
    problem = f"cannot write there ({error.strerror})"
    return InputError(problem, "name a folder that you may write to", "--out", path)


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
