"""The overflow, the soakaway, the storms and the mains in words."""

from __future__ import annotations

from rainharvest.reader import date, measure, number
from rainharvest.siteworks.backflow import air_gap
from rainharvest.siteworks.defaults import (
    DESIGN_INTENSITY,
    GROUNDWATER_CLEAR,
    HALF_EMPTY_LIMIT,
    MAINS_SPEED,
    SOAKAWAY_DISTANCE,
)
from rainharvest.siteworks.overflow_pipe import WAYS, stuck_valve_flow
from rainharvest.study.siteworks_things import Works
from rainharvest.study.words import days, litres, percent


def overflow_words(works: Works) -> str:
    """Return what the overflow must pass, how wide it is and where it goes, in a few sentences.

    Parameters
    ----------
    works : Works
        As `rainharvest.study.siteworks.siteworks_of`.

    Returns
    -------
    str
        Plain text.
    """
    stuck = measure(stuck_valve_flow(works.site.mains_bore), "L/s", 2)
    if works.peak is None:
        return " ".join(
            [
                f"No roof feeds the tank, but a float valve that sticks open overfills it: {stuck}, were the water to "
                f"come at {measure(MAINS_SPEED.value, 'm/s', 2)} through an inlet of "
                f"{measure(works.site.mains_bore, 'mm', 3)} bore (own choice: time a bucket under the open valve).",
                *_pipe_said(works),
                "It ends where somebody sees it run.",
            ]
        )
    said = [
        f"Treated as full, the tank must pass {measure(works.peak.flow, 'L/s', 2)} in a storm of "
        f"{measure(works.site.design_intensity, 'mm/h', 2)}; the {works.peak.governed_by} set it."
    ]
    if works.site.design_intensity == DESIGN_INTENSITY.value:
        said.append(
            "That storm is one country's practice: in the tropics twice that and more is designed for (common "
            "practice, no source), so take that of your local rules."
        )
    said += _pipe_said(works)
    many = works.vessel.tanks
    if works.overflow is not None and many > 1:  # the run enters one of them
        through = works.peak.flow * (many - 1) / many
        said.append(
            f"That holds while the pipes between the tanks carry {measure(through, 'L/s', 2)} onward; if they do "
            "not, the tank that the run enters needs an overflow for the whole flow."
        )
    if works.given.arrangement == "combined":
        said.append(f"A float valve that sticks open adds its own flow to that, taken as {stuck}.")
    said.append(f"It goes {WAYS[works.site.overflow_to]}.")
    if works.peak.roofs > works.peak.flow * 1.001:
        said.append(
            f"The roofs shed {measure(works.peak.roofs, 'L/s', 2)} then: what does not reach the tank runs over the "
            "gutter and needs a way off too."
        )
    return " ".join(said)


def _pipe_said(works: Works) -> list[str]:
    """Return how wide the overflow is, or why there is none."""
    pipe = works.overflow
    if pipe is None:
        return [f"The overflow cannot be made so: {works.overflow_answer}."]
    each = " on each tank" if works.vessel.tanks > 1 else ""
    pipes = f"{pipe.pipes} overflow pipes" if pipe.pipes > 1 else "One overflow pipe"
    verb = "pass" if pipe.pipes > 1 else "passes"
    return [
        f"{pipes} of {measure(pipe.overflow_bore, 'mm', 3)} bore{each} {verb} {measure(pipe.passes, 'L/s', 2)}, "
        "screened against mosquitoes."
    ]


def spills_words(works: Works) -> str:
    """Return how often and how much the tank spills, in a sentence or two.

    Parameters
    ----------
    works : Works
        As `rainharvest.study.siteworks.siteworks_of`.

    Returns
    -------
    str
        Plain text.
    """
    spills = works.spills
    if spills is None:
        return "No rain enters the tank."
    if float(spills.largest) == 0:
        return "It never spills in this record."
    half, tenth = (float(spills.overflow_of_day.sel(quantile=q)) for q in (0.5, 0.9))
    return (
        f"It spills on {days(float(spills.days_a_year))} of a mean year, {litres(float(spills.volume_a_year))} in all: "
        f"half of these days spill less than {litres(half)}, one in ten more than {litres(tenth)}, and the largest "
        f"({date(spills.largest_day.values)}) {litres(float(spills.largest))}."
    )


