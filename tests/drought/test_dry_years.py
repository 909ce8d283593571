"""Dry years three ways; the driest runs against the beta law; SPI against a general-purpose library."""

import numpy as np
import pytest
import xarray as xr
from rain import invent_rain
from scipy.stats import beta

from rainharvest import InputError, simulate
from rainharvest.drought.dry_years import driest_runs, dry_years
from rainharvest.rainfall.climatology import period_totals, standardised_precipitation_index


@pytest.fixture(scope="module")
def rain():
    return invent_rain("winter_rain", 60, seed=11).isel(site=0, drop=True)


@pytest.fixture(scope="module")
def found(rain):
    done = simulate(rain * 100, 120.0, 12_000, trace=True).isel(capacity=0)
    return dry_years(rain, done.unmet_daily, year_start_month=3)


def test_each_way_calls_as_many_years_dry_and_they_disagree(found):
    ways = [found[name].values for name in ("dry_by_rain", "dry_by_index", "dry_by_tank")]
    assert [int(w.sum()) for w in ways] == [round(found.sizes["year"] / 6)] * 3
    assert not (ways[0] == ways[1]).all() and not (ways[0] == ways[2]).all()
    assert (ways[0] & ways[2]).sum() >= 2  # and yet have years in common


def test_the_driest_are_those_with_least(found):
    for way, of in (
        ("dry_by_rain", found.year_rain),
        ("dry_by_index", found.lowest_spi),
        ("dry_by_tank", -found.year_short),
    ):
        assert of.values[found[way].values].max() <= of.values[~found[way].values].min()


def test_only_whole_years(rain):
    cut = rain.sel(time=slice("1970-05-01", "1990-10-31"))
    found = dry_years(cut, xr.zeros_like(cut), year_start_month=3)
    assert found.year.values[0] == 1971 and found.year.values[-1] == 1989
    assert not found.dry_by_tank.any()


def test_the_year_can_begin_where_the_reader_likes(rain):
    totals = {m: dry_years(rain, xr.zeros_like(rain), year_start_month=m).year_rain for m in (1, 3)}
    assert totals[1].sizes["year"] == 60 and totals[3].sizes["year"] == 59
    assert float(totals[1].sel(year=2000)) == pytest.approx(float(rain.sel(time="2000").sum()))


def test_lowest_index_of_each_year(rain, found):
    """By the index, which is held to a library in the room of the record."""
    months = period_totals(rain, 1)
    total = xr.DataArray(months.total.values, {"month": months.time.values}, "month")
    index = standardised_precipitation_index(total, 6).to_series().dropna()
    lowest = index.groupby(index.index.year - (index.index.month < 3)).min()
    np.testing.assert_array_equal(found.lowest_spi.values, lowest.loc[found.year.values])


def test_rarity_of_the_driest_year_follows_the_beta_law(rng):
    """For single independent years the chance p of a year as dry follows beta(1, n), whatever the rain."""
    total = rng.gamma(9.0, 60.0, 40)
    found = driest_runs(total, spans=[1], draws=20_000)
    assert float(found.year_correlation) < 0.2
    law = beta(1, 40)
    for name, q in (
        ("run_return_period", 0.5),
        ("run_return_period_low", 0.9),
        ("run_return_period_high", 0.1),
    ):
        assert float(found[name][0]) == pytest.approx(1 / law.ppf(q), rel=0.05)


def test_the_interval_holds_the_truth(rng):
    """Over many records of a known law, the true return period of the driest 2 years lies inside 8 of 10 times."""
    from scipy.stats import gamma

    inside = []
    for k in range(150):
        total = rng.gamma(12.0, 50.0, 50)
        found = driest_runs(total, spans=[2], draws=400, seed=k)
        truth = 1 / gamma.cdf(2 * float(found.driest_run_total[0]), a=24.0, scale=50.0)
        inside.append(float(found.run_return_period_low[0]) < truth < float(found.run_return_period_high[0]))
    assert np.mean(inside) == pytest.approx(0.8, abs=4 * np.sqrt(0.16 / 150))


def test_runs_are_found_where_they_lie():
    total = xr.DataArray(
        [500.0] * 6 + [300, 310, 305] + [500.0] * 5 + [250.0] + [500.0] * 5,
        {"year": np.arange(1980, 2000)},
        "year",
    )
    total = total + xr.DataArray(np.arange(20) % 3, dims="year")
    found = driest_runs(total)
    assert found.driest_run_start.values.tolist() == [1994, 1986, 1986]


def test_bad_input_is_named(rain):
    with pytest.raises(InputError, match="10 or more"):
        driest_runs([300.0, 400.0])
    with pytest.raises(InputError, match="same rain"):
        driest_runs([300.0] * 20)
    with pytest.raises(InputError, match="whole"):
        short = rain.isel(time=slice(0, 200))
        dry_years(short, xr.zeros_like(short))
    with pytest.raises(InputError, match="different days"):
        dry_years(rain, xr.zeros_like(rain).isel(time=slice(1, None)))
