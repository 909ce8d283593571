"""The whole study on one page, and its options side by side."""

from __future__ import annotations

import math
import os
from functools import partial

import ipywidgets as widgets
import xarray as xr

from rainharvest.core.board import asking, board, cautions, nothing_to_show
from rainharvest.core.controls import slider
from rainharvest.core.errors import InputError, require
from rainharvest.core.text import texts_of
from rainharvest.rainfall.panel import hints_of, upload_controls, uploaded, uploaded_record
from rainharvest.sizing.facts_printed import failed_years, tank_facts
from rainharvest.sizing.figures import failed_years_figure, trade_off_figure
from rainharvest.sizing.section import SAY as SIZING
from rainharvest.storage.facts import worst_facts, worst_two_years
from rainharvest.storage.figures import storage_figure
from rainharvest.study.choices import COPY, OwnFile, own_folder, saving, use_study
from rainharvest.study.facts import options_at
from rainharvest.study.figures import options_figure
from rainharvest.study.new import FILE, new_study
from rainharvest.study.stages import StudyResults
from rainharvest.study.variant import area_keys, people_keys, prepare, variant


def own_station() -> widgets.VBox:
    """Return the field for a rain record with which all notebooks open a study of one's own.

    Returns
    -------
    VBox
        An upload and a button; what was begun, and what in it is still an example.
    """

    def begin(upload, units, day_first) -> str:
        require(upload, "no file was put in", "choose the record of your station first")
        (name, content), hints = uploaded(upload), hints_of(units, day_first)
        days = uploaded_record(name, content, units, day_first).read.indexes[
            "time"
        ]  # in doubt nothing is kept
        folder = own_folder() / "my_station"
        (folder / FILE).unlink(missing_ok=True)
        study = new_study(OwnFile(name, content).keep(own_folder()), folder, hints)
        use_study(study)
        return texts_of("study").begun(name, days[0].year, days[-1].year, study)

    words = "Start from this station"
    about = f"Begin a study from the record and make it {COPY}, which all notebooks open"
    return asking("", upload_controls("The record of my station"), words, about, begin)


def study_panel(path: str | os.PathLike, tank: float | None = None) -> widgets.VBox:
    """Return the panel of the whole study.

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
        Three sliders; the trade-off curve, the failed years and the worst two years.

    Raises
    ------
    InputError
        If the study cannot be run.
    """
    prepared = prepare(path)
    largest = float(prepared.sizes[-1]) / 1000
    own = prepared.study.tank
    none = tank is None or math.isnan(tank)  # as where no size reaches the target
    first = float(prepared.sizes[prepared.sizes.size // 2]) if none else tank
    first = own.usable(own.chosen) / 1000 if own.chosen else math.ceil(first / 500) / 2
    controls = {
        "area": slider("area", prepared.area, 20, round(4 * prepared.area, -1), 10),
        "people": slider("people", prepared.people, 10, round(4 * prepared.people, -1), 10),
        "capacity": slider("capacity", first, 0.5, round(largest), 0.5, unit="kL", scale=1000.0),
    }

    def redraw(area: float, people: float, capacity: float) -> dict[str, tuple]:
        done = variant(prepared, area=area, people=people, capacity=capacity)
        worst, aim = worst_two_years(done), (done.attrs["measure"], done.attrs["target"])
        failed = (done.described_failed_by_year, done.days_in_year)
        return {
            "curve": (partial(trade_off_figure, done, *aim, capacity), SIZING.trade_off(tank_facts(done))),
            "years": (partial(failed_years_figure, *failed), SIZING.failed_years(failed_years(done))),
            "storage": (
                partial(storage_figure, worst, capacity),
                texts_of("storage").worst(worst_facts(worst)),
            ),
        }

    study = prepared.study
    keys = saving(
        path,
        area=lambda v: area_keys(study.roof, v["area"]),
        people=lambda v: people_keys(study.use, v["people"], prepared.people),
        capacity=lambda v: {"tank.chosen": v["capacity"] / own.usable_share},
    )
    return board("study", controls, redraw, cautions("drinking"), keys)


def options_panel(path: str | os.PathLike, results: StudyResults) -> widgets.VBox:
    """Return the panel that compares the options of a study.

    Parameters
    ----------
    path : str or path
        The study file.
    results : StudyResults
        The study, run.

    Returns
    -------
    VBox
        Two sliders, the size of the tank and the target; what each option supplies.
    """
    options = results.groups.get("options")
    if options is None:
        return nothing_to_show(InputError("it names no options", "add an [[option]] table", "option"))
    first, largest = float(options.described_nominal[0]) / 1000, float(options.nominal[-1]) / 1000
    target = 100 * results.study.target.reliability
    controls = {
        "nominal": slider("nominal", first, 1, round(largest), 1, unit="kL", scale=1000.0),
        "target": slider("target", target, 50, 99, 1, unit="%", scale=0.01),
    }

    def redraw(nominal: float, target: float) -> dict[str, tuple]:
        draw = partial(options_figure, options, target, looked_at=nominal)
        return {"options": (draw, _options_at(options, nominal, target))}

    keys = saving(path, nominal="tank.chosen", target="target.reliability")
    return board("options", controls, redraw, cautions("drinking"), keys)


def _options_at(options: xr.Dataset, nominal: float, target: float) -> str:
    """Return what each option supplies with a tank of one size."""
    reached = options_at(options, nominal)
    enough = [name for name, share in reached.items() if share >= target]
    return texts_of("study").options_at(nominal, target, reached, enough)
