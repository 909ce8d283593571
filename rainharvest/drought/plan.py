"""The rationing plan: for each month the gauge levels at which each stage begins, found from the record."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import xarray as xr

from rainharvest.core.compiled import compiling_notice
from rainharvest.core.errors import require
from rainharvest.core.quantities import along, variables
from rainharvest.drought.outlook import (
    AHEAD,
    STEPS,
    Flows,
    dry_chances,
    first_member,
    help_levels,
    lowest_sure,
)
from rainharvest.drought.tables import DEFAULTS, STAGE_SHARES
from rainharvest.storage.balance import BY_YEAR, DAILY, TOTALS, balance

RISKS = (0.0, 0.02, 0.05, 0.1, 0.15, 0.2, 0.3, 0.4, 0.5)  # [1] chance of running dry that a plan may take

WARM_UP = 365  # [day] left out of the measures: nobody knows what was stored before the record


def hydrological_year(flows: Flows, year_start_month: int) -> tuple[np.ndarray, np.ndarray]:
    """Return the month of each day of a record, counted from January 1970, and its hydrological year."""
    days = flows.first + np.arange(flows.demand.size)
    month = days.astype("datetime64[M]").astype(int)
    return month, 1970 + (month - (year_start_month - 1)) // 12


def run_under_plans(
    flows: Flows,
    capacity: float,
    levels: np.ndarray,
    shares,
    *,
    start: float = 0.0,
    theta: float = 0.0,
    year_start_month: int = 1,
) -> xr.Dataset:
    """Run the record month by month under several plans at once, the store handed on.

    ``levels`` [L] are on (plan, month, stage). Within a month it is the balance of `rainharvest.simulate`, bit
    for bit; a gauge read at the turn of the month is compared with the new month's levels.
    """
    levels, shares = np.asarray(levels, dtype=float), np.asarray(shares, dtype=float)
    require(
        levels.ndim == 3 and levels.shape[1:] == (12, shares.size) and levels.shape[0] > 0,
        f"levels of shape {levels.shape}",
        "give (plans, 12 months, stages)",
        "levels",
    )
    plans = levels.shape[0]
    water, demand, essential = (
        np.repeat(series[:, None], plans, axis=1)
        for series in (flows.inflow[0], flows.demand, flows.essential)
    )
    month, year = hydrological_year(flows, year_start_month)
    begins = np.append(np.flatnonzero(np.diff(month, prepend=month[0] - 1)), month.size)
    names, of_month = np.unique(year[begins[:-1]], return_inverse=True)
    measures = ("essential_failed", "failed_by_year", "rationed_by_year", "drawn_by_year")
    out = np.zeros((len(measures), names.size, plans))
    in_stage = np.zeros((shares.size, names.size, plans))
    tank = np.empty((2, plans))
    tank[0], tank[1] = capacity, start
    theta = np.full(plans, theta) if theta else None
    rule = np.repeat(shares[:, None], plans, axis=1)
    total, by_part = np.empty((len(TOTALS), plans)), np.empty((len(BY_YEAR), 1, plans))
    daily = np.zeros((len(DAILY), 31, plans))
    with compiling_notice("the daily balance"):
        for k, row in enumerate(of_month):
            part = slice(begins[k], begins[k + 1])
            days = part.stop - part.start
            trace = np.ascontiguousarray(daily[:, :days])
            level = np.ascontiguousarray(levels[:, month[part.start] % 12].T)
            flow = (water[part], demand[part], essential[part], None)
            balance(*flow, tank, theta, level, rule, None, np.array([0, days]), total, by_part, trace)
            stored, drawn, unmet, rationed = (
                trace[DAILY.index(name)] for name in ("stored", "drawn", "unmet", "rationed")
            )
            out[0, row] += (drawn < essential[part] * (1 - 1e-9)).sum(axis=0)
            out[1, row] += (unmet > 1e-9 * demand[part]).sum(axis=0)
            out[2, row] += rationed.sum(axis=0)
            out[3, row] += drawn.sum(axis=0)
            morning = np.concatenate([tank[1][None], stored[:-1]])
            below = (morning[None] < level[:, None]).sum(axis=1)
            below[:-1] -= below[1:]  # in a stage and not in the next
            in_stage[:, row] += below
            tank[1] = stored[-1]
    of_plans = out.transpose(0, 2, 1)
    found = variables(("plan", "year"), dict(zip(measures, of_plans, strict=True)))
    stage_days = in_stage.transpose(0, 2, 1)
    found |= variables(("stage", "plan", "year"), {"stage_days": stage_days})
    found |= variables("year", {"days_in_year": np.bincount(of_month, np.diff(begins))})
    return xr.Dataset(found, along(year=names, stage=np.arange(1, shares.size + 1)))


def plan_measures(done: xr.Dataset, flows: Flows, year_start_month: int, ordinary=None) -> dict:
    """Return what counts of each plan: failing years over all whole years, costs over the ordinary ones."""
    begun = np.array([np.datetime64(f"{y:04d}-{year_start_month:02d}-01", "D") for y in done.year.values])
    whole = (done.days_in_year >= 365).values & (begun >= flows.first + WARM_UP)
    enough = np.count_nonzero(whole) >= 3
    require(enough, "fewer than 3 whole years after the first", "give a longer record", "inflow")
    usual = whole if ordinary is None else whole & np.isin(done.year.values, list(ordinary))
    usual = usual if usual.any() else whole
    cut = done.rationed_by_year.values[:, usual].sum(axis=1)
    _, year = hydrological_year(flows, year_start_month)
    demand = flows.demand[np.isin(year, done.year.values[usual])].sum()
    return {
        "failing_years": (done.essential_failed.values[:, whole] > 0).mean(axis=1),
        "cut_share": cut / demand if demand > 0 else 0.0 * cut,
        "stage_days": done.stage_days.values[:, :, usual].mean(axis=2),
        "failed": done.failed_by_year.values[:, usual].mean(axis=1),
    }


@dataclass(frozen=True)
class PlansTried:
    """Every plan tried on a record, and what it did: what a plan is chosen from."""

    level: np.ndarray  # [1] On (plan, month, stage): shares of the tank; the first plan rations nothing
    help_level: np.ndarray  # [1] From January
    choices: tuple[tuple[int, float], ...]  # Days ahead and risk of each plan
    shares: tuple[float, ...]  # [1] Share of what can wait that each stage serves
    capacity: float  # [L] Usable tank size
    measures: dict[str, np.ndarray]  # As `plan_measures`


def try_plans(
    flows: Flows,
    capacity: float,
    *,
    shares: Sequence[float] = STAGE_SHARES,
    ordinary: Sequence[int] | None = None,
    help_days: int = DEFAULTS["help_days"].value,
    theta: float = 0.0,
    year_start_month: int = 1,
) -> PlansTried:
    """Run many plans through the record as a caretaker would keep them.

    A plan looks so many days ahead and takes so much risk: on the first of each month, and from each
    twentieth of the tank, every year of the record is run with what each stage serves. A stage begins below
    the lowest reading from which the use before it would have lasted that long in all but a share ``risk`` of
    the years. There are 7 lengths of time and 9 risks.
    """
    shares = tuple(float(s) for s in shares)
    falling = all(b < a for a, b in zip(shares, shares[1:], strict=False))
    falling = shares and falling and all(0 <= s < 1 for s in shares)
    require(falling, "the stages do not serve less and less", "give falling shares below 1", "shares")
    require(flows.essential.any(), "nothing is essential", "mark a use as essential", "essential")
    chance = dry_chances(flows, capacity, (1.0, *shares[:-1]), theta)
    help_level = help_levels(flows, capacity, shares[-1], help_days, theta)
    reading = np.arange(STEPS + 1) / STEPS
    choices = [(ahead, risk) for ahead in AHEAD for risk in RISKS]
    levels = [lowest_sure(chance[..., AHEAD.index(ahead)], risk, reading) for ahead, risk in choices]
    level = np.concatenate([np.zeros((1, 12, len(shares))), levels])
    done = run_under_plans(
        flows, capacity, level * capacity, shares, theta=theta, year_start_month=year_start_month
    )
    measures = plan_measures(done, flows, year_start_month, ordinary)
    return PlansTried(level, help_level, ((0, 0.0), *choices), shares, float(capacity), measures)


def choose_plan(
    tried: PlansTried, wanted: float = DEFAULTS["failing_years"].value, held_out: float = np.nan
) -> xr.Dataset:
    """Choose among plans the one that keeps what it must and turns away least in ordinary years.

    If none keeps what it must, the one under which the essential uses fail in fewest years. ``held_out`` is
    the share of years in which they fail on years that plans were not found from, where it is known.
    """
    require(0 <= wanted < 1, f"a share of {wanted:g} of the years", "give 0 or more, below 1", "wanted")
    measures = tried.measures
    failing, cut, failed = measures["failing_years"], measures["cut_share"], measures["failed"]
    allowed = np.flatnonzero(failing <= wanted + 1e-12)
    if allowed.size:
        best = int(allowed[np.lexsort([failing[allowed], cut[allowed]])[0]])
    else:
        best = int(np.lexsort([cut, failing])[0])
    ahead, risk = tried.choices[best]
    single = {
        "failing_years": failing[best],
        "failing_years_without": failing[0],
        "failing_years_elsewhere": held_out,
        "ordinary_cut": cut[best],
        "ordinary_failed": failed[best],
        "ordinary_failed_without": failed[0],
        "plan_ahead": ahead,
        "plan_risk": risk,
    }
    out = variables((), {name: float(value) for name, value in single.items()})
    out |= variables(("stage", "calendar_month"), {"stage_level": tried.level[best].T})
    out |= variables("calendar_month", {"help_level": tried.help_level})
    out |= variables("stage", {"stage_keeps": list(tried.shares)})
    days = variables("stage", {"stage_days": measures["stage_days"][:, best]})
    out["ordinary_stage_days"] = days["stage_days"]
    coords = along(stage=np.arange(1, len(tried.shares) + 1), calendar_month=np.arange(1, 13))
    return xr.Dataset(out, coords).assign_attrs(
        plan_capacity=tried.capacity,
        plan_wanted=float(wanted),
        plan_keeps=int(failing[best] <= wanted + 1e-12),
        essential_marked=1,
        combined=0,
    )


def find_plan(
    flows: Flows, capacity: float, *, wanted: float = DEFAULTS["failing_years"].value, **settings
) -> xr.Dataset:
    """Find the levels that keep the essential uses in all but a share of the years, at the least cost.

    Own method, built on position analysis (Hirsch 1978, from memory). The levels are found and measured on the
    same record: `held_out_failures` measures them on years that they were not found from.
    """
    return choose_plan(try_plans(flows, capacity, **settings), wanted)


def held_out_failures(flows: Flows, capacity: float, **settings) -> tuple[float, float]:
    """Find a plan on each half of a record and run the other half under it.

    Returns the share of years in which essential uses fail, under the plan and without (a split-sample test).
    """
    half = flows.demand.size // 2
    parts = [first_member(flows, slice(None, half)), first_member(flows, slice(half, None))]
    month, theta = settings.get("year_start_month", 1), settings.get("theta", 0.0)
    shares = []
    for known, held_out in (parts, parts[::-1]):
        plan = find_plan(known, capacity, **settings)
        level = plan.stage_level.values.T * capacity
        both = np.stack([np.zeros_like(level), level])
        done = run_under_plans(
            held_out, capacity, both, plan.stage_keeps.values, theta=theta, year_start_month=month
        )
        shares.append(plan_measures(done, held_out, month)["failing_years"])
    without, under = np.mean(shares, axis=0)
    return float(under), float(without)
