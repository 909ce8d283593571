"""The gauge: from the level read on it to litres, and to days of supply."""

from __future__ import annotations

import numpy as np
import xarray as xr

from rainharvest.errors import InputError
from rainharvest.names import attributes
from rainharvest.siteworks.vessel import Vessel


def gauge_table(vessel: Vessel, mean_demand: float, steps: int = 20) -> xr.Dataset:
    """Return what a gauge says at each level: litres in the tank, litres to draw, days that they last.

    Days = (V(level) - V(outlet)) / demand: no rain, no rationing, an even draw.

    Parameters
    ----------
    vessel : Vessel
        The tank.
    mean_demand : float [L/day]
        What is drawn on a mean day.
    steps : int [1]
        Even steps from the floor to the overflow; the outlet's and the overflow's own levels are added.

    Returns
    -------
    Dataset
        On ``water_level`` (m above the floor): ``litres_held``, ``litres_to_draw``, ``days_of_supply``.

    Raises
    ------
    InputError
        If the demand is not above zero.

    Examples
    --------
    >>> from rainharvest.siteworks.vessel import vessel_of
    >>> table = gauge_table(vessel_of(10_000), mean_demand=500, steps=4)
    >>> table.litres_to_draw.values.round().tolist(), table.days_of_supply.values.round(1).tolist()
    ([0.0, 0.0, 1875.0, 4250.0, 6625.0, 9000.0], [0.0, 0.0, 3.8, 8.5, 13.2, 18.0])
    """
    if not 0 < mean_demand < np.inf:
        raise InputError(f"a demand of {mean_demand:g} L a day", "give one above zero", "mean_demand")
    if steps < 1:
        raise InputError(f"{steps} steps", "give one or more", "steps")
    even = np.linspace(0.0, vessel.overflow_mark, steps + 1)
    levels = np.union1d(even, [vessel.outlet_mark, vessel.overflow_mark])
    held = vessel.volume(levels)
    draw = np.maximum(held - vessel.volume(vessel.outlet_mark), 0.0)
    return xr.Dataset(
        {
            "litres_held": ("water_level", held, attributes("litres_held")),
            "litres_to_draw": ("water_level", draw, attributes("litres_to_draw")),
            "days_of_supply": ("water_level", draw / mean_demand, attributes("days_of_supply")),
        },
        coords={"water_level": ("water_level", levels, attributes("water_level"))},
        attrs={"outlet_mark": vessel.outlet_mark, "overflow_mark": vessel.overflow_mark},
    )
