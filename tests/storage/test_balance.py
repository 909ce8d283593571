"""The balance against hand cases, and against a plain day loop written a second time."""

import numpy as np
import pandas as pd
import pytest
import xarray as xr
from daybook import day_by_day
from hypothesis import given, settings
from hypothesis import strategies as st

from rainharvest import InputError, simulate

INFLOW = [0.0, 3.0, 8.0, 0.0, 2.0, 0.0, 0.0]

HAND = {  # tank 5 L, 2 L a day, empty at the start; worked on paper, not published
    0.0: dict(drawn=[0, 0, 2, 2, 1, 2, 0], stored=[0, 3, 3, 1, 2, 0, 0], spilled=[0, 0, 6, 0, 0, 0, 0]),
    1.0: dict(drawn=[0, 2, 2, 2, 2, 2, 1], stored=[0, 1, 5, 3, 3, 1, 0], spilled=[0, 0, 2, 0, 0, 0, 0]),
}


def test_a_day_on_which_nothing_is_asked_is_not_met():
    """Five days of school, two of rest: the tank of one litre meets none of the five."""
    done = simulate(np.zeros(14), ([100.0] * 5 + [0.0] * 2) * 2, [1.0])
    assert float(done.days_failed[0]) == 10 and float(done.days_met[0]) == 0
    assert float(done.time_reliability[0]) == 0


@pytest.mark.parametrize("theta", HAND)
def test_hand_case_of_seven_days(theta):
    done = simulate(INFLOW, 2.0, 5.0, theta=theta, trace=True).isel(capacity=0)
    for name, expected in HAND[theta].items():
        got = done["stored" if name == "stored" else f"{name}_daily"]
        np.testing.assert_array_equal(got, expected)
    assert float(done.delivered) == sum(HAND[theta]["drawn"])
    assert float(done.spilled) == sum(HAND[theta]["spilled"])


def test_measures_of_the_hand_case():
    done = simulate(INFLOW, 2.0, 5.0).isel(capacity=0)
    # fails on days 1, 2, 5 and 7: three events, the longest of two days and 4 L
    assert (done.days_failed, done.failure_events, done.longest_failure, done.worst_shortfall) == (4, 3, 2, 4)
    assert float(done.volume_reliability) == pytest.approx(7 / 14)
    assert float(done.time_reliability) == pytest.approx(3 / 7)
    assert float(done.days_met) == 3


def test_a_weekend_does_not_end_a_failure():
    # five days asked for, two not, three asked for, with an empty tank; then water comes
    asked = [10.0] * 5 + [0.0] * 2 + [10.0] * 3 + [0.0] * 2 + [10.0]
    rain = [0.0] * 10 + [50.0, 0.0, 0.0]
    done = simulate(rain, asked, 100.0).isel(capacity=0)
    assert (done.days_failed, done.failure_events, done.longest_failure, done.worst_shortfall) == (
        8,
        1,
        8,
        80,
    )


def test_between_spillage_rules_the_store_never_goes_below_zero():
    # 100 L of rain on a 1 L tank with 50 L asked: the plain form of the rule would draw 50 L here and
    # leave 1 - 0.5 * 50 = -24 L. The draw stops at S / (1 - theta) = 2 L.
    done = simulate([100.0, 0.0], [50.0, 0.0], 1.0, theta=0.5, trace=True).isel(capacity=0)
    assert list(done.drawn_daily.values) == [2.0, 0.0]
    assert list(done.stored.values) == [0.0, 0.0]
    assert float(done.delivered + done.spilled + done.stored_end) == 100.0


def test_rationing_stages_by_hand():
    # 10 L stored; 4 L a day of which 1 L essential; below 8 L half of the rest, below 3 L none of it
    done = simulate(
        np.zeros(6),
        4.0,
        10.0,
        essential=1.0,
        start=10.0,
        ration_level=[8.0, 3.0],
        ration_share=[0.5, 0.0],
        trace=True,
    ).isel(capacity=0)
    # mornings 10, 6, 3.5, 1, 0, 0: asked 4, 2.5, 2.5, 1, 1, 1
    assert list(done.drawn_daily.values) == [4, 2.5, 2.5, 1, 0, 0]
    assert list(done.rationed_daily.values) == [0, 1.5, 1.5, 3, 3, 3]
    assert (done.days_failed, done.unmet, done.rationed, done.days_rationed) == (2, 2, 12, 5)


