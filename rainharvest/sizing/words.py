"""The tank-size decision in words."""

from __future__ import annotations

import math
import textwrap

import numpy as np
import xarray as xr

from rainharvest.core.reader import days, gallons, litres, marks, middle, number, percent, rounded
from rainharvest.sizing.resample import record_length
from rainharvest.sizing.uncertainty import RANGE_WORDS
from rainharvest.storage.words import KINDS
from rainharvest.study.file import Study


def headline(done: xr.Dataset) -> str:
    """Return the answer of a study in a sentence or two."""
    target, measure = done.attrs["target"], done.attrs["measure"]
    leaves = "that rationing leaves" if _rationed(done) else "asked for"
    aim = (
        f"{percent(target)} of the water asked for"
        if measure == "volume_reliability"
        else f"everything {leaves} on {percent(target)} of all days"
    )
    reserve = done.attrs["arrangement"] == "mains reserve"
    found, versions = done.smallest.values, done.sizes["member"]
    of = (
        f"in {math.ceil(0.9 * versions)} of {versions} equally likely fillings of the record"
        if versions > 1
        else "on the record"
    )
    of = "through the interruptions of the mains" if reserve else of  # no rain: fillings do not matter
    recommended, tank = float(done.recommended), float(done.described)
    years = _years(done)
    if math.isnan(recommended):
        best = middle(done[measure].isel(capacity=-1))
        comes, asked = middle(done.inflow_total) / years, float(done.demand_total) / years
        answer = f"No tank supplies {aim}: even {litres(float(done.capacity[-1]))} stays at {percent(best)}, "
        if reserve:
            answer += "because the mains do not bring enough between their interruptions."
        elif comes < asked:
            answer += (
                f"because {litres(comes)} a year reach the tank and {litres(asked)} a year are asked of it."
            )
        else:
            answer += (
                f"though {litres(comes)} a year reach the tank and {litres(asked)} a year are asked of it: a tank that "
                "begins empty fails until rain has filled it, and some droughts outlast what the roof can store."
            )
    else:
        nominal = recommended * float(done.described_nominal) / tank
        answer = (
            f"A tank of {litres(recommended, up=True)} usable ({litres(nominal, up=True)} nominal) is the smallest "
            f"that supplies {aim} {of}"
        )
        if litres(found.min()) != litres(found.max()):
            answer += f"; the fillings differ from {litres(found.min())} to {litres(found.max())}"
        answer += "."
    return answer + " " + described(done)


def tell(done: xr.Dataset, width: int = 100) -> None:
    """Print the answer of a study and how far the record carries it, broken into lines.

    Parameters
    ----------
    done : Dataset
        As `rainharvest.study.stages.run_study`.
    width : int
        Characters on a line.
    """
    for text in (headline(done), confidence(done)):
        print(textwrap.fill(text, width))


def described(done: xr.Dataset) -> str:
    """Return what the tank described does, in a sentence."""
    years = _years(done)
    longest = middle(done.described_longest_failure)
    text = (
        f"The tank described here ({litres(float(done.described))} usable) delivers "
        f"{litres(middle(done.described_delivered) / years)} a year and falls short on "
        f"{days(middle(done.described_days_failed) / years)} a year on average"
    )
    text += f", for {days(longest)} on end at the longest." if longest else "."
    if _rationed(done):
        text += (
            f" Rationing turns away {litres(_rationed(done) / years)} a year, on "
            f"{days(middle(done.described_days_rationed) / years)}; such days do not count as short."
        )
    mains = middle(done.described_topped_up + done.described_changed_over)
    if mains > 0:
        text += f" It takes {litres(mains / years)} a year from the mains."
    return text


def trade_off_words(done: xr.Dataset) -> str:
    """Return what the trade-off curve shows for the tank described, in a sentence."""
    years, target = _years(done), done.attrs["target"]
    reached = float(done.described_rain_reliability)
    what = (
        "of the water asked for" if done.attrs["measure"] == "volume_reliability" else "of all days in full"
    )
    side = "reaches" if reached >= target else "falls short of"
    return (
        f"{litres(float(done.inflow_total) / years)} a year reach the tank and "
        f"{litres(float(done.demand_total) / years)} are asked of it. A tank of {litres(float(done.described))} "
        f"usable supplies {percent(reached)} {what}, which {side} the target of {percent(target)}."
    )


