"""What rain and mains make of a demand."""

from __future__ import annotations

import math
import os
from collections.abc import Sequence
from functools import partial

import ipywidgets as widgets

from rainharvest.core.board import board, cautions
from rainharvest.core.controls import slider
from rainharvest.core.text import texts_of
from rainharvest.demand.evapotranspiration import from_monthly_table
from rainharvest.demand.facts import demand_of
from rainharvest.storage.facts import (
    Supply,
    arrangements_facts,
    level_facts,
    reserve_facts,
    reserve_of,
    supplied,
)
from rainharvest.storage.figures import arrangements_figure, reserve_figure, set_level_figure
from rainharvest.study.choices import saving
from rainharvest.study.stages import record_of, results_of
from rainharvest.study.variant import of_file, open_study

SAY = texts_of("storage")


def prepare_supply(path: str | os.PathLike, monthly: Sequence[float]) -> Supply:
    """Read a study, its rain and what its roofs bring, once for many variants.

    Parameters
    ----------
    path : str or path
        The study file.
    monthly : 12 floats [mm/day]
        Mean reference evapotranspiration of each month.

    Returns
    -------
    Supply
        On the first filled version of the record.

    Raises
    ------
    InputError
        If the study cannot be run, or has no roof.
    """
    run = open_study(path, kind="combined")
    with of_file(path):
        rain = record_of(run).filled.isel(member=0, drop=True)
        inflow = results_of(run, "catchment")["water"].inflow.isel(member=0, drop=True)
    return Supply(run.study, rain, inflow, from_monthly_table(monthly, rain))


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
    demand = demand_of(supply, supply.study.use, bed_area)
    reserves = reserve_of(demand)
    tank = supply.study.tank
    own = tank.usable(tank.chosen) / 1000 if tank.chosen else 10
    controls = {
        "capacity": slider("capacity", own, 1, max(60, math.ceil(2 * own)), 0.5, unit="kL", scale=1000.0),
        "interruptions_a_year": slider("interruptions_a_year", 12, 1, 26, 1, unit=""),
        "spell_length": slider("spell_length", 2, 0.5, 10, 0.5),
        "level_share": slider("level_share", 20, 5, 100, 5, unit="%", scale=0.01),
        "ride_out": slider("ride_out", 3, 0.5, 14, 0.5),
    }

    def redraw(capacity, interruptions_a_year, spell_length, level_share, ride_out) -> dict[str, tuple]:
        done = supplied(
            supply,
            demand,
            capacity=capacity,
            spell_length=spell_length,
            interruptions_a_year=interruptions_a_year,
            level_share=level_share,
        )
        reserve = reserve_facts(reserves, ride_out, capacity)
        return {
            "plans": (partial(arrangements_figure, done), SAY.arrangements(arrangements_facts(done))),
            "levels": (partial(set_level_figure, done, level_share), SAY.set_level(level_facts(done))),
            "reserve": (partial(reserve_figure, reserves, ride_out, capacity), SAY.reserve(reserve)),
        }

    keys = saving(
        path,
        capacity=lambda v: {"tank.chosen": v["capacity"] / tank.usable_share},
        level_share="arrangement.top_up_level",
    )
    return board("arrangements", controls, redraw, cautions("backflow"), keys)
