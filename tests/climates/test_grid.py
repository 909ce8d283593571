"""Bad grids are refused by name before anything is computed; what is repaired is counted."""

import numpy as np
import pandas as pd
import pytest
import xarray as xr
from climates_case import plan_for, region

from rainharvest.climates.grid import check_sample, open_grid, within
from rainharvest.climates.run import run_climates
from rainharvest.climates.tiles import lay_out, lies_by_cell, read_cells, regions_of, tile_of
from rainharvest.core.errors import InputError


def good(days=730, **attrs):
    time = pd.date_range("2001-01-01", periods=days)
    rng = np.random.default_rng(1)
    rain = np.where(rng.random((days, 2, 3)) < 0.3, rng.exponential(6, (days, 2, 3)), 0.0).astype("f4")
    coords = {"time": time, "lat": [10.0, 10.5], "lon": [3.0, 3.5, 4.0]}
    return xr.DataArray(rain, coords, ("time", "lat", "lon"), "pr", {"units": "mm/day"} | attrs)


def with_times(rain, times):
    return rain.isel(time=slice(len(times))).assign_coords(time=times)


def bad_cases():
    rain = good()
    months = pd.date_range("2001-01-01", periods=24, freq="MS")
    holed = rain.isel(time=[*range(100), *range(103, 730)])
    twice = xr.concat([rain.isel(time=slice(0, 200)), rain.isel(time=slice(199, 700))], "time")
    return {
        "no time": (rain.isel(time=0, drop=True), "time"),
        "a dimension without dates": (rain.drop_vars("time"), "time"),
        "monthly": (with_times(rain, months), "monthly"),
        "hours of a month": (
            with_times(rain, pd.date_range("2001-01-01", periods=700, freq="h")),
            "only 29 days",
        ),
        "five hours": (with_times(rain, pd.date_range("2001-01-01", periods=700, freq="5h")), "by the hour"),
        "days missing": (holed, "3 days are not in the files, the first 2001-04-11"),
        "a day twice": (twice, "do not rise|twice"),
        "no unit": (rain.assign_attrs(units=""), "no unit"),
        "not a unit of rain": (rain.assign_attrs(units="degC"), "no unit of rain"),
        "too short": (rain.isel(time=slice(0, 90)), "90 days"),
    }


@pytest.mark.parametrize("case", bad_cases())
def test_a_bad_grid_is_refused_with_its_file_before_any_computing(case, tmp_path):
    rain, words = bad_cases()[case]
    path = tmp_path / "bad.nc"
    rain.to_dataset(name="pr").to_netcdf(path)
    with pytest.raises(InputError, match=words) as caught:
        open_grid(path)
    assert caught.value.file.endswith("bad.nc") and caught.value.remedy


@pytest.mark.parametrize(
    "change, words",
    [
        (lambda r: r * np.nan, "no place has a value"),
        (lambda r: -r, "below zero"),
        (lambda r: r * 86400, "falls nowhere"),
    ],
)
def test_values_that_are_no_rain_are_refused_before_any_computing(change, words, tmp_path):
    rain = change(good()).assign_attrs(units="mm/day")
    rain.to_netcdf(tmp_path / "rain.nc")
    grid = open_grid(tmp_path / "rain.nc")
    with pytest.raises(InputError, match=words):
        run_climates(grid, plan_for(grid.days), tmp_path / "out.zarr")
    assert not (tmp_path / "out.zarr").exists()


def test_files_with_other_units_places_or_overlap_are_refused_by_name(tmp_path):
    rain = good()
    rain.isel(time=slice(0, 365)).to_netcdf(tmp_path / "a.nc")
    cases = (
        (rain.isel(time=slice(365, 730)).assign_attrs(units="kg m-2 s-1"), "its unit is kg m-2 s-1"),
        (rain.isel(time=slice(365, 730), lon=[0, 1]), "lie elsewhere|its places"),
        (rain.isel(time=slice(365, 730)).assign_coords(lat=[20.0, 20.5]), "lie elsewhere"),
        (rain.isel(time=slice(300, 730)), "twice"),
        (rain.isel(time=slice(400, 730)), "35 days are not"),
    )
    for k, (change, words) in enumerate(cases):
        change.to_netcdf(tmp_path / f"{k}b.nc")
        with pytest.raises(InputError, match=words) as caught:
            open_grid([tmp_path / f"{k}b.nc", tmp_path / "a.nc"])
        assert caught.value.file.endswith("b.nc")
    with pytest.raises(InputError, match="no such file"):
        open_grid(tmp_path / "none_*.nc")
    (tmp_path / "text.nc").write_text("no netCDF at all")
    with pytest.raises(InputError, match="damaged"):
        open_grid(tmp_path / "text.nc")


