"""From rain to inlet: every litre is accounted for, hand cases, the published annual form."""

import json

import numpy as np
import pandas as pd
import pytest
import xarray as xr
from hypothesis import given, settings
from hypothesis import strategies as st

from rainharvest import InputError
from rainharvest.catchment.chain import LOSSES, NEVER, STORES, fill_step
from rainharvest.catchment.collect import collect, collect_totals
from rainharvest.catchment.intensity import Intensity
from rainharvest.catchment.tables import COEFFICIENTS, WETTING, Catchment, Conveyance, Roof

WET = dict(kind="wet", run=40, bore=100, outlet_level=3.0, inlet_level=2.2)
DRY = dict(kind="dry", run=20, bore=100, outlet_level=3.0, inlet_level=2.2)


def series(values, start="2001-01-01"):
    return pd.Series(np.asarray(values, dtype=float), index=pd.date_range(start, periods=len(values)))


def some_rain(days=800, seed=1):
    rng = np.random.default_rng(seed)
    return series(np.where(rng.random(days) < 0.3, rng.exponential(9, days), 0.0))


def assert_closes(water):
    """Assert rain = inflow + lost + change of held, each day and over the record, to 1e-9."""
    stored = water.held.sum("store")
    change = stored.diff("time")
    change = xr.concat([stored.isel(time=slice(0, 1)), change], "time")
    residual = water.rain_on_roof - water.inflow - water.lost.sum("loss") - change
    scale = float(water.rain_on_roof.max()) + float(stored.max()) + 1e-300
    assert float(abs(residual).max()) <= 1e-9 * scale
    assert (water.inflow >= 0).all() and (water.held >= 0).all()
    assert (water.lost >= -1e-9 * scale).all()


ROOFS = st.builds(
    Roof,
    area=st.floats(1, 2000),
    material=st.sampled_from(sorted(COEFFICIENTS)),
    runoff_coefficient=st.one_of(st.none(), st.floats(0, 1)),
    wetting=st.one_of(st.none(), st.floats(0, 5)),
    gutter_capacity=st.one_of(st.none(), st.floats(0, 5, exclude_min=True)),
)
RUNS = st.one_of(
    st.none(),
    st.builds(
        Conveyance,
        kind=st.just("wet"),
        run=st.floats(0, 200),
        bore=st.floats(20, 300),
        outlet_level=st.floats(2.3, 6),
        inlet_level=st.floats(1, 2.2),
        downpipes=st.integers(1, 5),
        bleed=st.floats(0, 500),
        emptied_after=st.one_of(st.none(), st.integers(1, 30)),
    ),
    st.builds(
        Conveyance,
        kind=st.just("dry"),
        run=st.floats(0, 50),
        bore=st.floats(20, 300),
        outlet_level=st.floats(3, 6),
        inlet_level=st.floats(1, 2.2),
    ),
)


@settings(max_examples=150, deadline=None)
@given(
    st.integers(0, 2**32 - 1),
    st.lists(ROOFS, min_size=1, max_size=3),
    RUNS,
    st.floats(0, 10),
    st.floats(0, 200),
    st.one_of(st.none(), st.integers(1, 20)),
    st.floats(0, 1),
    st.floats(0, 8),
    st.builds(
        Intensity,
        mean_intensity=st.floats(0.3, 8),
        variation=st.floats(0.3, 4),
        depth_growth=st.floats(0, 0.9),
    ),
)
def test_any_chain_conserves_volume(seed, roofs, run, flush, bleed, reset, screen, drying, intensity):
    water = collect(
        some_rain(60, seed),
        roofs,
        run,
        first_flush=flush,
        first_flush_bleed=bleed,
        first_flush_reset=reset,
        filter_efficiency=screen,
        drying=drying,
        intensity=intensity,
    )
    assert_closes(water)


