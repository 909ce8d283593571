"""The catchment on one page: roof, levels, pipe, bleed and first flush; dry against wet."""

from __future__ import annotations

import os
from functools import partial
from pathlib import Path

import ipywidgets as widgets

from rainharvest.catchment.facts import OWN_RAIN, CatchmentCase, Climate, dry_and_wet
from rainharvest.catchment.figures import bore_figure, levels_figure, losses_figure
from rainharvest.catchment.intensity import CLIMATES
from rainharvest.catchment.tables import CAUTIONS
from rainharvest.core.board import board
from rainharvest.core.controls import choice, slider
from rainharvest.core.errors import require
from rainharvest.core.text import texts_of
from rainharvest.rainfall.facts import DEMO_STEMS
from rainharvest.rainfall.fill import fill_gaps
from rainharvest.rainfall.read import read_rain
from rainharvest.rainfall.record import longest_stretch
from rainharvest.study.choices import saving
from rainharvest.study.stages import record_of
from rainharvest.study.variant import area_keys, of_file, open_study

SAY = texts_of("catchment")

HARDNESS = {
    "winter_rain": "dry summer",
    "monsoon": "monsoon",
    "two_rainy_seasons": "wet tropics",
    "semi_arid": "dry",
    "temperate_all_year": "cool maritime",
}
"""How hard it rains in each of the demo's climates: the key of `CLIMATES` by the stem of the record's file."""


def demo_climates(records: str | os.PathLike) -> dict[str, Climate]:
    """Read the demo's five records, each filled once from its neighbours."""
    climates = {}
    for name, stem in DEMO_STEMS.items():
        rain = read_rain(Path(records) / f"{stem}.csv")
        neighbours = [read_rain(path) for path in sorted(Path(records).glob(f"{stem}_*.csv"))]
        filled, _ = longest_stretch(fill_gaps(rain, neighbours or None, members=1))
        climates[name] = Climate(filled.isel(member=0, drop=True), CLIMATES[HARDNESS[stem]])
    return climates


def load_case(study: str | os.PathLike, records: str | os.PathLike) -> CatchmentCase:
    """Read a study's catchment, its own rain and the demo's records, each filled once from its neighbours.

    Parameters
    ----------
    study : str or path
        The study file; it must have a run of pipe.
    records : str or path
        Folder of the demo's records.

    Returns
    -------
    CatchmentCase
        The catchment and six climates: first "the study's own rain", then the demo's five.

    Raises
    ------
    InputError
        If a file cannot be read, or the study has no conveyance.
    """
    run = open_study(study, members=None)  # its own fillings: the report rains the first of them
    piped = run.study.conveyance is not None
    require(piped, "it has no run of pipe", "add a [conveyance] table", "conveyance", Path(study))
    with of_file(study):
        rain = record_of(run).filled.isel(member=0, drop=True)
    own = {OWN_RAIN: Climate(rain, run.study.losses.intensity)}
    storm = run.study.site_works.design_intensity
    return CatchmentCase(run.study.catchment, own | demo_climates(records), storm, run.study.units)


def catchment_panel(
    case: CatchmentCase, design_intensity: float | None = None, study: str | os.PathLike | None = None
) -> widgets.VBox:
    """Return the panel of roof, pipe and levels.

    Parameters
    ----------
    case : CatchmentCase
        As `load_case`.
    design_intensity : float [mm/h], optional
        Rain of the design storm at which its slider stands at first; the study's if not given.
    study : str or path, optional
        The study file of the case, where choices can be saved.

    Returns
    -------
    VBox
        The climate and eight sliders; levels to scale, where the rain goes, what the wet run loses.
    """
    run, storm = case.catchment.conveyance, design_intensity or case.design_intensity
    climates = list(case.climates)
    controls = {
        "climate": choice(
            "Rain",
            climates,
            climates[0],
            "The rain that falls: the study's own record, or one of the invented ones",
        ),
        "area": slider("area", case.area, 20, round(4 * case.area, -1), 10),
        "bore": slider("bore", run.bore, 40, 200, 5),
        "run": slider("run", run.run, 0, 120, 1),
        "outlet_level": slider("outlet_level", run.outlet_level, 2.0, 6.0, 0.1),
        "inlet_level": slider("inlet_level", run.inlet_level, 0.5, 4.0, 0.1),
        "bleed": slider("bleed", run.bleed if run.kind == "wet" else 0, 0, 200, 5),
        "first_flush": slider("first_flush", case.catchment.first_flush, 0.0, 10.0, 0.1),
        "design_intensity": slider("design_intensity", storm, 20, 200, 5),
    }

    def redraw(climate: str, design_intensity: float, **places: float) -> dict[str, tuple]:
        done = dry_and_wet(case, climate, design_intensity, **places)
        drawn = {name.capitalize(): one for name, one in done.levels.items()}
        return {
            "levels": (partial(levels_figure, drawn), SAY.levels(done)),
            "losses": (partial(losses_figure, done.yearly), SAY.losses(done)),
            "bore": lambda: (partial(bore_figure, done.curve, places["bore"]), SAY.bore(done)),
        }

    keys = {name: f"conveyance.{name}" for name in ("bore", "run", "outlet_level", "inlet_level")}
    if run.kind == "wet":
        keys["bleed"] = "conveyance.bleed"
    save = saving(
        study,
        **keys,
        first_flush="losses.first_flush",
        design_intensity="site_works.design_intensity",
        area=lambda v: area_keys(case.catchment.roofs, v["area"]),
    )
    return board("catchment", controls, redraw, " ".join(CAUTIONS.work.values()), save)
