"""Water at the tank inlet of a catchment that differs from the study's own by factors."""

from __future__ import annotations

import numpy as np
import xarray as xr

from rainharvest.catchment.chain import ROWS
from rainharvest.catchment.intensity import Intensity
from rainharvest.catchment.lanes import run_lanes
from rainharvest.catchment.parts import Catchment
from rainharvest.catchment.steps import Rain

INFLOW_ROW = ROWS.index("inflow")


def scaled_catchment(
    catchment: Catchment,
    *,
    area: float = 1.0,
    runoff_coefficient: float = 1.0,
    losses: float = 1.0,
    filter_efficiency: float = 1.0,
) -> Catchment:
    """Return the same catchment with some of its numbers multiplied.

    Parameters
    ----------
    catchment : Catchment
        The study's own.
    area : float
        Multiple of every roof's plan area; gutters and the run of pipe stay as they are.
    runoff_coefficient : float
        Multiple of every roof's coefficient; none passes 1.
    losses : float
        Multiple of every roof's wetting and of the first flush.
    filter_efficiency : float
        Multiple of the filter's efficiency, which does not pass 1.

    Returns
    -------
    Catchment
        Another one.

    Examples
    --------
    >>> from rainharvest.catchment.roofs import Roof
    >>> site = Catchment(roofs=(Roof(area=100, runoff_coefficient=0.95),), first_flush=0.5)
    >>> more = scaled_catchment(site, runoff_coefficient=1.1, losses=2.0)
    >>> more.roofs[0].runoff_coefficient, more.first_flush
    (1.0, 1.0)
    """
    roofs = tuple(
        roof.model_copy(
            update={
                "area": roof.area * area,
                "runoff_coefficient": min(roof.runoff_coefficient * runoff_coefficient, 1.0),
                "wetting": roof.wetting * losses,
            }
        )
        for roof in catchment.roofs
    )
    return catchment.model_copy(
        update={
            "roofs": roofs,
            "first_flush": catchment.first_flush * losses,
            "filter_efficiency": min(catchment.filter_efficiency * filter_efficiency, 1.0),
        }
    )


def tank_inflow(
    rain: Rain, catchment: Catchment, drying: float | xr.DataArray, intensity: Intensity
) -> np.ndarray:
    """Return the water at the tank inlet of one record, without where the rest went.

    Parameters
    ----------
    rain : Rain
        One series, as `rainharvest.catchment.steps.read_daily` lays it out.
    catchment : Catchment
        Roofs, first flush, filter and run of pipe.
    drying : float or DataArray [mm/day]
        As `rainharvest.catchment.collect.collect`.
    intensity : Intensity
        As `rainharvest.catchment.collect.collect`.

    Returns
    -------
    ndarray [L/day]
        One value a day.

    Raises
    ------
    InputError
        As `rainharvest.catchment.collect.collect`.
    """
    _, rows = run_lanes(rain, [catchment], drying, intensity, trace=(INFLOW_ROW,))
    return rows[0, :, 0]
