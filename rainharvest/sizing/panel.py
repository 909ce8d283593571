"""The sizing panel: target, roof, coefficient, people, tank and discount rate move one curve with its band."""

from __future__ import annotations

import math
import os
from collections.abc import Callable, Mapping
from dataclasses import replace
from functools import lru_cache, partial
from typing import TYPE_CHECKING

import ipywidgets as widgets
import numpy as np

from rainharvest.core.board import board, cautions, nothing_to_show
from rainharvest.core.controls import choice, slider
from rainharvest.core.errors import InputError, require
from rainharvest.core.style import rounded_up
from rainharvest.demand.uses import essential_demand
from rainharvest.sizing import figures
from rainharvest.sizing.facts import rain_feeds
from rainharvest.sizing.facts_certainty import case_of
from rainharvest.sizing.facts_costs import prices_of_sizes, yields_as_run
from rainharvest.sizing.facts_printed import (
    band_side,
    curve_at,
    decision,
    front_facts,
    maps_at,
    offer,
    option_for,
    picked_options,
    shortcut_facts,
    step_at,
    unknowns,
)
from rainharvest.sizing.grid import DRAWS, SIZES, Grid, draw_versions, grid_of, moved, priced
from rainharvest.sizing.section import SAY
from rainharvest.sizing.trade_off import scaled_catchment, tank_inflows
from rainharvest.study.choices import saving
from rainharvest.study.stages import flows_of, record_of
from rainharvest.study.variant import area_keys, of_file, open_study, people_keys

if TYPE_CHECKING:
    from rainharvest.study.file import Study
    from rainharvest.study.stages import StudyResults


def prepare_sizing(path: str | os.PathLike, *, draws: int = DRAWS, sizes: int = SIZES) -> tuple[Study, Grid]:
    """Read a study and work out its flows once, for many moves of the sliders."""
    run = open_study(path, members=None, roof=False)
    study = run.study
    fed = study.roof and rain_feeds(study)
    require(fed, "no rain feeds this tank", "open a study that catches rain", "roof", path)
    with of_file(path):
        flows = flows_of(run)
        case = case_of(study, record_of(run), flows)
        drawn = draw_versions(case, draws, study.sizing.seed)
    counted = [use for use in study.use if use.people and use.name in set(flows.demand.use.values)]
    counts = np.isin(flows.demand.use.values.astype(str), [use.name for use in counted])
    by_people = flows.demand.isel(use=np.flatnonzero(counts))
    mean = float(flows.demand.sum("use").mean())
    grid = grid_of(
        case,
        drawn,
        by_people.sum("use"),
        essential_demand(by_people) if study.rationing else None,
        measure=study.target.measure,
        sizes=np.geomspace(max(0.5 * mean, 1.0), 400.0 * mean, sizes),
        people=max((use.people for use in counted), default=1.0),
    )

    def as_run(area: float, coefficient: float, people: float) -> np.ndarray:
        """Return what each size delivers of the rain of the first filling, the mains let in."""
        more = {"area": area / grid.area, "runoff_coefficient": coefficient / grid.coefficient}
        (came,) = tank_inflows(case.filling(0), [scaled_catchment(case.catchment, **more)], case.intensity)
        inflow = flows.water.inflow.isel(member=0, drop=True).copy(data=came).expand_dims("member")
        asked = flows.demand * np.where(counts, people / grid.people, 1.0)[:, None]
        return yields_as_run(
            study, replace(flows, water=inflow.to_dataset(name="inflow"), demand=asked), grid.sizes
        ).values

    return study, replace(grid, as_run=as_run) if study.arrangement.kind == "combined" else grid


