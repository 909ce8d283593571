"""What anybody prints of the tank-size decision, worked out once from its results, in litres and unrounded."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import xarray as xr

from rainharvest.core.defaults import rows_of
from rainharvest.core.reader import middle
from rainharvest.sizing.resample import RecordLength, record_length
from rainharvest.sizing.trade_off import AREAS, DEMANDS, whole_years
from rainharvest.storage.facts import mains_taken

INPUTS: dict[str, str] = rows_of("sizing", "fixed")["inputs"]
"""What is not known for sure, in words."""

ENOUGH = 1 - 1e-12
"""Rounding must not make a target out of reach."""


@dataclass(frozen=True)
class TankFacts:
    """What was asked of the tank described, and what it does in a mean year of the record."""

    target: float  # [1]
    measure: str  # Which reliability
    years: float  # [year] Length of the record
    inflow: float  # [L/year] What reaches the tank
    demand: float  # [L/year] What is asked of it
    nominal: float  # [L] Its nominal size
    described: float  # [L] Its usable size
    tanks: int  # How many alike make it, as they are on offer; 0 where none is bought from a catalogue
    offers: bool  # Whether the study has a catalogue
    decided_by: str  # "study file", "target", or "ceiling" where no size reaches the target
    combined: bool  # Whether mains water stands behind the rain
    reached: float  # [1] Its reliability on rain alone, where rain feeds it
    full_days: float  # [day] How long it lasts when full, without rain or mains, from the worst morning
    rain: float  # [L/year] What it delivers on rain alone, where rain feeds it
    delivered: float  # [L/year]
    failed: float  # [day/year]
    longest: float  # [day] The longest failure
    rationed: float  # [L/year] What rationing turns away
    rationed_days: float  # [day/year]
    mains: float  # [L/year] What it takes from the mains


def tank_facts(done: xr.Dataset) -> TankFacts:
    """Return what the tank described does, in the middle of the filled versions."""
    years = float(done.days_in_year.sum()) / 365.25
    return TankFacts(
        done.attrs["target"],
        done.attrs["measure"],
        years,
        inflow=middle(done.inflow_total) / years,
        demand=float(done.demand_total) / years,
        nominal=float(done.described_nominal),
        described=float(done.described),
        tanks=int(done.attrs.get("tanks", 0)),
        offers=bool(done.attrs["offers"]),
        decided_by=done.attrs["decided_by"],
        combined=done.attrs["arrangement"] == "combined",
        reached=middle(done.described_rain_reliability),
        full_days=float(done.described_full_days),
        rain=middle(done.described_rain_yield),
        delivered=middle(done.described_delivered) / years,
        failed=middle(done.described_days_failed) / years,
        longest=middle(done.described_longest_failure),
        rationed=middle(done.described_rationed) / years,
        rationed_days=middle(done.described_days_rationed) / years,
        mains=mains_taken(done),
    )


@dataclass(frozen=True)
class HeadlineFacts:
    """The answer of a study: the smallest tank that will do, and how far the record carries it."""

    tank: TankFacts
    reserve: bool  # Whether it is a mains reserve, which no rain enters
    versions: int  # Filled versions of the record
    recommended: float  # [L] Smallest usable size that reaches the target in nine of ten of them; NaN if none
    nominal: float  # [L] The nominal size of that
    smallest: tuple[float, float, float]  # [L] Least, middle and largest over the versions
    beyond: int  # Versions in which no tank reaches the target
    largest: float  # [L] The size that reaches most of those tried: the largest, without rationing
    best: float  # [1] What it reaches
    most: float  # [1] Largest share of the water asked for that any size supplies
    flat: float  # [L] Size from which more tank adds next to nothing
    filled: bool  # Whether the record had gaps that were filled
    level: str  # How far the record carries a decision: "indicative", "screening", "fair" or "full"
    missing: float  # [%] Days of the record without a reading of their own
    years: float  # [year] Years of the record used that are not mostly filled

    @property
    def found(self) -> bool:
        """Whether any tank reaches the target."""
        return not math.isnan(self.recommended)


def headline_facts(done: xr.Dataset) -> HeadlineFacts:
    """Return the answer of a study, from what `rainharvest.run_study` gives."""
    tank, smallest = tank_facts(done), done.smallest.values
    recommended, share = float(done.recommended), done.volume_reliability.median("member")
    reached = done[tank.measure].median("member").values
    return HeadlineFacts(
        tank,
        reserve=done.attrs["arrangement"] == "mains reserve",
        versions=done.sizes["member"],
        recommended=recommended,
        nominal=recommended / done.attrs["usable_share"],
        smallest=(smallest.min(), float(np.median(smallest)), smallest.max()),
        beyond=int((~np.isfinite(smallest)).sum()),
        largest=float(done.capacity[-1] if reached[-1] >= reached.max() else done.capacity[reached.argmax()]),
        best=float(reached.max()),
        most=float(share.max()),
        flat=float(done.flat_size),
        filled=done.attrs["days_missing"] > 0,
        level=record_length(done.attrs["measured_years"]).level,
        years=done.attrs["measured_years"],
        missing=100 * done.attrs["days_missing"] / max(done.attrs["days_read"], 1),
    )


def break_facts(done: xr.Dataset) -> dict[str, float]:
    """Return what a proven break or trend does to the size; nothing without one."""
    if "break_year" not in done:
        return {}
    names = ("break_year", "years_since_break", "size_since_break", "size_on_whole", "recommended")
    return {name: float(done[name]) for name in names}


def failed_years(done: xr.Dataset) -> dict[str, float]:
    """Return how the failures of one version fall on its whole years."""
    failed = done.described_failed_by_year.values[whole_years(done.days_in_year.values)]
    return {
        "whole": failed.size,
        "failing": int((failed != 0).sum()),
        "worst": float(failed.max(initial=0)),
        "longest": float(done.described_longest_failure),
    }


@dataclass(frozen=True)
class Unknown:
    """What one input that is not known for sure does to the tank described."""

    words: str
    low: float  # [1] Reliability at the ends of its range, the lower first
    high: float  # [1]
    share: float  # [1] Share of the spread that stays when all others are known; NaN if nothing varies

    @property
    def width(self) -> float:
        """How far it moves the reliability [1]."""
        return self.high - self.low


def unknowns(group: xr.Dataset) -> list[Unknown]:
    """Return the inputs that are not known for sure, what matters most first."""
    width = abs((group.response_high - group.response_low).values)
    out = []
    for k in np.argsort(-width):
        low, high = sorted((float(group.response_low[k]), float(group.response_high[k])))
        share = float(group.total_order[k]) if "total_order" in group else math.nan
        out.append(Unknown(INPUTS[str(group.input.values[k])], low, high, share))
    return out


@dataclass(frozen=True)
class DecisionFacts:
    """The recommendation: what, why, what would change it, how sure."""

    target: float  # [1]
    measure: str
    record: RecordLength
    tank: dict[str, object]  # The tank decided on: its nominal size [L], how many alike, what decided it
    rain: bool  # Whether rain feeds the tank; without it the rest says nothing
    # Nominal sizes [L], as the tank decided on is named
    own: float = math.nan  # Size that reaches the target on the record as it stands; NaN if none
    sure: float = math.nan  # Size that does so in nine of ten versions; NaN if none
    knee: float = math.nan
    side: str = ""  # Where the first size lies: "before", "at" or "beyond" the knee
    gain: float = math.nan  # [L/year/L] What one more litre of it brings
    steps: tuple[tuple[float, float], ...] = ()  # Targets [1] with their sizes [L] on the record
    held: dict[int, float] | None = None  # Share of mornings [1] on which the store lasts so many days
    never: float = math.nan  # Size without a failure in the record; NaN if none
    unknowns: tuple[Unknown, ...] = ()  # What matters most first
    best: float = math.nan  # [1] Reliability with all inputs at their likeliest
    certainty: Certainty | None = None  # Of the tank decided on


@dataclass(frozen=True)
class Certainty:
    """The one statement of how sure the tank is: gaps, years to come, roof, losses and demand together."""

    target: float  # [1]
    measure: str
    low: float  # [1] Least reliability of nine in ten versions of what is not known
    high: float  # [1] Most
    reaching: int  # Of 100 versions, in how many it reaches the target
    sure: float  # [L] Nominal size that does so in nine of ten; NaN if none
    enough: bool  # Whether the tank is such a size


def certainty(group: xr.Dataset) -> Certainty | None:
    """Return how sure the tank decided on is; None where no rain feeds it."""
    if "described_draws_reaching" not in group:
        return None
    sure = float(group.sure_size) / group.attrs["usable_share"]
    return Certainty(
        group.attrs["target"],
        group.attrs["measure"],
        low=float(group.described_reliability_low),
        high=float(group.described_reliability_high),
        reaching=_of_100(float(group.described_draws_reaching)),
        sure=sure,
        enough=bool(group.attrs["nominal"] >= sure * ENOUGH),
    )


def decision(group: xr.Dataset) -> DecisionFacts:
    """Return what is printed of the decision, from `rainharvest.sizing.facts.sizing_group`."""
    target, record = group.attrs["target"], record_length(float(group.record_years))
    told = {"tanks": 0} | {
        k: group.attrs[k] for k in ("nominal", "decided_by", "offers", "tanks") if k in group.attrs
    }
    common = {"target": target, "measure": group.attrs["measure"], "record": record, "tank": told}
    if "sure_size" not in group:
        return DecisionFacts(**common, rain=False)
    share = group.attrs["usable_share"]
    own, sure, knee = (float(group[name]) for name in ("size_on_record", "sure_size", "knee_size"))
    steps = group.size_for_target.to_series().dropna() / share
    return DecisionFacts(
        **common,
        rain=True,
        own=own / share,
        sure=sure / share,
        knee=knee / share,
        side="beyond" if own > knee * 1.05 else "before" if own < knee / 1.05 else "at",
        gain=_marginal_yield(group, own),
        steps=tuple(steps.items()),
        held={int(days): float(share) for days, share in group.in_hand.to_series().items()},
        never=float(group.no_failure_size) / share,
        unknowns=tuple(unknowns(group)),
        best=float(group.response_best),
        certainty=certainty(group),
    )


@dataclass(frozen=True)
class Interruptions:
    """What other draws of the same kind of interruptions ask of a mains reserve: least and most."""

    draws: int
    size: tuple[float, float]  # [L] Smallest nominal size; NaN where none reaches the target
    longest: tuple[float, float]  # [day] Longest interruption


def interruptions(group: xr.Dataset) -> Interruptions | None:
    """Return what other draws of the interruptions ask for; None where none are drawn by chance."""
    if "seed_size" not in group:
        return None
    size, longest = group.seed_size.values / group.attrs["usable_share"], group.seed_longest.values
    ends = [(float(values.min()), float(values.max())) for values in (size, longest)]
    return Interruptions(size.size, *ends)


@dataclass(frozen=True)
class Changes:
    """What would have to change for the target to be reached; None where no change looked at is enough."""

    roof: float | None  # [1] Least multiple of the roof with which some size reaches it
    demand: float | None  # [1] Largest multiple of the demand
    most_roof: float  # [1] Multiple of the roof that is still too little
    least_demand: float  # [1] Multiple of the demand that is still too much


def changes_needed(group: xr.Dataset, tank: TankFacts) -> Changes:
    """Return the least change of roof or demand, of those on the maps, with which some size reaches the target."""
    enough = {}
    for name, along in (("by_area", "area"), ("by_demand", "demand_factor")):
        most = group[f"reliability_{name}"].max("capacity")
        enough[along] = most[along].values[most.values >= group.attrs["target"] * ENOUGH]
    own = float(group.area[AREAS.index(1.0)])
    balance = tank.target * tank.demand / max(tank.inflow, 1e-9)  # no tank gives more than comes in
    return Changes(
        roof=float(enough["area"][0]) / own if enough["area"].size else None,
        demand=float(enough["demand_factor"][-1]) if enough["demand_factor"].size else None,
        most_roof=max(AREAS[-1], balance),
        least_demand=min(DEMANDS[0], 1 / balance),
    )


def _marginal_yield(group: xr.Dataset, size: float) -> float:
    """Return the litres a year that one more litre of tank brings at a size, on the record."""
    at, yearly = group.capacity.values, group.yearly_yield_on_record.values
    k = int(np.clip(np.searchsorted(at, size), 1, at.size - 1))
    return float((yearly[k] - yearly[k - 1]) / (at[k] - at[k - 1]))


def _of_100(share: float) -> int:
    """Return a share of the draws to the nearest ten of a hundred; neither all nor none where some differ."""
    near = 10 * round(10 * share)
    return near if 0 < near < 100 or share in (0.0, 1.0) else round(100 * share)


def option_for(group: xr.Dataset, size: float) -> int | None:
    """Return the place of the cheapest combination of tanks that holds a usable size."""
    if "option_capacity" not in group or math.isnan(size):
        return None
    enough = np.flatnonzero(group.option_capacity.values >= size * ENOUGH)
    return int(enough[0]) if enough.size else None


def offer(group: xr.Dataset, place: int) -> dict[str, object]:
    """Return one combination of tanks on offer: its words, and what the results say of it."""
    one = group.isel(option=place)
    said = {
        "place": place,
        "words": one.option.item(),
        "currency": group.attrs["currency"],
        "life": group.attrs["life"],
    }
    names = [name for name in one.data_vars if name.startswith("option_")]
    return said | {name.removeprefix("option_"): one[name].item() for name in names}


def picked_options(group: xr.Dataset) -> list[int]:
    """Return the combinations that a figure of money shows: the best value, the knee and the target.

    Parameters
    ----------
    group : Dataset
        As `rainharvest.sizing.facts.sizing_group`, with a catalogue.

    Returns
    -------
    list of int
        Their places, rising, each once.
    """
    picked = {int(np.argmax(group.option_net_present_value.values))}
    picked |= {option_for(group, float(size)) for size in (group.knee_size, group.size_on_record)}
    return sorted(picked - {None})


def curve_at(curve: xr.Dataset, target: float, chosen: float) -> dict[str, float]:
    """Return what the sliders' curve says of a size and a target."""
    size, at = curve.capacity.values, np.log(curve.capacity.values)
    names = ("reliability", "reliability_low", "reliability_high")
    own, low, high = (float(np.interp(np.log(chosen), at, curve[name].values)) for name in names)
    out = {
        "measure": curve.attrs["measure"],
        "versions": curve.attrs["versions"],
        "inflow": curve.attrs["inflow_a_year"],
        "demand": curve.attrs["demand_a_year"],
        "target": target,
        "chosen": chosen,
        "own": own,
        "low": low,
        "high": high,
        "needed": size_reaching(curve, "reliability", target),
        "sure": size_reaching(curve, "reliability_low", target),
    }
    if "annual" in curve:
        prices = ("annual", "per_kilolitre")
        out |= {name: float(np.interp(chosen, size, curve[name].values)) for name in prices}
    return out


