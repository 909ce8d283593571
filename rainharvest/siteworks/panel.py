"""The site works: the tank on its base, where its surplus goes, and the pump."""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import lru_cache, partial

import ipywidgets as widgets
import numpy as np
from pydantic import ValidationError

from rainharvest.catchment.facts import study_water
from rainharvest.catchment.tables import scaled_roofs
from rainharvest.core.board import board, cautions
from rainharvest.core.controls import choice, slider
from rainharvest.core.errors import require
from rainharvest.core.mistakes import found_by_pydantic
from rainharvest.rainfall.describe import rains_begin
from rainharvest.siteworks.base import GROUNDS, SHAPES
from rainharvest.siteworks.facts import given_of, ten_year_day
from rainharvest.siteworks.figures import (
    gauge_figure,
    pump_figure,
    run_figure,
    soakaway_figure,
    storms_figure,
    tank_figure,
)
from rainharvest.siteworks.section import SAY
from rainharvest.siteworks.tables import PumpPlan, SiteWorks
from rainharvest.siteworks.works import Given, Works, levels_below, on_stand, plan_siteworks
from rainharvest.storage.facts import Flows, balance_settings
from rainharvest.storage.simulate import simulate
from rainharvest.study.choices import saving
from rainharvest.study.stages import results_of
from rainharvest.study.variant import Prepared, area_keys, of_file, open_study, prepare

PIT = {"pit_length": 1.0, "pit_width": 0.75, "pit_depth": 1.0, "minutes": (56.0,)}

"""The pit whose draining time the slider gives: that of the worked example to BRE Digest 365."""


@dataclass(frozen=True)
class Ready:
    """A study's site with what does not change from one slider's move to the next."""

    prepared: Prepared  # The study on its first filled version
    nominal: float  # [L] Nominal size at which the tank stands at first
    ten_year_day: float  # [mm/day] Of its record
    rains_begin: int  # [1] Month in which its rains begin
    site: SiteWorks  # As the study file has it, with the tanks that were decided on


def prepare_siteworks(path: str | os.PathLike, nominal: float | None = None) -> Ready:
    """Read a study once, for many variants of its site.

    Parameters
    ----------
    path : str or path
        The study file.
    nominal : float [L], optional
        Nominal size of one tank at first; if not given, the tanks that the study decides on.

    Returns
    -------
    Ready
        To be given to `site_variant`.

    Raises
    ------
    InputError
        If the study cannot be run, or has no roof.
    """
    prepared = prepare(path)
    site = prepared.study.site_works
    if nominal is None:
        run = open_study(path, members=None)
        with of_file(path):
            done = results_of(run, "decision")["done"]
        nominal = float(done.described_nominal)
        if "tanks" in done.attrs:  # bought from a catalogue, which knows them
            site = site.bought(int(done.attrs["tanks"]), float(done.attrs["tank_height"]))
    version = prepared.record.filled.isel(member=0, drop=True)
    return Ready(prepared, nominal, ten_year_day(version), rains_begin(version), site)


def site_given(
    ready: Ready,
    nominal: float | None = None,
    area: float | None = None,
    freeboard_share: float | None = None,
) -> Given:
    """Simulate a study with another tank or other roofs, for its site works."""
    prepared = ready.prepared
    study, size = prepared.study, ready.nominal if nominal is None else nominal
    require(0 < size < np.inf, f"a tank of {size:g} L", "give a size above zero", "nominal")
    if area is not None:
        study = study.model_copy(update={"roof": scaled_roofs(study.roof, area)})
    if freeboard_share is not None:
        tank = type(study.tank)(**(study.tank.model_dump() | {"freeboard_share": freeboard_share}))
        study = study.model_copy(update={"tank": tank})
    inflow = study_water(study, prepared.record).inflow.isel(member=0)
    flows = Flows(inflow.to_dataset(name="inflow"), prepared.demand, ())
    usable = study.tank.usable(size)
    daily = simulate(
        inflow, prepared.demand.sum("use"), usable, **balance_settings(study, flows, usable), trace=True
    )
    daily = daily.isel(capacity=0, drop=True).assign(inflow=inflow)
    more = daily, ready.ten_year_day
    return given_of(study, size, prepared.demand, *more, rains_begin=ready.rains_begin)


def site_variant(ready: Ready, given: Given | None = None, **changes: object) -> Works:
    """Return the site works of a study with another site.

    Parameters
    ----------
    ready : Ready
        As `prepare_siteworks`.
    given : Given, optional
        As `site_given`; for the tank and the roofs of the study if not given.
    **changes
        Fields of `rainharvest.siteworks.tables.SiteWorks` that are otherwise.

    Returns
    -------
    Works
        All of them.

    Raises
    ------
    InputError
        If a setting is impossible.
    """
    try:
        site = SiteWorks.model_validate(ready.site.model_dump() | changes)
    except ValidationError as error:
        first = found_by_pydantic(error, SiteWorks, changes)[0]
        raise replace(first, loc=("site_works", *first.loc)).error(None) from None
    return plan_siteworks(site, given or site_given(ready))


def _remembered(ready: Ready) -> Callable[..., Given]:
    """Return `site_given` that remembers the last tanks and roofs: most sliders change neither."""
    return lru_cache(maxsize=4)(partial(site_given, ready))


