"""A rationing plan judged on years that it was not found from."""

from __future__ import annotations

import numpy as np

from rainharvest.drought.judged import judged_lanes
from rainharvest.drought.plan import find_plan
from rainharvest.drought.walk import walk
from rainharvest.drought.windows import Flows


def judge_elsewhere(flows: Flows, capacity: float, **settings) -> tuple[float, float]:
    """Find a plan on each half of a record and judge it on the other.

    Parameters
    ----------
    flows : Flows
        The record.
    capacity : float [L]
        Usable tank size.
    **settings
        As `find_plan`.

    Returns
    -------
    tuple of float [1]
        Share of the years in which what is essential failed, under plans found from other years; the same
        without a plan.

    Raises
    ------
    InputError
        As `find_plan`; each half needs 3 whole years after its first.
    """
    half = flows.demand.size // 2
    parts = [
        Flows(flows.inflow[:1, s], flows.demand[s], flows.essential[s], flows.first + (s.start or 0))
        for s in (slice(None, half), slice(half, None))
    ]
    month = settings.get("year_start_month", 1)
    shares = []
    for found_on, judged_on in (parts, parts[::-1]):
        plan = find_plan(found_on, capacity, **settings)
        both = np.stack([np.zeros((12, len(plan.shares))), plan.level.values.T * capacity])
        done = walk(
            judged_on,
            capacity,
            both,
            plan.shares,
            theta=settings.get("theta", 0.0),
            year_start_month=month,
        )
        shares.append(judged_lanes(done, judged_on, month, None)["failing_years"])
    without, under = np.mean(shares, axis=0)
    return float(under), float(without)
