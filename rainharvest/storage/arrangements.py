"""How rain and mains supply a building, and what a reserve of mains water rides out."""

from __future__ import annotations

import numpy as np
import xarray as xr

from rainharvest.core.errors import require
from rainharvest.core.quantities import attributes
from rainharvest.demand.uses import HOLDS, Arrangement
from rainharvest.storage.simulate import as_series, as_setting, check_range, common_time, simulate


def arrangement_settings(
    kind: Arrangement,
    capacity,
    *,
    mains_on=None,
    change_over: bool = False,
    trigger_share=0.1,
    level_share=0.2,
    top_up_rate=None,
    start_share=0.0,
) -> dict[str, object]:
    """Return the settings of the balance that an arrangement stands for.

    >>> arrangement_settings("combined", 5000.0, trigger_share=0.2, level_share=0.4)
    {'start': 0.0, 'top_up_trigger': 1000.0, 'top_up_level': 2000.0}
    >>> arrangement_settings("rain only", 5000.0)
    {'start': 0.0}
    """
    known = kind in HOLDS
    require(known, f'no arrangement is called "{kind}"', f"choose one of {', '.join(HOLDS)}", "kind")
    mixed = not change_over or kind == "combined"
    require(mixed, f'a change-over valve has no meaning for "{kind}"', "leave it out", "change_over")
    shares = {"trigger_share": trigger_share, "level_share": level_share, "start_share": start_share}
    for name, share in shares.items():
        for value in np.asarray(share, dtype=float).flat:
            not_one = f"{value:g} is not a share of the tank"
            require(0 <= value <= 1, not_one, "give a number between 0 and 1", name)
    capacity = _sizes(capacity)
    out: dict[str, object] = {"start": start_share * capacity}
    if kind == "rain only":
        return out
    if mains_on is not None:
        out["mains_on"] = mains_on
    if top_up_rate is not None:
        out["top_up_rate"] = top_up_rate
    if kind == "mains reserve":
        full = 1.0 * capacity
        return out | {"top_up_trigger": full, "top_up_level": full, "start": full}
    if change_over:
        return out | {"change_over": True}
    return out | {"top_up_trigger": trigger_share * capacity, "top_up_level": level_share * capacity}


def compare_arrangements(
    inflow,
    demand,
    capacity,
    *,
    rain_serves=None,
    mains_on=None,
    trigger_share: float = 0.1,
    level_share: float = 0.2,
    top_up_rate=None,
    **settings,
) -> xr.Dataset:
    """Simulate the arrangements side by side on the same record.

    >>> import pandas as pd
    >>> days = pd.date_range("2024-01-01", periods=30)
    >>> rain, asked = (xr.DataArray(v, {"time": days}, ("time",)) for v in ([90.0] + [0.0] * 29, [10.0] * 30))
    >>> done = compare_arrangements(rain, asked, 50.0).isel(capacity=0)
    >>> done.unmet.values.astype(int), (done.topped_up + done.changed_over).values.astype(int)
    (array([  0, 250,   0,   0]), array([300,   0, 260, 250]))
    """
    rain_serves = demand if rain_serves is None else rain_serves
    plans = {
        "mains reserve": dict(kind="mains reserve"),
        "rain only": dict(kind="rain only"),
        "combined (top-up)": dict(kind="combined", trigger_share=trigger_share, level_share=level_share),
        "combined (change-over)": dict(kind="combined", change_over=True),
    }
    # A valve shut for good is the same as none, and gives every arrangement the dimensions of the mains.
    shut = {"top_up_trigger": 0.0, "top_up_level": 0.0, "top_up_rate": 0.0, "mains_on": mains_on}
    done = []
    for plan in plans.values():
        own, rain = plan["kind"] == "mains reserve", plan["kind"] == "rain only"
        chosen = arrangement_settings(**plan, capacity=capacity, mains_on=mains_on, top_up_rate=top_up_rate)
        done.append(
            simulate(
                xr.zeros_like(inflow) if own else inflow,
                rain_serves if rain else demand,
                capacity,
                **(chosen | (shut if rain else {}) | settings),
            )
        )
    names = xr.DataArray(list(plans), dims="arrangement", attrs=attributes("arrangement"))
    # The days of the years are those of the record, whatever the arrangement.
    shared = done[0].days_in_year
    out = xr.concat([one.drop_vars("days_in_year") for one in done], "arrangement", data_vars="all")
    return out.assign(days_in_year=shared).assign_coords(arrangement=names)


def _sizes(capacity):
    """Return tank sizes of which shares can be taken: a number as it is, a list with its dimension."""
    sizes = as_setting("capacity", capacity, alone="capacity")
    check_range("capacity", sizes, 0.0, np.inf)
    return float(capacity) if np.ndim(capacity) == 0 else sizes


