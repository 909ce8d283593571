"""The record as one piece of work: what make_record returns, and the files that it writes."""

import re
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
import xarray as xr
from gallery.rain_files import CASES
from places import RECORDS

from rainharvest.__main__ import main
from rainharvest.core.errors import InputError
from rainharvest.core.text import texts_of
from rainharvest.demand.weather import from_weather
from rainharvest.rainfall.check import check_rain
from rainharvest.rainfall.facts import snow_falls
from rainharvest.rainfall.flags import Flag
from rainharvest.rainfall.read import read_rain
from rainharvest.rainfall.record import in_words_of, make_record, measured_years, part_since, study_record
from rainharvest.rainfall.section import record_report
from rainharvest.rainfall.tables import Rain


@pytest.fixture(scope="module")
def files():
    found = sorted(RECORDS.glob("winter_rain*.csv"))
    assert len(found) == 3
    return found


@pytest.fixture(scope="module")
def made(files, tmp_path_factory):
    folder = tmp_path_factory.mktemp("out") / "deep" / "record"
    return make_record(files, folder, members=4, seed=7), folder


def test_known_days_are_the_read_ones_and_totals_are_kept(made, files):
    record, _ = made
    read = read_rain(files[0])
    known = (read.flag <= Flag.TRACE).values
    np.testing.assert_array_equal(record.filled.values[:, known], np.tile(read.values[known], (4, 1)))
    totals = np.flatnonzero(read.flag == Flag.TOTAL)
    assert len(totals)
    for end in totals:
        days = slice(end - int(read.total_days[end]) + 1, end + 1)
        np.testing.assert_allclose(record.filled[:, days].sum("time"), read[end])


def test_record_csv_reads_back_to_the_first_version(made):
    record, folder = made
    table = pd.read_csv(folder / "record.csv", keep_default_na=False)
    assert list(table) == ["date", "rain_mm", "flag", "donor"]
    assert set(table.flag) <= {f.name.lower() for f in Flag}
    assert (table.donor[table.flag == "filled"] != "").all() and (table.flag == "filled").any()
    assert (table.donor[table.flag == "measured"] == "").all()
    again = read_rain(folder / "record.csv")
    np.testing.assert_allclose(again.values, record.filled.isel(member=0).values, atol=5e-4)
    np.testing.assert_array_equal(again.flag.values, record.filled.flag.values)


def test_netcdf_holds_versions_rain_as_read_and_digests(made, files):
    record, folder = made
    with xr.open_dataset(folder / "record.nc") as data:
        np.testing.assert_array_equal(data.rain.values, record.filled.values)
        np.testing.assert_array_equal(data.rain_read.values, record.read.values)
        assert data.attrs["source_sha256"].split(", ")[0] == record.read.sha256
        assert data.attrs["seed"] == 7 and data.rain.units == "mm/day" and data.annual_total.units == "mm"
        assert "measured" in data.flag.attrs["flag_meanings"]
        rain = read_rain(folder / "record.nc", column="rain_read")
    np.testing.assert_array_equal(rain.values, record.read.values)


def test_findings_and_summary_agree(made):
    record, folder = made
    table = pd.read_csv(folder / "findings.csv")
    assert len(table) == len(record.findings) and "accepted" in table
    text = (folder / "summary.txt").read_text()
    assert text == record.text
    for word in (record.read.site, "4 versions, seed 7", "driest years", "longest dry spell", "Doubted"):
        assert word in text
    assert max(map(len, text.splitlines())) <= 100


def test_the_command_writes_a_page_of_the_records_own(tmp_path, files, capsys):
    assert main(["record", str(files[0]), "--out", str(tmp_path), "--members", "2"]) == 0
    assert sorted(p.name for p in tmp_path.iterdir())[2] == "record.html" and len([*tmp_path.iterdir()]) == 5
    page = (tmp_path / "record.html").read_text()
    findings = pd.read_csv(tmp_path / "findings.csv")
    said = " ".join(re.sub("<[^>]+>", " ", page).split())
    assert all(" ".join(reason.split()) in said for reason in findings["reason"]), "all of them, worst first"
    assert page.count("<svg role") == 5 and "This record is invented" in page and "&lt;" not in page
    rain = pd.read_csv(tmp_path / "record.csv").rain_mm
    assert f"{rain.max():.0f} mm measured" in said
    assert "gaps left unknown: 1999-03-04" in said.replace("Gaps", "gaps")


