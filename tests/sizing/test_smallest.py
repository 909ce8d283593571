"""The trade-off curve and the smallest tank."""

import math

import numpy as np
import pytest
import xarray as xr
from hypothesis import given, settings
from hypothesis import strategies as st

from rainharvest import InputError, simulate
from rainharvest.sizing.smallest import sequent_peak, smallest_of_members, smallest_tank
from rainharvest.sizing.trade_off import sizes_to_try, trade_off


@given(
    st.integers(0, 10_000),
    st.floats(0.05, 1.0),
    st.sampled_from([0.0, 1.0]),
    st.sampled_from(["volume_reliability", "time_reliability"]),
)
@settings(max_examples=60, deadline=None)
def test_the_size_found_reaches_the_target_and_one_litre_less_does_not(seed, target, theta, measure):
    rng = np.random.default_rng(seed)
    inflow = rng.exponential(60, 400) * (rng.random(400) < 0.3)
    demand = rng.uniform(2, 20, 400)
    found = smallest_tank(inflow, demand, target, measure=measure, theta=theta)
    again = simulate(inflow, demand, [found.largest], theta=theta)[measure]
    if math.isnan(found.capacity):
        assert float(again[0]) < target
        return
    at, below = (
        float(simulate(inflow, demand, c, theta=theta)[measure][0])
        for c in (found.capacity, max(found.capacity - 1, 0))
    )
    assert at >= target * (1 - 1e-12)
    assert found.capacity == 0 or below < target
    assert found.capacity == int(found.capacity)


def test_the_smallest_of_all_whole_litres(rng):
    inflow, demand = rng.exponential(30, 200) * (rng.random(200) < 0.4), np.full(200, 8.0)
    every = simulate(inflow, demand, np.arange(0.0, 2000.0))
    for target in (0.5, 0.8, 0.95):
        first = int(np.argmax(every.volume_reliability.values >= target))
        assert smallest_tank(inflow, demand, target).capacity == first


def test_no_failure_in_the_record_agrees_with_the_two_cycle_sequent_peak(rng):
    inflow, demand = rng.exponential(20, 3000) * (rng.random(3000) < 0.5), np.full(3000, 8.0)
    peak = sequent_peak(inflow, demand)
    twice = np.tile(inflow, 2)
    found = smallest_tank(twice, np.tile(demand, 2), 1.0, theta=1.0, start=0.0, measure="time_reliability")
    # From an empty start the first days may fail whatever the size, so compare from a full one.
    full = simulate(twice, 8.0, math.ceil(peak), start=math.ceil(peak), theta=1.0)
    short = simulate(twice, 8.0, math.floor(peak) - 1, start=math.floor(peak) - 1, theta=1.0)
    assert float(full.days_failed[0]) == 0 and float(short.days_failed[0]) > 0
    assert math.isnan(found.capacity) or found.capacity >= math.floor(peak)


def test_a_target_out_of_reach_is_an_answer_not_an_error():
    answer = smallest_tank([1.0] * 50, 10.0, 0.9)
    assert math.isnan(answer.capacity) and answer.reached < 0.11


def test_curve_derives_what_it_says(rng):
    inflow, demand = rng.exponential(30, 3653) * (rng.random(3653) < 0.4), np.full(3653, 8.0)
    sizes = sizes_to_try(demand)
    curve = trade_off(inflow, demand, sizes)
    assert (np.diff(curve.yearly_yield) >= -1e-9).all()
    step = np.diff(curve.yearly_yield) / np.diff(sizes)
    np.testing.assert_allclose(curve.marginal_yield.values[:-1], step)
    np.testing.assert_allclose(curve.yearly_yield, curve.delivered / (3653 / 365.25))
    assert (
        curve.marginal_yield.attrs["units"] == "L/year/L" and curve.yield_quantile.attrs["units"] == "L/year"
    )


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: smallest_tank([1.0], 1.0, 1.5), "target"),
        (lambda: smallest_tank([1.0], 1.0, 0.5, measure="luck"), "measure"),
        (lambda: trade_off([1.0], 1.0, [5.0, 5.0]), "rise"),
        (lambda: sizes_to_try([0.0]), "demand"),
        (lambda: sequent_peak([1.0, -1.0], 1.0), "inflow"),
    ],
)
def test_bad_input_says_what_is_wrong(call, words):
    with pytest.raises(InputError, match=words):
        call()


@pytest.mark.parametrize("measure", ["volume_reliability", "time_reliability"])
@pytest.mark.parametrize("target", [0.3, 0.9, 1.0])
def test_versions_searched_together_are_searched_alike(rng, measure, target):
    members = xr.DataArray(rng.gamma(0.3, 40.0, (5, 400)), dims=("member", "time"))
    members[2] *= 0.01  # one that reaches nothing
    members[3] *= 50.0
    more = {"measure": measure, "shares": {"start": 0.5}}
    together = smallest_of_members(members, 10.0, target, **more)
    alone = [smallest_tank(members[i], 10.0, target, **more) for i in range(5)]
    assert [str(one) for one in together] == [str(one) for one in alone]
    assert len({one.capacity for one in together if one.capacity == one.capacity}) > 1
