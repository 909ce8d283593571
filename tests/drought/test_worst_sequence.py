"""The worst sequence: when the tank emptied, how long it stayed so, how long it took to recover."""

import numpy as np
import pytest
import xarray as xr
from hypothesis import given
from hypothesis import strategies as st

from rainharvest import InputError, simulate
from rainharvest.drought.dry_years import normal_year, worst_drawdown


def traced(inflow, demand, size, start=0.0):
    return simulate(np.array(inflow, float), demand, size, start=start, trace=True).isel(
        capacity=0, drop=True
    )


def test_by_hand():
    """A 20 L tank, 10 L a day; overflows on days 0, 7 and 12."""
    inflow = [30, 0, 0, 0, 0, 4, 40, 15, 0, 0, 5, 30, 30]
    done = traced(inflow, 10.0, 20.0, start=20.0)
    over = np.flatnonzero(done.spilled_daily.values > 0).tolist()
    found = worst_drawdown(done, np.full(13, 10.0))
    assert over == [0, 6, 7, 11, 12]
    assert (found.begins, found.ends) == (1, 5)
    # stored 10 after day 0; day 1 takes it; days 2 to 5 have none, for rain of day 5 comes after the draw
    assert found.first_short == 1 and found.days_short == 4 and found.longest_short == 4
    assert found.unsupplied == 40 and found.recovery == 1 and found.lowest == 0
    assert found.from_overflow and found.to_overflow


@given(st.lists(st.sampled_from([0.0, 3.0, 12.0, 40.0]), min_size=3, max_size=50))
def test_no_stretch_between_overflows_is_worse(inflow):
    """An independent loop over the days: stretches, what each left unsupplied, and its days."""
    done = traced(inflow, 6.0, 15.0)
    spill, short = done.spilled_daily.values > 0, done.unmet_daily.values
    stretches, now = [], []
    for day in range(len(inflow)):
        if not spill[day]:
            now.append(day)
        if now and (spill[day] or day == len(inflow) - 1):
            stretches.append(now)
            now = []
    if not stretches:
        return
    found = worst_drawdown(done, np.full(len(inflow), 6.0))
    days = list(range(found.begins, found.ends + 1))
    assert days in stretches
    lost = max(sum(short[day] for day in one) for one in stretches)
    assert found.unsupplied == pytest.approx(lost)
    failed = [day for day in days if short[day] > 1e-9]
    assert found.days_short == len(failed)
    assert found.first_short == (failed[0] - days[0] if failed else -1)
    assert found.recovery == (days[-1] - failed[-1] + 1 if failed else -1)
    assert found.lowest == min(done.stored.values[day] for day in days)
    assert found.from_overflow == (days[0] > 0) and found.to_overflow == (days[-1] < len(inflow) - 1)


def test_without_a_shortfall_it_is_the_lowest():
    done = traced([20, 0, 20, 0, 0, 20, 20], 2.0, 20.0, start=20.0)
    found = worst_drawdown(done, np.full(7, 2.0))
    assert (found.begins, found.ends) == (3, 4) and found.days_short == 0 and found.lowest == 14


def test_a_weekend_does_not_end_it():
    demand = np.array([10.0, 10, 0, 0, 10, 10])
    done = traced([0, 0, 0, 0, 0, 0], demand, 20.0)
    found = worst_drawdown(done, demand)
    assert found.longest_short == 4 and not found.from_overflow and not found.to_overflow


def test_normal_year():
    rain = xr.DataArray([410.0, np.nan, 600, 500, 900], {"year": range(2001, 2006)}, "year")
    assert normal_year(rain) in (2003, 2004)
    with pytest.raises(InputError):
        normal_year(rain.isel(year=[1]))