def test_the_page_draws_a_proven_break_and_says_so(tmp_path, rng):
    rain = invented(36, rng)
    rain[:"1998"] *= 1.4
    record = make_record([written(rain.round(1), tmp_path)], members=2)
    section = record_report(record)["record"]
    annual = next(block for block in section.blocks if getattr(block, "name", "") == "annual")
    assert "where the record becomes another: 1999" in annual.caption


def test_a_record_without_gaps_says_nothing_of_fillings(tmp_path, rng):
    record = make_record([written(invented(12, rng), tmp_path)])
    assert "nothing was filled: the record has no gaps" in record.text and "versions" not in record.text
    words = record_report(record)["record"].blocks[0].text
    assert words.endswith("a year on average.") and "whole year of record" not in record.text


def test_one_year_says_what_nobody_can_know_of_it(tmp_path, rng):
    record = make_record([written(invented(1, rng), tmp_path)])
    assert "nobody can say how much the years differ" in " ".join(record.text.split())
    assert "nobody can say" in " ".join(
        b.text for b in record_report(record)["record"].blocks if hasattr(b, "text")
    )


def test_snow_is_warned_of_by_place_or_temperature(rng):
    rain = invented(12, rng).rename_axis("time").to_xarray()
    assert snow_falls(check_rain(rain.assign_attrs(latitude=64.0)))
    findings = check_rain(rain.assign_attrs(latitude=30.0))
    days = pd.date_range("2015-01-01", "2015-12-31")
    high = 12 - 14 * np.cos(2 * np.pi * (days.dayofyear - 15) / 365)
    plateau, coast = (
        from_weather(pd.DataFrame({"tmax": high + warmer, "tmin": high + warmer - 8}, days), days, 30.0)
        for warmer in (0, 8)
    )
    assert snow_falls(findings, plateau) and not snow_falls(findings, coast) and not snow_falls(findings)
    plain = {"reserve": False, "arrangement": "combined", "doubtful": ["roof", "shed"]}
    said = [texts_of("study").watch(SimpleNamespace(**plain, snow=s)) for s in (0, 1)]
    assert "snow" not in said[0] and "bring snow" in said[1]
    assert "What comes off “roof”, “shed” is not drunk even so." in said[0]


def broken(folder):
    days = pd.date_range("1990-01-01", "1995-12-31")
    rain = np.random.default_rng(3).gamma(0.2, 20, len(days)).round(1)
    rain[700] = -4.0
    rain[800:805] = np.nan
    file = folder / "broken.csv"
    pd.DataFrame({"date": days, "rain": rain}).to_csv(file, index=False)
    return file, days[700]


def test_wrong_values_are_accepted_and_said_or_refused(tmp_path):
    file, day = broken(tmp_path)
    with pytest.raises(InputError, match="unit of 'rain' is not stated"):
        make_record([file])
    record = make_record([file], hints={"units": "mm"}, members=2)
    assert float(record.read.sel(time=day)) == -4
    assert (record.filled.sel(time=day) >= 0).all()
    assert "wrong, negative" in record.text and "accepted" in record.text
    with pytest.raises(InputError, match="accept that finding first") as caught:
        make_record([file], tmp_path / "out", hints={"units": "mm"}, accept=())
    assert str(file) in str(caught.value)
    assert not (tmp_path / "out").exists() or not list((tmp_path / "out").iterdir())


def test_hints_are_used_only_where_a_file_leaves_the_doubt(tmp_path, files):
    file, _ = broken(tmp_path)
    record = make_record([files[0], file], hints={"units": "in"}, members=1)
    assert "as asked" not in record.read.assumptions
    assert "read in in, as asked" in record.neighbours[0].assumptions
    with pytest.raises(InputError, match="'colour' settles no doubt"):
        make_record([file], hints={"colour": "blue"})


@pytest.mark.parametrize(
    ("hint", "words"),
    [
        ({"units": "in"}, "units: the file leaves no doubt, and 'in' is not what it says"),
        ({"units": "furlongs"}, "units: 'furlongs' is no unit of rain"),
        ({"column": "snow"}, "column: no column is called 'snow'"),
        ({"units": "mm"}, ""),
    ],
)
def test_a_hint_that_the_file_denies_is_refused_and_not_passed_over(files, hint, words):
    if not words:  # it says what the file says
        assert make_record(files[:1], hints=hint, members=1).read.attrs["units"] == "mm/day"
        return
    with pytest.raises(InputError) as error:
        make_record(files[:1], hints=hint, members=1)
    assert words in str(error.value)