def test_a_chain_by_hand():
    """100 m2, wetting 0.5 mm, coefficient 0.8, first flush 0.4 mm, filter 0.9, pipe of 30 L with 5 L a day."""
    bore = 1000 * np.sqrt(0.03 / 15 * 4 / np.pi)  # 15 m of pipe below the inlet hold 30 L
    run = Conveyance(
        kind="wet",
        run=11,
        bore=bore,
        outlet_level=5.0,
        inlet_level=1.0,
        low_level=-1.0,
        bleed=5.0,
        roughness=0,
    )
    water = collect(
        series([2.0, 0.0, 0.3, 5.0]),
        Roof(area=100, runoff_coefficient=0.8, wetting=0.5),
        run,
        first_flush=0.4,
        first_flush_bleed=10.0,
        first_flush_reset=None,
        filter_efficiency=0.9,
        drying=0.2,
        intensity=Intensity(mean_intensity=0.3, variation=0.3),  # so gentle that nothing overflows
    )
    lost = {name: water.lost.sel(loss=name, drop=True).values for name in LOSSES}
    held = {name: water.held.sel(store=name, drop=True).values for name in STORES}
    # Day 1: 200 L fall, 50 wet the roof, 150 run: 30 lost to the coefficient, 120 left. First flush 40,
    # 80 left. Filter 8, 72 left. Pipe 30, 42 arrive.
    # Day 2: dry. Roof 50 - 20 = 30. First flush 40 - 10 = 30. Pipe 30 - 5 = 25.
    # Day 3: 30 L fall. Roof dries to 10 and takes all 30. First flush 20, pipe 20.
    # Day 4: 500 L fall. Roof dries to 20, takes 30, 470 run, 94 lost, 376 left. First flush drains to 10,
    # takes 30, 346 left. Filter 34.6, 311.4 left. Pipe drains to 15, takes 15, 296.4 arrive.
    np.testing.assert_allclose(water.rain_on_roof, [200, 0, 30, 500])
    np.testing.assert_allclose(water.inflow, [42, 0, 0, 296.4], rtol=1e-9)
    np.testing.assert_allclose(lost["wetting"], [0, 20, 20, 20], rtol=1e-12)
    np.testing.assert_allclose(lost["runoff coefficient"], [30, 0, 0, 94], rtol=1e-12)
    np.testing.assert_allclose(lost["first flush"], [0, 10, 10, 10], rtol=1e-12)
    np.testing.assert_allclose(lost["filter"], [8, 0, 0, 34.6], rtol=1e-9)
    np.testing.assert_allclose(lost["held in pipe"], [0, 5, 5, 5], rtol=1e-12)
    np.testing.assert_allclose(lost["pipe capacity"], 0, atol=1e-6)
    np.testing.assert_allclose(held["roof film"], [50, 30, 40, 50], rtol=1e-12)
    np.testing.assert_allclose(held["first flush"], [40, 30, 20, 40], rtol=1e-12)
    np.testing.assert_allclose(held["pipe"], [30, 25, 20, 30], rtol=1e-12)
    assert_closes(water)


def test_first_flush_is_charged_again_after_the_stated_dry_days():
    rain = series([10, 0, 0, 10, 0, 0, 0, 10])
    roof = Roof(area=100, runoff_coefficient=1, wetting=0)
    water = collect(rain, roof, first_flush=2, first_flush_reset=3, filter_efficiency=1)
    assert water.inflow.values.tolist() == [800, 0, 0, 1000, 0, 0, 0, 800]


@pytest.mark.parametrize("run", [None, WET, DRY])
def test_dimensions_of_the_rain_are_carried_through(run):
    run = run and Conveyance(**run)
    roofs = [Roof(name="house", area=120, gutter_capacity=1.5), Roof(name="shed", area=40, material="tile")]
    time = pd.date_range("2001-01-01", periods=300)
    both = xr.DataArray(
        np.stack([[some_rain(300, 10 * m + s).values for s in range(3)] for m in range(2)]),
        dims=("member", "site", "time"),
        coords={"time": time, "site": ["a", "b", "c"]},
    )
    water = collect(both, roofs, run)
    assert set(water.inflow.dims) == {"time", "member", "site"} and list(water.site) == ["a", "b", "c"]
    assert_closes(water)
    for m in range(2):
        alone = collect(both.isel(member=m).sel(site="b", drop=True), roofs, run)
        xr.testing.assert_equal(water.inflow.isel(member=m).sel(site="b", drop=True), alone.inflow)