def test_top_up_by_hand_with_mains_off_for_two_days():
    # opens at 2 L, fills to 6 L, at most 3 L a day; 2 L a day asked, no rain
    done = simulate(
        np.zeros(8),
        2.0,
        10.0,
        start=5.0,
        top_up_trigger=2.0,
        top_up_level=6.0,
        top_up_rate=3.0,
        mains_on=[1, 1, 1, 0, 0, 1, 1, 1],
        trace=True,
    ).isel(capacity=0)
    # evenings: 5-2=3; 3-2=1, opens, +3=4; 4-2=2, +3=5; mains off: 3; 1; then 1-2<0: draws 1, mains serve
    # 1 and store 2; 2-2=0, +3=3; 3-2=1, +3=4
    assert list(done.stored.values) == [3, 4, 5, 3, 1, 2, 3, 4]
    assert list(done.mains_served_daily.values) == [0, 0, 0, 0, 0, 1, 0, 0]
    assert (done.topped_up, done.unmet, done.delivered) == (15, 0, 16)


def test_the_valve_stays_open_until_the_set_level():
    done = simulate(
        np.zeros(5), 1.0, 10.0, start=3.0, top_up_trigger=2.0, top_up_level=9.0, top_up_rate=3.0, trace=True
    ).isel(capacity=0)
    # 2, opens, 5; 4, still filling, 7; 6, 9, shuts; 8; 7
    assert list(done.stored.values) == [5, 7, 9, 8, 7]


def test_change_over_by_hand():
    done = simulate([0, 3, 0, 0], 2.0, 5.0, change_over=True, mains_on=[1, 1, 0, 1], trace=True).isel(
        capacity=0
    )
    assert list(done.drawn_daily.values) == [0, 0, 2, 1]
    assert list(done.mains_served_daily.values) == [2, 2, 0, 1]
    assert (done.changed_over, done.topped_up, done.delivered, done.unmet) == (5, 0, 3, 0)


amount = st.one_of(st.just(0.0), st.floats(1e-3, 1e4))
share = st.floats(0, 1)


@st.composite
def tanks(draw):
    """Arbitrary rain, demand, tank and settings."""
    days = draw(st.integers(1, 40))
    run = st.lists(amount, min_size=days, max_size=days).map(np.array)
    demand = draw(run)
    capacity = draw(st.one_of(st.just(0.0), st.floats(0.1, 5e4)))
    case = dict(
        inflow=draw(run),
        demand=demand,
        capacity=capacity,
        theta=draw(st.one_of(st.sampled_from([0.0, 1.0]), share)),
    )
    case["start"] = capacity * draw(share)
    if draw(st.booleans()):
        case["essential"] = demand * draw(share)
        stages = draw(st.integers(1, 3))
        case["ration_level"] = draw(st.lists(amount, min_size=stages, max_size=stages))
        case["ration_share"] = draw(st.lists(share, min_size=stages, max_size=stages))
    kind = draw(st.sampled_from(["none", "top up", "change over"]))
    if kind != "none":
        case["mains_on"] = draw(st.lists(share, min_size=days, max_size=days).map(np.array))
        case["top_up_rate"] = draw(st.one_of(amount, st.just(1e300)))
    if kind == "top up":
        case["top_up_trigger"], case["top_up_level"] = draw(amount), draw(amount)
    case["change_over"] = kind == "change over"
    return case


@given(tanks())
@settings(max_examples=150, deadline=None)
def test_every_litre_is_accounted_for(case):
    done = simulate(**case, trace=True).isel(capacity=0)
    water_in = float(done.inflow_total + done.stored_start + done.topped_up)
    water_out = float(done.delivered + done.spilled + done.stored_end)
    assert water_out == pytest.approx(water_in, rel=1e-9, abs=1e-9)
    asked = float(done.demand_total)
    assert float(done.delivered + done.changed_over + done.unmet + done.rationed) == pytest.approx(
        asked, rel=1e-9, abs=1e-9
    )
    assert float(done.stored.min()) >= 0
    # A demand met by the mains passes through the store: what a sum of that size leaves by rounding may stay.
    dust = 4 * np.finfo(float).eps * (case["demand"].max(initial=0) + case["inflow"].max(initial=0))
    assert float(done.stored.max()) <= max(case["capacity"], 0) * (1 + 1e-12) + dust
    assert float(done.yield_by_year.sum()) == pytest.approx(float(done.delivered), rel=1e-9, abs=1e-9)


