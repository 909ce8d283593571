"""The share of the rain below a limit: against integration, and against real hourly rain."""

import numpy as np
import pandas as pd
import pytest
import xarray as xr
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.special import gamma
from scipy.stats import weibull_min

from rainharvest import InputError
from rainharvest.catchment.collect import collect, collect_finer, compare_steps, daily_rain
from rainharvest.catchment.intensity import (
    CLIMATES,
    Intensity,
    estimate_intensity,
    share_below,
    weibull_shape,
    wet_day_intensity,
)
from rainharvest.catchment.tables import Roof

LIMITS = [2, 5, 10, 15, 20, 30]


@pytest.mark.parametrize("variation", [0.3, 0.7, 1.0, 1.4, 2.4, 4.0])
def test_weibull_shape_gives_the_variation_back(variation):
    k = weibull_shape(variation)
    assert weibull_min.std(k) / weibull_min.mean(k) == pytest.approx(variation, rel=1e-9)


@pytest.mark.parametrize("variation", [0.4, 1.0, 1.5, 2.4])
@pytest.mark.parametrize("limit", [0.1, 1.0, 4.0, 20.0])
def test_closed_form_against_integration(variation, limit):
    mean = 1.6
    k = weibull_shape(variation)
    scale = mean / gamma(1 + 1 / k)
    # E[min(I, c)] is the integral of the chance of exceedance up to c.
    passed, _ = quad(weibull_min(k, scale=scale).sf, 0, limit, epsabs=1e-12, limit=400)
    assert float(share_below(limit, mean, variation)) == pytest.approx(passed / mean, rel=1e-7)


@given(st.floats(0.3, 4), st.floats(0.05, 50), st.floats(1, 5))
def test_share_lies_between_zero_and_one_and_grows_with_the_limit(variation, limit, factor):
    low, high = share_below(limit, 1.7, variation), share_below(limit * factor, 1.7, variation)
    assert 0 <= low <= high * (1 + 1e-12) and high <= 1
    assert share_below(0.0, 1.7, variation) == 0 and share_below(np.inf, 1.7, variation) == 1


def test_growth_keeps_the_mean_over_wet_hours():
    rain = np.array([1.0, 7.0, 30.0, 0.2])
    mean = wet_day_intensity(rain, Intensity(mean_intensity=1.7, variation=1, depth_growth=0.65))
    assert rain.sum() / (rain / mean).sum() == pytest.approx(1.7)
    assert mean[2] / mean[0] == pytest.approx(30**0.65)


def shortcut_error(rain, intensity, heaviest=10):
    """Return the error of the share passed by each limit: over the record, and over its heaviest days."""
    days = rain.groupby(rain.index.floor("D")).sum()
    wet = days[days > 0]
    mean = pd.Series(wet_day_intensity(wet.to_numpy(), intensity), wet.index)
    out = {}
    for label, part in (("all", wet), ("heaviest", wet.nlargest(heaviest))):
        rate = rain[rain.index.floor("D").isin(part.index)]
        share = share_below(np.array(LIMITS)[:, None], mean[part.index].to_numpy(), intensity.variation)
        truth = [np.minimum(rate, limit).sum() / rate.sum() for limit in LIMITS]
        out[label] = share @ part / part.sum() - truth
    return pd.DataFrame(out, LIMITS)


@pytest.mark.parametrize("name", ["EWR", "JFK", "LGA"])
def test_shortcut_against_real_hourly_rain(airports, name):
    """The error of the closed form at each limit, for the year and for the ten heaviest days."""
    rain = airports[name]
    wet = rain[rain > 0]
    own = shortcut_error(rain, estimate_intensity(rain)).abs().max()
    assert own["all"] < 0.02 and own["heaviest"] < 0.035
    flat = shortcut_error(rain, Intensity(mean_intensity=wet.mean(), variation=wet.std() / wet.mean()))
    assert flat["all"].abs().max() < 0.035
    # Heavy days are more intense: without growth their loss is badly under-estimated.
    assert flat["heaviest"].max() > 0.12
    assert shortcut_error(rain, CLIMATES["humid mid-latitude"])["all"].abs().max() < 0.07


def test_parameters_of_one_airport_serve_the_others(airports):
    """Out of sample: what EWR and LGA tell the closed form holds at JFK, but for its lower mean."""
    for source in ("EWR", "LGA"):
        error = shortcut_error(airports["JFK"], estimate_intensity(airports[source]))
        assert error.abs().max().max() < 0.1


