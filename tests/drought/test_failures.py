"""Resilience and vulnerability against the hand case of reference/check-values.md, section 5."""

import numpy as np
import pandas as pd
import pytest
import xarray as xr
from hypothesis import given
from hypothesis import strategies as st

from rainharvest import InputError, simulate
from rainharvest.drought.dry_years import failure_measures

# Own hand case after the definitions of Hashimoto, Stedinger and Loucks (1982): demand 10 a day.
HAND = [0, 0, 2, 4, 0, 0, 3, 0, 0, 0]


def values(found):
    return {name: float(v) for name, v in found.data_vars.items()}


def test_hand_case():
    found = values(failure_measures(HAND, 10.0))
    expected = dict(time_reliability=0.70, volume_reliability=0.91, failure_events=2, resilience=2 / 3)
    expected |= dict(vulnerability=3.5, vulnerability_share=0.35, mean_shortfall=3.0, largest_shortfall=4)
    assert found == pytest.approx(expected | {"mean_failure": 1.5})


NONE = {"failure_events": 0, "time_reliability": 1, "resilience": np.nan, "vulnerability": np.nan}


@pytest.mark.parametrize(
    ("short", "demand", "expected"),
    [
        ([0.0] * 5, 10.0, NONE),  # nothing to recover from
        ([1.0] * 5, 10.0, {"resilience": 0}),
        # two failed days, of which only the first is seen to be followed by a day without failure
        ([0, 3, 0, 0, 5], 10.0, {"failure_events": 2, "resilience": 1}),
        # a day without demand neither fails nor ends a failure
        (
            [4, 0, 5, 0],
            [10, 0, 10, 10],
            {"failure_events": 1, "resilience": 0.5, "vulnerability": 5, "vulnerability_share": 0.5},
        ),
    ],
)
def test_cases_at_the_edge(short, demand, expected):
    found = values(failure_measures(short, demand))
    assert {name: found[name] for name in expected} == pytest.approx(expected, nan_ok=True)


def test_dimensions_are_measured_one_by_one():
    both = xr.DataArray([HAND, [0] * 10], {"member": [3, 4]}, ("member", "time"))
    found = failure_measures(both, 10.0)
    assert found.member.values.tolist() == [3, 4]
    assert float(found.vulnerability[0]) == pytest.approx(3.5) and np.isnan(found.vulnerability[1])


@given(st.lists(st.sampled_from([0.0, 1.0, 4.0, 9.0]), min_size=2, max_size=60))
def test_it_counts_as_the_balance_does(inflow):
    done = simulate(np.array(inflow), 2.0, 5.0, trace=True).isel(capacity=0)
    found = failure_measures(done.unmet_daily, 2.0)
    assert float(found.time_reliability) == pytest.approx(float(done.time_reliability))
    assert float(found.volume_reliability) == pytest.approx(float(done.volume_reliability))
    assert float(found.failure_events) == float(done.failure_events)
    assert float(found.largest_shortfall) <= 2.0


def test_bad_input_is_named():
    with pytest.raises(InputError, match="below zero"):
        failure_measures([-1.0, 0.0], 10.0)
    days = pd.date_range("2001-01-01", periods=3)
    with pytest.raises(InputError, match="3 days"):
        failure_measures(pd.Series([0.0] * 3, days), pd.Series([1.0] * 3, days + pd.Timedelta("1D")))
