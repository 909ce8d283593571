"""The study file of many climates and its command: mistakes a line each, results in Zarr and CSV."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
import xarray as xr
from places import DATA
from real_records import aquacrop, seattle, texmex

from rainharvest import delta_change, fill_gaps, over_cells, read_rain
from rainharvest.__main__ import main
from rainharvest.climates.command import open_region, tell_climates, write_climates
from rainharvest.climates.facts import described_size
from rainharvest.climates.run import open_climates
from rainharvest.climates.tables import read_region
from rainharvest.core.errors import InputError
from rainharvest.rainfall.record import longest_stretch

REGION = DATA / "studies" / "region.toml"
GRID = '[grid]\nfile = "' + str(DATA / "region" / "rain.nc") + '"\nmask = "land"\n'


def changed(tmp_path, *changes):
    text = REGION.read_text(encoding="utf-8").replace("../region/rain.nc", str(DATA / "region" / "rain.nc"))
    for old, new in changes:
        assert old in text
        text = text.replace(old, new, 1)
    path = tmp_path / "region.toml"
    path.write_text(text, encoding="utf-8")
    return path


@pytest.mark.parametrize(
    "old, new, words",
    [
        ("[grid]", "[gird]", "gird: no such key is known; did you mean grid?"),
        ('kind = "wet"', 'kind = "syphon"', "conveyance.wet run.kind"),
        ("area = 240", "area = -240", "roof[1].area"),
        ('kind = "dual_flush"', 'kind = "outpatient"', "needs drinking quality"),
        ('mask = "land"', 'mask = "ground"', "no variable is called 'ground'"),
        ("rain.nc", "nothing.nc", "no such file"),
        ("inlet_level = 2.3\nfilter_drop = 0.2\nlow_level", "inlet_level = 9.3\nlow_level", "conveyance"),
        ('mask = "land"', "region = [50, 60, 0, 10]", "no place of the grid"),
        ("reliability = 0.8", "reliability = 1.8", "target.reliability"),
    ],
)
def test_a_mistake_ends_in_one_line_and_exit_2(tmp_path, capsys, old, new, words):
    path = changed(tmp_path, (old, new))
    assert main(["climates", str(path), "--out", str(tmp_path / "out.zarr")]) == 2
    said = capsys.readouterr().err
    assert words in said and "Traceback" not in said and ("region.toml" in said or "nothing.nc" in said)
    assert not (tmp_path / "out.zarr").exists()


def test_both_or_neither_kind_of_rain_is_refused(tmp_path):
    with pytest.raises(InputError, match="twice or not at all"):
        read_region(changed(tmp_path, (GRID, "")))


def test_the_command_writes_a_store_and_a_table_and_goes_on(tmp_path, capsys):
    path = changed(tmp_path, ("[target]", "best_bore = false\n[target]"))
    text = path.read_text(encoding="utf-8")
    path.write_text("best_bore = false\n" + text.replace("best_bore = false\n", ""), encoding="utf-8")
    out = tmp_path / "region.zarr"
    assert main(["climates", str(path), "--out", str(out), "--threads", "2"]) == 0
    first = capsys.readouterr().out
    assert "116 places were worked" in first and "invented" in first
    assert "Dry run: 80 % is reached at" in first
    results = open_climates(out)
    table = pd.read_csv(tmp_path / "region.csv")
    drawn = (tmp_path / "region.svg").read_text(encoding="utf-8")
    assert "Size that reaches 80 %, dry run" in drawn and "° S" in drawn
    assert len(table) == 116 and results.attrs["study"] == path.read_text(encoding="utf-8")
    row = table.iloc[40]
    here = results.sel(latitude=row.latitude, longitude=row.longitude)
    assert row["rain a year [mm/year]"] == pytest.approx(float(here.rain_year), rel=1e-5)
    sizes = results.reaching.sel(conveyance="dry run").isel(arrangement=0)
    assert f"{int(sizes.notnull().sum())} of them" in first
    assert main(["climates", str(path), "--out", str(out)]) == 0
    assert capsys.readouterr().out == first
    other = changed(tmp_path, ("reliability = 0.8", "reliability = 0.7"))
    assert main(["climates", str(other), "--out", str(out)]) == 2
    assert "other inputs" in capsys.readouterr().err


def test_a_grid_with_other_names_has_its_map_too(tmp_path, capsys):
    path = changed(tmp_path, (GRID, '[grid]\nfile = "few.nc"\nmask = "land"\n'))
    with xr.open_dataset(DATA / "region" / "rain.nc") as grid:
        few = grid.isel(latitude=slice(2, 5), longitude=slice(2, 5))
        few.rename(latitude="lat", longitude="lon").drop_encoding().to_netcdf(tmp_path / "few.nc")
    assert main(["climates", str(path), "--out", str(tmp_path / "few.zarr")]) == 0, capsys.readouterr().err
    assert "Size that reaches 80 %" in (tmp_path / "few.svg").read_text(encoding="utf-8")
    assert {"latitude", "longitude"} == set(pd.read_csv(tmp_path / "few.csv").columns[:2])


def test_places_with_a_record_each(tmp_path, capsys):
    records = DATA / "records"
    places = "".join(
        f'[[place]]\nname = "{name}"\nfile = "{records / (name + ".csv")}"\nhardness = "{hard}"\n'
        for name, hard in (("monsoon", "monsoon"), ("semi_arid", "dry"))
    )
    path = changed(tmp_path, (GRID, places))
    opened = open_region(path)
    assert opened.grid.space == {"site": 2} and opened.grid.mean_intensity.values.tolist() == [3.0, 1.8]
    results = write_climates(path, tmp_path / "places.zarr")
    tell_climates(results)
    said = capsys.readouterr().out
    assert "At the tap of a tank of" in said and "each on its own record of 23 to" in said
    assert results.site.values.tolist() == ["monsoon", "semi_arid"]
    assert float(results.rain_year[0]) > 2 * float(results.rain_year[1])
    assert described_size(opened.region, results) in results.capacity.values


@pytest.mark.parametrize("said, left_out", [("", [3.5, 1.7]), ('[losses]\nintensity = "dry"\n', [1.8, 1.8])])
def test_a_place_that_does_not_say_how_hard_it_rains_has_it_of_the_losses_or_its_latitude(
    tmp_path, said, left_out
):
    days = pd.date_range("2001-01-01", periods=800)
    pd.DataFrame({"date": days, "rain_mm": 1.0}).to_csv(tmp_path / "rain.csv", index=False)
    given = ('latitude = 5\nlongitude = 0\nhardness = "monsoon"', "latitude = 5\nlongitude = 0", "")
    places = "".join(f'[[place]]\nname = "p{k}"\nfile = "rain.csv"\n{one}\n' for k, one in enumerate(given))
    grid = open_region(changed(tmp_path, (GRID, places + said))).grid
    assert grid.mean_intensity.values.tolist() == [3.0, *left_out]
    by_mean = {3.5: 1.3, 3.0: 1.2, 1.7: 1.0, 1.8: 1.3}  # of the same climates
    assert grid.mean_intensity.variation.values.tolist() == [by_mean[mean] for mean in (3.0, *left_out)]


def test_places_keep_their_own_records_and_share_days_only_if_asked(tmp_path, capsys):
    """A record of 23 years must not be cut in silence to the three years of another."""
    rain = {name: read_rain(DATA / "records" / f"{name}.csv") for name in ("monsoon", "semi_arid")}
    lasting = {name: longest_stretch(fill_gaps(one))[0].isel(member=0) for name, one in rain.items()}
    lasting["semi_arid"] = lasting["semi_arid"].isel(time=slice(-1100, None))
    for name, one in lasting.items():
        table = pd.DataFrame({"date": one.indexes["time"], "rain_mm": one.values.round(1)})
        table.to_csv(tmp_path / f"{name}.csv", index=False)
    places = "".join(f'[[place]]\nname = "{n}"\nfile = "{tmp_path / n}.csv"\n' for n in lasting)
    path = changed(tmp_path, (GRID, places))
    results = write_climates(path, tmp_path / "own.zarr")
    days = [one.sizes["time"] for one in lasting.values()]
    assert results.record_days.values.tolist() == days and days[0] > 7 * days[1]
    tell_climates(results)
    assert "each on its own record of 3 to" in capsys.readouterr().out.replace("\n", " ")
    opened = open_region(path)
    own = read_rain(tmp_path / "monsoon.csv").reset_coords(drop=True)
    alone = over_cells(
        own,
        replace(opened.plan, demand=opened.plan.demand.sel(time=own.time)),
        float(opened.grid.mean_intensity[0]),
    )
    np.testing.assert_array_equal(results.reaching[0], alone.reaching)
    text = path.read_text(encoding="utf-8")
    path.write_text("common_period = true\n" + text, encoding="utf-8")
    shared = write_climates(path, tmp_path / "common.zarr")
    assert shared.record_days.values.tolist() == [days[1]] * 2
    tell_climates(shared)
    assert "the days that all places share" in capsys.readouterr().out.replace("\n", " ")
    path.write_text(text + "\n[calendar]\ngrowth = 0.02\n", encoding="utf-8")
    with pytest.raises(InputError, match="years of its own"):
        read_region(path)


def test_the_demo_file_is_the_one_that_its_function_makes(tmp_path):
    from region import write_grid

    write_grid(tmp_path / "rain.nc")
    with xr.open_dataset(tmp_path / "rain.nc") as made, xr.open_dataset(DATA / "region" / "rain.nc") as kept:
        xr.testing.assert_identical(made, kept)
    assert (DATA / "region" / "rain.nc").stat().st_size < 1_000_000
    write_grid(tmp_path / "large.zarr", rows=6, columns=7, years=2)
    write_grid(tmp_path / "small.nc", rows=6, columns=7, years=2)
    with xr.open_zarr(tmp_path / "large.zarr") as large, xr.open_dataset(tmp_path / "small.nc") as small:
        np.testing.assert_allclose(large.rain.transpose(*small.rain.dims), small.rain, atol=1e-4)
        assert "INVENTED" in large.attrs["title"] and large.mean_intensity.equals(small.mean_intensity)


def climate_model(folder, name, calendar, wetter, deeper, seed):
    """Write the INVENTED rain of a climate model: a past and a future, a flux on a grid of four cells, CF."""
    periods = {"past": (1981, 0.3, 6.0), "next": (2041, 0.3 * wetter, 6.0 * deeper)}
    for period, (year, wet, depth) in periods.items():
        time = xr.date_range(f"{year}-01-01", f"{year + 19}-12-30", calendar=calendar, use_cftime=True)
        rng, shape = np.random.default_rng(seed), (time.size, 2, 2)
        rain = np.where(rng.random(shape) < wet, 1 + rng.exponential(depth, shape), 0.0) / 86400
        coords = {
            "time": time,
            "lat": ("lat", [-34.0, -32.0], {"units": "degrees_north"}),
            "lon": ("lon", [3.0, 5.0], {"units": "degrees_east"}),
        }
        data = xr.Dataset({"pr": (("time", "lat", "lon"), rain, {"units": "kg m-2 s-1"})}, coords)
        data.assign_attrs(title="INVENTED").to_netcdf(folder / f"{name}_{period}.nc")


def test_two_models_side_by_side_on_a_record_from_the_study_file(tmp_path, capsys):
    tables = ""
    for name, *given in (("drier", "noleap", 0.7, 1.0, 1), ("alike", "360_day", 1.0, 1.0, 2)):
        climate_model(tmp_path, name, *given)
        tables += f'[[model]]\nname = "{name}"\nhistorical = "{name}_past.nc"\nfuture = "{name}_n*.nc"\n'
    at = f'[[place]]\nname = "here"\nfile = "{DATA}/records/semi_arid.csv"\nlatitude = -33.4\nlongitude = 4.9\n'
    path = changed(tmp_path, (GRID, at + tables))
    path.write_text("best_bore = false\n" + path.read_text(encoding="utf-8"), encoding="utf-8")
    results = write_climates(path, tmp_path / "out.zarr")
    assert results.model.values.tolist() == ["the record", "drier", "alike"]
    grid = open_region(path).grid
    own = grid.pieces[0].sel(model="the record").isel(site=0).assign_coords(time=grid.days).dropna("time")
    past, future = (xr.open_dataset(tmp_path / f"drier_{one}.nc").pr[:, 0, 1] for one in ("past", "next"))
    # in the model's own calendar, at the nearest cell
    by_hand = float(delta_change(own, past, future).mean())
    assert float(results.rain_year.sel(model="drier")[0]) == pytest.approx(by_hand * 365.25, rel=1e-6)
    water = results.yearly_yield[..., -1].sel(conveyance="dry run").values.ravel()
    assert water[1] < 0.9 * water[0] and water[2] == pytest.approx(water[0], rel=0.05)
    tell_climates(results)
    said = " ".join(capsys.readouterr().out.split())
    assert "1 places were worked" in said and "change of 2 climate models laid on each record" in said
    table = pd.read_csv(tmp_path / "out.csv")
    assert table["model"].tolist() == ["the record", "drier", "alike"] and set(table["latitude"]) == {-33.4}
    for old, new, words in (
        ("latitude = -33.4\nlongitude = 4.9\n", "", "on the map"),
        ("latitude = -33.4\n", "", "give both"),
        ("-33.4", "33.4", "outside the grid"),
        ('name = "alike"', 'name = "drier"', "two models bear the name"),
    ):
        wrong = tmp_path / "wrong.toml"
        wrong.write_text(path.read_text(encoding="utf-8").replace(old, new), encoding="utf-8")
        with pytest.raises(InputError, match=words):
            open_region(wrong)


# Seven gauges and three points of a grid, out of packages' data files.
FILES = ("tunis", "cordoba", "brussels", "hyderabad", "champion", "cambridge", "norfolk", "suffolk")


def test_ten_real_records_through_one_command_each_over_its_own_period(tmp_path, capsys):
    records = {name: aquacrop(name) for name in FILES} | {"seattle": seattle(), "england": texmex()}
    places = ""
    for name, rain in records.items():
        rain.rename("rain_mm").rename_axis("date").to_csv(tmp_path / f"{name}.csv")
        places += f'[[place]]\nname = "{name}"\nfile = "{name}.csv"\ncolumn = "rain_mm"\nunits = "mm"\n'
    path = changed(tmp_path, (GRID, places))
    assert main(["climates", str(path), "--out", str(tmp_path / "out.zarr")]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "10 places were worked" in said and "each on its own record of" in said and "invented" not in said
    table = pd.read_csv(tmp_path / "out.csv").set_index("site")
    for name, rain in records.items():
        if rain.asfreq("D").notna().all():
            assert table.loc[name, "days of the record [day]"] == rain.size
            assert table.loc[name, "rain a year [mm/year]"] == pytest.approx(rain.mean() * 365.25, rel=1e-4)
    assert table.filter(like="first").nunique().max() > 3