def test_estimate_recovers_what_made_the_rain():
    """Hours drawn from Weibull with a mean that grows with a hidden size of the day."""
    rng = np.random.default_rng(3)
    days = 3000
    size = rng.lognormal(0, 0.8, days) * (rng.random(days) < 0.4)
    count = np.minimum(np.ceil(4 * size**0.4), 24)  # so that depth goes as size and intensity as size^0.6
    wet = np.arange(24) < count[:, None]
    k = weibull_shape(0.9)
    hours = wet * size[:, None] ** 0.6 * rng.weibull(k, (days, 24)) * 2 / gamma(1 + 1 / k)
    rain = pd.Series(hours.ravel(), index=pd.date_range("2001-01-01", periods=days * 24, freq="h"))
    found = estimate_intensity(rain)
    assert found.mean_intensity == pytest.approx(rain[rain > 0].mean())
    # A day is deep partly because its hours happened to be hard: a little more growth, less variation.
    assert 0.6 <= found.depth_growth <= 0.8 and 0.65 < found.variation < 0.9
    error = shortcut_error(rain, found).loc[[2, 5, 10]].abs().max()
    assert error["all"] < 0.02 and error["heaviest"] < 0.07


def test_finer_step_by_hand():
    # Gutter 0.5 L/s = 1,800 L/h. 100 m2: hour 3 brings 2,500 L and loses 700; film 0.2 mm = 20 L.
    hours = pd.date_range("2001-01-01", periods=48, freq="h")
    rain = pd.Series(0.0, index=hours)
    rain.iloc[3], rain.iloc[4], rain.iloc[30] = 25.0, 1.0, 10.0
    water = collect_finer(
        rain,
        Roof(area=100, runoff_coefficient=1, wetting=0.2, gutter_capacity=0.5),
        first_flush=0,
        filter_efficiency=1,
        drying=0.12,
    )
    # Hour 3: 20 L wet the roof, 2,480 run, 680 overflow. Then 25 dry hours at 0.5 L dry 12.5 L by hour 30.
    np.testing.assert_allclose(water.inflow, [1900, 1000 - 12.5])
    np.testing.assert_allclose(water.lost.sel(loss="gutter capacity"), [680, 0])
    assert list(water.time.dt.day.values) == [1, 2] and water.inflow.attrs["units"] == "L/day"
    balance = (
        water.rain_on_roof.sum() - water.inflow.sum() - water.lost.sum() - water.held.isel(time=-1).sum()
    )
    assert abs(float(balance)) < 1e-9


def test_daily_shortcut_against_the_chain_at_the_hour(airports):
    roof = Roof(area=200, gutter_capacity=0.6)
    table = compare_steps(airports["LGA"], roof)
    assert abs(table.loc["inflow", "all days, error [share of rain]"]) < 0.03
    assert abs(table.loc["gutter capacity", "all days, error [share of rain]"]) < 0.02
    # Both roads account for all the rain.
    for column in table.filter(like="[L]").columns[:2]:
        assert table[column].iloc[1:].sum() == pytest.approx(table[column].iloc[0], rel=1e-3)


def test_with_no_limit_hour_and_day_differ_by_the_film_only(airports):
    roof = Roof(area=100, wetting=0)
    rain = airports["EWR"]
    fine = collect_finer(rain, roof, first_flush=0)
    np.testing.assert_allclose(fine.inflow, collect(daily_rain(rain), roof, first_flush=0).inflow, atol=1e-9)


@pytest.mark.parametrize(
    "rain, words",
    [
        (pd.Series(1.0, index=pd.date_range("2001-01-01", periods=100)), "hourly"),
        (pd.Series(0.0, index=pd.date_range("2001-01-01", periods=2400, freq="h")), "wet days"),
    ],
)
def test_estimate_refuses_what_it_cannot_use(rain, words):
    with pytest.raises(InputError, match=words):
        estimate_intensity(rain)


def test_finer_rain_in_other_units_is_refused():
    time = pd.date_range("2001-01-01", periods=48, freq="h")
    rain = xr.DataArray(np.ones(48), dims="time", coords={"time": time}, attrs={"units": "mm/day"})
    with pytest.raises(InputError, match="mm/h"):
        collect_finer(rain, Roof(area=1))
    with pytest.raises(InputError, match="divide a day"):
        collect_finer(pd.Series(1.0, index=pd.date_range("2001-01-01", periods=9, freq="7h")), Roof(area=1))
