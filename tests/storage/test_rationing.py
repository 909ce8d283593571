"""Rationing: hand cases, and the best rule against a search written apart."""

import numpy as np
import pandas as pd
import pytest
import xarray as xr
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import ValidationError

from rainharvest import InputError, simulate
from rainharvest.demand.tables import Calendar, Use
from rainharvest.demand.uses import daily_demand, essential_demand
from rainharvest.storage.rationing import SIMPLE_RULES, Rule, best_rule, cuts_of_stages, try_rationing


def record(seed, days=1500):
    rng = np.random.default_rng(seed)
    wet = np.repeat(rng.random(days // 30) < 0.5, 30)  # whole months without rain
    return rng.exponential(60, days) * (rng.random(days) < 0.3) * wet, np.full(days, 10.0), np.full(days, 3.0)


def test_a_drought_by_hand():
    # 80 L of rain on the first day, 10 L a day of which 2 L essential, 80 L tank, empty before the rain.
    # No rule: the first day fails; 80 L last eight days; the last three fail. Half of the rest below 60 L:
    # mornings 0, 80, 70, 60, 50, ... ask 6, 10, 10, 10, then eight times 6: 78 of the 80 L; 4 + 8 x 4 L cut.
    rules = [Rule(), Rule(stages=[(0.75, 0.5)]), Rule(stages=[(1.0, 0.0)])]
    done = try_rationing([80.0] + [0.0] * 11, 10.0, 2.0, 80.0, rules)
    assert done.days_failed.values.tolist() == [4, 1, 1]
    assert done.longest_failure.values.tolist() == [3, 1, 1]
    assert done.rationed.values.tolist() == [0, 36, 88]
    assert done.cut_share.values == pytest.approx([0, 0.3, 88 / 120])
    assert str(best_rule(done, 1.0).rule.values) == "half of the rest below 75 %"  # same failure, less cut
    assert str(best_rule(done, 0.2).rule.values) == "no rationing"


def test_no_stage_is_the_plain_balance_and_two_stages_are_the_balances_own():
    q, d, e = record(3)
    two = Rule(stages=[(0.2, 0.0), (0.5, 0.5)])
    done = try_rationing(q, d, e, 900.0, [Rule(), two])
    plain = simulate(q, d, 900.0).isel(capacity=0)
    both = simulate(q, d, 900.0, essential=e, ration_level=[450.0, 180.0], ration_share=[0.5, 0.0]).isel(
        capacity=0
    )
    for name in ("delivered", "spilled", "unmet", "rationed", "longest_failure", "days_failed"):
        np.testing.assert_array_equal(done[name].values, [plain[name], both[name]])
    assert two.stages == ((0.5, 0.5), (0.2, 0.0))


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 10_000), st.floats(50, 3000), st.floats(0, 0.5))
def test_the_best_rule_is_the_best_of_a_plain_search(seed, capacity, most_cut):
    q, d, e = record(seed, 600)
    tried = try_rationing(q, d, e, capacity)
    best = best_rule(tried, most_cut)
    rows = [
        (float(tried.longest_failure[i]), float(tried.days_failed[i]), float(tried.cut_share[i]))
        for i in range(tried.sizes["rule"])
        if float(tried.cut_share[i]) <= most_cut
    ]
    assert (float(best.longest_failure), float(best.days_failed), float(best.cut_share)) == min(rows)
    assert float(best.longest_failure) <= float(tried.longest_failure[0])  # never worse than none
    # What is not asked cannot be drawn: a rule never delivers more than no rule.
    assert (tried.delivered <= tried.delivered[0] + 1e-6).all()
    assert (tried.rationed <= (d - e).sum() + 1e-6).all()


@pytest.mark.parametrize(
    ("stages", "words"),
    [
        ([(0.0, 0.5)], "level above 0"),
        ([(1.5, 0.5)], "level above 0"),
        ([(0.5, 1.0)], "less than 1"),
        ([(0.5, -0.1)], "share from 0"),
        ([(0.5, 0.0), (0.2, 0.5)], "cut more as the tank falls"),
        ([(0.5, 0.5), (0.5, 0.0)], "cut more as the tank falls"),
    ],
)
def test_rules_that_make_no_sense_are_refused(stages, words):
    with pytest.raises(ValidationError, match=words):
        Rule(stages=stages)


def test_what_each_stage_cuts_is_what_the_balance_cuts():
    days = pd.date_range("2024-03-01", periods=60)
    uses = [
        Use(name="ward", kind="inpatient", people=5),
        Use(name="wc", kind="dual_flush", people=20, days="working"),
        Use(name="beds", kind="garden", units=50, litres=4, source="invented"),
    ]
    demand = daily_demand(uses, Calendar(), days)
    for stages in ([(1.0, 0.3)], [(1.0, 0.5), (0.9, 0.0)]):
        rule = Rule(stages=stages)
        cut = cuts_of_stages(demand, rule)
        assert cut.sel(use="ward").values.tolist() == [0.0] * len(stages)
        # A tank that stays empty stays in the last stage.
        done = try_rationing(
            0.0 * demand.sum("use"), demand.sum("use"), essential_demand(demand), 100.0, [rule]
        )
        assert float(cut[-1].sum()) * 60 == pytest.approx(float(done.rationed[0]))
    assert cut.stage.values.tolist() == ["half of the rest below 100 %", "only the essential below 90 %"]


def test_bad_trials_say_what_is_wrong():
    with pytest.raises(InputError, match="given twice"):
        try_rationing([1.0], 1.0, 0.5, 5.0, [Rule(), Rule()])
    with pytest.raises(InputError, match="no stage"):
        cuts_of_stages(xr.DataArray([[1.0]], {"essential": ("use", [True])}, ("use", "time")), Rule())
    with pytest.raises(InputError, match="which uses are essential"):
        cuts_of_stages(xr.DataArray([1.0], dims="time"), SIMPLE_RULES[1])
    with pytest.raises(InputError, match="there is no rule"):
        try_rationing([1.0], 1.0, 0.5, 5.0, [])
    with pytest.raises(InputError, match="essential"):
        try_rationing([1.0], 1.0, 2.0, 5.0)
    cut = try_rationing([0.0] * 5, 1.0, 0.2, 5.0, [Rule(stages=[(1.0, 0.0)])])
    with pytest.raises(InputError, match="allow 0.8 or more"):
        best_rule(cut, 0.1)
    with pytest.raises(InputError, match="choose one member"):
        best_rule(cut.expand_dims(member=2))
