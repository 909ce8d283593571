"""The catchment on one page: roof, levels, pipe, bleed and first flush; dry against wet."""

from __future__ import annotations

import os

import ipywidgets as widgets

from rainharvest.catchment.facts import Case, dry_and_wet
from rainharvest.catchment.figures import bore_figure, levels_figure, losses_figure
from rainharvest.catchment.tables import WORK_CAUTIONS
from rainharvest.catchment.words import bore_words, levels_words, losses_words
from rainharvest.core.board import board, choice, slider
from rainharvest.study.choices import saving


def catchment_panel(
    case: Case, design_intensity: float = 75.0, study: str | os.PathLike | None = None
) -> widgets.VBox:
    """Return the panel of roof, pipe and levels.

    Parameters
    ----------
    case : Case
        As `rainharvest.catchment.facts.load_case`.
    design_intensity : float [mm/h]
        Rain of the design storm at which its slider stands at first; national rules say which.
    study : str or path, optional
        The study file of the case, where choices can be saved.

    Returns
    -------
    VBox
        The climate and eight sliders; levels to scale, where the rain goes, what the wet run loses.
    """
    run = case.catchment.conveyance
    climates = list(case.climates)
    controls = {
        "climate": choice("Rain", climates, climates[0], "Which of the invented records it rains by"),
        "area": slider("area", round(case.area), 20, round(4 * case.area, -1), 10),
        "bore": slider("bore", run.bore, 40, 200, 5),
        "run": slider("run", run.run, 0, 120, 1),
        "outlet_level": slider("outlet_level", run.outlet_level, 2.0, 6.0, 0.1),
        "inlet_level": slider("inlet_level", run.inlet_level, 0.5, 4.0, 0.1),
        "bleed": slider("bleed", max(run.bleed, 20.0), 0, 200, 5),
        "first_flush": slider("first_flush", case.catchment.first_flush, 0.0, 10.0, 0.1),
        "design_intensity": slider("design_intensity", design_intensity, 20, 200, 5),
    }
    figures: dict[str, object] = {}

    def redraw(climate: str, design_intensity: float, **places: float) -> dict[str, tuple]:
        done = dry_and_wet(case, climate, design_intensity, **places)
        figures["levels"] = levels_figure(
            {name.capitalize(): one for name, one in done.levels.items()}, figures.get("levels")
        )
        figures["losses"] = losses_figure(done.yearly, figures.get("losses"))
        figures["bore"] = bore_figure(done.curve, places["bore"], figures.get("bore"))
        return {
            "levels": (figures["levels"], levels_words(done)),
            "losses": (figures["losses"], losses_words(done)),
            "bore": (figures["bore"], bore_words(done)),
        }

    def choices(area: float, first_flush: float, bleed: float, **places: float) -> dict[str, object]:
        out = {f"conveyance.{name}": places[name] for name in ("bore", "run", "outlet_level", "inlet_level")}
        if case.catchment.conveyance.kind == "wet":
            out["conveyance.bleed"] = bleed
        if first_flush != round(case.catchment.first_flush, 1):
            out["losses.first_flush"] = first_flush
        if area != round(case.area):
            roofs = enumerate(case.catchment.roofs)
            out |= {f"roof.{k}.area": round(roof.area * area / case.area, 1) for k, roof in roofs}
        return out

    return board("catchment", controls, redraw, " ".join(WORK_CAUTIONS[:4]), saving(study, choices))
