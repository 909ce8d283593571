"""The command over many climates: a study file opened and put to every place, results and a table written."""

from __future__ import annotations

import os
import textwrap
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
import xarray as xr

from rainharvest.catchment.intensity import CLIMATES, Intensity, intensity_of_place
from rainharvest.catchment.tables import Losses
from rainharvest.climates.cells import YEAR, Plan
from rainharvest.climates.delta import changed
from rainharvest.climates.facts import (
    RECORD,
    described_size,
    map_facts,
    models_facts,
    places_table,
    plan_of,
    run_facts,
)
from rainharvest.climates.figures import map_figure
from rainharvest.climates.grid import check_sample, open_grid
from rainharvest.climates.run import run_climates
from rainharvest.climates.statistics import months_of
from rainharvest.climates.tables import Files, Place, Region, read_region
from rainharvest.climates.tiles import Grid, cell_at, read_cells
from rainharvest.core.errors import InputError, require
from rainharvest.core.outputs import check_folder, whole_files, write_csv
from rainharvest.core.reader import percent
from rainharvest.core.style import svg
from rainharvest.core.text import texts_of
from rainharvest.rainfall.record import longest_stretch


@dataclass(frozen=True)
class Opened:
    """A study over many climates, ready to be computed."""

    region: Region  # What its file says
    text: str  # The file's text
    grid: Grid  # The rain, not yet read
    plan: Plan  # The building


def open_region(path: str | os.PathLike) -> Opened:
    """Read the study file of many climates and open its rain."""
    path = Path(path)
    region, text = read_region(path)
    try:
        if region.grid is not None:
            grid = open_grid(
                _beside(path.parent, region.grid.file), **region.grid.model_dump(exclude={"file"})
            )
        else:
            grid = open_grid(rain_of_places(region, path.parent))
        return Opened(region, text, grid, plan_of(region, grid))
    except InputError as error:
        raise error.at(path) from None


def _beside(folder: Path, files: Files) -> list[str]:
    """Return files as the study names them, from its folder."""
    return [str(folder / file) for file in ((files,) if isinstance(files, str) else files)]


def rain_of_places(region: Region, folder: Path) -> xr.Dataset:
    """Return the rain of a list of places, each filled once: over its own record or over the days that all have.

    With climate models, the record and the record as each model changes it stand side by side on ``model``.
    """
    from rainharvest.rainfall.fill import fill_gaps
    from rainharvest.rainfall.read import read_rain

    found, places = [], region.place
    for place in places:
        neighbours = [read_rain(folder / file) for file in place.neighbours]
        point = None if place.latitude is None else (place.latitude, place.longitude)
        gridded = Path(place.file).suffix in (".nc", ".nc4", ".zarr")
        at = place.site or (point if gridded else None)
        rain = read_rain(folder / place.file, column=place.column, units=place.units, at=at)
        whole, _ = longest_stretch(fill_gaps(rain, neighbours or None, members=1))
        own = whole.isel(member=0, drop=True).reset_coords(drop=True)
        problem = f"{place.name} has {own.sizes['time']} days in a row"
        require(own.sizes["time"] >= YEAR, problem, "add neighbours, or a longer record", "place")
        found.append(own)
    join = "inner" if region.common_period else "outer"
    if region.model:
        found = _with_models(found, region, folder)
    together = xr.concat(found, "site", join=join, combine_attrs="drop_conflicts")
    days = together.sizes["time"]
    problem = f"the places have {days} days in common"
    require(days >= YEAR, problem, "leave common_period out: each place then has its own record", "place")
    every = pd.date_range(*together.indexes["time"][[0, -1]], name="time")
    together = together.reindex(time=every)  # records may lie decades apart
    named = {"cf_role": "timeseries_id", "long_name": "Place"}
    coords = {"site": ("site", [place.name for place in places], named)}
    if all(place.latitude is not None for place in places):
        coords |= {name: ("site", [getattr(p, name) for p in places]) for name in ("latitude", "longitude")}
    hard = [_hardness(place, region.losses) for place in places]
    mean = xr.DataArray([one.mean_intensity for one in hard], dims="site")
    mean = mean.assign_coords(variation=("site", [one.variation for one in hard]))
    note = "invented" if "invented" in str(together.attrs).lower() else ""
    return xr.Dataset({"rain": together, "mean_intensity": mean}, coords, {"note": note})


def _hardness(place: Place, losses: Losses) -> Intensity:
    """Return how hard it rains at a place: as it says, as the losses say, or by its latitude."""
    if place.hardness:
        return CLIMATES[place.hardness]
    given = "intensity" in losses.model_fields_set
    return losses.intensity if given else intensity_of_place(place.latitude)


