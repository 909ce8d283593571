"""What a climate is in numbers, what explains an outcome, which climates are alike: against plain counting."""

import numpy as np
import pandas as pd
import pytest
import xarray as xr
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import rankdata

from rainharvest.climates import statistics
from rainharvest.climates.statistics import (
    MONTH_DAYS,
    NAMES,
    STATISTICS,
    band_of_years,
    classes_at,
    explain,
    group_climates,
    statistics_of,
)
from rainharvest.core.errors import InputError
from rainharvest.rainfall.climatology import dry_spells


def of_series(rain):
    """Return the statistics of one place by name."""
    return pd.Series(statistics_of(rain.to_numpy()[None], rain.index)[:, 0], STATISTICS)


@settings(max_examples=25)
@given(st.integers(0, 10_000), st.floats(0.02, 0.9), st.integers(400, 1500))
def test_statistics_against_plain_counting(seed, share, size):
    rng = np.random.default_rng(seed)
    days = pd.date_range("2001-03-05", periods=size)
    rain = pd.Series(np.where(rng.random(size) < share, rng.exponential(7.0, size), 0.0), days)
    found = of_series(rain)
    wet = rain >= 1.0
    runs = (wet != wet.shift()).cumsum()
    storms = rain[wet].groupby(runs[wet]).sum()
    assert found.mean_storm == pytest.approx(storms.mean() if len(storms) else 0.0)
    assert found.mean_dry_spell == pytest.approx(float(dry_spells(rain).dry_spell.mean()))
    assert found.wet_share == pytest.approx(wet.mean())
    month = rain.groupby(days.month).mean().reindex(range(1, 13)).fillna(0.0) * MONTH_DAYS
    year = month.sum()
    expected = float(abs(month - year / 12).sum() / year) if year else 0.0
    assert found.seasonality == pytest.approx(expected)
    whole = rain.groupby(days.year).sum()[rain.groupby(days.year).size() >= 365]
    if len(whole) > 1 and whole.mean() > 0:
        assert found.annual_cv == pytest.approx(whole.std() / whole.mean())
    else:
        assert np.isnan(found.annual_cv)


def test_rain_in_one_month_and_even_rain_bound_the_seasonality():
    days = pd.date_range("2001-01-01", "2004-12-31")
    assert of_series(pd.Series(np.where(days.month == 2, 5.0, 0.0), days)).seasonality == pytest.approx(
        11 / 6
    )
    even = of_series(pd.Series(3.0, days))
    assert even.seasonality < 0.03 and even.mean_dry_spell == 0


def places(seed, size=60):
    rng = np.random.default_rng(seed)
    rows = {name: ("site", rng.gamma(2.0, 10.0, size)) for name in {*NAMES["explaining"], *STATISTICS}}
    return xr.Dataset(rows)


def test_an_outcome_made_of_one_statistic_is_explained_by_it_alone():
    climate = places(1)
    outcome = np.exp(climate.mean_dry_spell / 30).rename("cost")
    found = explain(outcome, climate)
    assert float(found.rank_correlation.sel(statistic="mean_dry_spell")) == pytest.approx(1)
    assert float(found.explained) == pytest.approx(1)
    assert float(found.explained_without.sel(statistic="mean_dry_spell")) < 0.3
    assert float(found.explained_without.sel(statistic="seasonality")) == pytest.approx(1)


@settings(max_examples=25)
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
    np.testing.assert_array_equal(found, expected)
    with pytest.raises(InputError, match="fewer groups"):
        group_climates(climate, 91, names)


def test_many_places_are_grouped_through_some_of_them(monkeypatch):
    rng = np.random.default_rng(4)
    wet = rng.random(500) < 0.5
    rain = xr.DataArray(np.where(wet, 1500.0, 300.0) + rng.standard_normal(500), dims="site")
    monkeypatch.setattr(statistics, "MOST", 50)
    found = group_climates(xr.Dataset({"rain_year": rain}), 2, ["rain_year"])
    np.testing.assert_array_equal(found, np.where(wet, 1.0, 2.0))


def test_a_band_of_years_covers_the_mean_and_is_narrower_where_years_are_paired():
    """Of normal years the band of the mean is mean +- 1.645 s / sqrt(n) (textbook); here n is 400."""
    rng = np.random.default_rng(1)
    dry = xr.DataArray(100 + 20 * rng.standard_normal(400), {"year": np.arange(400)}, ("year",))
    wet = dry - 3 + rng.standard_normal(400)
    alone, paired = band_of_years(dry), band_of_years(dry, wet)
    for band, s in ((alone, float(dry.std())), (paired, float((dry - wet).std()))):
        assert float(band.high - band.low) == pytest.approx(2 * 1.645 * s / 20, rel=0.06)
    assert paired.low < 3 < paired.high and paired.high - paired.low < 0.1 * (alone.high - alone.low)
    for other, words in ((wet[1:], "same years"), (wet.where(wet > 80), "no value")):
        with pytest.raises(InputError, match=words):
            band_of_years(dry, other)


def test_places_are_joined_to_a_map_of_classes_across_the_meridian():
    classes = xr.DataArray(
        np.arange(12).reshape(3, 4),
        {"lat": [10.0, 0.0, -10.0], "lon": [345.0, 355.0, 5.0 + 360, 375.0]},
        ("lat", "lon"),
    )
    grid = xr.Dataset(coords={"latitude": [-9.0, 4.9, 16.0], "longitude": [-14.0, -0.1, 0.1, 14.0]})
    np.testing.assert_array_equal(classes_at(grid, classes), [[8, 9, 10, 11], [4, 5, 6, 7], [np.nan] * 4])
    with pytest.raises(InputError, match="latitude"):
        classes_at(xr.Dataset({"rain": ("site", [1.0])}), classes)
