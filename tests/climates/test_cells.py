"""Every place gets what the single-site functions give it, to nine digits, and the same bits however it is computed."""

import numpy as np
import pandas as pd
import pytest
import xarray as xr
from climates_case import ROOFS, RUNS, plan_for, region

from rainharvest import band_of_years, fill_gaps, simulate
from rainharvest.catchment.collect import collect
from rainharvest.catchment.compare import BORES, best_bore
from rainharvest.catchment.hydraulics import standing_spells
from rainharvest.catchment.tables import DRYING
from rainharvest.climates.cells import VARIABLES, over_cells
from rainharvest.climates.facts import places_table, wet_against_dry
from rainharvest.climates.tank_sizes import MEASURES, Asked, measures
from rainharvest.core.errors import InputError
from rainharvest.sizing.smallest import smallest_tank


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


def test_a_loop_over_cells_with_the_functions_of_one_site_gives_the_same(rain, plan, data):
    """Rain varies within the wet hours of each row of places in a way of its own."""
    varies = xr.DataArray(np.linspace(0.8, 1.8, data.latitude.size), dims="latitude")
    mean = data.mean_intensity.assign_coords(variation=varies.broadcast_like(data.mean_intensity))
    some = {"latitude": [2, 0, 5, 3], "longitude": [0, 7, 3, 4]}
    computed = over_cells(rain.isel(some), plan, mean.isel(some))
    for i, j in zip(*some.values(), strict=True):
        one = rain.isel(latitude=i, longitude=j, drop=True)
        update = {"mean_intensity": float(mean[i, j]), "variation": float(varies[i])}
        hard = plan.intensity.model_copy(update=update)
        for k, (name, run) in enumerate(RUNS.items()):
            water = collect(one, plan.catchments[name].roofs, run, intensity=hard, drying=DRYING.value)
            here = computed.sel(latitude=data.latitude[i], longitude=data.longitude[j]).isel(conveyance=k)
            years = one.sizes["time"] / 365.25
            for a, kind in enumerate(plan.arrangements):
                sizes = xr.DataArray(list(plan.capacity), {"capacity": list(plan.capacity)}, ("capacity",))
                done = simulate(water.inflow, plan.demand, sizes, **plan.settings(kind, sizes))
                of = here.isel(arrangement=a)
                expected = {
                    "volume_reliability": done.volume_reliability,
                    "time_reliability": done.time_reliability,
                    "yearly_yield": done.delivered / years,
                    "failed_a_year": done.days_failed / years,
                    "longest_failure": done.longest_failure,
                    "spilled_share": done.spilled / done.inflow_total,
                    "driest_decade_yield": done.yield_by_year.rolling(year=10).mean().min("year"),
                }
                for name, values in expected.items():
                    np.testing.assert_allclose(of[name], values, rtol=1e-9, atol=1e-12, err_msg=name)
                if kind == "rain only" and done.volume_reliability.max() >= 0.7:
                    exact = smallest_tank(water.inflow, plan.demand, 0.7, **plan.settings(kind, 0.0))
                    assert float(of.reaching) == exact.capacity  # to the litre, between sizes far apart
            for name, values in (("lost_a_year", water.lost), ("brought_a_year", water.inflow)):
                np.testing.assert_allclose(here[name], values.sum("time") / years, rtol=1e-9, atol=1e-9)
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
    # nothing of the rain's own
    assert set(computed.mean_storm.attrs) == {"units", "long_name", "cell_methods"}
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
    at = computed.volume_reliability.where(computed.capacity >= computed.reaching).min("capacity")
    before = computed.volume_reliability.where(computed.capacity < computed.reaching).max("capacity")
    assert bool((at.where(at.notnull(), 1) >= 0.7 - 1e-9).all()) and bool((before.fillna(0) < 0.7).all())


