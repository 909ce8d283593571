"""How rain and mains supply a building, what a reserve rides out, and rules of rationing."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
import xarray as xr
from pydantic import BaseModel, ConfigDict, field_validator

from rainharvest.core.errors import InputError
from rainharvest.core.quantities import attributes
from rainharvest.core.tables import quantity
from rainharvest.demand.uses import SOURCES, Arrangement
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
    if kind not in SOURCES:
        raise InputError(f'no arrangement is called "{kind}"', f"choose one of {', '.join(SOURCES)}", "kind")
    if change_over and kind != "combined":
        raise InputError(f'a change-over valve has no meaning for "{kind}"', "leave it out", "change_over")
    shares = {"trigger_share": trigger_share, "level_share": level_share, "start_share": start_share}
    for name, share in shares.items():
        values = np.asarray(share, dtype=float)
        if not ((values >= 0) & (values <= 1)).all():
            wrong = values[~((values >= 0) & (values <= 1))].flat[0]
            raise InputError(f"{wrong:g} is not a share of the tank", "give a number between 0 and 1", name)
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
    if sizes.ndim != 1 or not (np.isfinite(sizes) & (sizes >= 0)).all():
        raise InputError(f"a reserve of {capacity} L", "give a size of zero or more", "capacity")
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
    if not 0 < days <= time.size:
        raise InputError(
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


def water_age(daily: xr.Dataset) -> xr.DataArray:
    """Return the mean age of the water in the tank each evening.

    a <- old (a + 1)/(old + new), old what the day's draw left of the evening before, new what came in
    and stayed; 0 in an empty tank. The tank is taken as mixed, and the water of the first morning as
    fresh.

    Own mass balance, for yield after spillage: the draw comes out of yesterday's water.

    >>> from rainharvest.storage.simulate import simulate
    >>> done = simulate([100.0, 0.0, 0.0, 0.0, 0.0], 10.0, 100.0, trace=True)
    >>> water_age(done).values[0].astype(int)
    array([0, 1, 2, 3, 4])
    """
    if "stored" not in daily or "drawn_daily" not in daily:
        raise InputError("the simulation has no daily values", "simulate with trace=True", "daily")
    stored = daily.stored.transpose("time", ...)
    drawn = daily.drawn_daily.transpose(*stored.dims).values
    level = stored.values
    start = np.broadcast_to(daily.stored_start.transpose(*stored.dims[1:]).values, level.shape[1:])
    before = np.concatenate([start[None], level[:-1]])
    old = np.minimum(np.maximum(before - drawn, 0.0), level)
    share = np.divide(old, level, out=np.zeros_like(level), where=level > 1e-9)
    age = np.zeros_like(level)
    last = np.zeros(level.shape[1:])
    for t in range(level.shape[0]):
        last = share[t] * (last + 1.0)
        age[t] = last
    out = xr.DataArray(age, stored.coords, stored.dims, name="water_age", attrs=attributes("water_age"))
    return out.transpose(*daily.stored.dims)


def reserve_measures(daily: xr.Dataset, capacity: float) -> pd.Series:
    """Return how a tank's water is turned over and how old it grows."""
    if daily.get("stored") is None or daily.stored.dims != ("time",):
        raise InputError("there is not one tank with its daily values", "choose one, trace=True", "daily")
    check_range("capacity", xr.DataArray(float(capacity)), 1e-9, np.inf)
    age, years = water_age(daily), daily.sizes["time"] / 365.25
    wet = daily.stored > 1e-9
    return pd.Series(
        {
            "turnover": float(daily.delivered) / capacity / years,
            "mean_age": float(age.where(wet).mean()) if bool(wet.any()) else 0.0,
            "oldest": float(age.max()),
            "failures_a_year": float(daily.failure_events) / years,
            "days_failed": float(daily.days_failed),
        }
    )


