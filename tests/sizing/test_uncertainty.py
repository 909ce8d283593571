"""Draws: which years come, what is drawn with them, and what is made of it."""

import math

import numpy as np
import pandas as pd
import pytest
import xarray as xr
from hypothesis import given, settings
from hypothesis import strategies as st

from rainharvest import InputError, simulate
from rainharvest.catchment.collect import collect
from rainharvest.catchment.tables import Catchment, Roof
from rainharvest.demand.tables import Use
from rainharvest.sizing.band import (
    measures_of_draws,
    runs_of_years,
    sobol_indices,
    sure_size,
    tornado,
    uncertain_curve,
)
from rainharvest.sizing.resample import long_run_means, record_length, tilted_chances, year_draws
from rainharvest.sizing.smallest import smallest_tank
from rainharvest.sizing.uncertainty import (
    Case,
    Range,
    draw_flows,
    draw_inputs,
    input_ranges,
    inputs_of,
    pick_draws,
    record_inputs,
)

VOLUME = ("volume_reliability",)
SITE = Catchment(roofs=(Roof(name="hall", area=120), Roof(name="shed", area=40, material="tile")))


def rain_of(first="1985-03-10", last="2005-11-20", members=1, seed=2):
    """Return invented rain with a wet half-year and slow variation, all fillings a little different."""
    time = pd.date_range(first, last)
    rng = np.random.default_rng(seed)
    slow = np.repeat(rng.normal(0, 0.3, 60), 365)[: time.size]
    wet = rng.random(time.size) < 0.3 + 0.2 * np.cos(2 * np.pi * time.dayofyear / 365) + 0.1 * slow
    rain = np.round(rng.exponential(7, time.size) * wet * np.exp(slow), 1)
    versions = [rain] + [np.where(rng.random(time.size) < 0.02, 0.0, rain) for _ in range(members - 1)]
    return xr.DataArray(np.array(versions), {"time": time}, ("member", "time"))


def case_of(members=3, **more):
    rain = rain_of(members=members)
    weekday = pd.DatetimeIndex(rain.time.values).dayofweek < 5
    demand = xr.DataArray(np.where(weekday, 300.0, 60.0), {"time": rain.time}, ("time",))
    given = {"rain": rain, "demand": demand, "ranges": input_ranges(SITE), "year_start_month": 7}
    return Case(catchment=SITE, **(given | more))


def record_of(case):
    return draw_flows(case, record_inputs(case))


# --- years in blocks


@given(st.integers(0, 1000), st.integers(1, 7), st.sampled_from([1, 3, 7, 10]))
@settings(max_examples=30)
def test_a_draw_is_made_of_whole_years_that_follow_one_another(seed, block, month):
    time = pd.date_range("1985-03-10", "2005-11-20")
    draws = year_draws(time, count=4, block_years=block, seed=seed, year_start_month=month)
    days = pd.DatetimeIndex(draws.time.values)
    assert (days[0].month, days[0].day) == (month, 1) and (days[-1] + pd.Timedelta("1D")).month == month
    assert (days[1:] - days[:-1] == pd.Timedelta("1D")).all()
    whole = np.flatnonzero(np.isin(time, days))
    for row in draws.values:
        assert np.isin(row, whole).all(), "no day from a year that the record has in part"
        drawn = time[row]
        # The season shifts by leap days only: a day a block at most, of blocks of up to 7 years.
        apart = np.abs(drawn.dayofyear - days.dayofyear)
        assert np.minimum(apart, 366 - apart).max() <= 2
        breaks = np.flatnonzero(np.diff(row) != 1) + 1
        begins = [int(np.searchsorted(days, pd.Timestamp(y, month, 1))) for y in range(days[0].year, 2006)]
        for k in breaks:
            at_a_block = k in begins[::block]
            from_last_to_first = row[k] == whole[0] and row[k - 1] == whole[-1]
            assert at_a_block or from_last_to_first


