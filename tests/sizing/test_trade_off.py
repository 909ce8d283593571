"""What theory says about the trade-off curve, and the maps, the knee and the ladder built on it."""

import numpy as np
import pandas as pd
import pytest
import xarray as xr
from hypothesis import given, settings
from hypothesis import strategies as st

from rainharvest import InputError, simulate
from rainharvest.catchment.collect import collect
from rainharvest.catchment.tables import Catchment, Conveyance, Roof
from rainharvest.sizing.trade_off import (
    demand_by_factor,
    find_knee,
    inflow_by_area,
    scaled_catchment,
    sizes_to_try,
    trade_off,
)

seeds = st.integers(0, 100_000)


def flows(seed):
    """Return a random record: inflow on some days, a demand that changes from day to day and may be zero."""
    rng = np.random.default_rng(seed)
    inflow = rng.exponential(60.0, 300) * (rng.random(300) < 0.3)
    return inflow, rng.uniform(0, 20.0, 300) * (rng.random(300) < 0.9)


@given(seeds, st.sampled_from([0.0, 0.3, 1.0]))
@settings(max_examples=60)
def test_more_tank_never_yields_less_and_each_litre_less_than_the_one_before(seed, theta):
    inflow, demand = flows(seed)
    sizes = np.linspace(0.0, 600.0, 61)
    done = trade_off(inflow, demand, sizes, theta=theta)
    tolerance = 1e-7 * float(demand.sum())
    gain = np.diff(done.delivered.values)
    assert (gain >= -tolerance).all(), "yield rises with the tank"
    assert (np.diff(gain) <= tolerance).all(), "and by less and less: the curve is concave"
    assert (np.diff(done.spilled.values) <= tolerance).all(), "spill falls"
    assert (np.diff(done.volume_reliability.values) >= -1e-9).all()
    assert (done.delivered.values <= min(inflow.sum(), demand.sum()) + tolerance).all()


@given(seeds, st.floats(1.0, 3.0))
@settings(max_examples=40)
def test_more_roof_never_yields_less_and_more_demand_is_never_met_better(seed, more):
    inflow, demand = flows(seed)
    sizes = np.array([0.0, 20.0, 100.0, 400.0])
    few, many = (simulate(inflow * k, demand, sizes) for k in (1.0, more))
    assert (many.delivered >= few.delivered - 1e-6).all() and (many.spilled >= few.spilled - 1e-6).all()
    greedy = simulate(inflow, demand * more, sizes)
    assert (greedy.delivered >= few.delivered - 1e-6).all(), "more asked, more drawn"
    assert (greedy.volume_reliability <= few.volume_reliability + 1e-9).all(), "but a smaller share of it"


def test_curve_derives_what_it_says(rng):
    inflow, demand = rng.exponential(30, 3653) * (rng.random(3653) < 0.4), np.full(3653, 8.0)
    sizes = sizes_to_try(demand)
    curve = trade_off(inflow, demand, sizes)
    assert (np.diff(curve.yearly_yield) >= -1e-9).all()
    step = np.diff(curve.yearly_yield) / np.diff(sizes)
    np.testing.assert_allclose(curve.marginal_yield.values[:-1], step)
    np.testing.assert_allclose(curve.yearly_yield, curve.delivered / (3653 / 365.25))
    assert curve.marginal_yield.attrs["units"] == "L/year/L"
    assert curve.yield_quantile.attrs["units"] == "L/year"


def test_share_of_demand_counts_what_rationing_cuts():
    inflow, demand = flows(3)
    plain = trade_off(inflow, demand, [100.0, 200.0])
    np.testing.assert_allclose(plain.share_of_demand, plain.volume_reliability, atol=1e-12)
    cut = trade_off(inflow, demand, [100.0], ration_level=50.0, ration_share=0.5)
    asked = float(cut.demand_total)
    expected = 1 - float(cut.unmet[0] + cut.rationed[0]) / asked
    assert float(cut.rationed[0]) > 0 and float(cut.share_of_demand[0]) == pytest.approx(expected)


