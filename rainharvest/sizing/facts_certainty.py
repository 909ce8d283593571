"""What of the decision no price touches: how sure it is, each target's size, maps, shortcuts, the daily step."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import xarray as xr

from rainharvest.catchment.collect import collect_finer
from rainharvest.core.defaults import Default, rows_of
from rainharvest.core.errors import require
from rainharvest.core.quantities import along as labels
from rainharvest.core.quantities import attributes, variables
from rainharvest.demand.uses import essential_demand
from rainharvest.rainfall.read import read_subdaily
from rainharvest.rainfall.record import StudyRecord, part_since
from rainharvest.sizing import band, shortcuts
from rainharvest.sizing import trade_off as curves
from rainharvest.sizing.facts import (
    SURE_FILLINGS,
    cut_to,
    of_fillings,
    rain_feeds,
    settings_and_shares,
    smallest_by_member,
)
from rainharvest.sizing.facts_printed import INPUTS, decision
from rainharvest.sizing.resample import BLOCK_YEARS
from rainharvest.sizing.smallest import no_failure
from rainharvest.sizing.uncertainty import DEFAULTS as RANGES
from rainharvest.sizing.uncertainty import Case, Drawn, draw_flows, draw_inputs, input_ranges, record_inputs
from rainharvest.storage.facts import Flows, mains_supply
from rainharvest.storage.simulate import simulate


def case_of(study, record: StudyRecord, flows: Flows) -> Case:
    """Return a study as a case with the ranges of what is not known for sure."""
    settings, shares = settings_and_shares(study, flows)
    demand = flows.demand
    weather = {thing.name for thing in (*study.garden, *study.pool)}
    follows = np.array([str(name) in weather for name in demand.use.values])
    by_calendar, by_weather = (demand.isel(use=np.flatnonzero(some)) for some in (~follows, follows))
    given = {name: pair for name, pair in study.sizing.ranges.model_dump().items() if pair is not None}
    served = tuple(use for use in study.use if use.name in set(demand.use.values))
    rationed = settings.pop("essential", None) is not None
    return Case(
        record.filled.reset_coords(drop=True),
        study.catchment,
        by_calendar.sum("use").reset_coords(drop=True),
        ranges=input_ranges(study.catchment, served, by_calendar, given),
        weather_demand=by_weather.sum("use").reset_coords(drop=True) if follows.any() else None,
        essential=essential_demand(by_calendar).reset_coords(drop=True) if rationed else None,
        weather_essential=essential_demand(by_weather).reset_coords(drop=True)
        if rationed and follows.any()
        else None,
        settings=settings,
        shares=shares,
        year_start_month=record.year_start_month,
        block_years=study.sizing.block_years or int(BLOCK_YEARS.value),
        intensity=study.losses.intensity,
    )


LEAST_DAYS = 300

"""Days in a row without a missing step that the comparison asks for (own choice: most of a year)."""


def _daily_step(study, flows: Flows, done: xr.Dataset, folder: Path) -> xr.Dataset:
    """Return how far the daily step is off, with the study's roofs and its mean demand."""
    if not study.sizing.finer_rain:
        return xr.Dataset()
    path = folder / study.sizing.finer_rain
    rain = shortcuts.longest_whole_days(read_subdaily(path, units=study.sizing.finer_units))
    require(
        np.unique(rain.time.dt.floor("D").values).size >= LEAST_DAYS,
        f"fewer than {LEAST_DAYS} days in a row have all their readings",
        "give a longer record of finer rain, or leave it out",
        "sizing.finer_rain",
        path,
    )
    given = study.losses.model_dump(exclude={"intensity"}, exclude_none=True)
    inflow = collect_finer(rain, study.roof, study.conveyance, **given).inflow
    demand = float(flows.demand.sum("use").mean())
    out = shortcuts.daily_step(rain, inflow, demand, done.capacity.values, draw_hours=study.sizing.draw_hours)
    days = inflow.sizes["time"]
    return out.rename(rule_reliability="step_rule_reliability").assign_attrs(finer_days=days)


