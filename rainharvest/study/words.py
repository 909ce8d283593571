"""The answer, the site and the options in words; the report's fixed words."""

from __future__ import annotations

import math

import numpy as np
import xarray as xr

from rainharvest.core.quantities import label
from rainharvest.core.reader import days, litres, marks, measure, middle, number, percent
from rainharvest.rainfall.flags import Flag
from rainharvest.sizing.words import confidence
from rainharvest.study.file import Study
from rainharvest.study.stages import Worked


def tank_said(study: Study, done: xr.Dataset) -> str:
    """Return what tank."""
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
    """Return why this size: what half of it and twice of it would do."""
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
    """Return how sure the size is."""
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
    """Return what happens in a drought, by the worst of the record, and what rationing does about it."""
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
    """Return what to watch."""
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
    """Return what the trade-off curve shows."""
    tank = float(done.described)
    text = (
        f"{label(done.attrs['measure'])} of tanks from {litres(float(done.capacity[0]))} to "
        f"{litres(float(done.capacity[-1]))} usable. The mark is the tank described, {litres(tank)} usable: "
        f"{percent(middle(done.described_rain_reliability))}."
    )
    if done.sizes["member"] < 2 or done.attrs["arrangement"] == "mains reserve":
        return text
    return f"{text} The shaded band, where wide enough to be seen, holds nine of ten fillings of the record's gaps."


def place(study: Study) -> str:
    """Return where the building stands."""
    site, at = study.site, []
    if site.latitude is not None and site.longitude is not None:
        at.append(marks(f"{abs(site.latitude):.2f}") + f"° {'N' if site.latitude >= 0 else 'S'}")
        at.append(marks(f"{abs(site.longitude):.2f}") + f"° {'E' if site.longitude >= 0 else 'W'}")
    if site.elevation is not None:
        at.append(f"{measure(site.elevation, 'm')} above the sea")
    where = f" ({'; '.join(at)})" if at else ""
    return f"{site.name}{where}. {site.note}".strip()


def asked(study: Study, done: xr.Dataset) -> list[str]:
    """Return what was asked of the study."""
    reach = percent(study.target.reliability)
    aim = (
        f"supplies {reach} of the water asked for"
        if study.target.measure == "volume_reliability"
        else f"supplies everything asked for on {reach} of all days"
    )
    out = [f"Asked: the smallest tank that {aim}."]
    if study.tank.chosen:
        nominal, usable = litres(study.tank.chosen), litres(study.tank.usable_share * study.tank.chosen)
        out.append(
            f"The study describes a tank of {nominal} nominal size, {usable} usable, as its file says."
        )
    if done.attrs["not_served"]:
        out.append(f"Not served, since rain alone is not fit to drink: {done.attrs['not_served']}.")
    if study.rationing:
        stages = ", ".join(
            f"below {percent(stage.level)} of the tank they keep {percent(stage.share)}"
            for stage in study.rationing
        )
        out.append(f"Uses that can wait are rationed: {stages}.")
    return out


def options_said(options: xr.Dataset, target: float) -> list[str]:
    """Return what each option needs to reach the target."""
    names = [str(name) for name in options.study_option.values]
    sizes = options.recommended_nominal.values
    can = [
        f"{name}: {litres(size, up=True)}"
        for name, size in zip(names, sizes, strict=True)
        if math.isfinite(size)
    ]
    cannot = [name for name, size in zip(names, sizes, strict=True) if not math.isfinite(size)]
    out = []
    if can:
        out.append(
            f"Nominal size that reaches {percent(target)}, on rain alone where rain feeds the tank: {'; '.join(can)}."
        )
    if cannot:
        out.append(f"No size reaches it for: {', '.join(cannot)}.")
    if "annual" in options and np.ptp(options.annual.values) > 0:
        least = int(options.annual.values.argmin())
        out.append(
            f"Least a year is paid for \u201c{names[least]}\u201d: {number(float(options.annual[least]), 2)} "
            f"{options.attrs['currency']}; it supplies {percent(float(options.rain_reliability[least]))}."
        )
    return out


