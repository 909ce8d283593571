"""The tank-size decision of a study: every size, the one chosen, how sure, at what cost."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import xarray as xr

from rainharvest.catchment.collect import collect_finer
from rainharvest.core.errors import require
from rainharvest.core.quantities import along as labels
from rainharvest.core.quantities import attributes, variables
from rainharvest.core.reader import GALLON, middle, rounded
from rainharvest.demand.uses import daily_demand, essential_demand
from rainharvest.rainfall.read import read_subdaily
from rainharvest.rainfall.record import StudyRecord, measured_years, part_since
from rainharvest.sizing import band, shortcuts
from rainharvest.sizing import trade_off as curves
from rainharvest.sizing.catalogue import Choice, cheapest_alike, every_choice, read_catalogue
from rainharvest.sizing.costs import (
    days_of_supply,
    drawn_by_period,
    efficient,
    full_days,
    life_cycle,
    saved_bills,
)
from rainharvest.sizing.resample import BLOCK_YEARS
from rainharvest.sizing.smallest import SmallestTank, no_failure, smallest_of_members
from rainharvest.sizing.tables import Costs
from rainharvest.sizing.uncertainty import Case, Drawn, draw_flows, draw_inputs, input_ranges, record_inputs
from rainharvest.storage.facts import Flows, balance_settings, mains_supply
from rainharvest.storage.simulate import simulate

SURE_FILLINGS = 0.9

"""Share of the filled versions in which the recommended tank reaches the target."""

SHARES = ("start", "ration_level", "top_up_trigger", "top_up_level")

"""Settings of the balance that grow with the tank."""


def rain_feeds(study) -> bool:
    """Return whether rain enters the tank; a mains reserve has none."""
    return study.arrangement.kind != "mains reserve"


def settings_and_shares(study, flows: Flows) -> tuple[dict[str, object], dict[str, object]]:
    """Return the settings of the balance on rain alone: those that are the same for each size, and shares of it."""
    settings = balance_settings(study, flows, 1.0, mains=not rain_feeds(study))
    shares = {name: settings.pop(name) for name in SHARES if name in settings}
    return settings, shares


def curve_facts(study, record: StudyRecord, flows: Flows) -> xr.Dataset:
    """Simulate every size and find the smallest that will do.

    The reliability on which the size is decided is that of the tank on rain alone where rain feeds it
    (mains water behind it would make every size look reliable), and that of the reserve through its
    interruptions where it does not.
    """
    inflow, demand = flows.water.inflow, flows.demand.sum("use")
    nominal = np.array(study.tank.sizes or curves.sizes_to_try(demand) / study.tank.usable_share)
    sizes = curves.along_sizes(nominal * study.tank.usable_share)
    settings = balance_settings(study, flows, sizes, mains=not rain_feeds(study))
    month = record.year_start_month
    settings |= {"year_start_month": month, "threads": curves.THREADS}
    curve = curves.trade_off(inflow, demand, sizes, **settings)
    out = curve.assign_coords(nominal=("capacity", nominal, attributes("nominal"))).drop_attrs(deep=False)
    found = smallest_by_member(study, flows, curve=out)
    size, flat = of_fillings(found).capacity, curves.flat_size(out[["yearly_yield"]].median("member"))
    out = out.assign(variables("member", {"smallest": np.array([one.capacity for one in found])}))
    out = out.assign(variables((), {"recommended": size, "flat_size": flat}))
    since = part_since(record)
    if since is None or not rain_feeds(study):
        return out
    # The safer of the sizes on the record and on its part since a break, unless the record is confirmed.
    _, later = cut_to(record, flows, since)
    new = of_fillings(smallest_by_member(study, later)).capacity
    facts = {"size_since_break": new, "size_on_whole": size, "break_year": since.year}
    facts |= {"years_since_break": later.demand.sizes["time"] / 365.25}
    if "rain.break" not in study.confirmed:
        facts["decisive_year"] = 0 if new < size or math.isnan(size) else since.year
        # Where no tank reaches it in the years since, that of the whole record is at least named.
        facts["recommended"] = size if math.isnan(new) else float(np.maximum(new, size))
    return out.assign(variables((), facts))


def cut_to(record: StudyRecord, flows: Flows, since) -> tuple[StudyRecord, Flows]:
    """Return record and flows from a day on."""
    later = {"time": slice(since, None)}
    water, demand = flows.water.sel(later), flows.demand.sel(later)
    return replace(record, filled=record.filled.sel(later)), replace(flows, water=water, demand=demand)


def smallest_by_member(
    study, flows: Flows, target: float | None = None, curve: xr.Dataset | None = None
) -> list[SmallestTank]:
    """Return the smallest tank of each filled version for a target, the study's own if none is given.

    Where the curve of these versions is at hand, it spares most of the search.
    """
    demand, inflow = flows.demand.sum("use"), flows.water.inflow
    settings, shares = settings_and_shares(study, flows)
    if not rain_feeds(study):
        # No rain: every version is the same, and the size cannot matter beyond a year's demand.
        inflow, settings["largest"] = inflow.isel(member=[0]), float(demand.groupby("time.year").sum().max())
    target, measure = study.target.reliability if target is None else target, study.target.measure
    known = None if curve is None else curve[measure].isel(member=slice(inflow.sizes["member"]))
    found = smallest_of_members(
        inflow, demand, target, measure=measure, curve=known, shares=shares, **settings
    )
    return found * (flows.water.sizes["member"] // len(found))


def of_fillings(found: list[SmallestTank]) -> SmallestTank:
    """Return the tank that is enough in nine of ten versions: one of NaN if too many have none."""
    rising = sorted(found, key=lambda one: math.inf if math.isnan(one.capacity) else one.capacity)
    return rising[math.ceil(SURE_FILLINGS * len(rising)) - 1]


def trade_size(nominal: float, units: str = "metric") -> float:
    """Return a nominal size [L] rounded up to two figures in the study's units, as tanks are asked for in the trade.

    >>> trade_size(56_234.0), round(trade_size(56_234.0, "us") / GALLON)
    (57000.0, 15000)
    """
    unit = GALLON if units == "us" else 1.0
    return rounded(nominal / unit * (1 - 1e-12), up=True) * unit


@dataclass(frozen=True)
class DecidedTank:
    """The one tank that a study decides on: what page 1, curve, drought, site works, parts and costs describe."""

    nominal: float  # [L]
    decided_by: str  # "study file", "target", or "ceiling" where no size reaches the target
    bought: Choice | None  # The tanks on offer that make it; None without a catalogue, or where none holds it


def decided_tank(study, tried: xr.Dataset, folder: Path) -> DecidedTank:
    """Decide on one tank: the cheapest on offer that hold the size; without a catalogue the size, rounded up.

    The size is what the study file names, else the smallest that reaches the target, else the one from which more
    tank adds next to nothing.
    """
    needed, decided_by = study.tank.chosen, "study file"
    if needed is None:
        usable, decided_by = float(tried.recommended), "target"
        if not math.isfinite(usable):
            usable, decided_by = float(tried.flat_size), "ceiling"
        needed = max(usable, float(tried.capacity[0])) / study.tank.usable_share  # no smaller than any tried
    bought = None
    if study.catalogue is not None:
        on_offer = read_catalogue(Path(folder) / study.catalogue.file)
        bought = cheapest_alike(on_offer, needed, study.catalogue)
    if bought is not None:
        needed = bought.nominal
    elif decided_by != "study file":
        needed = trade_size(needed, study.units)
    return DecidedTank(needed, decided_by, bought)


def decision_facts(
    study, record: StudyRecord, flows: Flows, tried: xr.Dataset, folder: Path = Path()
) -> xr.Dataset:
    """Describe the tank that is decided on, and gather the results."""
    inflow, demand = flows.water.inflow, flows.demand.sum("use")
    month = record.year_start_month
    decided = decided_tank(study, tried, folder)
    usable = study.tank.usable(decided.nominal)

    def simulated(came: xr.DataArray, size: float = usable, mains: bool = True, **more: object) -> xr.Dataset:
        settings = balance_settings(study, flows, size, mains=mains)
        return simulate(came, demand, size, **settings, **more).isel(capacity=0, drop=True)

    described = simulated(inflow, year_start_month=month)
    daily = simulated(inflow.isel(member=0), trace=True)
    alone, half, twice = (
        simulated(inflow, factor * usable, mains=not rain_feeds(study), year_start_month=month)
        for factor in (1.0, 0.5, 2.0)
    )

    out = tried.assign(variables((), {"described": usable, "described_nominal": decided.nominal}))
    years = demand.sizes["time"] / 365.25
    more = {"described_full_days": full_days(demand, [usable])[0].reset_coords(drop=True)}
    more |= {f"described_{name}": values for name, values in described.data_vars.items()}
    for name, done in {"described": alone, "half": half, "twice": twice}.items():
        reached = done[study.target.measure]
        more[f"{name}_rain_reliability"] = reached.assign_attrs(attributes("rain_reliability"))
    if "break_year" in out:
        _, later = cut_to(record, flows, part_since(record))
        settings = balance_settings(study, later, usable, mains=False)
        since = simulate(later.water.inflow, later.demand.sum("use"), usable, **settings)
        more |= variables((), {"reached_since_break": float(since[study.target.measure].median())})
    more["described_rain_yield"] = (alone.delivered / years).assign_attrs(attributes("rain_yield"))
    more |= {name: values for name, values in daily.data_vars.items() if "time" in values.dims}
    more["rain"] = record.filled.isel(member=0).reset_coords(drop=True)
    out = out.assign(more)  # all at once: each time the whole is put together anew
    out = out.assign_coords(flag=("time", record.filled.flag.values, record.filled.flag.attrs))
    more = {"inflow": inflow.isel(member=0), "demand": flows.demand}
    for name in [name for name in ("lost", "rain_on_roof") if name in flows.water]:
        mean = flows.water[name].sum("time") / flows.water.sizes["time"]
        more[f"mean_{name}"] = mean.assign_attrs(attributes(name))
    out = out.assign(more)
    raw, filled, plan = record.raw.attrs, record.filled.attrs, study.arrangement
    mains = None if plan.kind == "rain only" else mains_supply(plan, flows.demand.time)
    out.attrs = {
        "year_start_month": month,
        "measure": study.target.measure,
        "target": study.target.reliability,
        "arrangement": plan.kind,
        "mains": "none" if mains is None else mains.attrs["assumptions"],
        "decided_by": decided.decided_by,
        "usable_share": study.tank.usable_share,
        "offers": int(study.catalogue is not None),
        "not_served": "; ".join(flows.not_served),
        "left_out": record.left_out,
        "reading": raw.get("assumptions", ""),
        "filling": filled.get("assumptions", ""),
        "years_estimated": filled.get("years_estimated", ""),
        "years_mostly_filled": filled.get("years_to_leave_out", ""),
        "days_missing": int(record.raw.isnull().sum()),
        "days_read": int(record.raw.sizes["time"]),
        "measured_years": measured_years(record),
    }
    if decided.bought is not None:
        one = decided.bought
        out.attrs |= {"tanks": len(one.tanks), "tank_height": one.tanks[0].height}
        out.attrs |= {"tank_price": one.price, "link_price": study.catalogue.link_price}
    return out


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


FEW = 2.0

"""Combinations that hold more than so many times what the largest of the curve does are left out."""


def prices_of(study) -> Costs | None:
    """Return the prices of a study, or none; those of a catalogue alone count too."""
    return study.costs or (Costs() if study.catalogue else None)


def cost_of_sizes(results, usable, yearly_yield: xr.DataArray, *, tank_price=None, beside=0.0) -> xr.Dataset:
    """Return what sizes cost and save over the years of the study; ``beside`` is the price of what only others list."""
    study, flows = results.study, results.flows
    costs, along = prices_of(study), curves.along_sizes(np.asarray(usable, dtype=float))
    costs = costs.model_copy(update={"fixed": costs.fixed + beside})
    nominal = along / study.tank.usable_share
    price = None if tank_price is None else nominal.copy(data=np.asarray(tank_price, dtype=float))
    saved = None
    if not rain_feeds(study):  # what it delivers is mains water
        saved = xr.zeros_like(yearly_yield)
    elif costs.block:
        settings = balance_settings(study, flows, along, mains=False)
        inflow, demand = flows.water.inflow.isel(member=0, drop=True), flows.demand.sum("use")
        drawn = drawn_by_period(inflow, demand, along.values, costs.billing_months, **settings)
        others = tuple(use for use in study.use if use.name in set(flows.not_served))
        mains = daily_demand(others, study.calendar, results.record.filled).sum("use") if others else 0.0
        saved = saved_bills(costs, drawn, demand + mains)
    yearly_yield = yearly_yield.assign_coords(capacity=along.values)
    return life_cycle(costs, nominal, yearly_yield, saved_bill=saved, tank_price=price)


def _options_to_buy(results, beside: float) -> xr.Dataset:
    """Return what each combination of tanks on offer costs, saves and is worth beside money."""
    study, flows = results.study, results.flows
    share, target, measure = study.tank.usable_share, study.target.reliability, study.target.measure
    choices = every_choice(read_catalogue(Path(results.folder) / study.catalogue.file), study.catalogue)
    largest = FEW * float(results.done.capacity[-1])
    some = [choice for choice in choices if choice.nominal * share <= largest] or [choices[0]]
    decided = decided_tank(study, results.done, results.folder).bought
    if decided is not None and decided not in some:  # other tanks, linked, hold more for less
        some = sorted([*some, decided], key=lambda choice: (choice.price, choice.nominal))
    sizes = np.array([choice.nominal * share for choice in some])
    along, demand = curves.along_sizes(sizes), flows.demand.sum("use")
    settings = balance_settings(study, flows, along, mains=not rain_feeds(study))
    done = simulate(flows.water.inflow, demand, along, **settings, threads=curves.THREADS)
    yearly = (done.delivered / (demand.sizes["time"] / 365.25)).median("member")
    prices = np.array([choice.price for choice in some])
    reached = done[measure].median("member").values
    table = {
        "capacity": sizes,
        "nominal": sizes / share,
        "price": prices,
        "footprint": np.array([choice.footprint for choice in some]),
        "tanks": np.array([len(choice.tanks) for choice in some]),
        "reliability": reached,
    }
    if rain_feeds(study):
        drawn = _drawn(study, case_of(study, *_decisive_part(results)))
        by_draw = band.measures_of_draws(drawn, sizes, keep=(measure,))[measure].values
        table["draws_reaching"] = (by_draw >= target * curves.ENOUGH).mean(axis=0)
    worth = _worth(results, "option", sizes, yearly, reached, beside, prices)
    out = worth.assign(variables("option", table))
    out.price.attrs["units"] = out.attrs["currency"]
    out = out.rename({name: f"option_{name}" for name in out.data_vars})
    out = out.assign_coords(labels(option=np.array([choice.words for choice in some])))
    return out if decided is None else out.assign_attrs(decided_option=some.index(decided))


def _worth(
    results, dim: str, sizes, yearly: xr.DataArray, reached, beside: float, tank_price=None
) -> xr.Dataset:
    """Return how long sizes last when full and what they save; with prices what they cost, and the efficient front."""
    # a mains reserve saves no mains water
    saved = yearly if rain_feeds(results.study) else xr.zeros_like(yearly)
    lasts = full_days(results.flows.demand.sum("use"), sizes).values
    out = xr.Dataset(variables(dim, {"full_days": lasts, "mains_saved": saved.values}))
    if tank_price is None and results.study.costs is None:
        return out
    money = cost_of_sizes(results, sizes, yearly, tank_price=tank_price, beside=beside)
    good = efficient(money.annual.values, reached).astype(np.int8)
    out = out.assign(variables(dim, {"efficient": good})).assign_attrs(money.attrs)
    return out.assign({name: (dim, values.values, values.attrs) for name, values in money.data_vars.items()})


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


def sizing_group(results) -> xr.Dataset:
    """Return everything on which the tank size of a study is decided."""
    study, done = results.study, results.done
    # What only the list of parts prices, as it is for the tank decided on: the whole is that of the first page.
    beside = results.groups["site works"].attrs["beside_costs"]
    yearly, reached = (done[name].median("member") for name in ("yearly_yield", study.target.measure))
    curve = _worth(results, "capacity", done.capacity.values, yearly, reached.values, beside)
    parts = [curve.assign_coords(capacity=done.capacity.variable), results.groups["certainty"]]
    if study.catalogue is not None:
        parts.append(_options_to_buy(results, beside))
    out = _merged(parts)
    out["in_hand"] = days_of_supply(done.stored, done.demand.sum("use"))
    out = out.assign(variables((), {"record_years": measured_years(results.record)}))
    told = ("decided_by", "usable_share", "offers", "tanks")
    return out.assign_attrs(
        {name: done.attrs[name] for name in told if name in done.attrs},
        title="The tank-size decision",
        beside_costs=beside,
        nominal=float(done.described_nominal),
        reached=middle(done.described_rain_reliability),
        measure=study.target.measure,
        target=study.target.reliability,
        arrangement=study.arrangement.kind,
    )


def certainty_group(results) -> xr.Dataset:
    """Return what of the decision no price touches: the band, each target's size, the maps, the shortcuts, the step."""
    study, done = results.study, results.done
    if not rain_feeds(study):
        return _other_interruptions(study, results.flows)
    record, flows = _decisive_part(results)
    since = int(done.break_year) if record is not results.record else 0
    case = case_of(study, record, flows)
    out = _merged(
        [
            _certainty(study, case, done),
            _sizes_for_targets(study, flows, done if flows is results.flows else None),
            _whole_record(results),
            _maps(results),
            _shortcuts(results),
            _daily_step(study, flows, done, Path(results.folder)),
        ]
    )
    gaps = int(case.members > 1 and done.attrs["days_missing"] > 0)
    return out.assign_attrs(gaps=gaps, drawn_since=since)


def _decisive_part(results) -> tuple[StudyRecord, Flows]:
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


def _drawn(study, case: Case) -> Drawn:
    """Return the flows of all draws of what is uncertain."""
    return draw_flows(case, draw_inputs(case, study.sizing.draws, study.sizing.seed))


def _merged(parts: list[xr.Dataset]) -> xr.Dataset:
    """Return the parts as one; of attributes with one name the first that says something."""
    out = xr.merge([part.drop_attrs(deep=False) for part in parts], compat="override", join="outer")
    for part in parts:
        out.attrs |= {k: v for k, v in part.attrs.items() if k not in out.attrs and v is not None}
    return out


def _certainty(study, case: Case, done: xr.Dataset) -> xr.Dataset:
    """Return the curve with its band, the sure size, and which unknown matters most."""
    measure, target, seed = study.target.measure, study.target.reliability, study.sizing.seed
    tank, given = float(done.described), {"target": target, "measure": measure}
    drawn, record = _drawn(study, case), draw_flows(case, record_inputs(case))
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
        }
    )


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