@pytest.mark.parametrize(
    "units, factor", [("kg m-2 s-1", 1 / 86400), ("m/day", 1e-3), ("mm", 1.0), ("in", 1 / 25.4)]
)
def test_units_are_understood(units, factor):
    rain = good()
    grid = open_grid((rain * factor).assign_attrs(units=units))
    found = read_cells(grid, {"lat": slice(0, 2), "lon": slice(0, 3)})[0]
    np.testing.assert_allclose(found, rain.transpose("lat", "lon", "time").values, rtol=2e-6, atol=1e-6)


def test_packing_dust_is_clipped_and_counted_codes_are_missing_and_the_rest_is_impossible():
    rain = good().astype(float)
    rain[5, 0, 0] = rain[6, 0, 0] = -0.004
    rain[7, 0, 1] = -999.0
    rain[8, 0, 2] = -3.0
    rain[9, 1, 0] = 2500.0
    rain[:, 1, 1] = np.nan
    found, counts = read_cells(open_grid(rain), {"lat": slice(0, 2), "lon": slice(0, 3)})
    assert counts["days_clipped"].tolist() == [[2, 0, 0], [0, 0, 0]]
    assert counts["days_missing"].tolist() == [[0, 1, 0], [0, 730, 0]]
    assert counts["days_impossible"].tolist() == [[0, 0, 1], [1, 0, 0]]
    assert np.isnan(found).all(axis=-1).tolist() == [[False, True, True], [True, True, False]]
    assert found[0, 0, 5] == 0.0 and float(rain[5, 0, 0]) == -0.004  # the caller's own array is left alone


def test_packed_zeros_below_zero_by_a_step_of_the_packing_are_dust(tmp_path):
    rain = (good() - 0.03).assign_attrs(good().attrs)  # older versions of xarray drop them
    pack = {"dtype": "i2", "scale_factor": 0.05, "_FillValue": -32768}
    rain.to_netcdf(tmp_path / "packed.nc", encoding={"pr": pack})
    found, counts = read_cells(open_grid(tmp_path / "packed.nc"), {"lat": slice(0, 2), "lon": slice(0, 3)})
    assert counts["days_clipped"].sum() > 100 and counts["days_impossible"].sum() == 0 and (found >= 0).all()


@pytest.mark.parametrize("calendar, lacks", [("noleap", 1), ("360_day", 11)])
@pytest.mark.parametrize("bounded", [False, True])
def test_a_short_calendar_leaves_the_days_that_it_lacks_unknown(tmp_path, calendar, lacks, bounded):
    span = xr.date_range("2003-01-01", "2005-01-01", calendar=calendar, use_cftime=True)
    times = span[:-1]
    data = with_times(good(), times).to_dataset(name="pr")
    if bounded:
        data["time_bnds"] = (("time", "nv"), np.stack([span[:-1], span[1:]], axis=1))
        data.time.attrs["bounds"] = "time_bnds"
    data.to_netcdf(tmp_path / "model.nc")
    grid = open_grid(tmp_path / "model.nc")
    assert any(calendar in note for note in grid.notes) and grid.calendar == calendar
    assert grid.days.size == 731
    found, counts = read_cells(grid, {"lat": slice(0, 1), "lon": slice(0, 1)})
    unknown = np.isnan(found[0, 0])
    assert unknown.sum() == lacks and counts["days_missing"].sum() == 0
    assert calendar == "360_day" or unknown[grid.days.get_loc("2004-02-29")]
    np.testing.assert_allclose(found[0, 0, ~unknown], data.pr.values[:, 0, 0], rtol=1e-6)
    results = run_climates(grid, plan_for(grid.days), tmp_path / "out.zarr")
    assert bool((results.record_days == 731).all()) and results.attrs["calendar"] == calendar


