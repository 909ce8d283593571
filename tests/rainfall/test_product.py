"""A product beside the gauge: what the two differ in is found, and nothing where they do not differ."""

import numpy as np
import pandas as pd
import pytest
from rain import invent_rain

from rainharvest.core.errors import InputError
from rainharvest.rainfall.check_neighbours import compare_with_gauge

DAYS = pd.date_range("2001-01-01", periods=3000)


@pytest.fixture(scope="module")
def gauge():
    return invent_rain("temperate_all_year", 10, seed=4).isel(site=0)


def cell_of(gauge):
    """Mean of a day's rain and its neighbours', with drizzle: what a grid does to a gauge."""
    smooth = gauge.rolling(time=3, center=True, min_periods=1).mean()
    drizzle = np.random.default_rng(1).random(gauge.sizes["time"]) * 0.3
    return (0.5 * smooth + 0.5 * gauge + drizzle).drop_vars(["flag", "total_days"])


def test_every_number_is_what_a_plain_count_gives(gauge):
    cell = cell_of(gauge)
    found = compare_with_gauge(gauge, cell, wet_day=2.0)
    for name, one in (("gauge", gauge.values), ("product", cell.values)):
        row = found.sel(record=name)
        assert row.zero_share == np.mean(one == 0)
        assert row.drizzle_share == np.mean((one > 0) & (one <= 0.2))
        assert row.wet_share == np.mean(one >= 2.0)
        assert float(row.daily_mean) == pytest.approx(one.mean())
        assert float(row.heavy_day) == pytest.approx(np.percentile(one, 99))
    assert found.common_days == gauge.sizes["time"]


def test_a_grid_is_told_from_a_gauge(gauge):
    found = compare_with_gauge(gauge, cell_of(gauge))
    assert found.looks_gridded.values.tolist() == [False, True]
    assert found.attrs["warnings"].startswith("the product drizzles: only 0%")


def test_a_gauge_beside_itself_has_nothing_to_mind(gauge):
    found = compare_with_gauge(gauge, gauge)
    assert found.attrs["warnings"] == "" and float(found.lag_agreement.sel(lag=0)) == pytest.approx(1)


@pytest.mark.parametrize("lag, word", [(1, "a day later"), (-1, "a day earlier")])
def test_a_day_dated_otherwise_is_found(gauge, lag, word):
    moved = gauge.to_series().shift(lag, freq="D")
    found = compare_with_gauge(gauge, moved)
    assert float(found.lag_agreement.sel(lag=lag)) == pytest.approx(1)
    assert word in found.attrs["warnings"]


def test_only_days_that_both_know_count():
    here = pd.Series(1.0, DAYS)
    here[:100] = np.nan
    there = pd.Series(2.0, DAYS[50:])
    there[-20:] = np.nan
    found = compare_with_gauge(here, there)
    assert found.common_days == len(DAYS) - 120
    np.testing.assert_allclose(found.daily_mean, [1, 2])
    assert "2.00 times the gauge's rain" in found.attrs["warnings"]
    assert np.isnan(found.lag_agreement).all(), "a record that never varies agrees with nothing"


def test_a_reading_over_several_days_is_no_heavy_day(gauge):
    values, flag, days = gauge.values.copy(), gauge.flag.values.copy(), gauge.total_days.values.copy()
    values[10:12], flag[10:12], days[10:12] = np.nan, 6, 0
    values[12], flag[12], days[12] = 400.0, 5, 3
    total = gauge.copy(data=values)
    total["flag"], total["total_days"] = ("time", flag), ("time", days)
    assert compare_with_gauge(total, gauge).common_days == gauge.sizes["time"] - 3


def test_too_little_in_common_is_refused():
    with pytest.raises(InputError, match="364 days in common"):
        compare_with_gauge(pd.Series(1.0, DAYS), pd.Series(1.0, DAYS[-364:]))
    with pytest.raises(InputError, match="0 days in common"):
        compare_with_gauge(pd.Series(1.0, DAYS[:500]), pd.Series(1.0, DAYS[600:]))
    with pytest.raises(InputError, match="above 0"):
        compare_with_gauge(pd.Series(1.0, DAYS), pd.Series(1.0, DAYS), wet_day=0)
