"""The drought stage of a study: dry years, plan, outlook, and the basis that they share."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import xarray as xr

from rainharvest.core.errors import InputError
from rainharvest.core.quantities import attributes
from rainharvest.drought.basis import Basis, basis_of, longer_droughts, scenarios_tried, simulated
from rainharvest.drought.dry_years import (
    driest_runs,
    dry_years,
    failure_measures,
    longest_in_years,
    normal_year,
    spells_by_month,
    worst_drawdown,
)
from rainharvest.drought.outlook import (
    Windows,
    cut_windows,
    level_chances,
    outlook,
    reliability,
    score_record,
)
from rainharvest.drought.plan import Plan, Tried, choose_plan, judge_elsewhere, try_plans
from rainharvest.drought.tables import DRY_SHARE
from rainharvest.rainfall.climatology import dry_spells, period_totals
from rainharvest.rainfall.describe import version_totals
from rainharvest.study.stages import Worked


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
    """Return the dry years three ways, and the driest years on end with how rare they are."""
    found = years_of(basis)
    return found.merge(driest_runs(found.year_rain), combine_attrs="override")


def plans_of(basis: Basis, capacity: float | None = None) -> Tried:
    """Return every rationing plan tried on a study; ordinary years are those that are not dry by rain."""
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
    """Return a plan as variables."""
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


SCORED = (1, 4, 7, 10)

"""Months on whose first day the outlook is scored."""

LOOK = 365

"""Days that an outlook looks ahead."""

READINGS = 10

"""Gauge readings from which the chance of running dry is told."""

WITHIN = (60, 120, 365)

"""Times [day] within which it is told."""


def windows_from(basis: Basis, month: int, day: int) -> Windows:
    """Return every year of the study's record from a date on."""
    return cut_windows(basis.flows, month, day, LOOK)


def looked_ahead(basis: Basis, windows: Windows, start: float, cut: float = 0.0) -> xr.Dataset:
    """Return the outlook from a reading, with what the reader would cut and with each stage."""
    if not 0 <= cut <= 1:
        raise InputError(f"a cut of {cut:g}", "give a share from 0 to 1", "cut")
    found = outlook(windows, basis.capacity, start, {"yours": 1 - cut} | keeps_of(basis), theta=basis.theta)
    levels = np.linspace(basis.capacity / READINGS, basis.capacity, READINGS)
    chance = level_chances(windows, basis.capacity, levels, 1 - cut, ends=WITHIN, theta=basis.theta)
    found["level_chance"] = chance.rename(lead="within")
    return found.assign_attrs(cut=float(cut))


def outlook_of(basis: Basis) -> xr.Dataset:
    """Return the outlook from the first of the month in which the tank mostly stands highest."""
    stored = simulated(basis, trace=True).stored
    first = stored.time.dt.day == 1
    mornings = stored.shift(time=1).where(first, drop=True).isel(time=slice(12, None))
    if not mornings.sizes["time"]:
        raise InputError("the record ends within its first year", "give a longer record", "inflow")
    usual = mornings.groupby("time.month").median()
    month = int(usual.month[int(usual.values.argmax())])
    found = outlook(
        windows_from(basis, month, 1), basis.capacity, float(usual.max()), keeps_of(basis), theta=basis.theta
    )
    return found.assign_attrs(outlook_month=month, outlook_day=1)


def keeps_of(basis: Basis) -> dict[str, float]:
    """Return the plans of an outlook: nothing cut, then each stage kept from today on."""
    return {"all uses": 1.0} | {f"stage {k + 1}": share for k, share in enumerate(basis.asks.stage_shares)}


def honesty_of(basis: Basis, capacity: float | None = None) -> xr.Dataset:
    """Return how outlooks on this record would have fared, each year foretold from the others."""
    size = basis.capacity if capacity is None else capacity
    stored = simulated(basis, capacity=[size], trace=True).stored.isel(capacity=0).values
    scored = xr.concat(
        [score_record(basis.flows, size, m, 1, stored, theta=basis.theta) for m in SCORED],
        "date",
        join="outer",
        fill_value={"below_band": False, "above_band": False, "said_dry": np.nan, "went_dry": False},
    )
    known = scored.said_dry.notnull()
    said, went = (scored[n].values[known.values] for n in ("said_dry", "went_dry"))
    found = reliability(xr.DataArray(said), xr.DataArray(went))
    inside = ~(scored.below_band | scored.above_band)
    share = inside.where(known).mean(("date", "year"))
    found["band_share"] = ("score_lead", share.values, attributes("band_share"))
    return found.assign_coords(score_lead=("score_lead", scored.lead.values, attributes("lead")))


SIZES = (0.5, 1.0, 2.0)

"""Tanks drawn through the worst sequence, as multiples of the study's own."""


