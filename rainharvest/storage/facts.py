"""What enters the balance of a study."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import xarray as xr

from rainharvest.demand.mains import mains_by_rule, mains_by_week, mains_in_spells
from rainharvest.demand.uses import essential_demand
from rainharvest.storage.arrangements import arrangement_settings
from rainharvest.storage.tables import Arrangement
from rainharvest.study.file import Study


@dataclass(frozen=True)
class Flows:
    """What enters the balance."""

    # What `rainharvest.catchment.collect` returns; its ``inflow`` is zero for a mains reserve
    water: xr.Dataset
    asked: xr.DataArray  # [L/day] (use, time): what the tank is asked for
    not_served: tuple[str, ...]  # Uses that need drinking quality and that rain alone may not serve


def mains_supply(plan: Arrangement, time) -> xr.DataArray:
    """Return when the mains supply: by the days without, the hours of the week and the random spells together.

    >>> import pandas as pd
    >>> plan = Arrangement(kind="combined", mains_off=["sun"], mains_hours={"fri": 6})
    >>> mains_supply(plan, pd.date_range("2024-03-01", periods=4)).values
    array([0.25, 1.  , 0.  , 1.  ])
    """
    parts = []
    if plan.mains_off or not (plan.mains_hours or plan.spells):
        parts.append(mains_by_rule(time, plan.mains_off))
    if plan.mains_hours:
        parts.append(mains_by_week(time, plan.mains_hours))
    if plan.spells:
        spells = plan.spells
        parts.append(mains_in_spells(time, spells.spell_length, spells.interruptions_a_year, spells.seed))
    on = parts[0]
    for part in parts[1:]:
        on = on * part
    return on.assign_attrs(parts[0].attrs | {"assumptions": "; ".join(p.attrs["assumptions"] for p in parts)})


def balance_settings(study: Study, flows: Flows, usable, mains: bool = True) -> dict[str, object]:
    """Return the settings of the balance that the study's arrangement stands for."""
    plan, tank = study.arrangement, study.tank
    out = arrangement_settings(
        plan.kind if mains else "rain only",
        usable,
        mains_on=mains_supply(plan, flows.asked.time),
        change_over=plan.change_over and mains,
        trigger_share=plan.top_up_trigger,
        level_share=plan.top_up_level,
        top_up_rate=plan.top_up_rate,
        start_share=tank.start_share,
    )
    out["theta"] = tank.theta
    if study.rationing:
        stages = xr.DataArray([stage.level for stage in study.rationing], dims="stage")
        out["ration_level"] = stages * usable
        out["ration_share"] = [stage.share for stage in study.rationing]
        out["essential"] = essential_demand(flows.asked)
    return out


def worst_two_years(done: xr.Dataset) -> xr.Dataset:
    """Return the daily balance of the two years around the largest shortfall."""
    daily = done[["stored", "unmet_daily"]]
    total = np.concatenate([[0.0], np.cumsum(daily.unmet_daily.values)])
    span = min(730, daily.sizes["time"])
    # From the many windows that hold the whole shortfall, the one in which it lies in the middle.
    short = total[span:] - total[:-span]
    best = np.flatnonzero(short >= short.max() - 1e-9)
    first = int(best[best.size // 2])
    return daily.isel(time=slice(first, first + span))
