"""The sizing panel: target, roof, coefficient, people, tank and discount rate move one curve with its band."""

from __future__ import annotations

import math
import os

import ipywidgets as widgets
import numpy as np

from rainharvest.panels.board import board, slider
from rainharvest.plots.sizing_curve import curve_figure
from rainharvest.plots.style import rounded_up
from rainharvest.study.cautions import CAUTIONS
from rainharvest.study.sizing_grid import prepare_sizing
from rainharvest.study.sizing_quick import chosen_in_file, moved, priced
from rainharvest.study.sizing_words import curve_words


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
        Six sliders; the curve with its band, and what a kilolitre costs.

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
    rate = 0.04 if costs is None else costs.real_rate
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
        "rate": slider("rate", round(100 * rate, 1), 0.0, 15.0, 0.5, unit="%", scale=0.01),
    }
    at_first = priced(
        quick, moved(quick, area=quick.area, coefficient=quick.coefficient, people=quick.people)
    )
    with_costs = "per_kilolitre" in at_first
    top = rounded_up(3 * float(np.min(at_first.per_kilolitre))) if with_costs else None
    currency = costs.currency if with_costs else ""
    figures: dict[str, object] = {}
    last: dict[tuple, object] = {}  # target, tank and discount rate leave the water as it is

    def redraw(target, area, coefficient, people, capacity, rate) -> dict[str, tuple]:
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

    mind = CAUTIONS["weight"]
    return board("sizing", controls, redraw, f"{mind.title}: {mind.text}", path, choices)