def test_blocks_keep_droughts_whole_and_every_year_has_the_same_chance():
    time = pd.date_range("1981-01-01", "2010-12-31")
    draws = year_draws(time, count=4000, block_years=3, seed=1)
    drawn = time.year.values[draws.values[:, draws.time.dt.dayofyear.values == 180]]
    counts = np.array([(drawn == y).sum() for y in range(1981, 2011)]) / drawn.size
    assert abs(counts - 1 / 30).max() < 0.003
    follows = (np.diff(drawn, axis=1) == 1) | ((drawn[:, :-1] == 2010) & (drawn[:, 1:] == 1981))
    place = np.arange(29)
    assert follows[:, place % 3 != 2].all(), "within a block each year is followed by the next"
    assert abs(follows[:, place % 3 == 2].mean() - 1 / 30) < 0.01, "and between blocks only by chance"


def test_weather_is_taken_and_the_calendar_stays():
    case = case_of(ranges=(), weather_demand=rain_of(seed=5).isel(member=0) * 2)
    inputs = draw_inputs(case, 6, 3)
    drawn = draw_flows(case, inputs)
    position = inputs.day_drawn.values[inputs.year_draw.values]
    weekday = pd.DatetimeIndex(drawn.inflow.time.values).dayofweek < 5
    by_calendar = np.where(weekday, 300.0, 60.0)
    np.testing.assert_allclose(drawn.demand, by_calendar + case.weather_demand.values[position])
    for k in range(6):
        own = collect(case.rain.isel(member=int(inputs.member[k]), drop=True), SITE.roofs).inflow.values
        np.testing.assert_allclose(drawn.inflow.values[k], own[position[k]])


# --- memory


def test_without_memory_the_long_run_mean_is_students():
    """With the slow part shut out the answer is the textbook one; with it, wider."""
    from scipy.stats import t

    from rainharvest.sizing import resample as memory

    years = np.random.default_rng(4).normal(100, 10, 30)
    se = years.std(ddof=1) / np.sqrt(30)
    kept, memory.SLOW = memory.SLOW, (0.0,)
    memory._grid.cache_clear()
    try:
        drawn = long_run_means(years, 20_000, np.random.default_rng(1))
    finally:
        memory.SLOW = kept
        memory._grid.cache_clear()
    for p in (0.05, 0.25, 0.5, 0.95):
        assert np.quantile(drawn, p) == pytest.approx(years.mean() + t.ppf(p, 29) * se, abs=0.05 * se)
    wider = long_run_means(years, 20_000, np.random.default_rng(1))
    assert np.quantile(wider, 0.95) - np.quantile(wider, 0.05) > 1.1 * 2 * t.ppf(0.95, 29) * se


@given(st.lists(st.floats(0, 100), min_size=5, max_size=40), st.floats(0.05, 0.95))
@settings(max_examples=50)
def test_tilted_chances_have_the_mean_that_was_wanted(values, place):
    values = np.array(values)
    wanted = values.min() + place * np.ptp(values)
    chance = tilted_chances(values, [wanted, values.mean()])
    assert (chance >= 0).all() and chance.sum(axis=1) == pytest.approx(1.0)
    if values.std() > 1e-9 * 100:
        np.testing.assert_allclose(chance @ values, [wanted, values.mean()], atol=1e-6 * 100)


# --- what is drawn with them


def test_triangular_law_and_published_ranges():
    one = Range("demand", 0.8, 1.0, 1.3, "here")
    drawn = one.at(np.linspace(0, 1, 100_001))
    assert drawn.min() == 0.8 and drawn.max() == pytest.approx(1.3)
    assert drawn.mean() == pytest.approx((0.8 + 1.0 + 1.3) / 3, abs=1e-4)
    assert (np.diff(drawn) >= 0).all()
    assert (Range("demand", 1, 1, 1, "").at([0.1, 0.9]) == 1).all()
    assert Range("demand", 0.5, 1, 1, "").at(1.0) == 1.0
    ranges = {r.name: r for r in input_ranges(SITE, [Use(name="ward", kind="inpatient", people=10)])}
    # Inpatients: 40 to 60 L, the upper end being the default; roofs weighted by what they bring.
    assert ranges["demand"].low == pytest.approx(40 / 60) and ranges["demand"].high == 1.0
    weights = np.array([120 * 0.9, 40 * 0.85])
    low = np.average([0.8 / 0.9, 0.6 / 0.85], weights=weights)
    assert ranges["runoff_coefficient"].low == pytest.approx(low)
    assert ranges["filter_efficiency"].low == pytest.approx(0.8 / 0.9)
    given_ = input_ranges(SITE, given={"demand": (0.7, 1.0)})[-1]
    assert (given_.low, given_.high, given_.source) == (0.7, 1.0, "given by the user")


