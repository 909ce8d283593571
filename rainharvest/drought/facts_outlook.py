"""What the gauge promises from a day on, how far such outlooks were right, and the caretaker's plan."""

from __future__ import annotations

import numpy as np
import xarray as xr

from rainharvest.core.errors import require
from rainharvest.core.quantities import attributes, variables
from rainharvest.core.reader import MONTHS
from rainharvest.drought.basis import Basis, simulated
from rainharvest.drought.outlook import (
    CONFIDENCES,
    Windows,
    cut_windows,
    level_chances,
    outlook,
    reliability,
    score_record,
)
from rainharvest.drought.plan import PlansTried, choose_plan, held_out_failures, try_plans
from rainharvest.drought.tables import DEFAULTS
from rainharvest.rainfall.describe import version_totals

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


def served_by_plan(basis: Basis) -> dict[str, float]:
    """Return the plans of an outlook: nothing cut, then each stage kept from today on."""
    return {"all uses": 1.0} | {f"stage {k}": share for k, share in enumerate(basis.table.stage_shares, 1)}


def outlook_from(basis: Basis, windows: Windows, start: float, cut: float = 0.0) -> xr.Dataset:
    """Return the outlook from a reading, with what the reader would cut and with each stage."""
    require(0 <= cut <= 1, f"a cut of {cut:g}", "give a share from 0 to 1", "cut")
    plans = {"yours": 1 - cut} | served_by_plan(basis)
    found = outlook(windows, basis.capacity, start, plans, theta=basis.theta)
    levels = np.linspace(basis.capacity / READINGS, basis.capacity, READINGS)
    chance = level_chances(windows, basis.capacity, levels, 1 - cut, ends=WITHIN, theta=basis.theta)
    found["level_chance"] = chance.rename(lead="within")
    return found.assign_attrs(cut=float(cut))


def outlook_of(basis: Basis) -> xr.Dataset:
    """Return the outlook from the first of the month in which the tank mostly stands highest."""
    stored = simulated(basis, trace=True).stored
    first = stored.time.dt.day == 1
    mornings = stored.shift(time=1).where(first, drop=True).isel(time=slice(12, None))
    require(mornings.size, "the record ends within its first year", "give a longer record", "inflow")
    usual = mornings.groupby("time.month").median()
    month = int(usual.month[int(usual.values.argmax())])
    windows = windows_from(basis, month, 1)
    found = outlook(windows, basis.capacity, float(usual.max()), served_by_plan(basis), theta=basis.theta)
    return found.assign_attrs(outlook_month=month, outlook_day=1)


def known_to_last(found: xr.Dataset, confidence: float) -> bool:
    """Return whether so many years hold one that lasts less long: of n years the worst stands for 1 in n + 1."""
    return (1 - confidence) * (found.attrs["years"] + 1) >= 1 - 1e-9


def supply_facts(found: xr.Dataset, plan: str = "yours") -> dict[str, object]:
    """Return for how long the water lasts under a plan, at each confidence that so many years can tell."""
    known = [c for c in CONFIDENCES if known_to_last(found, c)]
    lasts = found.supply_days.sel(plan=plan, confidence=known).values.tolist()
    return found.attrs | {
        "look": int(found.lead[-1]),
        "lasts": list(zip(known, lasts, strict=True)),
        "beyond": CONFIDENCES[len(known)] if len(known) < len(CONFIDENCES) else None,
        "dry": 1 - float(found.never_dry.sel(plan=plan)),
    }


def plans_ahead_facts(found: xr.Dataset) -> list[dict[str, object]]:
    """Return of each plan but the reader's own how often the tank runs dry and how long it surely lasts."""
    sure = 0.8 if known_to_last(found, 0.8) else 0.5
    return [
        {
            "plan": str(plan),
            "dry": 1 - float(found.never_dry.sel(plan=plan)),
            "lasts": float(found.supply_days.sel(plan=plan, confidence=sure)),
            "look": int(found.lead[-1]),
            "of_ten": round(10 * sure),
        }
        for plan in found.plan.values
        if plan != "yours"
    ]


def skill_of(basis: Basis, capacity: float | None = None) -> xr.Dataset:
    """Return how outlooks on this record would have fared, each year foretold from the others."""
    size = basis.capacity if capacity is None else capacity
    stored = simulated(basis, capacity=size, trace=True).stored.values
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
    found = found.assign(variables("score_lead", {"band_share": share.values}))
    return found.assign_coords(score_lead=("score_lead", scored.lead.values, attributes("lead")))


def skill_facts(found: xr.Dataset) -> dict[str, object]:
    """Return in how many classes the stated chance came true, and what the band held."""
    inside = ((found.seen_share >= found.seen_low) & (found.seen_share <= found.seen_high)).values
    return {
        "outlooks": int(found.forecasts.sum()),
        "borne_out": int(inside.sum()),
        "classes": inside.size,
        "low": float(found.band_share.min()),
        "high": float(found.band_share.max()),
    }


def plans_of(basis: Basis, capacity: float | None = None) -> PlansTried:
    """Return every rationing plan tried on a study; ordinary years are those that are not dry by rain."""
    total = version_totals(basis.record.filled.isel(member=[0]), basis.month).isel(member=0).dropna("year")
    count = max(round(DEFAULTS["dry_share"].value * total.sizes["year"]), 1)
    ordinary = np.sort(total.sortby(total).year.values[count:])
    size = basis.capacity if capacity is None else capacity
    return try_plans(basis.flows, size, ordinary=ordinary, **_settings(basis))


def _settings(basis: Basis) -> dict[str, object]:
    return {
        "shares": basis.table.stage_shares,
        "help_days": basis.table.help_days,
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
    tried, wanted = plans_of(basis), basis.table.may_fail
    held_out, _ = held_out_failures(basis.flows, basis.capacity, wanted=wanted, **_settings(basis))
    marked = int(basis.marked_essential)
    combined = int(basis.study.arrangement.kind == "combined")
    return choose_plan(tried, wanted, held_out).assign_attrs(essential_marked=marked, combined=combined)


def card_stands(found: xr.Dataset) -> bool:
    """Return whether there is a card to hang up: what is essential is known, and rationing is needed and keeps it."""
    if "plan_ahead" not in found or not float(found.plan_ahead):
        return False
    return bool(found.attrs["plan_keeps"] and found.attrs["essential_marked"])


def plan_facts(plan: xr.Dataset) -> dict[str, object]:
    """Return what a plan keeps and costs, and on which levels of the gauge each thing of the card is done."""
    held_out = float(plan.failing_years_elsewhere)
    levels = [*plan.stage_level.values, plan.help_level.values]
    return plan.attrs | {
        "needed": bool(plan.plan_ahead),
        "failing": float(plan.failing_years),
        "without": float(plan.failing_years_without),
        "held_out": held_out if np.isfinite(held_out) else None,
        "cut": float(plan.ordinary_cut),
        "days": plan.ordinary_stage_days.values.tolist(),
        "keeps": plan.stage_keeps.values.tolist(),
        "levels": [
            [(month, float(min(share, 1.0))) for month, share in zip(MONTHS, level, strict=True) if share > 0]
            for level in levels
        ],
    }
