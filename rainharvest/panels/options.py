"""The options of a study side by side, at any size of the tank."""

from __future__ import annotations

import os

import ipywidgets as widgets

from rainharvest.errors import InputError
from rainharvest.panels.board import board, cautions, slider
from rainharvest.plots.options import options_figure
from rainharvest.study.report.options_words import options_at_words
from rainharvest.study.run import Worked


def options_panel(path: str | os.PathLike, worked: Worked) -> widgets.VBox:
    """Return the panel that compares the options of a study.

    Parameters
    ----------
    path : str or path
        The study file.
    worked : Worked
        The study, run.

    Returns
    -------
    VBox
        Two sliders, the size of the tank and the target; what each option supplies.

    Raises
    ------
    InputError
        If the study names no options.
    """
    options = worked.groups.get("options")
    if options is None:
        raise InputError("the study names no options", "add an [[option]] table", "option", path)
    largest = float(options.nominal[-1]) / 1000
    controls = {
        "nominal": slider(
            "nominal",
            round(float(options.described_nominal[0]) / 1000),
            1,
            round(largest),
            1,
            unit="kL",
            scale=1000.0,
        ),
        "target": slider(
            "target", round(100 * worked.study.target.reliability), 50, 99, 1, unit="%", scale=0.01
        ),
    }
    figures: dict[str, object] = {}

    def redraw(nominal: float, target: float) -> dict[str, tuple]:
        figures["options"] = options_figure(options, target, figures.get("options"), looked_at=nominal)
        return {"options": (figures["options"], options_at_words(options, nominal, target))}

    def choices(nominal: float, target: float) -> dict[str, object]:
        return {"tank.chosen": nominal, "target.reliability": target}

    return board("options", controls, redraw, cautions("drinking"), path, choices)
