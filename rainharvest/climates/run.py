"""The study over a whole grid: regions computed side by side, resumed, and kept in a Zarr store."""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import sys
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor, as_completed
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import xarray as xr

import rainharvest
from rainharvest.climates.cells import VARIABLES, Plan, attributes_of_result, over_cells
from rainharvest.climates.grid import check_sample
from rainharvest.climates.store import (
    Array,
    held_alone,
    make_store,
    regions_left,
    store_attributes,
    write_region,
)
from rainharvest.climates.tiles import (
    CELLS,
    COUNTS,
    MEMORY,
    Grid,
    lay_out,
    lies_by_cell,
    read_cells,
    regions_of,
    source_chunk,
    tile_of,
)
from rainharvest.core.errors import InputError, require


def digest_parts(plan: Plan, grid: Grid) -> dict[str, str]:
    """Return digests of all that a result depends on, part by part, so that a mismatch can be named."""
    apart = ("catchments", "demand", "intensity", "capacity")
    settings = {name: getattr(plan, name) for name in plan.__dataclass_fields__ if name not in apart}
    sites = {name: site.model_dump(mode="json") for name, site in plan.catchments.items()}
    where = {name: np.asarray(v.values).tolist() for name, v in grid.coords.items()}
    unit = [grid.unit.text, grid.unit.factor, grid.unit.per, grid.dust]
    rain = (piece.transpose(*grid.space, "time") for piece in (() if grid.files else grid.pieces))
    return {
        "rain": _digest(unit, grid.days.to_numpy(), *grid.places, *rain, *map(_bytes, grid.files)),
        "places": _digest([grid.space, where], grid.mask, grid.mean_intensity),
        "roofs and pipes": _digest(sites, plan.intensity.model_dump(mode="json")),
        "demand": _digest(plan.demand),
        "tank sizes": _digest(list(map(float, plan.capacity))),
        "settings": _digest(settings),
        "version of rainharvest": _digest(rainharvest.__version__),
    }


def _digest(*parts: object) -> str:
    """Return the digest of arrays by their bytes, of bytes, and of anything else as JSON."""
    whole = hashlib.sha256()
    for part in parts:
        if isinstance(part, np.ndarray | xr.DataArray):
            part = np.ascontiguousarray(part).tobytes()
        whole.update(part if isinstance(part, bytes) else json.dumps(part, sort_keys=True).encode())
    return whole.hexdigest()


def _bytes(path: Path) -> bytes:
    """Return the digest of every file at a path."""
    whole = hashlib.sha256()
    for file in sorted(p for p in path.rglob("*") if p.is_file()) if path.is_dir() else [path]:
        with open(file, "rb") as handle:
            whole.update(hashlib.file_digest(handle, "sha256").digest())
    return whole.digest()


def begin_or_resume(
    path: Path, grid: Grid, plan: Plan, tile: dict[str, int], regions: int, parts: dict[str, str], attrs: dict
) -> np.ndarray:
    """Make the store, or take up one that was begun with the same inputs; return which regions are left."""
    if not path.exists():
        arrays = _arrays(grid, plan, tile)
        make_store(path, xr.Dataset({}, plan.coords | grid.coords, attrs), arrays, regions)
    kept = attributes_of(path)
    theirs = json.loads(kept["digests"])
    other = [name for name in parts if theirs.get(name) != parts[name]]
    require(
        not other and json.loads(kept.get("tile", "{}")) == tile,
        f"the folder holds a run with other inputs ({' and '.join(other) or 'size of the regions'})",
        "name another folder, or give the inputs with which it was begun",
        "--out",
        path,
    )
    for left in path.rglob("*.partial"):  # what a process that was killed was writing
        left.unlink(missing_ok=True)
    return regions_left(path)


def _arrays(grid: Grid, plan: Plan, tile: dict[str, int]) -> dict[str, Array]:
    """Return the arrays of the results, a chunk a region."""
    further = " ".join(name for name in grid.coords if name not in grid.space)
    sizes = plan.sizes
    return {
        name: Array(
            grid.space | {dim: sizes[dim] for dim in dims},
            tile,
            attributes_of_result(name) | ({"coordinates": further} if further else {}),
        )
        for name, dims in (VARIABLES | dict.fromkeys(COUNTS, ())).items()
    }


def attributes_of(path: Path) -> dict:
    """Return the attributes of the results of a run, and refuse another folder."""
    attrs = store_attributes(path)
    problem = "the folder is not one of a run over climates"
    require("digests" in attrs, problem, "name a folder that does not exist", "--out", path)
    return attrs


def open_climates(path: str | os.PathLike, *, unfinished: bool = False) -> xr.Dataset:
    """Open the results of a run over climates."""
    path = Path(path)
    require(path.exists(), "there is no such folder", "name the --out of a run over climates", file=path)
    attributes_of(path)
    results = xr.open_zarr(path, chunks=None)
    left = int((results.done != 1).sum())  # a mark that was never written reads as missing
    require(
        unfinished or not left,
        f"{left} of {results.sizes['region']} regions are still to be worked",
        "run it again with the same study: it goes on where it stopped",
        file=path,
    )
    return results