def record(years=6, seed=1):
    time = pd.date_range("2001-01-01", periods=365 * years)
    rng = np.random.default_rng(seed)
    return pd.Series(np.round(rng.exponential(8, time.size) * (rng.random(time.size) < 0.3), 1), time)


def test_map_over_roofs_is_each_roof_by_itself():
    rain = record()
    run = Conveyance(kind="dry", run=18, bore=100, outlet_level=3.4, inlet_level=2.3, filter_drop=0.2)
    site = Catchment(
        roofs=(Roof(name="a", area=60), Roof(name="b", area=40, material="tile")), conveyance=run
    )
    areas, sizes = np.array([50.0, 100.0, 260.0]), [500.0, 2000.0, 8000.0]
    inflow = inflow_by_area(rain, site, areas)
    demand = xr.DataArray(np.full(len(rain), 150.0), {"time": rain.index}, ("time",))
    done = trade_off(inflow, demand, sizes)
    for k, area in enumerate(areas):
        alone = scaled_catchment(site, area=area / 100)
        by_hand = collect(rain, alone.roofs, run).inflow
        np.testing.assert_allclose(inflow.sel(area=area), by_hand, rtol=1e-12)
        one = trade_off(by_hand, demand, sizes)
        for name in ("volume_reliability", "time_reliability", "yearly_yield", "marginal_yield"):
            np.testing.assert_allclose(done[name].isel(area=k), one[name], rtol=1e-9, err_msg=name)
    assert (done.volume_reliability.diff("area") >= 0).all()


def test_map_over_demand_is_each_demand_by_itself():
    rain, sizes = record(), [500.0, 2000.0]
    inflow = collect(rain, Roof(area=100)).inflow
    asked = pd.Series(150.0, rain.index.rename("time"))
    done = trade_off(inflow, demand_by_factor(asked.to_xarray(), [0.5, 1.0, 2.0]), sizes)
    for factor in (0.5, 1.0, 2.0):
        one = trade_off(inflow, asked * factor, sizes)
        np.testing.assert_allclose(
            done.volume_reliability.sel(demand_factor=factor), one.volume_reliability, rtol=1e-12
        )
        np.testing.assert_allclose(
            done.share_of_demand.sel(demand_factor=factor), one.share_of_demand, rtol=1e-12
        )
    assert (done.volume_reliability.diff("demand_factor") <= 0).all()


def test_the_knee_does_not_move_with_the_sizes_that_happen_to_be_drawn():
    rain = record(years=20)
    inflow, demand = collect(rain, Roof(area=100)).inflow, pd.Series(150.0, rain.index)
    knees = [
        find_knee(trade_off(inflow, demand, sizes_to_try(demand, count=400, most_days=days)))
        for days in (365.0, 1500.0)
    ]
    assert knees[0] == pytest.approx(knees[1], rel=0.05)
    curve = trade_off(inflow, demand, sizes_to_try(demand, count=400))
    ceiling = float(curve.yearly_yield.max())
    end = float(curve.capacity[int(np.argmax(curve.yearly_yield.values >= 0.99 * ceiling))])
    at = curve.sel(capacity=knees[0])
    assert 0 < knees[0] < end and 0.5 < float(at.yearly_yield) / ceiling < 0.99
    assert float(at.marginal_yield) == pytest.approx(0.99 * ceiling / end, rel=0.25)


def test_the_knee_of_a_curve_with_a_corner_is_the_corner():
    sizes = np.arange(1.0, 101.0)
    curve = xr.Dataset(
        {"yearly_yield": ("capacity", np.minimum(10 * sizes, 300 + 0.5 * (sizes - 30)))}, {"capacity": sizes}
    )
    assert find_knee(curve) == 30.0


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: find_knee(trade_off([1.0, 0.0], 1.0, [1.0, 2.0])), "three sizes"),
        (lambda: find_knee(trade_off([0.0, 0.0], 1.0, [1.0, 2.0, 3.0])), "yields anything"),
        (lambda: sizes_to_try([0.0]), "demand"),
    ],
)
def test_bad_input_says_what_is_wrong(call, words):
    with pytest.raises(InputError, match=words):
        call()
