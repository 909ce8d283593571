"""Reference evapotranspiration against the examples of FAO-56 (Allen et al. 1998), through our path.

The figures are as quoted in public source files and reproduced by an independent calculation; the
originals were not read here.
"""

import numpy as np
import pandas as pd
import pytest
import xarray as xr
from hypothesis import given, settings
from hypothesis import strategies as st

from rainharvest import InputError
from rainharvest.demand.evapotranspiration import (
    from_monthly_table,
    hargreaves,
    monthly_table,
    penman_monteith,
    radiation_above_air,
    solar_from_temperatures,
)


def on(day, value):
    return pd.Series([value], pd.DatetimeIndex([day]))


def test_radiation_above_the_air():
    got = radiation_above_air(pd.DatetimeIndex(["2015-09-03"]), -20.0)  # example 8
    assert float(got[0]) == pytest.approx(32.2, abs=0.05) and got.attrs["units"] == "MJ/m2/day"
    # annex 2, table 2.6 at the equator, from memory, not verified; mid-month days agree to 0.2
    table = [36.2, 37.5, 37.9, 36.8, 34.8, 33.4, 33.9, 35.7, 37.2, 37.4, 36.3, 35.6]
    days = pd.DatetimeIndex([f"2015-{m:02d}-15" for m in range(1, 13)])
    np.testing.assert_allclose(radiation_above_air(days, 0.0), table, atol=0.25)


def test_example_17_bangkok():
    # April, monthly means; soil heat from March 29.2 to April 30.2 degC
    known = dict(latitude=13 + 44 / 60, elevation=2, wind=2.0, vapour_pressure=2.85, sunshine=8.5)
    got = penman_monteith(on("2015-04-15", 34.8), on("2015-04-15", 25.6), **known, soil_heat=0.14)
    assert float(got[0]) == pytest.approx(5.72, abs=0.02)


@pytest.mark.parametrize(("wind", "change"), [(2.0, 0.0), (1.0, -0.07), (3.0, 0.06)])
def test_example_20_lyon_where_only_temperatures_are_known(wind, change):
    high, low, latitude = on("2015-07-15", 26.6), on("2015-07-15", 14.8), 45 + 43 / 60
    sun = solar_from_temperatures(high, low, latitude, 0.16)
    assert float(sun[0]) == pytest.approx(22.29, abs=0.1)
    got = penman_monteith(high, low, latitude, 200, wind, solar=sun, dew_point=low)
    assert float(got[0]) == pytest.approx(4.56 * (1 + change), abs=0.03)


def weather(seed=3, days=400):
    rng, time = np.random.default_rng(seed), pd.date_range("2023-01-01", periods=days)
    low = pd.Series(rng.uniform(-5, 20, days), time)
    return low + rng.uniform(1, 15, days), low


def fao_hargreaves(high, low, latitude):
    """Equations 21 to 25 and 52 of FAO-56 once more, by hand."""
    j = high.index.dayofyear.to_numpy()
    tilt, far = 0.409 * np.sin(2 * np.pi * j / 365 - 1.39), 1 + 0.033 * np.cos(2 * np.pi * j / 365)
    phi = np.radians(latitude)
    sunset = np.arccos(np.clip(-np.tan(phi) * np.tan(tilt), -1, 1))
    turned = sunset * np.sin(phi) * np.sin(tilt) + np.cos(phi) * np.cos(tilt) * np.sin(sunset)
    above = 24 * 60 / np.pi * 0.082 * far * turned
    mean = (high + low) / 2
    return 0.0023 * (mean + 17.8) * np.sqrt(high - low) * above / (2.501 - 0.002361 * mean)


def test_hargreaves_against_the_equations_written_again_and_over_a_grid():
    high, low = weather()
    for latitude in (-35.0, 5.0, 52.0):
        by_hand = np.maximum(fao_hargreaves(high, low, latitude), 0)
        np.testing.assert_allclose(hargreaves(high, low, latitude), by_hand, rtol=2e-3)
    site = xr.DataArray([-35.0, 52.0], {"site": ["south", "north"]}, ("site",))
    high_of, low_of = (xr.DataArray(s).rename(dim_0="time").expand_dims(site=site.site) for s in (high, low))
    both = hargreaves(high_of, low_of, site)
    assert set(both.dims) == {"site", "time"}
    np.testing.assert_array_equal(both.sel(site="north"), hargreaves(high, low, 52.0))


