"""What the sizes of a study, and the tanks that can be bought for it, cost and save."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import xarray as xr

from rainharvest.demand.uses import daily_demand
from rainharvest.names import attributes
from rainharvest.sizing.band import measures_of_draws
from rainharvest.sizing.catalogue import Choice, every_choice, read_catalogue
from rainharvest.sizing.costs_bills import drawn_by_period, saved_bills
from rainharvest.sizing.costs_front import efficient, full_days
from rainharvest.sizing.costs_life import life_cycle
from rainharvest.sizing.costs_prices import Costs
from rainharvest.sizing.uncertainty import Drawn
from rainharvest.storage.simulate import simulate
from rainharvest.study.file import Study
from rainharvest.study.flows import Flows, balance_settings
from rainharvest.study.record import StudyRecord

FEW = 2.0
"""Combinations that hold more than so many times what the largest of the curve does are left out."""


def prices_of(study: Study) -> Costs | None:
    """Return the prices of a study, or none; those of a catalogue alone count too.

    Parameters
    ----------
    study : Study
        The study.

    Returns
    -------
    Costs or None
        None where nothing bears a price.
    """
    return study.costs or (Costs() if study.catalogue else None)


def choices_of(study: Study, folder: Path) -> tuple[Choice, ...]:
    """Return the combinations of tanks that can be bought, those that nothing betters.

    Parameters
    ----------
    study : Study
        The study.
    folder : Path
        The folder of the study file.

    Returns
    -------
    tuple of Choice
        Empty where the study has no catalogue.

    Raises
    ------
    InputError
        If the catalogue cannot be used.
    """
    plan = study.catalogue
    if plan is None:
        return ()
    limits = plan.model_dump(exclude={"file"})
    return every_choice(read_catalogue(folder / plan.file), **limits)


def cost_of_sizes(
    study: Study, record: StudyRecord, flows: Flows, usable, yearly_yield, *, tank_price=None
) -> xr.Dataset:
    """Return what sizes cost and save over the years of the study.

    Parameters
    ----------
    study : Study
        The study, with prices.
    record : StudyRecord
        Its rain.
    flows : Flows
        What enters the balance.
    usable : ndarray [L]
        Usable sizes, rising.
    yearly_yield : DataArray [L/year]
        What each yields, on ``capacity``.
    tank_price : ndarray, optional
        Price of the tank of each size, where a catalogue has it.

    Returns
    -------
    Dataset
        As `rainharvest.sizing.costs_life.life_cycle`, on ``capacity``.
    """
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
    """Return what each combination of tanks costs, saves and is worth beside money.

    Parameters
    ----------
    study : Study
        The study.
    record : StudyRecord
        Its rain.
    flows : Flows
        What enters the balance.
    choices : tuple of Choice
        As `choices_of`.
    drawn : Drawn or None
        The draws of what is uncertain.
    largest : float [L]
        Largest usable size of the curve.
    threads : int [1]
        Blocks of tanks simulated side by side.

    Returns
    -------
    Dataset
        On ``option``, the words of the combination: ``option_capacity`` and ``option_nominal`` [L],
        ``option_price``, ``option_footprint``, ``option_tanks``, ``option_reliability`` (the target's
        measure, middle of the fillings), ``option_draws_reaching``, ``option_full_days``,
        ``option_mains_saved``, ``option_efficient`` (cost a year against reliability), and what
        `rainharvest.sizing.costs_life.life_cycle` gives, each name with ``option_`` before it.
    """
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
    """Return what the sizes of the study's curve cost and save, and are worth beside money.

    Parameters
    ----------
    study : Study
        The study.
    record : StudyRecord
        Its rain.
    flows : Flows
        What enters the balance.
    done : Dataset
        As `rainharvest.study.run.run_study`.

    Returns
    -------
    Dataset
        On ``capacity``: ``full_days``, ``mains_saved`` and, with prices, those of
        `rainharvest.sizing.costs_life.life_cycle` and ``efficient``.
    """
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
