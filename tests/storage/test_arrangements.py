"""The arrangements: hand cases, the cost of a careless set level, what a reserve rides out."""

from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
import xarray as xr
from hypothesis import given, settings
from hypothesis import strategies as st

from rainharvest import InputError, simulate
from rainharvest.core.text import texts_of
from rainharvest.demand.mains import mains_by_rule, mains_in_spells
from rainharvest.demand.periods import WEEKDAYS
from rainharvest.demand.tables import Pool
from rainharvest.storage.arrangements import (
    arrangement_settings,
    careless_set_level,
    compare_arrangements,
    per_year,
    ride_out,
    smallest_reserve,
)
from rainharvest.storage.facts import full_mornings, mains_supply, ride_out_facts
from rainharvest.storage.section import cautions_section
from rainharvest.storage.tables import Arrangement

DAYS = pd.date_range("2001-01-01", periods=730)


def series(values):
    values = np.asarray(values, dtype=float)
    return xr.DataArray(values, {"time": DAYS[: values.size]}, ("time",))


def test_the_report_tells_what_a_full_reserve_rides_out():
    """By hand: 100 L on five days, nothing at weekends; 250 L last 2.5 days from Monday, 4.5 from Thursday or Friday.

    Half of each day's draw is essential: of that 250 L last five days and, over a weekend, seven.
    """
    week = np.array([100.0] * 5 + [0.0] * 2)
    draws = np.tile(week, 20)
    demand = xr.DataArray(
        np.stack([draws / 2, draws / 2]),
        {"use": ["beds", "lawn"], "time": DAYS[:140], "essential": ("use", [True, False])},
        ("use", "time"),
    )
    facts = ride_out_facts(demand, 250.0)
    assert (facts["litres"], facts["worst"], facts["essential"]) == (250.0, 2.5, 7.0)
    assert (
        texts_of("storage")
        .ride_out(facts, 0.7)
        .startswith("Full, as on 70 % of mornings, the tank holds 250 L to draw")
    )
    none = ride_out_facts(demand.assign_coords(essential=("use", [False, False])), 250.0)
    assert none["essential"] is None and "essential" not in texts_of("storage").ride_out(none, 0.7)


def test_a_reserve_is_full_on_those_mornings_only_that_the_mains_came_before():
    on = np.tile(
        [0.0, 0.0, 1.0, 1.0, 1.0, 1.0, 1.0], 20
    )  # by hand: 150 L are left on one evening, 50 L on the next
    plan = arrangement_settings("mains reserve", 250.0, mains_on=on)
    done = simulate(np.zeros(140), 100.0, 250.0, **plan, trace=True).isel(capacity=0)
    assert full_mornings(done.assign(described=250.0)) == pytest.approx(5 / 7)


def record(seed, days=730):
    rng = np.random.default_rng(seed)
    rain = rng.exponential(60, days) * (rng.random(days) < 0.25)
    return series(rain), series(rng.uniform(0, 30, days))


def test_careless_set_level_by_hand():
    # 50 L tank, 10 L a day, 40 L of rain on the third day; the valve opens at 5 L. The tank starts empty:
    # the mains serve 10 L on the first day and fill to the level. Level 10: drawn empty and filled again
    # on the second day; the rain finds room. Level 50: 60 L on the first day, none after; on the third
    # the rain finds 40 L in the tank, and 30 L run over.
    done = careless_set_level(series([0, 0, 40, 0]), series([10] * 4), 50.0, [0.2, 1.0])
    assert done.spilled_mains.values.tolist() == [0, 30]
    assert done.topped_up.values.tolist() == [30, 60]
    assert done.spilled_mains.attrs["units"] == "L"


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10_000), st.floats(20, 2000), st.booleans())
def test_a_higher_set_level_never_spills_less_and_what_spills_was_bought(seed, capacity, broken):
    inflow, demand = record(seed, 300)
    on = mains_in_spells(inflow.time, 3, 20, seed) if broken else None
    shares = np.linspace(0, 1, 6)
    done = careless_set_level(inflow, demand, capacity, shares, trigger_share=1.0, mains_on=on)
    spilled = done.spilled_mains.values
    assert (np.diff(spilled) >= -1e-6).all() and spilled[0] >= -1e-6
    # By the balance: bought = served more + spilled more + left over.
    assert (spilled <= done.topped_up.values + 1e-6).all()


