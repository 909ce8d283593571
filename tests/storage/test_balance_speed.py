"""Benchmarks of the balance beside a C loop made for one rule: 1,024 tanks x 50 years, one thread.

The figures are printed, never asserted; what is asserted is that both give the same bits.
"""

import ctypes
import shutil
import subprocess
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from rainharvest import simulate

TIME = pd.date_range("1971-01-01", "2020-12-31")
WATERS = ("scarce", "plentiful")


def water(kind):
    """Fifty invented years of inflow, a demand, and 1,024 tanks, of which most, or few, fail often."""
    rng = np.random.default_rng(7)
    wet = rng.random(TIME.size) < 0.3
    if kind == "scarce":
        inflow, demand, tanks = rng.gamma(0.7, 7 / 0.7, TIME.size) * 300, 2000.0, np.linspace(1e3, 1e5, 1024)
    else:
        inflow, tanks = rng.exponential(1000.0, TIME.size), np.linspace(50.0, 60_000.0, 1024)
        demand = np.where(TIME.dayofweek < 5, 250.0, 50.0)
    return pd.Series(inflow * wet, TIME), pd.Series(demand, TIME), tanks


@pytest.fixture(scope="module")
def in_c(tmp_path_factory):
    """Compile the yardstick; skip where there is no compiler."""
    compiler = shutil.which("cc") or shutil.which("gcc")
    if not compiler:
        pytest.skip("no C compiler on this machine, so no C loop to compare with")
    out = tmp_path_factory.mktemp("c") / "yardstick.so"
    exact = "-O3 -march=native -ffp-contract=off -fno-math-errno -fno-trapping-math -shared -fPIC".split()
    subprocess.run([compiler, *exact, Path(__file__).with_name("yardstick.c"), "-o", out], check=True)
    full = ctypes.CDLL(str(out)).full
    ends = np.append(np.flatnonzero(np.diff(TIME.year)) + 1, TIME.size).astype(np.uintp)

    def run(inflow, demand, tanks):
        n, years = ctypes.c_size_t(tanks.size), ctypes.c_size_t(ends.size)
        totals = np.empty((7, tanks.size))
        drawn, failed = np.empty((2, ends.size, tanks.size))
        q, d, e, c, *out = (
            a.ctypes.data_as(ctypes.c_void_p) for a in (inflow, demand, ends, tanks, totals, drawn, failed)
        )
        full(q, d, e, years, c, n, *out)
        return totals, drawn, failed

    return run


@pytest.mark.parametrize("kind", WATERS)
def test_the_c_loop_gives_the_same_bits(kind, in_c):
    inflow, demand, tanks = water(kind)
    done = simulate(inflow, demand, tanks)
    totals, drawn, failed = in_c(inflow.to_numpy(), demand.to_numpy(), tanks)
    names = "delivered spilled days_failed longest_failure failure_events worst_shortfall unmet".split()
    for name, expected in zip(names, totals, strict=True):
        np.testing.assert_array_equal(done[name], expected, err_msg=name)
    np.testing.assert_array_equal(done.yield_by_year.T, drawn)
    np.testing.assert_array_equal(done.failed_by_year.T, failed)


@pytest.mark.benchmark(group="balance: 1,024 tanks x 50 years")
@pytest.mark.parametrize("kind", WATERS)
def test_speed_of_simulate(kind, benchmark):
    benchmark(simulate, *water(kind))


@pytest.mark.benchmark(group="balance: 1,024 tanks x 50 years")
@pytest.mark.parametrize("kind", WATERS)
def test_speed_of_the_c_loop(kind, benchmark, in_c):
    inflow, demand, tanks = water(kind)
    benchmark(in_c, inflow.to_numpy(), demand.to_numpy(), tanks)


ALL = dict(essential=50.0, ration_level=[4000.0, 1000.0], ration_share=[0.5, 0.0])
ALL |= dict(top_up_trigger=500.0, top_up_level=2000.0, top_up_rate=1500.0)


@pytest.mark.benchmark(group="balance: every setting on")
def test_speed_with_rationing_and_mains(benchmark):
    benchmark(simulate, *water("plentiful"), **ALL)


@pytest.mark.benchmark(group="balance: one tank x 50 years, with its trace")
def test_speed_of_one_trace(benchmark):
    benchmark(simulate, *water("plentiful")[:2], 5000.0, trace=True)
