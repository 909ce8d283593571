"""What enters the balance of a study: inflow, demand, and the settings that its arrangement stands for."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import xarray as xr

from rainharvest.catchment.collect import collect
from rainharvest.demand.evapotranspiration import from_monthly_table
from rainharvest.demand.fit_for_use import may_serve
from rainharvest.demand.garden import garden_demand, with_garden
from rainharvest.demand.join import join_uses
from rainharvest.demand.mains import mains_by_rule, mains_by_week, mains_in_spells
from rainharvest.demand.pool import pool_demand
from rainharvest.demand.uses import daily_demand, essential_demand
from rainharvest.errors import InputError
from rainharvest.names import attributes
from rainharvest.storage.arrangements import arrangement_settings
from rainharvest.study.file import Study
from rainharvest.study.file_supply import Arrangement
from rainharvest.study.record import StudyRecord


@dataclass(frozen=True)
class Flows:
    """What enters the balance.

    Parameters
    ----------
    water : Dataset
        What `rainharvest.catchment.collect` returns; its ``inflow`` is zero for a mains reserve.
    asked : DataArray [L/day]
        (use, time): what the tank is asked for.
    not_served : tuple of str
        Uses that need drinking quality and that rain alone may not serve.
    """

    water: xr.Dataset
    asked: xr.DataArray
    not_served: tuple[str, ...]


def study_water(study: Study, record: StudyRecord) -> xr.Dataset:
    """Return the water at the tank inlet and what was lost, over the study's record.

    Parameters
    ----------
    study : Study
        The study.
    record : StudyRecord
        Its rain.

    Returns
    -------
    Dataset
        As `rainharvest.catchment.collect.collect`; nothing flows where the arrangement takes no rain.
    """
    if study.arrangement.kind == "mains reserve":
        nothing = xr.zeros_like(record.filled).assign_attrs(record.filled.attrs | attributes("inflow"))
        return nothing.reset_coords(drop=True).to_dataset(name="inflow")
    given = study.losses.model_dump(exclude={"intensity"}, exclude_none=True)
    return collect(record.filled, study.roof, study.conveyance, **given, intensity=study.losses.intensity)


def study_demand(study: Study, record: StudyRecord) -> tuple[xr.DataArray, tuple[str, ...]]:
    """Return what the tank is asked for: the uses that the arrangement may serve, gardens and pools.

    Parameters
    ----------
    study : Study
        The study.
    record : StudyRecord
        Its rain. Gardens and pools follow the first filled version, so that all versions are asked alike.

    Returns
    -------
    tuple of DataArray [L/day] and tuple of str
        (use, time); the uses that need drinking quality and that rain alone may not serve.

    Raises
    ------
    InputError
        If the arrangement may serve none of the uses.
    """
    uses, not_served = study.use, ()
    if study.arrangement.kind == "rain only":
        uses = tuple(use for use in study.use if may_serve("rain only", use.quality))
        not_served = tuple(use.name for use in study.use if use not in uses)
        if not (uses or study.garden or study.pool):
            raise InputError(
                "every use needs drinking quality, which rain alone may not serve",
                'set kind = "combined" (with treatment), or add a use such as flush toilets',
                "arrangement.kind",
            )
    asked = daily_demand(uses, study.calendar, record.filled) if uses else _nothing(record)
    if study.weather is not None:
        rain = record.filled.isel(member=0, drop=True)
        thirst = from_monthly_table(study.weather.evapotranspiration, rain)
        gardens = [garden_demand(garden, rain, thirst) for garden in study.garden]
        pools = [pool_demand(pool, rain, thirst) for pool in study.pool]
        for garden in gardens:
            asked = with_garden(asked, garden)
        for pool in pools:
            asked = join_uses(asked, pool)
    return asked, not_served


def _nothing(record: StudyRecord) -> xr.DataArray:
    """Return a demand without any use, for gardens and pools to join."""
    of_use = {"essential": bool, "quality": str, "kind": str}
    coords = {name: ("use", np.empty(0, dtype=kind)) for name, kind in of_use.items()}
    days = record.filled.indexes["time"]
    coords |= {"use": np.empty(0, dtype=str), "time": days}
    return xr.DataArray(np.empty((0, days.size)), coords, ("use", "time"))


def mains_supply(plan: Arrangement, time) -> xr.DataArray:
    """Return when the mains supply: by the days without, the hours of the week and the random spells together.

    Parameters
    ----------
    plan : Arrangement
        The study's ``[arrangement]``.
    time : DatetimeIndex, pandas Series or DataArray
        The days.

    Returns
    -------
    DataArray [1]
        ``mains_on``, share of each day; what the interruptions are stands in its attribute ``assumptions``.

    Examples
    --------
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
    """Return the settings of the balance that the study's arrangement stands for.

    Parameters
    ----------
    study : Study
        The study.
    flows : Flows
        What enters the balance.
    usable : float or DataArray [L]
        Usable tank size, of which levels are shares.
    mains : bool
        False for the tank on rain alone, whatever backs it up.

    Returns
    -------
    dict
        Keyword arguments of `rainharvest.simulate`.
    """
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
