"""Roofs and conveyance in words."""

from __future__ import annotations

import textwrap

import numpy as np
import pandas as pd
import xarray as xr

from rainharvest.catchment.facts import Case, DryAndWet, first_flush_cost
from rainharvest.catchment.hydraulics import SELF_CLEANSING, STANDING_LIMIT
from rainharvest.catchment.tables import Conveyance, roof_cautions
from rainharvest.core.reader import days, gallons, litres, marks, measure, percent, rounded
from rainharvest.study.file import Study


def levels_words(done: DryAndWet) -> str:
    """Return whether each run can work and what level or head is left, in a few sentences."""
    dry, wet = done.levels["dry run"], done.levels["wet run"]
    said = [f"The design storm brings {_told(done.flow, 'L/s', 1)}."]
    if dry.answer:
        said.append(f"Dry: {dry.answer}.")
    else:
        passes = done.table.loc["flow before it backs up [L/s]", "dry run"]
        said.append(
            f"Dry: the fall leaves {_told(dry.margin, 'm', 2)} of level above the inlet; the pipe, part full, passes "
            f"{_told(passes, 'L/s', 1)}{_enough(passes, done.flow)}."
        )
    if wet.answer:
        said.append(f"Wet: {wet.answer}.")
    else:
        passes = done.table.loc["flow before it backs up [L/s]", "wet run"]
        speed = done.table.loc["velocity at the design storm [m/s]", "wet run"]
        clean, held = SELF_CLEANSING.value, done.table.loc["water held [L]", "wet run"]
        pressure = done.table.loc["pressure on the lowest joint [kPa]", "wet run"]
        head = "is short by" if wet.margin < 0 else "leaves"
        said.append(
            f"Wet: the head {head} {_told(abs(wet.margin), 'm', 2)} in that storm; the run passes "
            f"{_told(passes, 'L/s', 1)}{_enough(passes, done.flow)}. It holds {litres(held)} and puts "
            f"{_told(pressure, 'kPa', 0)} on its lowest joint. Its water moves at {_told(speed, 'm/s', 1)} then, "
            f"{'above' if speed >= clean else 'below'} the guideline of {_told(clean, 'm/s', 1)} at which a drain "
            "keeps itself clean."
        )
    return " ".join(said)


def _told(value: float, unit: str, decimals: int) -> str:
    """Return a measure to so many decimals, or in US units to two figures."""
    return measure(value, unit, 2) if gallons() else marks(f"{value:,.{decimals}f}") + f" {unit}"


def _enough(passes: float, flow: float) -> str:
    return ", which is enough" if passes >= flow else ", and the rest runs over the gutter"


def losses_words(done: DryAndWet) -> str:
    """Return what reaches the tank by each run and what the wet one costs, in a few sentences."""
    dry, wet = (done.yearly.sel(conveyance=f"{kind} run") for kind in ("dry", "wet"))
    if done.levels["dry run"].answer and done.levels["wet run"].answer:
        return "Neither run brings any water: move the tank down, or nearer, or raise the gutter outlet."
    if done.levels["wet run"].answer:
        return (
            f"By the dry run {litres(float(dry.sel(cause='delivered')))} a year reach the tank, after a first "
            f"flush of {litres(float(dry.sel(cause='first flush')))}; a wet run cannot work here."
        )
    stands = done.table["wet run"]
    limit = STANDING_LIMIT.value
    beyond = stands[f"spells a year beyond {limit:g} days [1/year]"]
    first = (
        "A dry run cannot work here; by"
        if done.levels["dry run"].answer
        else f"By the dry run {litres(float(dry.sel(cause='delivered')), 3)} a year reach the tank; by"
    )
    return (
        f"{first} the wet run {litres(float(wet.sel(cause='delivered')), 3)} do, after a first flush of "
        f"{litres(float(wet.sel(cause='first flush')))}. It loses {_some(wet.sel(cause='held in pipe'))} "
        f"through its bleed and {_some(wet.sel(cause='pipe capacity'))} when it backs up. Water stands "
        f"in it on {percent(stands['days on which water stands [1]'])} of all days, "
        f"{days(stands['longest time that water stands [day]'])} at the longest, and "
        f"{beyond:.0f} times a year for more than {limit:g} days."
    )


def _some(volume: xr.DataArray) -> str:
    return f"{litres(float(volume))} a year" if float(volume) >= 10 else "next to nothing"


