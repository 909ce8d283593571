"""Costs in the report's sentences."""

from __future__ import annotations

import math

import pandas as pd
import xarray as xr

from rainharvest.reader import in_units, large_volume, number
from rainharvest.study.file import Study
from rainharvest.study.sizing_words import bought_words, money


def cost_said(study: Study, costs: pd.Series | None) -> str:
    """Return what the tank described costs.

    Parameters
    ----------
    study : Study
        The study.
    costs : Series or None
        As `rainharvest.study.report.money.cost_of_described`.

    Returns
    -------
    str
        A sentence or two.
    """
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
    """Return the prices that the study rests on.

    Parameters
    ----------
    study : Study
        With costs.

    Returns
    -------
    str
        A few sentences.
    """
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

    Parameters
    ----------
    years : float [year]
        Infinite where never.

    Returns
    -------
    str
        A number or a word.

    Examples
    --------
    >>> payback_said(13.46), payback_said(float("inf"))
    ('13', 'never')
    """
    return number(round(years)) if math.isfinite(years) else "never"


def front_caption(group: xr.Dataset, marked: int | None) -> str:
    """Return what the picture of the tanks on offer shows.

    Parameters
    ----------
    group : Dataset
        As `rainharvest.study.sizing.sizing_group`.
    marked : int or None
        Place of the combination that is marked.

    Returns
    -------
    str
        Two or three sentences.
    """
    text = (
        f"What {group.sizes['option']} combinations of the tanks on offer cost a year and supply. Those on the line "
        "are bettered by none that costs less; crosses are."
    )
    if marked is not None:
        text += f" The mark is the cheapest that holds the tank described: {bought_words(group, marked)}."
    text += " Linked tanks are one store only where they stand on one level and are joined at the outlet."
    return text
