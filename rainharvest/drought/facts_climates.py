"""The same tank under other climates and longer droughts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import xarray as xr

from rainharvest.catchment.facts import study_water
from rainharvest.core.errors import InputError, require
from rainharvest.core.quantities import along, variables
from rainharvest.core.reader import depths
from rainharvest.demand.facts import study_demand
from rainharvest.drought.basis import Basis, simulated
from rainharvest.drought.change import WET_DAY, changed_rain, wet_day_spread
from rainharvest.drought.tables import Change, Scenario
from rainharvest.rainfall.climatology import dry_spells
from rainharvest.sizing.resample import BLOCK_YEARS, take_days, year_draws

RECORD = "the record"

DRAWS = 200

RUN = 3  # [year] of the driest run that drawn records are compared by


def scenarios_tried(
    basis: Basis, scenarios: Sequence[Scenario] | None = None, record: xr.Dataset | None = None
) -> xr.Dataset:
    """Run the tank on the record (or take what that gave) and on each scenario."""
    scenarios = basis.table.scenario if scenarios is None else scenarios
    tried = [*scenarios] if record is not None else [None, *scenarios]
    rows, months, words = [], [], []
    for k, one in enumerate(tried, 0 if record is None else 1):
        try:
            rain, done = scenario_run(basis, one)
        except InputError as error:
            raise InputError(error.problem, error.remedy, f"drought.scenario[{k}]") from None
        years = rain.sizes["time"] / 365.25
        rows.append(
            {
                "scenario_rain": float(rain.sum()) / years,
                "scenario_wet_share": float((rain >= WET_DAY).mean()),
                "scenario_spread": wet_day_spread(rain),
                "scenario_dry_spell": float(dry_spells(rain).dry_spell.values.max(initial=0)),
                "scenario_volume_reliability": float(done.volume_reliability),
                "scenario_time_reliability": float(done.time_reliability),
                "scenario_failed_a_year": float(done.days_failed) / years,
                "scenario_longest_failure": float(done.longest_failure),
            }
        )
        months.append(rain.groupby("time.month").sum().values / years)
        words.append(rain.attrs.get("scenario", "the record as it is"))
    out = variables("scenario", {name: np.array([row[name] for row in rows]) for name in rows[0]})
    out |= variables(("scenario", "calendar_month"), {"scenario_month": np.array(months)})
    names = [one.name if one else RECORD for one in tried]
    found = xr.Dataset(out, along(scenario=names, calendar_month=np.arange(1, 13)))
    if record is not None:
        found = xr.concat([record, found], "scenario", data_vars="minimal", combine_attrs="override")
        words = [record.attrs["scenarios"], *words]
    return found.assign_attrs(scenarios="\n".join(words), unrationed=int(bool(basis.study.rationing)))


def scenario_run(basis: Basis, scenario: Scenario | None) -> tuple[xr.DataArray, xr.Dataset]:
    """Run the tank under one scenario, its roofs and its demand as they are."""
    if scenario is None or (all(c.none for c in scenario.change) and scenario.trend_to is None):
        return basis.rain, simulated(basis)
    rain = changed_rain(basis.rain, scenario, seed=basis.study.rain.seed)
    filled = basis.record.filled.isel(member=[0])
    record = replace(basis.record, filled=filled.copy(data=rain.transpose(*filled.dims[1:]).values[None]))
    inflow = study_water(basis.study, record).inflow.isel(member=0, drop=True)
    demand = None
    if basis.study.garden or basis.study.pool:
        demand = study_demand(basis.study, record, basis.evapotranspiration)[0].sum("use")
    return rain, simulated(basis, inflow, demand=demand)


def one_change(
    amount: float, frequency: float, intensity: float, months: Sequence[int] | None = None, trend_to=None
) -> Scenario:
    """Return the scenario of a panel's sliders."""
    season = {} if months is None else {"months": tuple(months)}
    change = Change(amount=amount, frequency=frequency, intensity=intensity, **season)
    return Scenario(name="yours", source="the reader's own factors", change=(change,), trend_to=trend_to)


