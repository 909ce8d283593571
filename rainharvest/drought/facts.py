"""The bad years of a study: dry years, dry spells, failures and the worst sequence; and the whole of the stage."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import xarray as xr

from rainharvest.core.errors import InputError
from rainharvest.core.quantities import along, attributes, variables
from rainharvest.core.reader import MONTHS
from rainharvest.drought.basis import Basis, basis_of, simulated
from rainharvest.drought.dry_years import (
    driest_runs,
    dry_years,
    failure_measures,
    longest_in_years,
    normal_year,
    spells_by_month,
    worst_drawdown,
)
from rainharvest.drought.facts_climates import longer_droughts, scenarios_tried
from rainharvest.drought.facts_outlook import outlook_of, plan_of, skill_of
from rainharvest.drought.tables import DEFAULTS
from rainharvest.rainfall.climatology import dry_spells, period_totals
from rainharvest.rainfall.describe import version_totals

SIZES = (0.5, 1.0, 2.0)
"""Tanks drawn through the worst sequence, as multiples of the study's own."""


def numbers(found: xr.Dataset) -> dict[str, float]:
    """Return the variables of a Dataset that are single numbers."""
    return {str(name): float(value) for name, value in found.items() if not value.dims}


def years_of(
    basis: Basis,
    *,
    capacity: float | None = None,
    month: int | None = None,
    dry_share: float = DEFAULTS["dry_share"].value,
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
    short = simulated(basis, capacity=capacity, settled=True, trace=True).unmet_daily
    month = month or basis.month
    return dry_years(basis.rain, short, year_start_month=month, dry_share=dry_share, index=index)


def dry_year_facts(found: xr.Dataset) -> dict[str, object]:
    """Return on which years the three ways agree, and in which the tank ran short though rain was not lowest."""
    rain, index, tank = (found[f"dry_by_{way}"].values.astype(bool) for way in ("rain", "index", "tank"))
    year = found.year.values
    return {
        "years": year.size,
        "month": found.attrs["year_start_month"],
        "dry": int(rain.sum()),  # by rain, and as many by the index
        "dry_by_tank": int(tank.sum()),  # fewer where it ran short in fewer
        "agreed": year[rain & index & tank].tolist(),
        "hidden": year[tank & ~rain].tolist(),
        "ran_short": bool(tank.any()),
    }


def years_and_runs(basis: Basis) -> xr.Dataset:
    """Return the dry years three ways, and the driest years on end with how rare they are."""
    found = years_of(basis)
    return found.merge(driest_runs(found.year_rain), combine_attrs="override")


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
    found = found.assign(variables("spell_year", {"longest_dry_spell": longest}))
    spell_year = ("spell_year", years, attributes("year"))
    return found.assign_coords(spell_year=spell_year).assign_attrs(long_spell=long)


def spell_facts(found: xr.Dataset) -> dict[str, object]:
    """Return the longest dry spell of the record, that of ten years, and the months in which long ones begin."""
    by_month = found.spells_by_month.values
    most = np.argsort(-by_month, kind="stable")[:2]
    return numbers(found.sel(return_period=10)) | {
        "longest": float(found.longest_dry_spell.max()),
        "long": found.attrs["long_spell"],
        "months": [MONTHS[m] for m in sorted(most) if by_month[m] > 0],
    }


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
    return failure_measures(done.unmet_daily.transpose("member", "time"), basis.demand)


def failure_facts(found: xr.Dataset) -> dict[str, float]:
    """Return how often and how badly the tank fails, in the middle of the filled versions."""
    names = ("failure_events", "resilience", "mean_failure", "vulnerability_share")
    return {name: float(found[name].median()) for name in names}


def worst_sequence_of(basis: Basis, sizes=SIZES, capacity: float | None = None) -> xr.Dataset:
    """Return the tank, and others beside it, through its worst sequence and through the normal year."""
    size = basis.capacity if capacity is None else capacity
    capacities = np.array([s * size for s in sizes])
    done = simulated(basis, capacity=capacities, settled=True, trace=True)
    found = [worst_drawdown(done.isel(capacity=k), basis.demand.values) for k in range(capacities.size)]
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
    stored = done.stored.transpose("capacity", "time").values
    out = variables("through_capacity", {name: np.array(v, float) for name, v in columns.items()})
    out |= variables(("through_capacity", "worst_day"), {"worst_stored": stored[:, part]})
    out |= variables(("through_capacity", "normal_day"), {"normal_stored": stored[:, usual]})
    out |= variables("worst_day", {"worst_rain": basis.rain.values[part]})
    coords = along(through_capacity=capacities, worst_day=days[part], normal_day=days[usual])
    return xr.Dataset(out, coords).assign_attrs(
        worst_from=str(days[own.begins])[:10],
        worst_to=str(days[own.ends])[:10],
        worst_is_whole=int(own.from_overflow and own.to_overflow),
        normal_year=year,
    )


def worst_days_of(basis: Basis, around: int = 20) -> xr.Dataset:
    """Return the tank's worst drought day by day: rain, inflow, demand, draw, spill, shortfall and level."""
    done = simulated(basis, settled=True, trace=True)
    worst = worst_drawdown(done, basis.demand.values)
    part = slice(max(worst.begins - around, 1), worst.ends + around + 1)
    days = done[["stored", "spilled_daily", "unmet_daily"]].assign(
        rain=basis.rain, inflow=basis.inflow.isel(member=0, drop=True), demand=basis.demand
    )
    days = days.assign(stored_before=days.stored.shift(time=1)).isel(time=part)
    return days.assign_attrs(capacity=basis.capacity)


def day_facts(days: xr.Dataset, day: int) -> dict[str, object]:
    """Return one day of `worst_days_of`, and how many days had passed without all that was asked for."""
    one = days.isel(time=day)
    short = days.unmet_daily.values[: day + 1] > 1e-6
    return {str(name): float(value) for name, value in one.items()} | {
        "date": one.time.values,
        "drawn": float(one.demand - one.unmet_daily),
        "days_short": int(short.sum()),
        "share": float(one.stored) / days.attrs["capacity"],
    }


def failing_months(basis: Basis) -> np.ndarray:
    """Return the mean failed days of each calendar month in a year."""
    short = simulated(basis, settled=True, trace=True).unmet_daily
    years = short.sizes["time"] / 365.25
    return (short > 1e-6).groupby("time.month").sum().reindex(month=range(1, 13), fill_value=0).values / years


def worst_sequence_facts(found: xr.Dataset, capacity: float) -> dict[str, object]:
    """Return what the worst sequence did to a tank, and to the largest tried where that is another."""
    sizes = found.through_capacity.values
    own = int(np.argmin(abs(sizes - capacity)))
    larger = {"size": float(sizes[-1]), **numbers(found.isel(through_capacity=-1))}
    return (
        numbers(found.isel(through_capacity=own))
        | found.attrs
        | {"larger": larger if own + 1 < sizes.size else None}
    )


def failed_facts(done: xr.Dataset) -> dict[str, object]:
    """Return how many whole years have no failed day, and how many days the worst has."""
    failed = done.described_failed_by_year.median("member").values[(done.days_in_year >= 365).values]
    return {"none": int((failed == 0).sum()), "years": failed.size, "worst": float(failed.max(initial=0))}


PARTS: dict[str, Callable[[Basis], xr.Dataset]] = {
    "dry years": years_and_runs,
    "dry spells": spells_of,
    "failures": failures_of,
    "worst sequence": worst_sequence_of,
    "gauge outlook": outlook_of,
    "honesty of the outlook": skill_of,
    "rationing plan": plan_of,
    "scenarios": scenarios_tried,
    "longer droughts": longer_droughts,
}
"""What the group is made of, in order."""


def drought_group(run) -> xr.Dataset:
    """Return what the bad years of a study that was run are like and what to do in them."""
    try:
        basis = basis_of(run.study, run.record, run.flows, float(run.done.described))
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
    for one in parts:
        found.attrs |= one.attrs
    return found.assign_attrs(
        title="Drought", essential=basis.essential_words, tank=basis.capacity, left_out="; ".join(left_out)
    )