def options_caption(options: xr.Dataset) -> str:
    """Return what the picture of the options shows."""
    count = options.sizes["study_option"]
    sizes = options.nominal.values
    reached = options.rain_reliability.values
    return (
        f"What {count} options supply with tanks from {litres(sizes[0])} to {litres(sizes[-1])} nominal, in the "
        f"middle of the filled versions. The marks are the tanks described: from {percent(reached.min())} to "
        f"{percent(reached.max())}. The dashed line is the target."
    )


def note_said(name: str, note: str) -> str:
    """Return an option's name and what the study file says of it.

    >>> note_said("One roof", "The other stays as it is.")
    'One roof: The other stays as it is.'
    """
    return f"{name}: {note}"


def options_at_words(options: xr.Dataset, nominal: float, target: float) -> str:
    """Return what each option supplies with a tank of one size."""
    sizes = np.log(options.nominal.values)
    reached: dict[str, float] = {}
    for name, row in zip(options.study_option.values, options.reliability.values, strict=True):
        share = float(np.interp(np.log(nominal), sizes, row))
        if share not in reached.values():  # options that differ in size only are the same at one size
            reached[str(name)] = share
    said = ", ".join(f"{name} {percent(share)}" for name, share in reached.items())
    enough = [name for name, share in reached.items() if share >= target]
    which = (
        f"{percent(target)} is reached by: {', '.join(enough)}"
        if enough
        else f"None reaches {percent(target)}"
    )
    return f"With a tank of {litres(nominal)} nominal: {said}. {which}."


ASSUMED = (
    "Every default value that this study rests on, with its source. What the study file gives itself is not here. "
    '"From memory" marks a published value that was not read in the original: check your edition.'
)

EACH = "{use}: drawn by each"

DEAD = "Share of the tank below the outlet"

FREEBOARD = "Share of the tank above the overflow"

FILE = "The study file, with which anyone who has the rain files can run the study again:"


def range_said(low: str | None, high: str | None) -> str:
    """Return the published range of a value.

    >>> range_said("1", "8"), range_said("1", None), range_said(None, None)
    ('1 to 8', 'from 1', '')
    """
    if low is None:
        return "" if high is None else f"up to {high}"
    return f"from {low}" if high is None else f"{low} to {high}"


LANGUAGE = "en"

CONTENTS = "Contents"

FIGURE = "Figure"

TABLE = "Table"

CAUTION = "Caution"

MORE = "More"

PAGE = "Page"

YES, NO = "yes", "no"

TINY, NONE = "under {}", "none"

INVENTED = "Invented example: no such place, building or rain gauge exists."


TITLES = {
    "answer": "The answer",
    "site": "The site and what was asked",
    "record": "The rain record and its faults",
    "catchment": "Roofs, conveyance, and what is lost on the way",
    "demand": "Demand",
    "size": "The tank size, and how sure it is",
    "options": "Options compared",
    "supply": "Arrangement, treatment and cautions",
    "siteworks": "Site works",
    "costs": "Costs",
    "parts": "List of parts",
    "upkeep": "Upkeep",
    "assumptions": "Assumptions",
    "reproduce": "How to reproduce this report",
}

"""By section, in the order of the report."""


QUESTIONS = {
    "tank": "What tank?",
    "why": "Why this one?",
    "sure": "How sure is it?",
    "drought": "What happens in a drought?",
    "cost": "What does it cost?",
    "watch": "What to watch?",
}


ORIGINS = {
    Flag.MEASURED: "measured",
    Flag.TRACE: "too little to measure, counted as none",
    Flag.SUSPECT: "measured, doubted and kept",
    Flag.TOTAL: "total over several days",
    Flag.SPREAD: "spread from a total over several days",
    Flag.FILLED: "filled from a neighbour",
    Flag.RESAMPLED: "drawn from the same season of other years",
    Flag.MISSING: "no reading",
    Flag.REJECTED: "removed as wrong",
    Flag.IN_TOTAL: "inside a later total",
}

