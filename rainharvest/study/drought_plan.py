"""A study's dry years, and its rationing plan, whose cost is told for the years that are not dry."""

from __future__ import annotations

import numpy as np
import xarray as xr

from rainharvest.drought.defaults import DRY_SHARE
from rainharvest.drought.dry_years import driest_runs, dry_years
from rainharvest.drought.elsewhere import judge_elsewhere
from rainharvest.drought.plan import Plan, Tried, choose_plan, try_plans
from rainharvest.names import attributes
from rainharvest.rainfall.versions import version_totals
from rainharvest.study.drought_basis import Basis, simulated


def years_of(
    basis: Basis,
    *,
    capacity: float | None = None,
    month: int | None = None,
    dry_share: float = DRY_SHARE.value,
    index: xr.DataArray | None = None,
) -> xr.Dataset:
    """Return the dry years three ways.

    Parameters
    ----------
    basis : Basis
        The study.
    capacity : float [L], optional
        Usable tank size; the study's if not given.
    month : int [1], optional
        First month of the hydrological year; the study's own if not given.
    dry_share : float [1]
        Share of the years that are called dry.
    index : DataArray [1], optional
        What `rainharvest.drought.dry_years.monthly_index` gave for the study's rain, to spare it.

    Returns
    -------
    Dataset
        As `rainharvest.drought.dry_years.dry_years`.

    Raises
    ------
    InputError
        If the record is too short.
    """
    size = basis.capacity if capacity is None else capacity
    done = simulated(basis, capacity=[size], settled=True, trace=True).isel(capacity=0, drop=True)
    return dry_years(
        basis.rain,
        done.unmet_daily,
        year_start_month=month or basis.month,
        dry_share=dry_share,
        index=index,
    )


def years_and_runs(basis: Basis) -> xr.Dataset:
    """Return the dry years three ways, and the driest years on end with how rare they are.

    Parameters
    ----------
    basis : Basis
        The study.

    Returns
    -------
    Dataset
        As `years_of` and, on ``span``, `rainharvest.drought.dry_years.driest_runs`.

    Raises
    ------
    InputError
        If the record is too short.
    """
    found = years_of(basis)
    return found.merge(driest_runs(found.year_rain), combine_attrs="override")


def plans_of(basis: Basis, capacity: float | None = None) -> Tried:
    """Return every rationing plan tried on a study; ordinary years are those that are not dry by rain.

    Parameters
    ----------
    basis : Basis
        The study.
    capacity : float [L], optional
        Usable tank size; the study's if not given.

    Returns
    -------
    Tried

    Raises
    ------
    InputError
        If the record is too short.
    """
    total = version_totals(basis.record.filled.isel(member=[0]), basis.month).isel(member=0).dropna("year")
    dry = total.sortby(total).year.values[: max(round(DRY_SHARE.value * total.sizes["year"]), 1)]
    ordinary = [int(y) for y in total.year.values if y not in dry]
    size = basis.capacity if capacity is None else capacity
    return try_plans(basis.flows, size, ordinary=ordinary, **_settings(basis))


def _settings(basis: Basis) -> dict[str, object]:
    return {
        "shares": basis.asks.stage_shares,
        "help_days": basis.asks.help_days,
        "theta": basis.theta,
        "year_start_month": basis.month,
    }


def plan_of(basis: Basis) -> xr.Dataset:
    """Return the rationing plan as variables, with how it fares on years that it was not found from.

    Parameters
    ----------
    basis : Basis
        The study.

    Returns
    -------
    Dataset
        ``stage_level`` on (stage, calendar_month), ``help_level`` on calendar_month, ``stage_keeps`` and
        ``ordinary_stage_days`` on ``stage``; ``failing_years``, ``failing_years_without``,
        ``failing_years_elsewhere``, ``ordinary_cut``, ``ordinary_failed``, ``ordinary_failed_without``.
        Ordinary years are those that are not dry by rain.

    Raises
    ------
    InputError
        If the record is too short.
    """
    plan = choose_plan(plans_of(basis), basis.asks.may_fail)
    elsewhere, _ = judge_elsewhere(
        basis.flows, basis.capacity, wanted=basis.asks.may_fail, **_settings(basis)
    )
    return plan_dataset(plan, elsewhere)


def plan_dataset(plan: Plan, elsewhere: float = np.nan) -> xr.Dataset:
    """Return a plan as variables.

    Parameters
    ----------
    plan : Plan
        As `rainharvest.drought.plan.find_plan`.
    elsewhere : float [1]
        Share of failing years on years that it was not found from.

    Returns
    -------
    Dataset
        As `plan_of`.
    """
    single = {
        "failing_years": plan.failing_years,
        "failing_years_without": plan.failing_years_without,
        "failing_years_elsewhere": elsewhere,
        "ordinary_cut": plan.ordinary_cut,
        "ordinary_failed": plan.ordinary_failed,
        "ordinary_failed_without": plan.ordinary_failed_without,
        "plan_ahead": plan.ahead,
        "plan_risk": plan.risk,
    }
    out = {name: ((), float(value), attributes(name)) for name, value in single.items()}
    out["stage_level"], out["help_level"] = plan.level, plan.help_level
    out["stage_keeps"] = ("stage", list(plan.shares), attributes("stage_keeps"))
    out["ordinary_stage_days"] = ("stage", list(plan.ordinary_days), attributes("stage_days"))
    return xr.Dataset(out).assign_attrs(
        plan_capacity=plan.capacity, plan_wanted=plan.wanted, plan_keeps=int(plan.keeps)
    )
