"""The invented rain: the same bytes from the same seed, and the statistics that a study leans on."""

from __future__ import annotations

import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import xarray as xr
from hypothesis import given, settings
from hypothesis import strategies as st
from rain import CLIMATES, Gauge, invent_hours, invent_rain, with_gaps, write_hours

from rainharvest.core.errors import InputError
from rainharvest.rainfall.flags import Flag

DATA = Path(__file__).parents[2] / "data"
RECORDS = DATA / "records"


@pytest.fixture(scope="module")
def demo():
    """Return the demo record of each climate before its gaps."""
    return {name: invent_rain(name, 60, climate.seed) for name, climate in CLIMATES.items()}


@pytest.fixture(scope="module")
def long_run():
    """Return 1,000 years of each climate, in which its own statistics show."""
    return {name: invent_rain(name, 1000, seed=1, first_year=1001) for name in CLIMATES}


def annual(rain):
    return rain.groupby("time.year").sum().transpose("site", "year").values


def longest_run(condition):
    edges = np.flatnonzero(np.diff(np.concatenate(([0], condition, [0]))))
    return int((edges[1::2] - edges[::2]).max(initial=0))


def test_the_command_remakes_the_demo_files_byte_for_byte_and_refuses_nonsense(tmp_path):
    command = [sys.executable, DATA / "make" / "rain.py"]
    run = subprocess.run([*command, tmp_path / "records"], capture_output=True, text=True)
    names = run.stdout.split()
    assert run.returncode == 0 and sorted(names) == sorted(p.name for p in RECORDS.iterdir())
    for name in names:
        made = (tmp_path / "records" / name).read_bytes()
        assert made == (RECORDS / name).read_bytes(), name
        assert len(made) < 500_000 and b"\r" not in made and b"INVENTED" in made[:20]
    blocked = tmp_path / "file"
    blocked.write_text("")
    run = subprocess.run([*command, blocked], capture_output=True, text=True)
    assert run.returncode == 1 and "Traceback" not in run.stderr and "folder" in run.stderr


def test_the_hourly_file_is_remade_and_its_hours_add_up_to_the_days(tmp_path):
    kept = DATA / "hours" / "winter_rain_2018_2019.csv"
    write_hours(RECORDS / "winter_rain.csv", tmp_path / kept.name, "2018", "2019")
    assert (tmp_path / kept.name).read_bytes() == kept.read_bytes()
    days = xr.DataArray([12.0, 0.0], {"time": pd.date_range("2001-01-01", periods=2)}, ("time",))
    hours = invent_hours(days)
    assert len(hours) == 48 and hours[:24].sum() == pytest.approx(12) and hours[24:].sum() == 0
    with pytest.raises(InputError, match="one daily record"):
        invent_hours(days.expand_dims("site"))


@pytest.mark.parametrize("name", CLIMATES)
def test_a_demo_file_says_what_the_record_says(name, demo):
    climate = CLIMATES[name]
    rain = with_gaps(demo[name], climate.seed).isel(site=0)
    table = pd.read_csv(RECORDS / f"{name}.csv", comment="#", parse_dates=["date"], dtype={"rain_mm": "str"})
    assert (table.date.to_numpy() == rain.time.values).all() and len(table) == 21_915
    read = pd.to_numeric(table.rain_mm.replace("T", "0")).to_numpy()
    np.testing.assert_array_equal(read, rain.values)
    np.testing.assert_array_equal(table.rain_mm == "T", rain.flag.values == Flag.TRACE)
    np.testing.assert_array_equal(table.days.fillna(0), rain.total_days.values)


# Own choices (see invented_climates): annual mean [mm], coefficient of variation, days of >= 1 mm a year.
PLAUSIBLE = {
    "winter_rain": ((520, 640), (0.20, 0.30), (58, 75)),
    "monsoon": ((1050, 1350), (0.18, 0.28), (62, 78)),
    "two_rainy_seasons": ((830, 1030), (0.20, 0.30), (72, 92)),
    "semi_arid": ((290, 380), (0.35, 0.48), (26, 36)),
    "temperate_all_year": ((790, 920), (0.12, 0.19), (118, 140)),
}


