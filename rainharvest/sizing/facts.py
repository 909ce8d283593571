"""The tank-size decision of a study: every size, the one chosen, how sure, at what cost."""

from __future__ import annotations

import math
import os
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import xarray as xr

from rainharvest.catchment.collect import collect_finer
from rainharvest.core.errors import InputError
from rainharvest.core.quantities import attributes
from rainharvest.demand.uses import daily_demand
from rainharvest.rainfall.flags import runs
from rainharvest.rainfall.read import read_subdaily
from rainharvest.rainfall.record import StudyRecord
from rainharvest.sizing.band import (
    SURE,
    measures_of_draws,
    sobol_indices,
    sure_size,
    tornado,
    uncertain_curve,
)
from rainharvest.sizing.catalogue import Choice, every_choice, read_catalogue
from rainharvest.sizing.costs import (
    drawn_by_period,
    efficient,
    full_days,
    life_cycle,
    saved_bills,
    water_in_hand,
)
from rainharvest.sizing.resample import BLOCK_YEARS
from rainharvest.sizing.shortcuts import (
    daily_step,
    judge_shortcuts,
    near_melbourne,
    rules_of_spillage,
    shortcut_sizes,
)
from rainharvest.sizing.smallest import no_failure, sizes_for_targets, smallest_of_members, smallest_tank
from rainharvest.sizing.tables import Costs
from rainharvest.sizing.trade_off import (
    demand_by_factor,
    find_knee,
    inflow_by_area,
    sizes_to_try,
    trade_off,
    trade_off_map,
)
from rainharvest.sizing.uncertainty import Case, Drawn, draw_flows, draw_inputs, input_ranges, record_inputs
from rainharvest.storage.facts import Flows, balance_settings, mains_supply
from rainharvest.storage.simulate import simulate
from rainharvest.study.file import Study

if TYPE_CHECKING:
    from rainharvest.study.stages import Worked


SURE_FILLINGS = 0.9

"""Share of the filled versions in which the recommended tank reaches the target."""


def sized(study: Study, record: StudyRecord, flows: Flows) -> xr.Dataset:
    """Simulate every size and find the smallest that will do.

    The reliability on which the size is decided is that of the tank on rain alone where rain feeds it
    (mains water behind it would make every size look reliable), and that of the reserve through its
    interruptions where it does not.
    """
    inflow, asked = flows.water.inflow, flows.asked.sum("use")
    share, own = study.tank.usable_share, study.arrangement.kind == "mains reserve"
    nominal = study.tank.sizes or tuple(sizes_to_try(asked) / share)
    sizes = xr.DataArray(np.array(nominal) * share, dims="capacity")
    sizes = sizes.assign_coords(capacity=sizes.values)
    shared = {"year_start_month": record.year_start_month, "threads": os.cpu_count() or 1}
    curve = trade_off(inflow, asked, sizes, **balance_settings(study, flows, sizes, mains=own), **shared)
    out = curve.assign_coords(nominal=("capacity", np.array(nominal), attributes("nominal")))
    out = out.drop_attrs(deep=False)
    found = _smallest_by_member(study, flows, own)
    out["smallest"] = ("member", found, attributes("smallest"))
    out["recommended"] = ((), _recommended(found), attributes("recommended"))
    return out


