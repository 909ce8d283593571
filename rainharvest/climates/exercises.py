"""Exercises on many climates that check themselves: the right answer is computed, never stored."""

from __future__ import annotations

import numpy as np
import xarray as xr

from rainharvest.core.exercise import says
from rainharvest.core.quantities import label
from rainharvest.core.reader import litres, percent


def check_hardest_climate(sides: xr.Dataset, capacity: float, yours: str | None) -> None:
    """Check in which climate one tank supplies the smallest share.

    Parameters
    ----------
    sides : Dataset
        As `rainharvest.climates.facts.in_each_climate`.
    capacity : float [L]
        Usable size.
    yours : str, optional
        Name of a climate; ``...`` asks for the right one.
    """
    one = (
        sides[sides.attrs["measure"]]
        .sel(conveyance="dry run", arrangement="rain only")
        .interp(capacity=capacity)
    )
    worst = str(sides.climate.values[int(np.argmin(one.values))])
    among = {
        str(name): f"{name} supplies {percent(float(share))}"
        for name, share in zip(sides.climate.values, one.values, strict=True)
    }
    hint = "Set the tank to that size in the first panel and read its sentence."
    says(yours, {worst}, f"It is {worst}.", hint, among=among)


def check_places_reached(region: xr.Dataset, capacity: float, yours_places: int | None) -> None:
    """Check at how many places a tank reaches the target.

    Parameters
    ----------
    region : Dataset
        As `rainharvest.climates.panel.region_for`.
    capacity : float [L]
        Usable size.
    yours_places : int, optional
        The reader's answer; ``...`` asks for the right one.
    """
    sizes = region.reaching.sel(conveyance="dry run").isel(arrangement=0)
    count = int((sizes <= capacity).sum())
    hint = "On the map of the size that reaches the target, count the places at or below that size."
    says(
        yours_places,
        count,
        f"{count} places reach the target with {litres(capacity)} or less.",
        hint,
        least=1,
    )


def check_explaining(found: xr.Dataset, yours: str | None) -> None:
    """Check which statistic of the climate goes most closely with an outcome.

    Parameters
    ----------
    found : Dataset
        As `rainharvest.climates.statistics.explain`.
    yours : str, optional
        Name of a statistic; ``...`` asks for the right one.
    """
    rho = {
        label(str(name), ""): float(value)
        for name, value in zip(found.statistic.values, found.rank_correlation.values, strict=True)
    }
    best = max(rho, key=lambda name: abs(rho[name]))
    among = {name: f"the rank correlation with {name.lower()} is {value:+.2f}" for name, value in rho.items()}
    says(yours, {best}, f"{best}: {rho[best]:+.2f}.", "Nearer to +1 or to -1 is closer.", among=among)