def sizing_panel(path: str | os.PathLike, tank: float | None = None) -> widgets.VBox:
    """Return the panel on which a tank is sized.

    Parameters
    ----------
    path : str or path
        The study file.
    tank : float [L], optional
        Usable size at which the slider stands at first where the study has chosen none; the middle of the
        curve if not given.

    Returns
    -------
    VBox
        Six sliders, five where no costs can be shown; the curve with its band, and what a kilolitre costs.

    Raises
    ------
    InputError
        If the study cannot be run, or no rain feeds its tank.
    """
    study, grid = prepare_sizing(path)
    costs, own, sizes = prices_of_sizes(study), study.tank, grid.sizes
    first = float(sizes[sizes.size // 2]) if tank is None else tank
    first = own.usable(own.chosen) / 1000 if own.chosen else math.ceil(first / 500) / 2
    low, high = (
        math.ceil(100 * grid.coefficients[0]) / 100,
        math.floor(100 * grid.coefficients[-1] + 1e-9) / 100,
    )
    most = math.floor(sizes[-1] / 1000)
    controls = {
        "target": slider("target", 100 * study.target.reliability, 50, 99, 1, unit="%", scale=0.01),
        "area": slider("area", grid.area, 20, round(4 * grid.area, -1), 10),
        "coefficient": slider("runoff_coefficient", grid.coefficient, low, high, 0.01),
        "people": slider("people", grid.people, 10, round(4 * grid.people, -1), 10),
        "capacity": slider("capacity", first, 0.5, most, 0.5, unit="kL", scale=1000.0),
    }
    water = {"area": grid.area, "coefficient": grid.coefficient, "people": grid.people}
    at_first = priced(moved(grid, **water), costs, own.usable_share)
    shown = {"measure": study.target.measure}
    if "per_kilolitre" in at_first:  # without prices the rate would move nothing
        shown["price_top"] = rounded_up(3 * float(np.min(at_first.per_kilolitre)))
        shown["currency"] = costs.currency
        controls["rate"] = slider("rate", 100 * costs.real_rate, 0.0, 15.0, 0.5, unit="%", scale=0.01)
    flow = lru_cache(maxsize=1)(
        partial(moved, grid)
    )  # target, tank and discount rate leave the water as it is

    def redraw(target, area, coefficient, people, capacity, rate=None) -> dict[str, tuple]:
        curve = flow(area=area, coefficient=coefficient, people=people)
        curve = priced(curve, costs, own.usable_share, rate)
        currency, offers = shown.get("currency", ""), study.catalogue is not None
        words = SAY.curve(curve_at(curve, target, capacity), currency, offers)
        return {"curve": (partial(figures.curve_figure, curve, target, capacity, **shown), words)}

    return board("sizing", controls, redraw, cautions("weight"), saving(path, **keys_of(study, grid)))


def keys_of(study: Study, grid: Grid) -> dict[str, str | Callable[[Mapping], dict[str, object]]]:
    """Return, by slider, the keys of the study file that it stands for."""
    roofs, costs = study.roof, study.costs

    def coefficients(values) -> dict[str, float]:
        more = values["coefficient"] / grid.coefficient
        each = [min(roof.runoff_coefficient * more, 1.0) for roof in roofs]
        return {f"roof.{k}.runoff_coefficient": one for k, one in enumerate(each)}

    def rate(values) -> dict[str, float]:  # the slider's rate is real: say it in the study's own kind
        real = values["rate"]
        nominal = costs.rate_kind == "nominal"
        return {"costs.rate": (1 + real) * (1 + costs.inflation) - 1 if nominal else real}

    return {
        "target": "target.reliability",
        "area": lambda v: area_keys(roofs, v["area"]),
        "coefficient": coefficients,
        "people": lambda v: people_keys(study.use, v["people"], grid.people),
        "capacity": lambda v: {"tank.chosen": v["capacity"] / study.tank.usable_share},
        "rate": rate,
    }


def sizing_pictures(results: StudyResults, which: str) -> widgets.VBox:
    """Return the figures of the decision that are worked out beforehand, outside the sliders' path.

    Parameters
    ----------
    results : StudyResults
        A study that has been run, with its sizing.
    which : str
        "certainty", "maps", "costs", "shortcuts" or "step".

    Returns
    -------
    VBox
        Figures with their sentences; "costs" with a list of the tanks on offer.

    Raises
    ------
    InputError
        If there are no such pictures.
    """
    no_roof = ("no rain feeds its tank", "open a study that catches rain", "roof")
    drawers = {
        "certainty": ("sure_size", _certainty, no_roof),
        "maps": ("reliability_by_area", _maps, no_roof),
        "costs": (
            "option_annual",
            _costs,
            ("it has no tanks on offer", "add [catalogue] and [costs]", "catalogue"),
        ),
        "shortcuts": ("size_by_way", _shortcuts, no_roof),
        "step": ("step_error", _step, ("it has no hourly rain", "name its file", "sizing.finer_rain")),
    }
    known = f"choose one of {', '.join(drawers)}"
    require(which in drawers, f"no pictures are called {which!r}", known, "which")
    needs, draw, lacks = drawers[which]
    group = results.groups["sizing"]
    if needs not in group:
        return nothing_to_show(InputError(*lacks))
    controls = {}
    if which == "costs":
        place = option_for(group, float(group.size_on_record))
        names = {str(name): k for k, name in enumerate(group.option.values)}
        controls["option"] = choice(
            "Tanks on offer", names, 0 if place is None else place, "Which combination is marked and compared"
        )
    return board(f"sizing-{which}", controls, lambda **chosen: draw(results, group, **chosen))


def _certainty(results: StudyResults, group) -> dict[str, tuple]:
    drawn = figures.unknowns_figure(group, float(results.done.described))
    return {
        "band": (figures.band_figure(group), SAY.band(decision(group), band_side(group))),
        "unknowns": (drawn, SAY.unknowns(unknowns(group))),
    }


def _maps(results: StudyResults, group) -> dict[str, tuple]:
    size = float(results.done.described)
    return {"maps": (figures.maps_figure(group, size), SAY.maps(maps_at(group, size)))}


def _costs(results: StudyResults, group, option: int) -> dict[str, tuple]:
    picked = sorted({*picked_options(group), option})
    front = front_facts(group)
    least = front["least"] and front["least"]["place"]
    marked = "" if option == least else SAY.marked(offer(group, option), front)
    worth = SAY.worth([offer(group, place) for place in picked])
    return {
        "front": (figures.front_figure(group, option), f"{marked} {SAY.front(front)}".strip()),
        "money": (figures.money_figure(group, picked), f"{worth} {SAY.terms(group.attrs)}"),
    }


def _shortcuts(results: StudyResults, group) -> dict[str, tuple]:
    return {"shortcuts": (figures.shortcuts_figure(group), SAY.shortcuts(shortcut_facts(group)))}


def _step(results: StudyResults, group) -> dict[str, tuple]:
    return {"step": (figures.step_figure(group), SAY.step(step_at(group, float(results.done.described))))}
