"""The site works: the tank on its base, where its surplus goes, and the pump."""

from __future__ import annotations

import os
from functools import lru_cache

import ipywidgets as widgets

from rainharvest.core.board import board, cautions, choice, slider
from rainharvest.siteworks.base import GROUNDS, SHAPES
from rainharvest.siteworks.facts import Given, Ready, prepare_siteworks, site_given, site_variant
from rainharvest.siteworks.figures import gauge_figure, run_figure, tank_figure
from rainharvest.siteworks.figures_water import pump_figure, soakaway_figure, storms_figure
from rainharvest.siteworks.tables import PumpPlan
from rainharvest.siteworks.words import (
    base_words,
    gauge_words,
    gravity_words,
    overflow_words,
    pump_words,
    siting_words,
    soakaway_words,
    spills_words,
    storms_words,
)
from rainharvest.study.choices import saving

PIT = {"pit_length": 1.0, "pit_width": 0.75, "pit_depth": 1.0}

"""The pit whose draining time the slider gives: that of the worked example to BRE Digest 365."""


def _remembered(ready: Ready):
    """Return `site_given` that remembers the last tanks and roofs: most sliders change neither."""

    @lru_cache(maxsize=4)
    def given(nominal: float | None, area: float | None, freeboard_share: float | None) -> Given:
        return site_given(ready, nominal, area, freeboard_share)

    return given


def tank_panel(path: str | os.PathLike, nominal: float | None = None) -> widgets.VBox:
    """Return the panel of the tank, its base and its tap.

    Parameters
    ----------
    path : str or path
        The study file; it must have a roof and a run of pipe.
    nominal : float [L], optional
        Nominal size at which the tank stands at first.

    Returns
    -------
    VBox
        Shape, ground and five sliders; the tank to scale, the run from the roof, the gauge.

    Raises
    ------
    InputError
        If the study cannot be run.
    """
    ready = prepare_siteworks(path, nominal)
    first = site_variant(ready)
    site, height = first.site, round(first.vessel.height, 1)
    controls = {
        "form": choice(
            "Shape of the tank", list(SHAPES), site.form, "; ".join(f"{k}: {v}" for k, v in SHAPES.items())
        ),
        "ground": choice(
            "Ground", list(GROUNDS), site.ground, "What lies under the base, by a code's classes"
        ),
        "nominal": slider("nominal", round(ready.nominal / 1000), 2, 200, 1, unit="kL", scale=1000.0),
        "height": slider("height", height, 1.2, 4.0, 0.1),
        "freeboard_share": slider(
            "freeboard_share",
            round(100 * ready.prepared.study.tank.freeboard_share),
            0,
            30,
            1,
            unit="%",
            scale=0.01,
        ),
        "stand": slider("stand", site.stand, 0.0, 4.0, 0.1),
        "tap_rise": slider("tap_rise", 0.0, 0.0, 0.8, 0.05),
    }
    figures: dict[str, object] = {}

    given = _remembered(ready)

    def redraw(
        nominal: float, freeboard_share: float, tap_rise: float, **changes: object
    ) -> dict[str, tuple]:
        tank = given(nominal, None, freeboard_share)
        works = site_variant(ready, tank, **changes)
        if tap_rise:
            works = site_variant(ready, tank, tap_height=works.tap.tap_height + tap_rise, **changes)
        figures["tank"] = tank_figure(works, figures.get("tank"))
        out = {"tank": (figures["tank"], base_words(works))}
        if works.levels is not None:
            figures["run"] = run_figure(works.levels, works.vessel, works.floor_height, figures.get("run"))
            out["run"] = figures["run"], siting_words(works)
        figures["gauge"] = gauge_figure(works, figures.get("gauge"))
        return out | {"gauge": (figures["gauge"], f"{gauge_words(works)} {gravity_words(works)}")}

    def choices(nominal: float, freeboard_share: float, tap_rise: float, **site: object) -> dict[str, object]:
        out = {f"site_works.{name}": value for name, value in site.items()}
        if nominal != 1000 * round(ready.nominal / 1000):
            out["tank.chosen"] = nominal
        if freeboard_share != round(ready.prepared.study.tank.freeboard_share, 2):
            out["tank.freeboard_share"] = freeboard_share
        if tap_rise:
            tap = site_variant(ready, given(nominal, None, freeboard_share), **site).tap
            out["site_works.tap_height"] = round(tap.tap_height + tap_rise, 3)
        return out

    return board("site-tank", controls, redraw, cautions("weight", "confined space"), saving(path, choices))


