"""The description of a record as a whole, and its versions: every number against the plainest way to get it."""

from datetime import date

import numpy as np
import pandas as pd
import pytest
import xarray as xr
from hypothesis import given, settings
from hypothesis import strategies as st
from rain import CLIMATES, invent_rain, with_gaps

from rainharvest.core.errors import InputError
from rainharvest.core.quantities import QUANTITIES
from rainharvest.rainfall.describe import describe_rain, one_version, version_totals
from rainharvest.rainfall.fill import fill_gaps
from rainharvest.rainfall.flags import Flag


@pytest.fixture(scope="module")
def rain():
    return invent_rain("winter_rain", 40, seed=8).isel(site=0)


@pytest.fixture(scope="module")
def found(rain):
    return describe_rain(rain, year_start_month=4)


def test_annual_totals_by_hydrological_year(rain, found):
    series = rain.to_series()
    years = series.groupby(series.index.year - (series.index.month < 4)).sum()
    assert list(found.year) == list(range(1984, 2025))
    np.testing.assert_allclose(found.annual_total[1:-1], years.iloc[1:-1])
    assert found.annual_total[[0, -1]].isnull().all()
    assert float(found.annual_mean) == pytest.approx(years.iloc[1:-1].mean())
    assert float(found.annual_cv) == pytest.approx(years.iloc[1:-1].std() / years.iloc[1:-1].mean())


def test_seasons_are_the_quarters_of_the_year(rain, found):
    assert list(found.season.values) == ["Apr-Jun", "Jul-Sep", "Oct-Dec", "Jan-Mar"]
    np.testing.assert_allclose(found.seasonal_total.sum("season")[1:-1], found.annual_total[1:-1])
    summer = rain.sel(time=slice("2000-01-01", "2000-03-31")).sum().item()
    assert found.seasonal_total.sel(year=1999, season="Jan-Mar").item() == pytest.approx(summer)


def test_wet_days_and_largest_days(rain, found):
    year = rain.sel(time=slice("1990-04-01", "1991-03-31"))
    assert found.wet_days.sel(year=1990) == (year >= 1).sum()
    assert found.largest_day.sel(year=1990) == year.max()
    july = rain.sel(time=rain.time.dt.month == 7)
    at = {"calendar_month": 7}
    assert found.wet_share.sel(at).item() == pytest.approx((july >= 1).mean().item())
    assert found.wet_depth.sel(at).item() == pytest.approx(july.where(july >= 1).mean().item())
    totals = july.groupby("time.year").sum()
    assert found.month_mean.sel(at).item() == pytest.approx(totals.mean().item())
    np.testing.assert_allclose(found.month_share.sel(at), np.quantile(totals, [0.1, 0.5, 0.9]))


def test_dry_spells(rain, found):
    dry = (rain < 1).to_series()
    length = dry.groupby((~dry).cumsum()).sum()
    length = length[length > 0]
    assert sorted(found.dry_spell.values) == sorted(length)
    np.testing.assert_allclose(
        found.spells_a_year.sel(spell_days=20), (length >= 20).sum() / (len(rain) / 365.25)
    )
    assert int(found.spell_days[-1]) == length.max() == found.longest_dry_spell.max()
    at = int(found.dry_spell.values.argmax())
    start = pd.Timestamp(found.spell_start.values[at])
    assert found.longest_dry_spell.sel(year=start.year - (start.month < 4)) == length.max()


def test_driest_years_and_runs(found):
    total = found.annual_total.to_series().dropna()
    ordered = total.sort_values()
    np.testing.assert_array_equal(found.driest_year, ordered.index)
    np.testing.assert_allclose(found.driest_total, ordered)
    assert found.driest_return_period[0] == len(total) + 1  # Weibull: (n + 1)/rank
    for span in (1, 2, 3, 5):
        runs = total.rolling(span).mean()
        assert found.driest_run_total.sel(span=span).item() == pytest.approx(runs.min())
        assert found.driest_run_start.sel(span=span) == runs.idxmin() - span + 1


def test_trend_that_was_put_in():
    rain = invent_rain("temperate_all_year", 60, seed=2).isel(site=0)
    year = rain.time.dt.year
    rising = describe_rain(rain * (1 + 0.01 * (year - 1994.5)))
    assert float(rising.trend) == pytest.approx(0.01 * float(rising.annual_mean), rel=0.4)
    assert float(rising.trend_chance) < 0.01
    assert float(rising.trend_low) < float(rising.trend) < float(rising.trend_high)


@pytest.mark.parametrize("name", CLIMATES)
def test_the_year_suggested_keeps_the_dry_season_whole(name):
    rain = invent_rain(name, 60, CLIMATES[name].seed).isel(site=0)
    found = describe_rain(rain)
    start, mean = int(found.suggested_start), found.month_mean.values
    three = [sum(mean[(m + k) % 12] for k in range(3)) for m in range(12)]
    assert start == (int(np.argmin(three)) + 3) % 12 + 1
    assert int(found.driest_month) == int(np.argmin(mean)) + 1
    # the year begins as the rains come back: its first quarter is wetter than its last
    split = describe_rain(rain, year_start_month=start).seasonal_total.mean("year")
    assert split[0] > split[3]


