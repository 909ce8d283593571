"""Many climates from their study file, or beside the study at hand for sliders."""

from __future__ import annotations

import os
import tempfile
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import xarray as xr

from rainharvest.catchment.compare import BORES
from rainharvest.catchment.facts import Climate
from rainharvest.catchment.intensity import CLIMATES
from rainharvest.catchment.tables import Conveyance, run_of_kind
from rainharvest.climates.cells import VARIABLES, Plan, coords_of, over_cells, work_places
from rainharvest.climates.explain import CLIMATE, dry_against_wet, explain, group_climates, places_table
from rainharvest.climates.grid import open_grid
from rainharvest.climates.run import run_climates
from rainharvest.climates.tables import GridFile, Place, Region, read_region
from rainharvest.climates.tiles import Grid, read_cells
from rainharvest.core.errors import InputError
from rainharvest.core.outputs import whole_files
from rainharvest.core.quantities import attributes
from rainharvest.demand.uses import daily_demand, may_serve
from rainharvest.rainfall.record import longest_stretch
from rainharvest.sizing.trade_off import sizes_to_try
from rainharvest.study.file import Study, read_study

SIZES = 64

"""Sizes tried where the study names none: a block of the balance's lanes."""


@dataclass(frozen=True)
class Asked:
    """A study over many climates, ready to be worked."""

    region: Region  # What its file says
    text: str  # The file's text
    grid: Grid  # The rain, not yet read
    plan: Plan  # The building