def test_every_filling_takes_its_turn_and_every_slice_its_value():
    case = case_of(members=4)
    inputs = draw_inputs(case, 40, 7)
    assert (np.bincount(inputs.member) == 10).all()
    for one in case.ranges:
        values = np.sort(inputs[one.name].values)
        edges = one.at(np.linspace(0, 1, 41))
        assert (values >= edges[:-1] - 1e-12).all() and (values <= edges[1:] + 1e-12).all()


@pytest.mark.parametrize(
    ("last", "varies"), [("1985-12-01", False), ("1986-12-01", False), ("1988-12-01", True)]
)
def test_a_record_too_short_to_draw_years_from_is_used_as_it_is(last, varies):
    rain = rain_of("1985-03-10", last, members=2)
    case = case_of(rain=rain, demand=rain.isel(member=0, drop=True) * 0 + 200.0)
    drawn, record = draw_flows(case, draw_inputs(case, 12, 1)), record_of(case)
    assert (drawn.inputs.sizes["year_draw_row"] > 1) == varies
    assert varies or drawn.inflow.sizes["time"] == rain.sizes["time"]
    band = uncertain_curve(drawn, record, [500.0, 5000.0], target=0.8)
    assert (band.reliability_low < band.reliability_high).all(), "roof, losses and demand still vary"
    years = runs_of_years(case, 16)
    moved = tornado(record, years, 2000.0).sel(input="years")
    assert (float(moved.response_low) < float(moved.response_high)) == varies
    shown = sobol_indices(record, years, 2000.0, base=16)
    assert varies or abs(float(shown.total_order.sel(input="years"))) < 1e-9


def test_the_record_as_it_stands_is_the_simulation_of_it():
    case = case_of(settings={"theta": 0.5}, shares={"start": 0.5})
    record = record_of(case)
    done = measures_of_draws(record, [2000.0, 9000.0], keep=("volume_reliability", "longest_failure"))
    for m in range(3):
        inflow = collect(case.rain.isel(member=m, drop=True), SITE.roofs).inflow
        for size in (2000.0, 9000.0):
            own = simulate(inflow, case.demand, size, theta=0.5, start=size / 2)
            got = done.sel(draw=m, capacity=size)
            assert float(got.volume_reliability) == pytest.approx(float(own.volume_reliability[0]), rel=1e-12)
            assert float(got.longest_failure) == float(own.longest_failure[0])


def test_factors_do_what_they_say():
    case = case_of(members=1, ranges=(Range("demand", 0.5, 1.0, 2.0, ""), Range("losses", 0.5, 1.0, 2.0, "")))
    inputs = draw_inputs(case, 8, 1)
    drawn = draw_flows(case, inputs)
    base = case.demand.values[np.isin(case.rain.time.values, drawn.demand.time.values)]
    np.testing.assert_allclose(drawn.demand, inputs.demand.values[:, None] * base)
    less, more = int(np.argmin(inputs.losses.values)), int(np.argmax(inputs.losses.values))
    lost = {}
    for k in (less, more):
        site = collect(
            case.rain.isel(member=0, drop=True),
            [r.model_copy(update={"wetting": r.wetting * float(inputs.losses[k])}) for r in SITE.roofs],
            first_flush=SITE.first_flush * float(inputs.losses[k]),
        )
        lost[k] = site.inflow.values[inputs.day_drawn.values[int(inputs.year_draw[k])]]
        np.testing.assert_allclose(drawn.inflow.values[k], lost[k])
    part = pick_draws(drawn, [less, more])
    np.testing.assert_array_equal(part.inflow, drawn.inflow.values[[less, more]])
    np.testing.assert_array_equal(part.demand, drawn.demand.values[[less, more]])