def bore_words(done: DryAndWet) -> str:
    """Return which bore brings most and which passes the design storm, in a few sentences."""
    if done.curve is None:
        return "No bore makes this wet run work: the inlet stands too high for the gutter outlet."
    best = done.curve.attrs["best_bore"]
    own = done.catchment.conveyance.bore
    most = float(done.curve.inflow.sel(bore=best)) * 365.25
    less = 1 - float(done.yearly.sel(conveyance="wet run", cause="delivered")) / most if most else 0.0
    passing = done.curve.bore.values[done.curve.capacity_of_pipe.values >= done.flow]
    storm = (
        f"The first bore that passes the design storm is {_told(passing.min(), 'mm', 0)}"
        if passing.size
        else f"None up to {_told(done.curve.bore.values.max(), 'mm', 0)} passes the design storm"
    )
    return (
        f"Over this record {_told(best, 'mm', 0)} brings most, {litres(most, 3)} a year; {_told(own, 'mm', 0)} brings "
        f"{'as much' if less < 0.0005 else f'{100 * less:.1f} % less'}. {storm}: build for the storm, "
        "since a gutter that overflows wets the wall, and let the bleed out no more than flushing asks."
    )


def tell_runs(done: DryAndWet, width: int = 100) -> None:
    """Print what the levels allow, what reaches the tank and which bore to choose, broken into lines.

    Parameters
    ----------
    done : DryAndWet
        As `rainharvest.catchment.facts.dry_and_wet`.
    width : int
        Characters on a line.
    """
    for text in (levels_words(done), losses_words(done), bore_words(done)):
        print(textwrap.fill(text, width), end="\n\n")


def side_by_side(done: DryAndWet) -> pd.DataFrame:
    """Return the table of dry against wet with no more figures than it supports.

    Parameters
    ----------
    done : DryAndWet
        As `rainharvest.catchment.facts.dry_and_wet`.

    Returns
    -------
    DataFrame
        The rows of `rainharvest.catchment.compare.compare_conveyance`, as text.
    """
    return done.table.map(_shown)


def _shown(value: object) -> str:
    if isinstance(value, str):
        return value
    if pd.isna(value):
        return "-"
    near = rounded(float(value), 3)
    return f"{near:,.0f}" if abs(near) >= 100 else "under 0.001" if 0 < abs(near) < 0.001 else f"{near:g}"


def tell_roofs(case: Case, width: int = 100) -> None:
    """Print what to be careful about with each roof: cautions, not verdicts.

    Parameters
    ----------
    case : Case
        The study's catchment and the climates.
    width : int
        Characters on a line.
    """
    for roof in case.catchment.roofs:
        print(f"{roof.name}, {roof.area:g} m2 of {roof.material}:")
        for caution in roof_cautions(roof) or ["nothing known; look before anyone drinks from it"]:
            print(textwrap.fill(caution, width, initial_indent="  - ", subsequent_indent="    "))


def tell_first_flush(case: Case, depths: tuple[float, ...] = (0.1, 0.4, 2.0, 10.0)) -> None:
    """Print what first-flush depths cost in each climate, as shares of the rain on the roofs.

    Parameters
    ----------
    case : Case
        The study's catchment and the climates.
    depths : tuple of float [mm]
        Depths from the range that is published.
    """
    cost = first_flush_cost(case, depths)
    print("first flush (mm)".ljust(20) + "".join(f"{depth:>8g}" for depth in depths))
    for climate in cost.climate.values:
        row = np.round(100 * cost.sel(climate=climate).values, 1)
        print(str(climate).ljust(20) + "".join(f"{share:>6.1f} %" for share in row))


def run_said(run: Conveyance) -> str:
    """Return what the study's run of pipe is."""
    return (
        f"{run.kind.capitalize()} conveyance: {measure(run.run, 'm')} of pipe of {measure(run.bore, 'mm', 3)} bore, "
        f"from gutter outlets at {measure(run.outlet_level, 'm', 3)} to an inlet at "
        f"{measure(run.inlet_level, 'm', 3)} above the base of the tank."
    )


def roofs_said(study: Study) -> str:
    """Return how much roof there is."""
    if not study.roof:
        return "No roof feeds this tank."
    if study.arrangement.kind == "mains reserve":
        return "No roof feeds the tank described; the roofs below count only where an option uses them."
    count = len(study.roof)
    total = measure(sum(roof.area for roof in study.roof), "m2", 3)
    return f"{count} roof{'s' if count > 1 else ''} of {total} in plan."


def levels_caption(done: DryAndWet, design_intensity: float) -> str:
    """Return what the picture of the levels shows."""
    words = []
    for name in ("dry run", "wet run"):
        one = done.levels[name]
        if one.answer:
            words.append(f"the {name} cannot work")
        else:
            left = "leaves" if one.margin >= 0 else "is short by"
            words.append(f"the {name} {left} {measure(abs(one.margin), 'm', 2)}")
    return (
        f"Levels of the two runs between the same points in a storm of {measure(design_intensity, 'mm/h', 2)}: "
        f"{'; '.join(words)}."
    )


def storm_said(design_intensity: float, given: bool) -> str:
    """Return what the design storm is for."""
    whose = "given by the study file" if given else "assumed: take that of your local rules"
    return (
        f"The runs are compared in a design storm of {measure(design_intensity, 'mm/h', 2)}, {whose}. Pipe and gutter "
        "sizes follow local rules and that storm, not this daily study."
    )
