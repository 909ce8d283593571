"""The invented rain: the same bytes from the same seed, and the statistics that a study leans on."""

from __future__ import annotations

import subprocess
import sys

import numpy as np
import pandas as pd
import pytest
import xarray as xr
from hypothesis import given, settings
from hypothesis import strategies as st
from places import DATA, RECORDS
from rain import CLIMATES, invent_hours, invent_rain, with_gaps, write_hours

from rainharvest.core.errors import InputError
from rainharvest.rainfall.flags import Flag


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


# Own choices (see invented_climates): annual mean [mm], coefficient of variation, days of >= 1 mm a year.
PLAUSIBLE = {
    "winter_rain": ((520, 640), (0.20, 0.30), (58, 75)),
    "monsoon": ((1050, 1350), (0.18, 0.28), (62, 78)),
    "two_rainy_seasons": ((830, 1030), (0.20, 0.30), (72, 92)),
    "semi_arid": ((290, 380), (0.35, 0.48), (26, 36)),
    "temperate_all_year": ((790, 920), (0.12, 0.19), (118, 140)),
}


@pytest.mark.parametrize("name", CLIMATES)
def test_totals_wet_days_memory_and_neighbours_suit_the_climate(name):
    demo = invent_rain(name, 60, CLIMATES[name].seed)
    mean, spread, wet = PLAUSIBLE[name]
    totals = demo.isel(site=0).groupby("time.year").sum().values
    assert len(totals) == 60 and mean[0] < totals.mean() < mean[1]
    assert spread[0] - 0.02 < totals.std() / totals.mean() < spread[1] + 0.02
    assert wet[0] < (demo.values[0] >= 1).mean() * 365.25 < wet[1]
    assert np.convolve(totals, np.ones(3) / 3, "valid").min() < 0.8 * totals.mean(), "droughts last for years"
    alike = np.corrcoef(demo.values)
    assert (alike[0, 1:] > 0.6).all() and (alike[0, 1:] < 0.9).all() and alike[1, 2] > 0.55


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