def size_reaching(curve: xr.Dataset, name: str, target: float) -> float:
    """Return the size at which a curve first reaches a target, read between its sizes.

    >>> curve = xr.Dataset({"reliability": ("capacity", [0.5, 0.9])}, {"capacity": [100.0, 200.0]})
    >>> size_reaching(curve, "reliability", 0.7), size_reaching(curve, "reliability", 0.95)
    (150.0, nan)
    """
    values, size = curve[name].values, curve.capacity.values
    enough = values >= target * ENOUGH
    if not enough.any():
        return math.nan
    k = int(np.argmax(enough))
    if k == 0 or values[k] == values[k - 1]:
        return float(size[k])
    share = (target - values[k - 1]) / (values[k] - values[k - 1])
    return float(size[k - 1] + share * (size[k] - size[k - 1]))


def maps_at(group: xr.Dataset, size: float) -> dict[str, float]:
    """Return what another roof or another demand would make of a tank."""
    at = float(np.clip(size, group.capacity[0], group.capacity[-1]))  # beyond the sizes tried, their end
    roof, demand = (group[f"reliability_by_{what}"].interp(capacity=at) for what in ("area", "demand"))
    return {
        "size": size,
        "own": float(demand.interp(demand_factor=1.0)),
        "half_roof": float(roof.isel(area=1)),
        "twice_roof": float(roof.isel(area=6)),
        "half_demand": float(demand.isel(demand_factor=1)),
        "twice_demand": float(demand.isel(demand_factor=6)),
    }


