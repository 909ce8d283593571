"""The gauge outlook: its runs are the daily balance, its numbers are counts over the years."""

import re

import numpy as np
import pandas as pd
import pytest
import xarray as xr
from hypothesis import given, settings
from hypothesis import strategies as st
from rain import invent_rain

from rainharvest import InputError, simulate
from rainharvest.drought.facts_outlook import plans_ahead_facts, supply_facts
from rainharvest.drought.outlook import (
    Settings,
    as_flows,
    at_rank,
    cut_windows,
    kept_throughout,
    level_chances,
    outlook,
    run_windows,
    trace_windows,
)
from rainharvest.drought.section import SAY


@pytest.fixture(scope="module")
def flows():
    rain = invent_rain("winter_rain", 30, seed=4).isel(site=0, drop=True)
    two = xr.concat([rain, rain.shift(time=3, fill_value=0.0)], "member").assign_coords(member=[0, 1])
    demand = xr.where(rain.time.dt.day_of_week < 5, 900.0, 200.0)
    return as_flows(two * 450, demand, demand * 0.3)


def test_windows_are_the_days_of_each_year(flows):
    cut = cut_windows(flows, 11, 20, 100)
    assert cut.inflow.shape == (100, 2 * 29) and cut.members == 2  # the last would run past the record
    begins = int((np.datetime64("2000-11-20") - flows.first).astype(int))
    columns = np.flatnonzero(cut.year == 2000)
    for member, column in enumerate(columns):
        np.testing.assert_array_equal(cut.inflow[:, column], flows.inflow[member, begins : begins + 100])
        np.testing.assert_array_equal(cut.demand[:, column], flows.demand[begins : begins + 100])


def test_leap_day_begins_on_the_first_of_march_in_other_years(flows):
    leap, first = cut_windows(flows, 2, 29, 10), cut_windows(flows, 3, 1, 10)
    ordinary = leap.year % 4 != 0
    np.testing.assert_array_equal(leap.inflow[:, ordinary], first.inflow[:, ordinary])
    assert not (leap.inflow[:, ~ordinary] == first.inflow[:, ~ordinary]).all()


@given(
    st.floats(0, 1), st.floats(0, 1), st.floats(0, 1), st.sampled_from([0.0, 0.5, 1.0]), st.integers(0, 57)
)
@settings(max_examples=30)
def test_every_column_is_the_daily_balance(flows, full, level, share, theta, column):
    """A column gives bit for bit what `simulate` gives for those days."""
    cut = cut_windows(flows, 11, 20, 100)
    column = column % cut.year.size
    size = 20_000.0
    setting = Settings(np.array([full * size]), np.array([[level * size]]), np.array([[share]]))
    stored, lasts = trace_windows(cut, size, setting, theta)
    done = simulate(
        cut.inflow[:, column],
        cut.demand[:, column],
        size,
        essential=cut.essential[:, column],
        start=full * size,
        ration_level=level * size,
        ration_share=share,
        theta=theta,
        trace=True,
    )
    np.testing.assert_array_equal(stored[0, :, column], done.stored.values[0].astype(np.float32))
    failed = run_windows(cut, size, setting, theta)
    assert failed[0, 0, column] == float(done.days_failed[0])
    short = done.unmet_daily.values[0] > 1e-9 * cut.demand[:, column]
    assert lasts[0, column] == (short.argmax() if short.any() else 100)


def test_chances_are_counts(flows):
    cut = cut_windows(flows, 11, 20, 120)
    found = outlook(cut, 20_000, 9_000, {"all": 1.0, "half": 0.5, "essential": 0.0}, every=1)
    _, lasts = trace_windows(cut, 20_000, kept_throughout(np.array([9_000.0]), np.ones(1)))
    for lead in (5, 17, 60, 120):
        assert float(found.dry_chance.sel(plan="all", lead=lead)) == np.mean(lasts[0] < lead)
    assert (found.dry_chance.diff("lead") >= 0).all()
    assert (found.dry_chance.diff("plan") <= 0).all()  # less demand, less often dry
    assert (found.stored_band.diff("band") >= 0).all()
    assert (found.supply_days.diff("confidence") <= 0).all() and (found.supply_days.diff("plan") >= 0).all()
    share = (lasts[0] >= float(found.supply_days.sel(plan="all", confidence=0.8))).mean()
    assert share >= 0.8
    assert float(found.never_dry.sel(plan="all")) == np.mean(lasts[0] == 120)


def test_a_fuller_tank_is_never_likelier_to_run_dry(flows):
    found = level_chances(
        cut_windows(flows, 10, 1, 150), 20_000, np.linspace(0, 20_000, 11), 0.5, ends=[30, 150]
    )
    assert (found.diff("gauge") <= 0).all() and (found.diff("lead") >= 0).all()
    assert float(found.sel(gauge=0, lead=150)) == 1


def test_supply_without_rain_is_arithmetic():
    days = pd.date_range("2001-01-01", "2012-12-31")
    cut = cut_windows(as_flows(pd.Series(0.0, days), 100.0, 40.0), 3, 1, 60)
    found = outlook(cut, 5_000, 2_050, {"all": 1.0, "half": 0.5, "essential": 0.0})
    assert found.supply_days.sel(confidence=0.95).values.tolist() == [20, 29, 51]


@pytest.mark.parametrize("members", [1, 7])
def test_ranks_hold_the_next_year_as_often_as_they_say(rng, members):
    """Of exchangeable years the next lies below the share-s value in s of the cases; members count once."""
    below = []
    for _ in range(4000):
        years = rng.random(20)
        ordered = np.sort(np.repeat(years[:-1], members))
        below.append(years[-1] < at_rank(ordered, 0.25, members))
    assert np.mean(below) == pytest.approx(0.25, abs=4 * np.sqrt(0.1875 / 4000))


def test_bad_input_is_named(flows):
    cut = cut_windows(flows, 1, 1, 30)
    with pytest.raises(InputError, match="more than the tank holds"):
        outlook(cut, 1000, 1001, {"all": 1.0})
    with pytest.raises(InputError, match="no day 31 of month 4"):
        cut_windows(flows, 4, 31, 30)
    with pytest.raises(InputError, match="fewer than 2"):
        cut_windows(flows, 1, 1, 365 * 30)
    with pytest.raises(InputError, match="no dates"):
        as_flows([1.0, 2.0], 1.0)
    with pytest.raises(InputError, match="0 to 1"):
        outlook(cut, 1000, 10, {"all": 1.5})


@pytest.mark.parametrize(
    "years, shares", [(2, ["50 %"]), (4, ["50 %", "80 %"]), (25, ["50 %", "80 %", "95 %"])]
)
def test_few_years_are_not_made_to_promise_what_they_have_not_seen(years, shares):
    time = pd.date_range("2001-01-01", f"{2000 + years}-12-31")
    rain = pd.Series(np.where(time.dayofyear % 11, 0.0, 90.0), time)
    found = outlook(
        cut_windows(as_flows(rain, 10.0, 5.0), 6, 1, 60), 500.0, 100.0, {"yours": 1.0, "stage 1": 0.0}
    )
    words = SAY.supply(supply_facts(found))
    assert re.findall(r"days? in (\d+ %)", words) == shares
    assert ("cannot say" in words) == (len(shares) < 3)
    assert ("in 5 of 10" in SAY.plans_ahead(plans_ahead_facts(found))) == (years < 4)
