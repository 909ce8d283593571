"""Throughput from the disk, memory, and how the cost grows: printed, never asserted.

Small by default. The full measurement, 2,000 cells x 40 years x 64 sizes:
``RAINHARVEST_CLIMATES_CELLS=2000 RAINHARVEST_CLIMATES_YEARS=40 pytest tests/climates/test_climates_speed.py -s``
Memory on a store of several GB, made once and kept (about 100,000 cells make 6 GB):
``RAINHARVEST_CLIMATES_CELLS=102400 RAINHARVEST_CLIMATES_YEARS=40 RAINHARVEST_CLIMATES_STORE=FOLDER`` with
``-k throughput``
"""

import json
import os
import resource
import shutil
import subprocess
import sys
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import pytest
import xarray as xr
from climates_case import ROOFS, RUNS
from region import write_grid

from rainharvest.catchment.tables import Catchment
from rainharvest.climates.cells import Plan
from rainharvest.climates.grid import open_grid
from rainharvest.climates.run import run_climates
from rainharvest.storage.balance import BY_YEAR, LANES, TOTALS, balance

pytestmark = [pytest.mark.speed, pytest.mark.long]

CELLS = int(os.environ.get("RAINHARVEST_CLIMATES_CELLS", "120"))
YEARS = int(os.environ.get("RAINHARVEST_CLIMATES_YEARS", "8"))
WORLD = 300_000  # cells of a quarter of a degree on land, about


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """A folder with the invented rain; made anew unless a folder is named in which it lies."""
    kept = os.environ.get("RAINHARVEST_CLIMATES_STORE")
    place = Path(kept) if kept else tmp_path_factory.mktemp("speed")
    if not (place / "rain.zarr").exists():
        place.mkdir(parents=True, exist_ok=True)
        rows = max(int(np.sqrt(CELLS)) // 2 * 2, 2)
        write_grid(place / "rain.zarr", rows=rows, columns=-(-CELLS // rows), years=YEARS, first_year=1981)
    return place


def bare_rate(plan, days, threads: int, blocks: int = 30) -> np.ndarray:
    """Tank-days of the bare kernel a second of the clock and of the processor: inflow in memory, 64 tanks a block."""
    rng = np.random.default_rng(0)
    inflow = np.where(rng.random(days.size) < 0.25, rng.exponential(1500.0, days.size), 0.0)
    demand = plan.demand.values
    years = np.append(np.flatnonzero(np.diff(days.year, prepend=0)), days.size).astype(np.int64)
    tank = np.zeros((2, LANES))
    tank[0] = np.geomspace(500, 80_000, LANES)

    def one(_):
        totals, yearly = np.empty((len(TOTALS), LANES)), np.empty((len(BY_YEAR), years.size - 1, LANES))
        balance(inflow, demand, None, None, tank, None, None, None, None, years, totals, yearly, None)

    one(0)
    with ThreadPoolExecutor(threads) as pool:
        start, work = time.perf_counter(), time.process_time()
        list(pool.map(one, range(blocks)))
        taken = np.array([time.perf_counter() - start, time.process_time() - work])
        return blocks * LANES * days.size / taken


def measured(folder: str, runs=("plain",), sizes=64, threads=1, cells=0, years=0, bare=False) -> dict:
    """Run once, after a run of a few cells that loads the compiled code."""
    folder = Path(folder)
    source = xr.open_zarr(folder / "rain.zarr", chunks=None)
    if years:
        last = int(source.time.dt.year[0]) + years - 1
        source = source.sel(time=slice(None, f"{last}-12-31"))
    if cells:
        source = source.isel(latitude=slice(-max(cells // source.sizes["longitude"], 1), None))
    grid = open_grid(source) if years or cells else open_grid(folder / "rain.zarr")
    plans = {
        "plain": Catchment(roofs=ROOFS),
        **{name: Catchment(roofs=ROOFS, conveyance=run) for name, run in RUNS.items()},
    }
    demand = xr.DataArray(np.where(grid.days.dayofweek < 5, 420.0, 60.0), {"time": grid.days}, ("time",))
    plan = Plan({n: plans[n] for n in runs}, demand, tuple(np.geomspace(500, 80_000, sizes)), bores=())
    first = open_grid(source.isel(latitude=slice(-1, None), longitude=slice(0, 2)))
    out = folder / "out.zarr"
    run_climates(first, plan, out, threads=1)
    shutil.rmtree(out)
    rates = [bare_rate(plan, grid.days, threads)] if bare else []
    land = int((source.land > 0).sum())
    start, work = time.perf_counter(), time.process_time()
    run_climates(grid, plan, out, threads=threads)
    seconds, work = time.perf_counter() - start, time.process_time() - work
    shutil.rmtree(out)
    return {
        "seconds": seconds,
        "processor": work,  # of all threads: steadier than the clock on a busy machine
        "bytes": 4 * land * grid.days.size,
        "cells": land,
        "tank_days": land * grid.days.size * sizes * len(runs),
        "bare": np.mean([*rates, bare_rate(plan, grid.days, threads)], axis=0).tolist() if bare else None,
        "peak": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024,
    }


def run(folder, *cases):
    """Measure cases one after another in a process of its own."""
    said = subprocess.run(
        [sys.executable, __file__, str(folder), json.dumps(cases)],
        capture_output=True,
        text=True,
        check=True,
        env=os.environ | {"PYTHONPATH": os.pathsep.join(sys.path)},
    )
    return json.loads(said.stdout.splitlines()[-1])


@pytest.mark.parametrize("runs", [("plain",), ("dry run", "wet run")], ids="+".join)
def test_throughput_against_the_bare_kernel(folder, runs, capsys):
    one, two = run(folder, *({"threads": n, "runs": runs, "bare": True} for n in (1, 2)))
    assert one["tank_days"] == two["tank_days"] > 0 and two["seconds"] > 0
    with capsys.disabled():
        print(
            f"\n{' and '.join(runs)}: {two['cells']:,} cells, {two['bytes'] / 1e9:.2f} GB of rain, 64 sizes"
        )
        for workers, done in ((1, one), (2, two)):
            rate = done["tank_days"] / done["seconds"]
            print(
                f"  {workers} worker{'s' if workers > 1 else ' '}: {done['seconds']:6.1f} s, "
                f"{rate / 1e6:.0f} million tank-days a second, {rate / done['bare'][0]:.2f} of the bare kernel; "
                f"processor {done['processor']:.1f} s, each "
                f"{done['tank_days'] / done['processor'] / done['bare'][1]:.2f} of the bare kernel's tank-days; "
                f"peak memory {done['peak'] / 1e9:.2f} GB"
            )
        world = two["seconds"] / two["cells"] * WORLD / 60
        print(
            f"  1 -> 2 workers: {one['seconds'] / two['seconds']:.2f} times; {WORLD:,} cells: {world:.0f} minutes"
        )


def test_cost_is_linear_in_cells_years_and_sizes(folder, capsys):
    tried = {
        "cells": (CELLS // 4, CELLS // 2, CELLS),
        "years": (YEARS // 4, YEARS // 2, YEARS),
        "sizes": (64, 256, 512),
    }
    found = iter(run(folder, *({name: n} for name, values in tried.items() for n in values)))
    with capsys.disabled():
        print()
        for name, values in tried.items():
            done = [next(found) for _ in values]
            at = np.array([d["cells"] for d in done] if name == "cells" else values, dtype=float)
            cost = np.array([d["processor"] for d in done])
            slope, rest = np.polyfit(at, cost, 1)
            explained = 1 - ((cost - slope * at - rest) ** 2).sum() / ((cost - cost.mean()) ** 2).sum()
            print(
                f"  {name}: {', '.join(f'{a:g}: {c:.2f} s' for a, c in zip(at, cost, strict=True))}; "
                f"{slope:.3g} s each and {rest:.2f} s; the line explains {100 * explained:.1f} %"
            )
            assert np.isfinite(explained)


if __name__ == "__main__":
    print(json.dumps([measured(sys.argv[1], **case) for case in json.loads(sys.argv[2])]))
