"""The tank-size decision of a study: what each size buys, how sure that is, what it costs, what the shortcuts say."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import xarray as xr

from rainharvest.names import attributes
from rainharvest.sizing.band import SURE, sure_size, uncertain_curve
from rainharvest.sizing.costs_front import water_in_hand
from rainharvest.sizing.knee import find_knee
from rainharvest.sizing.ladder import no_failure, sizes_for_targets
from rainharvest.sizing.maps import demand_by_factor, inflow_by_area, trade_off_map
from rainharvest.sizing.sensitivity import sobol_indices, tornado
from rainharvest.sizing.shortcuts import near_melbourne
from rainharvest.sizing.shortcuts_judged import judge_shortcuts, rules_of_spillage, shortcut_sizes
from rainharvest.sizing.uncertainty import Case, draw_flows, draw_inputs, record_inputs
from rainharvest.study.sizing_case import case_of, settings_and_shares
from rainharvest.study.sizing_costs import choices_of, curve_with_costs, options_to_buy
from rainharvest.study.sizing_step import step_of_study

if TYPE_CHECKING:
    from rainharvest.study.run import Worked

AREAS = (0.25, 0.5, 0.75, 1.0, 1.25, 1.5, 2.0, 3.0)
"""Roof areas of the map, multiples of the study's."""
DEMANDS = (0.25, 0.5, 0.75, 1.0, 1.25, 1.5, 2.0, 3.0)
"""Demands of the map, multiples of the study's."""

SOBOL_BASE = 64
"""Points of the Sobol sequence: enough to tell which unknown matters most, not to two figures (own choice)."""
RUNS = 64
"""Runs of years among which the tornado and the Sobol indices choose (own choice)."""


def sizing_group(worked: Worked) -> xr.Dataset:
    """Return everything on which the tank size of a study is decided.

    Parameters
    ----------
    worked : Worked
        A study that has been run.

    Returns
    -------
    Dataset
        On ``capacity``: the curve on the record and its band, costs; ``sure_size`` and ``size_on_record``;
        on ``target``: the smallest size for each; ``knee_size``, ``no_failure_size``, ``sequent_peak``; on
        ``input``: which unknown matters most; on (area, capacity) and (demand_factor, capacity): maps; on
        ``option``: the tanks that can be bought; on ``way``: the shortcuts; on (rule, capacity): the rules
        of spillage; on ``ride_out``: on how many mornings there is water in hand. A mains reserve takes
        no rain and has what does not depend on it.

    Raises
    ------
    InputError
        If the catalogue or the finer rain cannot be used.
    """
    study, record, flows, done = worked.study, worked.record, worked.flows, worked.done
    certain = worked.groups.get("certainty")
    parts = [curve_with_costs(study, record, flows, done)]
    parts.append(certainty_group(worked) if certain is None else certain)
    choices = choices_of(study, Path(worked.folder))
    if choices:
        threads = os.cpu_count() or 1
        drawn = _drawn(study, case_of(study, record, flows), threads) if _rainy(study) else None
        largest = float(done.capacity[-1])
        parts.append(options_to_buy(study, record, flows, choices, drawn, largest, threads))
    out = _merged(parts)
    in_hand = water_in_hand(done.stored, done.demand.sum("use"))
    out["in_hand"] = in_hand
    years = flows.asked.sizes["time"] / 365.25
    out["record_years"] = ((), years, attributes("record_years"))
    told = {"title": "The tank-size decision", "measure": study.target.measure}
    told |= {"target": study.target.reliability, "arrangement": study.arrangement.kind}
    out.attrs = out.attrs | told
    return out


def certainty_group(worked: Worked) -> xr.Dataset:
    """Return what of the decision no price touches: the band, the ladder, the maps, the shortcuts, the step.

    Parameters
    ----------
    worked : Worked
        A study that has been run.

    Returns
    -------
    Dataset
        As `sizing_group`, but for costs, the tanks that can be bought and the water in hand; empty where
        no rain is taken.

    Raises
    ------
    InputError
        If the finer rain cannot be used.
    """
    study, flows, done = worked.study, worked.flows, worked.done
    if not _rainy(study):
        return xr.Dataset()
    threads = os.cpu_count() or 1
    case = case_of(study, worked.record, flows)
    return _merged(
        [
            _certainty(study, case, _drawn(study, case, threads), done, threads),
            _ladder(worked),
            _maps(worked, case, threads),
            _shortcuts(worked),
            step_of_study(study, flows, done, Path(worked.folder)),
        ]
    )


def _rainy(study) -> bool:
    return study.arrangement.kind != "mains reserve"


def _drawn(study, case: Case, threads: int):
    """Return the flows of all draws of what is uncertain."""
    return draw_flows(case, draw_inputs(case, study.sizing.draws, study.sizing.seed), threads=threads)


def _merged(parts: list[xr.Dataset]) -> xr.Dataset:
    """Return the parts as one; of attributes with one name the first that says something."""
    out = xr.merge([part.drop_attrs(deep=False) for part in parts], compat="override", join="outer")
    for part in parts:
        out.attrs |= {k: v for k, v in part.attrs.items() if k not in out.attrs and v is not None}
    return out


