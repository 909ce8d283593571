"""Every place gets what the single-site functions give it, to the last bit, however it is worked."""

import numpy as np
import pandas as pd
import pytest
import xarray as xr
from climates_case import RUNS, plan_for, region
from hypothesis import given, settings
from hypothesis import strategies as st

from rainharvest import simulate
from rainharvest.catchment.collect import collect
from rainharvest.catchment.compare import BORES, best_bore
from rainharvest.catchment.hydraulics import standing_spells
from rainharvest.catchment.tables import DRYING
from rainharvest.climates.cells import MONTH_DAYS, VARIABLES, climate_statistics, over_cells
from rainharvest.core.errors import InputError
from rainharvest.rainfall.climatology import dry_spells


@pytest.fixture(scope="module")
def data():
    return region()


@pytest.fixture(scope="module")
def rain(data):
    return data.rain.astype(float).transpose("latitude", "longitude", "time")


@pytest.fixture(scope="module")
def plan(rain):
    return plan_for(rain.indexes["time"], arrangements=("rain only", "combined"))


@pytest.fixture(scope="module")
def worked(rain, plan, data):
    return over_cells(rain, plan, data.mean_intensity)


def test_the_same_bits_as_a_loop_over_cells_with_the_functions_of_one_site(rain, plan, data, worked):
    for i, j in [(2, 0), (0, 7), (5, 3), (3, 4)]:
        one = rain.isel(latitude=i, longitude=j, drop=True)
        hard = plan.intensity.model_copy(update={"mean_intensity": float(data.mean_intensity[i, j])})
        for k, (name, run) in enumerate(RUNS.items()):
            water = collect(one, plan.catchments[name].roofs, run, intensity=hard, drying=DRYING.value)
            here = worked.isel(latitude=i, longitude=j, conveyance=k)
            years = one.sizes["time"] / 365.25
            for a, kind in enumerate(plan.arrangements):
                done = simulate(water.inflow, plan.demand, plan.sizes, **plan.settings(kind))
                of = here.isel(arrangement=a)
                assert (of.volume_reliability.values == done.volume_reliability.values).all()
                assert (of.time_reliability.values == done.time_reliability.values).all()
                assert (of.yearly_yield.values == done.delivered.values / years).all()
                assert (of.longest_failure.values == done.longest_failure.values).all()
                means = done.yield_by_year.rolling(year=10).mean().min("year")
                np.testing.assert_allclose(of.driest_decade_yield, means, rtol=1e-12)
                reached = [
                    s for s, r in zip(plan.capacity, done.volume_reliability.values, strict=True) if r >= 0.7
                ]
                np.testing.assert_equal(float(of.reaching), reached[0] if reached else np.nan)
            np.testing.assert_allclose(
                here.lost_a_year, water.lost.sum("time") / years, rtol=1e-12, atol=1e-9
            )
            np.testing.assert_allclose(here.brought_a_year, water.inflow.sum("time") / years, rtol=1e-12)
            if run.kind == "wet":
                spells = standing_spells(water)
                assert float(here.longest_standing) == float(spells.longest)
                assert float(here.standing_share) == pytest.approx(float(spells.share), rel=1e-12)
                assert float(here.standing_spells_a_year) == pytest.approx(
                    float(spells.spells_beyond) / years
                )


def test_lazy_alone_and_together_give_the_same_bits(rain, plan, data, worked):
    lazy = over_cells(
        rain.chunk(latitude=2, longitude=3, time=700),
        plan,
        data.mean_intensity.chunk(latitude=2, longitude=3),
    )
    assert lazy.volume_reliability.chunks is not None
    assert lazy.compute(scheduler="threads").identical(worked)
    assert set(worked.mean_storm.attrs) == {"units", "long_name"}  # nothing of the rain's own
    alone = over_cells(
        rain.isel(latitude=[4], longitude=[5]), plan, data.mean_intensity.isel(latitude=[4], longitude=[5])
    )
    assert alone.identical(worked.isel(latitude=[4], longitude=[5]))


def test_water_is_accounted_for_and_missing_stays_missing(worked, data):
    kept = worked.isel(arrangement=0)
    gap = kept.caught_a_year - kept.brought_a_year - kept.lost_a_year.sum("loss")
    years = data.sizes["time"] / 365.25
    assert float(abs(gap).max()) <= 1500 / years  # what still stands in film, first-flush space and pipe
    sea = worked.sel(latitude=data.latitude[0], longitude=data.longitude[0])
    assert all(bool(sea[name].isnull().all()) for name in VARIABLES)
    land = worked.where(data.land == 1, drop=True).isel(latitude=3)
    bores = {"best_bore"}
    assert all(not bool(land[n].isnull().any()) for n in VARIABLES if n not in bores | {"reaching"})