def decided(study: Study, record: StudyRecord, flows: Flows, tried: xr.Dataset) -> xr.Dataset:
    """Describe the tank that is chosen, and gather the results."""
    inflow, asked = flows.water.inflow, flows.asked.sum("use")
    month, own = record.year_start_month, study.arrangement.kind == "mains reserve"
    recommended = float(tried.recommended) / study.tank.usable_share
    largest = float(tried.nominal[-1])
    chosen = study.tank.chosen or (recommended if math.isfinite(recommended) else largest)
    usable = study.tank.usable(chosen)
    settings = balance_settings(study, flows, usable)
    described = simulate(inflow, asked, usable, **settings, year_start_month=month).isel(
        capacity=0, drop=True
    )
    daily = simulate(inflow.isel(member=0), asked, usable, **settings, trace=True).isel(capacity=0, drop=True)
    alone = simulate(
        inflow, asked, usable, **balance_settings(study, flows, usable, mains=own), year_start_month=month
    ).isel(capacity=0, drop=True)

    out = tried.copy()
    out["described"] = ((), usable, attributes("described"))
    out["described_nominal"] = ((), chosen, attributes("described_nominal"))
    for name, values in described.data_vars.items():
        out[f"described_{name}"] = values
    out["described_rain_reliability"] = alone[study.target.measure].assign_attrs(
        attributes("rain_reliability")
    )
    for name in daily.data_vars:
        if "time" in daily[name].dims:
            out[name] = daily[name]
    out["rain"] = record.filled.isel(member=0).reset_coords(drop=True)
    out = out.assign_coords(flag=("time", record.filled.flag.values, record.filled.flag.attrs))
    out["inflow"] = inflow.isel(member=0)
    out["demand"] = flows.asked
    if "lost" in flows.water:
        days = flows.water.sizes["time"]
        for name in ("lost", "rain_on_roof"):
            mean = flows.water[name].sum("time") / days
            out[f"mean_{name}"] = mean.assign_attrs(attributes(name))
    out.attrs = {
        "year_start_month": month,
        "measure": study.target.measure,
        "target": study.target.reliability,
        "arrangement": study.arrangement.kind,
        "mains": "none" if study.arrangement.kind == "rain only" else _mains(study, flows),
        "not_served": "; ".join(flows.not_served),
        "left_out": record.left_out,
        "reading": record.raw.attrs.get("assumptions", ""),
        "filling": record.filled.attrs.get("assumptions", ""),
        "years_estimated": record.filled.attrs.get("years_estimated", ""),
        "years_mostly_filled": record.filled.attrs.get("years_to_leave_out", ""),
        "days_missing": int(record.raw.isnull().sum()),
        "days_read": int(record.raw.sizes["time"]),
    }
    return out


def _mains(study: Study, flows: Flows) -> str:
    return mains_supply(study.arrangement, flows.asked.time).attrs["assumptions"]


def _smallest_by_member(study: Study, flows: Flows, own: bool) -> np.ndarray:
    """Return the smallest tank of each filled version; NaN where none reaches the target."""
    asked, inflow, target = flows.asked.sum("use"), flows.water.inflow, study.target
    sample = balance_settings(study, flows, 1.0, mains=own)
    # Levels and start grow with the tank.
    scaled = [k for k in ("start", "ration_level", "top_up_trigger", "top_up_level") if k in sample]
    given = {
        "measure": target.measure,
        "shares": {k: sample[k] for k in scaled},
        **{k: v for k, v in sample.items() if k not in scaled},
    }
    if own:  # no rain: every version is the same, and the size cannot matter beyond a year's demand
        largest = float(asked.groupby("time.year").sum().max())
        first = inflow.isel(member=0)
        size = smallest_tank(first, asked, target.reliability, largest=largest, **given).capacity
        return np.full(inflow.sizes["member"], size)
    threads = os.cpu_count() or 1
    found = smallest_of_members(inflow, asked, target.reliability, threads=threads, **given)
    return np.array([one.capacity for one in found])


def _recommended(found: np.ndarray) -> float:
    """Return the size that reaches the target in nine of ten versions; NaN if too many have none."""
    ordered = np.sort(np.where(np.isnan(found), np.inf, found))
    size = float(ordered[math.ceil(SURE_FILLINGS * ordered.size) - 1])
    return size if math.isfinite(size) else math.nan


GROWN = ("start", "ration_level", "top_up_trigger", "top_up_level")

"""Settings of the balance that are shares of the tank."""


def settings_and_shares(study: Study, flows: Flows) -> tuple[dict[str, object], dict[str, object]]:
    """Return the settings of the balance on rain alone: those that are the same for each size, and shares of it."""
    sample = balance_settings(study, flows, 1.0, mains=study.arrangement.kind == "mains reserve")
    shares = {name: sample.pop(name) for name in GROWN if name in sample}
    return sample, shares


def case_of(study: Study, record: StudyRecord, flows: Flows) -> Case:
    """Return a study as a case with the ranges of what is not known for sure."""
    settings, shares = settings_and_shares(study, flows)
    asked = flows.asked
    weather = {thing.name for thing in (*study.garden, *study.pool)}
    follows = np.array([str(name) in weather for name in asked.use.values])
    given = {name: pair for name, pair in study.sizing.ranges.model_dump().items() if pair is not None}
    served = tuple(use for use in study.use if use.name in set(asked.use.values))
    by_calendar = asked.isel(use=np.flatnonzero(~follows))
    return Case(
        record.filled.reset_coords(drop=True),
        study.catchment,
        _total(by_calendar),
        ranges=input_ranges(study.catchment, served, by_calendar, given),
        weather_demand=_total(asked.isel(use=np.flatnonzero(follows))) if follows.any() else None,
        essential=settings.pop("essential", None),
        settings=settings,
        shares=shares,
        year_start_month=record.year_start_month,
        block_years=study.sizing.block_years or int(BLOCK_YEARS.value),
        intensity=study.losses.intensity,
    )


