"""What enters the balance of a study, and what anybody prints of the tank and its supply."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import xarray as xr

from rainharvest.core.errors import require
from rainharvest.core.reader import middle
from rainharvest.demand.mains import mains_by_rule, mains_by_week, mains_in_spells
from rainharvest.demand.uses import essential_demand, may_serve
from rainharvest.storage.arrangements import (
    arrangement_settings,
    careless_set_level,
    compare_arrangements,
    per_year,
    reserve_curve,
    ride_out,
)
from rainharvest.storage.tables import Arrangement

LEVELS = (0.05, 0.1, 0.15, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0)

"""Set levels of the curve, shares of the tank."""

TRIGGER_SHARE = 0.05

"""The mains valve opens when a twentieth of the tank is left (own choice)."""

RIDE_OUTS = (0.25, 0.5, 1, 1.5, 2, 3, 4, 5, 6, 7, 8, 10, 12, 14)

"""Ride-outs of the curve, in days."""


@dataclass(frozen=True)
class Flows:
    """What enters the balance."""

    # What `rainharvest.catchment.collect` returns; its ``inflow`` is zero for a mains reserve
    water: xr.Dataset
    demand: xr.DataArray  # [L/day] (use, time): what the uses ask of the tank
    not_served: tuple[str, ...]  # Uses that need drinking quality and that rain alone may not serve
    evapotranspiration: xr.DataArray | None = None  # [mm/day] Where the study tells of its weather


def mains_supply(plan: Arrangement, time) -> xr.DataArray:
    """Return when the mains supply: by the days without, the hours of the week and the random spells together.

    >>> import pandas as pd
    >>> plan = Arrangement(kind="combined", mains_off=["sun"], mains_hours={"fri": 6})
    >>> mains_supply(plan, pd.date_range("2024-03-01", periods=4)).values
    array([0.25, 1.  , 0.  , 1.  ])
    """
    parts = []
    if plan.mains_off or not (plan.mains_hours or plan.spells):
        parts.append(mains_by_rule(time, plan.mains_off))
    if plan.mains_hours:
        parts.append(mains_by_week(time, plan.mains_hours))
    if plan.spells:
        spells = plan.spells
        parts.append(mains_in_spells(time, spells.spell_length, spells.interruptions_a_year, spells.seed))
    on = parts[0]
    for part in parts[1:]:
        on = on * part
    require(
        plan.kind != "mains reserve" or float(on.max()) > 0,
        "the mains never reach the tank: they are off on every day of the record",
        "leave days with mains, or let rain feed it too",
        "arrangement",
    )
    return on.assign_attrs(parts[0].attrs | {"assumptions": "; ".join(p.attrs["assumptions"] for p in parts)})


def balance_settings(study, flows: Flows, usable, mains: bool = True) -> dict[str, object]:
    """Return the settings of the balance that the study's arrangement stands for."""
    plan, tank = study.arrangement, study.tank
    out = arrangement_settings(
        plan.kind if mains else "rain only",
        usable,
        mains_on=mains_supply(plan, flows.demand.time),
        change_over=plan.change_over and mains,
        trigger_share=plan.top_up_trigger,
        level_share=plan.top_up_level,
        top_up_rate=plan.top_up_rate,
        start_share=tank.start_share,
    )
    out["theta"] = tank.theta
    if study.rationing:
        stages = xr.DataArray([stage.level for stage in study.rationing], dims="stage")
        out["ration_level"] = stages * usable
        out["ration_share"] = [stage.share for stage in study.rationing]
        out["essential"] = essential_demand(flows.demand)
    return out


def mains_taken(done: xr.Dataset) -> float:
    """Return what the tank described takes from the mains in a mean year [L]."""
    years = float(done.days_in_year.sum()) / 365.25
    return middle(done.described_topped_up + done.described_changed_over) / years


def full_mornings(done: xr.Dataset) -> float:
    """Return the share of mornings [1] on which the tank described is full: the store of the evening before."""
    return float((done.stored.values >= float(done.described) * (1 - 1e-9)).mean())


