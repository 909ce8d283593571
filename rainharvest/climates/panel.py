"""One building in five climates, and over a region: sliders, a map, a place picker."""

from __future__ import annotations

import os
from dataclasses import dataclass, replace
from functools import lru_cache, partial
from pathlib import Path

import ipywidgets as widgets
import numpy as np
import xarray as xr

from rainharvest.catchment.panel import demo_climates
from rainharvest.catchment.tables import CAUTIONS
from rainharvest.climates.cells import over_cells
from rainharvest.climates.facts import (
    CLIMATE,
    Sides,
    both_runs,
    explained_facts,
    in_each_climate,
    map_facts,
    place_facts,
    plan_attributes,
    plan_of,
    rain_uses,
    sides_facts,
    wet_and_why,
)
from rainharvest.climates.figures import (
    explain_figure,
    map_figure,
    place_figure,
    sides_figure,
    wet_sides_figure,
)
from rainharvest.climates.grid import open_grid
from rainharvest.climates.statistics import group_climates
from rainharvest.climates.tables import GridFile, Region
from rainharvest.climates.tiles import read_cells
from rainharvest.core.board import board
from rainharvest.core.controls import choice, slider
from rainharvest.core.defaults import rows_of
from rainharvest.core.errors import require
from rainharvest.core.text import texts_of
from rainharvest.demand.uses import daily_demand
from rainharvest.sizing.trade_off import sizes_to_try
from rainharvest.study.file import Study, read_study

SAY = texts_of("climates")

YEARS = 30

"""Years of each climate that follow the sliders: the last of its record."""


@dataclass(frozen=True)
class Layer:
    """What the map can show."""

    quantity: str
    unit: str = ""  # Of the map
    factor: float = 1.0  # From the quantity's own unit
    form: str = "number"  # In which the sentence writes it
    run: str | None = None  # Of which run of pipe it is


LAYERS = {words: Layer(**row) for words, row in rows_of("climates", "results")["layers"].items()}


def _with_run(path: str | os.PathLike) -> Study:
    """Read a study that has a run of pipe."""
    study, _ = read_study(path)
    remedy = "add a [conveyance] table"
    require(study.conveyance is not None, "it has no run of pipe", remedy, "conveyance", Path(path))
    return study


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
    study = _with_run(path)
    last = slice(-int(YEARS * 365.25), None)
    climates = {
        name: replace(climate, rain=climate.rain.isel(time=last).reset_coords(drop=True))
        for name, climate in demo_climates(records).items()
    }
    uses = rain_uses(study.use)
    demand = {n: daily_demand(uses, study.calendar, c.rain).sum("use") for n, c in climates.items()}
    sizes = sizes_to_try(next(iter(demand.values())), 40)
    return Sides(study.catchment, study.target, climates, demand, sizes)


def region_for(path: str | os.PathLike, rain: str | os.PathLike, **wet: float) -> xr.Dataset:
    """Put a study's building, by a dry and a wet run of pipe, to every place of a grid, in memory.

    Parameters
    ----------
    path : str or path
        The study file; it must have a run of pipe.
    rain : str or path
        Gridded daily rain with a variable ``land``.
    **wet
        Of the wet run, as `rainharvest.climates.facts.both_runs`.

    Returns
    -------
    Dataset
        As `rainharvest.climates.cells.over_cells`, with ``group``; attributes ``target`` and so on.

    Raises
    ------
    InputError
        If a file cannot be used, or the study has no run of pipe.
    """
    study = _with_run(path)
    grid = open_grid(rain, mask="land")
    kept = ("title", "roof", "losses", "calendar", "tank", "target")
    region = Region(
        **{name: getattr(study, name) for name in kept},
        grid=GridFile(file=str(rain), mask="land"),
        conveyance=both_runs(study.conveyance, **wet),
        use=rain_uses(study.use),
    )
    plan = plan_of(region, grid)
    values, _ = read_cells(grid, {dim: slice(None) for dim in grid.space})
    values[~grid.mask.values] = np.nan
    coords = {n: v for n, v in grid.coords.items() if n in grid.space} | {"time": grid.days}
    rain = xr.DataArray(values, coords, (*grid.space, "time"))
    out = over_cells(rain, plan, grid.mean_intensity, grid.calendar)
    out["group"] = group_climates(out[list(CLIMATE)])
    years = grid.days.size / 365.25
    demand = float(plan.demand.mean()) * 365.25
    return out.assign_attrs(plan_attributes(plan) | {"years": years, "asked_a_year": demand})


