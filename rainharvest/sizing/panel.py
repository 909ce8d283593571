"""The sizing panel: target, roof, coefficient, people, tank and discount rate move one curve with its band."""

from __future__ import annotations

import math
import os
from typing import TYPE_CHECKING

import ipywidgets as widgets
import numpy as np

from rainharvest.core.board import board, cautions, choice, slider
from rainharvest.core.errors import InputError
from rainharvest.core.style import rounded_up
from rainharvest.sizing.figure_words import (
    band_words,
    front_words,
    maps_words,
    money_words,
    picked_options,
    shortcuts_words,
    step_words,
    terms_words,
    unknowns_words,
)
from rainharvest.sizing.figures import curve_figure
from rainharvest.sizing.quick import chosen_in_file, moved, prepare_sizing, priced
from rainharvest.sizing.uncertainty import RANGE_WORDS
from rainharvest.sizing.words import curve_words, option_for
from rainharvest.study.choices import saving

if TYPE_CHECKING:
    from rainharvest.study.stages import Worked


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
    quick = prepare_sizing(path)
    study, costs = quick.study, quick.study.costs
    own = study.tank
    first = float(quick.sizes[quick.sizes.size // 2]) if tank is None else tank
    first = own.usable(own.chosen) if own.chosen else first
    controls = {
        "target": slider("target", round(100 * study.target.reliability), 50, 99, 1, unit="%", scale=0.01),
        "area": slider("area", round(quick.area), 20, round(4 * quick.area, -1), 10),
        "coefficient": slider(
            "runoff_coefficient",
            round(quick.coefficient, 2),
            math.ceil(100 * quick.coefficients[0]) / 100,
            math.floor(100 * quick.coefficients[-1] + 1e-9) / 100,
            0.01,
        ),
        "people": slider("people", round(quick.people), 10, round(4 * quick.people, -1), 10),
        "capacity": slider(
            "capacity",
            math.ceil(first / 500) / 2,
            0.5,
            math.floor(quick.sizes[-1] / 1000),
            0.5,
            unit="kL",
            scale=1000.0,
        ),
    }
    at_first = priced(
        quick, moved(quick, area=quick.area, coefficient=quick.coefficient, people=quick.people)
    )
    with_costs = "per_kilolitre" in at_first
    top = rounded_up(3 * float(np.min(at_first.per_kilolitre))) if with_costs else None
    currency = costs.currency if with_costs else ""
    if with_costs:  # without prices it would move nothing
        controls["rate"] = slider(
            "rate", round(100 * costs.real_rate, 1), 0.0, 15.0, 0.5, unit="%", scale=0.01
        )
    figures: dict[str, object] = {}
    last: dict[tuple, object] = {}  # target, tank and discount rate leave the water as it is

    def redraw(target, area, coefficient, people, capacity, rate=None) -> dict[str, tuple]:
        water = (area, coefficient, people)
        if water not in last:
            last.clear()
            last[water] = moved(quick, area=area, coefficient=coefficient, people=people)
        curve = priced(quick, last[water], rate)
        figures["curve"] = curve_figure(
            curve,
            target,
            capacity,
            measure=study.target.measure,
            price_top=top,
            currency=currency,
            figure=figures.get("curve"),
        )
        return {"curve": (figures["curve"], curve_words(curve, target, capacity, currency))}

    def choices(**values: float) -> dict[str, object]:
        return chosen_in_file(quick, **values)

    return board("sizing", controls, redraw, cautions("weight"), saving(path, choices))


def sizing_pictures(worked: Worked, which: str) -> widgets.VBox:
    """Return the figures of the decision that are worked out beforehand, outside the sliders' path.

    Parameters
    ----------
    worked : Worked
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
        If there are no such pictures, or the study has not what they show.
    """
    drawers = {
        "certainty": ("sure_size", _certainty),
        "maps": ("reliability_by_area", _maps),
        "costs": ("option_annual", _costs),
        "shortcuts": ("size_by_way", _shortcuts),
        "step": ("step_error", _step),
    }
    if which not in drawers:
        raise InputError(f"no pictures are called {which!r}", f"choose one of {', '.join(drawers)}", "which")
    needs, draw = drawers[which]
    if needs not in worked.groups["sizing"]:
        raise InputError(
            f"the study has nothing to show for {which!r}",
            "give it roofs, a catalogue or finer rain",
            "which",
        )
    controls = {}
    if which == "costs":
        group = worked.groups["sizing"]
        place = option_for(group, float(group.size_on_record))
        names = {str(name): k for k, name in enumerate(group.option.values)}
        controls["option"] = choice(
            "Tanks on offer", names, 0 if place is None else place, "Which combination is marked and compared"
        )
    return board(f"sizing-{which}", controls, lambda **chosen: draw(worked, **chosen))


def _certainty(worked: Worked) -> dict[str, tuple]:
    from rainharvest.sizing.figures import band_figure, unknowns_figure

    group, size = worked.groups["sizing"], float(worked.done.described)
    measure, target = group.attrs["measure"], group.attrs["target"]
    return {
        "band": (band_figure(group, measure, target), band_words(group)),
        "unknowns": (unknowns_figure(group, RANGE_WORDS, measure, size), unknowns_words(group)),
    }


def _maps(worked: Worked) -> dict[str, tuple]:
    from rainharvest.sizing.figures import maps_figure

    group, size = worked.groups["sizing"], float(worked.done.described)
    area = sum(roof.area for roof in worked.study.roof)
    return {"maps": (maps_figure(group, size, area, group.attrs["measure"]), maps_words(group, size))}


def _costs(worked: Worked, option: int) -> dict[str, tuple]:
    from rainharvest.sizing.figures_costs import front_figure, money_figure

    group = worked.groups["sizing"]
    measure, target = group.attrs["measure"], group.attrs["target"]
    picked = sorted({*picked_options(group), option})
    return {
        "front": (front_figure(group, measure, target, option), front_words(group)),
        "money": (money_figure(group, picked), f"{money_words(group, picked)} {terms_words(group)}"),
    }


def _shortcuts(worked: Worked) -> dict[str, tuple]:
    from rainharvest.sizing.figures_costs import shortcuts_figure

    group = worked.groups["sizing"]
    drawn = shortcuts_figure(group, group.attrs["measure"], group.attrs["target"])
    return {"shortcuts": (drawn, shortcuts_words(group))}


def _step(worked: Worked) -> dict[str, tuple]:
    from rainharvest.sizing.figures_costs import step_figure

    group = worked.groups["sizing"]
    return {"step": (step_figure(group), step_words(group, float(worked.done.described)))}
