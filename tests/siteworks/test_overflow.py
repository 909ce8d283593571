"""The overflow of a full tank, the soakaway by BRE Digest 365, the storms of the record."""

import numpy as np
import pandas as pd
import pytest
import xarray as xr
from hypothesis import given
from hypothesis import strategies as st

from rainharvest import InputError, simulate
from rainharvest.siteworks.overflow import (
    biggest_storms,
    entry_capacity,
    infiltration_rate,
    outflow_area,
    overflow_pipe,
    size_soakaway,
    storage_required,
    storm_depths,
)
from rainharvest.siteworks.tables import TrialPit


@given(st.floats(40, 320), st.floats(0.005, 0.2))
def test_the_entry_passes_the_most_that_its_energy_allows(bore, share):
    # critical flow is the largest that a given energy drives: another way to the same number
    rise, wide = share * bore / 1000, bore / 1000
    depth = np.linspace(0, rise, 20_001)[1:-1]
    angle = 2 * np.arccos(np.clip(1 - 2 * np.minimum(depth, wide) / wide, -1, 1))
    area = wide**2 / 8 * (angle - np.sin(angle))
    most = 1000 * (area * np.sqrt(2 * 9.80665 * (rise - depth))).max()
    assert entry_capacity(bore, rise) == pytest.approx(most, rel=2e-3)


def test_a_drowned_entry_is_a_hole():
    area = np.pi * 0.1**2 / 4
    assert entry_capacity(100, 1.0) == pytest.approx(1000 * 0.6 * area * np.sqrt(2 * 9.80665 * 0.95))
    assert entry_capacity(100, 0) == 0


@given(st.floats(0.1, 20), st.floats(0.08, 0.5), st.sampled_from([0.0, 50.0, 80.0]))
def test_the_overflow_passes_the_peak_and_is_no_smaller_than_the_inlet(peak, rise, inlet):
    pipe = overflow_pipe(peak, rise, inlet_bore=inlet)
    assert pipe.passes >= peak and pipe.overflow_bore >= inlet
    assert pipe.overflow_bore <= 1000 * rise + 1e-6
    assert pipe.passes <= pipe.pipes * entry_capacity(pipe.overflow_bore, rise) * (1 + 1e-9)


def test_overflows_that_cannot_be_get_plain_answers():
    with pytest.raises(InputError, match="no room above it"):
        overflow_pipe(1.0, 0.0)
    with pytest.raises(InputError, match="an overflow of 100 mm does not fit into the 0.05 m"):
        overflow_pipe(1.0, 0.05, inlet_bore=100)
    with pytest.raises(InputError, match="no 12 pipes pass"):
        overflow_pipe(500.0, 0.1)


def test_a_published_calculation_to_bre_digest_365():
    # public calculation sheet of 14 May 2008 (rows T6 and T6a): a pit of 1 x 0.75 x 1 m, a soakaway of 2 x 1.5 x 1.5 m
    pit = TrialPit(pit_length=1.0, pit_width=0.75, pit_depth=1.0, minutes=(56, 55, 56))
    assert infiltration_rate(pit) == pytest.approx(44.6e-6, abs=0.05e-6) and pit.complete
    assert not TrialPit(pit_length=1, pit_width=1, pit_depth=1, minutes=(50, 60)).complete
    walls = outflow_area(2.0, 1.5, 1.5)
    assert walls == pytest.approx(5.25)
    assert walls * 44.6e-6 == pytest.approx(234.1e-6, abs=0.051e-6)  # the sheet cuts 234.15 to 234.1


STORMS = st.lists(st.tuples(st.floats(5, 1440), st.floats(0, 150)), min_size=1, max_size=8)


@given(
    st.floats(10, 2000),
    st.floats(1e-6, 1e-3),
    STORMS,
    st.floats(0.5, 4),
    st.floats(0.5, 3),
    st.floats(0.2, 1),
)
def test_a_soakaway_holds_every_storm_is_half_empty_in_time_and_no_longer_than_that(
    drained, rate, storms, width, depth, voids
):
    minutes, depths = zip(*storms, strict=True)
    done = size_soakaway(
        drained, rate, minutes, depths, soakaway_width=width, soakaway_depth=depth, voids=voids
    )
    length = float(done.soakaway_length)
    assert (done.storage_required <= done.soakaway_holds * (1 + 1e-9) + 1e-6).all()
    assert float(done.half_empty) <= 24 * (1 + 1e-9)
    if length > 0:  # a hundredth less would fail
        outflow = outflow_area(0.99 * length, width, depth) * rate
        needed = storage_required(drained, minutes, depths, outflow)
        full = float(needed.max()) > 0.99 * float(done.soakaway_holds)
        slow = float(needed.max()) / 2000 / outflow / 3600 > 24 * (1 - 1e-9)
        assert full or slow


