"""The decision: every size simulated, the smallest that will do, and what the chosen one does day by day."""

from __future__ import annotations

import math
import os

import numpy as np
import xarray as xr

from rainharvest.names import attributes
from rainharvest.sizing.smallest import smallest_of_members, smallest_tank
from rainharvest.sizing.trade_off import sizes_to_try, trade_off
from rainharvest.storage.simulate import simulate
from rainharvest.study.file import Study
from rainharvest.study.flows import Flows, balance_settings, mains_supply
from rainharvest.study.record import StudyRecord

SURE = 0.9
"""Share of the filled versions in which the recommended tank reaches the target."""


def sized(study: Study, record: StudyRecord, flows: Flows) -> xr.Dataset:
    """Simulate every size and find the smallest that will do.

    The reliability on which the size is decided is that of the tank on rain alone where rain feeds it
    (mains water behind it would make every size look reliable), and that of the reserve through its
    interruptions where it does not.

    Parameters
    ----------
    study : Study
        The study; which tank is chosen does not matter here.
    record : StudyRecord
        Its rain.
    flows : Flows
        What enters the balance.

    Returns
    -------
    Dataset
        The measures of every size on (member, capacity), ``nominal`` on capacity; ``smallest`` on member;
        ``recommended``.
    """
    inflow, asked = flows.water.inflow, flows.asked.sum("use")
    share, own = study.tank.usable_share, study.arrangement.kind == "mains reserve"
    nominal = study.tank.sizes or tuple(sizes_to_try(asked) / share)
    sizes = xr.DataArray(np.array(nominal) * share, dims="capacity")
    sizes = sizes.assign_coords(capacity=sizes.values)
    shared = {"year_start_month": record.year_start_month, "threads": os.cpu_count() or 1}
    curve = trade_off(inflow, asked, sizes, **balance_settings(study, flows, sizes, mains=own), **shared)
    out = curve.assign_coords(nominal=("capacity", np.array(nominal), attributes("nominal")))
    out = out.drop_attrs(deep=False)
    found = _smallest_by_member(study, flows, own)
    out["smallest"] = ("member", found, attributes("smallest"))
    out["recommended"] = ((), _recommended(found), attributes("recommended"))
    return out


def decided(study: Study, record: StudyRecord, flows: Flows, tried: xr.Dataset) -> xr.Dataset:
    """Describe the tank that is chosen, and gather the results.

    Parameters
    ----------
    study : Study
        The study.
    record : StudyRecord
        Its rain.
    flows : Flows
        What enters the balance; losses, where they are told, are those of the first version.
    tried : Dataset
        As `sized`.

    Returns
    -------
    Dataset
        As `rainharvest.study.run.run_study`, but for the attributes that say which file it came from.
    """
    inflow, asked = flows.water.inflow, flows.asked.sum("use")
    month, own = record.year_start_month, study.arrangement.kind == "mains reserve"
    recommended = float(tried.recommended) / study.tank.usable_share
    largest = float(tried.nominal[-1])
    chosen = study.tank.chosen or (recommended if math.isfinite(recommended) else largest)
    usable = study.tank.usable(chosen)
    settings = balance_settings(study, flows, usable)
    described = simulate(inflow, asked, usable, **settings, year_start_month=month).isel(
        capacity=0, drop=True
    )
    daily = simulate(inflow.isel(member=0), asked, usable, **settings, trace=True).isel(capacity=0, drop=True)
    alone = simulate(
        inflow, asked, usable, **balance_settings(study, flows, usable, mains=own), year_start_month=month
    ).isel(capacity=0, drop=True)

    out = tried.copy()
    out["described"] = ((), usable, attributes("described"))
    out["described_nominal"] = ((), chosen, attributes("described_nominal"))
    for name, values in described.data_vars.items():
        out[f"described_{name}"] = values
    out["described_rain_reliability"] = alone[study.target.measure].assign_attrs(
        attributes("rain_reliability")
    )
    for name in daily.data_vars:
        if "time" in daily[name].dims:
            out[name] = daily[name]
    out["rain"] = record.filled.isel(member=0).reset_coords(drop=True)
    out = out.assign_coords(flag=("time", record.filled.flag.values, record.filled.flag.attrs))
    out["inflow"] = inflow.isel(member=0)
    out["demand"] = flows.asked
    if "lost" in flows.water:
        days = flows.water.sizes["time"]
        for name in ("lost", "rain_on_roof"):
            mean = flows.water[name].sum("time") / days
            out[f"mean_{name}"] = mean.assign_attrs(attributes(name))
    out.attrs = {
        "year_start_month": month,
        "measure": study.target.measure,
        "target": study.target.reliability,
        "arrangement": study.arrangement.kind,
        "mains": "none" if study.arrangement.kind == "rain only" else _mains(study, flows),
        "not_served": "; ".join(flows.not_served),
        "left_out": record.left_out,
        "reading": record.raw.attrs.get("assumptions", ""),
        "filling": record.filled.attrs.get("assumptions", ""),
        "years_estimated": record.filled.attrs.get("years_estimated", ""),
        "years_mostly_filled": record.filled.attrs.get("years_to_leave_out", ""),
        "days_missing": int(record.raw.isnull().sum()),
        "days_read": int(record.raw.sizes["time"]),
    }
    return out


def _mains(study: Study, flows: Flows) -> str:
    return mains_supply(study.arrangement, flows.asked.time).attrs["assumptions"]


def _smallest_by_member(study: Study, flows: Flows, own: bool) -> np.ndarray:
    """Return the smallest tank of each filled version; NaN where none reaches the target."""
    asked, inflow, target = flows.asked.sum("use"), flows.water.inflow, study.target
    sample = balance_settings(study, flows, 1.0, mains=own)
    # Levels and start grow with the tank.
    scaled = [k for k in ("start", "ration_level", "top_up_trigger", "top_up_level") if k in sample]
    given = {
        "measure": target.measure,
        "shares": {k: sample[k] for k in scaled},
        **{k: v for k, v in sample.items() if k not in scaled},
    }
    if own:  # no rain: every version is the same, and the size cannot matter beyond a year's demand
        largest = float(asked.groupby("time.year").sum().max())
        first = inflow.isel(member=0)
        size = smallest_tank(first, asked, target.reliability, largest=largest, **given).capacity
        return np.full(inflow.sizes["member"], size)
    threads = os.cpu_count() or 1
    found = smallest_of_members(inflow, asked, target.reliability, threads=threads, **given)
    return np.array([one.capacity for one in found])


def _recommended(found: np.ndarray) -> float:
    """Return the size that reaches the target in nine of ten versions; NaN if too many have none."""
    ordered = np.sort(np.where(np.isnan(found), np.inf, found))
    size = float(ordered[math.ceil(SURE * ordered.size) - 1])
    return size if math.isfinite(size) else math.nan
