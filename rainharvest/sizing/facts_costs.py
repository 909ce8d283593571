"""What sizes cost and what is on offer: the stage of the costs."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import xarray as xr

from rainharvest.core.quantities import along as labels
from rainharvest.core.quantities import variables
from rainharvest.core.reader import middle
from rainharvest.demand.uses import daily_demand
from rainharvest.rainfall.record import measured_years
from rainharvest.sizing import band
from rainharvest.sizing import trade_off as curves
from rainharvest.sizing.catalogue import every_choice, read_catalogue
from rainharvest.sizing.costs import (
    days_of_supply,
    drawn_by_period,
    efficient,
    full_days,
    life_cycle,
    saved_bills,
)
from rainharvest.sizing.facts import decided_tank, rain_feeds, yield_a_year
from rainharvest.sizing.facts_certainty import case_of, decisive_part, drawn_cases, merged
from rainharvest.sizing.tables import Costs
from rainharvest.storage.facts import Flows, balance_settings
from rainharvest.storage.simulate import simulate

FEW = 2.0

"""Combinations that hold more than so many times what the largest of the curve does are left out."""


def prices_of(study) -> Costs | None:
    """Return the prices of a study, or none; those of a catalogue alone count too."""
    return study.costs or (Costs() if study.catalogue else None)


def prices_of_sizes(study) -> Costs | None:
    """Return the prices that hold for a tank of any size, or none: a catalogue prices only the tanks that it lists."""
    costs = study.costs
    by_size = costs is not None and any(part.per_litre for part in costs.parts)
    return costs if by_size or study.catalogue is None else None


def savings(study) -> str:
    """Return what a tank saves: "mains" water, "none" of it (a reserve), "as if" priced so where there are no mains.

    "no mains" where no tariff is given, so that none has a price to hold the tank against.
    """
    if study.arrangement.kind == "mains reserve":
        return "none"
    costs = prices_of(study) or Costs()
    if not (costs.tariff or costs.block):
        return "no mains"
    return "as if" if study.arrangement.treated else "mains"


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
        settings = balance_settings(study, flows, along)
        inflow, demand = flows.water.inflow.isel(member=0, drop=True), flows.demand.sum("use")
        drawn = drawn_by_period(inflow, demand, along.values, costs.billing_months, **settings)
        others = tuple(use for use in study.use if use.name in set(flows.not_served))
        mains = daily_demand(others, study.calendar, results.record.filled).sum("use") if others else 0.0
        saved = saved_bills(costs, drawn, demand + mains)
    yearly_yield = yearly_yield.assign_coords(capacity=along.values)
    return life_cycle(costs, nominal, yearly_yield, saved_bill=saved, tank_price=price)


def yields_as_run(study, flows: Flows, usable, alone: xr.Dataset | None = None) -> xr.DataArray:
    """Return what sizes deliver a year, in the middle of the fillings, the mains let in as the study says.

    What sizes do on rain alone, or through the interruptions of a reserve, serves where it is at hand and the same.
    """
    if alone is None or study.arrangement.kind == "combined":
        along = curves.along_sizes(np.asarray(usable, dtype=float))
        settings = balance_settings(study, flows, along) | {"threads": curves.THREADS}
        alone = simulate(flows.water.inflow, flows.demand.sum("use"), along, **settings)
    return yield_a_year(study, alone).median("member")


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
        drawn = drawn_cases(study, case_of(study, *decisive_part(results)))
        by_draw = band.measures_of_draws(drawn, sizes, keep=(measure,))[measure].values
        table["draws_reaching"] = (by_draw >= target * curves.ENOUGH).mean(axis=0)
    yearly = yields_as_run(study, flows, sizes, done)
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
    if tank_price is None and prices_of_sizes(results.study) is None:
        return out
    money = cost_of_sizes(results, sizes, yearly, tank_price=tank_price, beside=beside)
    good = efficient(money.annual.values, reached).astype(np.int8)
    out = out.assign(variables(dim, {"efficient": good})).assign_attrs(money.attrs)
    return out.assign({name: (dim, values.values, values.attrs) for name, values in money.data_vars.items()})


def sizing_group(results) -> xr.Dataset:
    """Return everything on which the tank size of a study is decided."""
    study, done = results.study, results.done
    # What only the list of parts prices, as it is for the tank decided on: the whole is that of the first page.
    beside = results.groups["site works"].attrs["beside_costs"]
    sizes, reached = done.capacity.values, done[study.target.measure].median("member").values
    yearly = yields_as_run(study, results.flows, sizes, done)
    curve = _worth(results, "capacity", sizes, yearly, reached, beside)
    parts = [curve.assign_coords(capacity=done.capacity.variable), results.groups["certainty"]]
    if study.catalogue is not None:
        parts.append(_options_to_buy(results, beside))
    out = merged(parts)
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
        saves=savings(study),
    )