def sides_panel(sides: Sides) -> widgets.VBox:
    """Return the panel of one building in several climates side by side.

    Parameters
    ----------
    sides : Sides
        As `prepare_sides`.

    Returns
    -------
    VBox
        Five sliders; two figures.
    """
    run = sides.catchment.conveyance
    controls = {
        "capacity": slider("capacity", 15, 1, 100, 1, unit="kL", scale=1000.0),
        "area": slider("area", round(sides.area), 50, round(3 * sides.area, -1), 10),
        "bore": slider("bore", 80, 40, 200, 5),
        "run": slider("run", max(run.run, 45), 5, 120, 5, about="Level length of the wet run"),
        "bleed": slider("bleed", 20, 0, 200, 5),
    }

    def redraw(capacity: float, **changes: float) -> dict[str, tuple]:
        done = in_each_climate(sides, capacity=capacity, **changes)
        facts = sides_facts(done, capacity)
        return {
            "sides": (partial(sides_figure, done, capacity), SAY.sides(facts)),
            "wet": (partial(wet_sides_figure, done), SAY.wet_sides(facts)),
        }

    return board("sides", controls, redraw, f"{CAUTIONS.work['roof work']} {CAUTIONS.work['excavation']}")


def region_panel(region: xr.Dataset) -> widgets.VBox:
    """Return the panel of a region: a map, and one place of it.

    Parameters
    ----------
    region : Dataset
        As `region_for`.

    Returns
    -------
    VBox
        A choice and three sliders; the map, the place, and what explains the cost of the wet run.
    """
    one, target = region.isel(arrangement=0), region.attrs["target"]
    land = region.rain_year.notnull()
    controls = {
        "layer": choice("The map shows", list(LAYERS), next(iter(LAYERS)), "Which answer is mapped"),
        "capacity": slider("capacity", 20, 1, 100, 1, unit="kL", scale=1000.0),
    }
    for name in ("latitude", "longitude"):
        at = region[name].values
        controls[name] = slider(name, at[at.size // 2], at[0], at[-1], float(at[1] - at[0]), unit="°")
        controls[name].readout_format = ".2f"  # cells of a quarter of a degree

    of_tank = lru_cache(1)(partial(wet_and_why, region))  # another place or layer leaves it as it is

    def redraw(layer: str, capacity: float, latitude: float, longitude: float) -> dict[str, tuple]:
        shown, (wet, found) = LAYERS[layer], of_tank(capacity)
        values = wet[shown.quantity] if shown.quantity in wet else one[shown.quantity]
        values = values if shown.run is None else values.sel(conveyance=shown.run)
        if "capacity" in values.dims:
            values = values.interp(capacity=capacity)
        here, wet_here = (
            all_places.sel(latitude=latitude, longitude=longitude, method="nearest")
            for all_places in (one, wet)
        )
        place = float(here.latitude), float(here.longitude)
        facts = map_facts(values, shown.quantity, shown.form)
        drawn = (
            shown.factor * values,
            land,
            layer[0].upper() + layer[1:],
            shown.unit,
            place,
            len(facts["groups"]),
            not region.attrs.get("invented", False),  # an invented region lies on no map of the world
        )
        return {
            "map": (partial(map_figure, *drawn), SAY.map(facts)),
            "place": (
                partial(place_figure, here, capacity, target),
                SAY.cell(place_facts(here, wet_here, capacity, target)),
            ),
            "why": (
                partial(explain_figure, region, wet.wet_cost, found),
                SAY.explained(explained_facts(found), capacity),
            ),
        }

    return board("region", controls, redraw)
