"""The record as one piece of work: what make_record returns, and the files that it writes."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import xarray as xr
from gallery.rain_layouts import CASES

from rainharvest.core.errors import InputError
from rainharvest.rainfall.flags import Flag
from rainharvest.rainfall.read import read_rain
from rainharvest.rainfall.record import make_record

RECORDS = Path(__file__).parents[2] / "data" / "records"


@pytest.fixture(scope="module")
def files():
    found = sorted(RECORDS.glob("winter_rain*.csv"))
    assert len(found) == 3
    return found


@pytest.fixture(scope="module")
def made(files, tmp_path_factory):
    folder = tmp_path_factory.mktemp("out") / "deep" / "record"
    return make_record(files, folder, members=4, seed=7), folder


def test_writes_its_files_and_no_others(made):
    _, folder = made
    names = sorted(p.name for p in folder.iterdir())
    assert names == ["findings.csv", "record.csv", "record.nc", "summary.txt"]


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


def test_same_seed_same_record_and_nothing_written_without_a_folder(files, made):
    record, _ = made
    again = make_record(files, members=4, seed=7)
    np.testing.assert_array_equal(again.filled.values, record.filled.values)
    assert again.text == record.text


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