"""Where a day's rain comes from, by its flag."""


RECORD_HEAD = ("origin of the day", "days", "share")

FINDINGS_HEAD = ("finding", "days", "why", "suggested")

LOSSES_HEAD = ("where the rain goes", "{unit}, mean", "share")

RAIN_ON_ROOFS, REACHES_TANK, LOST = "rain on the roofs", "reaches the tank", "lost: {cause}"

DRY_WET = "Dry against wet"

DRY_WET_HEAD = ("measure", "dry run", "wet run")

ROOF_COLUMNS = ("roof", "material")

USES_HEAD = ("use", "how many", "{unit} each", "days", "quality", "can wait", "source")

NOT_SERVED = "{use} (not served)"

SIZES_HEAD = (
    "usable",
    "nominal",
    "share of the water asked for",
    "share of days met in full",
    "yield a year",
    "days short a year",
    "longest failure, days",
)

OPTIONS_HEAD = {
    "study_option": "option",
    "recommended_nominal": "smallest that reaches the target, nominal",
    "described_nominal": "tank described, nominal",
    "rain_reliability": "reached",
    "delivered_a_year": "yield a year",
    "failed_a_year": "days short a year",
    "mains_a_year": "mains water a year",
    "capital": "capital ({currency})",
    "annual": "a year ({currency})",
}

CHECKS_HEAD = ("level or distance", "found", "asked", "fits")

TREATMENT_HEAD = ("use", "quality", "what its water passes through")

PARTS_HEAD = ("part", "quantity", "counted in", "what", "cost")

UPKEEP_HEAD = ("task", "when", "mind", "source")

MONTHS = {
    "Jan": "January",
    "Feb": "February",
    "Mar": "March",
    "Apr": "April",
    "May": "May",
    "Jun": "June",
    "Jul": "July",
    "Aug": "August",
    "Sep": "September",
    "Oct": "October",
    "Nov": "November",
    "Dec": "December",
}

COSTS_HEAD = (
    "usable",
    "capital ({currency})",
    "a year ({currency})",
    "per {volume} ({currency})",
    "mains water saved a year",
    "worth over the years ({currency})",
    "pays back, years",
)

OFFER_HEAD = (
    "tanks",
    "usable",
    "reached",
    "capital ({currency})",
    "a year ({currency})",
    "worth over the years ({currency})",
)

ASSUMPTIONS_HEAD = ("what", "value", "unit", "range", "kind", "source")

REPRODUCE_HEAD = ("what", "value")

REPRODUCE = {
    "rainharvest_version": "rainharvest version",
    "study_sha256": "SHA-256 of the study file",
    "rain_file": "rain file",
    "rain_sha256": "SHA-256 of the rain file",
    "seed": "seed",
}

COMMAND, COMMAND_TEXT = "command", "python -m rainharvest study STUDY.toml --out FOLDER"


CAPTIONS = {
    "origins": "Where each day of the record comes from.",
    "findings": "What checking the record found, worst first.",
    "roofs": "Roofs.",
    "losses": "Where the rain on the roofs goes.",
    "dry_wet": "The dry and the wet run between the same two points.",
    "uses": "What is asked for, by use.",
    "sizes": "Tank sizes compared: the middle of the filled versions of the record.",
    "options": "Options side by side, each with its own tank. Reached: on rain alone, where rain feeds it.",
    "tank": "The tank, its base, its tap and its overflow.",
    "gauge": "What the gauge says.",
    "soakaway": "Storms and the soakaway that takes them.",
    "storms": "The biggest storms of the record at the tank.",
    "checks": "Levels and distances on the site.",
    "treatment": "What the water of each use passes through.",
    "parts": "Parts of the system.",
    "upkeep": "Upkeep through the year.",
    "costs": "What each size costs and saves. Worth over the years: savings less costs, in money of today.",
    "offers": "Tanks on offer about the size described.",
    "assumptions": "Every default value that the study rests on.",
    "reproduce": "What the study was run on.",
}
