"""Who draws what and when."""

from __future__ import annotations

import os
from collections.abc import Sequence

import ipywidgets as widgets

from rainharvest.core.board import board, cautions, slider, table
from rainharvest.demand.facts import months_of, thirstiest_year, week_of
from rainharvest.demand.figures import calendar_figure, months_figure, week_figure
from rainharvest.demand.words import calendar_words, months_words, week_words
from rainharvest.storage.supply import asked_of, changed_uses, prepare_supply
from rainharvest.study.choices import saving


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

    return board("demand", controls, redraw, cautions("drinking"), saving(path, choices))