@settings(max_examples=15, deadline=None)
@given(st.floats(-60, 60), st.integers(0, 10_000))
def test_never_below_zero_and_more_sun_and_dry_air_never_less(latitude, seed):
    high, low = weather(seed, 30)
    plain = dict(tmax=high, tmin=low, latitude=latitude, elevation=300, wind=2.0)
    dull = penman_monteith(**plain, solar=5.0, rhmax=95, rhmin=70)
    bright = penman_monteith(**plain, solar=15.0, rhmax=95, rhmin=70)
    dry = penman_monteith(**plain, solar=5.0, rhmax=60, rhmin=20)
    assert (dull >= 0).all()
    assert (dry >= dull - 1e-9).all()
    assert float(bright.sum()) >= float(dull.sum())


@pytest.mark.parametrize("latitude", [-75.0, 0.0, 90.0])
def test_polar_nights_and_midnight_suns_have_an_answer(latitude):
    time = pd.date_range("2023-01-01", "2023-12-31")
    high, low = pd.Series(5.0, time), pd.Series(-5.0, time)
    dark = penman_monteith(high, low, latitude, 10, 2.0, sunshine=0.0, dew_point=low)
    assert np.isfinite(dark).all() and np.isfinite(hargreaves(high, low, latitude)).all()
    # No sunshine is a quarter of what comes from above the air.
    same = penman_monteith(
        high, low, latitude, 10, 2.0, solar=0.25 * radiation_above_air(time, latitude), dew_point=low
    )
    np.testing.assert_allclose(dark, same, atol=1e-9)


def test_a_monthly_table_there_and_back_over_leap_years():
    table = [6.1, 5.5, 4.2, 3.0, 1.8, 1.2, 1.3, 2.0, 3.1, 4.4, 5.2, 6.0]
    days = from_monthly_table(table, pd.date_range("1899-01-01", "2001-12-31"))
    assert monthly_table(days) == pytest.approx(table)
    assert float(days.sel(time="2000-02-29")) == 5.5


good = dict(latitude=45.0, elevation=100, wind=2.0, rhmax=80, rhmin=50, sunshine=8.0)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"sunshine": None}, "solar: the radiation is needed once"),
        ({"solar": 20.0}, "solar: the radiation is needed once"),
        ({"rhmin": None}, "humidity is needed once"),
        ({"vapour_pressure": 1.2}, "humidity is needed once"),
        ({"wind_height": 0.1}, "wind_height"),
        ({"wind": -1.0}, "wind is not between"),
        ({"elevation": 20_000}, "elevation is not between"),
        ({"latitude": 95.0}, "latitude is not between"),
        ({"sunshine": float("nan")}, "sunshine has no value"),
        ({"sunshine": 20.0}, "longer than the day on 1 days, the first 2020-06-01"),
        ({"rhmax": 0.8 * 200}, "rhmax is not between 0 and 100"),
    ],
)
def test_weather_that_does_not_fit_is_refused(change, words):
    day = "2020-06-01"
    with pytest.raises(InputError, match=words):
        penman_monteith(on(day, 25.0), on(day, 12.0), **(good | change))


def test_temperatures_that_do_not_fit_are_refused():
    high, low = weather(days=20)
    with pytest.raises(InputError, match="tmin is above tmax on 20 days, the first 2023-01-01"):
        hargreaves(low, high, 10.0)
    holed = high.copy()
    holed.iloc[4] = np.nan
    with pytest.raises(InputError, match="tmax has no value on 1 days, the first 2023-01-05"):
        hargreaves(holed, low, 10.0)
    with pytest.raises(InputError, match="do not cover the same days"):
        hargreaves(high, low.iloc[:-1], 10.0)
    with pytest.raises(InputError, match="check its unit"):
        hargreaves(high + 273.15, low, 10.0)
    with pytest.raises(InputError, match="no days"):
        hargreaves(25.0, 12.0, 10.0)
    with pytest.raises(InputError, match="0.16 inland"):
        solar_from_temperatures(high, low, 10.0, 1.6)
    with pytest.raises(InputError, match="latitude"):
        radiation_above_air(high, 100.0)


@pytest.mark.parametrize("table", [[3.0] * 11, [3.0] * 11 + [-1.0], [90.0] * 12, [float("nan")] * 12])
def test_monthly_tables_that_do_not_fit_are_refused(table):
    with pytest.raises(InputError, match="monthly"):
        from_monthly_table(table, pd.date_range("2020-01-01", periods=3))


def test_a_monthly_table_needs_every_month():
    with pytest.raises(InputError, match="month 4 has no day"):
        monthly_table(from_monthly_table([1.0] * 12, pd.date_range("2020-01-01", "2020-03-31")))