def test_totals_agree_with_the_daily_series():
    catchments = [
        Catchment(roofs=(Roof(area=a, gutter_capacity=2.0),), conveyance=run, first_flush=f)
        for a in (60, 150)
        for run in (None, Conveyance(**WET, bleed=30), Conveyance(**DRY))
        for f in (0.0, 2.0)
    ] * 8  # more than one block of lanes
    rain = some_rain()
    totals = collect_totals(rain, catchments)
    assert totals.sizes["catchment"] == 96
    for n in (0, 3, 5, 10, 70, 95):
        c = catchments[n]
        water = collect(rain, c.roofs, c.conveyance, first_flush=c.first_flush)
        assert float(totals.inflow[n]) == pytest.approx(float(water.inflow.mean()), rel=1e-12)
        np.testing.assert_allclose(totals.lost[:, n], water.lost.mean("time"), rtol=1e-9, atol=1e-9)
        np.testing.assert_allclose(totals.held[:, n], water.held.isel(time=-1), rtol=1e-12)


def test_a_roof_split_in_two_yields_the_same():
    rain = some_rain()
    run = Conveyance(**WET)
    whole = collect(rain, Roof(area=200, gutter_capacity=3.0), run)
    halves = collect(rain, [Roof(area=100, gutter_capacity=1.5)] * 2, run)
    np.testing.assert_allclose(whole.inflow, halves.inflow, rtol=1e-9)


def test_pandas_and_xarray_agree_and_inputs_travel_in_the_attributes():
    rain = some_rain(100)
    array = xr.DataArray(rain.values, dims="time", coords={"time": rain.index}, attrs={"sha256": "abc"})
    roof = Roof(area=100)
    one, other = collect(rain, roof), collect(array, roof)
    xr.testing.assert_equal(one, other)
    assert other.attrs["sha256"] == "abc"
    assert Catchment(**json.loads(other.attrs["catchment"])).roofs == (roof,)
    assert other.inflow.attrs["units"] == "L/day" and other.held.attrs["units"] == "L"


def test_drying_may_be_a_series():
    rain = series([1.0, 1.0, 1.0])
    roof = Roof(area=1, runoff_coefficient=1, wetting=1)
    dry = xr.DataArray([9.0, 9.0, 0.0], dims="time", coords={"time": rain.index})
    water = collect(rain, roof, first_flush=0, filter_efficiency=1, drying=dry)
    assert water.inflow.values.tolist() == [0, 0, 1]


@pytest.mark.parametrize(
    "rain, words",
    [
        (series([1.0, np.nan, 2.0]), "2001-01-02"),
        (series([1.0, -0.1, 2.0]), "2001-01-02"),
        (series([1.0, 2.0, 2.5, 3.0]).drop(pd.Timestamp("2001-01-03")), "not even"),
        (pd.Series([1.0, 2.0], pd.date_range("2001-01-01", periods=2, freq="h")), "steps of 1 h"),
        (series([1.0]), "fewer than two"),
        (np.zeros(10), "no time axis"),
    ],
)
def test_rain_that_cannot_be_used(rain, words):
    with pytest.raises(InputError, match=words):
        collect(rain, Roof(area=10))


@pytest.mark.parametrize(
    "changes, place",
    [
        ({"first_flush": -1}, "first_flush"),
        ({"filter_efficiency": 1.5}, "filter_efficiency"),
        ({"drying": -1}, "drying"),
    ],
)
def test_settings_that_cannot_be_used(changes, place):
    with pytest.raises(InputError) as caught:
        collect(some_rain(10), Roof(area=10), **changes)
    assert caught.value.place == place


def test_no_roof_and_an_outlet_below_the_run_are_refused():
    with pytest.raises(InputError, match="roofs"):
        collect(some_rain(10), [])
    with pytest.raises(InputError, match="the lowest outlet governs; set|the lowest outlet governs: set"):
        collect(some_rain(10), Roof(area=10, outlet_level=2.0), Conveyance(**WET))


@pytest.mark.parametrize(
    "changes, words",
    [
        ({"bore": 0}, "bore is zero"),
        ({"outlet_level": 2.2}, "lower the tank"),
        ({"outlet_level": 1.0}, "lower the tank"),
        ({"kind": "dry", "run": 200}, "stand the tank within 80 m"),
    ],
)
def test_a_run_that_cannot_work_says_what_would_make_it_work(changes, words):
    with pytest.raises(InputError, match=words):
        collect(some_rain(10), Roof(area=10), Conveyance(**(WET | changes)))