def scenario_facts(found: xr.Dataset) -> dict[str, object]:
    """Return of each climate its rain and what the tank makes of it, and whether a trend is carried forward."""
    names = ("rain", "dry_spell", "volume_reliability", "failed_a_year")
    rows = [
        {"name": str(name)} | {what: float(found[f"scenario_{what}"][k]) for what in names}
        for k, name in enumerate(found.scenario.values)
    ]
    return {"rows": rows, "carried": "carried to" in found.attrs["scenarios"]} | {
        "unrationed": found.attrs["unrationed"]  # Whether the study rations, which these runs leave out
    }


def what_scenarios_rest_on(found: xr.Dataset) -> tuple[str, ...]:
    """Return the source and the factors of each scenario but the record itself."""
    rests = dict(zip(found.scenario.values.tolist(), found.attrs["scenarios"].split("\n"), strict=True))
    return tuple(depths(words) for name, words in rests.items() if name != RECORD)


@dataclass(frozen=True)
class DrawnRecords:
    """Records drawn anew from the years there were, droughts longer than any among them."""

    inflow: xr.DataArray  # [L/day] (draw, time)
    driest_runs: np.ndarray  # [mm/year] Rain of the driest run of each
    record_driest_run: float  # [mm/year] That of the record itself
    block_years: int  # Years that were drawn together


def drawn_records(basis: Basis, count: int = DRAWS, block_years: int | None = None) -> DrawnRecords:
    """Draw records from a study's whole years, in blocks, each with what follows from its weather."""
    first = basis.inflow.isel(member=0, drop=True)
    blocks = int(BLOCK_YEARS.value) if block_years is None else block_years
    seed = basis.study.rain.seed
    draws = year_draws(first, count=count, block_years=blocks, seed=seed, year_start_month=basis.month)
    edges = np.flatnonzero((draws.time.dt.day.values == 1) & (draws.time.dt.month.values == basis.month))
    require(edges.size >= RUN, "fewer than 3 whole years", "give a longer record", "rain")
    inflow, rain = (take_days(series.reset_coords(drop=True), draws) for series in (first, basis.rain))
    depth = np.vstack([basis.rain.sel(time=draws.time.values), rain.values])
    yearly = np.add.reduceat(depth, edges, axis=1)
    driest = np.lib.stride_tricks.sliding_window_view(yearly, RUN, axis=1).mean(axis=2).min(axis=1)
    return DrawnRecords(inflow, driest[1:], float(driest[0]), int(draws.attrs["block_years"]))


def longer_droughts(
    basis: Basis, drawn: DrawnRecords | None = None, capacity: float | None = None
) -> xr.Dataset:
    """Run the tank on the record and on records drawn anew."""
    drawn = drawn or drawn_records(basis)
    days = drawn.inflow.time.values
    years, demand = days.size / 365.25, basis.demand.sel(time=days)
    out = variables("draw", {"drawn_driest_run": drawn.driest_runs})
    out |= variables((), {"record_driest_run": drawn.record_driest_run})
    first = basis.inflow.isel(member=0, drop=True).sel(time=days)
    for name, water, dims in (("drawn", drawn.inflow, "draw"), ("record", first, ())):
        run = simulated(basis, water, capacity, demand=demand)
        values = {
            f"{name}_longest_failure": run.longest_failure.values,
            f"{name}_failed_a_year": run.days_failed.values / years,
            f"{name}_volume_reliability": run.volume_reliability.values,
        }
        out |= variables(dims, values)
    found = xr.Dataset(out, along(draw=np.arange(drawn.driest_runs.size)))
    return found.assign_attrs(block_years=drawn.block_years)


def longer_facts(found: xr.Dataset) -> dict[str, object]:
    """Return how many drawn records hold a drier run, and how the tank fails on them."""
    low, high = np.quantile(found.drawn_failed_a_year.values, [0.05, 0.95])
    return {
        "draws": found.sizes["draw"],
        "block_years": found.attrs["block_years"],
        "drier": float((found.drawn_driest_run < found.record_driest_run).mean()),
        "failing": (float(low), float(high)),
        "longest": float(found.drawn_longest_failure.max()),
        "on_record": float(found.record_longest_failure),
    }