def _total(asked: xr.DataArray) -> xr.DataArray:
    return asked.sum("use").reset_coords(drop=True)


FEW = 2.0

"""Combinations that hold more than so many times what the largest of the curve does are left out."""


def prices_of(study: Study) -> Costs | None:
    """Return the prices of a study, or none; those of a catalogue alone count too."""
    return study.costs or (Costs() if study.catalogue else None)


def choices_of(study: Study, folder: Path) -> tuple[Choice, ...]:
    """Return the combinations of tanks that can be bought, those that nothing betters."""
    plan = study.catalogue
    if plan is None:
        return ()
    limits = plan.model_dump(exclude={"file"})
    return every_choice(read_catalogue(folder / plan.file), **limits)


def cost_of_sizes(
    study: Study, record: StudyRecord, flows: Flows, usable, yearly_yield, *, tank_price=None
) -> xr.Dataset:
    """Return what sizes cost and save over the years of the study."""
    costs = prices_of(study)
    sizes = np.asarray(usable, dtype=float)
    nominal = xr.DataArray(sizes / study.tank.usable_share, {"capacity": sizes}, ("capacity",))
    price = None if tank_price is None else nominal.copy(data=np.asarray(tank_price, dtype=float))
    saved = None
    own = study.arrangement.kind == "mains reserve"
    if own:  # what it delivers is mains water
        saved = xr.zeros_like(yearly_yield)
    elif costs.block:
        along = xr.DataArray(sizes, {"capacity": sizes}, ("capacity",))
        settings = balance_settings(study, flows, along, mains=False)
        inflow, asked = flows.water.inflow.isel(member=0, drop=True), flows.asked.sum("use")
        drawn = drawn_by_period(inflow, asked, sizes, costs.billing_months, **settings)
        others = tuple(use for use in study.use if use.name in set(flows.not_served))
        mains = daily_demand(others, study.calendar, record.filled).sum("use") if others else 0.0
        saved = saved_bills(costs, drawn, asked + mains)
    return life_cycle(
        costs, nominal, yearly_yield.assign_coords(capacity=sizes), saved_bill=saved, tank_price=price
    )


def options_to_buy(
    study: Study,
    record: StudyRecord,
    flows: Flows,
    choices: tuple[Choice, ...],
    drawn: Drawn | None,
    largest: float,
    threads: int = 1,
) -> xr.Dataset:
    """Return what each combination of tanks costs, saves and is worth beside money."""
    share = study.tank.usable_share
    some = [choice for choice in choices if choice.nominal * share <= FEW * largest] or [choices[0]]
    sizes = np.array([choice.nominal * share for choice in some])
    along = xr.DataArray(sizes, {"capacity": sizes}, ("capacity",))
    asked, measure = flows.asked.sum("use"), study.target.measure
    settings = balance_settings(study, flows, along, mains=study.arrangement.kind == "mains reserve")
    done = simulate(flows.water.inflow, asked, along, **settings, threads=threads)
    years = asked.sizes["time"] / 365.25
    yearly = (done.delivered / years).median("member")
    prices = np.array([choice.price for choice in some])
    money = cost_of_sizes(study, record, flows, sizes, yearly, tank_price=prices)
    table = {
        "capacity": sizes,
        "nominal": sizes / share,
        "price": prices,
        "footprint": np.array([choice.footprint for choice in some]),
        "tanks": np.array([len(choice.tanks) for choice in some]),
        "reliability": done[measure].median("member").values,
        "full_days": full_days(asked, sizes).values,
        "mains_saved": _saved_water(study, yearly).values,
    }
    if drawn is not None:
        reached = measures_of_draws(drawn, sizes, keep=(measure,), threads=threads)[measure].values
        table["draws_reaching"] = (reached >= study.target.reliability * (1 - 1e-12)).mean(axis=0)
    table |= {name: values.values for name, values in money.data_vars.items()}
    table["efficient"] = efficient(table["annual"], table["reliability"]).astype(np.int8)
    units = {name: values.attrs.get("units", "") for name, values in money.data_vars.items()}
    units["price"] = money.attrs["currency"]
    data = {}
    for name, values in table.items():
        more = {"units": units[name]} if units.get(name) else {}
        data[f"option_{name}"] = ("option", values, attributes(name) | more)
    words = np.array([choice.words for choice in some])
    return xr.Dataset(data, {"option": ("option", words, attributes("option"))}, money.attrs)


