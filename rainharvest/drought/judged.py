"""What a plan did on the record that it was walked through."""

from __future__ import annotations

import numpy as np
import xarray as xr

from rainharvest.drought.windows import Flows
from rainharvest.errors import InputError

WARM_UP = 365  # [day] left out of the judgement: nobody knows what was stored before the record


def judged_lanes(done: xr.Dataset, flows: Flows, year_start_month: int, ordinary) -> dict[str, np.ndarray]:
    """Return what counts of each lane: failing years over all whole years, costs over the ordinary ones.

    Parameters
    ----------
    done : Dataset
        As `rainharvest.drought.walk.walk`.
    flows : Flows
        The record that was walked.
    year_start_month : int [1]
        First month of the hydrological year.
    ordinary : sequence of int, optional
        The years that count as ordinary; all whole ones if None.

    Returns
    -------
    dict of ndarray
        ``failing_years``, ``cut_share`` [1] and ``failed`` [day] a lane, ``stage_days`` [day] on (stage, lane).

    Raises
    ------
    InputError
        If fewer than 3 years are whole after the first.
    """
    whole = (done.days_in_year >= 365).values
    begun = np.array([np.datetime64(f"{y:04d}-{year_start_month:02d}-01", "D") for y in done.year.values])
    whole &= begun >= flows.first + WARM_UP
    if np.count_nonzero(whole) < 3:
        raise InputError("fewer than 3 whole years after the first", "give a longer record", "inflow")
    usual = whole if ordinary is None else whole & np.isin(done.year.values, list(ordinary))
    usual = usual if usual.any() else whole
    cut = done.rationed_by_year.values[:, usual].sum(axis=1)
    year = (flows.first + np.arange(flows.demand.size)).astype("datetime64[M]").astype(int)
    year = 1970 + year // 12 - (year % 12 + 1 < year_start_month)
    asked = flows.demand[np.isin(year, done.year.values[usual])].sum()
    return {
        "failing_years": (done.essential_failed.values[:, whole] > 0).mean(axis=1),
        "cut_share": cut / asked if asked > 0 else 0.0 * cut,
        "stage_days": done.stage_days.values[:, :, usual].mean(axis=2),
        "failed": done.failed_by_year.values[:, usual].mean(axis=1),
    }