def _sums(demand) -> tuple[xr.DataArray, np.ndarray]:
    """Return the days of the demand, and its running sum from zero."""
    time = common_time(demand=demand)
    asked = as_series("demand", demand, time)
    if asked.dims != ("time",):
        raise InputError(f"the demand has dimensions {asked.dims}", "sum it over its uses first", "demand")
    check_range("demand", asked, 0.0, np.inf)
    return time, np.concatenate([[0.0], np.cumsum(asked.values)])


class Rule(BaseModel):
    """A rule of rationing, read off the gauge in the morning.

    >>> print(Rule(stages=[(0.5, 0.5), (0.2, 0.0)]))
    half of the rest below 50 %, only the essential below 20 %
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    stages: tuple[tuple[float, float], ...] = quantity(
        "1",
        "For each stage the level, a share of the tank, below which it holds, and the share of the non-essential demand that is still served. Lower stages serve no more than those above.",
        (),
        max_length=6,
    )

    @field_validator("stages")
    @classmethod
    def _falling(cls, stages: tuple[tuple[float, float], ...]) -> tuple[tuple[float, float], ...]:
        for level, share in stages:
            if not (0 < level <= 1 and 0 <= share < 1):
                raise InputError(
                    f"a stage of {level:g} and {share:g}",
                    "give a level above 0 up to 1 and a share from 0 to less than 1",
                )
        ordered = tuple(sorted(stages, reverse=True))
        levels, shares = [s[0] for s in ordered], [s[1] for s in ordered]
        if len(set(levels)) < len(levels) or shares != sorted(shares, reverse=True):
            raise InputError("the stages do not cut more as the tank falls", "give lower shares lower down")
        return ordered

    def __str__(self) -> str:
        if not self.stages:
            return "no rationing"
        return ", ".join(self.words)

    @property
    def words(self) -> tuple[str, ...]:
        """Each stage in words."""
        known = {0.0: "only the essential", 0.5: "half of the rest"}
        return tuple(
            f"{known.get(share, f'{_percent(share)} of the rest')} below {_percent(level)}"
            for level, share in self.stages
        )


def _percent(share: float) -> str:
    return f"{round(100 * share, 6):g} %"


SIMPLE_RULES: tuple[Rule, ...] = (
    Rule(),
    *(Rule(stages=[(level, share)]) for share in (0.5, 0.0) for level in (0.1, 0.25, 0.5, 0.75)),
    *(Rule(stages=[(2 * level, 0.5), (level, 0.0)]) for level in (0.1, 0.25, 0.4)),
)

"""None, one stage, two stages: few enough to be explained to a caretaker."""


def try_rationing(
    inflow, demand, essential, capacity: float, rules: Sequence[Rule] = SIMPLE_RULES, **settings
) -> xr.Dataset:
    """Simulate one tank under each rule of rationing.

    Parameters
    ----------
    inflow, demand, essential : DataArray, Series or 1-D array [L/day]
        Rain water at the inlet, water asked for, and the part of it that is never cut.
    capacity : float [L]
        Usable tank size.
    rules : list of Rule, optional
        The rules; a few simple ones by default.
    **settings
        Further settings of `rainharvest.simulate`.

    Returns
    -------
    Dataset
        The measures of `rainharvest.simulate` on ``rule``, and ``cut_share`` [1], the share of the demand
        that the rule turned away.

    Raises
    ------
    InputError
        If there is no rule, one is given twice, or as `rainharvest.simulate`.

    Examples
    --------
    >>> rules = [Rule(), Rule(stages=[(0.75, 0.5)])]
    >>> done = try_rationing([80.0] + [0.0] * 11, 10.0, 2.0, 80.0, rules)
    >>> done.longest_failure.values.astype(int)
    array([3, 1])
    """
    rules = list(rules)
    if not rules:
        raise InputError("there is no rule", "give at least one", "rules")
    if len(set(rules)) < len(rules):
        raise InputError("one rule is given twice", "give each rule once", "rules")
    most = max(max(len(rule.stages) for rule in rules), 1)
    # A stage that a rule does not have is one whose level no store is ever below.
    stages = np.array([[*rule.stages, *[(0.0, 1.0)] * (most - len(rule.stages))] for rule in rules])
    level, share = (xr.DataArray(stages[:, :, i], dims=("rule", "stage")) for i in (0, 1))
    done = simulate(
        inflow,
        demand,
        capacity,
        essential=essential,
        ration_level=level * capacity,
        ration_share=share,
        **settings,
    ).isel(capacity=0, drop=True)
    asked = done.demand_total.where(done.demand_total > 0, np.inf)
    done["cut_share"] = (done.rationed / asked).assign_attrs(attributes("cut_share"))
    names = [str(rule) for rule in rules]
    return done.assign_coords(rule=("rule", names, attributes("rule")))


def cuts_of_stages(demand: xr.DataArray, rule: Rule) -> xr.DataArray:
    """Return what each stage of a rule cuts from each use on a mean day.

    cut = (1 - share) x demand for a use that can wait, nothing for an essential one.

    Parameters
    ----------
    demand : DataArray [L/day]
        Dimensions (use, time), with ``essential`` on ``use``, as
        `rainharvest.demand.uses.daily_demand` returns it.
    rule : Rule
        The rule.

    Returns
    -------
    DataArray [L/day]
        On (stage, use), the stages in words.

    Raises
    ------
    InputError
        If the demand does not say which uses are essential, or the rule has no stage.

    Examples
    --------
    >>> asked = xr.DataArray([[100.0] * 2, [30.0] * 2], {"use": ["wc", "ward"]}, ("use", "time"))
    >>> asked = asked.assign_coords(essential=("use", [False, True]))
    >>> cuts_of_stages(asked, Rule(stages=[(0.5, 0.75), (0.2, 0.0)])).values.astype(int)
    array([[ 25,   0],
           [100,   0]])
    """
    if "use" not in demand.dims or "essential" not in demand.coords:
        raise InputError("the demand does not say which uses are essential", "use daily_demand", "demand")
    if not rule.stages:
        raise InputError("the rule has no stage", "give a rule that rations", "rule")
    stage = xr.DataArray(list(rule.words), dims="stage", attrs=attributes("stage"))
    kept = xr.DataArray([share for _, share in rule.stages], dims="stage").assign_coords(stage=stage)
    cut = ((1.0 - kept) * demand.mean("time")).where(~demand.essential, 0.0)
    return (
        cut.transpose("stage", ..., "use").assign_attrs(attributes("rationed_daily")).rename("rationed_daily")
    )


def best_rule(tried: xr.Dataset, most_cut: float = 0.1) -> xr.Dataset:
    """Return the rule with the shortest longest failure, among those that cut no more than a stated share.

    Of several with the same longest failure, the one that fails on the fewest days; of those, the one
    that cuts least. Without a limit the best rule would be never to serve the non-essential uses.

    Parameters
    ----------
    tried : Dataset
        What `try_rationing` returned, on ``rule`` only.
    most_cut : float [1], optional
        Largest share of the demand that a rule may cut.

    Returns
    -------
    Dataset
        The row of ``tried``.

    Raises
    ------
    InputError
        If no rule cuts so little, or there are further dimensions.

    Examples
    --------
    >>> tried = try_rationing([80.0] + [0.0] * 11, 10.0, 2.0, 80.0)
    >>> str(best_rule(tried, 0.5).rule.values)
    'half of the rest below 75 %'
    """
    if tried.longest_failure.dims != ("rule",):
        raise InputError(
            f"the trials have dimensions {tried.longest_failure.dims}", "choose one member", "tried"
        )
    allowed = np.flatnonzero(tried.cut_share.values <= most_cut)
    if allowed.size == 0:
        least = float(tried.cut_share.min())
        raise InputError(
            f"no rule cuts less than {most_cut:g} of the demand", f"allow {least:.3g} or more", "most_cut"
        )
    order = np.lexsort(
        [tried[name].values[allowed] for name in ("cut_share", "days_failed", "longest_failure")]
    )
    return tried.isel(rule=int(allowed[order[0]]))
