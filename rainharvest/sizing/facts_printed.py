"""What anybody prints of the tank-size decision, worked out once from its results, in litres and unrounded."""

from __future__ import annotations

import math
from types import SimpleNamespace as Facts

import numpy as np
import xarray as xr

from rainharvest.core.defaults import rows_of
from rainharvest.core.reader import depths, middle
from rainharvest.sizing.resample import record_length
from rainharvest.sizing.trade_off import AREAS, DEMANDS, ENOUGH, whole_years
from rainharvest.storage.facts import full_mornings, mains_taken

INPUTS: dict[str, str] = rows_of("sizing", "fixed")["inputs"]
"""What is not known for sure, in words."""


def tank_facts(done: xr.Dataset) -> Facts:
    """Return what was asked of the tank described, and what it does in a mean year: the middle of the versions."""
    years, attrs = float(done.days_in_year.sum()) / 365.25, done.attrs
    return Facts(
        target=attrs["target"],  # [1]
        measure=attrs["measure"],  # Which reliability
        years=years,  # [year] Length of the record
        inflow=middle(done.inflow_total) / years,  # [L/year] What reaches the tank
        demand=float(done.demand_total) / years,  # [L/year] What is asked of it
        nominal=float(done.described_nominal),  # [L]
        described=float(done.described),  # [L] Its usable size
        tanks=int(attrs.get("tanks", 0)),  # How many alike make it; 0 where none is bought from a catalogue
        offers=bool(attrs["offers"]),  # Whether the study has a catalogue
        # "study file", "target", or "ceiling" where no size reaches the target
        decided_by=attrs["decided_by"],
        combined=attrs["arrangement"] == "combined",  # Whether mains water stands behind the rain
        # [1] Its reliability on rain alone, where rain feeds it
        reached=middle(done.described_rain_reliability),
        # [1] Mornings on which it is full, and [day] how long it then lasts, from the worst of all mornings
        full_mornings=full_mornings(done),
        full_days=float(done.described_full_days),
        # [L/year] What it delivers of rain, where rain feeds it
        rain=middle(done.described_rain_yield),
        # [L/year] What is drawn, whether from the tank or past it by a change-over valve
        delivered=middle(done.described_delivered + done.described_changed_over) / years,
        failed=middle(done.described_days_failed) / years,  # [day/year]
        longest=middle(done.described_longest_failure),  # [day] The longest failure
        # [day] The same had the tank begun full; a panel's variant does not ask
        longest_from_full=middle(done.get("described_longest_from_full", done.described_longest_failure)),
        rationed=middle(done.described_rationed) / years,  # [L/year] What rationing turns away
        rationed_days=middle(done.described_days_rationed) / years,  # [day/year]
        mains=mains_taken(done),  # [L/year] What it takes from the mains
    )


def headline_facts(done: xr.Dataset) -> Facts:
    """Return the answer of a study and how far the record carries it, from what `rainharvest.run_study` gives."""
    tank, smallest, attrs = tank_facts(done), done.smallest.values, done.attrs
    recommended, share = float(done.recommended), attrs["usable_share"]
    reached = done[tank.measure].median("member").values
    # With rationing at a share of the tank, the largest need not reach most.
    largest = done.capacity[-1 if reached[-1] >= reached.max() else reached.argmax()]
    return Facts(
        tank=tank,
        arrangement=attrs["arrangement"],
        reserve=attrs["arrangement"] == "mains reserve",  # No rain enters it
        versions=done.sizes["member"],  # Filled versions of the record
        found=not math.isnan(recommended),  # Whether any tank reaches the target
        # Year from which the years decide, where the size is theirs; 0 where it is that of the whole record
        since=int(done.get("decisive_year", 0)) if recommended == done.get("size_since_break") else 0,
        nominal=recommended / share,  # [L] Smallest nominal size that reaches it in nine of ten versions
        # [L] Least, middle and largest nominal size over the versions
        smallest=tuple(float(f(smallest)) / share for f in (np.min, np.median, np.max)),
        beyond=int((~np.isfinite(smallest)).sum()),  # Versions in which no tank reaches the target
        largest=float(largest),  # [L] Of the usable sizes tried, the one that reaches most
        best=float(reached.max()),  # [1] What it reaches
        # [1] Share of the water that any size supplies
        most=float(done.volume_reliability.median("member").max()),
        flat=float(done.flat_size),  # [L] Usable size from which more tank adds next to nothing
        filled=attrs["days_filled"] > 0,  # Whether days of the record used were filled
        level=record_length(attrs["measured_years"]).level,  # How far the record carries a decision
        years=attrs["measured_years"],  # [year] Years of the record used that are not mostly filled
        missing=attrs["days_without_reading"]
        / done.sizes["time"],  # [1] Of the days used, without a reading of their own
    )


