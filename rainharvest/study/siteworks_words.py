"""The site works in words: what the tank stands on, how its water gets out, what makes it fit to use."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Sequence

from rainharvest.catchment.friction import GRAVITY
from rainharvest.reader import measure, number
from rainharvest.siteworks.ground import CODE
from rainharvest.sizing.costs_prices import PUMP_ENERGY
from rainharvest.study.siteworks_things import Works
from rainharvest.study.siteworks_water_words import (
    mains_words,
    overflow_words,
    soakaway_words,
    spills_words,
    storms_words,
)
from rainharvest.study.words import days, litres

SHAPE_WORDS = {"upright": "upright", "horizontal": "lying", "rectangular": "rectangular"}


def tank_words(works: Works) -> str:
    """Return what the tank is and where its marks are, in a few sentences.

    Parameters
    ----------
    works : Works
        As `rainharvest.study.siteworks.siteworks_of`.

    Returns
    -------
    str
        Plain text.
    """
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
    """Return what the tank weighs, how hard it presses and on what it may stand, in a few sentences.

    Parameters
    ----------
    works : Works
        As `rainharvest.study.siteworks.siteworks_of`.

    Returns
    -------
    str
        Plain text.
    """
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
    """Return what the gauge says and how long a full tank lasts, in a few sentences.

    Parameters
    ----------
    works : Works
        As `rainharvest.study.siteworks.siteworks_of`.

    Returns
    -------
    str
        Plain text.
    """
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
    """Return what the water's own weight does at the tap, and whether a bucket fits under it.

    Parameters
    ----------
    works : Works
        As `rainharvest.study.siteworks.siteworks_of`.

    Returns
    -------
    str
        Plain text.
    """
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
    """Return what the pump gives, takes and needs, in a few sentences.

    Parameters
    ----------
    works : Works
        As `rainharvest.study.siteworks.siteworks_of`.

    Returns
    -------
    str
        Plain text.
    """
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
    """Return what each use must pass through, in a few sentences.

    Parameters
    ----------
    works : Works
        As `rainharvest.study.siteworks.siteworks_of`.

    Returns
    -------
    str
        Plain text.
    """
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
    """Return what does not fit on the site and what nobody has measured, in a sentence or two.

    Parameters
    ----------
    works : Works
        As `rainharvest.study.siteworks.siteworks_of`.

    Returns
    -------
    str
        Plain text.
    """
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
    """Return what the parts cost, as far as prices were given, in a sentence.

    Parameters
    ----------
    works : Works
        As `rainharvest.study.siteworks.siteworks_of`.

    Returns
    -------
    str
        Plain text.
    """
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
    """Return all that is said of a site.

    Parameters
    ----------
    works : Works
        As `rainharvest.study.siteworks.siteworks_of`.

    Returns
    -------
    list of (str, str)
        Heading and plain text, in the order of `SAID`; no pump's where there is none.
    """
    return [(head, words(works)) for head, words in SAID.items() if head != "Water by pump" or works.pump]


def tell_site(works: Works, heads: Sequence[str] = tuple(SAID), width: int = 100) -> None:
    """Print what is said of a site, broken into lines.

    Parameters
    ----------
    works : Works
        As `rainharvest.study.siteworks.siteworks_of`.
    heads : sequence of str
        Which of the headings of `SAID`.
    width : int
        Characters on a line.
    """
    for head in heads:
        print(textwrap.fill(f"{head}. {SAID[head](works)}", width), end="\n\n")
