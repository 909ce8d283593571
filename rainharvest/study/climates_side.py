"""One building in several climates side by side, and over a region: the study at hand, for sliders."""

from __future__ import annotations

import os
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import xarray as xr

from rainharvest.catchment.conveyance import Conveyance, other_kind
from rainharvest.climates.answers import CLIMATE, dry_against_wet
from rainharvest.climates.cells import VARIABLES, coords_of, over_cells, work_places
from rainharvest.climates.explain import explain, group_climates
from rainharvest.climates.grid import open_grid
from rainharvest.climates.plan import Plan
from rainharvest.climates.read import read_cells
from rainharvest.demand.fit_for_use import may_serve
from rainharvest.demand.uses import daily_demand
from rainharvest.errors import InputError
from rainharvest.names import attributes
from rainharvest.sizing.trade_off import sizes_to_try
from rainharvest.study.climates import plan_of
from rainharvest.study.conveyance import Climate, load_case
from rainharvest.study.file import Study, read_study
from rainharvest.study.file_climates import GridFile, Region

YEARS = 30
"""Years of each climate that follow the sliders: the last of its record."""
GROUPS = 4
"""Groups of alike climates on the map."""


@dataclass(frozen=True)
class Sides:
    """A building, and the climates to put it to side by side.

    Parameters
    ----------
    study : Study
        Whose roofs, uses and target they are.
    climates : dict of str to Climate
        By name.
    asked : dict of str to DataArray [L/day]
        Demand over the days of each climate.
    sizes : ndarray [L]
        Usable sizes of the curves.
    """

    study: Study
    climates: dict[str, Climate]
    asked: dict[str, xr.DataArray]
    sizes: np.ndarray

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
    case = load_case(path, records)
    study, _ = read_study(path)
    climates = {
        name: replace(
            climate, rain=climate.rain.isel(time=slice(-int(YEARS * 365.25), None)).reset_coords(drop=True)
        )
        for name, climate in case.climates.items()
    }
    uses = uses_of(study)
    asked = {n: daily_demand(uses, study.calendar, c.rain).sum("use") for n, c in climates.items()}
    return Sides(study, climates, asked, sizes_to_try(next(iter(asked.values())), 40))


def uses_of(study: Study) -> tuple:
    """Return the uses that rain alone may serve.

    Parameters
    ----------
    study : Study
        The study.

    Returns
    -------
    tuple of Use
        At least one.

    Raises
    ------
    InputError
        If every use needs drinking quality.
    """
    uses = tuple(use for use in study.use if may_serve("rain only", use.quality))
    if not uses:
        raise InputError("every use needs drinking quality", "add a use such as flush toilets", "use")
    return uses


def runs_of(study: Study, bore: float | None = None, **wet: float) -> dict[str, Conveyance]:
    """Return the study's run of pipe and one of the other kind.

    Parameters
    ----------
    study : Study
        With a conveyance.
    bore : float [mm], optional
        Bore of both runs; the study's by default.
    **wet
        Fields that the wet run has otherwise: ``run``, ``low_level``, ``bleed``.

    Returns
    -------
    dict of str to Conveyance
        "dry run" and "wet run".
    """
    own = study.conveyance if bore is None else study.conveyance.model_copy(update={"bore": bore})
    pair = {own.kind: own, ("wet" if own.kind == "dry" else "dry"): other_kind(own)}
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
        `rainharvest.climates.answers.dry_against_wet` gives.

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
