"""The pool by hand, and that rain and top-up together make good what the air takes."""

import numpy as np
import pandas as pd
import pytest
import xarray as xr
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import ValidationError

from rainharvest import InputError
from rainharvest.demand.garden import pool_demand
from rainharvest.demand.tables import Calendar, Pool, Use
from rainharvest.demand.uses import daily_demand, essential_demand, join_uses

DAYS = pd.date_range("2023-01-01", periods=6)


def test_a_dry_spell_and_a_storm_by_hand():
    # 10 mm a day x 1.05; 20 mm may be missing. Drop 10.5, 21 (top up 1), 30.5 (10.5), rain 15: 15.5 (none),
    # rain 100: full, and the rest runs over; then 10.5.
    rain = pd.Series([0, 0, 0, 15.0, 100.0, 0], DAYS)
    asked = pool_demand(Pool(pool_area=30, pool_drop=20), rain, pd.Series(10.0, DAYS))
    np.testing.assert_allclose(asked.values[0] / 30, [0, 1, 10.5, 0, 0, 0], atol=1e-12)
    assert asked.attrs["units"] == "L/day" and asked.quality.item() == "outdoor"


@settings(max_examples=50, deadline=None)
@given(st.integers(0, 10_000), st.floats(1, 200), st.floats(0, 12))
def test_against_a_plain_loop(seed, drop, thirst):
    rng, days = np.random.default_rng(seed), pd.date_range("2020-01-01", periods=200)
    rain = rng.exponential(12, 200) * (rng.random(200) < 0.2)
    asked = pool_demand(Pool(pool_area=1, pool_drop=drop), pd.Series(rain, days), pd.Series(thirst, days))
    level, expected = 0.0, []
    for fell in rain:
        level = max(level + 1.05 * thirst - fell, 0.0)
        expected.append(max(level - drop, 0.0))
        level = min(level, drop)
    np.testing.assert_allclose(asked.values[0], expected, atol=1e-9)


def test_it_joins_the_other_uses_and_members():
    days = pd.date_range("2023-01-01", periods=90)
    rain = xr.DataArray(
        np.random.default_rng(2).exponential(3, (2, 90)), {"member": [0, 1], "time": days}, ("member", "time")
    )
    pool = pool_demand(Pool(pool_area=30, essential=True), rain, pd.Series(6.0, days))
    cows = daily_demand([Use(name="cows", kind="cattle", units=3)], Calendar(), days)
    both = join_uses(cows, pool)
    assert both.dims == ("member", "use", "time")
    np.testing.assert_allclose(both.sum("use"), 120 + pool.isel(use=0))
    np.testing.assert_allclose(essential_demand(both).transpose("member", "time"), 120 + pool.isel(use=0))
    with pytest.raises(InputError, match='called "pool" already'):
        join_uses(both, pool)
    with pytest.raises(InputError, match="same days"):
        join_uses(cows.isel(time=slice(5)), pool)


@pytest.mark.parametrize(
    ("given", "key"),
    [({"pool_area": 0}, "pool_area"), ({"pool_drop": -1}, "pool_drop"), ({"depth": 2}, "depth")],
)
def test_a_bad_pool_names_its_key(given, key):
    with pytest.raises(ValidationError, match=key):
        Pool(**({"pool_area": 10} | given))


def test_series_that_do_not_fit_are_refused():
    with pytest.raises(InputError, match="same days"):
        pool_demand(Pool(pool_area=1), pd.Series(0.0, DAYS), pd.Series(1.0, DAYS[:3]))
    with pytest.raises(InputError, match="rain: 6 days"):
        pool_demand(Pool(pool_area=1), pd.Series(np.nan, DAYS), pd.Series(1.0, DAYS))
