"""What each tank size buys on other roofs or for another demand: the trade-off as a map."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
import xarray as xr

from rainharvest.catchment.intensity import Intensity
from rainharvest.catchment.parts import DRYING, INTENSITY, Catchment
from rainharvest.catchment.steps import read_daily
from rainharvest.errors import InputError
from rainharvest.names import attributes
from rainharvest.sizing.inflow import scaled_catchment, tank_inflow
from rainharvest.sizing.trade_off import trade_off

KEPT = (
    "volume_reliability",
    "time_reliability",
    "yearly_yield",
    "yield_quantile",
    "longest_failure",
    "failed_a_year",
    "spilled_share",
    "share_of_demand",
    "marginal_yield",
)
"""Measures that a map keeps."""


def inflow_by_area(
    rain: xr.DataArray | pd.Series,
    catchment: Catchment,
    areas: Sequence[float],
    *,
    drying: float | xr.DataArray = DRYING.value,
    intensity: Intensity = INTENSITY,
) -> xr.DataArray:
    """Return the water at the tank inlet for roofs of several sizes, all roofs growing alike.

    Parameters
    ----------
    rain : DataArray or Series [mm/day]
        One record on ``time``, without gaps.
    catchment : Catchment
        Its roofs give the shares of each kind of roof.
    areas : sequence of float [m2]
        Plan area of all roofs together.
    drying : float or DataArray [mm/day]
        As `rainharvest.catchment.collect.collect`.
    intensity : Intensity
        As `rainharvest.catchment.collect.collect`.

    Returns
    -------
    DataArray [L/day]
        (area, time).

    Raises
    ------
    InputError
        If an area is not above zero, the rain has further dimensions, or as `collect`.

    Examples
    --------
    >>> from rainharvest.catchment.roofs import Roof
    >>> rain = pd.Series([10.0, 0.0, 4.0], index=pd.date_range("2001-01-01", periods=3))
    >>> hall = Catchment(roofs=(Roof(area=100, runoff_coefficient=0.9, wetting=0),), first_flush=0)
    >>> inflow_by_area(rain, hall, [50, 100]).values
    array([[405.,   0., 162.],
           [810.,   0., 324.]])
    """
    areas = np.asarray(areas, dtype=float)
    if areas.ndim != 1 or not areas.size or not (areas > 0).all():
        raise InputError("a roof area is not above zero", "give one or more areas above zero", "areas")
    steps = read_daily(rain)
    if steps.depth.shape[1] != 1:
        raise InputError("the rain has further dimensions", "give one record at a time", "rain")
    own = sum(roof.area for roof in catchment.roofs)
    rows = [tank_inflow(steps, scaled_catchment(catchment, area=a / own), drying, intensity) for a in areas]
    time = steps.array["time"].variable
    coords = {"area": ("area", areas, attributes("area")), "time": time}
    return xr.DataArray(np.array(rows), coords, ("area", "time"), "inflow", attributes("inflow"))


def demand_by_factor(demand: xr.DataArray | pd.Series, factors: Sequence[float]) -> xr.DataArray:
    """Return the demand multiplied by each of several factors.

    Parameters
    ----------
    demand : DataArray or Series [L/day]
        On ``time``.
    factors : sequence of float [1]
        Multiples, none below zero.

    Returns
    -------
    DataArray [L/day]
        (demand_factor, time).

    Raises
    ------
    InputError
        If there is no factor or one is below zero.

    Examples
    --------
    >>> days = pd.date_range("2001-01-01", periods=2)
    >>> demand_by_factor(pd.Series([100.0, 80.0], days), [0.5, 2]).values
    array([[ 50.,  40.],
           [200., 160.]])
    """
    factors = np.asarray(factors, dtype=float)
    if factors.ndim != 1 or not factors.size or not (factors >= 0).all():
        raise InputError("a multiple of the demand is below zero", "give zero or more", "factors")
    if isinstance(demand, pd.Series):
        demand = xr.DataArray(demand.to_numpy(float), {"time": demand.index.to_numpy()}, ("time",))
    along = xr.DataArray(
        factors,
        {"demand_factor": ("demand_factor", factors, attributes("demand_factor"))},
        ("demand_factor",),
    )
    return (along * demand.reset_coords(drop=True)).assign_attrs(attributes("demand")).rename("demand")


def trade_off_map(inflow, demand, capacity, **settings) -> xr.Dataset:
    """Simulate every tank size with every roof or every demand, in one pass.

    Parameters
    ----------
    inflow : DataArray [L/day]
        Water at the tank inlet; (area, time) from `inflow_by_area` for a map over roofs.
    demand : DataArray [L/day]
        Water asked of the tank; (demand_factor, time) from `demand_by_factor` for a map over the demand.
    capacity : array_like [L]
        Usable tank sizes, rising.
    **settings
        As `rainharvest.simulate`.

    Returns
    -------
    Dataset
        The measures of `KEPT` on the further dimension and ``capacity``.

    Raises
    ------
    InputError
        As `rainharvest.sizing.trade_off.trade_off`; also if neither series has a further dimension.

    Examples
    --------
    >>> days = pd.date_range("2001-01-01", periods=4)
    >>> inflow = xr.DataArray([0.0, 300.0, 0.0, 0.0], {"time": days}, ("time",))
    >>> asked = demand_by_factor(pd.Series(100.0, days), [1, 2])
    >>> trade_off_map(inflow, asked, [100.0, 300.0]).volume_reliability.values
    array([[0.25 , 0.5  ],
           [0.125, 0.375]])
    """
    done = trade_off(inflow, demand, capacity, **settings)
    if done.volume_reliability.ndim < 2:
        raise InputError(
            "a map needs a second dimension beside the tank size",
            "give inflow_by_area(...) as inflow, or demand_by_factor(...) as demand",
            "inflow",
        )
    kept = done[[name for name in KEPT if name in done]]
    names = [d for d in done.volume_reliability.dims if d != "capacity"]
    return kept.transpose(..., *names, "capacity")