@settings(max_examples=30, deadline=None)
@given(
    st.integers(0, 10_000),
    st.floats(0, 3000),
    st.floats(0, 1),
    st.floats(0, 1),
    st.one_of(st.none(), st.floats(0, 200)),
    st.floats(0.05, 20),
    st.floats(0.5, 15),
)
def test_every_arrangement_closes_its_balance_with_interruptions(
    seed, capacity, trigger, level, rate, length, a_year
):
    inflow, demand = record(seed, 200)
    on = mains_in_spells(inflow.time, length, a_year, seed, scenarios=2)
    done = compare_arrangements(
        inflow,
        demand,
        capacity,
        rain_serves=0.4 * demand,
        mains_on=on,
        trigger_share=trigger,
        level_share=level,
        top_up_rate=rate,
    )
    came = done.inflow_total + done.stored_start + done.topped_up
    went = done.delivered + done.spilled + done.stored_end
    np.testing.assert_allclose(*xr.broadcast(came, went), rtol=1e-9, atol=1e-6)
    asked = done.delivered + done.changed_over + done.unmet + done.rationed
    np.testing.assert_allclose(*xr.broadcast(asked, done.demand_total), rtol=1e-9, atol=1e-6)
    reserve, alone = done.sel(arrangement="mains reserve"), done.sel(arrangement="rain only")
    assert float(reserve.inflow_total.max()) == 0 and float(reserve.spilled.max()) == 0
    assert float(alone.topped_up.max()) == float(alone.changed_over.max()) == 0
    assert (done.sel(arrangement="combined (change-over)").topped_up == 0).all()


def test_a_set_level_at_the_brim_with_mains_always_on_never_fails_and_never_on_is_rain_only():
    inflow, demand = record(7)
    for capacity in (1.0, 40.0, 5000.0):
        brim = arrangement_settings("combined", capacity, trigger_share=1.0, level_share=1.0)
        assert float(simulate(inflow, demand, capacity, **brim).days_failed[0]) == 0
        never = compare_arrangements(inflow, demand, capacity, mains_on=0.0 * demand)
        plain = simulate(inflow, demand, capacity)
        for name in ("combined (top-up)", "combined (change-over)", "rain only"):
            one = never.sel(arrangement=name)
            for measure in ("delivered", "spilled", "unmet", "longest_failure", "stored_end"):
                np.testing.assert_array_equal(one[measure], plain[measure], err_msg=f"{name} {measure}")


def test_sizes_as_a_list_an_array_and_one_by_one():
    inflow, demand = record(11, 200)
    sizes = [40.0, 900.0]
    done = compare_arrangements(inflow, demand, sizes)
    for other in (np.array(sizes), xr.DataArray(sizes, dims="capacity"), (40, 900)):
        xr.testing.assert_identical(done, compare_arrangements(inflow, demand, other))
    for i, size in enumerate(sizes):
        alone = compare_arrangements(inflow, demand, size).isel(capacity=0)
        np.testing.assert_array_equal(done.unmet.isel(capacity=i), alone.unmet)


def test_only_the_combined_arrangement_rides_out_both_droughts_and_interruptions():
    rain = series([400.0] + [0.0] * 99)
    demand = series([10.0] * 100)
    on = series(np.r_[np.ones(60), np.zeros(15), np.ones(25)])  # mains off for 15 days in the drought
    done = compare_arrangements(
        rain, demand, 200.0, mains_on=on, trigger_share=0.75, level_share=1.0, trace=True
    ).isel(capacity=0)
    failed = dict(zip(done.arrangement.values.tolist(), done.days_failed.values.tolist(), strict=True))
    # rain only: the first day and from the 22nd on; change-over: what the mains miss, 15 days
    assert failed == {
        "mains reserve": 0,
        "rain only": 1 + 79,
        "combined (top-up)": 0,
        "combined (change-over)": 15,
    }


def test_a_mean_year_is_the_total_over_the_years():
    inflow, demand = record(9)
    on = mains_in_spells(inflow.time, 3, 20, 1)
    done = compare_arrangements(inflow, demand, 300.0, mains_on=on).isel(capacity=0)
    year = per_year(done)
    np.testing.assert_allclose(year.failed_a_year * 730 / 365.25, done.days_failed)
    bought = done.topped_up + done.changed_over
    np.testing.assert_allclose(year.mains_a_year * 730 / 365.25, bought)
    # what was supplied and is left came from rain or mains
    supplied = done.delivered + done.changed_over + done.stored_end - done.stored_start
    from_rain = year.rain_used_a_year * 730 / 365.25 + (done.stored_end - done.stored_start)
    rainy = done.arrangement != "mains reserve"
    np.testing.assert_allclose((from_rain + bought).where(rainy, 0), supplied.where(rainy, 0), atol=1e-6)
    level = per_year(careless_set_level(inflow, demand, 300.0, [0.2, 0.9], mains_on=on))
    np.testing.assert_allclose(
        level.failed_a_year.sel(level_share=0.2), year.failed_a_year.sel(arrangement="combined (top-up)")
    )


