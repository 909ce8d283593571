"""Benchmarks of the balance beside its C and NumPy twins: 1,024 tanks x 50 years, one thread.

The figures are printed, never asserted; what is asserted is that the three agree.
"""

import ctypes
import shutil
import subprocess
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from rainharvest import simulate
from rainharvest.storage.balance import LANES

TANKS = np.linspace(50.0, 60_000.0, 1024)


@pytest.fixture(scope="module")
def record():
    """Fifty invented years of inflow and a demand with weekends."""
    rng = np.random.default_rng(7)
    time = pd.date_range("1971-01-01", "2020-12-31")
    inflow = np.where(rng.random(time.size) < 0.3, rng.exponential(1000.0, time.size), 0.0)
    return pd.Series(inflow, time), pd.Series(np.where(time.dayofweek < 5, 250.0, 50.0), time)


def in_numpy(inflow, demand, tanks):
    """Loop over days, vectors over tanks; keeps two measures."""
    stored, delivered, failed = np.zeros_like(tanks), np.zeros_like(tanks), np.zeros_like(tanks)
    for q, d in zip(inflow, demand, strict=True):
        y = np.minimum(d, stored)
        stored = np.minimum(stored + q, tanks) - y
        delivered += y
        failed += y < d * (1 - 1e-9)
    return delivered, failed


@pytest.fixture(scope="module")
def in_c(tmp_path_factory):
    """Compile the C twin; skip where there is no compiler."""
    compiler = shutil.which("cc") or shutil.which("gcc")
    if not compiler:
        pytest.skip("no C compiler on this machine, so no C twin to compare with")
    out = tmp_path_factory.mktemp("c") / "balance_twin.so"
    source = Path(__file__).with_name("balance_twin.c")
    subprocess.run(
        [compiler, "-O3", "-march=native", "-shared", "-fPIC", str(source), "-o", str(out)], check=True
    )
    function = ctypes.CDLL(str(out)).balance

    def run(inflow, demand, years, tanks, block):
        n = len(years) - 1
        measures = []
        for first in range(0, tanks.size, block):
            capacity = np.ascontiguousarray(tanks[first : first + block])
            state = [np.zeros(block) for _ in range(11)]
            yearly = [np.zeros((n, block)) for _ in range(2)]
            arrays = [capacity, np.zeros(block), *state, *yearly]
            pointers = [a.ctypes.data_as(ctypes.c_void_p) for a in (inflow, demand, years)]
            function(
                *pointers,
                ctypes.c_long(n),
                *(a.ctypes.data_as(ctypes.c_void_p) for a in arrays),
                ctypes.c_long(block),
            )
            measures.append(np.array([state[i] for i in (1, 2, 3, 4, 5, 7, 9)]))
        return np.concatenate(measures, axis=1)

    return run


@pytest.mark.benchmark(group="balance: 1,024 tanks x 50 years")
def test_speed_of_simulate(benchmark, record):
    done = benchmark(simulate, *record, TANKS)
    delivered, failed = in_numpy(*(s.to_numpy() for s in record), TANKS)
    np.testing.assert_allclose(done.delivered, delivered, rtol=1e-9)
    np.testing.assert_array_equal(done.days_failed, failed)


@pytest.mark.benchmark(group="balance: 1,024 tanks x 50 years")
@pytest.mark.parametrize("block", [LANES, 1024])
def test_speed_of_c_twin(benchmark, record, in_c, block):
    inflow, demand = (s.to_numpy() for s in record)
    years = np.append(np.flatnonzero(np.diff(record[0].index.year, prepend=0)), inflow.size).astype(np.int64)
    totals = benchmark(in_c, inflow, demand, years, TANKS, block)
    done = simulate(*record, TANKS)
    names = (
        "delivered",
        "spilled",
        "unmet",
        "days_failed",
        "failure_events",
        "longest_failure",
        "worst_shortfall",
    )
    for name, expected in zip(names, totals, strict=True):
        np.testing.assert_allclose(done[name], expected, rtol=1e-9, atol=1e-6, err_msg=name)


@pytest.mark.benchmark(group="balance: 1,024 tanks x 50 years")
def test_speed_of_numpy_twin(benchmark, record):
    benchmark.pedantic(in_numpy, args=(*(s.to_numpy() for s in record), TANKS), rounds=3)


@pytest.mark.benchmark(group="balance: every setting on")
def test_speed_with_rationing_and_mains(benchmark, record):
    benchmark(
        simulate,
        *record,
        TANKS,
        essential=50.0,
        ration_level=[4000.0, 1000.0],
        ration_share=[0.5, 0.0],
        top_up_trigger=500.0,
        top_up_level=2000.0,
        top_up_rate=1500.0,
    )


@pytest.mark.benchmark(group="balance: one tank x 50 years, with its trace")
def test_speed_of_one_trace(benchmark, record):
    benchmark(simulate, *record, 5000.0, trace=True)
