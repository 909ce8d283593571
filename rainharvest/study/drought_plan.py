"""A study's dry years, and its rationing plan, whose cost is told for the years that are not dry."""

from __future__ import annotations

import numpy as np
import xarray as xr

from rainharvest.drought.dry_years import driest_runs, dry_years
from rainharvest.drought.plan import Plan, find_plan, judge_elsewhere
from rainharvest.names import attributes
from rainharvest.study.drought_basis import Basis, simulated


def years_of(basis: Basis, dry_share: float | None = None, month: int | None = None) -> xr.Dataset:
    """Return the dry years three ways and the driest runs of years.

    Parameters
    ----------
    basis : Basis
        The study.
    dry_share : float [1], optional
        Share of the years that are called dry.
    month : int [1], optional
        First month of the hydrological year; the study's own if not given.

    Returns
    -------
    Dataset
        As `rainharvest.drought.dry_years.dry_years` and, on ``span``, `driest_runs`.

    Raises
    ------
    InputError
        If the record is too short.
    """
    done = simulated(basis, trace=True)
    more = {} if dry_share is None else {"dry_share": dry_share}
    found = dry_years(basis.rain, done.unmet_daily, year_start_month=month or basis.month, **more)
    runs = driest_runs(found.year_rain)
    return found.merge(runs, combine_attrs="override")


def plan_found(basis: Basis, wanted: float | None = None, capacity: float | None = None) -> Plan:
    """Return the rationing plan of a study.

    Parameters
    ----------
    basis : Basis
        The study.
    wanted : float [1], optional
        Share of the years in which essential uses may fail; the study's if not given.
    capacity : float [L], optional
        Usable tank size; the study's if not given.

    Returns
    -------
    Plan

    Raises
    ------
    InputError
        If the record is too short.
    """
    return find_plan(basis.flows, basis.capacity if capacity is None else capacity, **_asked(basis, wanted))


def _asked(basis: Basis, wanted: float | None = None) -> dict[str, object]:
    return {
        "wanted": basis.asks.may_fail if wanted is None else wanted,
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
    years = years_of(basis)
    ordinary = years.year.values[~years.dry_by_rain.values]
    asked = _asked(basis)
    plan = find_plan(basis.flows, basis.capacity, ordinary=ordinary.tolist(), **asked)
    elsewhere, _ = judge_elsewhere(basis.flows, basis.capacity, **asked)
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
