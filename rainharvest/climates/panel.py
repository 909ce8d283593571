"""One building in five climates, and over a region: sliders, a map, a place picker."""

from __future__ import annotations

import ipywidgets as widgets
import numpy as np
import xarray as xr

from rainharvest.catchment.tables import CAUTIONS
from rainharvest.climates.facts import Sides, explained, side_by_side
from rainharvest.climates.figures import (
    explain_figure,
    map_figure,
    place_figure,
    sides_figure,
    wet_sides_figure,
)
from rainharvest.climates.words import cell_words, explain_words, map_words, sides_words, wet_sides_words
from rainharvest.core.board import board, choice, slider

LAYERS = {
    "size that reaches the target": ("reaching", "kL", 1e-3, "litres", "dry run"),
    "reliability of this tank": ("volume_reliability", "%", 100.0, "percent", "dry run"),
    "yield of the driest decade": ("driest_decade_yield", "kL a year", 1e-3, "litres", "dry run"),
    "cost of the wet run": ("wet_cost", "%", 100.0, "percent", None),
    "spells of old water, wet run": ("standing_spells_a_year", "a year", 1.0, "number", "wet run"),
    "best bore of the wet run": ("best_bore", "mm", 1.0, "millimetres", None),
    "groups of alike climates": ("group", "", 1.0, "number", None),
}

"""What the map shows: quantity, unit, factor, how it is said, of which run."""


def sides_panel(sides: Sides) -> widgets.VBox:
    """Return the panel of one building in several climates side by side.

    Parameters
    ----------
    sides : Sides
        As `rainharvest.climates.facts.prepare_sides`.

    Returns
    -------
    VBox
        Five sliders; two figures.
    """
    run = sides.study.conveyance
    controls = {
        "capacity": slider("capacity", 15, 1, 100, 1, unit="kL", scale=1000.0),
        "area": slider("area", round(sides.area), 50, round(3 * sides.area, -1), 10),
        "bore": slider("bore", 80, 40, 200, 5),
        "run": slider("run", max(run.run, 45), 5, 120, 5, about="Level length of the wet run"),
        "bleed": slider("bleed", 20, 0, 200, 5),
    }
    figures: dict[str, object] = {}

    def redraw(capacity: float, area: float, bore: float, run: float, bleed: float) -> dict[str, tuple]:
        done = side_by_side(sides, area=area, bore=bore, run=run, bleed=bleed)
        figures["sides"] = sides_figure(done, capacity, figures.get("sides"))
        figures["wet"] = wet_sides_figure(done, figures.get("wet"))
        return {
            "sides": (figures["sides"], sides_words(done, capacity)),
            "wet": (figures["wet"], wet_sides_words(done)),
        }

    return board(
        "sides", controls, redraw, " ".join(CAUTIONS.work[name] for name in ("roof work", "excavation"))
    )


def region_panel(region: xr.Dataset) -> widgets.VBox:
    """Return the panel of a region: a map, and one place of it.

    Parameters
    ----------
    region : Dataset
        As `rainharvest.climates.facts.region_for`.

    Returns
    -------
    VBox
        A choice and three sliders; the map, the place, and what explains the cost of the wet run.
    """
    one = region.isel(arrangement=0)
    lat, lon = region.latitude.values, region.longitude.values
    land = region.rain_year.notnull()
    found = explained(region)
    step = {"latitude": float(lat[1] - lat[0]), "longitude": float(lon[1] - lon[0])}
    controls = {
        "layer": choice("The map shows", list(LAYERS), next(iter(LAYERS)), "Which answer is mapped"),
        "capacity": slider("capacity", 20, 1, 100, 1, unit="kL", scale=1000.0),
        "latitude": slider("latitude", lat[lat.size // 2], lat[0], lat[-1], step["latitude"], unit="°"),
        "longitude": slider("longitude", lon[lon.size // 2], lon[0], lon[-1], step["longitude"], unit="°"),
    }
    for name in step:
        controls[name].readout_format = ".2f"  # cells of a quarter of a degree
    figures: dict[str, object] = {}

    def redraw(layer: str, capacity: float, latitude: float, longitude: float) -> dict[str, tuple]:
        name, unit, factor, said, run = LAYERS[layer]
        values = one[name] if run is None else one[name].sel(conveyance=run)
        if "capacity" in values.dims:
            values = values.sel(capacity=capacity, method="nearest")
        here = one.sel(latitude=latitude, longitude=longitude, method="nearest")
        place = float(here.latitude), float(here.longitude)
        groups = int(np.nanmax(values.values)) if name == "group" else 0
        figures["map"] = map_figure(
            factor * values, land, layer[0].upper() + layer[1:], unit, place, groups, figures.get("map")
        )
        figures["place"] = place_figure(here, capacity, region.attrs["target"], figures.get("place"))
        figures["why"] = explain_figure(region, region.wet_cost, found, figures.get("why"))
        return {
            "map": (figures["map"], map_words(values, name, said)),
            "place": (figures["place"], cell_words(here, capacity, region.attrs["target"])),
            "why": (figures["why"], explain_words(found)),
        }

    return board("region", controls, redraw)
