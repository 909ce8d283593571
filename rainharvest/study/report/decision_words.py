"""The size and the arrangement in the report's sentences."""

from __future__ import annotations

import numpy as np
import xarray as xr

from rainharvest.reader import number
from rainharvest.study.file import Study
from rainharvest.study.report.record_words import KINDS
from rainharvest.study.words import days, litres, middle, percent


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
