"""The drought stage of a study: its group of the results."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import xarray as xr

from rainharvest.drought.failures import failure_measures
from rainharvest.drought.spell_odds import longest_in_years, spells_by_month
from rainharvest.drought.through import normal_year, worst_drawdown
from rainharvest.errors import InputError
from rainharvest.names import attributes
from rainharvest.rainfall.spells import dry_spells
from rainharvest.rainfall.totals import period_totals
from rainharvest.rainfall.versions import version_totals
from rainharvest.study.drought_basis import Basis, basis_of, simulated
from rainharvest.study.drought_climates import longer_droughts, scenarios_tried
from rainharvest.study.drought_outlook import honesty_of, outlook_of
from rainharvest.study.drought_plan import plan_of, years_and_runs
from rainharvest.study.run import Worked

SIZES = (0.5, 1.0, 2.0)
"""Tanks drawn through the worst sequence, as multiples of the study's own."""


def drought_group(worked: Worked) -> xr.Dataset:
    """Return what a study's bad years are like and what to do in them.

    Parameters
    ----------
    worked : Worked
        As `rainharvest.study.run.work_study`.

    Returns
    -------
    Dataset
        What `years_and_runs`, `spells_of`, `failures_of`, `through_of`, `outlook_of`, `honesty_of`, `plan_of`,
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
    """Return the dry spells: the longest of each year, what to expect, when long ones begin.

    Parameters
    ----------
    basis : Basis
        The study.
    wet_day : float [mm/day]
        A day with at least this much rain is wet.

    Returns
    -------
    Dataset
        ``longest_dry_spell`` on ``spell_year``, the longest that begins in each whole hydrological year; on
        ``return_period`` as `rainharvest.drought.spell_odds.longest_in_years`; ``spells_by_month`` on
        ``calendar_month``, with the median of the yearly longest as what is long.

    Raises
    ------
    InputError
        If fewer than 10 years are whole.
    """
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
        As `rainharvest.drought.failures.failure_measures`, on ``member``.
    """
    done = simulated(basis, basis.inflow, trace=True)
    return failure_measures(done.unmet_daily.transpose("member", "time"), basis.asked)


def through_of(basis: Basis, sizes=SIZES, capacity: float | None = None) -> xr.Dataset:
    """Return the tank, and others beside it, through its worst sequence and through the normal year.

    Parameters
    ----------
    basis : Basis
        The study.
    sizes : sequence of float [1]
        Multiples of the study's tank.
    capacity : float [L], optional
        Another tank than the study's.

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
