"""The site works in words."""

from __future__ import annotations

import math
import re
import textwrap
from collections.abc import Sequence

from rainharvest.catchment.hydraulics import GRAVITY
from rainharvest.core.reader import date, days, gallons, litres, measure, number, percent
from rainharvest.siteworks.base import CODE
from rainharvest.siteworks.facts import Works
from rainharvest.siteworks.overflow import WAYS, stuck_valve_flow
from rainharvest.siteworks.tables import (
    DESIGN_INTENSITY,
    GROUNDWATER_CLEAR,
    HALF_EMPTY_LIMIT,
    MAINS_SPEED,
    SOAKAWAY_DISTANCE,
)
from rainharvest.siteworks.treatment import air_gap
from rainharvest.sizing.tables import PUMP_ENERGY


def overflow_words(works: Works) -> str:
    """Return what the overflow must pass, how wide it is and where it goes, in a few sentences."""
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
    """Return how often and how much the tank spills, in a sentence or two."""
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
    """Return the soakaway that would take the overflow of a full tank, or why there is none."""
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
    """Return what the tank does to the biggest storms, in a sentence or two."""
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
    """Return how the mains may enter the tank, in a sentence."""
    if works.given.arrangement == "rain only":
        return "The mains never reach this tank, by no pipe and no valve."
    bore = works.site.mains_bore
    return (
        f"The mains enter through an air gap: the mouth of an inlet of {measure(bore, 'mm', 3)} bore at least "
        f"{measure(air_gap(bore), 'mm', 3)} (the larger practice; "
        f"{measure(air_gap(bore, rule='United Kingdom'), 'mm', 3)} in the United Kingdom) above the highest that the "
        "water stands while the overflow runs full, not above its sill alone. A licensed plumber does it."
    )


SHAPE_WORDS = {"upright": "upright", "horizontal": "lying", "rectangular": "rectangular"}


def tank_words(works: Works) -> str:
    """Return what the tank is and where its marks are, in a few sentences."""
    vessel = works.vessel
    plan = (
        f"{measure(vessel.tank_length, 'm', 2)} across"
        if vessel.form == "upright"
        else f"{measure(vessel.tank_length, 'm', 2)} long and {measure(vessel.tank_width, 'm', 2)} wide"
    )
    many = f"Together, the {vessel.tanks} tanks" if vessel.tanks > 1 else "The tank"
    return (
        f"{many} of {litres(vessel.nominal)} nominal, {SHAPE_WORDS[vessel.form]}, {plan} and "
        f"{measure(vessel.height, 'm', 3)} high: the outlet {measure(vessel.outlet_mark, 'm', 2)} and the overflow "
        f"{measure(vessel.overflow_mark, 'm', 3)} above the floor leave {litres(vessel.capacity)} to use."
    )


def base_words(works: Works) -> str:
    """Return what the tank weighs, how hard it presses and on what it may stand, in a few sentences."""
    base, one = works.base, "Each" if works.vessel.tanks > 1 else "It"
    said = [
        f"{one} weighs {measure(base.mass_full, 'kg', 2)} when full, slab included, and presses with "
        f"{measure(base.ground_pressure, 'kPa', 2)} on the ground."
    ]
    if base.bearing is None:
        said.append("No bearing value may be presumed for this ground.")
    else:
        whose = "an engineer allows" if works.site.bearing is not None else "the code presumes"
        side = "more" if base.ground_pressure > base.bearing * (1 + 1e-9) else "no more"
        said.append(
            f"That is {side} than the {measure(base.bearing, 'kPa', 2)} that {whose} for {works.site.ground}."
        )
    if base.slab_thickness:
        said.append(
            f"The slab is {measure(base.slab_length, 'm', 2)} by {measure(base.slab_width, 'm', 2)} and "
            f"{measure(base.slab_thickness, 'm', 2)} thick."
        )
    if base.engineer:
        said.append("An engineer must design this base.")
    said += [f"{warning[0].upper()}{warning[1:]}." for warning in base.warnings]
    if works.site.bearing is None:
        said.append(f"{CODE}.")
    return " ".join(said)


