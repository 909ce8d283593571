"""Who draws what and when, and what rain and mains make of it."""

from __future__ import annotations

import math
import os
from collections.abc import Sequence

import ipywidgets as widgets

from rainharvest.demand.picture import months_of, thirstiest_year, week_of
from rainharvest.panels.board import board, cautions, slider
from rainharvest.panels.table import table
from rainharvest.plots.demand import (
    arrangements_figure,
    calendar_figure,
    months_figure,
    reserve_figure,
    set_level_figure,
    week_figure,
)
from rainharvest.study.supply import asked_of, changed_uses, prepare_supply, reserve_of, supplied
from rainharvest.study.supply_words import (
    arrangements_words,
    calendar_words,
    months_words,
    reserve_words,
    set_level_words,
    week_words,
)


def demand_panel(path: str | os.PathLike, monthly: Sequence[float]) -> widgets.VBox:
    """Return the panel of a study's demand: its uses, its garden, its week and its year.

    Parameters
    ----------
    path : str or path
        The study file.
    monthly : 12 floats [mm/day]
        Mean reference evapotranspiration of each month.

    Returns
    -------
    VBox
        An editable table of uses and a slider; three figures.

    Raises
    ------
    InputError
        If the study cannot be run.
    """
    supply = prepare_supply(path, monthly)
    uses = supply.study.use
    controls = {
        "uses": table(
            ["Use", "How many", "L each a day"],
            [use.name for use in uses],
            [(use.count, use.litres) for use in uses],
        ),
        "bed_area": slider("bed_area", 100, 0, 400, 10),
    }
    figures: dict[object, object] = {}

    def redraw(uses, bed_area: float) -> dict[str, tuple]:
        changed = changed_uses(supply.study.use, *zip(*uses, strict=True))
        asked = asked_of(supply, changed, bed_area)
        week, months, year = week_of(asked), months_of(asked), thirstiest_year(asked.sum("use"))
        named = asked.sizes["use"]  # a figure's legend names its uses once
        figures[named, 0] = week_figure(week, figures.get((named, 0)))
        figures[named, 1] = months_figure(months, figures.get((named, 1)))
        figures["calendar"] = calendar_figure(year, figures.get("calendar"))
        return {
            "week": (figures[named, 0], week_words(week)),
            "months": (figures[named, 1], months_words(months)),
            "calendar": (figures["calendar"], calendar_words(year)),
        }

    def choices(uses, bed_area: float) -> dict[str, object]:
        out = {}
        for k, (use, (count, each)) in enumerate(zip(supply.study.use, uses, strict=True)):
            if count != use.count:
                out[f"use.{k}.{'units' if use.people is None else 'people'}"] = count
            if each != use.litres:
                out |= {f"use.{k}.litres": each, f"use.{k}.source": "given by the reader"}
        return out

    return board("demand", controls, redraw, cautions("drinking"), path, choices)


def arrangements_panel(
    path: str | os.PathLike, monthly: Sequence[float], bed_area: float = 100.0
) -> widgets.VBox:
    """Return the panel of the arrangements: rain, mains, their interruptions, and what the tank must hold.

    Parameters
    ----------
    path : str or path
        The study file.
    monthly : 12 floats [mm/day]
        Mean reference evapotranspiration of each month.
    bed_area : float [m2], optional
        Planted area that is watered.

    Returns
    -------
    VBox
        Five sliders; three figures.

    Raises
    ------
    InputError
        If the study cannot be run.
    """
    supply = prepare_supply(path, monthly)
    asked = asked_of(supply, supply.study.use, bed_area)
    reserves = reserve_of(asked)
    tank = supply.study.tank
    own = round(2 * tank.usable(tank.chosen) / 1000) / 2 if tank.chosen else 10
    controls = {
        "capacity": slider("capacity", own, 1, max(60, math.ceil(2 * own)), 0.5, unit="kL", scale=1000.0),
        "interruptions_a_year": slider("interruptions_a_year", 12, 1, 26, 1, unit=""),
        "spell_length": slider("spell_length", 2, 0.5, 10, 0.5),
        "level_share": slider("level_share", 20, 5, 100, 5, unit="%", scale=0.01),
        "ride_out": slider("ride_out", 3, 0.5, 14, 0.5),
    }
    figures: dict[str, object] = {}

    def redraw(capacity, interruptions_a_year, spell_length, level_share, ride_out) -> dict[str, tuple]:
        done = supplied(
            supply,
            asked,
            capacity=capacity,
            spell_length=spell_length,
            interruptions_a_year=interruptions_a_year,
            level_share=level_share,
        )
        levels = done[["level_spilled_mains_a_year", "level_failed_a_year"]]
        levels = levels.rename({name: name.removeprefix("level_") for name in levels})
        figures["plans"] = arrangements_figure(done, figures.get("plans"))
        figures["levels"] = set_level_figure(levels, level_share, figures.get("levels"))
        figures["reserve"] = reserve_figure(reserves, ride_out, capacity, figures.get("reserve"))
        return {
            "plans": (figures["plans"], arrangements_words(done)),
            "levels": (figures["levels"], set_level_words(done)),
            "reserve": (figures["reserve"], reserve_words(reserves, ride_out, capacity)),
        }

    def choices(capacity: float, level_share: float, **_others: float) -> dict[str, object]:
        out = {"tank.chosen": capacity / tank.usable_share}
        if level_share != supply.study.arrangement.top_up_level:
            out["arrangement.top_up_level"] = level_share
        return out

    return board("arrangements", controls, redraw, cautions("backflow"), path, choices)