def test_a_record_without_rain_is_named(tmp_path):
    days = pd.date_range("2001-01-01", "2004-12-31", name="date")
    pd.Series(0.0, days, name="rain_mm").to_csv(tmp_path / "dry.csv")
    with pytest.raises(InputError, match="dry.csv: rain.file: no rain is left in it"):
        study_record(Rain(file="dry.csv"), tmp_path)


def test_nothing_to_read_and_nowhere_to_write(tmp_path, files):
    with pytest.raises(InputError, match="no rain file is named"):
        make_record([])
    (tmp_path / "taken").write_text("")
    with pytest.raises(InputError, match="is a file; name a folder"):
        make_record(files, tmp_path / "taken", members=1)
    with pytest.raises(InputError, match="month 13"):
        make_record(files, year_start_month=13)


@pytest.mark.parametrize("case", CASES, ids=lambda c: c.name)
def test_the_gallery_ends_in_a_record_or_a_clear_error(tmp_path, case):
    """Days too few to fill or describe: what cannot be had is said, never a traceback."""
    file = tmp_path / f"{case.name}{case.suffix}"
    file.write_bytes(case.data)
    try:
        record = make_record([file], tmp_path / "out", members=2, hints=case.hints)
    except InputError as error:
        assert str(file) in str(error) and error.remedy
        assert not list((tmp_path / "out").glob("*")) if (tmp_path / "out").exists() else True
    else:
        assert record.filled.sizes["time"] == len(case.rain)
        assert (tmp_path / "out" / "record.csv").exists()


def test_a_neighbour_that_drizzles_is_put_beside_the_gauge(files, made, tmp_path):
    from rainharvest.rainfall.check_neighbours import compare_with_gauge

    gauge = read_rain(files[0]).sel(time=slice("2010", None))
    smooth = gauge.fillna(0).rolling(time=3, center=True, min_periods=1).mean().to_series()
    smooth += np.random.default_rng(1).random(len(smooth)) * 0.3
    grid = tmp_path / "grid.csv"
    smooth.round(3).rename("rain_mm").rename_axis("date").to_csv(grid)
    record = make_record([files[0], grid], members=1)
    said = record.text.split("Beside the gauge\n")[1].split("\n\n")[0]
    warnings = compare_with_gauge(record.read, record.neighbours[0]).attrs["warnings"]
    assert "the product drizzles" in warnings and warnings in " ".join(said.split())
    assert "Beside the gauge" not in made[0].text, "gauges beside a gauge need no warning"


def test_a_neighbour_whose_name_is_a_formula_reaches_no_cell_as_one(tmp_path, files):
    head, neighbour = ([*f.read_text(encoding="utf-8").splitlines()[:3000]] for f in files[:2])
    neighbour[1] = "# place: =SUM(1+1)"
    for name, lines in (("site.csv", head), ("near.csv", neighbour)):
        (tmp_path / name).write_text("\n".join(lines), encoding="utf-8")
    record = make_record([tmp_path / "site.csv", tmp_path / "near.csv"], tmp_path / "out", members=1)
    assert (record.filled.donor == "=SUM(1+1)").any()
    donors = pd.read_csv(tmp_path / "out" / "record.csv", keep_default_na=False).donor
    assert set(donors) == {"", "'=SUM(1+1)"}


def test_hours_are_checked_before_they_are_summed(tmp_path, rng):
    """An hour below zero and a stuck gauge hide in daily sums; the file's hours show them."""
    time = pd.date_range("2000-01-01", "2002-12-31 23:00", freq="h")
    rain = np.where(rng.random(len(time)) < 0.05, np.ceil(rng.weibull(0.7, len(time)) * 8) * 0.2, 0.0).round(
        1
    )
    rain[5000:5003] = 4.0, -1.0, 4.0
    rain[9000:9010] = 3.4
    file = tmp_path / "hours.csv"
    pd.DataFrame({"time": time, "rain": rain}).to_csv(file, index=False)
    record = make_record([file], members=2, hints={"units": "mm", "day_first": True})
    found = record.findings.set_index("check")
    wrong = found.loc[["negative"]].iloc[0]
    assert wrong.first_day == time[5001].normalize() and wrong.accepted and "1 reading" in wrong.reason
    assert "3.4 mm stands in 10 readings" in " ".join(found.loc[["streak"]].reason)
    assert list(found.severity) == sorted(found.severity, key=["wrong", "suspect", "note"].index)
    assert record.read.attrs["step_seconds"] == 3600
    assert (record.filled.flag.sel(time=wrong.first_day) != Flag.MEASURED).all()


