"""The drought stage of a study: its group of the results."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import xarray as xr

from rainharvest.drought.dry_years import driest_runs, dry_years
from rainharvest.drought.failures import failure_measures
from rainharvest.drought.honest import reliability, score_record
from rainharvest.drought.outlook import outlook
from rainharvest.drought.plan import Plan, find_plan, judge_elsewhere
from rainharvest.drought.spell_odds import longest_in_years, spells_by_month
from rainharvest.drought.through import normal_year, worst_drawdown
from rainharvest.drought.windows import Flows, cut_windows
from rainharvest.errors import InputError
from rainharvest.names import attributes
from rainharvest.rainfall.describe import describe_rain
from rainharvest.rainfall.spells import dry_spells
from rainharvest.study.drought_basis import Basis, basis_of, simulated
from rainharvest.study.drought_climates import longer_droughts, scenarios_tried
from rainharvest.study.run import Worked

SIZES = (0.5, 1.0, 2.0)
"""Tanks drawn through the worst sequence, as multiples of the study's own."""
SCORED = (1, 4, 7, 10)
"""Months on whose first day the outlook is scored."""
LOOK = 365  # [day]


def drought_group(worked: Worked) -> xr.Dataset:
    """Return what a study's bad years are like and what to do in them.

    Parameters
    ----------
    worked : Worked
        As `rainharvest.study.run.work_study`.

    Returns
    -------
    Dataset
        What `years_of`, `spells_of`, `failures_of`, `through_of`, `outlook_of`, `honesty_of`, `plan_of`,
        `scenarios_tried` and `longer_droughts` give. What could not be had is not there, and the attribute
        ``left_out`` says why; ``essential`` says what counts as such.

    Raises
    ------
    InputError
        If a scenario's factors do not fit the record.
    """
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
            left_out.append(f"{name}: {error}")
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


def spells_of(basis: Basis) -> xr.Dataset:
    """Return the dry spells: the longest of each year, what to expect, when long ones begin.

    Parameters
    ----------
    basis : Basis
        The study.

    Returns
    -------
    Dataset
        ``longest_dry_spell`` on ``spell_year``; on ``return_period`` as
        `rainharvest.drought.spell_odds.longest_in_years`; ``spells_by_month`` on ``calendar_month``, with the
        median of the yearly longest as what is long.

    Raises
    ------
    InputError
        If fewer than 10 years are whole.
    """
    described = describe_rain(basis.rain, year_start_month=basis.month)
    whole = described.known_share.values == 1
    longest = described.longest_dry_spell.isel(year=whole)
    found = longest_in_years(longest)
    long = max(float(np.nanmedian(longest)), 1.0)
    years = basis.rain.sizes["time"] / 365.25
    found["spells_by_month"] = spells_by_month(dry_spells(basis.rain), years, long)
    found["longest_dry_spell"] = (
        "spell_year",
        longest.values,
        attributes("longest_dry_spell"),
    )
    found = found.assign_coords(spell_year=("spell_year", longest.year.values, attributes("year")))
    return found.assign_attrs(long_spell=long)


def failures_of(basis: Basis) -> xr.Dataset:
    """Return resilience and vulnerability of the tank, in every filled version.

    Parameters
    ----------
    basis : Basis
        The study.

    Returns
    -------
    Dataset
        As `rainharvest.drought.failures.failure_measures`, on ``member``.
    """
    done = simulated(basis, basis.inflow, trace=True)
    return failure_measures(done.unmet_daily.transpose("member", "time"), basis.asked)


def through_of(basis: Basis, sizes=SIZES) -> xr.Dataset:
    """Return the tank, and others beside it, through its worst sequence and through the normal year.

    Parameters
    ----------
    basis : Basis
        The study.
    sizes : sequence of float [1]
        Multiples of the study's tank.

    Returns
    -------
    Dataset
        On ``through_capacity``: what `rainharvest.drought.through.worst_drawdown` measures for each size;
        with ``worst_day`` and ``normal_day``: ``worst_stored`` and ``normal_stored`` [L]; with ``worst_day``
        alone ``worst_rain`` [mm/day]. The days of the sequence are those of the study's own tank.

    Raises
    ------
    InputError
        If the tank overflows daily or no year is whole.
    """
    capacities = np.array([s * basis.capacity for s in sizes])
    done = simulated(basis, capacity=capacities, trace=True)
    found = [worst_drawdown(done.isel(capacity=k), basis.asked.values) for k in range(capacities.size)]
    own = found[int(np.argmin(abs(capacities - basis.capacity)))]
    year = normal_year(years_of(basis).year_rain)
    part = slice(max(own.begins - 20, 0), own.ends + 21)
    begin = np.datetime64(f"{year:04d}-{basis.month:02d}-01")
    days = done.time.values
    usual = (days >= begin) & (days < begin + np.timedelta64(365, "D"))
    columns = {
        "drawdown_days": [d.ends - d.begins + 1 for d in found],
        "drawdown_short": [d.shortfall for d in found],
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


def outlook_of(basis: Basis) -> xr.Dataset:
    """Return the outlook from the first of the month in which the tank mostly stands highest.

    Parameters
    ----------
    basis : Basis
        The study.

    Returns
    -------
    Dataset
        As `rainharvest.drought.outlook.outlook`, for a year; attributes ``outlook_month``, ``outlook_day``.

    Raises
    ------
    InputError
        If the record is too short.
    """
    stored = simulated(basis, trace=True).stored
    first = stored.time.dt.day == 1
    mornings = stored.shift(time=1).where(first, drop=True).isel(time=slice(12, None))
    usual = mornings.groupby("time.month").median()
    month = int(usual.month[int(usual.values.argmax())])
    cut = cut_windows(basis.flows, month, 1, LOOK)
    found = outlook(cut, basis.capacity, float(usual.max()), keeps_of(basis), theta=basis.theta)
    return found.assign_attrs(outlook_month=month, outlook_day=1)


def keeps_of(basis: Basis) -> dict[str, float]:
    """Return the plans of an outlook: nothing cut, then each stage kept from today on.

    Parameters
    ----------
    basis : Basis
        The study.

    Returns
    -------
    dict of str to float [1]
        Share of what can wait that is served, by the plan's name.
    """
    return {"all uses": 1.0} | {f"stage {k + 1}": share for k, share in enumerate(basis.asks.stage_shares)}


def honesty_of(basis: Basis) -> xr.Dataset:
    """Return how outlooks on this record would have fared, each year foretold from the others.

    Parameters
    ----------
    basis : Basis
        The study.

    Returns
    -------
    Dataset
        As `rainharvest.drought.honest.reliability`, over four dates and all leads, the gauge as the simulated
        tank stood; ``band_share`` [1] on ``score_lead``, the share of outcomes inside the 80 percent band.

    Raises
    ------
    InputError
        If the record is too short.
    """
    one = Flows(basis.flows.inflow[:1], basis.flows.demand, basis.flows.essential, basis.flows.first)
    stored = simulated(basis, trace=True).stored.values
    scored = xr.concat(
        [score_record(one, basis.capacity, m, 1, stored, theta=basis.theta) for m in SCORED],
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


PARTS: dict[str, Callable[[Basis], xr.Dataset]] = {
    "dry years": years_of,
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
