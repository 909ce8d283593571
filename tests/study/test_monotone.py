"""More roof, more rain, more tank never give less water, from the rain to the tap."""

import numpy as np
import pandas as pd
from hypothesis import given, settings
from hypothesis import strategies as st

from rainharvest import simulate
from rainharvest.catchment.collect import collect
from rainharvest.catchment.tables import Roof

factor = st.floats(1.0, 4.0)


@given(st.integers(0, 10_000), st.floats(5, 500), st.floats(0, 3), factor, factor, factor)
@settings(max_examples=60, deadline=None)
def test_yield_grows_with_roof_rain_and_tank(seed, area, first_flush, more_roof, more_rain, more_tank):
    rng = np.random.default_rng(seed)
    days = pd.date_range("2001-01-01", periods=300)
    rain = pd.Series(rng.exponential(8, 300) * (rng.random(300) < 0.3), days)

    def delivered(roof=1.0, depth=1.0, tank=1.0):
        water = collect(rain * depth, Roof(area=area * roof), first_flush=first_flush)
        return float(simulate(water.inflow, 2.0 * area**0.5, 800.0 * tank).delivered[0])

    base = delivered() * (1 - 1e-12)
    assert delivered(roof=more_roof) >= base
    assert delivered(depth=more_rain) >= base
    assert delivered(tank=more_tank) >= base