def worst_two_years(done: xr.Dataset) -> xr.Dataset:
    """Return the daily balance of the two years around the largest shortfall."""
    daily = done[["stored", "unmet_daily"]]
    total = np.concatenate([[0.0], np.cumsum(daily.unmet_daily.values)])
    span = min(730, daily.sizes["time"])
    # From the many windows that hold the whole shortfall, the one in which it lies in the middle.
    short = total[span:] - total[:-span]
    best = np.flatnonzero(short >= short.max() - 1e-9)
    first = int(best[best.size // 2])
    return daily.isel(time=slice(first, first + span))


def worst_facts(worst: xr.Dataset) -> dict[str, object]:
    """Return the first and the last day of the worst stretch, and what was short in it [L]."""
    first, last = worst.time.values[[0, -1]]
    return {"first": first, "last": last, "short": float(worst.unmet_daily.sum())}


@dataclass(frozen=True)
class Supply:
    """A study with what does not change when its demand and its mains do."""

    study: object  # Its file
    rain: xr.DataArray  # [mm/day] Its rain, in the first filled version
    inflow: xr.DataArray  # [L/day] Rain water at the tank inlet
    evapotranspiration: xr.DataArray  # [mm/day] Reference evapotranspiration


def supplied(
    supply: Supply,
    demand: xr.DataArray,
    *,
    capacity: float,
    spell_length: float,
    interruptions_a_year: float,
    level_share: float,
    seed: int = 0,
) -> xr.Dataset:
    """Simulate the arrangements side by side with interrupted mains, and every set level of the top-up.

    Parameters
    ----------
    supply : Supply
        The study.
    demand : DataArray [L/day]
        (use, time), with ``quality`` on ``use``.
    capacity : float [L]
        Usable tank size.
    spell_length : float [day]
        Mean length of a spell without mains.
    interruptions_a_year : float [1/year]
        Mean number of them.
    level_share : float [1]
        Set level of the top-up, share of the tank.
    seed : int [1], optional
        Seed of the spells.

    Returns
    -------
    Dataset
        What `rainharvest.storage.arrangements.per_year` gives on ``arrangement``; the same for each set
        level on ``level_share``, prefixed with ``level_``; ``longest_failure`` [day]. The attribute
        ``not_served`` names the uses that rain alone may not serve.

    Raises
    ------
    InputError
        If a value is out of range.
    """
    total = demand.sum("use")
    served = np.array([may_serve("rain only", str(q)) for q in demand.quality.values])
    on = mains_in_spells(total.time, spell_length, interruptions_a_year, seed)
    side_by_side = compare_arrangements(
        supply.inflow,
        total,
        capacity,
        rain_serves=demand.isel(use=np.flatnonzero(served)).sum("use"),
        mains_on=on,
        trigger_share=min(TRIGGER_SHARE, level_share),
        level_share=level_share,
    ).isel(capacity=0, drop=True)
    levels = careless_set_level(
        supply.inflow, total, capacity, LEVELS, trigger_share=TRIGGER_SHARE, mains_on=on
    )
    out = per_year(side_by_side).assign(longest_failure=side_by_side.longest_failure)
    of_level = per_year(levels)
    out = out.merge(of_level.rename({name: f"level_{name}" for name in of_level}))
    out.attrs = {
        "not_served": "; ".join(str(n) for n in demand.use.values[~served]),
        "years": total.sizes["time"] / 365.25,
        "interruptions_a_year": interruptions_a_year,
        "spell_length": spell_length,
        "level_share": level_share,
    }
    return out


def arrangements_facts(done: xr.Dataset) -> dict[str, object]:
    """Return the days short of each arrangement of `supplied`, and the mains water that the combined tank saves."""
    names = done.arrangement.values.tolist()
    failed, mains = (
        dict(zip(names, done[name].values.astype(float).tolist(), strict=True))
        for name in ("failed_a_year", "mains_a_year")
    )
    bought = mains["mains reserve"]
    saved = 1 - mains["combined (top-up)"] / bought if bought > 0 else 0.0
    not_served = list(filter(None, done.attrs["not_served"].split("; ")))
    return done.attrs | {"failed": failed, "saved": max(saved, 0.0), "not_served": not_served}


def level_facts(done: xr.Dataset) -> dict[str, float]:
    """Return the mains water spilled and the days short at the set level of `supplied`, and at the brim."""
    level, out = done.attrs["level_share"], {}
    for name, values in (("spilled", done.level_spilled_mains_a_year), ("failed", done.level_failed_a_year)):
        out[name] = float(np.interp(level, done.level_share.values, values.values))
        out[f"brim_{name}"] = float(values[-1])
    return out | {"level": level}


def reserve_of(demand: xr.DataArray) -> xr.DataArray:
    """Return what a mains reserve for this demand must hold."""
    return reserve_curve(demand.sum("use"), RIDE_OUTS)


def ride_out_facts(demand: xr.DataArray, capacity: float) -> dict[str, float | None]:
    """Return the days that a full tank lasts without mains: from the worst morning, the median one, and essential uses.

    Only mornings from which the record runs long enough to say; no days of the essential uses where none is named.
    """
    demand = demand.isel(member=0) if "member" in demand.dims else demand

    def lasts(drawn: xr.DataArray) -> np.ndarray:
        days = ride_out(drawn, capacity).values[0]
        days = days[np.isfinite(days)]
        return days if days.size else np.array([np.inf])

    whole, named = lasts(demand.sum("use")), bool(demand.essential.any())
    essential = float(lasts(essential_demand(demand)).min()) if named else None
    worst, median = float(whole.min()), float(np.median(whole))
    return {"litres": capacity, "worst": worst, "median": median, "essential": essential}


def reserve_facts(reserves: xr.DataArray, days: float, capacity: float) -> dict[str, float]:
    """Return what a reserve must hold for so many days, how long a tank lasts, and whether beyond what was tried."""
    lengths, sizes = reserves.ride_out.values, reserves.values
    needed, lasts = np.interp(days, lengths, sizes), np.interp(capacity, sizes, lengths)
    return {
        "days": days,
        "needed": float(needed),
        "lasts": float(lasts),
        "beyond": capacity > float(sizes[-1]),
    }
