"""Dry spells, the honesty of the outlook, and droughts longer than any on record, each with its sliders."""

from __future__ import annotations

import os

import ipywidgets as widgets

from rainharvest.panels.board import board, slider
from rainharvest.panels.drought import tank_slider
from rainharvest.plots.drought_climate import longer_figure
from rainharvest.plots.drought_outlook import reliability_figure
from rainharvest.plots.drought_years import longest_spell_figure
from rainharvest.study.drought import spells_of
from rainharvest.study.drought_basis import prepare_drought
from rainharvest.study.drought_climates import longer_droughts
from rainharvest.study.drought_outlook import honesty_of
from rainharvest.study.drought_outlook_words import (
    honesty_words,
    longer_words,
)
from rainharvest.study.drought_words import spells_words


def dry_spells_panel(path: str | os.PathLike) -> widgets.VBox:
    """Return the panel of the dry spells.

    Parameters
    ----------
    path : str or path
        The study file.

    Returns
    -------
    VBox
        The rain of a wet day; the longest to expect, and when long ones begin.

    Raises
    ------
    InputError
        If the study cannot be run, or its tank takes no rain.
    """
    basis = prepare_drought(path)
    controls = {"wet_day": slider("wet_day", 1.0, 0.2, 10.0, 0.2)}
    figures: dict[str, object] = {}

    def redraw(wet_day: float) -> dict[str, tuple]:
        found = spells_of(basis, round(wet_day, 2))  # the page sends 1.0000000000000002
        figures["spells"] = longest_spell_figure(found, figures.get("spells"))
        return {"spells": (figures["spells"], spells_words(found))}

    return board("dry-spells", controls, redraw)


def honesty_panel(path: str | os.PathLike, tank: float | None = None) -> widgets.VBox:
    """Return the panel that asks whether the outlook is honest.

    Parameters
    ----------
    path : str or path
        The study file.
    tank : float [L], optional
        Usable size at which the slider stands at first.

    Returns
    -------
    VBox
        Tank size; the reliability diagram, and what the 80 percent band held.

    Raises
    ------
    InputError
        If the study cannot be run, or its tank takes no rain.
    """
    basis = prepare_drought(path, tank)
    controls = {"capacity": tank_slider(basis)}
    figures: dict[str, object] = {}

    def redraw(capacity: float) -> dict[str, tuple]:
        found = honesty_of(basis, capacity)
        figures["honesty"] = reliability_figure(found, figures.get("honesty"))
        return {"honesty": (figures["honesty"], honesty_words(found))}

    return board("honesty", controls, redraw)


def longer_droughts_panel(path: str | os.PathLike, tank: float | None = None) -> widgets.VBox:
    """Return the panel of droughts longer than any on record.

    Parameters
    ----------
    path : str or path
        The study file.
    tank : float [L], optional
        Usable size at which the slider stands at first.

    Returns
    -------
    VBox
        Tank size and years drawn together; a point for each record drawn anew.

    Raises
    ------
    InputError
        If the study cannot be run, or its tank takes no rain.
    """
    basis = prepare_drought(path, tank)
    controls = {"capacity": tank_slider(basis), "block_years": slider("block_years", 3, 1, 5, 1)}
    for control in controls.values():
        control.continuous_update = False  # two hundred records are run
    figures: dict[str, object] = {}

    def redraw(capacity: float, block_years: float) -> dict[str, tuple]:
        found = longer_droughts(basis, capacity=capacity, block_years=int(block_years))
        figures["longer"] = longer_figure(found, figures.get("longer"))
        return {"longer": (figures["longer"], longer_words(found))}

    return board("longer-droughts", controls, redraw)
