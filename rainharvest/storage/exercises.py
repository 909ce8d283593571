"""Exercises on demand and supply that check themselves: the right answer is computed, never stored."""

from __future__ import annotations

import xarray as xr

from rainharvest.core.board import says
from rainharvest.core.reader import days, litres
from rainharvest.storage.arrangements import smallest_reserve
from rainharvest.study.exercises import NEAR


def check_reserve(demand: xr.DataArray, ride_out: float, yours_kilolitres: float | None) -> None:
    """Check the size of a reserve.

    Parameters
    ----------
    demand : DataArray [L/day]
        (use, time).
    ride_out : float [day]
        The ride-out asked for.
    yours_kilolitres : float, optional
        The reader's answer in kilolitres; None asks for the right one.
    """
    size = smallest_reserve(demand.sum("use"), ride_out)
    right = yours_kilolitres is not None and abs(1000 * yours_kilolitres - size) <= NEAR * size
    says(
        yours_kilolitres,
        right,
        f"The worst {days(ride_out)} ask for {litres(size)}.",
        "Move the ride-out slider and read the mark in the last figure.",
    )


def check_spilled(done: xr.Dataset, level_share: float, yours_kilolitres: float | None) -> None:
    """Check how much mains water a set level makes spill in a year.

    Parameters
    ----------
    done : Dataset
        As `rainharvest.storage.facts.supplied`.
    level_share : float [1]
        The set level.
    yours_kilolitres : float, optional
        The reader's answer in kilolitres a year; None asks for the right one.
    """
    spilled = float(done.level_spilled_mains_a_year.interp(level_share=level_share))
    near = max(NEAR * spilled, 1000.0)
    right = yours_kilolitres is not None and abs(1000 * yours_kilolitres - spilled) <= near
    says(
        yours_kilolitres,
        right,
        f"It spills {litres(spilled)} of mains water a year.",
        "Move the set-level slider and read the middle figure on the left.",
    )


def check_arrangement(done: xr.Dataset, yours: str | None) -> None:
    """Check which arrangement is short on the fewest days.

    Parameters
    ----------
    done : Dataset
        As `rainharvest.storage.facts.supplied`.
    yours : str, optional
        Name of an arrangement; None asks for the right one.
    """
    best = str(done.arrangement.values[int(done.failed_a_year.values.argmin())])
    names = ", ".join(str(name) for name in done.arrangement.values)
    says(yours, yours == best, f"It is the {best}.", f"There are: {names}.")
