"""The Zarr store of the results: made whole, filled region by region, each marked when it is written."""

from __future__ import annotations

import json
import os
import shutil
import tempfile
from pathlib import Path

import numpy as np
import xarray as xr

import rainharvest
from rainharvest.climates.cells import VARIABLES, coords_of
from rainharvest.climates.grid import Grid
from rainharvest.climates.plan import Plan
from rainharvest.errors import InputError
from rainharvest.names import attributes

COUNTS = ("days_missing", "days_clipped", "days_impossible")
"""What reading did to the rain of each place."""


def begin_or_resume(
    path: str | os.PathLike,
    grid: Grid,
    plan: Plan,
    tile: dict[str, int],
    regions: int,
    parts: dict[str, str],
    attrs: dict,
) -> np.ndarray:
    """Make the store, or take up one that was begun with the same inputs; return which regions are left.

    Parameters
    ----------
    path : path
        The Zarr folder.
    grid : Grid
        The rain.
    plan : Plan
        The building.
    tile : dict of str to int
        Sides of a region.
    regions : int
        How many regions there are.
    parts : dict of str to str
        Digests, as `rainharvest.climates.plan.digest_parts`.
    attrs : dict
        Further attributes of the store.

    Returns
    -------
    ndarray of int
        Numbers of the regions that are not done.

    Raises
    ------
    InputError
        If the folder holds something else, or the results of other inputs.
    """
    import zarr

    path = Path(path)
    if not path.exists():
        _make(path, grid, plan, tile, regions, parts, attrs)
    kept = _attributes_of(path)
    theirs = json.loads(kept.get("digests", "{}"))
    other = [name for name in parts if theirs.get(name) != parts[name]]
    if other or json.loads(kept.get("tile", "{}")) != tile:
        what = " and ".join(other) or "size of the regions"
        raise InputError(
            f"the folder holds a run with other inputs ({what})",
            "name another folder, or give the inputs with which it was begun",
            "--out",
            path,
        )
    for left in path.rglob("*.partial"):  # what a process that was killed was writing
        left.unlink(missing_ok=True)
    return np.flatnonzero(zarr.open_group(path, mode="r")["done"][:] == 0)


def _attributes_of(path: Path) -> dict:
    import zarr

    try:
        attrs = dict(zarr.open_group(path, mode="r").attrs)
    except Exception:  # any library's way to say that this is no Zarr folder
        attrs = {}
    if "digests" not in attrs:
        raise InputError(
            "the folder is not one of a run over climates", "name a folder that does not exist", "--out", path
        )
    return attrs


def _make(path: Path, grid: Grid, plan: Plan, tile, regions: int, parts, attrs) -> None:
    """Write the empty store beside its place and move it there."""
    import zarr

    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        scratch = Path(tempfile.mkdtemp(prefix=".unfinished-", dir=path.parent))
    except OSError as error:
        raise InputError(
            f"cannot write there ({error.strerror})", "name a folder that you may write to", "--out", path
        ) from None
    try:
        coords = {**coords_of(plan), **grid.coords}
        said = {
            "Conventions": "CF-1.11",
            "rainharvest_version": rainharvest.__version__,
            "digests": json.dumps(parts, sort_keys=True),
            "tile": json.dumps(tile),
            "first_day": str(grid.days[0])[:10],
            "last_day": str(grid.days[-1])[:10],
            "target": float(plan.target),
            "measure": plan.measure,
            "standing_limit": float(plan.standing_limit),
            "asked_a_year": float(plan.demand.mean()) * 365.25,
            "year_start_month": int(plan.year_start_month),
            "assumptions": "; ".join(grid.notes),
            "invented": int(grid.invented),
        }
        xr.Dataset(coords=coords, attrs=attrs | said).to_zarr(
            scratch / "store", mode="w", zarr_format=2, consolidated=False
        )
        group = zarr.open_group(scratch / "store", mode="r+")
        beside = " ".join(n for n in grid.coords if n not in grid.space)
        sizes = {d: len(values) for d, (_, values, _) in coords_of(plan).items()}
        for name, dims in (VARIABLES | dict.fromkeys(COUNTS, ())).items():
            group.create_array(
                name,
                shape=(*grid.space.values(), *(sizes[d] for d in dims)),
                chunks=(*(tile[d] for d in grid.space), *(sizes[d] for d in dims)),
                dtype="f8",
                fill_value=np.nan,
                attributes={"_ARRAY_DIMENSIONS": [*grid.space, *dims]}
                | attributes(name)
                | ({"coordinates": beside} if beside else {}),
            )
        group.create_array(
            "done",
            shape=(regions,),
            chunks=(1,),
            dtype="i1",
            fill_value=0,
            attributes={"_ARRAY_DIMENSIONS": ["region"]} | attributes("done"),
        )
        zarr.consolidate_metadata(scratch / "store", zarr_format=2)
        os.replace(scratch / "store", path)
    finally:
        shutil.rmtree(scratch, ignore_errors=True)


def write_region(
    path: str | os.PathLike, number: int, where: tuple[slice, ...], values: dict[str, np.ndarray]
) -> None:
    """Write the results of a region, and then mark it as done.

    Each array's part is one chunk, a file that is written beside its place and renamed. A process killed at any
    moment leaves a region either marked, and then whole, or not marked, and then it is worked again.

    Parameters
    ----------
    path : path
        The Zarr folder.
    number : int
        Number of the region.
    where : tuple of slice
        Its places.
    values : dict of str to ndarray
        What is kept, by name; empty for a region without any place to work on.
    """
    import zarr

    group = zarr.open_group(path, mode="r+")
    for name, array in values.items():
        group[name][where] = array
    group["done"][number] = 1


def open_climates(path: str | os.PathLike, *, unfinished: bool = False) -> xr.Dataset:
    """Open the results of a run over climates.

    Parameters
    ----------
    path : path
        The Zarr folder.
    unfinished : bool
        Open it as well if regions are still to be worked; they are missing.

    Returns
    -------
    Dataset
        Lazy: `rainharvest.climates.cells.VARIABLES` at each place and the counts of days missing, clipped and
        impossible.

    Raises
    ------
    InputError
        If the folder is none of ours, or the run is not finished.
    """
    path = Path(path)
    if not path.exists():
        raise InputError("there is no such folder", "name the --out of a run over climates", file=path)
    _attributes_of(path)
    results = xr.open_zarr(path, chunks=None)
    left = int((results.done != 1).sum())  # a mark that was never written reads as missing
    if left and not unfinished:
        raise InputError(
            f"{left} of {results.sizes['region']} regions are still to be worked",
            "run it again with the same study: it goes on where it stopped",
            file=path,
        )
    return results