def _size_slider(ready: Ready):
    return slider("nominal", ready.nominal / 1000, 2, 200, 1, unit="kL", scale=1000.0)


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
    given, site = _remembered(ready), ready.site
    height = site_variant(ready, given(None, None, None)).vessel.height
    room = ready.prepared.study.tank.freeboard_share
    shapes = "; ".join(f"{name}: {meaning}" for name, meaning in SHAPES.items())
    ground = "What lies under the base, by a code's classes"
    controls = {
        "form": choice("Shape of the tank", list(SHAPES), site.form, shapes),
        "ground": choice("Ground", list(GROUNDS), site.ground, ground),
        "nominal": _size_slider(ready),
        "height": slider("height", height, 1.2, 4.0, 0.1),
        "freeboard_share": slider("freeboard_share", 100 * room, 0, 30, 1, unit="%", scale=0.01),
        "stand": slider("stand", site.stand, 0.0, 4.0, 0.1),
        "tap_rise": slider("tap_rise", 0.0, 0.0, 0.8, 0.05),
    }

    def raised(tank: Given, rise: float, changes: dict[str, object]) -> Works:
        tank = on_stand(tank, changes["stand"] - site.stand)
        works = site_variant(ready, tank, **changes)
        if rise:
            works = site_variant(ready, tank, tap_height=works.tap.tap_height + rise, **changes)
        return works

    def redraw(
        nominal: float, freeboard_share: float, tap_rise: float, **changes: object
    ) -> dict[str, tuple]:
        works = raised(given(nominal, None, freeboard_share), tap_rise, changes)
        out = {"tank": (partial(tank_figure, works), f"{SAY.base(works)} {SAY.no_overflow(works)}".strip())}
        if works.levels is not None:
            out["run"] = partial(run_figure, works), SAY.run(works)
        return out | {"gauge": (partial(gauge_figure, works), f"{SAY.gauge(works)} {SAY.gravity(works)}")}

    def tap(values) -> dict[str, object]:
        changes = {name: values[name] for name in ("form", "ground", "height", "stand")}
        works = raised(given(values["nominal"], None, values["freeboard_share"]), values["tap_rise"], changes)
        return {"site_works.tap_height": works.tap.tap_height}

    def stand(values) -> dict[str, object]:
        run, high = ready.prepared.study.conveyance, values["stand"]
        levels = {} if run is None else levels_below(run, high - site.stand)
        return {"site_works.stand": high} | {f"conveyance.{name}": level for name, level in levels.items()}

    keys = saving(
        path,
        **{name: f"site_works.{name}" for name in ("form", "ground", "height")},
        nominal="tank.chosen",
        freeboard_share="tank.freeboard_share",
        stand=stand,
        tap_rise=tap,
    )
    return board("site-tank", controls, redraw, cautions("weight", "confined space"), keys)


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
    given, site, area = _remembered(ready), ready.site, ready.prepared.area
    pit = site.trial_pit.model_dump() if site.trial_pit else PIT
    controls = {
        "nominal": _size_slider(ready),
        "area": slider("area", area, 20, round(4 * area, -1), 10),
        "design_intensity": slider("design_intensity", site.design_intensity, 20, 200, 5),
        "pit_minutes": slider("pit_minutes", max(pit["minutes"]), 5, 600, 5),
        "soakaway_width": slider("soakaway_width", site.soakaway_width, 0.5, 5.0, 0.1),
        "soakaway_depth": slider("soakaway_depth", site.soakaway_depth, 0.5, 3.0, 0.1),
    }

    def redraw(nominal: float, area: float, pit_minutes: float, **changes: object) -> dict[str, tuple]:
        dug = pit | {"minutes": (pit_minutes,) * 3}
        works = site_variant(ready, given(nominal, area, None), trial_pit=dug, **changes)
        surplus = f"{SAY.overflow(works)} {SAY.soakaway(works)}"
        return {
            "soakaway": (partial(soakaway_figure, works.soakaway), surplus),
            "storms": (partial(storms_figure, works.storms), f"{SAY.storms(works)} {SAY.spills(works)}"),
        }

    def trial_pit(values) -> dict[str, object]:
        dug = pit | {"minutes": [values["pit_minutes"]] * 3}
        return {f"site_works.trial_pit.{name}": value for name, value in dug.items()}

    names = ("design_intensity", "soakaway_width", "soakaway_depth")
    keys = saving(
        path,
        **{name: f"site_works.{name}" for name in names},
        nominal="tank.chosen",
        pit_minutes=trial_pit,
        area=lambda v: area_keys(ready.prepared.study.roof, v["area"]),
    )
    return board("site-overflow", controls, redraw, cautions("overflow", "digging"), keys)


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
    given = site_given(ready)
    plan = ready.site.pump or PumpPlan(highest_tap=4.0)
    ends = {
        "highest_tap": (0.5, 15.0, 0.1),
        "pressure": (5, 300, 5),
        "flow": (0.05, 2.0, 0.05),
        "pipe_length": (5, 200, 5),
        "pipe_bore": (15, 65, 1),
    }
    controls = {name: slider(name, getattr(plan, name), *end) for name, end in ends.items()}

    def redraw(**changes: float) -> dict[str, tuple]:
        works = site_variant(ready, given, pump=plan.model_dump() | changes)
        return {
            "pump": (partial(pump_figure, works.pump), SAY.pump(works)),
            "tank": (partial(tank_figure, works), SAY.gravity(works)),
        }

    own = {} if ready.site.pump else {"site_works.pump.highest_tap": plan.highest_tap}

    def key(name: str) -> Callable:
        return lambda values: own | {f"site_works.pump.{name}": values[name]}

    keys = saving(path, **{name: key(name) for name in ends})
    return board("site-pump", controls, redraw, cautions("electricity"), keys)
