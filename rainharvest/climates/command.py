"""The command over many climates: a study file opened and put to every place, results and a table written."""

from __future__ import annotations

import os
import textwrap
from dataclasses import dataclass
from pathlib import Path

import pandas as pd
import xarray as xr

from rainharvest.catchment.intensity import CLIMATES
from rainharvest.climates.cells import YEAR, Plan
from rainharvest.climates.facts import described_size, places_table, plan_of, run_facts
from rainharvest.climates.grid import open_grid
from rainharvest.climates.run import run_climates
from rainharvest.climates.tables import Place, Region, read_region
from rainharvest.climates.tiles import Grid
from rainharvest.core.errors import InputError, require
from rainharvest.core.outputs import check_folder, whole_files, write_csv
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
            files = region.grid.file if isinstance(region.grid.file, tuple) else (region.grid.file,)
            source = [str(path.parent / file) for file in files]
            grid = open_grid(source, **region.grid.model_dump(exclude={"file"}))
        else:
            grid = open_grid(rain_of_places(region.place, path.parent, region.common_period))
        return Opened(region, text, grid, plan_of(region, grid))
    except InputError as error:
        raise error.at(path) from None


def rain_of_places(places: tuple[Place, ...], folder: Path, common_period: bool = False) -> xr.Dataset:
    """Return the rain of a list of places, each filled once: over its own record or over the days that all have."""
    from rainharvest.rainfall.fill import fill_gaps
    from rainharvest.rainfall.read import read_rain

    found = []
    for place in places:
        neighbours = [read_rain(folder / file) for file in place.neighbours]
        filled = fill_gaps(read_rain(folder / place.file), neighbours or None, members=1)
        whole, _ = longest_stretch(filled)
        found.append(whole.isel(member=0, drop=True).reset_coords(drop=True))
    for place, own in zip(places, found, strict=True):
        problem = f"{place.name} has {own.sizes['time']} days in a row"
        require(own.sizes["time"] >= YEAR, problem, "add neighbours, or a longer record", "place")
    join = "inner" if common_period else "outer"
    together = xr.concat(found, "site", join=join, combine_attrs="drop_conflicts")
    days = together.sizes["time"]
    problem = f"the places have {days} days in common"
    require(days >= YEAR, problem, "leave common_period out: each place then has its own record", "place")
    every = pd.date_range(*together.indexes["time"][[0, -1]], name="time")
    together = together.reindex(time=every)  # records may lie decades apart
    named = {"cf_role": "timeseries_id", "long_name": "Place"}
    return xr.Dataset(
        {
            "rain": together,
            "mean_intensity": ("site", [CLIMATES[place.hardness].mean_intensity for place in places]),
        },
        {"site": ("site", [place.name for place in places], named)},
        {"note": "invented" if "invented" in str(together.attrs).lower() else ""},
    )


def write_climates(
    path: str | os.PathLike,
    out: str | os.PathLike,
    *,
    threads: int | None = None,
    cluster: str | None = None,
    progress: bool = False,
) -> xr.Dataset:
    """Compute a study over many climates: results in a Zarr folder, a table of the places beside it."""
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
    table = places_table(results, size)
    with whole_files(out.parent) as scratch:
        file = scratch / out.with_suffix(".csv").name
        write_csv(table, file, index=False, float_format="%.6g")
    return results.assign_attrs(described_size=size)


def tell_climates(results: xr.Dataset, width: int = 100) -> None:
    """Print what a run over climates found, broken into lines."""
    facts, say = run_facts(results), texts_of("climates")
    said = [say.places(facts)]
    said += [say.repaired(what, count) for what, count in facts["repairs"].items() if count]
    said += [say.reached(run, facts) for run in facts["reached"]]
    said += [say.wet_cost(facts["wet_cost"])] if facts["wet_cost"] else []
    for text in said:
        print(textwrap.fill(text, width))