SOBOL_BASE = 64

"""Points of the Sobol sequence: enough to tell which unknown matters most, not to two figures (own choice)."""


RUNS = 64

"""Runs of years among which the tornado and the Sobol indices choose (own choice)."""


def certainty_group(results) -> xr.Dataset:
    """Return what of the decision no price touches: the band, each target's size, the maps, the shortcuts, the step."""
    study, done = results.study, results.done
    if not rain_feeds(study):
        return _other_interruptions(study, results.flows)
    record, flows = decisive_part(results)
    since = int(done.break_year) if record is not results.record else 0
    case = case_of(study, record, flows)
    out = merged(
        [
            _certainty(study, case, done),
            _sizes_for_targets(study, flows, done if flows is results.flows else None),
            _whole_record(results),
            _maps(results),
            _changes_needed(results),
            _shortcuts(results),
            _daily_step(study, flows, done, Path(results.folder)),
        ]
    )
    gaps = int(case.members > 1 and done.attrs["days_filled"] > 0)
    return out.assign_attrs(gaps=gaps, drawn_since=since)


def decisive_part(results) -> tuple[StudyRecord, Flows]:
    """Return the record and the flows that decide the size: the whole, or the part since a break."""
    record, flows, done = results.record, results.flows, results.done
    if not int(done.get("decisive_year", 0)):
        return record, flows
    return cut_to(record, flows, part_since(record))


SEEDS = 20

"""Draws of the interruptions for which a mains reserve is sized (own choice)."""


def _other_interruptions(study, flows: Flows) -> xr.Dataset:
    """Return the smallest reserve and the longest interruption for other draws of random interruptions, by seed."""
    spells = study.arrangement.spells
    if spells is None:
        return xr.Dataset()
    sizes, longest = [], []
    for seed in range(SEEDS):
        other = study.arrangement.model_copy(update={"spells": spells.model_copy(update={"seed": seed})})
        own = study.model_copy(update={"arrangement": other})
        sizes.append(smallest_by_member(own, flows)[0].capacity)
        off = mains_supply(other, flows.demand.time).values <= 0
        ends = np.flatnonzero(np.diff(np.concatenate([[0], off, [0]]).astype(int)))
        longest.append((ends[1::2] - ends[::2]).max(initial=0))
    columns = {"seed_size": np.array(sizes), "seed_longest": np.array(longest, dtype=float)}
    return xr.Dataset(variables("interruption_seed", columns), labels(interruption_seed=np.arange(SEEDS)))


def sizing_defaults(results) -> dict[str, Default]:
    """Return the defaults that the certainty of the size rests on and that the study does not give, in words."""
    group, words = results.groups.get("sizing", {}), rows_of("sizing", "fixed")["defaults"]
    if "sure_size" not in group:
        return {}
    ranges = {one.name: one for one in case_of(results.study, *decisive_part(results)).ranges}
    used = {
        words["range"].format(what=INPUTS[name]): own
        for name, own in RANGES.items()
        if own.source in ranges[name].source
    }
    if group.attrs["years_drawn"] and results.study.sizing.block_years is None:
        used[words["block_years"]] = BLOCK_YEARS
    return used | {words["record"]: decision(group).record.wanted}


def drawn_cases(study, case: Case) -> Drawn:
    """Return the flows of all draws of what is uncertain."""
    return draw_flows(case, draw_inputs(case, study.sizing.draws, study.sizing.seed))


def merged(parts: list[xr.Dataset]) -> xr.Dataset:
    """Return the parts as one; of attributes with one name the first that says something."""
    out = xr.merge([part.drop_attrs(deep=False) for part in parts], compat="override", join="outer")
    for part in parts:
        out.attrs |= {k: v for k, v in part.attrs.items() if k not in out.attrs and v is not None}
    return out


