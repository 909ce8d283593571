"""The study over a whole grid: regions computed side by side, resumed, and kept in a Zarr store."""

from __future__ import annotations

import json
import os
import shutil
import tempfile
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import xarray as xr

import rainharvest
from rainharvest.climates.cells import VARIABLES, Plan, check_plan, coords_of, digest_parts, over_cells
from rainharvest.climates.grid import check_sample
from rainharvest.climates.tiles import (
    CELLS,
    MEMORY,
    Grid,
    lay_out,
    lies_by_cell,
    read_cells,
    regions_of,
    source_chunk,
    tile_of,
)
from rainharvest.core.errors import InputError
from rainharvest.core.quantities import attributes

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
    """Make the store, or take up one that was begun with the same inputs; return which regions are left."""
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
    """
    import zarr

    group = zarr.open_group(path, mode="r+")
    for name, array in values.items():
        group[name][where] = array
    group["done"][number] = 1


def open_climates(path: str | os.PathLike, *, unfinished: bool = False) -> xr.Dataset:
    """Open the results of a run over climates."""
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


@dataclass(frozen=True)
class Work:
    """All that a region needs; sent once to each worker."""

    grid: Grid  # The rain
    plan: Plan  # The building
    store: Path  # The Zarr folder of the results
    regions: list[dict[str, slice]]  # The regions


def run_climates(
    grid: Grid,
    plan: Plan,
    out: str | os.PathLike,
    *,
    threads: int | None = None,
    cluster: object = None,
    cells: int | None = None,
    memory: float = MEMORY,
    progress: bool = False,
    attrs: dict | None = None,
) -> xr.Dataset:
    """Put one building to every place of a grid and write the results to a Zarr folder.

    A run that is stopped at any moment, by whatever means, goes on from there when it is started again with the
    same inputs, and ends with the same bytes. Results do not depend on how the grid is cut or who works it.
    """
    check_plan(plan)
    check_sample(grid)
    if not plan.demand.indexes["time"].equals(grid.days):
        raise InputError(
            "demand and rain do not cover the same days", "make the demand on the grid's days", "demand"
        )
    out = Path(out).absolute()
    cells = cells or min(CELLS, max(8, grid.cells // 8))  # of the grid alone: any machine cuts it alike
    tile = tile_of(grid.space, {d: n for d, n in source_chunk(grid).items() if d != "time"}, cells)
    if not lies_by_cell(grid, tile):
        tile = tile_of(grid.space, None, cells)
    regions = regions_of(grid.space, tile)
    parts = digest_parts(plan, grid)
    left = begin_or_resume(out, grid, plan, tile, len(regions), parts, attrs or {})
    beside = out.with_name(f".{out.name}.rain")
    if left.size and not lies_by_cell(grid, tile):
        grid = lay_out(grid, tile, beside, parts["rain"] + parts["places"], memory)
    _work_regions(Work(grid, plan, out, regions), left, threads, cluster, progress)
    shutil.rmtree(beside, ignore_errors=True)
    return open_climates(out)


def _work_regions(work: Work, left: np.ndarray, threads: int | None, cluster, progress: bool) -> None:
    """Hand the regions to the scheduler."""
    import dask

    whole = dask.delayed(work, name=False, traverse=False)
    task = dask.delayed(work_region, pure=False)
    tasks = [task(whole, int(number)) for number in left]
    if not tasks:
        return
    if cluster is not None:
        _on_cluster(tasks, cluster, progress)
        return
    from contextlib import nullcontext

    from dask.diagnostics import ProgressBar

    with ProgressBar(minimum=0.5) if progress else nullcontext():
        dask.compute(*tasks, scheduler="threads", num_workers=threads or os.cpu_count() or 1)


def _on_cluster(tasks: list, cluster, progress: bool) -> None:
    """Work the regions on a Dask cluster, by address or through a client."""
    try:
        import distributed
    except ImportError:
        raise InputError(
            "the library that talks to a cluster is not there",
            "install rainharvest with its extra: pip install rainharvest[cluster]",
            "--cluster",
        ) from None
    own = isinstance(cluster, str)
    try:
        client = distributed.Client(cluster, timeout=5) if own else cluster
    except (OSError, ValueError) as error:
        raise InputError(
            f"no scheduler answers at {cluster} ({' '.join(str(error).split())[:120]})",
            "check the address, such as tcp://host:8786",
            "--cluster",
        ) from None
    try:
        if progress:
            print(f"Dashboard of the cluster: {client.dashboard_link}")
        futures = client.compute(tasks)
        if progress:
            distributed.progress(futures, notebook=False)
            print()
        client.gather(futures)
    finally:
        if own:
            client.close()


def work_region(work: Work, number: int) -> int:
    """Read, work and write one region."""
    region = work.regions[number]
    where = tuple(region[d] for d in work.grid.space)
    mask = None if work.grid.mask is None else work.grid.mask.values[where]
    if mask is not None and not mask.any():
        write_region(work.store, number, where, {})
        return number
    read = read_cells(work.grid, region)
    if mask is not None:
        read.rain[~mask] = np.nan
    rain = xr.DataArray(read.rain, {"time": work.grid.days}, (*work.grid.space, "time"))
    hard = work.grid.mean_intensity
    done = over_cells(rain, work.plan, None if hard is None else hard.isel(region))
    values = {name: array.values for name, array in done.data_vars.items()}
    for name, count in zip(COUNTS, (read.missing, read.clipped, read.impossible), strict=True):
        values[name] = count if mask is None else np.where(mask, count, np.nan)
    write_region(work.store, number, where, values)
    return number
