"""The versions of a filled record."""

import numpy as np
import pytest

from rainharvest.rainfall.describe import one_version, version_totals
from rainharvest.rainfall.fill import fill_gaps
from rainharvest.rainfall.flags import Flag
from rainharvest.rainfall.invented import invent_rain, with_gaps


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