@given(tanks())
@settings(max_examples=150, deadline=None)
def test_compiled_loop_agrees_with_a_plain_loop_written_apart(case):
    done = simulate(**case, trace=True).isel(capacity=0)
    plain = day_by_day(**case)
    for name, expected in plain.items():
        np.testing.assert_allclose(done[name].values, expected, rtol=1e-9, atol=1e-7, err_msg=name)


@given(tanks(), st.floats(1.0, 5.0))
@settings(max_examples=100, deadline=None)
def test_yield_grows_with_tank_and_inflow_and_spillage_rule(case, factor):
    # Without rationing or mains. With Y the yield and Z = Y + s what was kept so far, a day takes Y to
    # min(Y + d, Z) and Z to min(Z + q, Y + S): both grow with Y, Z, q and S, so the yield must.
    base = {k: case[k] for k in ("inflow", "demand", "capacity")}
    total = {}
    for theta in (0.0, 1.0):
        total[theta] = float(simulate(**base, theta=theta).delivered[0])
        more_tank = simulate(**(base | {"capacity": base["capacity"] * factor}), theta=theta)
        more_rain = simulate(**(base | {"inflow": base["inflow"] * factor}), theta=theta)
        assert float(more_tank.delivered[0]) >= total[theta] * (1 - 1e-12)
        assert float(more_rain.delivered[0]) >= total[theta] * (1 - 1e-12)
    assert total[1.0] >= total[0.0] * (1 - 1e-12)


def test_further_dimensions_broadcast_by_name_and_give_the_same_bits_alone(rng):
    time = pd.date_range("2001-01-01", periods=800)
    wet = rng.random((40, 800)) < 0.3
    q = xr.DataArray(
        rng.exponential(30, (40, 800)) * wet, {"member": range(40), "time": time}, ("member", "time")
    )
    d = xr.DataArray(rng.uniform(5, 15, (2, 800)), {"people": [100, 200], "time": time}, ("people", "time"))
    theta = xr.DataArray([0.0, 0.5, 1.0], {"rule": [0, 5, 9]}, ("rule",))
    more = {"top_up_trigger": 5.0, "top_up_level": 9.0}
    for tanks in (np.linspace(10, 4000, 70), np.array([50.0, 700.0])):  # a series a block, and mixed blocks
        all_at_once = simulate(q, d, tanks, theta=theta, **more, threads=2)
        assert set(all_at_once.delivered.dims) == {"member", "people", "rule", "capacity"}
        one = simulate(q.sel(member=2), d.sel(people=200), tanks[1], theta=0.5, **more).isel(capacity=0)
        same = all_at_once.sel(member=2, people=200, rule=5).isel(capacity=1)
        for name in ("delivered", "spilled", "unmet", "topped_up", "worst_shortfall", "yield_by_year"):
            np.testing.assert_array_equal(same[name], one[name], err_msg=name)


def test_years_begin_in_the_month_asked_for():
    time = pd.date_range("2000-07-01", "2003-06-30")
    done = simulate(pd.Series(5.0, time), pd.Series(2.0, time), 100.0, year_start_month=7, start=2.0)
    assert list(done.year.values) == [2000, 2001, 2002]
    assert list(done.days_in_year.values) == [365, 365, 365]
    np.testing.assert_allclose(done.yield_by_year[0], 730.0)


def test_result_carries_units():
    done = simulate(INFLOW, 2.0, [3.0, 5.0])
    assert done.delivered.attrs["units"] == "L" and done.capacity.attrs["units"] == "L"


