"""What a reader who has only the report must find: what tank, why, how sure, in a drought, its cost, what to watch."""

from __future__ import annotations

import math

import numpy as np
import xarray as xr

from rainharvest.names import label
from rainharvest.study.file import Study
from rainharvest.study.run import Worked
from rainharvest.study.words import confidence, days, litres, middle, percent


def tank_said(study: Study, done: xr.Dataset) -> str:
    """Return what tank.

    Parameters
    ----------
    study : Study
        The study.
    done : Dataset
        As `rainharvest.study.run.run_study`.

    Returns
    -------
    str
        One sentence or two.
    """
    tank, nominal = float(done.described), float(done.described_nominal)
    sizes = f"{litres(nominal, up=True)} nominal, of which {litres(tank, up=True)} can be drawn"
    if math.isnan(float(done.recommended)):
        return f"No size reaches what was asked. Described is {sizes}; {study.arrangement.kind}."
    kind = study.arrangement.kind.capitalize()
    if study.tank.chosen is None:
        return f"{kind}, {sizes}."
    least = float(done.recommended) / study.tank.usable_share
    return (
        f"{kind}, {sizes}, as the study file asks; the smallest that reaches the target is "
        f"{litres(least, up=True)} nominal."
    )


def why_said(done: xr.Dataset) -> str:
    """Return why this size: what half of it and twice of it would do.

    Parameters
    ----------
    done : Dataset
        As `rainharvest.study.run.run_study`.

    Returns
    -------
    str
        One sentence.
    """
    curve = done[done.attrs["measure"]].median("member")
    tank = float(done.described)
    half, twice = (
        float(np.interp(factor * tank, curve.capacity.values, curve.values)) for factor in (0.5, 2.0)
    )
    what = (
        "of the water asked for" if done.attrs["measure"] == "volume_reliability" else "of all days in full"
    )
    own = middle(done.described_rain_reliability)
    text = f"It supplies {percent(own)} {what}; half the size would supply {percent(half)}"
    if 2 * tank <= float(done.capacity[-1]):
        text += f", twice the size {percent(twice)}"
    return text + "."


def sure_said(worked: Worked) -> str:
    """Return how sure the size is.

    Parameters
    ----------
    worked : Worked
        The study that was run.

    Returns
    -------
    str
        A few sentences.
    """
    done, group = worked.done, worked.groups.get("sizing")
    said = []
    if worked.study.arrangement.kind == "mains reserve":
        return "As sure as the interruptions that it was sized for: if they grow longer, it must be larger."
    found = done.smallest.values
    if done.sizes["member"] > 1 and np.isfinite(found).any():
        low, high = litres(np.nanmin(found)), litres(np.nanmax(found))
        differ = f"ask for {low}" if low == high else f"differ from {low} to {high}"
        said.append(f"{found.size} equally likely fillings of the record's gaps {differ} usable.")
    if group is not None and math.isfinite(float(group.get("sure_size", math.nan))):
        sure = litres(float(group.sure_size), up=True)
        said.append(f"With all that is not known, nine of ten versions are content with {sure} usable.")
    return " ".join([*said, confidence(done)])


def drought_said(worked: Worked) -> str:
    """Return what happens in a drought, by the worst of the record, and what rationing does about it.

    Parameters
    ----------
    worked : Worked
        The study that was run.

    Returns
    -------
    str
        A few sentences.
    """
    done = worked.done
    whole = (done.days_in_year >= 365).values
    failed = done.described_failed_by_year.median("member")[whole]
    if failed.size == 0:
        return "The record holds no whole year to say so."
    worst = int(failed.values.argmax())
    kept = (
        "whole " if float(done.described_failed_by_year.median("member").max()) > float(failed[worst]) else ""
    )
    if float(failed[worst]) == 0:
        but = ", but for what rationing turned away" if middle(done.described_rationed) > 0 else ""
        return f"It never fell short in the {failed.size} whole years of the record{but}."
    longest = middle(done.described_longest_failure)
    years = int((failed > 0).sum())
    reserve = worked.study.arrangement.kind == "mains reserve"
    text = "No drought empties it; the interruptions of the mains do. " if reserve else ""
    text += (
        f"In the worst {kept}year, {int(failed.year[worst])}, it is short on {days(float(failed[worst]))}; the longest "
        f"failure holds {days(longest)}. It falls short in {years} of {failed.size} whole years."
    )
    plan = worked.groups.get("drought")
    if plan is None or not float(plan.get("plan_ahead", 0.0)) or not plan.attrs["plan_keeps"]:
        return text
    return (
        f"{text} Rationed by the caretaker's card, the essential uses fail in {percent(float(plan.failing_years))} of "
        "the years."
    )


def watch_said(study: Study, done: xr.Dataset) -> str:
    """Return what to watch.

    Parameters
    ----------
    study : Study
        The study.
    done : Dataset
        As `rainharvest.study.run.run_study`.

    Returns
    -------
    str
        A few sentences.
    """
    if study.arrangement.kind == "mains reserve":
        return (
            "Keep it full and its water turning over; disinfect and test what is drunk; the mains enter through an air "
            "gap; a full tank stands on a base made for it; nobody enters it alone."
        )
    drink = (
        "Nobody drinks from it: label every tap"
        if study.arrangement.kind == "rain only"
        else "Nobody drinks from it untreated"
    )
    return (
        f"{drink}. Clean gutters, screens and the first flush before the rains; read the gauge and ration early; rain "
        "and mains pipework are never cross-connected; a full tank stands on a base made for it."
    )


def trade_off_caption(done: xr.Dataset) -> str:
    """Return what the trade-off curve shows.

    Parameters
    ----------
    done : Dataset
        As `rainharvest.study.run.run_study`.

    Returns
    -------
    str
        A few sentences.
    """
    tank = float(done.described)
    text = (
        f"{label(done.attrs['measure'])} of tanks from {litres(float(done.capacity[0]))} to "
        f"{litres(float(done.capacity[-1]))} usable. The mark is the tank described, {litres(tank)} usable: "
        f"{percent(middle(done.described_rain_reliability))}."
    )
    if done.sizes["member"] < 2 or done.attrs["arrangement"] == "mains reserve":
        return text
    return f"{text} The shaded band, where wide enough to be seen, holds nine of ten fillings of the record's gaps."
