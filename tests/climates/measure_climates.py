"""One run over an invented store, measured in a process of its own: ``python measure_climates.py FOLDER JSON``.

Prints seconds, tank-days, the peak of memory, and the rate of the bare kernel on as many threads.
"""

import json
import resource
import sys
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import xarray as xr

sys.path[:0] = [str(Path(__file__).parent), str(Path(__file__).parents[2])]

from climates_case import ROOFS, RUNS  # noqa: E402

from rainharvest.catchment.tables import Catchment
from rainharvest.climates.cells import Plan
from rainharvest.climates.grid import open_grid
from rainharvest.climates.run import run_climates
from rainharvest.storage.balance import BY_YEAR, LANES, TOTALS, balance


def peak() -> int:
    """Most bytes that this process has held."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024


def bare_rate(plan, days, threads: int, blocks: int = 60) -> np.ndarray:
    """Tank-days of the bare kernel a second of the clock and of the processor: inflow in memory, 64 tanks a block."""
    rng = np.random.default_rng(0)
    inflow = np.where(rng.random(days.size) < 0.25, rng.exponential(1500.0, days.size), 0.0)
    demand = plan.demand.values
    years = np.append(np.flatnonzero(np.diff(days.year, prepend=0)), days.size).astype(np.int64)
    tank = np.zeros((3, LANES))
    tank[0] = np.geomspace(500, 80_000, LANES)

    def one(_):
        totals, yearly = np.empty((len(TOTALS), LANES)), np.empty((len(BY_YEAR), years.size - 1, LANES))
        balance(inflow, demand, None, None, tank, None, None, None, years, totals, yearly, None)

    one(0)
    with ThreadPoolExecutor(threads) as pool:
        start, work = time.perf_counter(), time.process_time()
        list(pool.map(one, range(blocks)))
        taken = np.array([time.perf_counter() - start, time.process_time() - work])
        return blocks * LANES * days.size / taken


def measured(folder: str, sizes: int, threads: int, runs: list[str], cells: int, years: int) -> dict:
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
    out = folder / f"out-{sizes}-{threads}-{'-'.join(runs)}-{cells}-{years}.zarr".replace(" ", "_")
    run_climates(first, plan, str(out) + ".first", threads=1)
    bare = bare_rate(plan, grid.days, threads)
    land = int((source.land > 0).sum())
    start, work = time.perf_counter(), time.process_time()
    run_climates(grid, plan, out, threads=threads)
    seconds, work = time.perf_counter() - start, time.process_time() - work
    return {
        "seconds": seconds,
        "processor": work,  # of all threads: steadier than the clock on a busy machine
        "bytes": 4 * land * grid.days.size,
        "cells": land,
        "tank_days": land * grid.days.size * sizes * len(runs),
        "bare": (0.5 * (bare + bare_rate(plan, grid.days, threads))).tolist(),
        "peak": peak(),
    }


if __name__ == "__main__":
    print(json.dumps(measured(sys.argv[1], **json.loads(sys.argv[2]))))