BAD = [
    ({"inflow": [1.0, -2.0]}, "inflow: -2"),
    ({"inflow": [1.0, np.nan]}, "1 days have no value"),
    ({"inflow": [1.0, 2.0], "demand": [1.0]}, "demand has 1 days, not 2"),
    ({"inflow": []}, "no day"),
    ({"inflow": [[1.0]]}, "named dimensions"),
    ({"capacity": -5.0}, "capacity: -5"),
    ({"capacity": []}, "empty"),
    ({"capacity": "large"}, "not a number"),
    ({"start": 6.0}, "start: more water at the start"),
    ({"theta": 2.0}, "theta: 2 is out of range; give theta from 0 to 1"),
    ({"theta": [0.0, 1.0]}, "names its dimension"),
    ({"ration_level": 2.0}, "ration_share is missing"),
    ({"ration_level": [2.0, 3.0, 4.0], "ration_share": [1.0, 0.5]}, "stages"),
    ({"ration_level": 1.0, "ration_share": 0.5, "essential": 2.0}, "essential"),
    ({"top_up_trigger": 2.0}, "give top_up_level too"),
    ({"top_up_rate": 2.0}, "a rate is set but no top-up"),
    ({"top_up_level": 2.0, "change_over": True}, "choose one"),
    ({"year_start_month": 13}, "month"),
    ({"year_start_month": True}, "month"),
    ({"change_over": 1}, r"change_over: \[1\] is neither True nor False"),
    ({"change_over": [0, 2]}, r"change_over: \[0\] is neither"),
    ({"change_over": xr.DataArray([0.0, 1.0], dims="valve")}, "neither True nor False"),
    ({"trace": 1}, "trace: 1 is neither"),
    ({"threads": 0}, "no number of threads"),
    ({"threads": "2"}, "no number of threads"),
    ({"inflow": ["1", "2"]}, "inflow: .* is not a number"),
    ({"inflow": [True, False]}, "inflow: .* is not a number"),
    ({"demand": True}, "demand: True is not a number"),
    ({"theta": True}, "theta: True is not a number"),
    ({"start": "1"}, "start: '1' is not a number"),
    ({"capacity": np.array(["2020-01-01"], dtype="datetime64[D]")}, "capacity: .* is not a number"),
    ({"inflow": np.ma.masked_equal([3.0, 999.0], 999.0)}, "inflow: 1 days have no value, the first on 1"),
    ({"inflow": np.ma.masked_equal([3, 999], 999)}, "inflow: 1 days have no value"),
    ({"capacity": np.ma.masked_equal([5.0, 999.0], 999.0)}, "capacity: it holds a missing value"),
    ({"inflow": pd.Series([1, None], dtype="Int64")}, "inflow: 1 days have no value"),
    ({"inflow": pd.Series(1.0, pd.date_range("2000-01-01", periods=2, tz="UTC"))}, "time zone UTC"),
]


@pytest.mark.parametrize(("change", "words"), BAD)
def test_bad_input_says_what_is_wrong(change, words):
    with pytest.raises(InputError, match=words):
        simulate(**({"inflow": [1.0], "demand": 1.0, "capacity": 5.0} | change))


def test_what_is_in_other_units_is_refused():
    days = pd.date_range("2000-01-01", periods=5)
    for units in ("L/day", "litres day-1", "L", "mm/day"):
        simulate(xr.DataArray(np.ones(5), {"time": days}, attrs={"units": units}), 1.0, 5.0)
    for units in ("m3/day", "L/s", "gal/day", "m3"):
        with pytest.raises(InputError, match='inflow.*in "' + units):
            simulate(xr.DataArray(np.ones(5), {"time": days}, attrs={"units": units}), 1.0, 5.0)


def test_a_valve_that_has_given_all_it_wanted_shuts_whatever_the_last_digit_of_the_sum():
    """In tenths: 0.3 drawn from a tank kept at 0.7 opens at 0.4; what fills it up may end a digit below 0.7."""
    for level in np.arange(3, 40) / 10:
        done = simulate(
            np.zeros(40),
            0.1,
            5.0,
            start=level,
            top_up_trigger=level - 0.3 + 1e-9,
            top_up_level=level,
            trace=True,
        )
        taken = done.mains_stored_daily.values.ravel()
        assert (np.flatnonzero(taken > 1e-9) % 3 == 2).all(), level  # every third day, and on no day beside


def test_series_of_other_days_are_refused():
    a = pd.Series(1.0, pd.date_range("2000-01-01", periods=5))
    with pytest.raises(InputError, match="same days"):
        simulate(a, a.shift(freq="D"), 5.0)
    with pytest.raises(InputError, match="2000-01-02 is not in the index|day after 2000-01-01"):
        simulate(a.drop(a.index[1]), 1.0, 5.0)
