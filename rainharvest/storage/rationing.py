"""Rules of rationing: what each is, what it does to one tank, which is best."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
import xarray as xr
from pydantic import field_validator

from rainharvest.core.errors import InputError, require
from rainharvest.core.quantities import attributes
from rainharvest.core.tables import Table, quantity
from rainharvest.demand.uses import check_essential_known
from rainharvest.storage.simulate import simulate


class Rule(Table):
    """A rule of rationing, read off the gauge in the morning.

    >>> print(Rule(stages=[(0.5, 0.5), (0.2, 0.0)]))
    half of the rest below 50 %, only the essential below 20 %
    """

    stages: tuple[tuple[float, float], ...] = quantity("1", (), max_length=6)
    """For each stage the level, a share of the tank, below which it holds, and the share of the non-essential
    demand that is still served. Lower stages serve no more than those above."""

    @field_validator("stages")
    @classmethod
    def _falling(cls, stages: tuple[tuple[float, float], ...]) -> tuple[tuple[float, float], ...]:
        for level, share in stages:
            require(
                0 < level <= 1 and 0 <= share < 1,
                f"a stage of {level:g} and {share:g}",
                "give a level above 0 up to 1 and a share from 0 to less than 1",
            )
        ordered = tuple(sorted(stages, reverse=True))
        falling = all(a[0] > b[0] and a[1] >= b[1] for a, b in pairwise(ordered))
        require(falling, "the stages do not cut more as the tank falls", "give lower shares lower down")
        return ordered

    def __str__(self) -> str:
        return ", ".join(self.words) or "no rationing"

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
    require(rules, "there is no rule", "give at least one", "rules")
    require(len(set(rules)) == len(rules), "one rule is given twice", "give each rule once", "rules")
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
    total = done.demand_total.where(done.demand_total > 0, np.inf)
    done["cut_share"] = (done.rationed / total).assign_attrs(attributes("cut_share"))
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
    check_essential_known(demand)
    require(rule.stages, "the rule has no stage", "give a rule that rations", "rule")
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
    dims = tried.longest_failure.dims
    require(dims == ("rule",), f"the trials have dimensions {dims}", "choose one member", "tried")
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