def failed_years_words(done: xr.Dataset) -> str:
    """Return how the failures fall on the years, in a sentence."""
    whole = (done.days_in_year >= 365).values
    failed = done.described_failed_by_year.values[whole]
    if failed.size == 0:
        return "The record holds no whole year."
    none = int((failed == 0).sum())
    longest = days(float(done.described_longest_failure))
    if none == failed.size:
        return f"It fails in none of {failed.size} whole years."
    return (
        f"It fails in {failed.size - none} of {failed.size} whole years, on {days(float(failed.max()))} in the worst; "
        f"the longest failure has {longest} on which water was asked for and not all supplied."
    )


def confidence(done: xr.Dataset) -> str:
    """Return how far the record carries the answer, in a sentence."""
    years = _years(done)
    if done.attrs["arrangement"] == "mains reserve":
        return (
            f"The interruptions were played through {_count(years)}. The size holds for interruptions like these; "
            "if they grow longer, it must be larger."
        )
    gaps = marks(f"{100 * done.attrs['days_missing'] / max(done.attrs['days_read'], 1):.1f}")
    if years < 10:
        verdict = "too short for a design: indicative only"
    elif years < 20:
        verdict = "enough for a first look, not for a design"
    elif years < 30:
        verdict = "acceptable, with the band"
    else:
        verdict = "long enough for a design of this kind"
    return (
        f"The record used covers {_count(years)}, which is {verdict}; {gaps} % of its days had no "
        "reading of their own."
    )


def _rationed(done: xr.Dataset) -> float:
    """Return what rationing turns away from the tank described over the record, in litres."""
    return middle(done.described_rationed)


def _count(years: float) -> str:
    return f"{years:.0f} year{'' if round(years) == 1 else 's'}"


def _years(done: xr.Dataset) -> float:
    return float(done.days_in_year.sum()) / 365.25


LEVEL_WORDS = {
    "indicative": "too short to settle anything: this only indicates",
    "screening": "enough to compare sizes, not to settle one",
    "fair": "enough for a size with its band beside it",
    "full": "as long as guidance asks for",
}


def money(value: float, currency: str, figures: int = 2) -> str:
    """Return an amount in words, to two figures.

    >>> money(2431.0, "crowns"), money(-87.4, "crowns"), money(0.0, "crowns")
    ('2,400 crowns', '-87 crowns', '0 crowns')
    """
    return f"{number(rounded(value, figures))} {currency}"


def aim_words(target: float, measure: str) -> str:
    """Return what is asked of the tank.

    >>> aim_words(0.9, "volume_reliability"), aim_words(0.9, "time_reliability")
    ('90 % of the water asked for', 'all that is asked for on 90 % of days')
    """
    if measure == "volume_reliability":
        return f"{percent(target)} of the water asked for"
    return f"all that is asked for on {percent(target)} of days"


def curve_words(curve: xr.Dataset, target: float, chosen: float, currency: str = "") -> str:
    """Return what the sliders' figure shows."""
    own, low, high = (
        float(np.interp(np.log(chosen), np.log(curve.capacity.values), curve[name].values))
        for name in ("reliability", "reliability_low", "reliability_high")
    )
    aim = aim_words(target, curve.attrs["measure"])
    needed, sure = (size_reaching(curve, name, target) for name in ("reliability", "reliability_low"))
    text = (
        f"{litres(curve.attrs['inflow_a_year'])} a year reach the tank and {litres(curve.attrs['demand_a_year'])} "
        f"are asked of it. {litres(chosen)} usable reach {percent(own)} on the record, {percent(low)} to "
        f"{percent(high)} in {curve.attrs['versions']} versions of what is not known. "
    )
    if math.isnan(needed):
        text += f"No tank supplies {aim}."
    else:
        text += f"{aim[0].upper()}{aim[1:]} takes about {litres(needed, up=True)} on the record"
        text += (
            ", and no tank does it in all versions."
            if math.isnan(sure)
            else f", {litres(sure, up=True)} in all versions."
        )
    if "annual" in curve:
        each = float(np.interp(chosen, curve.capacity.values, curve.per_kilolitre.values))
        a_year = float(np.interp(chosen, curve.capacity.values, curve.annual.values))
        text += f" It costs {money(a_year, currency)} a year, {money(each, currency)} a kilolitre delivered."
    return text


