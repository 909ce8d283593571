"""The three primitives: what passes, what is lost and what is held add up, always."""

import numpy as np
import pytest
import xarray as xr
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from rainharvest import InputError
from rainharvest.catchment.chain import cap_flow, fill_store, share

FLOWS = hnp.arrays(
    float, st.integers(1, 60), elements=st.floats(0, 1e5).map(lambda x: 0.0 if x < 1e-6 else x)
)
SIZE = st.floats(0, 1e4)


def flow(values):
    return xr.DataArray(np.asarray(values, dtype=float), dims="time")


@given(FLOWS, st.floats(0, 1))
def test_share_conserves_volume(values, kept):
    passed = share(flow(values), kept)
    np.testing.assert_allclose(passed.out + passed.lost, values, rtol=1e-12, atol=1e-9)
    assert (passed.out >= 0).all() and (passed.lost >= 0).all()


@given(FLOWS, SIZE)
def test_capped_flow_conserves_volume(values, limit):
    passed = cap_flow(flow(values), limit)
    np.testing.assert_allclose(passed.out + passed.lost, values, rtol=1e-12, atol=1e-9)
    assert (passed.out <= limit).all() and (passed.lost >= 0).all()


@given(FLOWS, SIZE, SIZE, st.one_of(st.none(), st.integers(1, 20)), st.floats(0, 1))
def test_filling_store_conserves_volume_at_every_step(values, capacity, drain, empty_after, full):
    start = capacity * full
    passed = fill_store(flow(values), capacity, drain, empty_after, start)
    before = np.concatenate([[start], passed.held.values[:-1]])
    balance = passed.out + passed.lost + passed.held - before
    np.testing.assert_allclose(balance, values, rtol=1e-9, atol=1e-9 * max(capacity, 1.0))
    assert (passed.held >= 0).all() and (passed.held <= capacity * (1 + 1e-12)).all()
    assert (
        (passed.out >= 0).all() and (passed.lost >= 0).all() and (passed.lost <= max(drain, capacity)).all()
    )


@given(FLOWS, SIZE, SIZE, st.floats(1, 10))
def test_a_larger_space_never_passes_more(values, capacity, drain, factor):
    small = fill_store(flow(values), capacity, drain)
    large = fill_store(flow(values), capacity * factor, drain)
    assert large.out.sum() <= small.out.sum() * (1 + 1e-9) + 1e-6


def test_filling_store_by_hand():
    # Space of 10, drain of 2. Day 1: takes 6 of 6. Day 2: drains to 4, takes 6 of 9, passes 3.
    # Days 3 and 4 dry: 8, then 6. Day 5: drains to 4, takes 1.
    passed = fill_store(flow([6, 9, 0, 0, 1]), capacity=10, drain=2)
    assert passed.out.values.tolist() == [0, 3, 0, 0, 0]
    assert passed.held.values.tolist() == [6, 10, 8, 6, 5]
    assert passed.lost.values.tolist() == [0, 2, 2, 2, 2]


def test_store_is_emptied_on_the_last_of_the_dry_days():
    passed = fill_store(flow([5, 0, 0, 5, 0, 5]), capacity=5, empty_after=2)
    assert passed.held.values.tolist() == [5, 5, 0, 5, 5, 5]
    assert passed.out.values.tolist() == [0, 0, 0, 0, 0, 5]
    assert passed.lost.values.tolist() == [0, 0, 5, 0, 0, 0]


def test_lanes_of_parameters_broadcast_by_name():
    inflow = xr.DataArray(np.array([[4.0, 8.0], [0.0, 0.0], [4.0, 8.0]]), dims=("time", "site"))
    capacity = xr.DataArray([0.0, 3.0, 100.0], dims="bore")
    passed = fill_store(inflow, capacity, drain=1.0)
    assert set(passed.out.dims) == {"time", "site", "bore"}
    for site in range(2):
        for bore, size in enumerate([0.0, 3.0, 100.0]):
            alone = fill_store(inflow.isel(site=site), size, drain=1.0)
            np.testing.assert_array_equal(passed.out.isel(site=site, bore=bore), alone.out)


@pytest.mark.parametrize("capacity, out", [(0.0, [5.0, 0.0, 5.0]), (1e9, [0.0, 0.0, 0.0])])
def test_limits_of_the_space(capacity, out):
    assert fill_store(flow([5, 0, 5]), capacity).out.values.tolist() == out


@pytest.mark.parametrize(
    "call, place",
    [
        (lambda: share(flow([1]), 1.1), "kept"),
        (lambda: share(flow([1]), np.nan), "kept"),
        (lambda: cap_flow(flow([1]), -1), "flow_limit"),
        (lambda: fill_store(flow([1]), -1), "capacity"),
        (lambda: fill_store(flow([1]), 1, drain=-1), "drain"),
        (lambda: fill_store(flow([1]), 1, start=2), "start"),
        (lambda: fill_store(flow([1, np.nan]), 1), "inflow"),
    ],
)
def test_bad_input_is_named(call, place):
    with pytest.raises(InputError) as caught:
        call()
    assert caught.value.place == place and caught.value.remedy
