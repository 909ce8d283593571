"""The smallest tank: to the litre, without a failure, in published examples and by simulation."""

import math

import numpy as np
import pytest
import xarray as xr
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from rainharvest import InputError, simulate
from rainharvest.sizing.smallest import (
    no_failure,
    sequent_peak,
    sizes_for_targets,
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
    assume(0 < demand.sum() < inflow.sum())
    peak = sequent_peak(inflow, demand, theta)
    twice = np.tile(inflow, 2), np.tile(demand, 2)
    for size, fails in ((peak * (1 + 1e-9) + 1e-9, False), (peak * (1 - 1e-3) - 1e-3, True)):
        if size >= 0:
            done = simulate(*twice, size, start=size, theta=theta)
            assert (float(done.days_failed[0]) > 0) == fails


@given(seeds, thetas)
@settings(max_examples=40)
def test_no_failure_is_confirmed_to_the_litre(seed, theta):
    inflow, demand = flows(seed, days=400, wet=0.5, rain=40.0, most=15.0)
    size, peak = no_failure(inflow, demand, theta=theta)
    if demand.sum() > inflow.sum():
        assert math.isnan(size) and math.isinf(peak)
        return
    sizes = xr.DataArray([max(size - 1, 0.0), size], dims="capacity")
    twice = np.tile(inflow, 2), np.tile(demand, 2)
    failed = simulate(*twice, sizes, start=sizes, theta=theta).days_failed.values
    assert failed[1] == 0 and (size == 0 or failed[0] > 0)


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


@given(seeds, st.sampled_from(["volume_reliability", "time_reliability"]))
@settings(max_examples=25)
def test_every_rung_of_the_ladder_is_the_smallest_on_the_grid_of_a_litre(seed, measure):
    inflow, demand = flows(seed, days=500, wet=0.4)
    rungs = sizes_for_targets(inflow, demand, measure=measure)
    for target, size, reached in zip(
        rungs.target.values, rungs.size_for_target.values, rungs.reached.values, strict=True
    ):
        if math.isnan(size):
            assert reached < target
            continue
        sizes = [max(size - 1, 0.0), size] if size else [0.0]
        done = simulate(inflow, demand, sizes)[measure].values
        assert size == int(size) and done[-1] >= target * (1 - 1e-12) and (size == 0 or done[0] < target)
    found = rungs.size_for_target.values
    assert (np.diff(found[~np.isnan(found)]) >= 0).all()


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


def test_sequent_peak_of_fair_geyer_okun(fair_geyer_okun_example_2_1):
    case = fair_geyer_okun_example_2_1
    assert sequent_peak(case["inflow"], case["demand"]) == case["storage"]


def test_balance_repeats_the_storage_and_waste_columns_of_fair_geyer_okun(fair_geyer_okun_example_2_1):
    case = fair_geyer_okun_example_2_1
    inflow, demand = np.tile(case["inflow"], 2), np.tile(case["demand"], 2)
    done = simulate(inflow, demand, 176.0, theta=1.0, trace=True).isel(capacity=0)
    np.testing.assert_array_equal(done.stored, case["stored"])
    waste = dict(enumerate(done.spilled_daily.values, start=1))
    assert {month: v for month, v in waste.items() if v > 0} == case["waste"]
    assert float(done.days_failed) == 0
    assert float(simulate(inflow, demand, 175.0, theta=1.0).days_failed[0]) > 0


def test_sequent_peak_of_nine_periods_needs_two_cycles():
    """Loucks and van Beek, Water Resource Systems Planning and Management: from memory, not verified."""
    inflow = [1, 3, 3, 5, 8, 6, 7, 2, 1]
    one = storage_deficit(inflow, 3.5)
    np.testing.assert_array_equal(one, [2.5, 3, 3.5, 2, 0, 0, 0, 1.5, 4])
    assert sequent_peak(inflow, 3.5) == 7.5


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


def test_deficit_column_of_davis(davis_example_2_3):
    inflow, demand, printed = davis_example_2_3
    got = storage_deficit(inflow, demand)
    np.testing.assert_allclose(got, printed, atol=0.0011)
    assert got.max() == pytest.approx(3.695, abs=0.0011)


def test_balance_drains_a_full_store_by_the_deficit_of_davis(davis_example_2_3):
    inflow, demand, printed = davis_example_2_3
    size = storage_deficit(inflow, demand).max() * (1 + 1e-9)  # exactly empty would be decided by rounding
    done = simulate(inflow, demand, size, start=size, theta=1.0, trace=True).isel(capacity=0)
    np.testing.assert_allclose(size - done.stored, printed, atol=0.0011)
    assert float(done.days_failed) == 0
    assert float(simulate(inflow, demand, 0.99 * size, start=0.99 * size, theta=1.0).days_failed[0]) > 0


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: smallest_tank([1.0], 1.0, 1.5), "target"),
        (lambda: smallest_tank([1.0], 1.0, 0.5, measure="luck"), "measure"),
        (lambda: smallest_tank(xr.DataArray(np.ones((2, 2)), dims=("member", "time")), 1.0, 0.5), "member"),
        (lambda: no_failure(xr.DataArray(np.ones((2, 2)), dims=("member", "time")), 1.0), "member"),
        (lambda: sequent_peak([1.0, -1.0], 1.0), "inflow"),
        (lambda: sequent_peak([1.0], 1.0, theta=2.0), "theta"),
        (lambda: sequent_peak([1.0, 2.0], [1.0, 2.0, 3.0]), "differ in length"),
    ],
)
def test_bad_input_says_what_is_wrong(call, words):
    with pytest.raises(InputError, match=words):
        call()
