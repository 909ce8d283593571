"""Every place gets what the single-site functions give it, to the last bit, however it is computed."""

import numpy as np
import pytest
import xarray as xr
from climates_case import RUNS, plan_for, region

from rainharvest import simulate
from rainharvest.catchment.collect import collect
from rainharvest.catchment.compare import BORES, best_bore
from rainharvest.catchment.hydraulics import held_volume, standing_spells
from rainharvest.catchment.tables import DRYING
from rainharvest.climates.cells import VARIABLES, over_cells
from rainharvest.climates.facts import places_table, wet_cost
from rainharvest.core.errors import InputError


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
def computed(rain, plan, data):
    return over_cells(rain, plan, data.mean_intensity)


def test_the_same_bits_as_a_loop_over_cells_with_the_functions_of_one_site(rain, plan, data, computed):
    for i, j in [(2, 0), (0, 7), (5, 3), (3, 4)]:
        one = rain.isel(latitude=i, longitude=j, drop=True)
        hard = plan.intensity.model_copy(update={"mean_intensity": float(data.mean_intensity[i, j])})
        for k, (name, run) in enumerate(RUNS.items()):
            water = collect(one, plan.catchments[name].roofs, run, intensity=hard, drying=DRYING.value)
            here = computed.isel(latitude=i, longitude=j, conveyance=k)
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


def test_lazy_alone_and_together_give_the_same_bits(rain, plan, data, computed):
    lazy = over_cells(
        rain.chunk(latitude=2, longitude=3, time=700),
        plan,
        data.mean_intensity.chunk(latitude=2, longitude=3),
    )
    assert lazy.volume_reliability.chunks is not None
    assert lazy.compute(scheduler="threads").identical(computed)
    assert set(computed.mean_storm.attrs) == {"units", "long_name"}  # nothing of the rain's own
    alone = over_cells(
        rain.isel(latitude=[4], longitude=[5]), plan, data.mean_intensity.isel(latitude=[4], longitude=[5])
    )
    assert alone.identical(computed.isel(latitude=[4], longitude=[5]))


def test_water_is_accounted_for_and_missing_stays_missing(computed, data):
    kept = computed.isel(arrangement=0)
    gap = kept.caught_a_year - kept.brought_a_year - kept.lost_a_year.sum("loss")
    years = data.sizes["time"] / 365.25
    assert float(abs(gap).max()) <= 1500 / years  # what still stands in film, first-flush space and pipe
    sea = computed.sel(latitude=data.latitude[0], longitude=data.longitude[0])
    assert all(bool(sea[name].isnull().all()) for name in VARIABLES)
    land = computed.where(data.land == 1, drop=True).isel(latitude=3)
    bores = {"best_bore"}
    assert all(not bool(land[n].isnull().any()) for n in VARIABLES if n not in bores | {"reaching"})


def test_more_tank_gives_more_and_the_sizes_that_reach_lie_on_the_curve(computed):
    computed = computed.isel(latitude=slice(2, None))  # on land
    assert bool((computed.volume_reliability.isel(arrangement=0).diff("capacity") >= -1e-12).all())
    at = computed.volume_reliability.where(computed.capacity == computed.reaching).max("capacity")
    before = computed.volume_reliability.where(computed.capacity < computed.reaching).max("capacity")
    assert bool((at.where(at.notnull(), 1) >= 0.7 - 1e-9).all()) and bool((before.fillna(0) < 0.7).all())


def test_the_cost_of_the_wet_run_is_what_it_holds_bleeds_and_turns_away(computed):
    one = computed.isel(arrangement=0)
    dry, wet = (one.sel(conveyance=f"{kind} run", drop=True) for kind in ("dry", "wet"))
    np.testing.assert_allclose(wet_cost(one), 1 - wet.brought_a_year / dry.brought_a_year)
    lost = (wet.lost_a_year - dry.lost_a_year).sel(loss=["held in pipe", "pipe capacity"]).sum("loss")
    gap = dry.brought_a_year - wet.brought_a_year - lost
    # but for what stands in it at the end: the pipe's volume once, over eleven years
    assert float(abs(gap).max()) < held_volume(RUNS["wet run"]) / 11 + 1
    with pytest.raises(InputError, match="no 'syphon'"):
        wet_cost(one, wet="syphon")


def test_the_table_of_places_has_a_row_for_each_known_place_with_units(computed):
    table = places_table(computed, 9000.0)
    assert len(table) == int(computed.mean_storm.notnull().sum())
    assert not table.filter(like="rain a year").isna().any().any()
    assert set(table["usable tank size [L]"]) == {10_000.0}  # the nearest of the sizes tried
    row = table.iloc[7]
    here = computed.volume_reliability.sel(latitude=row.latitude, longitude=row.longitude, capacity=10_000.0)
    at = {"conveyance": "wet run", "arrangement": "rain only"}
    assert row["wet run, rain only: volume reliability [1]"] == float(here.sel(at))
    assert all("[" in c for c in table.columns if c not in ("latitude", "longitude"))


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
