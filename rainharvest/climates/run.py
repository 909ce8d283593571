"""The study over a whole grid: regions worked side by side, on threads or on any Dask cluster, and resumed."""

from __future__ import annotations

import os
import shutil
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import xarray as xr

from rainharvest.climates.cells import over_cells
from rainharvest.climates.grid import Grid
from rainharvest.climates.plan import Plan, check_plan, digest_parts
from rainharvest.climates.read import read_cells
from rainharvest.climates.sample import check_sample
from rainharvest.climates.store import COUNTS, begin_or_resume, open_climates, write_region
from rainharvest.climates.tiles import CELLS, MEMORY, lay_out, lies_by_cell, regions_of, source_chunk, tile_of
from rainharvest.errors import InputError


@dataclass(frozen=True)
class Work:
    """All that a region needs; sent once to each worker.

    Parameters
    ----------
    grid : Grid
        The rain.
    plan : Plan
        The building.
    store : Path
        The Zarr folder of the results.
    regions : list of dict of str to slice
        The regions.
    """

    grid: Grid
    plan: Plan
    store: Path
    regions: list[dict[str, slice]]


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

    Parameters
    ----------
    grid : Grid
        As `rainharvest.climates.grid.open_grid`.
    plan : Plan
        The building.
    out : path
        The Zarr folder; made if need be.
    threads : int, optional
        Regions worked side by side on this machine; as many as it has processors by default.
    cluster : str or distributed.Client, optional
        Address of a Dask scheduler, or a client of one: the regions are worked there instead. Its workers must
        see the rain's files and the folder under the same paths.
    cells : int, optional
        Places in a region, at most; by default 256, or fewer so that a small grid has some 8 regions.
    memory : float
        Bytes that laying out rain that lies day by day may take at once.
    progress : bool
        Show the scheduler's progress bar.
    attrs : dict, optional
        Further attributes of the store.

    Returns
    -------
    Dataset
        As `rainharvest.climates.store.open_climates`.

    Raises
    ------
    InputError
        If the grid or the plan cannot be used, before anything is computed; if the folder holds a run with other
        inputs; if the cluster does not answer.
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
    """Read, work and write one region.

    Parameters
    ----------
    work : Work
        The run.
    number : int
        Number of the region.

    Returns
    -------
    int
        Its number.
    """
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