def overflow_panel(path: str | os.PathLike, nominal: float | None = None) -> widgets.VBox:
    """Return the panel of the overflow, the soakaway and the biggest storms.

    Parameters
    ----------
    path : str or path
        The study file; it must have a roof.
    nominal : float [L], optional
        Nominal size at which the tank stands at first.

    Returns
    -------
    VBox
        Six sliders; what the soakaway must hold, how full the tank was before the biggest storms.

    Raises
    ------
    InputError
        If the study cannot be run.
    """
    ready = prepare_siteworks(path, nominal)
    site = ready.prepared.study.site_works
    minutes = max(site.trial_pit.minutes) if site.trial_pit else 56.0
    controls = {
        "nominal": slider("nominal", round(ready.nominal / 1000), 2, 200, 1, unit="kL", scale=1000.0),
        "area": slider("area", round(ready.prepared.area), 20, round(4 * ready.prepared.area, -1), 10),
        "design_intensity": slider("design_intensity", site.design_intensity, 20, 200, 5),
        "pit_minutes": slider("pit_minutes", round(minutes), 5, 600, 5),
        "soakaway_width": slider("soakaway_width", site.soakaway_width, 0.5, 5.0, 0.1),
        "soakaway_depth": slider("soakaway_depth", site.soakaway_depth, 0.5, 3.0, 0.1),
    }
    figures: dict[str, object] = {}
    pit = site.trial_pit.model_dump() if site.trial_pit else PIT

    given = _remembered(ready)

    def redraw(nominal: float, area: float, pit_minutes: float, **changes: object) -> dict[str, tuple]:
        dug = pit | {"minutes": (pit_minutes,) * 3}
        works = site_variant(ready, given(nominal, area, None), trial_pit=dug, **changes)
        figures["soakaway"] = soakaway_figure(works.soakaway, figures.get("soakaway"))
        figures["storms"] = storms_figure(works.storms, figures.get("storms"))
        return {
            "soakaway": (figures["soakaway"], f"{overflow_words(works)} {soakaway_words(works)}"),
            "storms": (figures["storms"], f"{storms_words(works)} {spills_words(works)}"),
        }

    def choices(nominal: float, area: float, pit_minutes: float, **site: float) -> dict[str, object]:
        out: dict[str, object] = {f"site_works.{name}": value for name, value in site.items()}
        dug = pit | {"minutes": [pit_minutes] * 3}
        out |= {f"site_works.trial_pit.{name}": value for name, value in dug.items()}
        if nominal != 1000 * round(ready.nominal / 1000):
            out["tank.chosen"] = nominal
        if area != round(ready.prepared.area):
            roofs = enumerate(ready.prepared.study.roof)
            out |= {f"roof.{k}.area": round(roof.area * area / ready.prepared.area, 1) for k, roof in roofs}
        return out

    return board("site-overflow", controls, redraw, cautions("overflow", "digging"), saving(path, choices))


def pump_panel(path: str | os.PathLike, nominal: float | None = None) -> widgets.VBox:
    """Return the panel of the pump.

    Parameters
    ----------
    path : str or path
        The study file; it must have a roof.
    nominal : float [L], optional
        Nominal size of the tank.

    Returns
    -------
    VBox
        Five sliders; the pump's curve and the pipe's, and the tank with its pump to scale.

    Raises
    ------
    InputError
        If the study cannot be run.
    """
    ready = prepare_siteworks(path, nominal)
    plan = ready.prepared.study.site_works.pump or PumpPlan(highest_tap=4.0)
    controls = {
        "highest_tap": slider("highest_tap", plan.highest_tap, 0.5, 15.0, 0.1),
        "pressure": slider("pressure", plan.pressure, 5, 300, 5),
        "flow": slider("flow", plan.flow, 0.05, 2.0, 0.05),
        "pipe_length": slider("pipe_length", plan.pipe_length, 5, 200, 5),
        "pipe_bore": slider("pipe_bore", plan.pipe_bore, 15, 65, 1),
    }
    figures: dict[str, object] = {}

    given = _remembered(ready)

    def redraw(**changes: float) -> dict[str, tuple]:
        works = site_variant(ready, given(None, None, None), pump=plan.model_dump() | changes)
        figures["pump"] = pump_figure(works.pump, figures.get("pump"))
        figures["tank"] = tank_figure(works, figures.get("tank"))
        return {
            "pump": (figures["pump"], pump_words(works)),
            "tank": (figures["tank"], gravity_words(works)),
        }

    def choices(**changes: float) -> dict[str, object]:
        return {f"site_works.pump.{name}": value for name, value in changes.items()}

    return board("site-pump", controls, redraw, cautions("electricity"), saving(path, choices))
