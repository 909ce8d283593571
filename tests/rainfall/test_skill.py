"""The skill report: what it hides, what it measures, what it refuses."""

import numpy as np
import pandas as pd
import pytest
import xarray as xr
from hypothesis import given, settings
from hypothesis import strategies as st
from rain import invent_rain

from rainharvest import simulate
from rainharvest.core.errors import InputError
from rainharvest.core.quantities import QUANTITIES
from rainharvest.rainfall.fill_skill import fill_skill, hide_blocks, season_mean
from rainharvest.rainfall.flags import runs


@pytest.fixture(scope="module")
def three():
    return invent_rain("winter_rain", 25, seed=4)


@settings(max_examples=40, deadline=None)
@given(st.floats(0.01, 0.4), st.integers(0, 9))
def test_blocks_hide_known_days_between_known_days(share, seed):
    rng = np.random.default_rng(seed)
    sound = np.ones(3000)
    sound[500:600] = np.nan
    hidden = hide_blocks(sound, share, [1, 4, 20], rng)
    assert np.isfinite(sound[hidden]).all()
    assert 0 <= hidden.sum() - share * 2900 <= 20
    first, last = runs(hidden)
    assert np.isfinite(sound[first - 1]).all() and np.isfinite(sound[last + 1]).all()
    assert set(last - first + 1) <= {1, 4, 20}


def test_season_mean_is_the_mean_of_the_season():
    days = pd.date_range("2001-01-01", "2004-12-31")
    values = np.where(days.month <= 6, 2.0, 0.0)
    values[::7] = np.nan
    mean = season_mean(values, days)
    assert mean[days.get_loc("2002-03-15")] == 2.0 and mean[days.get_loc("2002-09-15")] == 0.0
    assert 0 < mean[days.get_loc("2002-07-01")] < 2


def test_the_fill_keeps_what_the_mean_loses(three):
    skill = fill_skill(three.isel(site=0), three.isel(site=slice(1, None)), simulate=simulate, repeats=4)
    fill, mean = skill.sel(way_filled="fill"), skill.sel(way_filled="same-season mean")
    assert abs(fill["wet_share_error"]) < 0.01 < mean["wet_share_error"]
    assert abs(fill["total_error"]) < 0.03 and abs(fill["reliability_error"]) < 0.01
    assert fill["wet_agreement"] > mean["wet_agreement"]
    assert 0.8 < fill["gap_coverage"] <= 1 and np.isnan(mean["gap_coverage"])
    assert set(skill.data_vars) <= set(QUANTITIES) and all(skill[v].attrs["units"] for v in skill.data_vars)
    assert skill.attrs["share"] == 0.15 and skill.attrs["members"] == 20


def test_a_perfect_neighbour_gives_a_perfect_fill(three):
    here = three.isel(site=0)
    copy = here.to_series().copy() + 0.0
    skill = fill_skill(here, [copy.rename("copy")], 0.1, repeats=2).sel(way_filled="fill")
    # 0.991 to 0.996 over eight seeds: dry days at both gauges stand in no order
    assert skill["wet_agreement"] > 0.99 and skill["absolute_error"] < 0.1
    assert abs(skill["total_error"]) < 0.002


def test_the_same_seed_gives_the_same_report(three):
    here = three.isel(site=0)
    one, two = (fill_skill(here, repeats=2, members=3, seed=5) for _ in range(2))
    xr.testing.assert_identical(one, two)
    assert not one.equals(fill_skill(here, repeats=2, members=3, seed=6))
    assert np.isnan(one["gap_coverage"]).all()  # three members span no 90 % band


def test_the_balance_is_asked_with_members_and_the_truth(three):
    seen = []

    def balance(inflow, demand, capacity):
        seen.append((inflow.sizes["member"], capacity, float(demand.mean() / inflow.isel(member=-1).mean())))
        return xr.Dataset(
            {"volume_reliability": inflow.mean("time") / demand.mean(), "delivered": inflow.sum("time")}
        )

    skill = fill_skill(three.isel(site=0), repeats=1, members=3, simulate=balance)
    assert seen == [(4, 5000.0, pytest.approx(0.7)), (2, 5000.0, pytest.approx(0.7))]
    np.testing.assert_allclose(skill["yield_error"], skill["total_error"], atol=1e-12)


def test_without_a_balance_the_report_has_no_tank(three):
    assert "yield_error" not in fill_skill(three.isel(site=0), repeats=1, members=2)


def test_the_records_own_gaps_are_kept_out(three):
    here = three.isel(site=0).to_series().copy()
    for start in range(100, 4000, 300):
        here.iloc[start : start + 6] = np.nan
    skill = fill_skill(here, repeats=1, members=2)
    assert skill.attrs["lengths"] == "6"


@pytest.mark.parametrize(
    ("more", "place"),
    [
        ({"share": 0}, "share"),
        ({"share": 0.6}, "share"),
        ({"repeats": 0}, "repeats"),
        ({"lengths": [5000]}, "lengths"),
    ],
)
def test_settings_out_of_range_are_refused_by_name(three, more, place):
    with pytest.raises(InputError) as caught:
        fill_skill(three.isel(site=0, time=slice(0, 900)), **more)
    assert caught.value.place == place


def test_a_record_too_ragged_to_hide_anything_is_refused():
    sound = np.where(np.arange(1000) % 2, 1.0, np.nan)
    with pytest.raises(InputError, match="cannot be hidden"):
        hide_blocks(sound, 0.1, [1, 5], np.random.default_rng(0))