# --- the band and what is read from it


@pytest.fixture(scope="module")
def drawn_and_record():
    case = case_of()
    return draw_flows(case, draw_inputs(case, 30, 1)), record_of(case)


def test_the_band_is_in_order_and_rises_with_the_tank(drawn_and_record):
    sizes = np.geomspace(200, 60_000, 12)
    out = uncertain_curve(*drawn_and_record, sizes, target=0.8)
    low, middle, high = (out[f"reliability_{b}"].values for b in ("low", "middle", "high"))
    assert (low <= middle).all() and (middle <= high).all() and (low < high).any()
    for values in (low, middle, high, out.reliability_on_record.values, out.draws_reaching.values):
        assert (np.diff(values) >= -1e-12).all()
    assert (np.diff(out.reliability.values, axis=1) >= -1e-12).all()
    shown = (out.reliability.values >= 0.8).mean(axis=0)
    np.testing.assert_allclose(out.draws_reaching, shown)
    assert out.attrs["target"] == 0.8 and all(v.attrs["units"] for v in out.data_vars.values())


@pytest.mark.parametrize(("target", "sure"), [(0.6, 0.9), (0.8, 0.5), (0.3, 1.0)])
def test_sure_size_is_the_smallest_to_the_litre(drawn_and_record, target, sure):
    """By hand: each draw's own smallest tank; the nine-in-ten size is their ninth in ten."""
    for drawn in drawn_and_record:
        found, count = sure_size(drawn, target, sure=sure), drawn.inflow.sizes["draw"]
        shown = measures_of_draws(drawn, [found.capacity - 1, found.capacity], keep=VOLUME).volume_reliability
        share = (shown.values >= target * (1 - 1e-12)).mean(axis=0)
        assert share[0] < sure <= share[1] + 1e-12
        assert (found.one_less, found.reached) == pytest.approx(tuple(share))
        flat = xr.zeros_like(drawn.inflow) + drawn.demand
        own = [smallest_tank(drawn.inflow.values[k], flat.values[k], target).capacity for k in range(count)]
        assert found.capacity == np.sort(own)[math.ceil(sure * count - 1e-9) - 1]
        bounded = sure_size(drawn, target, sure=sure, largest=found.capacity + 1)
        assert bounded.capacity == found.capacity


def test_a_target_that_too_few_draws_reach_is_an_answer(drawn_and_record):
    found = sure_size(drawn_and_record[0], 1.0)
    assert math.isnan(found.capacity) and found.reached < 0.9


def test_time_reliability_and_rationing_are_searched_without_short_cuts():
    case = case_of(members=1, settings={"ration_share": 0.5}, shares={"ration_level": 0.3})
    drawn = draw_flows(case, draw_inputs(case, 20, 1))
    for measure in ("time_reliability", "volume_reliability"):
        found = sure_size(drawn, 0.4, measure=measure)
        shown = measures_of_draws(drawn, [found.capacity], keep=(measure,))[measure].values[:, 0]
        assert (shown >= 0.4 * (1 - 1e-12)).mean() == pytest.approx(found.reached) and found.reached >= 0.9


# --- which input matters


def test_tornado_moves_one_input_at_a_time():
    case = case_of()
    out = tornado(record_of(case), runs_of_years(case, 40, seed=2), 6000.0)
    assert set(out.input.values) == {
        "runoff_coefficient",
        "losses",
        "filter_efficiency",
        "demand",
        "filling",
        "years",
    }
    width = abs(out.response_high - out.response_low).values
    assert (np.diff(width) <= 1e-12).all(), "widest first"
    inflow = collect(case.rain.isel(member=0, drop=True), SITE.roofs).inflow
    best = simulate(inflow, case.demand, 6000.0)
    assert float(out.response_best) == pytest.approx(float(best.volume_reliability[0]), rel=1e-12)
    for end in ("low", "high"):
        factor = float(out[f"input_{end}"].sel(input="demand"))
        asked = simulate(inflow, case.demand * factor, 6000.0)
        shown = float(out[f"response_{end}"].sel(input="demand"))
        assert shown == pytest.approx(float(asked.volume_reliability[0]), rel=1e-12)
    assert float(out.response_low.sel(input="demand")) > float(out.response_high.sel(input="demand"))
    assert out.response_best.attrs["units"] == "1"


