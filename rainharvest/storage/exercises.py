"""Exercises on demand and supply that check themselves: the right answer is computed, never stored."""

from __future__ import annotations

import xarray as xr

from rainharvest.core.exercise import says
from rainharvest.core.reader import days, litres
from rainharvest.storage.arrangements import smallest_reserve


def check_reserve(demand: xr.DataArray, ride_out: float, yours_kilolitres: float | None) -> None:
    """Check the size of a reserve.

    Parameters
    ----------
    demand : DataArray [L/day]
        (use, time).
    ride_out : float [day]
        The ride-out asked for.
    yours_kilolitres : float, optional
        The reader's answer in kilolitres; ``...`` asks for the right one.
    """
    size = smallest_reserve(demand.sum("use"), ride_out)
    hint = "Move the ride-out slider and read the mark in the figure of the smallest reserve."
    says(yours_kilolitres, size / 1000, f"The worst {days(ride_out)} ask for {litres(size)}.", hint)


def check_spilled(done: xr.Dataset, level_share: float, yours_kilolitres: float | None) -> None:
    """Check how much mains water a set level makes spill in a year.

    Parameters
    ----------
    done : Dataset
        As `rainharvest.storage.facts.supplied`.
    level_share : float [1]
        The set level.
    yours_kilolitres : float, optional
        The reader's answer in kilolitres a year; ``...`` asks for the right one.
    """
    spilled = float(done.level_spilled_mains_a_year.interp(level_share=level_share))
    hint = "Move the set-level slider and read the figure of the mains water spilled."
    answer = f"It spills {litres(spilled)} of mains water a year."
    says(yours_kilolitres, spilled / 1000, answer, hint, least=1)


def check_arrangement(done: xr.Dataset, yours: str | None) -> None:
    """Check which arrangement is short on the fewest days.

    Parameters
    ----------
    done : Dataset
        As `rainharvest.storage.facts.supplied`.
    yours : str, optional
        Name of an arrangement; ``...`` asks for the right one.
    """
    best = str(done.arrangement.values[int(done.failed_a_year.values.argmin())])
    among = {
        str(name): f"{name} is short on {days(float(short))} a year"
        for name, short in zip(done.arrangement.values, done.failed_a_year.values, strict=True)
    }
    says(yours, {best}, f"It is the {best}.", "Compare the first figures of the panel.", among=among)
