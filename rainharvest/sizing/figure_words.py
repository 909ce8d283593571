"""What the figures of the tank-size decision show, in sentences; and its costs."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import xarray as xr

from rainharvest.core.reader import days, in_units, large_volume, litres, number, percent, rounded
from rainharvest.sizing.uncertainty import RANGE_WORDS
from rainharvest.sizing.words import aim_words, bought_words, money, option_for, sizing_headline
from rainharvest.study.file import Study


def maps_words(group: xr.Dataset, size: float) -> str:
    """Return what another roof or another demand would make of a tank."""
    at = float(np.clip(size, group.capacity[0], group.capacity[-1]))  # beyond the sizes tried, their end
    roof = group.reliability_by_area.interp(capacity=at)
    asked = group.reliability_by_demand.interp(capacity=at)
    own = asked.interp(demand_factor=1.0)
    half, double = (percent(float(roof.isel(area=k))) for k in (1, 6))
    less, more = (percent(float(asked.isel(demand_factor=k))) for k in (1, 6))
    return (
        f"{litres(size)} usable reach {percent(float(own))} with the study's roof and demand; {half} with half the "
        f"roof, {double} with twice the roof, {less} with half the demand and {more} with twice. Where the lines run "
        "up and down, more tank does not help: there is not enough roof, or too much is asked."
    )


def band_words(group: xr.Dataset) -> str:
    """Return what the band says."""
    text = sizing_headline(group)
    gap = group.reliability_middle - group.reliability_on_record
    if float(abs(gap).max()) > 0.03:
        side = "above" if float(gap.mean()) > 0 else "below"
        text += (
            f" The middle of the versions lies {side} the record: the study's own inputs are not in the middle of "
            "their ranges (where a source gives a range of demand, its upper end is taken)."
        )
    return text


def unknowns_words(group: xr.Dataset) -> str:
    """Return which unknown matters most."""
    order = np.argsort(-abs((group.response_high - group.response_low).values))
    width = abs((group.response_high - group.response_low).values)
    told = [
        f"{RANGE_WORDS[str(group.input.values[k])]} ({number(rounded(100 * width[k], 2))} percentage points)"
        for k in order[:3]
    ]
    text = f"Moved one at a time, what matters most: {', '.join(told)}."
    total = group.total_order.values
    if np.isfinite(total).all():
        most = int(np.argmax(total))
        text += (
            f" All at once, {RANGE_WORDS[str(group.input.values[most])]} explains most of the spread: a share of about "
            f"{round(float(min(total[most], 1.0)), 1):g}."
        )
    return text


def front_words(group: xr.Dataset) -> str:
    """Return what reliability costs with the tanks on offer."""
    target, currency = group.attrs["target"], group.attrs["currency"]
    reached = group.option_reliability.values
    enough = np.flatnonzero(reached >= target * (1 - 1e-12))
    off = int((group.option_efficient.values == 0).sum())
    if not enough.size:
        return f"None of the tanks on offer supplies {aim_words(target, group.attrs['measure'])}."
    k = int(enough[np.argmin(group.option_annual.values[enough])])
    one = group.isel(option=k)
    text = (
        f"{percent(float(one.option_reliability))} cost {money(float(one.option_annual), currency)} a year with "
        f"{one.option.item()}."
    )
    if k + 1 < group.sizes["option"]:
        following = group.isel(option=k + 1)
        text += (
            f" The next step up, {following.option.item()}, reaches {percent(float(following.option_reliability))} for "
            f"{money(float(following.option_annual), currency)}."
        )
    return text + (f" {off} of the combinations are bettered by others." if off else "")


def money_words(group: xr.Dataset, picked: list[int]) -> str:
    """Return what combinations cost and save over the years, and what they do that is not money."""
    said = []
    for k in picked:
        one, currency = group.isel(option=k), group.attrs["currency"]
        value, back = float(one.option_net_present_value), float(one.option_payback)
        worth = "saves more than it costs" if value > 0 else "costs more than it saves"
        when = f", paid back after {rounded(back, 2):g} years" if np.isfinite(back) else ""
        lasts = float(one.option_full_days)
        alone = f"lasts {days(lasts)} when full" if np.isfinite(lasts) else "never runs dry when full"
        said.append(
            f"{one.option.item()} {worth} ({money(abs(value), currency)} over {group.attrs['life']} years{when}); it "
            f"{alone}, saves {litres(float(one.option_mains_saved))} of mains water a year and takes "
            f"{number(rounded(float(one.option_energy), 2))} kWh a year to pump"
        )
    return ". ".join(said) + "."


def terms_words(group: xr.Dataset) -> str:
    """Return the terms on which costs are reckoned.

    Parameters
    ----------
    group : Dataset
        As `rainharvest.sizing.facts.sizing_group`, with prices.

    Returns
    -------
    str
        Plain text.
    """
    attrs = group.attrs
    kind = (
        "a real rate"
        if attrs["rate_kind"] == "real"
        else "the real rate that the nominal one and inflation leave (Fisher relation)"
    )
    left = (
        "nothing is left at their end"
        if attrs["residual_value"] == "none"
        else "at their end each part is worth its price times the share of its life that is left"
    )
    saved = (
        "A mains reserve saves no mains water: what it draws is on the bill with or without it."
        if attrs.get("arrangement") == "mains reserve"
        else "All water drawn counts as mains water saved."
    )
    return (
        f"Money of today in {attrs['currency']}, over {attrs['life']} years, discounted at "
        f"{number(rounded(100 * attrs['real_rate'], 2))} % a year, {kind}; {left}. {saved} "
        "The currency is a label: nothing is converted."
    )


def shortcuts_words(group: xr.Dataset) -> str:
    """Return how the short ways fared."""
    target, measure = group.attrs["target"], group.attrs["measure"]
    reached, size = group[f"way_{measure}"].values, group.size_by_way.values
    short, large, silent = [], [], []
    for k, way in enumerate(group.way.values[1:], start=1):
        if not np.isfinite(size[k]):
            silent.append(str(way))
        elif reached[k] < target - 0.005:
            short.append(f"{way} ({percent(reached[k])})")
        elif size[k] > 1.5 * size[0]:
            large.append(f"{way} ({number(rounded(size[k] / size[0], 2))} times the size)")
    parts = []
    if short:
        parts.append(f"Too small for {aim_words(target, measure)}: {', '.join(short)}")
    if large:
        parts.append(f"Half as large again as needed, or more: {', '.join(large)}")
    if silent:
        parts.append(f"Without an answer, since more is asked than comes in: {', '.join(silent)}")
    return ". ".join(parts) + "." if parts else "Every short way comes near the simulation here."


def step_words(group: xr.Dataset, size: float) -> str:
    """Return how far the daily step is off."""
    after, before = (group.step_error.sel(rule=f"yield {when} spillage") for when in ("after", "before"))
    low, high = float(after.min()), float(before.max())
    at = np.clip(size, group.capacity[0], group.capacity[-1])
    here = max(abs(float(e.interp(capacity=float(at)))) for e in (after, before))
    little = number(rounded(-100 * low, 2))
    return (
        f"At a daily step, yield after spillage says up to {little} percentage points too little "
        f"and yield before spillage up to {number(rounded(100 * high, 2))} too much, both for small tanks; at "
        f"{litres(size)} neither is off by more than {number(rounded(max(100 * here, 0.1), 1))}. The finer rain covers "
        f"{days(group.attrs['finer_days'])}."
    )


def picked_options(group: xr.Dataset) -> list[int]:
    """Return the combinations that a figure of money shows: the best value, the knee and the target.

    Parameters
    ----------
    group : Dataset
        As `rainharvest.sizing.facts.sizing_group`, with a catalogue.

    Returns
    -------
    list of int
        Their places, rising, each once.
    """
    picked = [int(np.argmax(group.option_net_present_value.values))]
    for size in (float(group.knee_size), float(group.size_on_record)):
        place = option_for(group, size)
        if place is not None:
            picked.append(place)
    return sorted(set(picked))


def cost_said(study: Study, costs: pd.Series | None) -> str:
    """Return what the tank described costs."""
    if costs is None:
        return "The study file gives no prices."
    unit, life = study.costs.currency, study.costs.life
    volume, words = large_volume()
    gain = float(costs.net_present_value)
    worth = (
        f"Over {life} years it saves {money(gain, unit)} more than it costs, in money of today."
        if gain > 0
        else f"Over {life} years it costs {money(-gain, unit)} more than the mains water it saves, in money of today."
    )
    if study.arrangement.kind == "mains reserve":
        worth = "It saves no mains water: what it buys is water through the interruptions."
    return (
        f"{money(costs.capital, unit)} to build; {money(costs.annual, unit)} a year with upkeep, "
        f"{money(costs.per_kilolitre * volume / 1000, unit)} for each {words} delivered. {worth}"
    )


def prices_said(study: Study) -> str:
    """Return the prices that the study rests on."""
    costs = study.costs
    share, unit = in_units(1.0, "L")
    scale, volume = large_volume()
    said = [
        f"Real prices of today in {costs.currency}: {number(costs.fixed)} whatever the size, "
        f"{number(costs.per_litre / share, 3)} per {unit} of nominal size, {number(costs.upkeep)} a year for upkeep."
    ]
    if costs.part:
        said.append(f"Parts with a life of their own: {', '.join(part.name for part in costs.part)}.")
    said.append(
        "Mains water is charged in blocks."
        if costs.block
        else f"Mains water costs {number(costs.tariff * scale / 1000, 3)} per {volume}."
    )
    return " ".join(said)


def payback_said(years: float) -> str:
    """Return after how many years a tank has paid for itself.

    >>> payback_said(13.46), payback_said(float("inf"))
    ('13', 'never')
    """
    return number(round(years)) if math.isfinite(years) else "never"


def front_caption(group: xr.Dataset, marked: int | None) -> str:
    """Return what the picture of the tanks on offer shows."""
    text = (
        f"What {group.sizes['option']} combinations of the tanks on offer cost a year and supply. Those on the line "
        "are bettered by none that costs less; crosses are."
    )
    if marked is not None:
        text += f" The mark is the cheapest that holds the tank described: {bought_words(group, marked)}."
    text += " Linked tanks are one store only where they stand on one level and are joined at the outlet."
    return text
