"""CF netCDF, station and grid: units, calendars, stamps, latitudes, longitudes, the nearest cell."""

import gzip

import numpy as np
import pandas as pd
import pytest
import xarray as xr

from rainharvest.core.errors import InputError
from rainharvest.rainfall.flags import Flag
from rainharvest.rainfall.read import read_rain, read_subdaily

DAYS = pd.date_range("2000-02-27", periods=4)
LATS, LONS = np.array([-34.0, -33.5, -33.0]), np.array([18.0, 18.5, 19.0])


def station(values=(0.0, 5.5, np.nan, 2.0), time=DAYS, units="mm/day", name="pr", **attrs):
    variable = xr.DataArray(
        np.array(values), dims="time", coords={"time": time}, attrs={"units": units, **attrs}
    )
    return variable.to_dataset(name=name)


def grid(lats=LATS, lons=LONS, dims=("time", "lat", "lon"), name="pr", units="mm/day"):
    """A grid whose cell at (row, column) has rain 10 row + column, plus the day."""
    values = np.arange(4.0)[:, None, None] + 10 * np.arange(len(lats))[:, None] + np.arange(len(lons))
    data = xr.DataArray(
        values,
        dims=("time", "lat", "lon"),
        coords={
            "time": DAYS,
            "lat": ("lat", lats, {"standard_name": "latitude", "units": "degrees_north"}),
            "lon": ("lon", lons, {"standard_name": "longitude", "units": "degrees_east"}),
        },
        attrs={"units": units},
    )
    return data.transpose(*dims).to_dataset(name=name)


def put(folder, data, **encoding):
    file = folder / "rain.nc"
    data.to_netcdf(file, encoding=encoding or None)
    return file


@pytest.mark.parametrize(
    "units, factor",
    [
        ("mm/day", 1.0),
        ("mm", 1.0),
        ("kg m-2", 1.0),
        ("kg m-2 s-1", 86400.0),
        ("kg m**-2 s**-1", 86400.0),
        ("mm s-1", 86400.0),
        ("m s-1", 86400e3),
        ("mm h-1", 24.0),
        ("m", 1000.0),
        ("0.1 mm", 0.1),
        ("cm", 10.0),
        ("inches", 25.4),
    ],
)
def test_units(tmp_path, units, factor):
    true = np.array([0.0, 5.5, np.nan, 2.0])
    rain = read_rain(put(tmp_path, station(true / factor, units=units)))
    np.testing.assert_allclose(rain.values, true, atol=1e-6)
    assert rain.units == "mm/day" and rain.flag.values.tolist() == [0, 0, Flag.MISSING, 0]


def test_unit_unknown_asks(tmp_path):
    file = put(tmp_path, station(units="wet"))
    with pytest.raises(InputError, match="unit of 'pr' is not stated.*units="):
        read_rain(file)
    assert float(read_rain(file, units="in")[1]) == pytest.approx(139.7)


def test_two_rain_variables_ask(tmp_path):
    data = station().assign(rain_b=station(name="rain_b").rain_b * 2, tas=station(name="tas").tas)
    file = put(tmp_path, data)
    with pytest.raises(InputError, match="more than one variable may be the rain: pr, rain_b.*column="):
        read_rain(file)
    assert float(read_rain(file, column="rain_b", units="mm")[1]) == 11
    with pytest.raises(InputError, match="no variable is called 'x'"):
        read_rain(file, column="x")


def test_standard_name_beats_the_variable_name(tmp_path):
    data = station(name="v7", standard_name="precipitation_flux").assign(v8=station(name="v8").v8)
    assert float(read_rain(put(tmp_path, data))[1]) == 5.5