def break_facts(done: xr.Dataset) -> dict[str, float]:
    """Return what a proven break or trend does to the size; nothing without one. Sizes are nominal [L]."""
    if "break_year" not in done:
        return {}
    sizes = ("size_since_break", "size_on_whole", "recommended")
    out = {name: float(done[name]) / done.attrs["usable_share"] for name in sizes}
    told = ("break_year", "years_since_break", "reached_since_break", "decisive_year")
    return out | {name: float(done.get(name, -1)) for name in told}  # no decisive year: the study confirms


def failed_years(done: xr.Dataset) -> Facts:
    """Return how the failures of the tank described fall on the years, in the middle of the versions."""
    by_year = done.described_failed_by_year
    by_year = (by_year.median("member") if "member" in by_year.dims else by_year).values
    whole = whole_years(done.days_in_year.values)
    failed = by_year[whole]
    worst = failed.max(initial=0)
    return Facts(
        whole=whole.size,
        failing=int((failed > 0).sum()),  # Of the whole years
        worst=float(worst),  # [day]
        worst_year=int(done.year.values[whole][failed.argmax()]) if whole.size else 0,
        longest=middle(done.described_longest_failure),  # [day]
        worse_part_year=bool(whole.size and by_year.max() > worst),  # Whether a year held in part was worse
    )


def unknowns(group: xr.Dataset) -> list[Facts]:
    """Return what each input that is not known for sure does to the tank described, what matters most first."""
    width = abs((group.response_high - group.response_low).values)
    shares = group.total_order.values if "total_order" in group else np.full(width.size, np.nan)
    out = []
    for k in np.argsort(-width):
        low, high = sorted((float(group.response_low[k]), float(group.response_high[k])))
        out.append(
            Facts(
                words=INPUTS[str(group.input.values[k])],
                low=low,  # [1] Reliability at the ends of its range
                high=high,
                width=high - low,  # [1] How far it moves the reliability
                # [1] Share of the spread that stays when all others are known; or NaN
                share=float(shares[k]),
            )
        )
    return out


def certainty(group: xr.Dataset) -> Facts | None:
    """Return the one statement of how sure the tank decided on is; None where no rain feeds it."""
    if "described_draws_reaching" not in group:
        return None
    attrs, share = group.attrs, float(group.described_draws_reaching)
    near, sure = 10 * round(10 * share), float(group.sure_size) / attrs["usable_share"]
    return Facts(
        target=attrs["target"],  # [1]
        measure=attrs["measure"],
        low=float(group.described_reliability_low),  # [1] Least reliability in nine of ten versions
        high=float(group.described_reliability_high),  # [1] Most
        # Of 100 versions, in how many it reaches the target: to the nearest ten; neither all nor none where some differ
        reaching=near if 0 < near < 100 or share in (0.0, 1.0) else round(100 * share),
        sure=sure,  # [L] Nominal size that does so in nine of ten; NaN if none
        enough=bool(attrs["nominal"] >= sure * ENOUGH),  # Whether the tank is such a size
        **varied(group),
    )


def varied(group: xr.Dataset) -> dict[str, object]:
    """Return what differs between the versions: years and gaps or not, and the year from which on they are drawn."""
    attrs = group.attrs
    return {"years": attrs["years_drawn"] > 0, "gaps": attrs["gaps"] > 0, "since": attrs["drawn_since"]}


