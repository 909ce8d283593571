"""The site works of a study that was run, whether they can be built, and the whole bill."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import xarray as xr

from rainharvest.catchment.hydraulics import first_bore
from rainharvest.catchment.tables import DEFAULTS as OF_PIPES
from rainharvest.catchment.tables import TRADE_SIZES
from rainharvest.core.defaults import Default, rows_of
from rainharvest.core.quantities import QUANTITIES, along, attributes, variables
from rainharvest.core.reader import Reader, reader_now
from rainharvest.rainfall.describe import rains_begin
from rainharvest.siteworks.overflow import ten_year_day
from rainharvest.siteworks.tables import DEFAULTS
from rainharvest.siteworks.upkeep import LINK, TANK, priced_by_costs
from rainharvest.siteworks.works import Given, Works, plan_siteworks
from rainharvest.sizing.facts_costs import cost_of_sizes, prices_of
from rainharvest.sizing.tables import Costs
from rainharvest.storage.facts import mains_taken

ONLY_WITH = rows_of("siteworks", "section")["only_with"]


@dataclass(frozen=True)
class Bill:
    """What the whole costs, summed here and nowhere else; in the study's currency."""

    currency: str
    life: int  # [year] Over which the yearly cost is reckoned
    lines: tuple[tuple[str, float], ...]  # What is paid for, and its price; no two lines hold the same thing
    unpriced: tuple[str, ...]  # Parts on the list that have no price
    beside_costs: float  # Of the total, what neither the table of costs nor the catalogue holds
    annual: float  # A year, with upkeep and energy; NaN where the study has no table of costs
    per_kilolitre: float  # For each kilolitre delivered
    net_present_value: float  # What is saved over the years less what is spent
    mains: float  # [L/year] Mains water taken that has a tariff: it is in none of these

    @property
    def total(self) -> float:
        """Everything that has a price."""
        return sum(price for _, price in self.lines)


def bill_of(results, works: Works) -> Bill | None:
    """Return the bill of a study that was run; None where nothing has a price."""
    study, done, parts = results.study, results.done, works.parts
    costs = prices_of(study) or Costs()
    nominal, tank_price = works.given.nominal, done.attrs.get("tank_price")
    on_list = set(parts.part)
    cost = parts.set_index("part").cost
    tanks = float(cost[cost.index.isin([TANK, LINK])].sum())
    own = float(cost[~cost.index.isin([TANK, LINK, *(part.name for part in costs.part)])].sum())
    lines = [("the tanks" if works.vessel.tanks > 1 else "the tank", tanks), ("fixed price", costs.fixed)]
    lines += [(part.name, part.price(nominal)) for part in costs.part]
    lines += [("other parts that have a price", own)]
    lines = [(what, price) for what, price in lines if price > 0]
    if not lines:
        return None
    in_costs = costs.fixed + sum(part.price(nominal) for part in costs.part)
    in_costs += costs.per_litre * nominal if tank_price is None else tank_price
    more = sum(price for _, price in lines) - in_costs
    named = {part.name for part in costs.part if part.name not in on_list}
    unpriced = tuple(name for name in parts[parts.cost.isna()].part if name not in named)
    money = dict.fromkeys(("annual", "per_kilolitre", "net_present_value"), np.nan)
    if study.costs is not None:
        yearly = xr.DataArray([float(done.described_rain_yield.median())], dims="capacity")
        price = None if tank_price is None else [tank_price]
        one = cost_of_sizes(results, [float(done.described)], yearly, tank_price=price, beside=more)
        money = {name: float(one[name].values[0]) for name in money}
    mains = mains_taken(done) if costs.tariff or costs.block else 0.0
    return Bill(costs.currency, costs.life, tuple(lines), unpriced, more, **money, mains=mains)


@dataclass(frozen=True)
class Buildable:
    """One thing that must hold for the site works to be built as described."""

    thing: str  # As a client calls it: "flow of the gutter", "head of the run", "overflow", "tap"
    fits: bool  # Whether it holds
    there: float  # What there is: m of level or head; kg; kPa; L/s that pass; L that reach a tap; NaN where none can be
    needed: float  # What must be there, in the same unit
    unit: str  # "m", "kg", "kPa", "L/s" or "L"
    answer: str  # Why not and what would make it fit; empty where it fits, or where the numbers say it
    remedy: dict | None = None  # What would make it fit, where numbers say why not: facts of a macro