def test_noon_stamps_and_packing(tmp_path):
    data = station((0.0, 5.5, np.nan, 2.0), time=DAYS + pd.Timedelta("12h"))
    file = put(tmp_path, data, pr={"dtype": "int16", "scale_factor": 0.1, "_FillValue": -9999})
    rain = read_rain(file)
    assert list(rain.indexes["time"]) == list(DAYS)
    np.testing.assert_allclose(rain.values, [0, 5.5, np.nan, 2.0])
    assert "stamped 12:00, was taken for the day of its date" in rain.assumptions


def test_bounds_settle_the_day(tmp_path):
    """Values stamped at the end of the day belong to the day that their bounds enclose."""
    data = station(time=DAYS + pd.Timedelta("24h"))
    data["time"].attrs["bounds"] = "time_bnds"
    data["time"].encoding["units"] = "hours since 2000-01-01"
    data["time_bnds"] = (("time", "nv"), np.stack([DAYS, DAYS + pd.Timedelta("24h")], 1))
    assert list(read_rain(put(tmp_path, data)).indexes["time"]) == list(DAYS)
    data["time_bnds"] = data["time_bnds"] + np.timedelta64(9, "h")
    rain = read_rain(put(tmp_path, data))
    assert list(rain.indexes["time"]) == list(DAYS) and "from 09:00 by their bounds" in rain.assumptions


def test_calendars(tmp_path):
    time = xr.date_range("2000-02-27", periods=4, calendar="noleap", use_cftime=True)
    rain = read_rain(put(tmp_path, station((1.0, 2.0, 3.0, 4.0), time=time)))
    np.testing.assert_array_equal(rain.values, [1, 2, np.nan, 3, 4])
    assert "noleap was set on the days of the year" in rain.assumptions
    time = xr.date_range("2000-01-01", periods=360, calendar="360_day", use_cftime=True)
    values = np.arange(360.0)
    rain = read_rain(put(tmp_path, station(values, time=time)))
    expected = xr.DataArray(values, {"time": time}, ("time",)).convert_calendar(
        "standard", align_on="year", missing=np.nan
    )
    np.testing.assert_array_equal(rain.values, expected.values)  # 2000 has 366 days: six are unknown
    assert int(rain.isnull().sum()) == 6
    time = xr.date_range("2000-01-01", periods=4, calendar="all_leap", use_cftime=True)
    with pytest.raises(InputError, match="all_leap.*standard calendar"):
        read_rain(put(tmp_path, station(time=time)))


def test_bounds_of_a_short_calendar_keep_28_february(tmp_path):
    """Added to standard dates, half of the interval to 1 March would fall on the 29th."""
    time = xr.date_range("2004-02-27", periods=4, calendar="noleap", use_cftime=True)
    edges = xr.date_range("2004-02-27", periods=5, calendar="noleap", use_cftime=True).values
    data = station((1.0, 2.0, 3.0, 4.0), time=time)
    data["time"].attrs["bounds"] = "time_bnds"
    data["time"].encoding["units"] = "hours since 2000-01-01"
    data["time_bnds"] = (("time", "nv"), np.stack([edges[:-1], edges[1:]], 1))
    np.testing.assert_array_equal(read_rain(put(tmp_path, data)).values, [1, 2, np.nan, 3, 4])


@pytest.mark.parametrize("lats", [LATS, LATS[::-1]], ids=["south up", "north up"])
@pytest.mark.parametrize("lons", [LONS, LONS + 360, np.array([-0.5, 0.0, 0.5]), np.array([359.5, 0.0, 0.5])])
@pytest.mark.parametrize("dims", [("time", "lat", "lon"), ("time", "lon", "lat")])
def test_nearest_cell(tmp_path, lats, lons, dims):
    file = put(tmp_path, grid(lats, lons, dims))
    row, column = 1, 2
    at = (lats[row] + 0.1, (lons[column] - 0.1 + 180) % 360 - 180)
    rain = read_rain(file, at=at)
    np.testing.assert_array_equal(rain.values, np.arange(4) + 10 * row + column)
    assert rain.latitude == lats[row] and rain.longitude == pytest.approx((lons[column] + 180) % 360 - 180)
    km = 111.195 * np.hypot(0.1, 0.1 * np.cos(np.radians(at[0])))
    assert f"{km:.1f} km away" in rain.assumptions


