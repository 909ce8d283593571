"""Exercises on the tank-size decision that check themselves: the right answer is computed, never stored."""

from __future__ import annotations

import os

import ipywidgets as widgets
import numpy as np
import xarray as xr

from rainharvest.core.board import predict
from rainharvest.core.controls import slider
from rainharvest.core.exercise import left_out, says
from rainharvest.core.reader import litres, percent
from rainharvest.sizing.facts_printed import option_for
from rainharvest.sizing.section import SAY
from rainharvest.study.variant import prepare, variant


def guess_more_people(path: str | os.PathLike, group: xr.Dataset, times: float) -> widgets.VBox:
    """Return the guess at what the tank decided on supplies to more people.

    Parameters
    ----------
    path : str or path
        The study file.
    group : Dataset
        As `rainharvest.sizing.facts_costs.sizing_group`.
    times : float [1]
        How many times as many people.

    Returns
    -------
    VBox
        A slider; then the guesses beside the share that it is.
    """
    tank, prepared = group.attrs["nominal"] * group.attrs["usable_share"], prepare(path)

    def supplied(people: float) -> float:
        done = variant(prepared, area=prepared.area, people=people, capacity=tank)
        return float(done.described_rain_reliability)

    def found() -> tuple[float, str]:
        share = supplied(times * prepared.people)
        return 100 * share, SAY.more_people(share, times)

    asked = SAY.guess_more_people(supplied(prepared.people), times)
    share = slider(group.attrs["measure"], 90, 0, 100, 1, unit="%", scale=0.01)
    return predict("more-people", asked, share, found)


def check_sure(group: xr.Dataset, yours_percent: float | None, capacity_kilolitres: float) -> None:
    """Check in how many of a hundred versions a tank reaches the target.

    Parameters
    ----------
    group : Dataset
        As `rainharvest.sizing.facts_costs.sizing_group`.
    yours_percent : float, optional
        The reader's answer; ``...`` asks for the right one.
    capacity_kilolitres : float
        Usable tank size in kilolitres.
    """
    at, reaching = np.log(group.capacity.values), group.draws_reaching.values
    share = float(np.interp(np.log(1000 * capacity_kilolitres), at, reaching))
    hint = (
        "Move the tank of the first panel to that size: its sentence says between what ends the versions lie, and "
        "the target stands somewhere between these."
    )
    answer = f"It reaches the target in {percent(share)} of the versions."
    says(yours_percent, 100 * share, answer, hint, near=0, least=5)


def check_shortcut(group: xr.Dataset, yours: str | None) -> None:
    """Check which short way comes nearest to the size found by simulation.

    Parameters
    ----------
    group : Dataset
        As `rainharvest.sizing.facts_costs.sizing_group`.
    yours : str, optional
        Name of a short way; ``...`` asks for the right one.
    """
    size = group.size_by_way.values
    if not np.isfinite(size[0]):
        return left_out("a tank that reaches the target")
    nearest = 1 + int(np.nanargmin(np.abs(np.log(size[1:] / size[0]))))
    best = str(group.way.values[nearest])
    among = {
        str(way): f"{way} says {litres(float(one))} where {litres(float(size[0]))} are found by simulation"
        for way, one in zip(group.way.values[1:], size[1:], strict=True)
        if np.isfinite(one)
    }
    answer = f"It is the {best}: {litres(float(size[nearest]))} beside {litres(float(size[0]))}."
    says(yours, {best}, answer, "Compare the bars on the left with the first.", among=among)


def check_tanks(group: xr.Dataset, capacity_kilolitres: float, yours: str | None) -> None:
    """Check which tanks on offer hold a usable size for the least money.

    Parameters
    ----------
    group : Dataset
        As `rainharvest.sizing.facts_costs.sizing_group`, with a catalogue.
    capacity_kilolitres : float
        Usable size in kilolitres.
    yours : str, optional
        The combination, as the options are named; ``...`` asks for the right one.
    """
    if "option" not in group.dims:
        return left_out("a catalogue of tanks")
    place = option_for(group, 1000 * capacity_kilolitres)
    best = "none" if place is None else str(group.option.values[place])
    currency = group.attrs["currency"]
    columns = (group[name].values for name in ("option", "option_capacity", "option_capital"))
    among = {
        str(
            name
        ): f"{name} holds {litres(float(holds))} usable for {SAY.money(float(money), currency)} in all"
        for name, holds, money in zip(*columns, strict=True)
    } | {"none": "there is one that is large enough"}
    answer = f"{best}." if place is None else f"{best}, {litres(float(group.option_capacity[place]))} usable."
    hint = "Go through the tanks on offer from the cheapest on and take the first that is large enough."
    says(yours, {best}, answer, hint, among=among)
