"""The size, the dry years, the arrangement and the costs in the report's sentences."""

from __future__ import annotations

import numpy as np
import xarray as xr

from rainharvest.reader import date, measure, number
from rainharvest.study.conveyance import DryAndWet
from rainharvest.study.file import Conveyance, Study
from rainharvest.study.report.record_words import KINDS
from rainharvest.study.supply_words import MONTHS
from rainharvest.study.words import days, litres, middle, percent


def run_said(run: Conveyance) -> str:
    """Return what the study's run of pipe is.

    Parameters
    ----------
    run : Conveyance
        The run.

    Returns
    -------
    str
        One sentence.
    """
    return (
        f"{run.kind.capitalize()} conveyance: {measure(run.run, 'm')} of pipe of {measure(run.bore, 'mm', 3)} bore, "
        f"from gutter outlets at {measure(run.outlet_level, 'm', 3)} to an inlet at "
        f"{measure(run.inlet_level, 'm', 3)} above the base of the tank."
    )


def roofs_said(study: Study) -> str:
    """Return how much roof there is.

    Parameters
    ----------
    study : Study
        The study.

    Returns
    -------
    str
        One sentence.
    """
    if not study.roof:
        return "No roof feeds this tank."
    if study.arrangement.kind == "mains reserve":
        return "No roof feeds the tank described; the roofs below count only where an option uses them."
    count = len(study.roof)
    total = measure(sum(roof.area for roof in study.roof), "m2", 3)
    return f"{count} roof{'s' if count > 1 else ''} of {total} in plan."


def levels_caption(done: DryAndWet, design_intensity: float) -> str:
    """Return what the picture of the levels shows.

    Parameters
    ----------
    done : DryAndWet
        As `rainharvest.study.conveyance.dry_and_wet`.
    design_intensity : float [mm/h]
        Rain of the design storm.

    Returns
    -------
    str
        One or two sentences.
    """
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
    """Return what the design storm is for.

    Parameters
    ----------
    design_intensity : float [mm/h]
        Rain of the design storm.
    given : bool
        Whether the study file gives it.

    Returns
    -------
    str
        One or two sentences.
    """
    whose = "given by the study file" if given else "assumed: take that of your local rules"
    return (
        f"The runs are compared in a design storm of {measure(design_intensity, 'mm/h', 2)}, {whose}. Pipe and gutter "
        "sizes follow local rules and that storm, not this daily study."
    )


def failed_caption(done: xr.Dataset) -> str:
    """Return what the picture of the failed days shows.

    Parameters
    ----------
    done : Dataset
        As `rainharvest.study.run.run_study`.

    Returns
    -------
    str
        One sentence.
    """
    whole = (done.days_in_year >= 365).values
    failed = done.described_failed_by_year.median("member").values[whole]
    return (
        f"Failed days by hydrological year: none in {int((failed == 0).sum())} of {failed.size} whole years, "
        f"{days(float(failed.max(initial=0)))} in the worst."
    )


def storage_caption(worst: xr.Dataset) -> str:
    """Return what the picture of the worst two years shows.

    Parameters
    ----------
    worst : Dataset
        As `rainharvest.study.worst_years.worst_two_years`.

    Returns
    -------
    str
        One sentence.
    """
    first, last = (date(day) for day in worst.time.values[[0, -1]])
    short = float(worst.unmet_daily.sum())
    return (
        f"Water stored from {first} to {last}, the two years with the largest shortfall: "
        f"{litres(short) if short else 'nothing'} short."
    )


def sizes_said(done: xr.Dataset) -> str:
    """Return how the sizes compare and where more tank stops helping.

    Parameters
    ----------
    done : Dataset
        As `rainharvest.study.run.run_study`.

    Returns
    -------
    str
        One or two sentences.
    """
    curve = done.volume_reliability.median("member")
    most, largest = float(curve.max()), float(done.capacity[-1])
    first = float(done.capacity[int(np.argmax(curve.values >= 0.99 * most))])
    years = float(done.days_in_year.sum()) / 365.25
    comes, wanted = middle(done.inflow_total) / years, float(done.demand_total) / years
    rain = f"{litres(comes)} a year reach the tank and " if comes > 0 else ""
    text = (
        f"{rain}{litres(wanted)} a year are asked of it. The largest tank looked "
        f"at, {litres(largest)}, supplies {percent(most)} of the water asked for"
    )
    if first < 0.8 * largest:
        text += f"; from {litres(first)} on, more tank adds next to nothing"
    return text + "."


