"""The whole record under rationing levels that change from month to month: a lane a plan."""

from __future__ import annotations

import numpy as np
import xarray as xr

from rainharvest.compiled import compiling_notice
from rainharvest.drought.lanes import DRAWN, STORED, UNMET
from rainharvest.drought.windows import Flows
from rainharvest.errors import InputError
from rainharvest.names import attributes
from rainharvest.storage.balance import BY_YEAR, DAILY, LANES, TOTALS, balance

RATIONED = DAILY.index("rationed")
MEASURES = ("essential_failed", "failed_by_year", "rationed_by_year", "drawn_by_year")


def walk(
    flows: Flows,
    capacity: float,
    levels: np.ndarray,
    shares,
    *,
    member: np.ndarray | None = None,
    start: float = 0.0,
    theta: float = 0.0,
    year_start_month: int = 1,
) -> xr.Dataset:
    """Run the record month by month, each with its own rationing levels, the store handed on.

    Parameters
    ----------
    flows : Flows
        The record.
    capacity : float [L]
        Usable tank size.
    levels : ndarray, shape (lanes, 12, stages) [L]
        Levels below which each stage holds, from January; at most 64 lanes.
    shares : sequence of float [1]
        Share of what can wait that each stage serves.
    member : ndarray of int, optional
        The filled version that each lane runs; the first by default.
    start : float [L]
        Stored on the first morning.
    theta : float [1]
        As in `rainharvest.simulate`.
    year_start_month : int [1]
        First month of the hydrological year.

    Returns
    -------
    Dataset
        On ``lane`` and ``year``: ``essential_failed`` [day], days on which not even what is essential was
        supplied; ``failed_by_year`` [day], ``rationed_by_year`` [L], ``drawn_by_year`` [L]; with ``stage``,
        from 1: ``stage_days`` [day]. On ``year``: ``days_in_year``.

    Raises
    ------
    InputError
        If there are more than 64 lanes, or the levels do not fit the months and stages.

    Notes
    -----
    Within a month it is the balance of `rainharvest.simulate`, bit for bit; a gauge read at the turn of the
    month is judged by the new month's levels.
    """
    levels = np.asarray(levels, dtype=float)
    shares = np.asarray(shares, dtype=float)
    if levels.ndim != 3 or levels.shape[1:] != (12, shares.size) or not 1 <= levels.shape[0] <= LANES:
        raise InputError(
            f"levels of shape {levels.shape}", f"give (1 to {LANES} lanes, 12 months, stages)", "levels"
        )
    lanes, length = levels.shape[0], flows.demand.size
    lane = np.minimum(np.arange(LANES), lanes - 1)
    member = np.zeros(lanes, dtype=int) if member is None else np.asarray(member)
    water = np.ascontiguousarray(flows.inflow[member[lane]].T)
    asked, kept = (np.repeat(s[:, None], LANES, axis=1) for s in (flows.demand, flows.essential))
    month = (flows.first + np.arange(length)).astype("datetime64[M]").astype(int)
    begins = np.append(np.flatnonzero(np.diff(month, prepend=month[0] - 1)), length)
    of_year = 1970 + month[begins[:-1]] // 12 - (month[begins[:-1]] % 12 + 1 < year_start_month)
    names, row = np.unique(of_year, return_inverse=True)
    out = np.zeros((len(MEASURES), names.size, LANES))
    in_stage = np.zeros((shares.size, names.size, LANES))
    days_in = np.bincount(row, np.diff(begins))
    tank = np.empty((3, LANES))
    tank[0], tank[1], tank[2] = capacity, theta, start
    rule = np.repeat(shares[:, None], LANES, axis=1)
    total, by_part = np.empty((len(TOTALS), LANES)), np.empty((len(BY_YEAR), 1, LANES))
    daily = np.zeros((len(DAILY), 31, LANES))
    with compiling_notice("the daily balance"):
        for k, year in enumerate(row):
            first, end = begins[k], begins[k + 1]
            days = end - first
            part = slice(first, end)
            trace = np.ascontiguousarray(daily[:, :days])
            level = np.ascontiguousarray(levels[lane, month[first] % 12].T)
            balance(
                water[part],
                asked[part],
                kept[part],
                None,
                tank,
                level,
                rule,
                None,
                np.array([0, days]),
                total,
                by_part,
                trace,
            )
            morning = np.concatenate([tank[2][None], trace[STORED, :-1]])
            least = kept[part] * (1 - 1e-9)
            out[0, year] += (trace[DRAWN] < least).sum(axis=0)
            out[1, year] += (trace[UNMET] > 1e-9 * asked[part]).sum(axis=0)
            out[2, year] += trace[RATIONED].sum(axis=0)
            out[3, year] += trace[DRAWN].sum(axis=0)
            below = (morning[None] < level[:, None]).sum(axis=1)
            below[:-1] -= below[1:]  # in a stage and not in the next
            in_stage[:, year] += below
            tank[2] = trace[STORED, -1]
    found = xr.Dataset(
        {n: (("lane", "year"), out[i, :, :lanes].T, attributes(n)) for i, n in enumerate(MEASURES)},
        coords={"year": ("year", names, attributes("year"))},
    )
    stage = ("stage", np.arange(1, shares.size + 1), attributes("stage"))
    found["stage_days"] = (
        ("stage", "lane", "year"),
        in_stage[:, :, :lanes].transpose(0, 2, 1),
        attributes("stage_days"),
    )
    found["days_in_year"] = ("year", days_in, attributes("days_in_year"))
    return found.assign_coords(stage=stage)
