"""Exercises on the demand that check themselves: the right answer is computed, never stored."""

from __future__ import annotations

import xarray as xr

from rainharvest.core.exercise import says
from rainharvest.core.reader import MONTHS, litres, percent
from rainharvest.demand.facts import demand_facts, months_facts, months_of
from rainharvest.demand.uses import may_serve


def check_year(demand: xr.DataArray, yours_kilolitres: float | None) -> None:
    """Check how much is asked for in a mean year.

    Parameters
    ----------
    demand : DataArray [L/day]
        (use, time).
    yours_kilolitres : float, optional
        The reader's answer in kilolitres a year; ``...`` asks for the right one.
    """
    year = demand_facts(demand).year
    hint = "Take the mean day of the first answer times the days of a year."
    says(yours_kilolitres, year / 1000, f"{litres(year)} a year are asked for.", hint)


def check_thirstiest_month(demand: xr.DataArray, yours: str | None) -> None:
    """Check the month that asks for most.

    Parameters
    ----------
    demand : DataArray [L/day]
        (use, time).
    yours : str, optional
        Name of a month, of which the first three letters count; ``...`` asks for the right one.
    """
    months = months_facts(months_of(demand))
    most = MONTHS[months.high]
    mean = months_of(demand).sum("use").values
    asks = {name: f"{name} asks for {litres(float(day))}" for name, day in zip(MONTHS, mean, strict=True)}
    among = {name: f"{words} on a mean day" for name, words in asks.items()}
    hint = "Look for the tallest column of the second figure."
    says(yours, {most}, f"{most}, with {litres(months.most)} on a mean day.", hint, among=among)


def check_share_for_rain(demand: xr.DataArray, yours_percent: float | None) -> None:
    """Check how much of the demand rain alone may serve.

    Parameters
    ----------
    demand : DataArray [L/day]
        (use, time), with ``quality`` on ``use``.
    yours_percent : float, optional
        The reader's answer in per cent; ``...`` asks for the right one.
    """
    fit = [may_serve("rain only", str(quality)) for quality in demand.quality.values]
    share = float(demand.isel(use=fit).sum() / demand.sum())
    hint = "Add up the layers of the second figure that rain alone may serve, and compare with the whole."
    answer = f"{percent(share)} of it needs no drinking quality."
    says(yours_percent, 100 * share, answer, hint, near=0, least=3)
