"""Exercises on many climates that check themselves: the right answer is computed, never stored."""

from __future__ import annotations

import numpy as np
import xarray as xr

from rainharvest.core.board import says
from rainharvest.core.reader import litres
from rainharvest.study.exercises import NEAR


def check_hardest_climate(sides: xr.Dataset, capacity: float, yours: str | None) -> None:
    """Check in which climate one tank supplies the smallest share.

    Parameters
    ----------
    sides : Dataset
        As `rainharvest.climates.facts.in_each_climate`.
    capacity : float [L]
        Usable size.
    yours : str, optional
        Name of a climate; None asks for the right one.
    """
    one = (
        sides[sides.attrs["measure"]]
        .sel(conveyance="dry run", arrangement="rain only")
        .interp(capacity=capacity)
    )
    worst = str(sides.climate.values[int(np.argmin(one.values))])
    names = ", ".join(map(str, sides.climate.values))
    says(yours, yours == worst, f"It is {worst}.", f"There are: {names}.")


def check_places_reached(region: xr.Dataset, capacity: float, yours_places: int | None) -> None:
    """Check at how many places a tank reaches the target.

    Parameters
    ----------
    region : Dataset
        As `rainharvest.climates.panel.region_for`.
    capacity : float [L]
        Usable size.
    yours_places : int, optional
        The reader's answer; None asks for the right one.
    """
    sizes = region.reaching.sel(conveyance="dry run").isel(arrangement=0)
    count = int((sizes <= capacity).sum())
    right = yours_places is not None and abs(yours_places - count) <= max(NEAR * count, 1)
    says(
        yours_places,
        right,
        f"{count} places reach the target with {litres(capacity)} or less.",
        "Read the map of the size that reaches the target, or count with region.reaching.",
    )


def check_explaining(found: xr.Dataset, yours: str | None) -> None:
    """Check which statistic of the climate goes most closely with an outcome.

    Parameters
    ----------
    found : Dataset
        As `rainharvest.climates.statistics.explain`.
    yours : str, optional
        Name of a statistic; None asks for the right one.
    """
    rho = found.rank_correlation
    best = str(found.statistic.values[int(np.argmax(np.abs(rho.values)))])
    names = ", ".join(map(str, found.statistic.values))
    value = float(rho.sel(statistic=best))
    says(yours, yours == best, f"{best}: {value:+.2f}.", f"There are: {names}.")