@pytest.mark.parametrize("units, factor", [("mm", 1.0), ("kg m-2 s-1", 1 / 3600)])
def test_hours_are_summed_to_days_that_are_whole(tmp_path, units, factor):
    rng = np.random.default_rng(2)
    time = pd.date_range("2001-01-01 06:00", periods=24 * 400, freq="h")
    rain = np.where(rng.random((time.size, 2)) < 0.05, rng.exponential(2.0, (time.size, 2)), 0.0)
    data = xr.DataArray(rain * factor, {"time": time}, ("time", "site"), "pr", {"units": units})
    for k, part in enumerate((slice(0, 5000), slice(5000, None))):  # cut within a day
        data.isel(time=part).to_netcdf(tmp_path / f"h{k}.nc")
    grid = open_grid(str(tmp_path / "h*.nc"))
    assert any("summed to days" in note for note in grid.notes) and grid.readings == 24
    found, _ = read_cells(grid, {"site": slice(0, 2)})
    expected = pd.DataFrame(rain, time).resample("D").sum().iloc[1:-1]  # the days at the ends are not whole
    assert list(grid.days) == list(expected.index)
    np.testing.assert_allclose(found.T, expected.values, atol=1e-8)
    laid = lay_out(grid, {"site": 1}, tmp_path / "laid", "digest", 20_000)
    np.testing.assert_array_equal(read_cells(laid, {"site": slice(0, 2)})[0], found)


@pytest.mark.parametrize("name", ["tp", "pr"])
def test_hours_that_pile_up_from_midnight_are_refused(name):
    rng = np.random.default_rng(2)
    time = pd.date_range("2001-01-01 01:00", periods=24 * 400, freq="h")  # stamped at the end of each hour
    hours = np.where(rng.random((400, 24)) < 0.05, rng.exponential(2.0, (400, 24)), 0.0)
    for values, piled in ((hours.cumsum(axis=1), True), (hours, False)):
        rain = xr.DataArray(values.reshape(-1, 1), {"time": time}, ("time", "site"), name, {"units": "mm"})
        grid = open_grid(rain)
        if piled:
            with pytest.raises(InputError, match="pile up"):
                check_sample(grid)
        else:
            check_sample(grid)


def test_mask_and_region():
    data = region()
    grid = open_grid(data, mask="land")
    assert int((~grid.mask).sum()) == 1 and grid.mean_intensity.shape == (6, 8) and grid.invented
    lat, lon = data.latitude.values, data.longitude.values
    part = within(grid, (lat[1] - 0.01, lat[3] + 0.01, lon[2] - 360.01, lon[5] - 359.99))
    assert part.space == {"latitude": 3, "longitude": 4} and part.mask.shape == (3, 4)
    cut = read_cells(part, {"latitude": slice(0, 3), "longitude": slice(0, 4)})[0]
    np.testing.assert_array_equal(cut, data.rain.values[:, 1:4, 2:6].transpose(1, 2, 0).astype(float))
    with pytest.raises(InputError, match="no place of the grid"):
        within(grid, (50, 60, 0, 10))
    with pytest.raises(InputError, match="no variable is called"):
        open_grid(data, mask="nothing")


@pytest.mark.parametrize(
    "space", [{"site": 7}, {"latitude": 33, "longitude": 47}, {"member": 3, "latitude": 9, "longitude": 5}]
)
@pytest.mark.parametrize("cells", [1, 10, 256])
def test_regions_cover_every_place_once(space, cells):
    tile = tile_of(space, {d: 4 for d in space}, cells)
    assert np.prod(list(tile.values())) <= cells
    seen = np.zeros(tuple(space.values()), int)
    for one in regions_of(space, tile):
        seen[tuple(one[d] for d in space)] += 1
    assert (seen == 1).all()


@pytest.mark.parametrize("memory", [1e9, 60_000, 20_000])
def test_rain_by_day_is_laid_out_by_cell_within_memory(tmp_path, memory):
    data = region(rows=5, columns=6, years=3)
    for year, part in data.groupby("time.year"):
        part.to_netcdf(tmp_path / f"y{year}.nc", encoding={"rain": {"chunksizes": (1, 5, 6), "zlib": True}})
    grid = open_grid(str(tmp_path / "y*.nc"))
    tile = tile_of(grid.space, None, 6)
    assert not lies_by_cell(grid, tile) and len(grid.files) == 3
    laid = lay_out(grid, tile, tmp_path / "laid", "digest", memory)
    everything = {d: slice(0, n) for d, n in grid.space.items()}
    np.testing.assert_array_equal(read_cells(laid, everything)[0], read_cells(grid, everything)[0])
    assert lies_by_cell(laid.__class__(**{**vars(laid), "files": (tmp_path / "laid",)}), tile)