def test_soakaways_that_cannot_be_get_plain_answers():
    with pytest.raises(InputError, match="unsuitable for a soakaway"):
        size_soakaway(100, 1e-7, [60], [20])
    with pytest.raises(InputError, match="durations above zero"):
        size_soakaway(100, 1e-5, [0], [20])
    with pytest.raises(InputError, match="drains in no time"):
        infiltration_rate(TrialPit(pit_length=1, pit_width=1, pit_depth=1, minutes=(0,)))


def test_storms_from_a_heavy_day_and_a_design_intensity():
    depth = storm_depths(90, 60)
    # 67.8 / 288 x (24.3 / 0.3833)^0.85 = 8.01 mm, more than 90 mm/h over five minutes
    assert float(depth.sel(storm_minutes=5)) == pytest.approx(8.01, abs=0.01)
    assert float(depth.sel(storm_minutes=1440)) == pytest.approx(67.8)
    assert (np.diff(depth) > 0).all()
    rate = depth / depth.storm_minutes
    assert (np.diff(rate) < 0).all()  # the longer, the softer
    # a heavy day with less rain than the burst: no storm brings less than the burst
    flat = storm_depths(200, 5)
    assert flat.values == pytest.approx(np.full(10, 200 * 5 / 60))


PUBLISHED = {
    # NOAA Atlas 14, Volume 9 Version 2, 26.6 N 81.9 W (Fort Myers, Florida), ten years, inches
    "summer storms": [0.822, 1.20, 1.47, 2.37, 3.13, 3.90, 5.18, 6.36, 7.28],
    # NOAA Atlas 14, Volume 11 Version 2, 32.87 N 96.97 W (Irving, Texas), ten years, inches
    "inland": [0.693, 1.11, 1.38, 1.91, 2.50, 3.14, 4.27, 5.05, 5.89],
}
PUBLISHED_MINUTES = [5, 10, 15, 30, 60, 120, 360, 720, 1440]


@pytest.mark.parametrize("place", PUBLISHED)
def test_storms_err_large_against_published_ten_year_tables_and_so_does_the_soakaway(place):
    table = 25.4 * np.array(PUBLISHED[place])
    drawn = storm_depths(75, table[-1] / 1.13, PUBLISHED_MINUTES).values
    ratio = drawn / table
    assert ratio[-1] == pytest.approx(1) and (ratio >= 1 - 1e-3).all() and ratio.max() < 1.3
    of_table, of_law = (
        float(size_soakaway(100, 2e-5, PUBLISHED_MINUTES, depths).soakaway_length)
        for depths in (table, drawn)
    )
    assert 1.1 < of_law / of_table < 1.2  # "by about a sixth of the length"


def test_how_full_the_tank_was_before_each_of_the_biggest_storms():
    time = pd.date_range("2001-01-01", periods=12)
    inflow = xr.DataArray([50.0, 0, 0, 90, 0, 0, 80, 70, 0, 0, 0, 20], {"time": time}, "time")
    done = simulate(inflow, xr.full_like(inflow, 5.0), 100.0, trace=True).isel(capacity=0, drop=True)
    found = biggest_storms(done.assign(inflow=inflow), 100.0, storms=3, separation=3)
    assert [str(day)[:10] for day in found.storm_day.values] == ["2001-01-04", "2001-01-07", "2001-01-12"]
    before = done.stored.values[[2, 5, 10]] / 100
    assert found.full_before.values == pytest.approx(before)
    assert found.storm_kept.values == pytest.approx(1 - done.spilled_daily.values[[3, 6, 11]] / [90, 80, 20])
    empty = biggest_storms(done.assign(inflow=0 * inflow), 100.0)
    assert empty.sizes["storm"] == 0