def invented(years, rng, first=1981):
    """Return independent invented rain, of which every season is alike."""
    days = pd.date_range(f"{first}-01-01", f"{first + years - 1}-12-31")
    return pd.Series(np.where(rng.random(len(days)) < 0.3, rng.gamma(0.7, 10, len(days)), 0.0).round(1), days)


def written(rain, folder):
    """Return the file that holds a record."""
    rain.rename("rain_mm").rename_axis("date").to_csv(folder / "rain.csv")
    return folder / "rain.csv"


def study_of(rain, folder, **given):
    return study_record(Rain(**({"file": written(rain, folder).name, "members": 4} | given)), folder)


def test_a_long_hole_costs_its_year_and_not_half_the_record(tmp_path, rng):
    rain = invented(30, rng)
    rain["1996-03-01":"1996-06-08"] = np.nan  # a hundred days, no neighbour
    record = study_of(rain, tmp_path)
    assert record.left_out == "" and record.filled.sizes["time"] == len(rain)
    assert record.filled.attrs["years_to_leave_out"] == "1996"
    assert measured_years(record) == pytest.approx(29, abs=0.02)
    hole = record.filled.sel(time=slice("1996-03-01", "1996-06-08")).sum("time")
    assert np.ptp(hole.values) > 0 and not record.filled.isnull().any()
    rain["1990":"1993"] = np.nan  # too long to carry the store through
    assert "1994-01-01 to 2010-12-31" in study_of(rain, tmp_path).left_out


def test_a_record_without_fillings_is_one_version(tmp_path, rng):
    rain = invented(12, rng)
    assert study_of(rain, tmp_path).filled.sizes["member"] == 1
    rain.iloc[1000:1020] = np.nan
    assert study_of(rain, tmp_path).filled.sizes["member"] == 4


def test_the_part_of_a_record_since_a_proven_break(tmp_path, rng):
    rain = invented(36, rng)
    assert part_since(study_of(rain, tmp_path)) is None
    rain[:"1998"] *= 1.4
    assert part_since(study_of(rain, tmp_path)) == pd.Timestamp("1999-01-01")


def test_weekend_totals_reach_the_study_once(tmp_path, rng):
    rain = invented(12, rng)
    monday = np.flatnonzero(rain.index.day_of_week == 0)[1:]
    read = rain.copy()
    for k in (1, 2):
        read.iloc[monday] += rain.iloc[monday - k].to_numpy()
        read.iloc[monday - k] = np.nan
    filled = study_of(read, tmp_path).filled
    assert filled.sum("time").values == pytest.approx([rain[filled.time.values].sum()] * 4)
    said = study_of(read, tmp_path, gaps_end_in_totals=False).filled
    assert (said.sum("time") > 1.3 * rain.sum()).all()


@pytest.mark.parametrize(
    ("remedy", "study", "command"),
    [
        ("say units='mm' (or '0.1 mm')", 'say units = "mm" (or \'0.1 mm\')', "say --units mm (or '0.1 mm')"),
        ("say day_first=True or day_first=False", "say day_first = true or day_first = false",
         "say --day-first or --no-day-first"),
        ("say at=(latitude, longitude)", "say at = [latitude, longitude]", "say --at latitude longitude"),
        ("say which with at=, by its name", "say which with at, by its name", "say which with --site, by its name"),
    ],
)  # fmt: skip
def test_remedies_in_the_words_of_the_study_file_and_of_the_command_line(remedy, study, command):
    error = InputError("a doubt", remedy, "units", "rain.csv")
    assert in_words_of(error).remedy == study
    assert in_words_of(error, command=True).remedy == command
    assert in_words_of(error).file == "rain.csv" and in_words_of(error).place == "units"


def test_a_doubt_of_a_study_names_the_study_files_key(tmp_path, rng):
    rain = invented(2, rng)
    rain.rename("rain").rename_axis("date").to_csv(tmp_path / "rain.csv")
    with pytest.raises(InputError, match='units = "mm"'):
        study_record(Rain(file="rain.csv"), tmp_path)
