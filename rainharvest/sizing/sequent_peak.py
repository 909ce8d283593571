"""Storage that never fails on the record, by the graphical methods of old, in numbers."""

from __future__ import annotations

import numpy as np

from rainharvest.errors import InputError


def storage_deficit(inflow, demand) -> np.ndarray:
    """Return the running deficit below a full store (mass curve, Rippl 1883).

    K is zero before the first step and then max(0, K + demand - inflow).

    Parameters
    ----------
    inflow : array_like [L/day]
        Water that comes in each step (any unit of volume a step, the same for both).
    demand : array_like [L/day]
        Water asked in each step; one number serves for all.

    Returns
    -------
    ndarray [L]
        The deficit after each step; its largest value is the storage that does not fail, if full at the
        start.

    Raises
    ------
    InputError
        If a value is missing or negative, or the lengths differ.

    Examples
    --------
    >>> storage_deficit([1, 3, 3], 3.5)
    array([2.5, 3. , 3.5])
    """
    inflow = np.asarray(inflow, dtype=float)
    try:
        demand = np.broadcast_to(np.asarray(demand, dtype=float), inflow.shape)
    except ValueError:
        raise InputError(
            f"demand and inflow ({inflow.size} steps) differ in length", "give as many", "demand"
        ) from None
    for name, values in (("inflow", inflow), ("demand", demand)):
        if not (values >= 0).all():
            raise InputError("a step is missing or negative", "give a volume for every step", name)
    change = np.cumsum(demand - inflow)
    return change - np.minimum(np.minimum.accumulate(change), 0.0)


def sequent_peak(inflow, demand) -> float:
    """Return the smallest storage that never fails when the record repeats (sequent peak).

    The deficit is run over two cycles of the record, so that a drought across its end is seen.

    Parameters
    ----------
    inflow : array_like [L/day]
        Water that comes in each step.
    demand : array_like [L/day]
        Water asked in each step.

    Returns
    -------
    float [L]
        The storage; infinite where more is asked than comes in.

    Raises
    ------
    InputError
        As `storage_deficit`.

    Notes
    -----
    Thomas and Burden 1963; Loucks and van Beek, Water Resource Systems Planning and Management.

    Examples
    --------
    >>> sequent_peak([1, 3, 3, 5, 8, 6, 7, 2, 1], 3.5)
    7.5
    """
    inflow = np.asarray(inflow, dtype=float)
    demand = np.broadcast_to(np.asarray(demand, dtype=float), inflow.shape)
    deficit = storage_deficit(np.tile(inflow, 2), np.tile(demand, 2))
    if demand.sum() > inflow.sum() * (1 + 1e-12):
        return float("inf")
    return float(deficit.max())