def careless_set_level(
    inflow, demand, capacity, level_shares, *, trigger_share: float = 0.1, mains_on=None, **settings
) -> xr.Dataset:
    """Return what each set level of the top-up costs: mains water that then spills when it rains.

    spilled_mains = spilled(with top-up) - spilled(same tank without): the mains water took the room of
    rain that came after it.

    >>> careless_set_level([0, 0, 40, 0], 10.0, 50.0, [0.2, 1.0]).spilled_mains.values.astype(int)
    array([ 0, 30])
    """
    levels = xr.DataArray([float(v) for v in level_shares], dims="level_share")
    levels = levels.assign_coords(level_share=("level_share", levels.values, attributes("level_share")))
    plan = arrangement_settings(
        "combined",
        capacity,
        mains_on=mains_on,
        trigger_share=xr.where(levels < trigger_share, levels, trigger_share),
        level_share=levels,
    )
    with_mains = simulate(inflow, demand, capacity, **(plan | settings)).isel(capacity=0, drop=True)
    alone = {k: v for k, v in settings.items() if k != "top_up_rate"}
    without = simulate(inflow, demand, capacity, **alone).isel(capacity=0, drop=True)
    spilled = (with_mains.spilled - without.spilled).assign_attrs(attributes("spilled_mains"))
    return with_mains.assign(spilled_mains=spilled)


def per_year(done: xr.Dataset) -> xr.Dataset:
    """Return what a simulation comes to in a mean year.

    Rain used is the inflow less what spilled and what is left of it at the end; mains bought is what was
    topped up or changed over.

    >>> year = per_year(simulate([30.0] * 365, 20.0, 100.0))
    >>> round(float(year.failed_a_year[0]), 4), round(float(year.rain_used_a_year[0]))
    (1.0007, 7285)
    """
    years = float(done.days_in_year.sum()) / 365.25
    used = done.inflow_total - done.spilled - (done.stored_end - done.stored_start)
    values = {
        "failed_a_year": done.days_failed,
        "mains_a_year": done.topped_up + done.changed_over,
        "rain_used_a_year": used.where(done.inflow_total > 0, 0.0).clip(0.0),
    }
    if "spilled_mains" in done:
        values["spilled_mains_a_year"] = done.spilled_mains
    return xr.Dataset({name: (v / years).assign_attrs(attributes(name)) for name, v in values.items()})


def ride_out(demand, capacity) -> xr.DataArray:
    """Return how long a full reserve lasts if the mains fail on the morning of each day.

    The longest x with the demand of the next x days no more than the reserve; within the last day the
    draw is even. It is infinite where the record ends first.

    Five days of 100 L, then a weekend: 250 L last two days and a half from Monday; from Thursday they
    last over the weekend.

    >>> week = [100.0] * 5 + [0.0] * 2
    >>> ride_out(week * 2, 250.0).values[0, [0, 3]]
    array([2.5, 4.5])
    """
    time, sums = _sums(demand)
    sizes = np.atleast_1d(np.asarray(capacity, dtype=float))
    possible = sizes.ndim == 1 and (np.isfinite(sizes) & (sizes >= 0)).all()
    require(possible, f"a reserve of {capacity} L", "give a size of zero or more", "capacity")
    days = time.size
    later = np.append(np.diff(sums), np.inf)
    out = np.empty((sizes.size, days))
    for i, size in enumerate(sizes):
        reach = sums[:-1] + size
        # What is met but for the rounding of the sums is met; so the day after it asks for something.
        full = np.searchsorted(sums, reach * (1 + 1e-12) + 1e-9, side="right") - 1
        rest = np.maximum(reach - sums[full], 0.0) / later[full]
        out[i] = np.where(full < days, full - np.arange(days) + rest, np.inf)
    return xr.DataArray(
        out,
        {"capacity": ("capacity", sizes, attributes("capacity")), "time": time},
        ("capacity", "time"),
        name="ride_out",
        attrs=attributes("ride_out"),
    )


def smallest_reserve(demand, days: float) -> float:
    """Return the smallest full reserve that rides out so many days without mains, whenever they begin.

    S = max over t of the demand from t to t + days, t any moment of the record; the draw of a day is
    even over the day.

    >>> smallest_reserve([100.0] * 5 + [0.0] * 2 + [100.0] * 5, 3), smallest_reserve([100.0] * 9, 0.25)
    (300.0, 25.0)
    """
    time, sums = _sums(demand)
    require(
        0 < days <= time.size,
        f"a ride-out of {days} days on {time.size} days of demand",
        "give more than zero, and no more than the record covers",
        "days",
    )
    edge = np.arange(sums.size, dtype=float)
    # The sum between two moments is piecewise linear: its largest value has an end on a midnight.
    most = 0.0
    for begins in (edge, edge - days):
        begins = begins[(begins >= 0) & (begins + days <= edge[-1])]
        most = max(most, (np.interp(begins + days, edge, sums) - np.interp(begins, edge, sums)).max())
    return float(most)


def reserve_curve(demand, ride_outs) -> xr.DataArray:
    """Return the smallest reserve for each of several ride-outs.

    >>> reserve_curve([100.0] * 9, [0.5, 2, 3]).values
    array([ 50., 200., 300.])
    """
    lengths = [float(d) for d in ride_outs]
    return xr.DataArray(
        [smallest_reserve(demand, d) for d in lengths],
        {"ride_out": ("ride_out", lengths, attributes("ride_out"))},
        ("ride_out",),
        name="smallest_reserve",
        attrs=attributes("smallest_reserve"),
    )


def _sums(demand) -> tuple[xr.DataArray, np.ndarray]:
    """Return the days of the demand, and its running sum from zero."""
    time = common_time(demand=demand)
    demand = as_series("demand", demand, time)
    summed = f"the demand has dimensions {demand.dims}", "sum it over its uses first"
    require(demand.dims == ("time",), *summed, "demand")
    check_range("demand", demand, 0.0, np.inf)
    return time, np.concatenate([[0.0], np.cumsum(demand.values)])
