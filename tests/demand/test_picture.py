"""The week and the year that the pictures show are those of the demand."""

import numpy as np
import pandas as pd
import pytest
import xarray as xr

from rainharvest import InputError
from rainharvest.demand.facts import months_of, thirstiest_year, week_of
from rainharvest.demand.tables import Calendar, Use
from rainharvest.demand.uses import daily_demand

CENTURY = pd.date_range("1950-01-01", "2049-12-31")


def school():
    uses = [Use(name="pupils", kind="day_pupil", people=100), Use(name="cows", kind="cattle", units=3)]
    return daily_demand(uses, Calendar(terms=["02-01 to 11-30"], seasonal=[1.0] * 12), CENTURY)


def test_week_and_months_of_a_century_against_pandas():
    demand = school()
    frame = demand.transpose("time", "use").to_pandas()
    week, months = week_of(demand), months_of(demand)
    np.testing.assert_allclose(week.transpose("weekday", "use"), frame.groupby(frame.index.weekday).mean())
    np.testing.assert_allclose(
        months.transpose("calendar_month", "use"), frame.groupby(frame.index.month).mean()
    )
    assert week.sel(use="pupils", weekday="sat") == 0
    assert months.sel(use="pupils", calendar_month=12) == 0
    # the sum by use is the total, in the pictures too
    np.testing.assert_allclose(week.sum("use"), week_of(demand.sum("use")))


def test_the_year_that_asks_for_most_is_whole_and_the_first_of_equals():
    total = school().sum("use")
    year = thirstiest_year(total)
    sums = total.groupby("time.year").sum()
    assert float(year.sum()) == float(sums.max())
    assert year.time.dt.year.values[0] == sums.year.values[int(sums.values.argmax())]
    cut = total.sel(time=slice("1951-02-01", "1953-11-30"))
    assert thirstiest_year(cut).sizes["time"] == 366  # only 1952 is whole


def test_too_short_a_demand_is_refused():
    short = school().isel(time=slice(6))
    with pytest.raises(InputError, match="less than a week"):
        week_of(short)
    with pytest.raises(InputError, match="month 2 has no day"):
        months_of(short)
    with pytest.raises(InputError, match="no calendar year is whole"):
        thirstiest_year(short.sum("use"))
    with pytest.raises(InputError, match="sum it over its uses"):
        thirstiest_year(xr.concat([short, short], "member"))