def soakaway_words(works: Works) -> str:
    """Return the soakaway that would take the overflow of a full tank, or why there is none.

    Parameters
    ----------
    works : Works
        As `rainharvest.study.siteworks.siteworks_of`.

    Returns
    -------
    str
        Plain text.
    """
    done = works.soakaway
    if done is None:
        return f"Soakaway: {works.soakaway_answer}."
    site, pit = works.site, works.site.trial_pit
    worst = done.attrs["worst_storm"]
    storm = f"{number(worst / 60, 2)} hours" if worst >= 120 else f"{number(worst, 3)} minutes"
    why = (
        f"the storm of {storm} asks for most"
        if done.attrs["governed_by"] == "storage"
        else f"so that it is half empty within {HALF_EMPTY_LIMIT.value:g} hours"
    )
    said = [
        f"Water soaks into this ground at {number(done.attrs['infiltration'] * 1e6, 2)} millionths of a metre a "
        f"second. A soakaway {measure(site.soakaway_width, 'm', 2)} wide and "
        f"{measure(site.soakaway_depth, 'm', 2)} deep below its pipe must be "
        f"{measure(float(done.soakaway_length), 'm', 2)} long ({why}); it is half empty in "
        f"{number(float(done.half_empty), 2)} hours (method of BRE Digest 365).",
        f"Keep it {measure(SOAKAWAY_DISTANCE.value, 'm')} or more from every building, and its base "
        f"{measure(GROUNDWATER_CLEAR.value, 'm')} or more above the highest groundwater.",
    ]
    if not pit.complete:
        said.append("The trial pit was not filled three times, as the method asks: fill it again.")
    if site.storm_minutes is None:
        said.append(
            "Its storms are drawn between the design intensity and the heavy days of this record: put the national "
            "table in their place."
        )
    return " ".join(said)


def storms_words(works: Works) -> str:
    """Return what the tank does to the biggest storms, in a sentence or two.

    Parameters
    ----------
    works : Works
        As `rainharvest.study.siteworks.siteworks_of`.

    Returns
    -------
    str
        Plain text.
    """
    storms = works.storms
    if storms is None or storms.sizes["storm"] == 0:
        return "No storm reaches the tank."
    full = storms.full_before.values
    brought = float(storms.storm_inflow.sum())
    kept = 1 - float(storms.storm_spilled.sum()) / brought
    return (
        f"Before the {len(full)} biggest storms of the record the tank stood between {percent(float(full.min()))} and "
        f"{percent(float(full.max()))} full; it was over nine tenths full before {int((full > 0.9).sum())} of them. It "
        f"kept {percent(kept)} of what they brought on those days. No drain is made smaller for that: it is sized as "
        "if the tank were full."
    )


def mains_words(works: Works) -> str:
    """Return how the mains may enter the tank, in a sentence.

    Parameters
    ----------
    works : Works
        As `rainharvest.study.siteworks.siteworks_of`.

    Returns
    -------
    str
        Plain text.
    """
    if works.given.arrangement == "rain only":
        return "The mains never reach this tank, by no pipe and no valve."
    bore = works.site.mains_bore
    return (
        f"The mains enter through an air gap: the mouth of an inlet of {measure(bore, 'mm', 3)} bore at least "
        f"{measure(air_gap(bore), 'mm', 3)} (the larger practice; "
        f"{measure(air_gap(bore, rule='United Kingdom'), 'mm', 3)} in the United Kingdom) above the highest that the "
        "water stands while the overflow runs full, not above its sill alone. A licensed plumber does it."
    )