PATIENCE = 5.0

"""Seconds in which the scheduler of a cluster must answer."""


@dataclass(frozen=True)
class Job:
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
    plan.check(grid.days)
    check_sample(grid)
    out = Path(out).absolute()
    cells = cells or min(CELLS, max(8, grid.cells // 8))  # of the grid alone: any machine cuts it alike
    tile = tile_of(grid.space, {d: n for d, n in source_chunk(grid).items() if d != "time"}, cells)
    if not lies_by_cell(grid, tile):
        tile = tile_of(grid.space, None, cells)
    regions = regions_of(grid.space, tile)
    parts = digest_parts(plan, grid)
    attrs = (attrs or {}) | {
        "Conventions": "CF-1.11",
        "rainharvest_version": rainharvest.__version__,
        "source": f"rainharvest {rainharvest.__version__}: daily balance of a rainwater tank at every place",
        "history": f"simulated on daily rain of {', '.join(file.name for file in grid.files) or 'a list of places'}",
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
        "calendar": grid.calendar,
    }
    with held_alone(out):
        left = begin_or_resume(out, grid, plan, tile, len(regions), parts, attrs)
        laid = out.with_name(f".{out.name}.rain")
        if left.size and not lies_by_cell(grid, tile):
            grid = lay_out(grid, tile, laid, parts["rain"] + parts["places"], memory)
        _compute_regions(Job(grid, plan, out, regions), left, threads, cluster, progress)
        shutil.rmtree(laid, ignore_errors=True)
    return open_climates(out)


def _compute_regions(job: Job, left: np.ndarray, threads: int | None, cluster, progress: bool) -> None:
    """Compute the regions that are left, and tell how far the run is."""
    began, told = time.monotonic(), 0.0
    own_line = sys.stdout.isatty()
    done = _on_threads(job, left, threads) if cluster is None else _on_cluster(job, left, cluster, progress)
    for count, _ in enumerate(done, 1):
        taken = time.monotonic() - began
        if progress and taken - told >= (1.0 if own_line else EVERY):
            told = taken
            end = "\r" if own_line and count < left.size else "\n"
            print(f"{count} of {left.size} regions after {taken / 60:.0f} min", end=end, flush=True)


EVERY = 60.0

"""Seconds between the lines that tell how far a run is where the output is no terminal."""


def _on_threads(job: Job, left: np.ndarray, threads: int | None) -> Iterator[object]:
    """Compute regions side by side; give each as it is done."""
    pool = ThreadPoolExecutor(threads or os.cpu_count() or 1)
    try:
        for done in as_completed([pool.submit(compute_region, job, int(number)) for number in left]):
            yield done.result()
    finally:
        pool.shutdown(cancel_futures=True)


def _on_cluster(job: Job, left: np.ndarray, cluster, progress: bool) -> Iterator[object]:
    """Compute regions on a Dask cluster, by address or through a client; give each as it is done."""
    try:
        import dask
        import distributed
    except ImportError:
        raise InputError(
            "the library that talks to a cluster is not there",
            "install rainharvest with its extra: pip install rainharvest[cluster]",
            "--cluster",
        ) from None
    own = isinstance(cluster, str)
    try:
        client = distributed.Client(cluster, timeout=PATIENCE) if own else cluster
    except (OSError, ValueError) as error:
        raise InputError(
            f"no scheduler answers at {cluster} ({' '.join(str(error).split())[:120]})",
            "check the address, such as tcp://host:8786",
            "--cluster",
        ) from None
    try:
        if progress:
            print(f"Dashboard of the cluster: {client.dashboard_link}")
        whole, task = dask.delayed(job, name=False, traverse=False), dask.delayed(compute_region, pure=False)
        futures = client.compute([task(whole, int(number)) for number in left])
        yield from (done.result() for done in distributed.as_completed(futures))
    finally:
        if own:
            client.close()


def compute_region(job: Job, number: int) -> int:
    """Read, compute and write one region."""
    grid, region = job.grid, job.regions[number]
    where = tuple(region[dim] for dim in grid.space)
    mask = np.True_ if grid.mask is None else grid.mask.values[where]
    values: dict[str, np.ndarray] = {}
    if mask.any():
        rain, counts = read_cells(grid, region)
        rain[~np.broadcast_to(mask, rain.shape[:-1])] = np.nan
        labelled = xr.DataArray(rain, {"time": grid.days}, (*grid.space, "time"))
        hard = None if grid.mean_intensity is None else grid.mean_intensity.isel(region)
        done = over_cells(labelled, job.plan, hard, grid.calendar)
        values = {name: array.values for name, array in done.data_vars.items()}
        values |= {name: np.where(mask, count, np.nan) for name, count in counts.items()}
    write_region(job.store, number, where, values)
    return number