def size_reaching(curve: xr.Dataset, name: str, target: float) -> float:
    """Return the size at which a curve first reaches a target, read between its sizes.

    >>> curve = xr.Dataset({"reliability": ("capacity", [0.5, 0.9])}, {"capacity": [100.0, 200.0]})
    >>> size_reaching(curve, "reliability", 0.7), size_reaching(curve, "reliability", 0.95)
    (150.0, nan)
    """
    values, size = curve[name].values, curve.capacity.values
    enough = values >= target * (1 - 1e-12)
    if not enough.any():
        return math.nan
    k = int(np.argmax(enough))
    if k == 0 or values[k] == values[k - 1]:
        return float(size[k])
    share = (target - values[k - 1]) / (values[k] - values[k - 1])
    return float(size[k - 1] + share * (size[k] - size[k - 1]))


def record_words(group: xr.Dataset) -> str:
    """Return how far the record carries the decision; it goes into the headline where the record is short."""
    years = float(group.record_years)
    carried = record_length(years)
    text = (
        f"The record covers {years:.0f} year{'' if round(years) == 1 else 's'}, {LEVEL_WORDS[carried.level]}"
    )
    if carried.short:
        text += f" ({carried.wanted.value:.0f} years are asked for next)"
    return text + "."


def sizing_headline(group: xr.Dataset) -> str:
    """Return the size in a sentence or two; a record shorter than guidance is named first."""
    target, measure = group.attrs["target"], group.attrs["measure"]
    aim = aim_words(target, measure)
    if "sure_size" not in group:
        return (
            f"A mains reserve holds no rain: its size follows from the interruptions. {record_words(group)}"
        )
    sure, own = float(group.sure_size), float(group.size_on_record)
    short = record_length(float(group.record_years)).short
    opening = record_words(group) + " " if short else ""
    if math.isnan(own):
        return f"{opening}No tank supplies {aim} on the record as it stands."
    text = f"{opening}{litres(own, up=True)} usable supply {aim} on the record as it stands"
    if math.isnan(sure):
        return f"{text}; no tank is sure to do so in nine of ten versions of what is not known."
    return (
        f"{text}; {litres(sure, up=True)} do so in nine of ten versions of what is not known (years, gaps, roof, "
        "losses, demand)."
    )


def bought_words(group: xr.Dataset, option: int) -> str:
    """Return a combination of tanks with its price."""
    one = group.isel(option=option)
    linked = ", linked," if int(one.option_tanks) > 1 else ""
    return (
        f"{one.option.item()}{linked} for {money(float(one.option_capital), group.attrs['currency'])} in all"
    )


def option_for(group: xr.Dataset, size: float) -> int | None:
    """Return the cheapest combination that holds a usable size."""
    if "option_capacity" not in group or math.isnan(size):
        return None
    enough = np.flatnonzero(group.option_capacity.values >= size * (1 - 1e-12))
    return int(enough[0]) if enough.size else None


def recommendation(group: xr.Dataset) -> list[str]:
    """Return the recommendation: what, why, what would change it, how sure."""
    if "sure_size" not in group:
        return [sizing_headline(group)]
    return [
        " ".join(part)
        for part in (_chosen(group), _why(group), _what_would_change(group), _how_sure(group))
        if part
    ]


def tell_recommendation(group: xr.Dataset, width: int = 100) -> None:
    """Print the recommendation, broken into lines.

    Parameters
    ----------
    group : Dataset
        As `rainharvest.sizing.facts.sizing_group`.
    width : int
        Characters on a line.
    """
    print("\n\n".join(textwrap.fill(text, width) for text in recommendation(group)))


def _chosen(group: xr.Dataset) -> list[str]:
    out = [sizing_headline(group)]
    sure, own = float(group.sure_size), float(group.size_on_record)
    picked = [option_for(group, size) for size in (own, sure)]
    if picked[0] is not None:
        out.append(
            f"Of the tanks on offer the cheapest that holds the first is {bought_words(group, picked[0])}"
        )
        if picked[1] is not None and picked[1] != picked[0]:
            out[-1] += f"; the second takes {bought_words(group, picked[1])}"
        out[-1] += "."
    elif "option_capacity" in group and not np.isnan(own):
        out.append("No combination of the tanks on offer holds it.")
    return out