def curve_with_costs(study: Study, record: StudyRecord, flows: Flows, done: xr.Dataset) -> xr.Dataset:
    """Return what the sizes of the study's curve cost and save, and are worth beside money."""
    sizes = done.capacity.values
    yearly = done.yearly_yield
    yearly = yearly.median("member") if "member" in yearly.dims else yearly
    out = xr.Dataset(coords={"capacity": done.capacity.variable})
    asked = flows.asked.sum("use")
    out["full_days"] = ("capacity", full_days(asked, sizes).values, attributes("full_days"))
    out["mains_saved"] = ("capacity", _saved_water(study, yearly).values, attributes("mains_saved"))
    if study.costs is not None:
        money = cost_of_sizes(study, record, flows, sizes, yearly)
        reached = done[study.target.measure]
        reached = reached.median("member") if "member" in reached.dims else reached
        for name, values in money.data_vars.items():
            out[name] = ("capacity", values.values, values.attrs)
        good = efficient(money.annual.values, reached.values).astype(np.int8)
        out["efficient"] = ("capacity", good, attributes("efficient"))
        out.attrs |= money.attrs
    return out


def _saved_water(study: Study, yearly: xr.DataArray) -> xr.DataArray:
    """Return the rain water that stands in for mains water; a mains reserve has none."""
    return xr.zeros_like(yearly) if study.arrangement.kind == "mains reserve" else yearly


LEAST_DAYS = 300

"""Days in a row without a missing step that the comparison asks for (own choice: most of a year)."""


def step_of_study(study: Study, flows: Flows, done: xr.Dataset, folder: Path) -> xr.Dataset:
    """Return how far the daily step is off, with the study's roofs and its mean demand."""
    if not study.sizing.finer_rain:
        return xr.Dataset()
    path = folder / study.sizing.finer_rain
    rain = longest_whole_days(read_subdaily(path, units=study.sizing.finer_units))
    if rain.sizes["time"] == 0 or np.unique(rain.time.dt.floor("D").values).size < LEAST_DAYS:
        raise InputError(
            f"fewer than {LEAST_DAYS} days in a row have all their readings",
            "give a longer record of finer rain, or leave it out",
            "sizing.finer_rain",
            path,
        )
    given = study.losses.model_dump(exclude={"intensity"}, exclude_none=True)
    inflow = collect_finer(rain, study.roof, study.conveyance, **given).inflow
    demand = float(flows.asked.sum("use").mean())
    out = daily_step(rain, inflow, demand, done.capacity.values, draw_hours=study.sizing.draw_hours)
    days = inflow.sizes["time"]
    return out.rename(rule_reliability="step_rule_reliability").assign_attrs(finer_days=days)


def longest_whole_days(rain_step: xr.DataArray) -> xr.DataArray:
    """Return the longest run of whole days of sub-daily rain without a missing step, as a rate."""
    step = float(rain_step.attrs["step_seconds"])
    if step > 3600 or 86400 % step:
        raise InputError(
            f"readings every {step:g} s", "give readings of an hour or less that divide the day", "finer_rain"
        )
    per_day = int(86400 / step)
    stamp = rain_step.time.values.astype("datetime64[s]")
    first = stamp[0].astype("datetime64[D]").astype("datetime64[s]")
    place = ((stamp - first).astype(np.int64) // int(step)).astype(np.int64)
    days = int(place[-1] // per_day) + 1
    depth = np.full(days * per_day, np.nan)
    depth[place] = rain_step.values
    whole = np.isfinite(depth.reshape(days, per_day)).all(axis=1)
    first_day, last_day = max(zip(*runs(whole), strict=True), key=lambda r: r[1] - r[0], default=(0, -1))
    part = slice(first_day * per_day, (last_day + 1) * per_day)
    time = first + (np.arange(days * per_day) * int(step)).astype("timedelta64[s]")
    rate = depth[part] * 3600 / step
    return xr.DataArray(
        rate, {"time": time[part].astype("datetime64[ns]")}, ("time",), attrs={"units": "mm/h"}
    )


AREAS = (0.25, 0.5, 0.75, 1.0, 1.25, 1.5, 2.0, 3.0)

"""Roof areas of the map, multiples of the study's."""

DEMANDS = (0.25, 0.5, 0.75, 1.0, 1.25, 1.5, 2.0, 3.0)

"""Demands of the map, multiples of the study's."""


SOBOL_BASE = 64

"""Points of the Sobol sequence: enough to tell which unknown matters most, not to two figures (own choice)."""

RUNS = 64

"""Runs of years among which the tornado and the Sobol indices choose (own choice)."""


def sizing_group(worked: Worked) -> xr.Dataset:
    """Return everything on which the tank size of a study is decided."""
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
    """Return what of the decision no price touches: the band, the ladder, the maps, the shortcuts, the step."""
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
