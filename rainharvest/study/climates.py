"""From the study file of many climates to its results: the command, and the same in memory for a notebook."""

from __future__ import annotations

import os
import tempfile
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import xarray as xr

from rainharvest.catchment.choose import BORES
from rainharvest.catchment.intensity import CLIMATES
from rainharvest.climates.answers import places_table
from rainharvest.climates.grid import Grid, open_grid
from rainharvest.climates.plan import Plan
from rainharvest.climates.run import run_climates
from rainharvest.demand.uses import daily_demand
from rainharvest.errors import InputError
from rainharvest.outputs import whole_files
from rainharvest.sizing.trade_off import sizes_to_try
from rainharvest.study.file_climates import Place, Region, read_region
from rainharvest.study.record import longest_stretch

SIZES = 64
"""Sizes tried where the study names none: a block of the balance's lanes."""


@dataclass(frozen=True)
class Asked:
    """A study over many climates, ready to be worked.

    Parameters
    ----------
    region : Region
        What its file says.
    text : str
        The file's text.
    grid : Grid
        The rain, not yet read.
    plan : Plan
        The building.
    """

    region: Region
    text: str
    grid: Grid
    plan: Plan


def ask_climates(path: str | os.PathLike) -> Asked:
    """Read the study file of many climates and open its rain.

    Parameters
    ----------
    path : str or path
        The study file.

    Returns
    -------
    Asked
        Ready to be worked.

    Raises
    ------
    InputError
        If the file or its rain cannot be used.
    """
    path = Path(path)
    region, text = read_region(path)
    try:
        if region.grid is not None:
            files = region.grid.file if isinstance(region.grid.file, tuple) else (region.grid.file,)
            source = [str(path.parent / file) for file in files]
            grid = open_grid(source, **region.grid.model_dump(exclude={"file"}))
        else:
            grid = open_grid(rain_of_places(region.place, path.parent))
        return Asked(region, text, grid, plan_of(region, grid))
    except InputError as error:
        raise error.at(path) from None


def plan_of(region: Region, grid: Grid) -> Plan:
    """Return what the study puts to every climate.

    Parameters
    ----------
    region : Region
        The study.
    grid : Grid
        The rain, for its days.

    Returns
    -------
    Plan
        With the sizes of the study, or 64 from half a day's demand to a year's.
    """
    time = xr.DataArray(grid.days, dims="time", name="time")
    demand = daily_demand(region.use, region.calendar, time).sum("use")
    share = region.tank.usable_share
    sizes = np.array(region.tank.sizes) * share if region.tank.sizes else sizes_to_try(demand, SIZES)
    return Plan(
        catchments=region.catchments,
        demand=demand,
        capacity=tuple(map(float, sizes)),
        arrangements=region.arrangements,
        target=region.target.reliability,
        measure=region.target.measure,
        intensity=region.losses.intensity,
        standing_limit=region.standing_limit,
        bores=BORES if region.best_bore else (),
        theta=region.tank.theta,
        start_share=region.tank.start_share,
        year_start_month=region.year_start_month,
    )


def rain_of_places(places: tuple[Place, ...], folder: Path) -> xr.Dataset:
    """Return the rain of a list of places, each filled once, over the days that all have.

    Parameters
    ----------
    places : tuple of Place
        The places.
    folder : Path
        The folder from which their files are meant.

    Returns
    -------
    Dataset
        ``rain`` (mm/day) on ``site`` and ``time``; ``mean_intensity`` (mm/h) on ``site``.

    Raises
    ------
    InputError
        If a file cannot be read, or the places have less than a year in common.
    """
    from rainharvest.rainfall.fill import fill_gaps
    from rainharvest.rainfall.read import read_rain

    found = []
    for place in places:
        rain = read_rain(folder / place.file)
        beside = [read_rain(folder / other) for other in place.neighbours]
        filled, _ = longest_stretch(fill_gaps(rain, beside or None, members=1))
        found.append(filled.isel(member=0, drop=True).reset_coords(drop=True))
    together = xr.concat(found, "site", join="inner", combine_attrs="drop_conflicts")
    if together.sizes["time"] < 365:
        raise InputError(
            f"the places have {together.sizes['time']} days in common",
            "give records of the same years",
            "place",
        )
    hard = [CLIMATES[place.hardness].mean_intensity for place in places]
    return xr.Dataset(
        {"rain": together, "mean_intensity": ("site", hard)},
        {
            "site": (
                "site",
                [place.name for place in places],
                {"cf_role": "timeseries_id", "long_name": "Place"},
            )
        },
    ).assign_attrs(note="invented" if "invented" in str(together.attrs).lower() else "")


def write_climates(
    path: str | os.PathLike,
    out: str | os.PathLike,
    *,
    threads: int | None = None,
    cluster: str | None = None,
    progress: bool = False,
) -> xr.Dataset:
    """Work a study over many climates: results in a Zarr folder, a table of the places beside it.

    Parameters
    ----------
    path : str or path
        The study file.
    out : str or path
        The Zarr folder; the table gets its name with ``.csv``.
    threads : int, optional
        As `rainharvest.climates.run.run_climates`.
    cluster : str, optional
        Address of a Dask scheduler.
    progress : bool
        Show the scheduler's progress bar.

    Returns
    -------
    Dataset
        As `rainharvest.climates.store.open_climates`.

    Raises
    ------
    InputError
        As `ask_climates` and `rainharvest.climates.run.run_climates`.
    """
    asked, out = ask_climates(path), Path(out)
    attrs = {"title": asked.region.title, "study": asked.text}
    try:
        results = run_climates(
            asked.grid, asked.plan, out, threads=threads, cluster=cluster, progress=progress, attrs=attrs
        )
    except InputError as error:
        raise error.at(path) from None
    with whole_files(out.parent) as scratch:
        table = places_table(results, described_size(asked.region, results))
        table.to_csv(
            scratch / out.with_suffix(".csv").name, index=False, float_format="%.6g", lineterminator="\n"
        )
    return results


def described_size(region: Region, results: xr.Dataset) -> float:
    """Return the usable size whose figures are given for every place.

    Parameters
    ----------
    region : Region
        The study.
    results : Dataset
        Its results.

    Returns
    -------
    float [L]
        The study's own if it names one; else the middle of those that reach the target where any does, else
        the middle of the sizes tried.
    """
    if region.tank.chosen is not None:
        return region.tank.usable(region.tank.chosen)
    reaching = results.reaching.isel(conveyance=0, arrangement=0).values
    reaching = np.sort(reaching[np.isfinite(reaching)])
    sizes = results.capacity.values
    return float(reaching[reaching.size // 2] if reaching.size else sizes[sizes.size // 2])


def climates_of(path: str | os.PathLike) -> xr.Dataset:
    """Work a study over many climates in memory, for a notebook.

    Parameters
    ----------
    path : str or path
        The study file.

    Returns
    -------
    Dataset
        As `write_climates`, loaded.

    Raises
    ------
    InputError
        As `write_climates`.
    """
    with tempfile.TemporaryDirectory() as folder:
        return write_climates(path, Path(folder) / "region.zarr").load()