def gauge_words(works: Works) -> str:
    """Return what the gauge says and how long a full tank lasts, in a few sentences."""
    gauge, vessel = works.gauge, works.vessel
    middle = (vessel.outlet_mark + vessel.overflow_mark) / 2
    half = float(vessel.volume(middle) - vessel.volume(vessel.outlet_mark))
    lasts = half / works.given.mean_demand
    return (
        f"Full to the overflow it gives {litres(float(gauge.litres_to_draw[-1]))}, "
        f"{days(float(gauge.days_of_supply[-1]))} of the mean demand; with the gauge half way, at "
        f"{measure(middle, 'm', 2)}, {litres(half)} or {days(lasts)}. Below the outlet stand "
        f"{litres(float(vessel.volume(vessel.outlet_mark)))} that nothing draws."
    )


def gravity_words(works: Works) -> str:
    """Return what the water's own weight does at the tap, and whether a bucket fits under it."""
    gauge, tap, vessel = works.gauge, works.tap, works.vessel
    middle = (max(vessel.outlet_mark, tap.tap_level) + vessel.overflow_mark) / 2
    near = gauge.sel(water_level=middle, method="nearest")
    said = [
        f"The tap, {measure(tap.tap_height, 'm', 2)} above the ground, has "
        f"{measure(float(gauge.tap_pressure[-1]), 'kPa', 2)} behind it with the tank full and gives "
        f"{measure(float(gauge.tap_flow[-1]), 'L/s', 2)}: "
        f"{litres(works.site.bucket)} take {number(float(gauge.seconds_to_fill[-1]), 2)} seconds, and "
        f"{number(float(near.seconds_to_fill), 2)} with the tank about half full."
    ]
    if works.below_tap >= 1:
        said.append(f"{litres(works.below_tap)} above the outlet stand below the tap and do not reach it.")
    up = works.raise_for_bucket
    if up > 1e-9:
        said.append(
            f"A bucket {measure(works.site.bucket_height, 'm', 2)} high does not fit under it: the tap must be "
            f"{measure(up, 'm', 2)} higher, which leaves more water below it, or the tank must be raised by that (an "
            "engineer's work), or the bucket stand in a drained step."
        )
    else:
        said.append(f"A bucket {measure(works.site.bucket_height, 'm', 2)} high fits under it.")
    return " ".join(said)


def pump_words(works: Works) -> str:
    """Return what the pump gives, takes and needs, in a few sentences."""
    pump = works.pump
    if pump is None:
        return "No pump is asked for: the water comes by its own weight."
    duty = pump.duty
    which = "The chosen pump" if pump.chosen else "A pump whose curve passes through what is wanted"
    rating = (
        "a motor larger than this list knows"
        if math.isnan(duty.motor_size)
        else f"a motor of {number(duty.motor_size / 1000, 2)} kW"
    )
    most = works.site.pump.most_starts
    often = (
        ""
        if pump.starts <= most * 1.001
        else f" That is more than the {number(most, 2)} that its motor is taken to bear: a larger vessel, or a motor "
        "whose maker allows it."
    )
    never = (
        f" The pump that is bought must give more than {measure(pump.cut_out, 'kPa', 2)} at no flow, or it never stops."
        if pump.cut_out >= float(pump.curves.pump_head[0]) * GRAVITY
        else ""
    )
    return (
        f"{which} gives {measure(duty.flow, 'L/s', 2)} at {measure(duty.duty_head, 'm', 2)} of head: "
        f"{measure(pump.rise.lift, 'm', 2)} of lift, {measure(pump.rise.pressure, 'kPa', 2)} at the highest tap, the "
        f"rest friction and fittings. It takes {number(duty.electric_power, 2)} W, so {rating}, and "
        f"{number(duty.pump_energy, 2)} kWh for each kilolitre at that duty; systems at work were measured at "
        f"{number(PUMP_ENERGY.value)} kWh in the median, with starts and waiting. With a pressure vessel of "
        f"{litres(pump.vessel_volume)} it starts at most {number(pump.starts, 2)} times an hour.{often}{never} A float "
        f"switch stops it {measure(pump.stop_level, 'm', 2)} above the floor, before it runs dry, which leaves "
        f"{litres(pump.stop_litres)} above the outlet."
    )