def band_side(group: xr.Dataset) -> str:
    """Return on which side of the record the middle of the versions lies: "above", "below", or "" where it is near."""
    gap = group.reliability_middle - group.reliability_on_record
    if not float(abs(gap).max()) > 0.03:
        return ""
    return "above" if float(gap.mean()) > 0 else "below"


def front_facts(group: xr.Dataset) -> dict[str, object]:
    """Return which tanks on offer reach the target for the least money, and the next step up."""
    enough = np.flatnonzero(group.option_reliability.values >= group.attrs["target"] * ENOUGH)
    off = int((group.option_efficient.values == 0).sum())
    out = {"target": group.attrs["target"], "measure": group.attrs["measure"], "off": off}
    if not enough.size:
        return out | {"least": None, "following": None}
    k = int(enough[np.argmin(group.option_annual.values[enough])])
    following = offer(group, k + 1) if k + 1 < group.sizes["option"] else None
    return out | {"least": offer(group, k), "following": following}


def shortcut_facts(group: xr.Dataset) -> dict[str, object]:
    """Return how the short ways fared: those too small, those far too large, those without an answer."""
    target, measure = group.attrs["target"], group.attrs["measure"]
    reached, size = group[f"way_{measure}"].values, group.size_by_way.values
    short, large, silent = [], [], []
    for k, way in enumerate(group.way.values[1:], start=1):
        if not np.isfinite(size[k]):
            silent.append(str(way))
        elif reached[k] < target - 0.005:
            short.append((str(way), reached[k]))
        elif size[k] > 1.5 * size[0]:
            large.append((str(way), size[k] / size[0]))
    return {"target": target, "measure": measure, "short": short, "large": large, "silent": silent}


def step_at(group: xr.Dataset, size: float) -> dict[str, float]:
    """Return how far the daily step is off, at its worst and at one size."""
    after, before = (group.step_error.sel(rule=f"yield {when} spillage") for when in ("after", "before"))
    at = float(np.clip(size, group.capacity[0], group.capacity[-1]))
    return {
        "size": size,
        "low": float(after.min()),
        "high": float(before.max()),
        "here": max(abs(float(error.interp(capacity=at))) for error in (after, before)),
        "days": group.attrs["finer_days"],
    }