def _why(group: xr.Dataset) -> list[str]:
    knee, own = float(group.knee_size), float(group.size_on_record)
    out = []
    if not np.isnan(own):
        side = "beyond" if own > knee * 1.05 else "before" if own < knee / 1.05 else "at"
        gain = marginal_at(group, own)
        out.append(
            f"At the first size, {side} the knee of the curve ({litres(knee)}), one more "
            f"{'gallon' if gallons() else 'litre'} of tank brings {number(rounded(gain, 2))} "
            f"{'gal' if gallons() else 'L'} a year."
        )
    ladder = group.size_for_target.to_series()
    steps = [f"{litres(size, up=True)} for {percent(t)}" for t, size in ladder.items() if size == size]
    if steps:
        out.append("On the record: " + ", ".join(steps) + ".")
    held = {int(days): percent(float(share)) for days, share in group.in_hand.to_series().items()}
    out.append(
        f"The tank described holds water for three days to come on {held[3]} of mornings, for a week on {held[7]}."
    )
    never = float(group.no_failure_size)
    out.append(
        f"No failure in the record would take {litres(never, up=True)}; a longer record holds a worse drought."
        if never == never
        else "No tank is free of failure when the record repeats: more is asked than comes in."
    )
    return out


def marginal_at(group: xr.Dataset, size: float) -> float:
    """Return the litres a year that one more litre of tank brings at a size, on the record."""
    at, yearly = group.capacity.values, group.yearly_yield_on_record.values
    k = int(np.clip(np.searchsorted(at, size), 1, at.size - 1))
    return float((yearly[k] - yearly[k - 1]) / (at[k] - at[k - 1]))


def _what_would_change(group: xr.Dataset) -> list[str]:
    width = (group.response_high - group.response_low).values
    order = np.argsort(-abs(width))
    best = float(group.response_best)
    first = group.isel(input=int(order[0]))
    low, high = sorted((float(first.response_low), float(first.response_high)))
    out = [
        f"What would change it most: {RANGE_WORDS[first.input.item()]}. Between its ends the tank described reaches "
        f"{percent(low)} to {percent(high)}, with all at their likeliest {percent(best)}."
    ]
    rest = [RANGE_WORDS[str(group.input.values[k])] for k in order[1:3] if abs(width[k]) > 0.005]
    if rest:
        out.append(f"Next: {', then '.join(rest)}. Measure what can be measured before the size is settled.")
    return out


def _how_sure(group: xr.Dataset) -> list[str]:
    own = float(group.size_on_record)
    out = (
        [] if record_length(float(group.record_years)).short else [record_words(group)]
    )  # the headline has it
    if not np.isnan(own):
        at = np.log(group.capacity.values)
        low, high, by = (
            float(np.interp(np.log(own), at, group[name].values))
            for name in ("reliability_low", "reliability_high", "draws_reaching")
        )
        out.append(
            f"Nine of ten versions put the tank for the record as it stands at {percent(low)} to {percent(high)}; it "
            f"reaches the target in {_of_100(by)} of 100."
        )
    return out


def _of_100(share: float) -> int:
    """Return a share of the draws to the nearest ten of a hundred; neither all nor none where some differ."""
    near = 10 * round(10 * share)
    return near if 0 < near < 100 or share in (0.0, 1.0) else round(100 * share)


def sizes_said(done: xr.Dataset) -> str:
    """Return how the sizes compare and where more tank stops helping."""
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
    """Return over which sizes the filled versions differ."""
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
    """Return how rain and mains supply the building."""
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
    """Return what the picture of the band shows."""
    return (
        f"Reliability against size: on the record as it stands (line), and in nine of ten of {group.attrs['draws']} "
        "equally likely versions of what is not known (band): years, gaps, roof, losses, demand."
    )


def shortcuts_said(words: str) -> str:
    """Return how the short ways of sizing fared, and what they are."""
    return f"Short ways of sizing, held to this daily record. {words}"
