"""Who draws what and when."""

from __future__ import annotations

import os
from collections.abc import Sequence
from functools import partial

import ipywidgets as widgets

from rainharvest.core.board import board, cautions
from rainharvest.core.controls import Table, slider
from rainharvest.core.text import texts_of
from rainharvest.demand.facts import (
    calendar_facts,
    changed_uses,
    demand_of,
    heaviest_year,
    months_facts,
    months_of,
    week_facts,
    week_of,
)
from rainharvest.demand.figures import calendar_figure, months_figure, week_figure
from rainharvest.storage.panel import prepare_supply
from rainharvest.study.choices import saving

SAY = texts_of("demand")


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
        "uses": Table(
            ["Use", "How many", "L each a day"],
            [use.name for use in uses],
            [(use.count, use.litres) for use in uses],
        ),
        "bed_area": slider("bed_area", 100, 0, 400, 10),
    }

    def redraw(uses, bed_area: float) -> dict[str, tuple]:
        demand = demand_of(supply, changed_uses(supply.study.use, *zip(*uses, strict=True)), bed_area)
        week, months, year = week_of(demand), months_of(demand), heaviest_year(demand.sum("use"))
        return {
            "week": (partial(week_figure, week), SAY.week(week_facts(week))),
            "months": (partial(months_figure, months), SAY.months(months_facts(months))),
            "calendar": (partial(calendar_figure, year), SAY.calendar(calendar_facts(year))),
        }

    def keys(values) -> dict[str, object]:
        out = {}
        for k, (use, (count, each)) in enumerate(zip(uses, values["uses"], strict=True)):
            if count != use.count:
                out[f"use.{k}.{'units' if use.people is None else 'people'}"] = count
            if each != use.litres:
                out |= {f"use.{k}.litres": each, f"use.{k}.source": "given by the reader"}
        return out

    return board("demand", controls, redraw, cautions("drinking"), saving(path, uses=keys))
