"""The tank-size decision in sentences: what was chosen, why, what would change it, and how sure it is."""

from __future__ import annotations

import math

import numpy as np
import xarray as xr

from rainharvest.reader import number
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
    text = (
        f"The record covers {years:.0f} year{'' if round(years) == 1 else 's'}, {LEVEL_WORDS[carried.level]}"
    )
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