def test_the_cost_of_the_wet_run_is_measured_at_the_tap_of_the_tank(rain, plan, data, computed):
    found = wet_against_dry(computed, 5000.0)
    one = rain.isel(latitude=3, longitude=4, drop=True)
    hard = plan.intensity.model_copy(update={"mean_intensity": float(data.mean_intensity[3, 4])})
    water, failed = {}, {}
    for name, run in RUNS.items():
        inflow = collect(one, ROOFS, run, intensity=hard, drying=DRYING.value).inflow
        done = simulate(inflow, plan.demand, 5000.0)
        water[name], failed[name] = float(done.delivered[0]), float(done.days_failed[0])
    years = one.sizes["time"] / 365.25
    here = found.isel(latitude=3, longitude=4)
    assert float(here.wet_cost) == pytest.approx(1 - water["wet run"] / water["dry run"], abs=1e-12)
    assert float(here.wet_cost_a_year) == pytest.approx((water["dry run"] - water["wet run"]) / years)
    assert float(here.wet_failed_a_year) == pytest.approx((failed["wet run"] - failed["dry run"]) / years)
    inlet = 1 - computed.brought_a_year.sel(conveyance="wet run") / computed.brought_a_year[..., 0]
    assert float(abs(inlet - found.wet_cost).max()) > 0.001  # what it costs at the inlet is another number
    between = wet_against_dry(computed, 7000.0).wet_cost_a_year
    ends = [wet_against_dry(computed, size).wet_cost_a_year for size in (5000.0, 10_000.0)]
    xr.testing.assert_allclose(between.drop_vars("capacity"), (0.6 * ends[0] + 0.4 * ends[1]))
    with pytest.raises(InputError, match="no 'syphon'"):
        wet_against_dry(computed, 5000.0, wet="syphon")


def test_a_unit_that_is_stated_is_honoured_or_refused(rain, plan, data, computed):
    some = {"latitude": [3], "longitude": [4]}
    flux = (rain.isel(some) / 86400).assign_attrs(units="kg m-2 s-1")
    hard = data.mean_intensity.isel(some)
    want = computed.isel(some)
    for given in (flux, flux.chunk()):
        found = over_cells(given, plan, hard).compute()
        np.testing.assert_allclose(found.yearly_yield, want.yearly_yield, rtol=1e-9)
    in_m = (hard / 1000).assign_attrs(units="m/h")
    np.testing.assert_allclose(over_cells(flux, plan, in_m).spilled_share, want.spilled_share, rtol=1e-6)
    with pytest.raises(InputError, match="'degC', which is no unit of rain"):
        over_cells(rain.assign_attrs(units="degC"), plan, data.mean_intensity)
    with pytest.raises(InputError, match="falls nowhere"):  # multiplied by hand, the unit left as it was
        over_cells(rain.isel(some).assign_attrs(units="kg m-2 s-1"), plan, hard)
    for door in (collect, fill_gaps):
        one = flux[0, 0].drop_vars(("latitude", "longitude"))
        more = (ROOFS,) if door is collect else ()
        first, second = (door(r, *more) for r in (one, rain[3, 4].drop_vars(("latitude", "longitude"))))
        np.testing.assert_allclose(*(getattr(d, "inflow", d).values for d in (first, second)), rtol=1e-6)
        with pytest.raises(InputError, match="no unit of rain"):
            door(one.assign_attrs(units="degC"), *more)


def test_each_place_on_its_own_record_and_a_gap_leaves_that_place_alone(rain, plan, data, computed):
    ragged = rain.copy()
    ragged[3, 4, :900] = np.nan
    ragged[4, 2, -500:] = np.nan
    ragged[4, 3, 1000] = np.nan
    found = over_cells(ragged, plan, data.mean_intensity)
    assert np.isnan(found.rain_year[4, 3]) and float(found.record_days[3, 4]) == rain.sizes["time"] - 900
    for i, j, part in ((3, 4, slice(900, None)), (4, 2, slice(None, -500))):
        own = plan_for(rain.indexes["time"][part], arrangements=("rain only", "combined"))
        alone = over_cells(rain[i, j, part], own, float(data.mean_intensity[i, j]))
        for name in VARIABLES:
            np.testing.assert_array_equal(found[name][i, j], alone[name], err_msg=name)
    np.testing.assert_array_equal(found.reaching[5], computed.reaching[5])