def spread_said(done: xr.Dataset) -> str:
    """Return over which sizes the filled versions differ.

    Parameters
    ----------
    done : Dataset
        As `rainharvest.study.run.run_study`.

    Returns
    -------
    str
        One or two sentences.
    """
    found = done.smallest.values
    if done.attrs["arrangement"] == "mains reserve":
        return "No rain enters the tank: its size follows from the interruptions of the mains, not from the record."
    if found.size < 2:
        return (
            "One filled version of the record was used, so the study does not say how much its gaps matter."
        )
    if not np.isfinite(found).all():
        none = int((~np.isfinite(found)).sum())
        return f"In {none} of {found.size} fillings of the record's gaps no tank reaches the target."
    low, middle_one, high = (litres(v, 3) for v in (found.min(), np.median(found), found.max()))
    return (
        f"The smallest tank that reaches the target is {middle_one} usable in the middle of {found.size} equally "
        f"likely fillings of the record's gaps, {low} in the kindest and {high} in the hardest. The size recommended "
        "reaches it in nine of ten. That is what the gaps leave open; whether the coming years resemble the record, no "
        "filling says."
    )


def arrangement_said(study: Study, done: xr.Dataset) -> list[str]:
    """Return how rain and mains supply the building.

    Parameters
    ----------
    study : Study
        The study.
    done : Dataset
        As `rainharvest.study.run.run_study`.

    Returns
    -------
    list of str
        A sentence or two each.
    """
    plan, out = study.arrangement, [KINDS[study.arrangement.kind]]
    if plan.kind == "combined":
        how = (
            "A change-over valve feeds the fixtures from the mains when the tank is empty."
            if plan.change_over
            else f"Mains water enters the tank below {percent(plan.top_up_trigger)} of it and stops at "
            f"{percent(plan.top_up_level)}."
        )
        years = float(done.days_in_year.sum()) / 365.25
        mains = middle(done.described_topped_up + done.described_changed_over) / years
        out += [how, f"The tank described takes {litres(mains)} a year from the mains."]
    if plan.mains_off:
        out.append(f"Days without mains: {', '.join(plan.mains_off)}.")
    for rule, hours in plan.mains_hours.items():
        out.append(f"Hours of mains on {rule}: {number(hours)}.")
    if plan.spells is not None:
        out.append(
            f"Beside these, interruptions of {days(plan.spells.spell_length)} on average, "
            f"{number(plan.spells.interruptions_a_year)} of them a year, drawn by chance with a seed."
        )
    if done.attrs["not_served"]:
        out.append(f"Drinking quality comes from elsewhere for: {done.attrs['not_served']}.")
    return out


def band_caption(group: xr.Dataset) -> str:
    """Return what the picture of the band shows.

    Parameters
    ----------
    group : Dataset
        As `rainharvest.study.sizing.sizing_group`.

    Returns
    -------
    str
        One or two sentences.
    """
    return (
        f"Reliability against size: on the record as it stands (line), and in nine of ten of {group.attrs['draws']} "
        "equally likely versions of what is not known (band): years, gaps, roof, losses, demand."
    )


def shortcuts_said(words: str) -> str:
    """Return how the short ways of sizing fared, and what they are.

    Parameters
    ----------
    words : str
        As `rainharvest.study.sizing_figure_words.shortcuts_words`.

    Returns
    -------
    str
        A few sentences.
    """
    return f"Short ways of sizing, held to this daily record. {words}"


def left_out_said(why: str) -> str:
    """Return what of the drought stage could not be had.

    Parameters
    ----------
    why : str
        The reasons.

    Returns
    -------
    str
        One sentence.
    """
    return f"Not shown here: {why}."


def card_said(plan: xr.Dataset, actions: list[str]) -> list[str]:
    """Return the caretaker's card as text, for who cannot see it.

    Parameters
    ----------
    plan : Dataset
        As `rainharvest.study.drought_plan.plan_dataset`.
    actions : list of str
        What to do, in the order of the card.

    Returns
    -------
    list of str
        What to do, and below which levels of the gauge by month.
    """
    levels = [*plan.stage_level.values, plan.help_level.values]
    out = [actions[0]]
    for what, level in zip(actions[1:], levels, strict=True):
        by_month = ", ".join(
            f"{month} {percent(min(share, 1.0))}"
            for month, share in zip(MONTHS, level, strict=True)
            if share > 0
        )
        out.append(f"{what} Below these levels of the gauge: {by_month or 'in no month'}.")
    return out


def fan_caption(month: int, day: int, words: str) -> str:
    """Return from which day the outlook is, and what it shows.

    Parameters
    ----------
    month, day : int
        Of the day it begins.
    words : str
        What it shows.

    Returns
    -------
    str
        A few sentences.
    """
    return f"An outlook from {day} {MONTHS[month - 1]}, when the tank mostly stands highest. {words}"