@settings(max_examples=30, deadline=None)
@given(
    st.lists(st.one_of(st.just(0.0), st.floats(1, 500)), min_size=12, max_size=40),
    st.integers(1, 10),
    st.integers(0, 11),
)
def test_the_smallest_reserve_rides_out_its_days_and_a_smaller_one_does_not(asked, n, first):
    demand = series(asked)
    size = smallest_reserve(demand, n)
    first = min(first, len(asked) - n)
    assert size == pytest.approx(max(sum(asked[i : i + n]) for i in range(len(asked) - n + 1)))

    def failed(capacity, begin):
        on = np.ones(len(asked))
        on[begin : begin + n] = 0
        plan = arrangement_settings("mains reserve", capacity, mains_on=series(on))
        return float(simulate(0.0 * demand, demand, capacity, **plan).days_failed[0])

    assert failed(size * (1 + 1e-9), first) == 0
    worst = int(np.argmax([sum(asked[i : i + n]) for i in range(len(asked) - n + 1)]))
    if size > 0:
        assert failed(0.99 * size, worst) >= 1
    lasts = ride_out(demand, size * (1 + 1e-9)).values[0]
    assert lasts[: len(asked) - n + 1].min() >= n - 1e-6


def test_ride_out_in_hours_by_hand():
    demand = series([240.0, 480.0, 0.0, 240.0])
    lasts = ride_out(demand, [60.0, 600.0]).values
    # 60 L: a quarter of the first day, an eighth of the second; then the idle day and a quarter more
    np.testing.assert_allclose(lasts[0], [0.25, 0.125, 1.25, 0.25])
    # 600 L: the first day and 360 of 480 L; 480 L, the idle day and 120 of 240 L; then to the end
    np.testing.assert_allclose(lasts[1], [1.75, 2.5, np.inf, np.inf])
    assert smallest_reserve(demand, 0.5) == 240.0  # any half of the second day
    assert smallest_reserve(demand, 1.5) == 600.0  # half of the first day and the whole second


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: arrangement_settings("rain and mains", 5.0), "choose one of mains reserve"),
        (lambda: arrangement_settings("rain only", 5.0, change_over=True), "change_over"),
        (lambda: arrangement_settings("combined", 5.0, level_share=2.0), "level_share"),
        (lambda: arrangement_settings("combined", 5.0, trigger_share=float("nan")), "trigger_share"),
        (lambda: arrangement_settings("combined", 5.0, level_share=[0.5, 2.0]), "level_share: 2 is not"),
        (lambda: arrangement_settings("mains reserve", -5.0), "capacity: -5 is out of range"),
        (lambda: arrangement_settings("mains reserve", float("nan")), "capacity"),
        (lambda: arrangement_settings("mains reserve", "large"), "capacity: 'large' is not a number"),
        (lambda: smallest_reserve([5.0] * 3, 4), "ride-out of 4 days on 3 days"),
        (lambda: smallest_reserve([5.0] * 3, 0), "more than zero"),
        (lambda: smallest_reserve([5.0, -1.0], 1), "demand"),
        (lambda: ride_out([5.0, np.nan], 10.0), "1 days have no value"),
        (lambda: ride_out([5.0], -10.0), "capacity"),
        (lambda: ride_out(xr.DataArray([[5.0]], dims=("use", "time")), 1.0), "sum it over its uses"),
        (lambda: mains_by_rule(DAYS[:0]), "no day"),
        (
            lambda: mains_supply(Arrangement(kind="mains reserve", mains_off=WEEKDAYS), DAYS),
            "the mains never reach",
        ),
    ],
)
def test_bad_arrangements_say_what_is_wrong(call, words):
    with pytest.raises(InputError, match=words):
        call()


def test_a_pool_that_rain_fills_is_warned_of_and_no_other():
    def titles(kind, pool=(), use=()):
        study = SimpleNamespace(arrangement=SimpleNamespace(kind=kind), pool=pool, use=use)
        return [block.title for block in cautions_section(SimpleNamespace(study=study)).blocks]

    pool, kind = (Pool(pool_area=30),), (SimpleNamespace(kind="pool"),)
    assert "Swimming pool" in titles("rain only", pool) and "Swimming pool" in titles("combined", use=kind)
    assert "Swimming pool" not in [*titles("rain only"), *titles("mains reserve", pool)]