def test_a_grid_asks_for_the_place_and_refuses_what_it_does_not_cover(tmp_path):
    file = put(tmp_path, grid())
    with pytest.raises(InputError, match=r"grid of 3 by 3 cells.*at=\(latitude, longitude\)"):
        read_rain(file)
    read_rain(file, at=(-34.5, 18.0))
    with pytest.raises(InputError, match="km away, beyond"):
        read_rain(file, at=(-35.0, 18.0))
    for wrong in ((95, 0), "here", (1, 2, 3), (np.nan, 0), 7):
        with pytest.raises(InputError):
            read_rain(file, at=wrong)


def test_two_columns_on_either_side_of_greenwich_are_half_a_degree_apart(tmp_path):
    """1.5 cells of 0.5 degrees of longitude, at 33.5 degrees south 46.4 km, reach 69.5 km."""
    file = put(tmp_path, grid(LATS, np.array([359.5, 0.0])).isel(lat=[1]))
    assert read_rain(file, at=(-33.5, 0.7)).longitude == 0
    with pytest.raises(InputError, match="74 km away, beyond the 70 km"):
        read_rain(file, at=(-33.5, 0.8))


def test_masked_cell_is_refused(tmp_path):
    data = grid()
    data["pr"][:, 0, 0] = np.nan
    with pytest.raises(InputError, match="holds no values"):
        read_rain(put(tmp_path, data), at=(-34, 18))


def test_one_cell_grid_needs_no_place(tmp_path):
    rain = read_rain(put(tmp_path, grid().isel(lat=[1], lon=[1])))
    assert rain.attrs["latitude"] == -33.5 and float(rain[0]) == 11


def test_curvilinear_grid(tmp_path):
    lat, lon = np.meshgrid(LATS, LONS, indexing="ij")
    data = grid().drop_vars(["lat", "lon"]).rename(lat="y", lon="x")
    data = data.assign_coords(
        lat=(("y", "x"), lat, {"units": "degrees_north"}), lon=(("y", "x"), lon, {"units": "degrees_east"})
    )
    file = put(tmp_path, data)
    assert read_rain(file, at=(-33.1, 18.9)).values.tolist() == [22, 23, 24, 25]
    with pytest.raises(InputError, match="km away, beyond"):
        read_rain(file, at=(-30, 18))


def test_stations_by_name_and_by_place(tmp_path):
    data = xr.Dataset(
        {"rain": (("station", "time"), np.array([[1.0, 2, 3, 4], [5, 6, 7, 8]]), {"units": "mm"})},
        {
            "time": DAYS,
            "lat": ("station", [-33.0, -34.0], {"units": "degrees_north"}),
            "lon": ("station", [18.0, 19.0], {"units": "degrees_east"}),
            "name": ("station", ["East", "West"], {"cf_role": "timeseries_id"}),
        },
    )
    file = put(tmp_path, data)
    west = read_rain(file, at="west")
    assert west.values.tolist() == [5, 6, 7, 8] and west.site == "West" and west.latitude == -34
    assert read_rain(file, at=(-33.02, 18.01)).values.tolist() == [1, 2, 3, 4]
    with pytest.raises(InputError, match="km away, beyond the 10 km"):
        read_rain(file, at=(-33.5, 18.01))
    with pytest.raises(InputError, match="more than one site: East, West"):
        read_rain(file)
    with pytest.raises(InputError, match="no site is called 'North'"):
        read_rain(file, at="North")


def test_group_with_time_lon_lat(tmp_path):
    file = tmp_path / "half_hours.nc"
    data = grid(dims=("time", "lon", "lat"), name="precipitation", units="mm/hr")
    data.to_netcdf(file, group="Grid")
    assert float(read_rain(file, at=(-33.5, 18.5))[0]) == 11 * 24