def test_gaps_cost_totals_but_move_no_other_number_far(rain):
    gappy = with_gaps(rain.expand_dims("site"), seed=2).isel(site=0)
    whole, holed = describe_rain(rain), describe_rain(gappy)
    kept = holed.annual_total.notnull()
    assert 5 < kept.sum() < 38 and (holed.known_share[kept] == 1).all()
    assert (holed.known_share[~kept] < 1).all()
    np.testing.assert_allclose(holed.annual_total[kept], whole.annual_total[kept])
    np.testing.assert_allclose(holed.wet_share, whole.wet_share, atol=0.02)
    np.testing.assert_allclose(holed.days_a_year, whole.days_a_year, rtol=0.1, atol=0.1)
    assert holed.spell_cut.sum() > 20


def test_members_are_described_one_by_one():
    rain = invent_rain("semi_arid", 12, seed=3).rename(site="member").drop_vars("member")
    together = describe_rain(rain)
    assert together.sizes["member"] == 3
    for k in range(3):
        alone = describe_rain(rain.isel(member=k))
        for name in ("annual_total", "spi", "return_level", "trend_chance"):
            np.testing.assert_array_equal(together[name].isel(member=k), alone[name])
        spells = together.dry_spell.isel(member=k).dropna("spell")
        np.testing.assert_array_equal(spells, alone.dry_spell)


def test_every_variable_carries_its_name_and_unit_and_survives_the_file(found, tmp_path):
    for name, variable in found.variables.items():
        assert variable.attrs["long_name"], name
        unit = QUANTITIES[name.removeprefix("month_") if name == "month_known_share" else name].unit
        assert variable.attrs.get("units", "") == unit, name
    found.to_netcdf(tmp_path / "description.nc")
    with xr.open_dataset(tmp_path / "description.nc") as back:
        xr.testing.assert_equal(back.load(), found)


def test_what_cannot_be_had_is_nan_and_said():
    found = describe_rain(pd.Series(1.0, pd.date_range("2001-01-01", "2002-12-31")))
    assert found.return_level.isnull().all() and np.isnan(found.trend) and found.spi.isnull().all()
    assert "return levels" in found.left_out and "trend" in found.left_out
    assert found.annual_total.values.tolist() == [365, 365] and found.sizes["spell"] == 0


@settings(max_examples=40, deadline=None)
@given(
    values=st.lists(st.sampled_from([0.0, 0.2, 3.0, 40.0, np.nan]), min_size=1, max_size=900),
    start=st.dates(min_value=date(1950, 1, 1), max_value=date(2020, 12, 31)),
    month=st.integers(1, 12),
)
def test_any_record_can_be_described(values, start, month):
    rain = pd.Series(values, pd.date_range(start, periods=len(values)))
    found = describe_rain(rain, year_start_month=month)
    assert ((found.known_share >= 0) & (found.known_share <= 1)).all()
    assert found.known_share.where(found.annual_total.notnull(), 1).min() == 1
    assert found.dry_spell.sum() == (np.array(values) < 1).sum()
    assert found.attrs["left_out"]


@pytest.mark.parametrize(
    "bad", [{"year_start_month": 13}, {"year_start_month": 1.5}, {"wet_day": 0}, {"wet_day": np.nan}]
)
def test_nonsense_is_refused(rain, bad):
    with pytest.raises(InputError, match="give a"):
        describe_rain(rain, **bad)


@pytest.fixture(scope="module")
def filled():
    three = with_gaps(invent_rain("monsoon", 12, seed=5), seed=5)
    return fill_gaps(three.isel(site=0), three.isel(site=slice(1, None)), 4, longest_gap=20)


@pytest.mark.parametrize("member", [0, 3])
def test_a_version_is_a_record_of_single_days(filled, member):
    one = one_version(filled, member)
    np.testing.assert_array_equal(one.values, filled.isel(member=member).values)
    unknown = np.isnan(one.values)
    assert unknown.any(), "gaps longer than 20 days stay"
    assert (one.total_days.values == ~unknown).all()
    assert (one.flag.values[unknown] == Flag.MISSING).all()
    assert (one.flag.values[~unknown] == filled.flag.values[~unknown]).all()


@pytest.mark.parametrize("start", [1, 6])
def test_totals_are_the_sums_of_the_days_of_each_year(filled, start):
    totals = version_totals(filled, start)
    days = filled.indexes["time"]
    year = days.year - (days.month < start)
    plain = filled.assign_coords(year=("time", year)).groupby("year").sum(skipna=False)
    length = filled.isel(member=0).notnull().assign_coords(year=("time", year)).groupby("year").count()
    whole = [y for y in totals.year.values if length.sel(year=y) >= 365]
    np.testing.assert_allclose(totals.sel(year=whole), plain.sel(year=whole).transpose("member", "year"))
    assert totals.drop_sel(year=whole).isnull().all() and totals.sel(year=whole).notnull().sum() > 20
