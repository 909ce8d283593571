"""The tank-size decision in sentences: what was chosen, why, what would change it, and how sure it is."""

from __future__ import annotations

import math

import numpy as np
import xarray as xr

from rainharvest.reader import number
from rainharvest.sizing.ranges import RANGE_WORDS
from rainharvest.sizing.record_length import record_length
from rainharvest.study.words import litres, percent, rounded

LEVEL_WORDS = {
    "indicative": "too short to settle anything: this only indicates",
    "screening": "enough to compare sizes, not to settle one",
    "fair": "enough for a size with its band beside it",
    "full": "as long as guidance asks for",
}


def money(value: float, currency: str, figures: int = 2) -> str:
    """Return an amount in words, to two figures.

    Parameters
    ----------
    value : float
        The amount.
    currency : str
        Its label.
    figures : int
        Significant figures.

    Returns
    -------
    str
        For example "2,400 crowns".

    Examples
    --------
    >>> money(2431.0, "crowns"), money(-87.4, "crowns"), money(0.0, "crowns")
    ('2,400 crowns', '-87 crowns', '0 crowns')
    """
    return f"{number(rounded(value, figures))} {currency}"


def aim_words(target: float, measure: str) -> str:
    """Return what is asked of the tank.

    Parameters
    ----------
    target : float [1]
        The reliability.
    measure : str
        "volume_reliability" or "time_reliability".

    Returns
    -------
    str
        A clause.

    Examples
    --------
    >>> aim_words(0.9, "volume_reliability"), aim_words(0.9, "time_reliability")
    ('90 % of the water asked for', 'all that is asked for on 90 % of days')
    """
    if measure == "volume_reliability":
        return f"{percent(target)} of the water asked for"
    return f"all that is asked for on {percent(target)} of days"


def curve_words(curve: xr.Dataset, target: float, chosen: float, currency: str = "") -> str:
    """Return what the sliders' figure shows.

    Parameters
    ----------
    curve : Dataset
        As `rainharvest.study.sizing_quick.moved`.
    target : float [1]
        The reliability asked for.
    chosen : float [L]
        The size that is marked.
    currency : str
        Label of the prices.

    Returns
    -------
    str
        Plain text.
    """
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

    Parameters
    ----------
    curve : Dataset
        On ``capacity``.
    name : str
        The variable.
    target : float [1]
        The reliability to reach.

    Returns
    -------
    float [L]
        NaN where none reaches it.

    Examples
    --------
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
    """Return how far the record carries the decision; it goes into the headline where the record is short.

    Parameters
    ----------
    group : Dataset
        As `rainharvest.study.sizing.sizing_group`.

    Returns
    -------
    str
        A sentence.
    """
    years = float(group.record_years)
    carried = record_length(years)
    text = f"The record covers {years:.0f} years, {LEVEL_WORDS[carried.level]}"
    if carried.short:
        text += f" ({carried.wanted.value:.0f} years are asked for next)"
    return text + "."


def sizing_headline(group: xr.Dataset) -> str:
    """Return the size in a sentence or two; a record shorter than guidance is named first.

    Parameters
    ----------
    group : Dataset
        As `rainharvest.study.sizing.sizing_group`.

    Returns
    -------
    str
        Plain text.
    """
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


def recommendation(group: xr.Dataset) -> list[str]:
    """Return the recommendation: what, why, what would change it, how sure.

    Parameters
    ----------
    group : Dataset
        As `rainharvest.study.sizing.sizing_group`.

    Returns
    -------
    list of str
        Four sentences or so each, no more than two figures to a number.
    """
    if "sure_size" not in group:
        return [sizing_headline(group)]
    return [
        " ".join(part)
        for part in (_chosen(group), _why(group), _what_would_change(group), _how_sure(group))
        if part
    ]


def bought_words(group: xr.Dataset, option: int) -> str:
    """Return a combination of tanks with its price.

    Parameters
    ----------
    group : Dataset
        As `rainharvest.study.sizing.sizing_group`.
    option : int
        Its place.

    Returns
    -------
    str
        A clause.
    """
    one = group.isel(option=option)
    linked = ", linked," if int(one.option_tanks) > 1 else ""
    return (
        f"{one.option.item()}{linked} for {money(float(one.option_capital), group.attrs['currency'])} in all"
    )


def option_for(group: xr.Dataset, size: float) -> int | None:
    """Return the cheapest combination that holds a usable size.

    Parameters
    ----------
    group : Dataset
        As `rainharvest.study.sizing.sizing_group`.
    size : float [L]
        Usable size.

    Returns
    -------
    int or None
        Its place among the options; None where none is large enough or there is no catalogue.
    """
    if "option_capacity" not in group or math.isnan(size):
        return None
    enough = np.flatnonzero(group.option_capacity.values >= size * (1 - 1e-12))
    return int(enough[0]) if enough.size else None


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
    elif "option_capacity" in group and not math.isnan(own):
        out.append("No combination of the tanks on offer holds it.")
    return out


def _why(group: xr.Dataset) -> list[str]:
    knee, own = float(group.knee_size), float(group.size_on_record)
    out = []
    if not math.isnan(own):
        side = "beyond" if own > knee * 1.05 else "before" if own < knee / 1.05 else "at"
        gain = marginal_at(group, own)
        out.append(
            f"At the first size, {side} the knee of the curve ({litres(knee)}), one more litre of tank brings "
            f"{number(rounded(gain, 2))} L a year."
        )
    ladder = group.size_for_target.to_series()
    steps = [f"{litres(size, up=True)} for {percent(t)}" for t, size in ladder.items() if size == size]
    if steps:
        out.append("On the record: " + ", ".join(steps) + ".")
    never = float(group.no_failure_size)
    out.append(
        f"No failure in the record would take {litres(never, up=True)}; a longer record holds a worse drought."
        if never == never
        else "No tank is free of failure when the record repeats: more is asked than comes in."
    )
    return out


def marginal_at(group: xr.Dataset, size: float) -> float:
    """Return the litres a year that one more litre of tank brings at a size, on the record.

    Parameters
    ----------
    group : Dataset
        As `rainharvest.study.sizing.sizing_group`.
    size : float [L]
        Usable size.

    Returns
    -------
    float [1/year]
        Slope of the yearly yield.
    """
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
        out.append(f"Next: {' and '.join(rest)}. Measure what can be measured before the size is settled.")
    return out


def _how_sure(group: xr.Dataset) -> list[str]:
    own = float(group.size_on_record)
    out = [record_words(group)]
    if not math.isnan(own):
        at = np.log(group.capacity.values)
        low, high, by = (
            float(np.interp(np.log(own), at, group[name].values))
            for name in ("reliability_low", "reliability_high", "draws_reaching")
        )
        out.append(
            f"Nine of ten versions put the tank for the record as it stands at {percent(low)} to {percent(high)}; it "
            f"reaches the target in {10 * round(10 * by):.0f} of 100."
        )
    return out