def _certainty(study, case: Case, done: xr.Dataset) -> xr.Dataset:
    """Return the curve with its band, the sure size, and which unknown matters most."""
    measure, target, seed = study.target.measure, study.target.reliability, study.sizing.seed
    tank, given = float(done.described), {"target": target, "measure": measure}
    drawn, record = drawn_cases(study, case), draw_flows(case, record_inputs(case))
    out = band.uncertain_curve(drawn, record, done.capacity.values, **given)
    out = out.drop_vars(["reliability", "draw"])
    enough = np.flatnonzero(out.draws_reaching.values >= band.SURE)
    bounds = {}  # they save most of the search
    if enough.size:
        tried, first = out.capacity.values, enough[0]
        bounds = {"largest": tried[first], "too_small": np.floor(tried[first - 1]) if first else 0.0}
    sizes = {
        "sure_size": band.sure_size(drawn, **bounds, **given),
        "size_on_record": band.sure_size(record, **given),
    }
    out = out.assign(variables((), {name: found.capacity for name, found in sizes.items()}))
    own = band.measures_of_draws(drawn, tank, keep=(measure,))[measure].values[:, 0]
    of_tank = {"draws_reaching": (own >= target * curves.ENOUGH).mean()}
    for end in ("low", "high"):
        of_tank[f"reliability_{end}"] = np.quantile(own, band.BOUNDS[end], method="weibull")
    for name, value in of_tank.items():
        out[f"described_{name}"] = ((), value, attributes(name))
    years = band.runs_of_years(case, RUNS, seed)
    one = band.tornado(record, years, tank, measure=measure)
    all_at_once = band.sobol_indices(record, years, tank, measure=measure, base=SOBOL_BASE, seed=seed)
    runs = np.unique(drawn.inputs.year_draw.values).size
    attrs = out.attrs | {"sure": band.SURE, "years_drawn": runs if runs > 1 else 0}
    out = xr.merge([out, one, all_at_once.sel(input=one.input)], compat="override", join="left")
    return out.assign_attrs(attrs)


def _first_filling(results) -> tuple[xr.DataArray, xr.DataArray, xr.DataArray]:
    """Return rain, inflow and demand of the first filling."""
    rain, inflow = results.record.filled, results.flows.water.inflow
    rain, inflow = (all_of.isel(member=0, drop=True).reset_coords(drop=True) for all_of in (rain, inflow))
    return rain, inflow, results.flows.demand.sum("use").reset_coords(drop=True)


def _sizes_for_targets(study, flows: Flows, curve: xr.Dataset | None) -> xr.Dataset:
    """Return the smallest size for each target in nine of ten fillings."""
    targets = np.array(study.sizing.targets, dtype=float)
    found = [of_fillings(smallest_by_member(study, flows, target, curve)) for target in targets]
    values = {"size_for_target": [one.capacity for one in found], "one_less": [one.one_less for one in found]}
    return xr.Dataset(variables("target", values), labels(target=targets))


def _whole_record(results) -> xr.Dataset:
    """Return the size that never fails on the first filling, and the knee of its curve."""
    _, inflow, demand = _first_filling(results)
    never, peak = no_failure(inflow, demand, theta=results.study.tank.theta)
    sizes = {
        "no_failure_size": never,
        "sequent_peak": peak,
        "knee_size": curves.find_knee(results.done.isel(member=0)),
    }
    return xr.Dataset(variables((), {k: float(v) if np.isfinite(v) else np.nan for k, v in sizes.items()}))


def _maps(results) -> xr.Dataset:
    """Return reliability and yield over tank size and roof area, and over tank size and demand."""
    study = results.study
    rain, inflow, demand = _first_filling(results)
    area = sum(roof.area for roof in study.roof)
    along = curves.along_sizes(results.done.capacity.values)
    settings, shares = settings_and_shares(study, results.flows)
    settings |= {name: share * along for name, share in shares.items()}
    # A map of the demand has no share of it that stays.
    settings = _without_rationing(settings) | {"threads": curves.THREADS}
    areas, intensity = np.array(curves.AREAS) * area, study.losses.intensity
    by_area = curves.inflow_by_area(rain, study.catchment, areas, intensity=intensity)
    maps = {
        "by_area": curves.trade_off(by_area, demand, along, **settings),
        "by_demand": curves.trade_off(
            inflow, curves.demand_by_factor(demand, curves.DEMANDS), along, **settings
        ),
    }
    names = {study.target.measure: "reliability"} | {
        name: name for name in ("yearly_yield", "marginal_yield")
    }
    return xr.Dataset(
        {
            f"{kept}_{key}": over[name].transpose(..., "capacity")
            for key, over in maps.items()
            for name, kept in names.items()
        },
        attrs={"unrationed": int(bool(study.rationing))},
    )


