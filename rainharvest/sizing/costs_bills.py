"""Water bills with and without the tank, where the tariff has blocks."""

from __future__ import annotations

import numpy as np
import pandas as pd
import xarray as xr

from rainharvest.errors import InputError
from rainharvest.names import attributes
from rainharvest.sizing.costs_prices import Costs, bill
from rainharvest.storage.simulate import simulate

PIECE = 64
"""Sizes traced together: one block of lanes, so that memory does not grow with the number of sizes."""


def drawn_by_period(inflow, demand, capacity, months: int, **settings) -> xr.DataArray:
    """Return the water drawn from each tank in each billing period.

    Parameters
    ----------
    inflow : DataArray [L/day]
        Water at the tank inlet, one record with dated days.
    demand : DataArray [L/day]
        Water asked of the tank.
    capacity : array_like [L]
        Usable sizes.
    months : int
        Months that a period covers, counted from January.
    **settings
        As `rainharvest.simulate`; levels that grow with the size as DataArrays on ``capacity``.

    Returns
    -------
    DataArray [L]
        ``drawn_in_period`` on (capacity, period), each period named by its first day; periods cut by an end of the
        record are left out.

    Raises
    ------
    InputError
        As `rainharvest.simulate`; also if no whole period is in the record.
    """
    first, edges = _periods(pd.DatetimeIndex(inflow["time"].values), months)
    sizes = np.atleast_1d(np.asarray(capacity, dtype=float))
    rows = []
    for begin in range(0, sizes.size, PIECE):
        part = slice(begin, begin + PIECE)
        along = xr.DataArray(sizes[part], {"capacity": sizes[part]}, ("capacity",))
        own = {
            k: v.isel(capacity=part) if isinstance(v, xr.DataArray) and "capacity" in v.dims else v
            for k, v in settings.items()
        }
        daily = simulate(inflow, demand, along, **own, trace=True).drawn_daily.transpose("capacity", "time")
        rows.append(_sums(daily.values, edges))
    return xr.DataArray(
        np.concatenate(rows),
        {"capacity": ("capacity", sizes, attributes("capacity")), "period": ("period", first)},
        ("capacity", "period"),
        name="drawn_in_period",
        attrs=attributes("drawn_in_period"),
    )


def saved_bills(costs: Costs, drawn: xr.DataArray, demand: xr.DataArray) -> xr.DataArray:
    """Return what the tank takes off the water bill in a mean year.

    For each billing period, the bill for all that the building uses less the bill for what the tank leaves;
    the tank so saves the dearest kilolitres first.

    Parameters
    ----------
    costs : Costs
        With the tariff.
    drawn : DataArray [L]
        As `drawn_by_period`.
    demand : DataArray [L/day]
        Water asked of the tank, on ``time``.

    Returns
    -------
    DataArray
        Currency a year, on ``capacity``.

    Raises
    ------
    InputError
        If the periods do not fit the tariff's.
    """
    time = pd.DatetimeIndex(demand["time"].values)
    first, edges = _periods(time, costs.billing_months)
    if not np.array_equal(first, drawn.period.values):
        raise InputError("the periods are not those of the bills", "sum over billing_months", "drawn")
    per_day = np.asarray(demand.transpose("time").values, dtype=float) + costs.other_use
    used = _sums(per_day, edges) / 1000
    left = np.maximum(used - drawn.transpose("capacity", "period").values / 1000, 0.0)
    saved = bill(costs.blocks, used) - bill(costs.blocks, left)
    a_year = saved.mean(axis=1) * 12 / costs.billing_months
    return xr.DataArray(
        a_year,
        {"capacity": drawn.capacity},
        ("capacity",),
        name="saved_bill",
        attrs=attributes("saved_bill") | {"units": costs.currency},
    )


def _periods(time: pd.DatetimeIndex, months: int) -> tuple[np.ndarray, np.ndarray]:
    """Return the first day of each whole billing period, and where each begins in the record, then its end."""
    starts = np.flatnonzero((time.day == 1) & ((time.month - 1) % months == 0))
    if starts.size and time[-1].is_month_end and time[-1].month % months == 0:
        starts = np.append(starts, time.size)
    if starts.size < 2:
        raise InputError(
            f"no whole billing period of {months} months in {time[0].date()} to {time[-1].date()}",
            "give a longer record, or shorter periods",
            "billing_months",
        )
    return time.values[starts[:-1]], starts


def _sums(values: np.ndarray, edges: np.ndarray) -> np.ndarray:
    """Return the sums between edges, along the last axis."""
    return np.add.reduceat(values[..., : edges[-1]], edges[:-1], axis=-1)