def treatment_words(works: Works) -> str:
    """Return what each use must pass through, in a few sentences."""
    table = works.treatment
    said = []
    for steps, rows in table[table.served].groupby("steps", sort=False):
        said.append(f"{_named(rows.use)}: {steps.replace(' > ', ', then ')}.")
    if table[table.served].steps.str.endswith("ultraviolet lamp").any():
        said.append(
            "Light leaves nothing in the water to protect it: what has passed the lamp is not stored again."
        )
    without = table[~table.served]
    if len(without):
        said.append(f"Not from this tank: {', '.join(without.use)}, whose quality rain alone may not serve.")
    said.append(f"Tests: {'; '.join(f'{row.test} ({row.how_often})' for row in works.tests.itertuples())}.")
    return " ".join(said)


def _named(names) -> str:
    text = ", ".join(names)
    return text[0].upper() + text[1:]


def siting_words(works: Works) -> str:
    """Return what does not fit on the site and what nobody has measured, in a sentence or two."""
    checks = works.checks
    bad = [
        f"{row.check} ({row.found}; asked: {row.asked})" for row in checks[checks.fits == "no"].itertuples()
    ]
    open_ = list(checks[checks.fits == "measure it"].check)
    said = [f"Does not fit: {'; '.join(bad)}." if bad else "Every level and distance that is known fits."]
    if open_:
        said.append(f"Still to be measured on the site: {', '.join(open_)}.")
    return " ".join(said)


def parts_words(works: Works) -> str:
    """Return what the parts cost, as far as prices were given, in a sentence."""
    parts = works.parts
    without = int(parts.cost.isna().sum())
    if without == len(parts):
        return f"{len(parts)} kinds of parts; no prices were given."
    total = number(float(parts.cost.sum()), 3)
    rest = f"; {without} of {len(parts)} have no price yet" if without else ""
    return f"The parts that have a price come to {total} in the study's currency{rest}. Work is not in it."


SAID = {
    "Where it stands": siting_words,
    "The tank": tank_words,
    "What it stands on": base_words,
    "What the gauge says": gauge_words,
    "Water by its own weight": gravity_words,
    "Water by pump": pump_words,
    "The overflow": overflow_words,
    "How often it spills": spills_words,
    "The soakaway": soakaway_words,
    "The biggest storms": storms_words,
    "The mains": mains_words,
    "Treatment and tests": treatment_words,
    "Parts": parts_words,
}

"""What is said of a site, by heading, in the order of the report."""


def siteworks_said(works: Works) -> list[tuple[str, str]]:
    """Return all that is said of a site."""
    return [(head, words(works)) for head, words in SAID.items() if head != "Water by pump" or works.pump]


def tell_site(works: Works, heads: Sequence[str] = tuple(SAID), width: int = 100) -> None:
    """Print what is said of a site, broken into lines.

    Parameters
    ----------
    works : Works
        As `rainharvest.siteworks.facts.siteworks_of`.
    heads : sequence of str
        Which of the headings of `SAID`.
    width : int
        Characters on a line.
    """
    for head in heads:
        print(textwrap.fill(f"{head}. {SAID[head](works)}", width), end="\n\n")


_MEASURE = re.compile(r"(?<![\w.])(\d[\d,]*(?:\.\d+)?) (mm|m|L|kg|kPa)\b")


UPKEEP = (
    "Somebody named does this and writes it down. Where a task says what to mind, the caution of that name stands "
    "under arrangement, treatment and cautions."
)


def when_said(months: list[str], every: int) -> str:
    """Return when a task is due.

    >>> when_said(["May", "November"], 6), when_said(["November"], 24)
    ('May, November', 'November, every 2 years')
    """
    if every == 1:
        return "every month"
    named = ", ".join(months)
    return f"{named}, every {every // 12} years" if every > 12 else named


def steps_said(steps: str) -> str:
    """Return the steps of a treatment in the order of the water.

    >>> steps_said("leaf screen > covered tank")
    'leaf screen, then covered tank'
    """
    return steps.replace(" > ", ", then ")


def reader_units(text: str) -> str:
    """Return a short text of the site works with its measures in the reader's units.

    >>> from rainharvest.core.reader import US, reading
    >>> with reading(US):
    ...     reader_units("238 L in all")
    '63 gal in all'
    """
    if not gallons():
        return text
    return _MEASURE.sub(lambda found: measure(float(found[1].replace(",", "")), found[2], 2), text)