def _with_models(found: list[xr.DataArray], region: Region, folder: Path) -> list[xr.DataArray]:
    """Return each record with the record as each model changes it, on ``model``."""
    versions = [[rain.values] for rain in found]
    for model in region.model:
        hints = {"column": model.column, "units": model.units}
        grids = [open_grid(_beside(folder, files), **hints) for files in (model.historical, model.future)]
        for grid in grids:
            check_sample(grid)
        for k, (place, rain) in enumerate(zip(region.place, found, strict=True)):
            periods = [_at(grid, place) for grid in grids]
            try:
                versions[k].append(changed(rain.values, rain.time.dt.month.values, *periods, seed=k))
            except InputError as error:
                raise error.at(grids[0].files[0]) from None
    names = [RECORD, *(model.name for model in region.model)]
    return [
        xr.DataArray(np.stack(own), {"model": names, "time": rain.time}, ("model", "time"), attrs=rain.attrs)
        for own, rain in zip(versions, found, strict=True)
    ]


def _at(grid: Grid, place: Place) -> tuple[np.ndarray, np.ndarray]:
    """Return the rain of a model at a place, as far as it is known, and the months of its own calendar."""
    rain = read_cells(grid, cell_at(grid, place.latitude, place.longitude))[0].reshape(-1)
    problem, remedy = f"the model has no rain at {place.name}", "give a model that covers it"
    require(np.isfinite(rain).any(), problem, remedy, "model", grid.files[0])
    return rain, months_of(grid.days, grid.calendar)[0] + 1


def write_climates(
    path: str | os.PathLike,
    out: str | os.PathLike,
    *,
    threads: int | None = None,
    cluster: str | None = None,
    progress: bool = False,
) -> xr.Dataset:
    """Compute a study over many climates: results in a Zarr folder, a table and, of a grid, a map beside it."""
    check_folder(out)
    opened, out = open_region(path), Path(out)
    common = int(opened.region.common_period)
    attrs = {"title": opened.region.title, "study": opened.text, "common_period": common}
    try:
        results = run_climates(
            opened.grid, opened.plan, out, threads=threads, cluster=cluster, progress=progress, attrs=attrs
        )
    except InputError as error:
        raise error.at(path) from None
    size = described_size(opened.region, results)
    named = by_standard_names(results)
    table = places_table(named, size)
    with whole_files(out.parent) as scratch:
        write_csv(table, scratch / out.with_suffix(".csv").name, index=False, float_format="%.6g")
        space = {*named.latitude.dims, *named.longitude.dims} if "latitude" in named.coords else set()
        if len(space) == 2 and space == set(named.rain_year.dims):  # a grid, no list of places
            (scratch / out.with_suffix(".svg").name).write_text(map_of_run(named), encoding="utf-8")
    return results.assign_attrs(described_size=size)


def by_standard_names(results: xr.Dataset) -> xr.Dataset:
    """Return results whose latitude and longitude bear these names, however the grid's own file calls them."""
    roles = {str(at.attrs.get("standard_name")): str(name) for name, at in results.coords.items()}
    own = {roles[role]: role for role in ("latitude", "longitude") if role in roles and roles[role] != role}
    return results.rename(own)


def map_of_run(results: xr.Dataset) -> str:
    """Return the map of the size that reaches the target, by the first run and in the first arrangement, as SVG."""
    one = results.isel(conveyance=0, arrangement=0)
    values, land = one.reaching / 1000, one.rain_year.notnull()
    title = f"Size that reaches {percent(results.attrs['target'])}, {one.conveyance.item()}"
    words = texts_of("climates").map(map_facts(one.reaching, "reaching", "litres"))
    coast = not results.attrs["invented"]  # an invented region lies on no map of the world
    return svg(map_figure(values, land, title, "kL", coast=coast), "climates-map", words)


def tell_climates(results: xr.Dataset, width: int = 100) -> None:
    """Print what a run over climates found, broken into lines."""
    facts, say = run_facts(results), texts_of("climates")
    said = [say.places(facts)]
    said += [say.repaired(what, count) for what, count in facts["repairs"].items() if count]
    said += [say.reached(run, facts) for run in facts["reached"]]
    said += [say.wet_cost(facts["wet_cost"])] if facts["wet_cost"] else []
    models = models_facts(results)
    said += [say.models(models)] if models else []
    for text in said:
        print(textwrap.fill(text, width))
