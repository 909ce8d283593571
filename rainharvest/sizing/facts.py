"""The tank-size decision of a study: every size, and the one chosen."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import xarray as xr

from rainharvest.core.errors import require
from rainharvest.core.quantities import attributes, variables
from rainharvest.core.reader import GALLON, rounded
from rainharvest.rainfall.flags import Flag
from rainharvest.rainfall.record import StudyRecord, measured_years, part_since
from rainharvest.sizing import trade_off as curves
from rainharvest.sizing.catalogue import Choice, cheapest_alike, read_catalogue
from rainharvest.sizing.costs import (
    full_days,
)
from rainharvest.sizing.smallest import SmallestTank, smallest_of_members
from rainharvest.storage.facts import Flows, balance_settings, mains_supply
from rainharvest.storage.simulate import simulate

SURE_FILLINGS = 0.9

"""Share of the filled versions in which the recommended tank reaches the target."""

SHARES = ("start", "ration_level", "top_up_trigger", "top_up_level")

"""Settings of the balance that grow with the tank."""


def rain_feeds(study) -> bool:
    """Return whether rain enters the tank; a mains reserve has none."""
    return study.arrangement.kind != "mains reserve"


def yield_a_year(study, done: xr.Dataset) -> xr.DataArray:
    """Return what a tank delivers in a mean year [L]: its rain, less the mains water let in; of a reserve all.

    Mains water held in the tank takes the room of rain, which then spills: so this is less than on rain alone.
    """
    years = float(done.days_in_year.sum()) / 365.25
    bought = done.topped_up if rain_feeds(study) else 0.0
    return (done.delivered - bought).clip(0.0) / years


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
    remedy = "give filter_efficiency and each roof's runoff_coefficient above zero, and less first_flush"
    require(not rain_feeds(study) or inflow.any(), "no rain reaches the tank", remedy, "losses")
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
    return rounded(nominal / unit, up=True) * unit


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
        settings = balance_settings(study, flows, size, mains=mains) | more
        return simulate(came, demand, size, **settings).isel(capacity=0, drop=True)

    described = simulated(inflow, year_start_month=month)
    daily = simulated(inflow.isel(member=0), trace=True)
    alone, half, twice = (
        simulated(inflow, factor * usable, mains=not rain_feeds(study), year_start_month=month)
        for factor in (1.0, 0.5, 2.0)
    )

    out = tried.assign(variables((), {"described": usable, "described_nominal": decided.nominal}))
    more = {"described_full_days": full_days(demand, [usable])[0].reset_coords(drop=True)}
    more |= {f"described_{name}": values for name, values in described.data_vars.items()}
    # What a tank that begins empty is short of until it has filled is no drought of the record.
    more["described_longest_from_full"] = simulated(inflow, start=usable).longest_failure
    for name, done in {"described": alone, "half": half, "twice": twice}.items():
        reached = done[study.target.measure]
        more[f"{name}_rain_reliability"] = reached.assign_attrs(attributes("rain_reliability"))
    if "break_year" in out:
        _, later = cut_to(record, flows, part_since(record))
        settings = balance_settings(study, later, usable, mains=False)
        since = simulate(later.water.inflow, later.demand.sum("use"), usable, **settings)
        more |= variables((), {"reached_since_break": float(since[study.target.measure].median())})
    more["described_rain_yield"] = yield_a_year(study, described).assign_attrs(attributes("rain_yield"))
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
    own = record.raw.reindex(time=record.filled.time).notnull().values  # of the days used
    drawn = np.isin(
        record.filled.flag.values, [Flag.FILLED, Flag.RESAMPLED]
    )  # what a finding took out as well
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
        "days_filled": int(drawn.sum()),
        "days_without_reading": int((drawn | ~own).sum()),  # a share of a total beside those filled
        "days_missing": int(record.raw.isnull().sum()),  # of the whole file, used or not
        "days_read": int(record.raw.sizes["time"]),
        "measured_years": measured_years(record),
    }
    if decided.bought is not None:
        one = decided.bought
        out.attrs |= {"tanks": len(one.tanks), "tank_height": one.tanks[0].height}
        out.attrs |= {"tank_price": one.price, "link_price": study.catalogue.link_price}
    return out