def buildability(works: Works) -> list[Buildable]:
    """Return whether the site works can be built: level or head enough, each part passes the storm that reaches it."""
    rows, run = [], works.levels
    narrow = works.narrow_gutters
    if narrow:
        names, passes, sheds = zip(*narrow, strict=True)
        remedy = {"gutters": names}
        rows.append(Buildable("flow of the gutter", False, sum(passes), sum(sheds), "L/s", "", remedy))
    if run is not None:
        level = not run.answer and run.margin >= 0
        name = "level of the run" if run.conveyance.kind == "dry" else "head of the run"
        rows.append(Buildable(name, level, run.margin, 0.0, "m", run.answer))
        sizes, remedy = TRADE_SIZES[works.given.units], None
        if not run.enough and not run.answer:
            least = first_bore(run.conveyance, run.flow, sizes)
            remedy = {"bore": least, "widest": sizes[-1], "kind": run.conveyance.kind}
        rows.append(Buildable("flow of the run", run.enough, run.passes, run.flow, "L/s", "", remedy))
    made = works.overflow is not None
    passes = works.overflow.passes * works.vessel.tanks if made else np.nan
    rows.append(Buildable("overflow", made, passes, works.overflow_needed, "L/s", works.overflow_answer))
    lift, suction = works.flotation, works.pump and works.pump.suction
    if lift is not None:
        doubt = "" if lift.measured else " where the groundwater stands at the surface (measure it)"
        answer = f"empty, it may rise out of the ground{doubt}; site works say what holds it"
        said = answer if lift.floats else ""
        rows.append(Buildable("tank in wet ground", not lift.floats, lift.holding, lift.wanted, "kg", said))
    if suction is not None:
        said = "" if suction.enough else "the water lies too deep under it; site works say by how much"
        rows.append(Buildable("pump", suction.enough, suction.available, suction.asked, "m", said))
    if works.pump and works.pump.starts_low:
        at_tap, remedy = (works.pump.tap_at_start, works.pump.rise.pressure), {"pump": works.pump}
        rows.append(Buildable("start of the pump", False, *at_tap, "kPa", "", remedy))
    if works.out_of_reach:
        counted = works.vessel.capacity
        rows.append(Buildable("tap", False, counted - works.out_of_reach, counted, "L", ""))
    return rows


def siteworks_of(results) -> Works:
    """Return the site works of a study that has been run: of its tables, its record, its flows and its results."""
    return _siteworks_for(results, reader_now())


@lru_cache(2)  # six sections ask; parts and answers are in the reader's words
def _siteworks_for(results, reader: Reader) -> Works:
    """Return the site works as they are told to one reader."""
    study, done = results.study, results.done
    rain = study.arrangement.kind != "mains reserve"
    site, nominal = study.site_works, float(done.described_nominal)
    if "tanks" in done.attrs:
        site = site.bought(int(done.attrs["tanks"]), float(done.attrs["tank_height"]))
    version = results.record.filled.isel(member=0, drop=True) if rain else None
    given = given_of(
        study,
        nominal,
        results.flows.demand,
        done if rain else None,
        ten_year_day(version) if rain else 0.0,
        rains_begin=rains_begin(version) if rain else 1,
        prices=priced_by_costs(prices_of(study) or Costs(), nominal, site.tanks, done.attrs),
    )
    return plan_siteworks(site, given)


def given_of(
    study, nominal: float, demand: xr.DataArray, daily: xr.Dataset | None, heavy_day: float, **known
) -> Given:
    """Return what the site works take from a study, its demand, a tank and its daily balance (None without rain)."""
    return Given(
        nominal=nominal,
        dead_share=study.tank.dead_share,
        freeboard_share=study.tank.freeboard_share,
        mean_demand=max(float(demand.sum("use").mean()), 1e-9),
        demands={str(use): float(demand.sel(use=use).mean()) for use in demand.use.values},
        arrangement=study.arrangement.serves_as,
        change_over=study.arrangement.change_over,
        qualities=qualities_of(study),
        catchment=None if daily is None or not study.roof else study.catchment,
        daily=None if daily is None else daily[["inflow", "spilled_daily", "stored"]].reset_coords(drop=True),
        ten_year_day=heavy_day,
        elevation=study.site.elevation,
        units=study.units,
        **known,
    )


def qualities_of(study) -> dict[str, str]:
    """Return the quality that each thing that draws water of a study needs."""
    out = {use.name: use.quality for use in study.use}
    return out | {thing.name: "outdoor" for thing in (*study.garden, *study.pool)}


_KEYS = {
    "empty_share": "empty_mass",
    "slenderness": "height",
    "height_in_feet": "height",
    "starts": "most_starts",
    "fixture_pressure": "pressure",
    "fixture_flow": "flow",
    "suction_usual": "npsh_required",
}
"""Keys of the study file that take the place of a default of another name."""


