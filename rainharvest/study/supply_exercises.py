"""Exercises on demand and supply that check themselves: the right answer is computed, never stored."""

from __future__ import annotations

import xarray as xr

from rainharvest.storage.reserve import smallest_reserve
from rainharvest.study.exercises import NEAR
from rainharvest.study.words import days, litres


def check_reserve(demand: xr.DataArray, ride_out: float, yours_kilolitres: float) -> None:
    """Check the size of a reserve.

    Parameters
    ----------
    demand : DataArray [L/day]
        (use, time).
    ride_out : float [day]
        The ride-out asked for.
    yours_kilolitres : float
        The reader's answer in kilolitres.
    """
    size = smallest_reserve(demand.sum("use"), ride_out)
    right = abs(1000 * yours_kilolitres - size) <= NEAR * size
    say = f"Right. The worst {days(ride_out)} ask for {litres(size)}."
    print(say if right else "Not yet. Move the ride-out slider and read the mark in the last figure.")


def check_spilled(done: xr.Dataset, level_share: float, yours_kilolitres: float) -> None:
    """Check how much mains water a set level makes spill in a year.

    Parameters
    ----------
    done : Dataset
        As `rainharvest.study.supply.supplied`.
    level_share : float [1]
        The set level.
    yours_kilolitres : float
        The reader's answer in kilolitres a year.
    """
    spilled = float(done.level_spilled_mains_a_year.interp(level_share=level_share))
    right = abs(1000 * yours_kilolitres - spilled) <= max(NEAR * spilled, 1000.0)
    say = f"Right. It spills {litres(spilled)} of mains water a year."
    print(say if right else "Not yet. Move the set-level slider and read the middle figure on the left.")


def check_arrangement(done: xr.Dataset, yours: str) -> None:
    """Check which arrangement is short on the fewest days.

    Parameters
    ----------
    done : Dataset
        As `rainharvest.study.supply.supplied`.
    yours : str
        Name of an arrangement.
    """
    best = str(done.arrangement.values[int(done.failed_a_year.values.argmin())])
    names = ", ".join(str(name) for name in done.arrangement.values)
    print(f"Right. It is the {best}." if yours == best else f"Not yet. There are: {names}.")
