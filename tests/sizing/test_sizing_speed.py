"""Benchmarks of the tank-size decision: printed, never asserted; and that memory follows what is kept.

1,000 sizes x 60 years x 200 draws with every measure is the figure of the issue: 4.4 thousand million tank-days.
"""

import itertools
import tracemalloc

import numpy as np
import pytest
import xarray as xr
from places import whole
from rain import invent_rain

from rainharvest.catchment.tables import Catchment, Roof
from rainharvest.sizing.band import (
    measures_of_draws,
    runs_of_years,
    sobol_indices,
    sure_size,
    tornado,
    uncertain_curve,
)
from rainharvest.sizing.grid import moved
from rainharvest.sizing.panel import prepare_sizing
from rainharvest.sizing.uncertainty import Case, draw_flows, draw_inputs, input_ranges, record_inputs

EVERY = tuple(
    "volume_reliability time_reliability yearly_yield longest_failure worst_shortfall failure_events delivered spilled "
    "unmet rationed topped_up changed_over stored_end days_failed days_met days_rationed".split()
)
"""Every measure that is not a year's."""
SITE = Catchment(roofs=(Roof(area=200),))


def case_of(years):
    rain = invent_rain("winter_rain", years, seed=1).isel(site=0, drop=True).reset_coords(drop=True)
    rain = rain.expand_dims("member")
    demand = xr.DataArray(np.full(rain.sizes["time"], 250.0), {"time": rain.time}, ("time",))
    return Case(rain, SITE, demand, input_ranges(SITE), year_start_month=2)


@pytest.fixture(scope="module")
def sixty():
    case = case_of(61)  # sixty whole years from February on
    drawn = draw_flows(case, draw_inputs(case, 200, 1))
    return case, drawn, draw_flows(case, record_inputs(case))


def say(capsys, benchmark, what, tank_days):
    if benchmark.stats is None:  # --benchmark-disable
        return
    seconds = benchmark.stats.stats.min
    with capsys.disabled():
        print(f"\n{what}: {seconds:.3f} s, {tank_days / seconds / 1e6:,.0f} million tank-days a second")


@pytest.mark.long
@pytest.mark.benchmark(group="sizing: 1,000 sizes x 60 years x 200 draws, every measure")
def test_speed_of_every_measure(benchmark, sixty, capsys):
    _, drawn, _ = sixty
    sizes = np.linspace(100, 100_000, 1000)
    done = benchmark.pedantic(lambda: measures_of_draws(drawn, sizes, keep=EVERY), rounds=2, warmup_rounds=1)
    assert done.volume_reliability.shape == (200, 1000) and set(EVERY) <= set(done)
    assert (done.days_failed + done.days_met == (drawn.demand > 0).sum("time")).all()
    say(capsys, benchmark, "1,000 sizes, 60 years, 200 draws, every measure", drawn.inflow.size * 1000)


@pytest.mark.benchmark(group="sizing: a slider's move: 128 sizes and a band of 10 draws, the demo's 60 years")
@pytest.mark.parametrize("measure", ["volume_reliability", "time_reliability"])
def test_speed_of_a_slider(benchmark, tmp_path, measure):
    path = tmp_path / "study.toml"
    path.write_text(whole().replace('measure = "volume_reliability"', f'measure = "{measure}"'), "utf-8")
    _, grid = prepare_sizing(path)
    areas = itertools.cycle(np.linspace(400.0, 800.0, 41))  # another roof each time, as a slider would
    out = benchmark(lambda: moved(grid, area=next(areas), coefficient=0.8, people=200.0))
    assert out.sizes["capacity"] == 128 and (out.reliability_low <= out.reliability_high).all()


@pytest.mark.long
@pytest.mark.benchmark(group="sizing: the steps of a study, 60 years")
@pytest.mark.parametrize("step", ["draws", "curve", "sure size", "tornado", "sobol"])
def test_speed_of_a_step(benchmark, sixty, step):
    case, drawn, record = sixty
    sizes = np.geomspace(100, 100_000, 60)
    work = {
        "draws": lambda: draw_flows(case, draw_inputs(case, 200, 1)),
        "curve": lambda: uncertain_curve(drawn, record, sizes, target=0.6),
        "sure size": lambda: sure_size(drawn, 0.6),
        "tornado": lambda: tornado(record, runs_of_years(case, 64), 10_000.0),
        "sobol": lambda: sobol_indices(record, runs_of_years(case, 64), 10_000.0),
    }[step]
    benchmark.pedantic(work, rounds=1, warmup_rounds=1)


def peak_of(work) -> int:
    """Return the most memory that Python and NumPy took during the work, in bytes."""
    work()  # what is compiled or cached is not counted
    tracemalloc.start()
    try:
        work()
        return tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()


def test_memory_grows_with_what_is_kept_and_not_with_the_days_simulated():
    sizes = np.linspace(100, 50_000, 256)

    def run(years, draws, keep=("volume_reliability",)):
        case = case_of(years)
        drawn = draw_flows(case, draw_inputs(case, draws, 1))
        return peak_of(lambda: measures_of_draws(drawn, sizes, keep=keep))

    kept = 8 * sizes.size  # bytes of one measure of one draw
    short, long, many = run(11, 64), run(41, 64), run(11, 256)
    simulated = 64 * sizes.size * 30 * 365 * 8
    # Thirty more years are 180 million more tank-days: what they add is a batch's inflow and its years.
    assert long - short < simulated / 50
    # Four times the draws add what is kept of them, and not four times the memory.
    assert many - short < 2 * 192 * kept + 1e6 and many < 1.5 * short
    by_year = run(11, 256, keep=("volume_reliability", "yield_by_year"))
    assert by_year - many > 0.8 * 256 * kept * 10, "a figure a year is kept where it is asked for"