def ask_climates(path: str | os.PathLike) -> Asked:
    """Read the study file of many climates and open its rain."""
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
    """Return the rain of a list of places, each filled once, over the days that all have."""
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
    """Work a study over many climates: results in a Zarr folder, a table of the places beside it."""
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
    """Return the usable size whose figures are given for every place."""
    if region.tank.chosen is not None:
        return region.tank.usable(region.tank.chosen)
    reaching = results.reaching.isel(conveyance=0, arrangement=0).values
    reaching = np.sort(reaching[np.isfinite(reaching)])
    sizes = results.capacity.values
    return float(reaching[reaching.size // 2] if reaching.size else sizes[sizes.size // 2])


def climates_of(path: str | os.PathLike) -> xr.Dataset:
    """Work a study over many climates in memory, for a notebook."""
    with tempfile.TemporaryDirectory() as folder:
        return write_climates(path, Path(folder) / "region.zarr").load()


YEARS = 30

"""Years of each climate that follow the sliders: the last of its record."""

GROUPS = 4

"""Groups of alike climates on the map."""


@dataclass(frozen=True)
class Sides:
    """A building, and the climates to put it to side by side."""

    study: Study  # Whose roofs, uses and target they are
    climates: dict[str, Climate]  # By name
    asked: dict[str, xr.DataArray]  # [L/day] Demand over the days of each climate
    sizes: np.ndarray  # [L] Usable sizes of the curves

    @property
    def area(self) -> float:
        """Plan area of all roofs [m2]."""
        return sum(roof.area for roof in self.study.roof)


def prepare_sides(path: str | os.PathLike, records: str | os.PathLike) -> Sides:
    """Read a study and the demo's records, once for many settings.

    Parameters
    ----------
    path : str or path
        The study file; it must have a run of pipe.
    records : str or path
        Folder of the demo's records.

    Returns
    -------
    Sides
        The last 30 years of five climates.

    Raises
    ------
    InputError
        If a file cannot be read, or the study has no conveyance.
    """
    from rainharvest.catchment.panel import demo_climates

    study, _ = read_study(path)
    if study.conveyance is None:
        raise InputError("it has no run of pipe", "add a [conveyance] table", "conveyance", Path(path))
    climates = {
        name: replace(
            climate, rain=climate.rain.isel(time=slice(-int(YEARS * 365.25), None)).reset_coords(drop=True)
        )
        for name, climate in demo_climates(records).items()
    }
    uses = uses_of(study)
    asked = {n: daily_demand(uses, study.calendar, c.rain).sum("use") for n, c in climates.items()}
    return Sides(study, climates, asked, sizes_to_try(next(iter(asked.values())), 40))


def uses_of(study: Study) -> tuple:
    """Return the uses that rain alone may serve."""
    uses = tuple(use for use in study.use if may_serve("rain only", use.quality))
    if not uses:
        raise InputError("every use needs drinking quality", "add a use such as flush toilets", "use")
    return uses


def runs_of(study: Study, bore: float | None = None, **wet: float) -> dict[str, Conveyance]:
    """Return the study's run of pipe and one of the other kind."""
    own = study.conveyance if bore is None else study.conveyance.model_copy(update={"bore": bore})
    pair = {kind: run_of_kind(own, kind) for kind in ("dry", "wet")}
    pair["wet"] = pair["wet"].model_copy(update=wet)
    return {f"{kind} run": pair[kind] for kind in ("dry", "wet")}


def side_by_side(sides: Sides, *, area: float, **changes: float) -> xr.Dataset:
    """Put the building to each climate.

    Parameters
    ----------
    sides : Sides
        The building and the climates.
    area : float [m2]
        Plan area of all roofs together.
    **changes
        As `runs_of`.

    Returns
    -------
    Dataset
        As `rainharvest.climates.cells.over_cells` on ``climate``, with what
        `rainharvest.climates.explain.dry_against_wet` gives.

    Raises
    ------
    InputError
        If a value is outside its limits, or a run cannot work.
    """
    study = sides.study
    factor = area / sides.area
    roofs = tuple(r.model_copy(update={"area": r.area * factor, "outlet_level": None}) for r in study.roof)
    own = study.catchment
    catchments = {
        name: own.model_copy(update={"roofs": roofs, "conveyance": run})
        for name, run in runs_of(study, **changes).items()
    }
    done = []
    for name, climate in sides.climates.items():
        plan = Plan(
            catchments,
            sides.asked[name],
            tuple(sides.sizes),
            target=study.target.reliability,
            measure=study.target.measure,
            intensity=climate.intensity,
            bores=(),
        )
        hard = climate.intensity.mean_intensity
        done.append(work_places(climate.rain.values, hard, plan, climate.rain.indexes["time"]))
    # labelled once: five Datasets put together would take longer than the work
    whole = xr.Dataset(
        {
            name: (("climate", *dims), np.stack([values[k] for values in done]), attributes(name))
            for k, (name, dims) in enumerate(VARIABLES.items())
        },
        coords_of(plan) | {"climate": ("climate", list(sides.climates))},
    )
    costs = dry_against_wet(whole).drop_vars(("lost_a_year", "best_bore"))
    out = whole.assign(wet_cost=costs.wet_cost)
    out.attrs = {
        "target": study.target.reliability,
        "measure": study.target.measure,
        "standing_limit": plan.standing_limit,
    }
    return out


def region_for(path: str | os.PathLike, rain: str | os.PathLike, **wet: float) -> xr.Dataset:
    """Put a study's building, by a dry and a wet run of pipe, to every place of a grid, in memory.

    Parameters
    ----------
    path : str or path
        The study file; it must have a run of pipe.
    rain : str or path
        Gridded daily rain with a variable ``land``.
    **wet
        As `runs_of`.

    Returns
    -------
    Dataset
        As `rainharvest.climates.cells.over_cells`, with ``wet_cost`` and ``group``; attributes ``target`` and so on.

    Raises
    ------
    InputError
        If a file cannot be used, or the study has no run of pipe.
    """
    study, _ = read_study(path)
    if study.conveyance is None:
        raise InputError("it has no run of pipe", "add a [conveyance] table", "conveyance", Path(path))
    grid = open_grid(rain, mask="land")
    region = Region(
        title=study.title,
        grid=GridFile(file=str(rain), mask="land"),
        roof=study.roof,
        conveyance=runs_of(study, **wet),
        losses=study.losses,
        calendar=study.calendar,
        use=uses_of(study),
        tank=study.tank,
        target=study.target,
    )
    plan = plan_of(region, grid)
    read = read_cells(grid, {d: slice(None) for d in grid.space})
    read.rain[~grid.mask.values] = np.nan
    coords = {n: v for n, v in grid.coords.items() if n in grid.space} | {"time": grid.days}
    values = xr.DataArray(read.rain, coords, (*grid.space, "time"))
    out = over_cells(values, plan, grid.mean_intensity)
    out["wet_cost"] = dry_against_wet(out).wet_cost
    out["group"] = group_climates(out[list(CLIMATE)], GROUPS).group
    out.attrs = {
        "target": plan.target,
        "measure": plan.measure,
        "standing_limit": plan.standing_limit,
        "years": grid.days.size / 365.25,
        "asked_a_year": float(plan.demand.mean()) * 365.25,
    }
    return out


def explained(results: xr.Dataset) -> xr.Dataset:
    """Return which statistics of the climate go with the cost of the wet run over a region.

    Parameters
    ----------
    results : Dataset
        As `region_for`.

    Returns
    -------
    Dataset
        As `rainharvest.climates.explain.explain`.
    """
    return explain(results.wet_cost, results)