def _certainty(study, case: Case, drawn, done: xr.Dataset, threads: int) -> xr.Dataset:
    """Return the curve with its band, the sure size, and which unknown matters most."""
    measure, target, seed = study.target.measure, study.target.reliability, study.sizing.seed
    record = draw_flows(case, record_inputs(case), threads=threads)
    out = uncertain_curve(
        drawn, record, done.capacity.values, target=target, measure=measure, threads=threads
    ).drop_vars(["reliability", "draw"])
    enough = np.flatnonzero(out.draws_reaching.values >= SURE)
    largest = float(out.capacity[enough[0]]) if enough.size else None  # saves most of the search
    sure = sure_size(drawn, record, target, measure=measure, largest=largest, threads=threads)
    out["sure_size"] = ((), sure.capacity, attributes("sure_size"))
    out["size_on_record"] = ((), sure.on_record, attributes("size_on_record"))
    capacity = float(done.described)
    one = tornado(case, capacity=capacity, measure=measure, runs=RUNS, seed=seed, threads=threads)
    all_at_once = sobol_indices(
        case, capacity=capacity, measure=measure, base=SOBOL_BASE, runs=RUNS, seed=seed, threads=threads
    )
    attrs = out.attrs | {"sure": sure.sure}
    out = xr.merge([out, one, all_at_once.sel(input=one.input)], compat="override", join="left")
    return out.assign_attrs(attrs)


def _first(worked: Worked) -> tuple[xr.DataArray, xr.DataArray, xr.DataArray]:
    """Return rain, inflow and demand of the first filling."""
    rain = worked.record.filled.isel(member=0, drop=True).reset_coords(drop=True)
    inflow = worked.flows.water.inflow.isel(member=0, drop=True).reset_coords(drop=True)
    return rain, inflow, worked.flows.asked.sum("use").reset_coords(drop=True)


def _ladder(worked: Worked) -> xr.Dataset:
    """Return the smallest size for each target, the one that never fails, and the knee."""
    study, done = worked.study, worked.done
    _, inflow, asked = _first(worked)
    settings, shares = settings_and_shares(study, worked.flows)
    measure = study.target.measure
    out = sizes_for_targets(
        inflow, asked, study.sizing.targets, measure=measure, shares=shares, **settings
    ).drop_attrs(deep=False)
    never = no_failure(inflow, asked, theta=study.tank.theta)
    knee = find_knee(done.isel(member=0) if "member" in done.yearly_yield.dims else done)
    for name, value in (
        ("no_failure_size", never.capacity),
        ("sequent_peak", never.peak),
        ("knee_size", knee.capacity),
    ):
        out[name] = ((), float(value) if np.isfinite(value) else np.nan, attributes(name))
    return out


def _maps(worked: Worked, case: Case, threads: int) -> xr.Dataset:
    """Return reliability and yield over tank size and roof area, and over tank size and demand."""
    study, done = worked.study, worked.done
    rain, inflow, asked = _first(worked)
    area = sum(roof.area for roof in study.roof)
    sizes = done.capacity.values
    along = xr.DataArray(sizes, {"capacity": sizes}, ("capacity",))
    settings, shares = settings_and_shares(study, worked.flows)
    settings.pop("essential", None)  # a map of the demand has no share of it that stays
    settings = {k: v for k, v in settings.items() if not k.startswith("ration")}
    settings |= {k: v * along for k, v in shares.items() if not k.startswith("ration")}
    by_area = inflow_by_area(rain, study.catchment, np.array(AREAS) * area, intensity=study.losses.intensity)
    out = {}
    for key, came, drawn in (
        ("by_area", by_area, asked),
        ("by_demand", inflow, demand_by_factor(asked, DEMANDS)),
    ):
        over = trade_off_map(came, drawn, along, threads=threads, **settings)
        for name in (study.target.measure, "yearly_yield", "marginal_yield"):
            kept = "reliability" if name == study.target.measure else name
            out[f"{kept}_{key}"] = over[name].assign_attrs(attributes(name))
    return xr.Dataset(out)


def _shortcuts(worked: Worked) -> xr.Dataset:
    """Return what the short ways recommend and what they would have done, and the rules of spillage."""
    study, done = worked.study, worked.done
    rain, inflow, asked = _first(worked)
    settings, shares = settings_and_shares(study, worked.flows)
    target, site = study.target.reliability, study.site
    month = worked.record.year_start_month
    here = near_melbourne(site.latitude, site.longitude) and target in (0.85, 0.9, 0.95)
    sizes = shortcut_sizes(
        rain, inflow, asked, study.catchment, year_start_month=month, melbourne=target if here else None
    )
    judged = judge_shortcuts(
        sizes, inflow, asked, target, measure=study.target.measure, shares=shares, **settings
    )
    judged = judged.rename({name: f"way_{name}" for name in judged.data_vars if name != "size_by_way"})
    plain = {k: v for k, v in settings.items() if k != "theta" and not k.startswith("ration")}
    plain.pop("essential", None)
    sizes_of_curve = done.capacity.values
    along = xr.DataArray(sizes_of_curve, {"capacity": sizes_of_curve}, ("capacity",))
    rules = rules_of_spillage(inflow, asked, along, **plain)
    return xr.merge([judged, rules], join="outer", compat="override").assign_attrs({})