def drought_group(worked: Worked) -> xr.Dataset:
    """Return what a study's bad years are like and what to do in them."""
    try:
        basis = basis_of(worked.study, worked.record, worked.flows, float(worked.done.described))
    except InputError as error:
        return xr.Dataset(attrs={"left_out": str(error)})
    parts: list[xr.Dataset] = []
    left_out: list[str] = []
    for name, part in PARTS.items():
        try:
            parts.append(part(basis))
        except InputError as error:
            if error.place.startswith("drought."):
                raise
            left_out.append(f"{name} ({error.problem}; {error.remedy})")
    found = xr.merge(parts, join="outer", compat="override", combine_attrs="override")
    if "member" in found.coords:
        found.member.attrs = attributes("member")
    kept = {k: v for one in parts for k, v in one.attrs.items()}
    return found.assign_attrs(
        kept
        | {
            "title": "Drought",
            "essential": basis.kept,
            "tank": basis.capacity,
            "left_out": "; ".join(left_out),
        }
    )


def spells_of(basis: Basis, wet_day: float = 1.0) -> xr.Dataset:
    """Return the dry spells: the longest of each year, what to expect, when long ones begin."""
    spells = dry_spells(basis.rain, wet_day)
    begun = spells.spell_start.values.astype("datetime64[M]").astype(int) - (basis.month - 1)
    of_year = 1970 + begun // 12
    totals = period_totals(basis.rain, 12, basis.month)
    years = totals.time.dt.year.values[totals.known_share.values == 1]
    longest = np.array([max(spells.dry_spell.values[of_year == y], default=0) for y in years], dtype=float)
    found = longest_in_years(longest)
    long = max(float(np.median(longest)), 1.0)
    found["spells_by_month"] = spells_by_month(spells, basis.rain.sizes["time"] / 365.25, long)
    found["longest_dry_spell"] = ("spell_year", longest, attributes("longest_dry_spell"))
    return found.assign_coords(spell_year=("spell_year", years, attributes("year"))).assign_attrs(
        long_spell=long
    )


def failures_of(basis: Basis) -> xr.Dataset:
    """Return resilience and vulnerability of the tank, in every filled version.

    Parameters
    ----------
    basis : Basis
        The study.

    Returns
    -------
    Dataset
        As `rainharvest.drought.dry_years.failure_measures`, on ``member``.
    """
    done = simulated(basis, basis.inflow, trace=True)
    return failure_measures(done.unmet_daily.transpose("member", "time"), basis.asked)


def through_of(basis: Basis, sizes=SIZES, capacity: float | None = None) -> xr.Dataset:
    """Return the tank, and others beside it, through its worst sequence and through the normal year."""
    size = basis.capacity if capacity is None else capacity
    capacities = np.array([s * size for s in sizes])
    done = simulated(basis, capacity=capacities, settled=True, trace=True)
    found = [worst_drawdown(done.isel(capacity=k), basis.asked.values) for k in range(capacities.size)]
    own = found[int(np.argmin(abs(capacities - size)))]
    year = normal_year(version_totals(basis.record.filled.isel(member=[0]), basis.month).isel(member=0))
    part = slice(max(own.begins - 20, 0), own.ends + 21)
    begin = np.datetime64(f"{year:04d}-{basis.month:02d}-01")
    days = done.time.values
    usual = (days >= begin) & (days < begin + np.timedelta64(365, "D"))
    columns = {
        "drawdown_days": [d.ends - d.begins + 1 for d in found],
        "drawdown_short": [d.unsupplied for d in found],
        "drawdown_days_short": [d.days_short for d in found],
        "drawdown_first_short": [d.first_short for d in found],
        "drawdown_longest_short": [d.longest_short for d in found],
        "drawdown_recovery": [d.recovery for d in found],
    }
    out = {n: ("through_capacity", np.array(v, float), attributes(n)) for n, v in columns.items()}
    stored = done.stored.transpose("capacity", "time").values
    out["worst_stored"] = (("through_capacity", "worst_day"), stored[:, part], attributes("worst_stored"))
    out["normal_stored"] = (("through_capacity", "normal_day"), stored[:, usual], attributes("normal_stored"))
    out["worst_rain"] = ("worst_day", basis.rain.values[part], attributes("worst_rain"))
    coords = {
        "through_capacity": ("through_capacity", capacities, attributes("through_capacity")),
        "worst_day": ("worst_day", days[part], attributes("worst_day")),
        "normal_day": ("normal_day", days[usual], attributes("normal_day")),
    }
    return xr.Dataset(out, coords).assign_attrs(
        worst_from=str(days[own.begins])[:10],
        worst_to=str(days[own.ends])[:10],
        worst_is_whole=int(own.from_overflow and own.to_overflow),
        normal_year=year,
    )


PARTS: dict[str, Callable[[Basis], xr.Dataset]] = {
    "dry years": years_and_runs,
    "dry spells": spells_of,
    "failures": failures_of,
    "worst sequence": through_of,
    "gauge outlook": outlook_of,
    "honesty of the outlook": honesty_of,
    "rationing plan": plan_of,
    "scenarios": scenarios_tried,
    "longer droughts": longer_droughts,
}

"""What the group is made of, in order."""