# ---- roofs


def test_roof_takes_the_defaults_of_its_material():
    roof = Roof(area=50, material="thatch")
    assert (roof.runoff_coefficient, roof.wetting) == (COEFFICIENTS["thatch"].value, WETTING["thatch"].value)
    assert Roof(area=50, material="thatch", wetting=0).wetting == 0
    assert all(d.low <= d.value <= d.high for d in COEFFICIENTS.values())


@pytest.mark.parametrize(
    "fields, key", [({"area": 0}, "area"), ({"area": 1, "colour": "red"}, "colour"), ({}, "area")]
)
def test_roof_errors_name_the_key(fields, key):
    with pytest.raises(ValueError, match=key):
        Roof(**fields)


# ---- enHealth, Guidance on use of rainwater tanks, Australian Government 2010, Appendix B


def test_enhealth_worked_example_comes_out_of_the_chain():
    """One wet day a month, 62.5 mm each; the roof loses 2 mm of it, then 0.8 of the rest is collected."""
    rain = series(np.zeros(365))
    rain.iloc[15::30] = 62.5
    rain.iloc[-10:] = 0
    assert rain.sum() == 750
    water = collect(
        rain, Roof(area=200, runoff_coefficient=0.8, wetting=2), first_flush=0, filter_efficiency=1
    )
    assert float(water.inflow.sum()) == pytest.approx(116160, rel=1e-12)


# ---- the filling store: the one rule of the film on the roof, the first flush and the pipe

FLOWS = st.lists(st.floats(0, 1e5).map(lambda x: 0.0 if x < 1e-6 else x), min_size=1, max_size=60)
SIZE = st.floats(0, 1e4)


def fill(inflow, capacity, drain=0.0, empty_after=NEVER, start=0.0):
    """Return what passes, what drains and what is held, step by step."""
    held, dry, rows = start, 0.0, []
    for flow in inflow:
        held, dry, out, drained = fill_step(held, dry, float(flow), capacity, drain, empty_after)
        rows.append((out, drained, held))
    return np.array(rows).T


@given(FLOWS, SIZE, SIZE, st.one_of(st.just(NEVER), st.integers(1, 20).map(float)), st.floats(0, 1))
def test_filling_store_conserves_volume_at_every_step(inflow, capacity, drain, empty_after, full):
    start = capacity * full
    out, lost, held = fill(inflow, capacity, drain, empty_after, start)
    balance = out + lost + held - np.concatenate([[start], held[:-1]])
    np.testing.assert_allclose(balance, inflow, rtol=1e-9, atol=1e-9 * max(capacity, 1.0))
    assert (held >= 0).all() and (held <= capacity * (1 + 1e-12)).all()
    assert (out >= 0).all() and (lost >= 0).all() and (lost <= max(drain, capacity)).all()


@given(FLOWS, SIZE, SIZE, st.floats(1, 10))
def test_a_larger_space_never_passes_more(inflow, capacity, drain, factor):
    small, large = (fill(inflow, size, drain)[0].sum() for size in (capacity, capacity * factor))
    assert large <= small * (1 + 1e-9) + 1e-6


def test_filling_store_by_hand():
    # Space of 10, drain of 2. Day 1: takes 6 of 6. Day 2: drains to 4, takes 6 of 9, passes 3.
    # Days 3 and 4 dry: 8, then 6. Day 5: drains to 4, takes 1.
    passed = fill([6, 9, 0, 0, 1], capacity=10.0, drain=2.0)
    assert passed.tolist() == [[0, 3, 0, 0, 0], [0, 2, 2, 2, 2], [6, 10, 8, 6, 5]]
    # It is emptied on the last of the dry days.
    passed = fill([5, 0, 0, 5, 0, 5], capacity=5.0, empty_after=2.0)
    assert passed.tolist() == [[0, 0, 0, 0, 0, 5], [0, 0, 5, 0, 0, 0], [5, 5, 0, 5, 5, 5]]
