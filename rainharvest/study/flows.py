"""What enters the balance of a study: inflow, demand, and the settings that its arrangement stands for."""

from __future__ import annotations

from dataclasses import dataclass

import xarray as xr

from rainharvest.catchment.collect import collect
from rainharvest.demand.fit_for_use import may_serve
from rainharvest.demand.mains import mains_by_rule
from rainharvest.demand.uses import daily_demand, essential_demand
from rainharvest.errors import InputError
from rainharvest.names import attributes
from rainharvest.storage.arrangements import arrangement_settings
from rainharvest.study.file import Study
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


def study_flows(study: Study, record: StudyRecord, water: xr.Dataset) -> Flows:
    """Return what enters the balance, with the uses that the arrangement may serve.

    Parameters
    ----------
    study : Study
        The study.
    record : StudyRecord
        Its rain.
    water : Dataset
        What reaches the tank.

    Returns
    -------
    Flows
        Inflow and demand.

    Raises
    ------
    InputError
        If the arrangement may serve none of the uses.
    """
    uses, not_served = study.use, ()
    if study.arrangement.kind == "rain only":
        uses = tuple(use for use in study.use if may_serve("rain only", use.quality))
        not_served = tuple(use.name for use in study.use if use not in uses)
        if not uses:
            raise InputError(
                "every use needs drinking quality, which rain alone may not serve",
                'set kind = "combined" (with treatment), or add a use such as flush toilets',
                "arrangement.kind",
            )
    return Flows(water, daily_demand(uses, study.calendar, record.filled), not_served)


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
        mains_on=mains_by_rule(flows.asked.time, plan.mains_off),
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