BOUNDLESS = 1e12

"""Litres of tank, and times the rain that reaches it, with which only the first days can be short."""


def _changes_needed(results) -> xr.Dataset:
    """Return the least roof and the most demand with which some size tried reaches a target that none reaches.

    As multiples of the study's, to the hundredth on the safe side; NaN where even the ends of the maps are too little.
    And what roof and tank without bounds would reach: less than all where it begins empty and is short before it rains.
    """
    study, done = results.study, results.done
    if np.isfinite(float(done.recommended)):
        return xr.Dataset()
    case, measure = case_of(study, results.record, results.flows), study.target.measure
    inputs, enough = record_inputs(case), study.target.reliability * curves.ENOUGH

    def reaches(roof: float = 1.0, demand: float = 1.0) -> bool:
        """Return whether a size reaches the target in as many fillings as the size recommended must."""
        other = replace(case, catchment=curves.scaled_catchment(case.catchment, area=roof))
        drawn = draw_flows(other, inputs.assign(demand=demand * inputs.demand))
        reached = band.measures_of_draws(drawn, done.capacity.values, keep=(measure,))[measure]
        return bool(((reached >= enough).mean("draw") >= SURE_FILLINGS).any())

    ends = {"roof": 100 * curves.AREAS[-1], "demand": 100 * curves.DEMANDS[0]}
    found = {f"{name}_needed": _first_hundredth(reaches, name, round(end)) for name, end in ends.items()}
    settings, shares = settings_and_shares(study, results.flows)
    settings |= {name: share * BOUNDLESS for name, share in shares.items()}
    inflow, demand = BOUNDLESS * results.flows.water.inflow, results.flows.demand.sum("use")
    found["boundless_reliability"] = float(simulate(inflow, demand, BOUNDLESS, **settings)[measure].median())
    return xr.Dataset(variables((), found))


def _first_hundredth(reaches, name: str, end: int) -> float:
    """Return the multiple nearest to 1, in hundredths towards an end, that reaches; NaN if the end does not."""
    short, enough = 100, end
    if not reaches(**{name: end / 100}):
        return np.nan
    while abs(enough - short) > 1:
        tried = (short + enough) // 2
        short, enough = (short, tried) if reaches(**{name: tried / 100}) else (tried, enough)
    return enough / 100


def _without_rationing(settings: dict[str, object]) -> dict[str, object]:
    return {k: v for k, v in settings.items() if k != "essential" and not k.startswith("ration")}


def _shortcuts(results) -> xr.Dataset:
    """Return what the short ways recommend and what they would have done, and the rules of spillage."""
    study = results.study
    rain, inflow, demand = _first_filling(results)
    settings, shares = settings_and_shares(study, results.flows)
    target, site, month = study.target.reliability, study.site, results.record.year_start_month
    here = shortcuts.near_melbourne(site.latitude, site.longitude) and target in shortcuts.REGRESSION
    sizes = shortcuts.shortcut_sizes(
        rain, inflow, demand, study.catchment, year_start_month=month, melbourne=target if here else None
    )
    given = {"measure": study.target.measure, "shares": shares, **settings}
    ways = shortcuts.simulate_shortcuts(sizes, inflow, demand, target, **given)
    ways = ways.rename({name: f"way_{name}" for name in ways.data_vars if name != "size_by_way"})
    settings = _without_rationing(settings)
    settings.pop("theta", None)
    rules = shortcuts.rules_of_spillage(
        inflow, demand, curves.along_sizes(results.done.capacity.values), **settings
    )
    return xr.merge([ways, rules], join="outer", compat="override").assign_attrs({})
