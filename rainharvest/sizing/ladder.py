"""The smallest tank for each of several targets, and the one that never fails on the record."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import xarray as xr

from rainharvest.errors import InputError
from rainharvest.names import attributes
from rainharvest.sizing.sequent_peak import sequent_peak
from rainharvest.sizing.smallest import Measure, smallest_tank
from rainharvest.storage.simulate import simulate

TARGETS = (0.8, 0.9, 0.95, 0.99)
"""Reliabilities for which the smallest tank is told (own choice)."""


def sizes_for_targets(
    inflow,
    demand,
    targets: Sequence[float] = TARGETS,
    *,
    measure: Measure = "volume_reliability",
    largest: float | None = None,
    shares: dict[str, object] | None = None,
    **settings,
) -> xr.Dataset:
    """Find the smallest tank, to the litre, for each of several reliabilities.

    Parameters
    ----------
    inflow : array_like [L/day]
        Water at the tank inlet, one record.
    demand : array_like [L/day]
        Water asked of the tank.
    targets : sequence of float [1]
        Reliabilities to reach.
    measure, largest, shares, **settings
        As `rainharvest.sizing.smallest.smallest_tank`.

    Returns
    -------
    Dataset
        On ``target``: ``size_for_target`` (NaN where no size reaches it), ``reached`` and ``one_less``.

    Raises
    ------
    InputError
        As `rainharvest.sizing.smallest.smallest_tank`.

    Examples
    --------
    >>> sizes_for_targets([0, 3, 8, 0, 2, 0, 0], 2.0, [0.2, 0.5]).size_for_target.values
    array([3., 5.])
    """
    found = [
        smallest_tank(inflow, demand, t, measure=measure, largest=largest, shares=shares, **settings)
        for t in targets
    ]
    rows = {
        "size_for_target": [one.capacity for one in found],
        "reached": [one.reached for one in found],
        "one_less": [one.one_less for one in found],
    }
    return xr.Dataset(
        {name: ("target", np.array(values), attributes(name)) for name, values in rows.items()},
        {"target": ("target", np.array(targets, dtype=float), attributes("target"))},
        {"measure": measure},
    )


@dataclass(frozen=True)
class NoFailure:
    """The tank that never fails on the record, found twice.

    Parameters
    ----------
    capacity : float [L]
        Smallest usable size in whole litres without a failed day; NaN where more is asked than comes in.
    peak : float
        What the two-cycle sequent peak says, in litres; infinite where more is asked than comes in.
    failed : float [day]
        Failed days of that size in the simulation of two cycles, full at the start: 0 confirms it.
    one_less_failed : float [day]
        Failed days of a tank one litre smaller: above 0 confirms that it is the smallest. NaN at size zero.
    """

    capacity: float
    peak: float
    failed: float
    one_less_failed: float

    @property
    def confirmed(self) -> bool:
        """Whether simulation and sequent peak agree to the litre."""
        return self.failed == 0 and not self.one_less_failed == 0


def no_failure(inflow, demand, *, theta: float = 0.0) -> NoFailure:
    """Find the smallest tank without a failed day when the record repeats, and confirm it by simulation.

    The size is the two-cycle sequent peak, rounded up to a litre; it is then simulated through two cycles
    of the record from a full start, beside one litre less.

    Parameters
    ----------
    inflow : array_like [L/day]
        Water at the tank inlet, one record.
    demand : array_like or float [L/day]
        Water asked of the tank.
    theta : float [1]
        Operating parameter of the balance; 0 (yield after spillage) by default.

    Returns
    -------
    NoFailure
        What both say.

    Raises
    ------
    InputError
        As `rainharvest.sizing.sequent_peak.sequent_peak`; also if the record has further dimensions.

    Notes
    -----
    "No failure in the record" is no promise: a longer record holds a worse drought.

    Examples
    --------
    >>> answer = no_failure([1, 3, 3, 5, 8, 6, 7, 2, 1], 3.5, theta=1.0)
    >>> answer.capacity, answer.peak, answer.failed, answer.one_less_failed, answer.confirmed
    (8.0, 7.5, 0.0, 1.0, True)
    """
    came = np.asarray(inflow, dtype=float)
    if came.ndim != 1:
        raise InputError("the record has further dimensions", "give one member at a time", "inflow")
    asked = np.broadcast_to(np.asarray(demand, dtype=float), came.shape)
    peak = sequent_peak(came, asked, theta)
    if math.isinf(peak):
        return NoFailure(math.nan, peak, math.nan, math.nan)
    # Rounding in sums of a hundred thousand days must not add a litre.
    size = float(math.ceil(peak - 1e-9 * max(peak, 1.0)))
    sizes = xr.DataArray(np.unique([max(size - 1, 0.0), size]), dims="capacity")
    done = simulate(np.tile(came, 2), np.tile(asked, 2), sizes, start=sizes, theta=theta).days_failed.values
    return NoFailure(size, peak, float(done[-1]), float(done[0]) if size > 0 else math.nan)