def decision(group: xr.Dataset) -> Facts:
    """Return the recommendation (what, why, what would change it, how sure), from the group of the decision."""
    attrs = group.attrs
    told = {"tanks": 0} | {k: attrs[k] for k in ("nominal", "decided_by", "offers", "tanks") if k in attrs}
    out = Facts(
        target=attrs["target"],  # [1]
        measure=attrs["measure"],
        record=record_length(float(group.record_years)),
        tank=told,  # The tank decided on: its nominal size [L], how many alike, what decided it
        rain="sure_size" in group,  # Whether rain feeds the tank; without it the rest says nothing
    )
    if not out.rain:
        return out
    share = attrs["usable_share"]  # sizes are nominal [L], as the tank decided on is named
    own, knee = float(group.size_on_record), float(group.knee_size)
    out.own = own / share  # Size that reaches the target on the record as it stands; NaN if none
    out.sure = float(group.sure_size) / share  # Size that does so in nine of ten versions; NaN if none
    out.knee = knee / share
    out.side = "beyond" if own > knee * 1.05 else "before" if own < knee / 1.05 else "at"
    at, yearly = group.capacity.values, group.yearly_yield_on_record.values
    k = int(np.clip(np.searchsorted(at, own), 1, at.size - 1))
    # [L/year/L] What one more litre brings
    out.gain = float((yearly[k] - yearly[k - 1]) / (at[k] - at[k - 1]))
    out.steps = tuple((group.size_for_target.to_series().dropna() / share).items())  # Targets [1] and sizes
    # Share of mornings [1]
    out.held = {int(days): float(part) for days, part in group.in_hand.to_series().items()}
    out.never = float(group.no_failure_size) / share  # Size without a failure in the record; NaN if none
    out.unknowns = unknowns(group)
    out.best = float(group.response_best)  # [1] Reliability with all inputs at their likeliest
    out.certainty = certainty(group)
    return out


def interruptions(group: xr.Dataset) -> Facts | None:
    """Return what other draws of a reserve's interruptions ask for, least and most; None where none are drawn."""
    if "seed_size" not in group:
        return None
    size, longest = group.seed_size.values / group.attrs["usable_share"], group.seed_longest.values
    # Smallest nominal size [L], NaN where none reaches the target; longest interruption [day]
    return Facts(draws=size.size, size=(size.min(), size.max()), longest=(longest.min(), longest.max()))


def changes_needed(group: xr.Dataset, tank: Facts) -> Facts | None:
    """Return the least change of roof or demand with which some size reaches a target that none reaches as it is."""
    if "roof_needed" not in group:
        return None
    balance = tank.target * tank.demand / max(tank.inflow, 1e-9)  # no tank gives more than comes in
    return Facts(
        roof=float(group.roof_needed),  # [1] Multiple of the roof; NaN where none looked at is enough
        demand=float(group.demand_needed),  # [1] Of the demand, likewise
        # Whether it begins empty and is short under any roof, before rain has filled it
        begins_short=bool(group.boundless_reliability < tank.target * ENOUGH),
        most_roof=max(AREAS[-1], balance),  # [1] Multiple of the roof that is still too little
        least_demand=min(DEMANDS[0], 1 / balance),  # [1] Multiple of the demand that is still too much
    )


def option_for(group: xr.Dataset, size: float) -> int | None:
    """Return the place of the cheapest combination of tanks that holds a usable size."""
    if "option_capacity" not in group or math.isnan(size):
        return None
    enough = np.flatnonzero(group.option_capacity.values >= size * ENOUGH)
    return int(enough[0]) if enough.size else None


def offered(name: str) -> str:
    """Return a combination of tanks on offer, which is kept in English litres, as the reader writes it."""
    return depths(str(name), "L", 4)


def offer(group: xr.Dataset, place: int) -> dict[str, object]:
    """Return one combination of tanks on offer: its words, and what the results say of it."""
    one = group.isel(option=place)
    said = {
        "place": place,
        "words": offered(one.option.item()),
        "currency": group.attrs["currency"],
        "life": group.attrs["life"],
        "saves": group.attrs["saves"],
    }
    names = [name for name in one.data_vars if name.startswith("option_")]
    return said | {name.removeprefix("option_"): one[name].item() for name in names}


def picked_options(group: xr.Dataset) -> list[int]:
    """Return the combinations that a figure of money shows: the best value, the knee and the target.

    Parameters
    ----------
    group : Dataset
        As `rainharvest.sizing.facts_costs.sizing_group`, with a catalogue.

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
        "mains": curve.attrs["mains"],  # whether costs are of the tank with mains water let in
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
        "unrationed": group.attrs["unrationed"],  # Whether the study rations, which the maps leave out
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
