"""The smallest tank: to the litre, without a failure, in published examples and by simulation."""

import math

import numpy as np
import pytest
import xarray as xr
from hypothesis import given, settings
from hypothesis import strategies as st

from rainharvest import simulate
from rainharvest.sizing.smallest import (
    no_failure,
    sequent_peak,
    smallest_of_members,
    smallest_tank,
    storage_deficit,
)

seeds = st.integers(0, 100_000)
thetas = st.sampled_from([0.0, 0.3, 1.0])


def flows(seed, days=300, wet=0.3, rain=60.0, most=20.0):
    """Return a random record: inflow on some days, a demand that changes from day to day and may be zero."""
    rng = np.random.default_rng(seed)
    inflow = rng.exponential(rain, days) * (rng.random(days) < wet)
    return inflow, rng.uniform(0, most, days) * (rng.random(days) < 0.9)


@given(seeds, st.floats(0.05, 1.0), thetas, st.sampled_from(["volume_reliability", "time_reliability"]))
@settings(max_examples=60)
def test_the_size_found_reaches_the_target_and_one_litre_less_does_not(seed, target, theta, measure):
    inflow, demand = flows(seed, days=400)
    found = smallest_tank(inflow, demand, target, measure=measure, theta=theta)
    sizes = [max(found.capacity - 1, 0.0), found.capacity, np.ceil(inflow.sum())]
    below, at, most = simulate(inflow, demand, np.nan_to_num(sizes), theta=theta)[measure].values
    if math.isnan(found.capacity):
        assert most < target
        return
    assert at >= target * (1 - 1e-12) and found.capacity == int(found.capacity)
    assert found.capacity == 0 or below < target
    half = smallest_tank(inflow, demand, target / 2, measure=measure, theta=theta)
    assert half.capacity <= found.capacity


def test_the_smallest_of_all_whole_litres(rng):
    inflow, demand = rng.exponential(30, 200) * (rng.random(200) < 0.4), np.full(200, 8.0)
    every = simulate(inflow, demand, np.arange(0.0, 2000.0))
    for target in (0.5, 0.8, 0.95):
        first = int(np.argmax(every.volume_reliability.values >= target))
        assert smallest_tank(inflow, demand, target).capacity == first


def test_a_target_out_of_reach_is_an_answer_not_an_error():
    answer = smallest_tank([1.0] * 50, 10.0, 0.9)
    assert math.isnan(answer.capacity) and answer.reached < 0.11


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


@given(seeds, thetas)
@settings(max_examples=80)
def test_sequent_peak_is_the_smallest_tank_that_never_fails(seed, theta):
    inflow, demand = flows(seed, days=120, wet=0.5, rain=40.0, most=15.0)
    size, peak = no_failure(inflow, demand, theta=theta)
    assert peak == sequent_peak(inflow, demand, theta)
    if demand.sum() > inflow.sum():
        assert math.isnan(size) and math.isinf(peak)
        return
    twice = np.tile(inflow, 2), np.tile(demand, 2)
    tried = {peak * (1 + 1e-9) + 1e-9: False, peak * (1 - 1e-3) - 1e-3: True, size: False, size - 1: True}
    for tank, fails in tried.items():
        if tank >= 0 and demand.sum():
            done = simulate(*twice, tank, start=tank, theta=theta)
            assert (float(done.days_failed[0]) > 0) == fails


def test_where_rationing_grows_with_the_tank_the_largest_is_not_the_best():
    """Below half full nothing is served: a large tank is below half for good, a small one is not."""
    inflow, demand = np.full(60, 10.0), np.full(60, 10.0)
    given = {"essential": 0.0, "ration_share": [0.0]}
    reached = [
        float(simulate(inflow, demand, size, ration_level=[size / 2], **given).volume_reliability[0])
        for size in range(1, 601)
    ]
    enough = [size for size, share in enumerate(reached, 1) if share >= 0.8]
    assert enough and reached[-1] < 0.8
    shares = {"ration_level": xr.DataArray([0.5], dims="stage")}
    one = smallest_tank(inflow, demand, 0.8, shares=shares, **given)
    assert one.capacity == enough[0] and one.reached == pytest.approx(reached[enough[0] - 1])


@pytest.fixture
def fair_geyer_okun_example_2_1():
    """Fair, Geyer and Okun, Water and Wastewater Engineering, 3rd ed. 2010, Example 2.1, Table 2.2, p. 36."""
    return {
        "inflow": np.array([94, 122, 45, 5, 5, 2, 0, 2, 16, 7, 72, 92.0]),
        "demand": np.array([27, 27, 30, 30, 33, 30, 27, 27, 30, 36, 33, 30.0]),
        "storage": 176,
        "stored": [67, 162, 176, 151, 123, 95, 68, 43, 29, 0, 39, 101]
        + [168, 176, 176, 151, 123, 95, 68, 43, 29, 0, 39, 101],
        "waste": {3: 1, 14: 87, 15: 15},
    }


def test_balance_repeats_the_storage_and_waste_columns_of_fair_geyer_okun(fair_geyer_okun_example_2_1):
    case = fair_geyer_okun_example_2_1
    assert sequent_peak(case["inflow"], case["demand"]) == case["storage"]
    inflow, demand = np.tile(case["inflow"], 2), np.tile(case["demand"], 2)
    done = simulate(inflow, demand, 176.0, theta=1.0, trace=True).isel(capacity=0)
    np.testing.assert_array_equal(done.stored, case["stored"])
    waste = dict(enumerate(done.spilled_daily.values, start=1))
    assert {month: v for month, v in waste.items() if v > 0} == case["waste"]
    assert float(done.days_failed) == 0
    assert float(simulate(inflow, demand, 175.0, theta=1.0).days_failed[0]) > 0


@pytest.fixture
def davis_example_2_3():
    """Davis, Water and Wastewater Engineering 2010, Example 2-3, p. 2-16; June 1995 to January 1997."""
    flow = (
        "3.74 1.60 1.13 1.13 1.42 1.98 2.12 1.78 1.95 7.25 24.7 6.26 8.92 3.57 1.98 1.95 3.09 3.94 12.7 13.8"
    )
    # The example counts 28 days in February of the leap year 1996.
    days = np.array([30, 31, 31, 30, 31, 30, 31, 31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31, 31])
    deficit = """0.163 0.619 1.137 1.638 2.118 2.509 2.895 3.326 3.695 3.394
                 0.841 0.672 0.164 0.355 0.760 1.155 1.411 1.548 0.517 0"""
    flow, deficit = (np.array(column.split(), dtype=float) for column in (flow, deficit))
    return 0.05 * flow * days * 86400 / 1e6, 0.25 * days * 86400 / 1e6, deficit


def test_balance_drains_a_full_store_by_the_deficit_of_davis(davis_example_2_3):
    inflow, demand, printed = davis_example_2_3
    np.testing.assert_allclose(storage_deficit(inflow, demand), printed, atol=0.0011)
    size = storage_deficit(inflow, demand).max() * (1 + 1e-9)  # exactly empty would be decided by rounding
    done = simulate(inflow, demand, size, start=size, theta=1.0, trace=True).isel(capacity=0)
    np.testing.assert_allclose(size - done.stored, printed, atol=0.0011)
    assert float(done.days_failed) == 0
    assert float(simulate(inflow, demand, 0.99 * size, start=0.99 * size, theta=1.0).days_failed[0]) > 0
