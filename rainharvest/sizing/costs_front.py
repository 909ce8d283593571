"""Cost against reliability: which choices nothing else betters; and what a tank is worth beside money."""

from __future__ import annotations

import numpy as np
import xarray as xr

from rainharvest.errors import InputError
from rainharvest.names import attributes
from rainharvest.storage.reserve import ride_out
from rainharvest.storage.settings import as_series, common_time

SPELLS = (1.0, 2.0, 3.0, 5.0, 7.0, 14.0)
"""Interruptions of the mains looked at, in days."""


def efficient(cost, worth) -> np.ndarray:
    """Return which choices are on the efficient front: nothing is at least as good and costs less.

    A choice is off the front if another costs no more and is worth no less, one of the two strictly.

    Parameters
    ----------
    cost : array_like
        What each choice costs.
    worth : array_like
        What it is worth, for example its reliability.

    Returns
    -------
    ndarray of bool
        One a choice; equal choices are all on it.

    Raises
    ------
    InputError
        If the two differ in length or a value is missing.

    Examples
    --------
    >>> efficient([10, 20, 25, 30], [0.5, 0.8, 0.7, 0.9])
    array([ True,  True, False,  True])
    """
    cost, worth = np.asarray(cost, dtype=float), np.asarray(worth, dtype=float)
    if cost.shape != worth.shape or cost.ndim != 1:
        raise InputError("costs and worths differ in length", "give one of each for every choice", "worth")
    if np.isnan(cost).any() or np.isnan(worth).any():
        raise InputError("a value is missing", "give a cost and a worth for every choice", "cost")
    order = np.lexsort((-worth, cost))
    sorted_cost, sorted_worth = cost[order], worth[order]
    best = np.maximum.accumulate(sorted_worth)
    # Of those that cost strictly less, the best; and of those that cost the same, the best.
    first = np.searchsorted(sorted_cost, sorted_cost, side="left")
    before = np.where(first > 0, best[np.maximum(first - 1, 0)], -np.inf)
    on = (sorted_worth > before) & (sorted_worth == sorted_worth[first])
    out = np.empty(cost.size, dtype=bool)
    out[order] = on
    return out


def full_days(demand, capacity) -> xr.DataArray:
    """Return how long a full tank lasts from the worst morning, without rain or mains.

    Parameters
    ----------
    demand : array_like [L/day]
        Water asked of the tank.
    capacity : array_like [L]
        Usable sizes.

    Returns
    -------
    DataArray [day]
        On ``capacity``; infinite where no morning of the record sees the tank emptied.

    Raises
    ------
    InputError
        As `rainharvest.storage.reserve.ride_out`.

    Examples
    --------
    >>> full_days([100.0, 300.0, 100.0, 100.0], [400.0]).values
    array([2.])
    """
    lasts = ride_out(demand, capacity).min("time")
    return lasts.rename("full_days").assign_attrs(attributes("full_days"))


def water_in_hand(stored, demand, spells=SPELLS) -> xr.DataArray:
    """Return on what share of mornings the store alone lasts through an interruption.

    The morning's store is that of the evening before; it lasts x days if the demand of the next x days is no
    more than it holds.

    Parameters
    ----------
    stored : array_like [L]
        Stored at the end of each day.
    demand : array_like [L/day]
        Water asked on each day.
    spells : sequence of float [day]
        Lengths of the interruption, whole days.

    Returns
    -------
    DataArray [1]
        ``in_hand`` on ``ride_out``.

    Raises
    ------
    InputError
        If a length is not a whole number of days from one up, or no morning sees the whole of it.

    Examples
    --------
    >>> water_in_hand([250.0, 150.0, 50.0, 250.0, 250.0], 100.0, spells=[1, 2]).values.round(4)
    array([0.75  , 0.3333])
    """
    time = common_time(stored=stored, demand=demand)
    held = as_series("stored", stored, time).values
    sums = np.concatenate([[0.0], np.cumsum(as_series("demand", demand, time).values)])
    shares = []
    for days in spells:
        if days != int(days) or not 1 <= days < held.size:
            raise InputError(
                f"an interruption of {days:g} days", "give whole days, fewer than the record has", "spells"
            )
        n = int(days)
        ahead = sums[1 + n :] - sums[1 : held.size + 1 - n]
        shares.append(float((ahead <= held[: held.size - n] * (1 + 1e-12)).mean()))
    return xr.DataArray(
        shares,
        {"ride_out": ("ride_out", np.asarray(spells, dtype=float), attributes("ride_out"))},
        ("ride_out",),
        name="in_hand",
        attrs=attributes("in_hand"),
    )