@pytest.mark.parametrize("calendar", ["noleap", "360_day"])
def test_rain_of_a_short_calendar_is_set_on_the_days_of_the_year_and_filled(calendar, data):
    rng, years = np.random.default_rng(5), 12  # INVENTED
    time = xr.date_range("2001-01-01", "2013-01-01", calendar=calendar, use_cftime=True, inclusive="left")
    values = np.where(rng.random((2, time.size)) < 0.3, rng.exponential(7, (2, time.size)), 0.0)
    values[:, time.month == 2] *= 3
    rain = xr.DataArray(values, {"time": time}, ("site", "time"))
    days = pd.date_range("2001-01-01", "2012-12-31")
    demand = xr.DataArray(np.full(time.size, 400.0), {"time": time}, ("time",))
    plan = plan_for(days, demand=demand)
    found = over_cells(rain, plan)
    assert bool((found.record_days == days.size).all())
    one = rain[1].convert_calendar("standard", align_on="year", missing=np.nan)
    assert int(one.isnull().sum()) == {"noleap": 3, "360_day": 5 * years + 3}[calendar]
    filled = fill_gaps(one).isel(member=0, drop=True).reset_coords(drop=True)
    known = over_cells(filled, plan_for(days, demand=xr.full_like(filled, 400.0)))
    for name in ("yearly_yield", "reaching", "rain_year"):
        np.testing.assert_array_equal(found[name][1], known[name])
    month = pd.Series(values[1]).groupby(np.asarray(time.month)).sum() / years  # of the model's own months
    expected = float(abs(month - month.sum() / 12).sum() / month.sum())
    assert float(found.seasonality[1]) == pytest.approx(expected, rel=1e-12)


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


def test_the_best_bore_is_that_with_which_the_tank_that_reaches_the_target_delivers_most(rain, data):
    plan = plan_for(rain.indexes["time"], bores=BORES)
    some = {"latitude": [2, 5], "longitude": [1, 6]}
    found = over_cells(rain.isel(some), plan, data.mean_intensity.isel(some))
    at_inlet = []
    for i, j in np.ndindex(2, 2):
        here = found.isel(latitude=i, longitude=j, arrangement=0).sel(conveyance="wet run")
        size = float(here.reaching) if np.isfinite(here.reaching) else plan.capacity[-1]
        hard = plan.intensity.model_copy(update={"mean_intensity": float(here.mean_intensity)})
        water = []
        for bore in BORES:
            run = RUNS["wet run"].model_copy(update={"bore": bore})
            one = rain.isel(some).isel(latitude=i, longitude=j, drop=True)
            inflow = collect(one, ROOFS, run, intensity=hard, drying=DRYING.value).inflow
            water.append(float(simulate(inflow, plan.demand, size).delivered[0]))
        assert float(here.best_bore) == BORES[int(np.argmax(np.array(water) >= 0.999 * max(water)))]
        at_inlet.append(best_bore(one, plan.catchments["wet run"], intensity=hard).attrs["best_bore"])
    assert (found.best_bore.values.ravel() < at_inlet).any()  # where the tap decides otherwise than the inlet


