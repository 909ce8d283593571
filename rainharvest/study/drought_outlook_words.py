"""What to expect and to do from today on, and under other climates, in sentences."""

from __future__ import annotations

import numpy as np
import xarray as xr

from rainharvest.drought.outlook import CONFIDENCES
from rainharvest.reader import measure
from rainharvest.study.drought_words import listed
from rainharvest.study.words import days, litres, percent, rounded


def fan_words(found: xr.Dataset, plan: str = "yours") -> str:
    """Return how long the water lasts from today on.

    Parameters
    ----------
    found : Dataset
        As `rainharvest.drought.outlook.outlook`.
    plan : str
        The plan that is told.

    Returns
    -------
    str
        Plain text.
    """
    lasts = found.supply_days.sel(plan=plan)
    look = int(found.lead[-1])
    told = []
    known = [c for c in CONFIDENCES if _told(found, c)]
    for confidence in known:
        value = float(lasts.sel(confidence=confidence))
        told.append(f"{'the whole year' if value >= look >= 365 else days(value)} in {percent(confidence)}")
    told[0] += " of the years"
    text = " and ".join(filter(None, [", ".join(told[:-1]), told[-1]]))
    beyond = (
        f" {found.attrs['years']} years cannot say for how long it lasts in {percent(CONFIDENCES[len(known)])} of them."
        if len(known) < len(CONFIDENCES)
        else ""
    )
    return (
        f"From {litres(found.attrs['start'])} today the water lasts at least {text}.{beyond} Within a year the tank "
        f"runs dry in {percent(1 - float(found.never_dry.sel(plan=plan)))} of {found.attrs['years']} years."
    )


def chances_words(found: xr.Dataset) -> str:
    """Return what each stage of rationing, kept from today on, would buy.

    Parameters
    ----------
    found : Dataset
        As `rainharvest.drought.outlook.outlook`.

    Returns
    -------
    str
        Plain text.
    """
    told = []
    for plan in found.plan.values:
        if plan == "yours":
            continue
        dry = percent(1 - float(found.never_dry.sel(plan=plan)))
        often = 0.8 if _told(found, 0.8) else 0.5
        sure = float(found.supply_days.sel(plan=plan, confidence=often))
        lasts = "the whole year" if sure >= int(found.lead[-1]) else days(sure)
        told.append(f"{plan}: dry in {dry} of the years, {lasts} at least in {10 * often:.0f} of 10")
    return f"What each would buy from today on. {'. '.join(t[0].upper() + t[1:] for t in told)}."


def _told(found: xr.Dataset, confidence: float) -> bool:
    """Return whether so many years hold one that lasts less long: of n years the worst stands for 1 in n + 1."""
    return (1 - confidence) * (found.attrs["years"] + 1) >= 1 - 1e-9


def honesty_words(found: xr.Dataset) -> str:
    """Return whether the outlook has been honest.

    Parameters
    ----------
    found : Dataset
        As `rainharvest.study.drought_outlook.honesty_of`.

    Returns
    -------
    str
        Plain text.
    """
    inside = ((found.seen_share >= found.seen_low) & (found.seen_share <= found.seen_high)).values
    low, high = float(found.band_share.min()), float(found.band_share.max())
    return (
        f"Each year foretold from the others, {int(found.forecasts.sum())} outlooks in all: in {int(inside.sum())} of "
        f"{inside.size} classes of stated chance the tank ran dry as often as said, within what chance alone allows. "
        f"The 80 % band held {percent(low)} to {percent(high)} of the outcomes."
    )


def plan_words(plan: xr.Dataset) -> str:
    """Return what the rationing plan keeps and what it costs.

    Parameters
    ----------
    plan : Dataset
        As `rainharvest.study.drought_plan.plan_dataset`.

    Returns
    -------
    str
        Plain text.
    """
    failing, without = percent(float(plan.failing_years)), percent(float(plan.failing_years_without))
    wanted = percent(plan.attrs["plan_wanted"])
    if not plan.attrs["plan_keeps"]:
        return (
            f"No plan keeps the essential uses in all but {wanted} of the years: the best of those tried fails in "
            f"{failing} of them, no rationing in {without}. A larger roof or tank, less demand or another source is "
            "needed."
        )
    if not float(plan.plan_ahead):
        return f"No rationing is needed: the essential uses fail in {failing} of the years, no more than {wanted} may."
    held = plan.ordinary_stage_days.values
    stages = listed(f"{days(rounded(d))} in stage {k + 1}" for k, d in enumerate(held))
    text = (
        f"With the levels of the card the essential uses fail in {failing} of the years, without in {without}; no more "
        f"than {wanted} may. An ordinary year costs {percent(float(plan.ordinary_cut))} of the demand, turned away on "
        f"purpose: {stages}."
    )
    elsewhere = float(plan.failing_years_elsewhere)
    if np.isfinite(elsewhere):
        text += f" Found from one half of the record and judged on the other, such plans fail in {percent(elsewhere)}."
    return text


def actions(plan: xr.Dataset) -> list[str]:
    """Return what the card tells to do: as usual, in each stage, when help is needed.

    Parameters
    ----------
    plan : Dataset
        As `rainharvest.study.drought_plan.plan_dataset`.

    Returns
    -------
    list of str
        In that order.
    """
    out = ["White: as usual, all uses."]
    for stage, kept in zip(plan.stage.values, plan.stage_keeps.values, strict=True):
        what = (
            "only what is essential"
            if kept == 0
            else f"what is essential, and {percent(float(kept))} of the rest"
        )
        out.append(f"Stage {stage}: {what}.")
    return [*out, "Call for help: water must be brought. Only what is essential until it comes."]


def climates_words(found: xr.Dataset) -> str:
    """Return what the tank makes of each climate.

    Parameters
    ----------
    found : Dataset
        As `rainharvest.study.drought_climates.scenarios_tried`.

    Returns
    -------
    str
        Plain text.
    """
    if found.sizes["scenario"] == 1:
        return "The study names no other climate: add [[drought.scenario]] with factors from your own climate source."
    told = []
    for name in found.scenario.values:
        at = found.sel(scenario=name)
        told.append(
            f"{name}: {measure(float(at.scenario_rain), 'mm', 2)} a year, the longest dry spell "
            f"{days(float(at.scenario_dry_spell))}, {percent(float(at.scenario_volume_reliability))} of the demand "
            f"supplied, short on {days(float(at.scenario_failed_a_year))} a year"
        )
    trend = "the trend of the record carried forward" if "carried to" in found.attrs["scenarios"] else ""
    end = f" Carried forward: {trend}." if trend else " The trend of the record is not carried forward."
    return f"{'. '.join(t[0].upper() + t[1:] for t in told)}.{end}"


def longer_words(found: xr.Dataset) -> str:
    """Return what droughts longer than any on record would do.

    Parameters
    ----------
    found : Dataset
        As `rainharvest.study.drought_climates.longer_droughts`.

    Returns
    -------
    str
        Plain text.
    """
    drier = float((found.drawn_driest_run < found.record_driest_run).mean())
    failing = np.quantile(found.drawn_failed_a_year.values, [0.05, 0.95])
    longest = float(found.drawn_longest_failure.max())
    return (
        f"Of {found.sizes['draw']} records as long as this one, drawn anew from its years in blocks of "
        f"{found.attrs['block_years']}, {percent(drier)} hold three years drier than its driest three. The tank fails "
        f"on {days(rounded(failing[0]))} to {days(rounded(failing[1]))} a year in 9 of 10 of them, and its longest "
        f"failure reaches {days(longest)}; on the record it is {days(float(found.record_longest_failure))}."
    )