def test_sobol_indices_find_what_was_made_to_matter():
    wide = Range("demand", 0.3, 1.0, 2.5, "")
    narrow = Range("filter_efficiency", 0.999, 1.0, 1.001, "")
    case = case_of(ranges=(narrow, wide))
    several = [
        sobol_indices(record_of(case), runs_of_years(case, 32, seed=seed), 6000.0, base=64, seed=seed)
        for seed in (1, 1, 2, 3)
    ]
    xr.testing.assert_identical(several[0], several[1])
    assert several[0].input.values[0] == "demand" and (several[0].total_order_confidence > 0).all()
    demand, filter_ = (
        [one.sel(input=name) for one in several[1:]] for name in ("demand", "filter_efficiency")
    )
    # Over three runs of years: with a base of 64 one alone is told to 0.2 only.
    assert np.mean([one.total_order for one in demand]) > 0.8
    assert np.mean([one.first_order for one in demand]) > 0.7
    assert max(abs(float(one.total_order)) for one in filter_) < 0.01


def test_sobol_indices_agree_with_the_variance_worked_out_by_hand():
    """Two inputs: the first-order index is the variance of the mean over the other, by a plain grid."""
    demand, coefficient = Range("demand", 0.6, 1.0, 1.5, ""), Range("runoff_coefficient", 0.5, 1.0, 1.1, "")
    case = case_of(members=1, ranges=(demand, coefficient))
    years = runs_of_years(case, 1, seed=3)  # one run of years: it does not vary
    out = sobol_indices(record_of(case), years, 6000.0, base=256, seed=3)
    assert out.sizes["input"] == 3 and abs(float(out.total_order.sel(input="years"))) < 1e-9
    place = (np.arange(40) + 0.5) / 40
    grid = {
        "demand": np.repeat(demand.at(place), 40),
        "runoff_coefficient": np.tile(coefficient.at(place), 40),
    }
    zero = np.zeros(1600, dtype=int)
    inputs = inputs_of({"member": zero, "year_draw": zero} | grid, years.inputs.day_drawn)
    answer = measures_of_draws(draw_flows(case, inputs), [6000.0], keep=VOLUME)
    table = answer.volume_reliability.values.reshape(40, 40)
    for name, axis in (("demand", 1), ("runoff_coefficient", 0)):
        by_hand = table.mean(axis=axis).var() / table.var()
        assert float(out.first_order.sel(input=name)) == pytest.approx(by_hand, abs=0.06)


def test_nothing_varies_where_the_tank_never_fails():
    case = case_of(members=1, ranges=(Range("demand", 0.01, 0.01, 0.02, ""),), shares={"start": 1.0})
    out = sobol_indices(record_of(case), runs_of_years(case, 8), 1e6, base=16)
    assert np.isnan(out.first_order).all() and np.isnan(out.total_order).all()


def test_short_records_say_so():
    levels = [record_length(y).level for y in (4, 10, 19.9, 20, 29.9, 30, 60)]
    assert levels == ["indicative", "screening", "screening", "fair", "fair", "full", "full"]
    assert record_length(29).short and not record_length(30).short


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: year_draws(pd.date_range("2001-01-01", "2002-11-30"), count=1), "1 whole years"),
        (lambda: sobol_indices(record_of(case_of(members=1, ranges=())), None, 1.0), "only one input"),
        (lambda: case_of(demand=rain_of().isel(member=0, time=slice(1, None)) * 0 + 1), "same days"),
        (lambda: draw_inputs(case_of(demand=rain_of().isel(member=0) * 0), 3), "nothing is asked"),
    ],
)
def test_bad_input_says_what_is_wrong(call, words):
    with pytest.raises(InputError, match=words):
        call()
