"""The pool: what its surface gives to the air beyond what rain brings back."""

from __future__ import annotations

import numpy as np
import xarray as xr
from pydantic import BaseModel, ConfigDict, Field

from rainharvest.compiled import compiling_notice
from rainharvest.demand.garden import root_zone
from rainharvest.demand.join import known_days
from rainharvest.demand.plantings import OPEN_WATER, POOL_DROP
from rainharvest.errors import InputError
from rainharvest.names import attributes


class Pool(BaseModel):
    """A pool whose level is kept by topping up.

    Parameters
    ----------
    name : str
        The name that tables and figures show.
    pool_area : float [m2]
        Water surface.
    pool_drop : float [mm]
        How far the level may fall below the overflow before it is topped up: room for the next rain.
    essential : bool
        Whether rationing spares it.

    Examples
    --------
    >>> Pool(pool_area=50).pool_drop
    50.0
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    name: str = Field("pool", min_length=1, max_length=80)
    pool_area: float = Field(gt=0, le=1e5, allow_inf_nan=False)
    pool_drop: float = Field(POOL_DROP.value, gt=0, le=1000, allow_inf_nan=False)
    essential: bool = False


def pool_demand(pool: Pool, rain, evapotranspiration) -> xr.DataArray:
    """Return the litres a day that a pool asks for, from rain and the thirst of the air.

    With D the drop of the level below the overflow [mm]: D <- max(0, D + 1.05 ET0 - rain); what D exceeds
    the drop allowed is topped up, and asked for is area x that. Splashed water and the washing of filters
    are uses of their own.

    Parameters
    ----------
    pool : Pool
        The pool.
    rain : DataArray or Series [mm/day]
        Rain on ``time``, without gaps; further dimensions (member) are kept.
    evapotranspiration : DataArray or Series [mm/day]
        Reference evapotranspiration of the same days.

    Returns
    -------
    DataArray [L/day]
        One ``use``, for `rainharvest.demand.join.join_uses`.

    Raises
    ------
    InputError
        If a day has no value or a negative one, or the series do not cover the same days.

    Notes
    -----
    Coefficient of shallow open water: FAO-56, table 12, from memory, not verified. The pool is full on
    the first morning.

    Examples
    --------
    >>> import pandas as pd
    >>> days = pd.date_range("2024-01-01", periods=12)
    >>> dry = pool_demand(Pool(pool_area=40), pd.Series(0.0, days), pd.Series(5.0, days))
    >>> dry.values[0, -3:]
    array([100., 210., 210.])
    """
    rain, thirst = known_days("rain", rain), known_days("evapotranspiration", evapotranspiration)
    if not thirst.time.to_index().equals(rain.time.to_index()):
        raise InputError(
            "evapotranspiration and rain do not cover the same days",
            "cut both to the same days",
            "evapotranspiration",
        )
    always = np.ones(rain.sizes["time"], dtype=bool)
    with compiling_notice("the level of the pool"):
        # A soil of which half is readily available never stresses while it is watered every day.
        given = xr.apply_ufunc(
            lambda r, t: root_zone(
                np.ascontiguousarray(r), np.ascontiguousarray(t), always, 2 * pool.pool_drop, 0.5
            )[0],
            *xr.broadcast(rain, OPEN_WATER.value * thirst),
            input_core_dims=[["time"], ["time"]],
            output_core_dims=[["time"]],
            vectorize=True,
        )
    said = (
        f"{pool.name}: {pool.pool_area:g} m2 of water, {OPEN_WATER.value:g} ET0 less rain, topped up "
        f"{pool.pool_drop:g} mm below the overflow"
    )
    row = (given * pool.pool_area).expand_dims(use=[pool.name]).transpose(..., "use", "time")
    return (
        row.assign_coords(
            essential=("use", [pool.essential]), quality=("use", ["outdoor"]), kind=("use", ["pool"])
        )
        .assign_attrs(attributes("demand", assumptions=said))
        .rename("demand")
    )
