"""The three primitives of the loss chain: share, filling store, capped flow. Each loses no litre.

Everything between sky and tank is made of these three. Each hands back what passes and what does not, and
the two add up to what came in: for the filling store, together with the change of what it holds.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import xarray as xr
from numba import njit

from rainharvest.errors import InputError
from rainharvest.names import attributes

NEVER = 1e300
"""Stands for "no limit" or "never"; finite, so that no inf - inf can arise."""


class Passed(NamedTuple):
    """What passes a primitive and what it loses; the filling store also says what it holds."""

    out: xr.DataArray
    lost: xr.DataArray
    held: xr.DataArray | None = None


@njit(cache=True, nogil=True, error_model="numpy")
def fill_step(held, dry, inflow, capacity, drain, empty_after):
    """Fill and drain one store over one step: the only place where the rule is written down.

    1. A step without inflow is dry; ``dry`` counts the dry steps in a row. From the ``empty_after``-th
       on, the store is emptied; otherwise it drains by at most ``drain``. Either way this comes first.
    2. The store takes what still fits; the rest of the inflow passes.

    Gives the content at the end of the step, the dry steps so far, what passed, what drained.
    """
    dry = dry + 1.0 if inflow <= 0.0 else 0.0
    kept = max(held - drain, 0.0) if dry < empty_after else 0.0
    taken = min(inflow, max(capacity - kept, 0.0))
    return kept + taken, dry, inflow - taken, held - kept


@njit(cache=True, nogil=True, error_model="numpy")
def _fill_series(inflow, capacity, drain, empty_after, start, out, drained, held):
    """Run the store of each lane through all steps (rows) of the series."""
    steps, lanes = inflow.shape
    content = start.copy()
    dry = np.zeros(lanes)
    for t in range(steps):
        for i in range(lanes):
            content[i], dry[i], out[t, i], drained[t, i] = fill_step(
                content[i], dry[i], inflow[t, i], capacity[i], drain[i], empty_after[i]
            )
            held[t, i] = content[i]


def share(inflow: xr.DataArray, kept: float | xr.DataArray) -> Passed:
    """Pass a fixed share of the flow: out = kept x inflow.

    Parameters
    ----------
    inflow : DataArray [L/day]
        Water that arrives.
    kept : float or DataArray [1]
        Share that passes, from 0 to 1: a runoff coefficient, the efficiency of a filter.

    Returns
    -------
    Passed
        ``out`` and ``lost``, which add up to ``inflow``.

    Raises
    ------
    InputError
        If the share lies outside 0 to 1.

    Examples
    --------
    >>> flow = xr.DataArray([0.0, 10.0], dims="time")
    >>> passed = share(flow, 0.9)
    >>> passed.out.values, passed.lost.values
    (array([0., 9.]), array([0., 1.]))
    """
    _between(kept, 0.0, 1.0, "kept", "a share between 0 and 1")
    out = inflow * kept
    return Passed(_as(out, "flow_out"), _as(inflow - out, "lost"))


def cap_flow(inflow: xr.DataArray, flow_limit: float | xr.DataArray) -> Passed:
    """Pass what is below a limit of flow: out = min(inflow, flow_limit).

    Limits: the flow is taken as even within a step, so the step must be short beside the bursts of the
    rain (an hour or less). For daily rain use `rainharvest.catchment.intensity.share_below`.

    Parameters
    ----------
    inflow : DataArray [L/day]
        Water that arrives.
    flow_limit : float or DataArray [L/day]
        Most that passes.

    Returns
    -------
    Passed
        ``out`` and ``lost``, which add up to ``inflow``.

    Raises
    ------
    InputError
        If the limit is below zero.

    Examples
    --------
    >>> flow = xr.DataArray([0.0, 10.0], dims="time")
    >>> cap_flow(flow, 4.0).out.values
    array([0., 4.])
    """
    _between(flow_limit, 0.0, np.inf, "flow_limit", "a limit of zero or more")
    out = xr.apply_ufunc(np.minimum, inflow, flow_limit)
    return Passed(_as(out, "flow_out"), _as(inflow - out, "lost"))


def fill_store(
    inflow: xr.DataArray,
    capacity: float | xr.DataArray,
    drain: float | xr.DataArray = 0.0,
    empty_after: float | xr.DataArray | None = None,
    start: float | xr.DataArray = 0.0,
) -> Passed:
    """Pass what a space cannot hold; the space drains between events and is lost water.

    With w the content, C the capacity and b the drain, each step does
    w <- max(0, w - b); taken = min(in, C - w); out = in - taken; w <- w + taken,
    and from the ``empty_after``-th dry step in a row on the space is emptied.

    Parameters
    ----------
    inflow : DataArray [L/day]
        Water that arrives, one value a step.
    capacity : float or DataArray [L]
        The space.
    drain : float or DataArray [L/day]
        Most that leaves it in one step, by a bleed or by evaporation.
    empty_after : float or DataArray [day], optional
        Dry steps in a row after which it is empty whatever the drain; never if not given.
    start : float or DataArray [L]
        What it holds before the first step.

    Returns
    -------
    Passed
        ``out``; ``lost``, what drained; ``held``, the content at the end of each step. At each step
        inflow = out + lost + change of held.

    Raises
    ------
    InputError
        If the series has a gap, or a parameter is below zero.

    Examples
    --------
    >>> flow = xr.DataArray([5.0, 0.0, 5.0], dims="time")
    >>> passed = fill_store(flow, capacity=3.0, drain=1.0)
    >>> passed.out.values, passed.held.values
    (array([2., 0., 4.]), array([3., 2., 2.]))
    """
    if inflow.isnull().any():
        raise InputError("the series has gaps", "fill them first: rainharvest.fill_gaps", "inflow")
    parameters = {"capacity": capacity, "drain": drain, "empty_after": empty_after, "start": start}
    if empty_after is None:
        parameters["empty_after"] = NEVER
    for name, value in parameters.items():
        _between(value, 0.0, np.inf, name, "a value of zero or more")
    _between(xr.DataArray(capacity) - start, 0.0, np.inf, "start", "no more than the capacity")

    lanes = xr.broadcast(*(xr.DataArray(value) for value in parameters.values()))
    series, *_ = xr.broadcast(inflow, lanes[0])
    series = series.transpose("time", ...)
    rows = np.ascontiguousarray(series.values.reshape(series.sizes["time"], -1), dtype=float)
    first = series.isel(time=0, drop=True)
    columns = [
        np.ascontiguousarray(np.broadcast_to(_like(lane, first), first.shape).ravel()) for lane in lanes
    ]
    out, drained, held = (np.empty_like(rows) for _ in range(3))
    _fill_series(rows, *columns, out, drained, held)
    return Passed(
        *(
            _as(series.copy(data=values.reshape(series.shape)), name)
            for values, name in ((out, "flow_out"), (drained, "lost"), (held, "held"))
        )
    )


def _like(lane: xr.DataArray, first: xr.DataArray) -> np.ndarray:
    return lane.broadcast_like(first).transpose(*first.dims).values.astype(float)


def _as(array: xr.DataArray, name: str) -> xr.DataArray:
    array = array.rename(name)
    array.attrs = attributes(name)
    return array


def _between(value: object, low: float, high: float, place: str, remedy: str) -> None:
    values = np.asarray(value, dtype=float)
    if not ((values >= low) & (values <= high)).all():
        wrong = values[~((values >= low) & (values <= high))].flat[0]
        raise InputError(f"{wrong:g} is not possible", f"give {remedy}", place)