def test_undeclared_code_and_packing_dust(tmp_path):
    rain = read_rain(put(tmp_path, station((-9999.0, -0.004, 3.0, -2.0))))
    np.testing.assert_array_equal(rain.values, [np.nan, 0, 3, -2])
    assert "undeclared missing code" in rain.assumptions and "a hair below zero" in rain.assumptions


def test_packed_with_gzip_and_in_the_classic_format(tmp_path):
    station().to_netcdf(tmp_path / "classic.nc", format="NETCDF3_CLASSIC")
    packed = tmp_path / "rain.nc.gz"
    packed.write_bytes(gzip.compress(put(tmp_path, station()).read_bytes()))
    assert read_rain(packed).sum() == read_rain(tmp_path / "classic.nc").sum() == 7.5


def test_extra_dimension_is_named(tmp_path):
    data = station().expand_dims(number=[0, 1])
    with pytest.raises(InputError, match=r"also varies along 'number' \(2 values\)"):
        read_rain(put(tmp_path, data))


def test_hours_that_end_at_their_stamp(tmp_path):
    """Hourly tp in metres, each hour ending at its stamp: 00:00 belongs to the day before."""
    time = pd.date_range("2000-01-01 01:00", periods=48, freq="h")
    file = put(
        tmp_path, station(np.r_[np.ones(24), np.full(24, 2.0)] / 1000, time=time, units="m", name="tp")
    )
    rain = read_rain(file)
    np.testing.assert_allclose(rain.values, [24, 48])
    assert str(rain.time.values[0])[:10] == "2000-01-01"
    hours = read_subdaily(file)
    assert str(hours.time.values[0])[:13] == "2000-01-01T00"
    np.testing.assert_allclose(hours.values, [1.0] * 24 + [2.0] * 24)


def test_hours_that_pile_up_are_refused(tmp_path):
    """Summing values accumulated since midnight would count the rain many times over."""
    time = pd.date_range("2000-01-01 01:00", periods=96, freq="h")
    piled = np.tile(np.arange(1.0, 25.0), 4) / 1000
    with pytest.raises(InputError, match="pile up through each day"):
        read_rain(put(tmp_path, station(piled, time=time, units="m", name="tp")))


def test_result_opens_again(tmp_path):
    """What the reader returns can be saved as netCDF and read back to the same rain."""
    rain = read_rain(put(tmp_path, grid()), at=(-33.5, 18.5))
    rain.to_netcdf(tmp_path / "again.nc")
    again = read_rain(tmp_path / "again.nc")
    np.testing.assert_array_equal(again.values, rain.values)


@pytest.mark.parametrize("kind, packing", [("f4", None), ("f8", None), ("i2", 0.1), ("i4", 0.1), ("u2", 0.1)])
@pytest.mark.parametrize("form", ["NETCDF4", "NETCDF3_CLASSIC"])
def test_cells_never_written_are_unknown_whatever_their_kind(tmp_path, kind, packing, form):
    import netCDF4

    if (kind, form) == ("u2", "NETCDF3_CLASSIC"):
        pytest.skip("no such kind in this format")
    file = tmp_path / "rain.nc"
    with netCDF4.Dataset(file, "w", format=form) as data:
        data.createDimension("time", 5)
        time, rain = data.createVariable("time", "i4", "time"), data.createVariable("pr", kind, "time")
        time.units, rain.units = "days since 2000-01-01", "mm/day"
        if packing:
            rain.scale_factor = packing
        time[:], rain[:3] = range(5), [0, 2, 12]
    read = read_rain(file)
    np.testing.assert_allclose(read.values, [0, 2, 12, np.nan, np.nan])
    assert read.flag.values.tolist() == [0, 0, 0, Flag.MISSING, Flag.MISSING]
