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
    inflow, demand = _steps(inflow, demand)
    change = np.cumsum(demand - inflow)
    return change - np.minimum(np.minimum.accumulate(change), 0.0)


def sequent_peak(inflow, demand, theta: float = 1.0) -> float:
    """Return the smallest storage that never fails when the record repeats (sequent peak).

    The deficit is run over two cycles of the record, so that a drought across its end is seen. The method
    of the books lets a step's inflow serve its own demand (``theta`` 1). A tank that draws before the rain
    is in needs more: with K the deficit on the evening before, d the demand and q the inflow of the step,

        storage = largest of (K + d - theta q) and of ((1 - theta) d),
        K becomes max(0, K + theta d - q) + (1 - theta) d,

    which is the method of the books at theta = 1.

    Parameters
    ----------
    inflow : array_like [L/day]
        Water that comes in each step.
    demand : array_like [L/day]
        Water asked in each step.
    theta : float [1]
        Operating parameter of the balance: 0 yield after spillage, 1 yield before spillage.

    Returns
    -------
    float [L]
        The storage; infinite where more is asked than comes in.

    Raises
    ------
    InputError
        As `storage_deficit`; also if ``theta`` is not between 0 and 1.

    Notes
    -----
    Thomas and Burden 1963; Loucks and van Beek, Water Resource Systems Planning and Management. The form
    with theta is ours, derived from the balance.

    Examples
    --------
    >>> flow = [1, 3, 3, 5, 8, 6, 7, 2, 1]
    >>> sequent_peak(flow, 3.5), sequent_peak(flow, 3.5, theta=0.0)
    (7.5, 14.5)
    """
    if not 0 <= theta <= 1:
        raise InputError(f"{theta!r} is out of range", "give theta from 0 to 1", "theta")
    inflow, demand = _steps(inflow, demand)
    if demand.sum() > inflow.sum() * (1 + 1e-12):
        return float("inf")
    inflow, demand = np.tile(inflow, 2), np.tile(demand, 2)
    late = (1.0 - theta) * demand  # the part drawn after the step's inflow was in, and so not made good by it
    before = np.concatenate(([0.0], late[:-1]))
    change = np.cumsum(theta * demand + before - inflow)
    evening = change - np.minimum(np.minimum.accumulate(change), 0.0) + late
    needed = np.concatenate(([0.0], evening[:-1])) + demand - theta * inflow
    return float(max(needed.max(), late.max(), 0.0))


def _steps(inflow, demand) -> tuple[np.ndarray, np.ndarray]:
    """Return inflow and demand as checked arrays of one length."""
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
    return inflow, demand