@pytest.mark.parametrize("seed, share, weekend", [(0, 0.3, 0.0), (1, 0.1, 60.0), (2, 0.02, 420.0)])
@pytest.mark.parametrize("start", [0.0, 0.5])
def test_the_balance_of_many_sizes_is_the_daily_balance(seed, share, weekend, start):
    rng, days = np.random.default_rng(seed), pd.date_range("2001-03-05", periods=3000)
    inflow = np.where(rng.random((3, days.size)) < share, rng.exponential(2000, (3, days.size)), 0.0)
    inflow[1, rng.random(days.size) < 0.2] = 0.0
    demand = np.where(days.dayofweek < 5, 420.0, weekend) * (rng.random(days.size) if seed == 1 else 1.0)
    demand = xr.DataArray(demand, {"time": days}, ("time",))
    sizes = np.concatenate([[0.0], np.geomspace(100, 80_000, 40)])
    when = np.where(inflow.any(axis=0), np.arange(days.size), days.size)
    wet = np.sort(when)
    flow = np.where(wet < days.size, np.take(inflow, np.minimum(wet, days.size - 1), axis=1), 0.0)
    found = measures(flow, wet[None], np.arange(3), Asked.of(demand, 7), np.tile(sizes, (3, 1)), start)
    along = xr.DataArray(sizes, {"capacity": sizes}, ("capacity",))
    for k in range(3):
        done = simulate(inflow[k], demand, sizes, start=start * along, year_start_month=7)
        for name in MEASURES:
            values = done[name].transpose(..., "capacity")
            np.testing.assert_allclose(found[name][k], values, rtol=1e-9, atol=1e-6, err_msg=name)


def test_members_and_sites_are_places_too(rain, plan):
    sites = rain.isel(latitude=2, longitude=[0, 3], drop=True).rename(longitude="site").drop_vars("site")
    versions = xr.concat([sites, sites * 0.9], "member")
    done = over_cells(versions, plan)
    assert done.volume_reliability.dims[:2] == ("member", "site")
    assert done.mean_storm.dims == ("member", "site")
    assert bool((done.brought_a_year.isel(member=1) < done.brought_a_year.isel(member=0)).all())


def test_a_demand_of_other_days_is_refused(rain, plan):
    for days, words in ((rain.time[::2], "is not in the index"), (rain.time[::-1], "is not in the index")):
        with pytest.raises(InputError, match=words):
            over_cells(rain.sel(time=days), plan)
    with pytest.raises(InputError, match="below zero"):
        over_cells(rain - 1.0, plan)
    with pytest.raises(InputError, match="same days"):
        over_cells(rain.isel(time=slice(1, None)), plan)


def test_a_statistic_of_the_analyst_is_that_of_a_loop_over_places(rain, plan, data):
    some = {"latitude": [3, 5], "longitude": [0, 4]}
    half_empty = lambda tank: (tank.stored.sel(conveyance="wet run") < 2500).mean()  # noqa: E731
    own = {"half_empty": half_empty, "low": lambda tank: band_of_years(*tank.yield_by_year).low}
    given = rain.isel(some), plan, data.mean_intensity.isel(some), None, own, 5000.0
    found = over_cells(*given)
    for i, j in np.ndindex(2, 2):
        hard = plan.intensity.model_copy(update={"mean_intensity": float(given[2][i, j])})
        one = given[0].isel(latitude=i, longitude=j, drop=True)
        done = [
            simulate(
                collect(one, ROOFS, run, intensity=hard, drying=DRYING.value).inflow,
                plan.demand,
                5000.0,
                trace=True,
            ).isel(capacity=0)
            for run in RUNS.values()
        ]
        assert float(found.half_empty[i, j]) == pytest.approx(float((done[1].stored < 2500).mean()))
        low = band_of_years(*(each.yield_by_year for each in done)).low
        assert float(found.low[i, j]) == pytest.approx(float(low), rel=1e-7, abs=1e-6)
    lazy = over_cells(given[0].chunk(latitude=1), *given[1:])
    assert lazy.half_empty.chunks is not None and lazy.compute().identical(found)
    assert lazy.drop_vars(own).compute().identical(over_cells(*given[:3]))
    for wrong, words in (
        ({"reaching": half_empty}, "already"),
        ({"many": lambda tank: tank.stored}, "one number"),
    ):
        with pytest.raises(InputError, match=words):
            over_cells(*given[:4], wrong, 5000.0)
    with pytest.raises(InputError, match="needs a tank"):
        over_cells(*given[:4], own)