def test_more_tank_gives_more_and_the_sizes_that_reach_lie_on_the_curve(worked):
    worked = worked.isel(latitude=slice(2, None))  # on land
    assert bool((worked.volume_reliability.isel(arrangement=0).diff("capacity") >= -1e-12).all())
    at = worked.volume_reliability.where(worked.capacity == worked.reaching).max("capacity")
    before = worked.volume_reliability.where(worked.capacity < worked.reaching).max("capacity")
    assert bool((at.where(at.notnull(), 1) >= 0.7 - 1e-9).all()) and bool((before.fillna(0) < 0.7).all())


def test_best_bore_is_that_of_the_single_site(rain, data):
    plan = plan_for(rain.indexes["time"], bores=BORES)
    some = rain.isel(latitude=[2, 5], longitude=[1, 6])
    hard = data.mean_intensity.isel(latitude=[2, 5], longitude=[1, 6])
    found = over_cells(some, plan, hard).best_bore
    for i in range(2):
        for j in range(2):
            intensity = plan.intensity.model_copy(update={"mean_intensity": float(hard[i, j])})
            one = some.isel(latitude=i, longitude=j, drop=True)
            assert (
                float(found[i, j])
                == best_bore(one, plan.catchments["wet run"], intensity=intensity).attrs["best_bore"]
            )


def test_members_and_sites_are_places_too(rain, plan):
    sites = rain.isel(latitude=2, longitude=[0, 3], drop=True).rename(longitude="site").drop_vars("site")
    versions = xr.concat([sites, sites * 0.9], "member")
    done = over_cells(versions, plan)
    assert done.volume_reliability.dims[:2] == ("member", "site") and done.mean_storm.dims == (
        "member",
        "site",
    )
    assert bool((done.brought_a_year.isel(member=1) < done.brought_a_year.isel(member=0)).all())


def test_a_demand_of_other_days_is_refused(rain, plan):
    with pytest.raises(InputError, match="same days"):
        over_cells(rain.isel(time=slice(1, None)), plan)


@settings(max_examples=40)
@given(st.integers(0, 10_000), st.floats(0.02, 0.9), st.integers(400, 1500))
def test_statistics_against_plain_counting(seed, share, size):
    rng = np.random.default_rng(seed)
    days = pd.date_range("2001-03-05", periods=size)
    rain = pd.Series(np.where(rng.random(size) < share, rng.exponential(7.0, size), 0.0), days)
    found = climate_statistics(rain)
    wet = rain >= 1.0
    runs = (wet != wet.shift()).cumsum()
    storms = rain[wet].groupby(runs[wet]).sum()
    assert float(found.mean_storm) == pytest.approx(storms.mean() if len(storms) else 0.0)
    assert float(found.mean_dry_spell) == pytest.approx(float(dry_spells(rain).dry_spell.mean()))
    assert float(found.wet_share) == pytest.approx(wet.mean())
    month = rain.groupby(days.month).mean().reindex(range(1, 13)).fillna(0.0) * MONTH_DAYS
    year = month.sum()
    expected = float(abs(month - year / 12).sum() / year) if year else 0.0
    assert float(found.seasonality) == pytest.approx(expected)
    whole = rain.groupby(days.year).sum()[rain.groupby(days.year).size() >= 365]
    if len(whole) > 1 and whole.mean() > 0:
        assert float(found.annual_cv) == pytest.approx(whole.std() / whole.mean())
    else:
        assert np.isnan(float(found.annual_cv))


def test_statistics_bounds_and_a_missing_day():
    days = pd.date_range("2001-01-01", "2004-12-31")
    one_month = pd.Series(np.where(days.month == 2, 5.0, 0.0), days)
    assert float(climate_statistics(one_month).seasonality) == pytest.approx(11 / 6)
    even = climate_statistics(pd.Series(3.0, days))
    assert float(even.seasonality) < 0.03 and float(even.mean_dry_spell) == 0
    holed = one_month.copy()
    holed.iloc[4] = np.nan
    assert np.isnan(float(climate_statistics(holed).mean_storm))
