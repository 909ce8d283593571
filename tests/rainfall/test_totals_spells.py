"""Totals with their completeness, and dry spells."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
import xarray as xr
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from rainharvest.rainfall.climatology import daily_amounts, dry_spells, period_totals
from rainharvest.rainfall.flags import Flag, runs
from rainharvest.rainfall.invented import invent_rain, with_gaps


def record(values, start="2001-01-01", readings=()):
    """Return a record in which each reading (last day, days) stands on its last day."""
    values = np.array(values, float)
    flag = np.where(np.isnan(values), Flag.MISSING, Flag.MEASURED).astype("int8")
    total = np.where(np.isnan(values), 0, 1).astype("int16")
    for last, days in readings:
        flag[max(last - days + 1, 0) : last] = Flag.IN_TOTAL
        values[max(last - days + 1, 0) : last] = np.nan
        flag[last], total[last] = Flag.TOTAL, days
        total[max(last - days + 1, 0) : last] = 0
    time = pd.date_range(start, periods=len(values))
    return xr.DataArray(
        values,
        {"time": time, "flag": ("time", flag), "total_days": ("time", total)},
        "time",
        attrs={"units": "mm/day"},
    )


def test_one_missing_day_costs_its_month_and_its_year_and_no_other():
    values = np.ones(731)
    values[40] = np.nan
    months, years = (period_totals(record(values), n) for n in (1, 12))
    assert np.isnan(months.total[1]) and months.known_share[1] == pytest.approx(27 / 28)
    assert months.total.notnull().sum() == 23 and float(months.total[0]) == 31
    assert (
        np.isnan(years.total[0])
        and float(years.total[1]) == 365
        and years.known_share[0] == pytest.approx(364 / 365)
    )


def test_a_year_that_the_record_begins_or_ends_within_has_no_total():
    years = period_totals(record(np.ones(800), "2001-02-01"), 12, year_start_month=4)
    assert [str(t)[:10] for t in years.time.values] == [
        "2000-04-01",
        "2001-04-01",
        "2002-04-01",
        "2003-04-01",
    ]
    np.testing.assert_array_equal(years.total, [np.nan, 365, 365, np.nan])
    np.testing.assert_allclose(years.known_share, [59 / 365, 1, 1, 11 / 366])


def test_a_leap_year_has_its_own_length():
    years = period_totals(record(np.ones(366 + 365), "2004-01-01"))
    np.testing.assert_array_equal(years.total, [366, 365])


def test_a_reading_over_several_days_counts_where_it_lies_in_one_month():
    inside = period_totals(record(np.ones(59), readings=[(20, 4)]), 1)
    np.testing.assert_array_equal(inside.total, [28, 28])
    assert (inside.known_share == 1).all()
    across = period_totals(record(np.ones(59), readings=[(32, 4)]), 1)
    assert across.total.isnull().all()
    np.testing.assert_allclose(across.known_share, [29 / 31, 26 / 28])
    # the same reading lies in one quarter... and a reading older than the record in none
    assert period_totals(record(np.ones(90), readings=[(32, 4)]), 3).total.item() == 87
    assert period_totals(record(np.ones(31), readings=[(1, 4)]), 1).total.isnull().all()


@settings(max_examples=30, deadline=None)
@given(seed=st.integers(0, 9999), start=st.integers(1, 12))
def test_months_seasons_and_years_add_up(seed, start):
    rain = invent_rain("winter_rain", 4, seed).isel(site=0)
    year, season, month = (period_totals(rain, n, start).total.to_series() for n in (12, 3, 1))
    whole = year.dropna()
    assert len(whole) in (3, 4)
    for first, total in whole.items():
        last = first + pd.DateOffset(years=1) - pd.Timedelta(days=1)
        assert season[first:last].sum() == pytest.approx(total)
        assert month[first:last].sum() == pytest.approx(total)
        assert rain.sel(time=slice(first, last)).sum().item() == pytest.approx(total)


def test_gaps_never_lower_a_total():
    """A total is the truth or absent, whatever is lost."""
    whole = invent_rain("temperate_all_year", 20, 3)
    gappy = with_gaps(whole, 3)
    for site in range(3):
        truth = period_totals(whole.isel(site=site), 1).total
        seen = period_totals(gappy.isel(site=site), 1).total
        known = seen.notnull()
        assert 0.7 < known.mean() < 1
        np.testing.assert_allclose(seen[known], truth[known])


def test_a_dry_reading_over_several_days_is_dry_days():
    np.testing.assert_array_equal(daily_amounts(record([1, 0, 0, 0, 2], readings=[(3, 3)])), [1, 0, 0, 0, 2])
    found = daily_amounts(record([1, 0, 0, 6, 2], readings=[(3, 3)]))
    np.testing.assert_array_equal(found, [1, np.nan, np.nan, np.nan, 2])


def test_spells_by_hand():
    found = dry_spells(record([0, 0.9, 1.0, 0, np.nan, 0, 0, 0, 3, 0, 2]))
    np.testing.assert_array_equal(found.dry_spell, [2, 1, 3, 1])
    np.testing.assert_array_equal(found.spell_cut, [True, True, True, False])
    assert list(found.spell_start.dt.day.values) == [1, 4, 6, 10]
    assert dry_spells(record([5, 5])).sizes["spell"] == 0
    assert dry_spells(record([0.3, 0.1]), wet_day=0.2).dry_spell.values == [1]


@settings(max_examples=60, deadline=None)
@given(values=arrays(float, st.integers(1, 200), elements=st.sampled_from([0.0, 0.4, 1.0, 7.0, np.nan])))
def test_spells_cover_the_dry_days_once(values):
    found = dry_spells(record(values))
    assert found.dry_spell.sum() == (values < 1).sum()
    covered = np.zeros(len(values), bool)
    first = (found.spell_start.values - np.datetime64("2001-01-01")).astype("timedelta64[D]").astype(int)
    for start, days, cut in zip(first, found.dry_spell.values, found.spell_cut.values, strict=True):
        assert (values[start : start + days] < 1).all()
        ends = [values[k] if 0 <= k < len(values) else np.nan for k in (start - 1, start + days)]
        assert cut == np.isnan(ends).any() and not any(end < 1 for end in ends)
        covered[start : start + days] = True
    np.testing.assert_array_equal(covered, values < 1)


def test_runs_of_nothing():
    first, last = runs(np.zeros(5, bool))
    assert len(first) == len(last) == 0
