"""Dry against wet over climates, what explains it, which climates are alike: against plain counting."""

import numpy as np
import pandas as pd
import pytest
import xarray as xr
from climates_case import RUNS, plan_for, region
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import kendalltau, rankdata

from rainharvest.catchment.hydraulics import held_volume
from rainharvest.climates import explain as explaining
from rainharvest.climates.cells import STATISTICS, over_cells
from rainharvest.climates.explain import (
    EXPLAINING,
    at_size,
    dry_against_wet,
    explain,
    group_climates,
    places_table,
)
from rainharvest.core.errors import InputError


@pytest.fixture(scope="module")
def results():
    data = region(rows=5, columns=6)
    rain = data.rain.astype(float)
    return over_cells(rain, plan_for(rain.indexes["time"], bores=(50.0, 80.0, 125.0)), data.mean_intensity)


def test_dry_against_wet_is_what_the_two_runs_brought(results):
    found = dry_against_wet(results)
    dry, wet = (results.sel(conveyance=f"{kind} run", drop=True) for kind in ("dry", "wet"))
    np.testing.assert_allclose(found.wet_cost, 1 - wet.brought_a_year / dry.brought_a_year)
    held = wet.lost_a_year.sel(loss="held in pipe")
    np.testing.assert_array_equal(found.lost_a_year.isel(cause=0), held)
    np.testing.assert_array_equal(found.longest_standing, wet.longest_standing)
    # what the wet run does not bring is what it holds, bleeds or turns away, but for what stands in it at the end
    gap = (dry.brought_a_year - wet.brought_a_year) - (
        held + found.lost_a_year.isel(cause=2) - found.lost_a_year.isel(cause=1)
    )
    assert (
        float(abs(gap).max()) < held_volume(RUNS["wet run"]) / 11 + 1
    )  # the pipe's volume once, over eleven years
    with pytest.raises(InputError, match="no 'syphon'"):
        dry_against_wet(results, wet="syphon")


def test_the_table_of_places_has_a_row_for_each_known_place_with_units(results):
    table = places_table(results, 9000.0)
    assert (
        len(table) == int(results.mean_storm.notnull().sum())
        and not table.filter(like="rain a year").isna().any().any()
    )
    assert set(table["usable tank size [L]"]) == {10_000.0}  # the nearest of the sizes tried
    row = table.iloc[7]
    here = at_size(results, 9000.0).sel(latitude=row.latitude, longitude=row.longitude, conveyance="wet run")
    assert row["wet run: volume reliability [1]"] == float(here.volume_reliability.item())
    assert all("[" in c for c in table.columns if c not in ("latitude", "longitude"))


def places(seed, size=60):
    rng = np.random.default_rng(seed)
    rows = {name: ("site", rng.gamma(2.0, 10.0, size)) for name in {*EXPLAINING, *STATISTICS}}
    return xr.Dataset(rows)


def test_an_outcome_made_of_one_statistic_is_explained_by_it_alone():
    climate = places(1)
    outcome = np.exp(climate.mean_dry_spell / 30).rename("cost")
    found = explain(outcome, climate)
    assert float(found.rank_correlation.sel(statistic="mean_dry_spell")) == pytest.approx(1)
    assert float(found.explained) == pytest.approx(1)
    assert float(found.explained_without.sel(statistic="mean_dry_spell")) < 0.3
    assert float(found.explained_without.sel(statistic="seasonality")) == pytest.approx(1)


@given(st.integers(0, 10_000))
def test_rank_correlation_against_a_plain_formula_and_no_use_of_order(seed):
    climate = places(seed, 25)
    rng = np.random.default_rng(seed + 1)
    outcome = climate.mean_storm + 10 * xr.DataArray(rng.standard_normal(25), dims="site")
    found = explain(outcome, climate)
    a, b = rankdata(outcome), rankdata(climate.mean_storm)
    assert float(found.rank_correlation[0]) == pytest.approx(np.corrcoef(a, b)[0, 1])
    turned = rng.permutation(25)
    again = explain(outcome[turned], climate.isel(site=turned))
    np.testing.assert_allclose(again.rank_slope, found.rank_slope, atol=1e-9)
    grown = explain(outcome**3, climate)  # any rising change of the outcome leaves ranks as they are
    np.testing.assert_allclose(grown.rank_correlation, found.rank_correlation)
    assert (
        np.sign(kendalltau(outcome, climate.mean_storm)[0]) == np.sign(found.rank_correlation[0])
        or abs(float(found.rank_correlation[0])) < 0.2
    )
    assert 0 <= float(found.explained) <= 1 + 1e-9


def test_what_cannot_be_explained_says_so():
    climate = places(2)
    with pytest.raises(InputError, match="same everywhere"):
        explain(xr.zeros_like(climate.mean_storm), climate)
    with pytest.raises(InputError, match="places are known"):
        explain(climate.mean_storm.isel(site=slice(0, 4)), climate.isel(site=slice(0, 4)))


def test_groups_are_found_where_there_are_some_wettest_first():
    rng = np.random.default_rng(3)
    true = rng.integers(0, 3, 90)
    middle = np.array([[300, 12, 20, 0.9], [1500, 30, 4, 0.2], [800, 20, 8, 1.2]])
    names = ["rain_year", "mean_storm", "mean_dry_spell", "seasonality"]
    climate = xr.Dataset(
        {n: ("site", middle[true, i] * (1 + 0.02 * rng.standard_normal(90))) for i, n in enumerate(names)}
    )
    climate["rain_year"][5] = np.nan
    found = group_climates(climate, 3, names)
    expected = np.array([3.0, 1.0, 2.0])[true]
    expected[5] = np.nan
    np.testing.assert_array_equal(found.group, expected)
    assert bool((found.rain_year.diff("of_group") < 0).all()) and int(found.places.sum()) == 89
    with pytest.raises(InputError, match="fewer groups"):
        group_climates(climate, 91, names)


def test_many_places_are_grouped_through_some_of_them(monkeypatch):
    rng = np.random.default_rng(4)
    wet = rng.random(500) < 0.5
    rain = xr.DataArray(np.where(wet, 1500.0, 300.0) + rng.standard_normal(500), dims="site")
    monkeypatch.setattr(explaining, "MOST", 50)
    found = group_climates(xr.Dataset({"rain_year": rain}), 2, ["rain_year"])
    np.testing.assert_array_equal(found.group, np.where(wet, 1.0, 2.0))


def test_the_invented_region_has_its_gradients():
    data = region(rows=6, columns=8, years=20)
    from rainharvest.climates.cells import climate_statistics

    found = climate_statistics(data.rain.astype(float).isel(latitude=slice(2, None)))
    assert bool((found.rain_year.mean("latitude").diff("longitude") < 0).all())
    assert bool((found.seasonality.mean("longitude").diff("latitude") > 0).all())
    pd.testing.assert_frame_equal(
        region(3, 3, 2).rain.isel(time=slice(0, 40)).to_dataframe(),
        region(3, 3, 2).rain.isel(time=slice(0, 40)).to_dataframe(),
    )