def siteworks_defaults(works: Works) -> dict[str, Default]:
    """Return the defaults that entered the site works and that the study does not give itself, in words."""
    site, pump, soakaway, checked = works.site, works.pump, works.soakaway is not None, works.checks.index
    things = {
        "metric units": works.given.units == "metric",
        "US units": works.given.units == "us",
        "slab": site.slab_thickness,
        "concrete": site.slab_thickness or site.buried,
        "flat" if works.vessel.form == "rectangular" else "round": True,
        "overflow": works.overflow,
        "trial pit": site.trial_pit and works.given.catchment,
        "soakaway": soakaway,
        "law of storms": soakaway and site.storm_minutes is None,
        "soakaway's place": soakaway or "soakaway" in checked,
        "soakaway's depth": soakaway or "groundwater" in checked,
        "tap by gravity": not works.tap_dry,
        "pipe to a tap": pump or (site.tap_run and not works.tap_dry),
        "no pump chosen": pump and not pump.chosen,
    }
    there = works.there | {name for name, thing in things.items() if thing}
    missing = {name for thing, names in ONLY_WITH.items() if thing not in there for name in names}
    given = site.model_fields_set | (site.pump.model_fields_set if site.pump else set())
    used = {
        QUANTITIES[name].long_name if name in QUANTITIES else name.replace("_", " ").capitalize(): default
        for name, default in DEFAULTS.items()
        if isinstance(default, Default) and name not in missing and _KEYS.get(name, name) not in given
    }
    if works.overflow is not None:
        laid = {f"Overflow pipe: {QUANTITIES[k].long_name.lower()}": OF_PIPES[k] for k in ("fall", "filling")}
        used |= laid | {"Overflow pipe: roughness": OF_PIPES["roughness"]}
    return used


def siteworks_group(results) -> xr.Dataset:
    """Return the numbers of the site works, labelled, as a group of the results."""
    works = siteworks_of(results)
    bill = bill_of(results, works)
    vessel, base, pump = works.vessel, works.base, works.pump
    of_vessel = "height tank_length tank_width tanks outlet_mark overflow_mark".split()
    single = {name: getattr(vessel, name) for name in of_vessel} | {
        "footprint": vessel.plan_area,
        "mass_full": base.mass_full,
        "ground_pressure": base.ground_pressure,
        "bearing": np.nan if base.bearing is None else base.bearing,
        "slab_area": base.slab_area,
        "floor_height": works.floor_height,
        "tap_height": works.tap.tap_height,
        "below_tap": works.below_tap,
    }
    out, spills, overflow = works.gauge.copy(), works.spills, works.overflow
    if works.peak is not None:
        single["peak"] = works.peak.flow
    if overflow is not None:
        single |= {"overflow_bore": overflow.overflow_bore, "overflow_pipes": overflow.pipes * vessel.tanks}
    if spills is not None:
        single |= {"overflow_days": float(spills.days_a_year), "overflow_a_year": float(spills.volume_a_year)}
        single["largest_overflow"] = float(spills.largest)
        out["overflow_of_day"] = spills.overflow_of_day.assign_attrs(attributes("overflow_of_day"))
        out["quantile"].attrs = {"units": "1", "long_name": "Share of the days with overflow"}
    if works.soakaway is not None:
        out = out.merge(works.soakaway.drop_attrs(deep=False))
        single["infiltration"] = works.soakaway.attrs["infiltration"]
    if works.storms is not None:
        out = out.merge(works.storms)
    if pump is not None:
        single |= {name: getattr(pump, name) for name in ("vessel_volume", "starts", "stop_level")}
        of_duty = "duty_head electric_power motor_size pump_energy".split()
        single |= {name: getattr(pump.duty, name) for name in of_duty} | {"duty_flow": pump.duty.flow}
    parts, upkeep = works.parts, works.upkeep
    out = out.assign(variables((), single))
    out = out.assign_coords(along(part=parts.part.to_numpy(str), task=upkeep.task.to_numpy(str)))
    columns = {"quantity": parts.quantity, "counted": parts.counted.to_numpy(str), "cost": parts.cost}
    out = out.assign(variables("part", columns))
    out = out.assign(variables("task", {"interval_months": upkeep.every.to_numpy(float)}))
    out.attrs = {
        "form": vessel.form,
        "ground": works.site.ground,
        "engineer": "yes" if base.engineer else "no",
        "warnings": "; ".join(base.warnings),
        "overflow_to": works.site.overflow_to,
        "overflow_answer": works.overflow_answer,
        "soakaway_answer": works.soakaway_answer,
        "beside_costs": bill.beside_costs if bill else 0.0,
        "not_fitting": "; ".join(works.misfits.check),
        "to_measure": "; ".join(works.to_measure),
    }
    return out