@pytest.mark.parametrize("name", CLIMATES)
def test_totals_and_wet_days_suit_the_climate(name, demo, long_run):
    for rain, years in ((demo[name], 60), (long_run[name], 1000)):
        mean, spread, wet = PLAUSIBLE[name]
        totals = annual(rain)[0]
        assert len(totals) == years
        assert mean[0] < totals.mean() < mean[1]
        assert spread[0] - 0.02 < totals.std() / totals.mean() < spread[1] + 0.02
        assert wet[0] < (rain.values[0] >= 1).mean() * 365.25 < wet[1]


@pytest.mark.parametrize("name", CLIMATES)
def test_droughts_last_for_years(name, demo, long_run):
    share = annual(demo[name])[0]
    share = share / share.mean()
    assert longest_run(share < 1) >= 4
    three_years = np.convolve(share, np.ones(3) / 3, "valid")
    assert three_years.min() < 0.8
    totals = annual(long_run[name])[0]
    assert 0.2 < np.corrcoef(totals[1:], totals[:-1])[0, 1] < 0.5
    # without memory the same climate has none of it
    plain = annual(invent_rain(replace(CLIMATES[name], slow_share=0, slow_depth=0), 1000, 1, 1001))[0]
    assert abs(np.corrcoef(plain[1:], plain[:-1])[0, 1]) < 0.1
    assert longest_run(totals < totals.mean()) > longest_run(plain < plain.mean())


@pytest.mark.parametrize("name", CLIMATES)
def test_neighbours_go_together_but_are_not_copies(name, demo):
    daily = np.corrcoef(demo[name].values)
    assert (daily[0, 1:] > 0.6).all() and (daily[0, 1:] < 0.9).all() and daily[1, 2] > 0.55
    wet = demo[name].values > 0
    assert 0.6 < (wet[0] & wet[1]).sum() / wet[0].sum() < 0.97
    # where the neighbour is dry, the gauge has less rain than where both are wet
    rain = demo[name].values[0]
    assert rain[wet[0] & ~wet[1]].mean() < 0.5 * rain[wet[0] & wet[1]].mean()


@settings(max_examples=15, deadline=None)
@given(seed=st.integers(0, 2**31), years=st.integers(4, 30), name=st.sampled_from(sorted(CLIMATES)))
def test_gaps_keep_every_millimetre_that_they_do_not_lose(seed, years, name):
    whole = invent_rain(name, years, seed)
    gappy = with_gaps(whole, seed)
    for site in range(3):
        flag, total = gappy.flag.values[site], gappy.total_days.values[site]
        value, truth = gappy.values[site], whole.values[site]
        assert (np.isnan(value) == np.isin(flag, [Flag.MISSING, Flag.IN_TOTAL])).all()
        assert ((total == 0) == np.isnan(value)).all()
        kept = np.isin(flag, [Flag.MEASURED, Flag.TRACE])
        np.testing.assert_array_equal(value[kept], truth[kept])
        assert (value[flag == Flag.TRACE] == 0).all()
        for last in np.flatnonzero(flag == Flag.TOTAL):
            days = slice(last - total[last] + 1, last + 1)
            assert total[last] in (2, 3, 4) and (flag[days][:-1] == Flag.IN_TOTAL).all()
            assert value[last] == pytest.approx(truth[days].sum())
        assert (flag == Flag.IN_TOTAL).sum() == (total[flag == Flag.TOTAL] - 1).sum()


def test_other_gauges_can_be_asked_for():
    grid = [Gauge(f"cell {i} {j}", -33 + i / 10, 4 + j / 10, 0) for i in range(4) for j in range(4)]
    rain = invent_rain("winter_rain", 40, gauges=grid)
    assert rain.sizes["site"] == 16
    near, far = np.corrcoef(rain.values)[0, [1, 15]]
    assert near > far > 0.5
