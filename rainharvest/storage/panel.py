"""What rain and mains make of a demand."""

from __future__ import annotations

import math
import os
from collections.abc import Sequence

import ipywidgets as widgets

from rainharvest.core.board import board, cautions, slider
from rainharvest.storage.figures import arrangements_figure, reserve_figure, set_level_figure
from rainharvest.storage.supply import asked_of, prepare_supply, reserve_of, supplied
from rainharvest.storage.words import arrangements_words, reserve_words, set_level_words
from rainharvest.study.choices import saving


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

    return board("arrangements", controls, redraw, cautions("backflow"), saving(path, choices))
