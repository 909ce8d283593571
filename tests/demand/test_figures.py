"""The week and the year that pictures show are those of the demand; moving draws nothing anew."""

import numpy as np
import pandas as pd
import pytest
import xarray as xr
from drawn import artist, count

from rainharvest import InputError
from rainharvest.core.style import svg
from rainharvest.core.text import texts_of
from rainharvest.demand.facts import (
    DemandFacts,
    calendar_facts,
    demand_facts,
    heaviest_year,
    months_facts,
    months_of,
    week_facts,
    week_of,
)
from rainharvest.demand.figures import calendar_figure, months_figure, week_figure
from rainharvest.demand.tables import Calendar, Use, Visit
from rainharvest.demand.uses import daily_demand


def stacked(n, days, dim, factor=1.0):
    values = factor * np.arange(1.0, n * days + 1).reshape(n, days)
    return xr.DataArray(values, {"use": [f"use {i}" for i in range(n)]}, ("use", dim))


@pytest.mark.parametrize(
    ("draw", "days", "dim"), [(week_figure, 7, "weekday"), (months_figure, 12, "calendar_month")]
)
@pytest.mark.parametrize("uses", [1, 7])
def test_stacked_bars_add_up(draw, days, dim, uses):
    figure = draw(stacked(uses, days, dim))
    held = count(figure)
    given = stacked(uses, days, dim, 3.5)
    assert draw(given, figure) is figure and count(figure) == held
    bars = [p for p in figure.axes[0].patches if p.get_gid()]
    tops = np.zeros(days)
    for bar in bars:
        k = int(bar.get_gid().rpartition("-")[2])
        tops[k] = max(tops[k], bar.get_y() + bar.get_height())
    np.testing.assert_allclose(tops, given.sum("use"))
    assert figure.axes[0].get_ylim()[1] >= tops.max()
    looks = {(bar.get_facecolor(), bar.get_hatch()) for bar in bars}
    assert len(looks) == uses  # told apart even beyond the palette
    assert "use 0" in svg(figure, "t")
    assert draw(stacked(uses + 1, days, dim), figure) is not figure  # other uses, another legend


@pytest.mark.parametrize("year", [1999, 2000, 2012])  # leap years that begin on a Saturday, a Sunday
def test_the_calendar_holds_every_day_of_its_year(year):
    days = pd.date_range(f"{year}-01-01", f"{year}-12-31")
    demand = xr.DataArray(np.arange(1.0, days.size + 1), {"time": days}, ("time",))
    figure = calendar_figure(demand)
    held = count(figure)
    calendar_figure(2 * demand, figure)
    assert count(figure) == held
    mesh = artist(figure, "days")
    cells = np.ma.filled(mesh.get_array(), np.nan).reshape(7, 54)
    assert np.nansum(cells) == 2 * float(demand.sum())
    assert np.isfinite(cells).sum() == days.size
    assert cells[days[100].weekday()][(100 + days[0].weekday()) // 7] == 2 * 101
    assert str(year) in svg(figure, "t")


DAYS = pd.date_range("1990-01-01", "2013-12-31")


def school():
    uses = [Use(name="pupils", kind="day_pupil", people=100), Use(name="cows", kind="cattle", units=3)]
    return daily_demand(uses, Calendar(terms=["02-01 to 11-30"], seasonal=[1.0] * 12), DAYS)


def test_week_and_months_against_pandas():
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
    year = heaviest_year(total)
    sums = total.groupby("time.year").sum()
    assert float(year.sum()) == float(sums.max())
    assert year.time.dt.year.values[0] == sums.year.values[int(sums.values.argmax())]
    cut = total.sel(time=slice("1991-02-01", "1993-11-30"))
    assert heaviest_year(cut).sizes["time"] == 366  # only 1992 is whole


def test_too_short_a_demand_is_refused():
    short = school().isel(time=slice(6))
    with pytest.raises(InputError, match="less than a week"):
        week_of(short)
    with pytest.raises(InputError, match="month 2 has no day"):
        months_of(short)
    with pytest.raises(InputError, match="no calendar year is whole"):
        heaviest_year(short.sum("use"))
    with pytest.raises(InputError, match="sum it over its uses"):
        heaviest_year(xr.concat([short, short], "member"))


def test_sentences_by_hand():
    say, uses = texts_of("demand"), {"use": ["wc", "garden"]}
    calendar = Calendar(growth=0.02, growth_years=10, visits=(Visit(people=200, days=("sat", "12-26")),))
    toilets = Use(name="wc", kind="dual_flush", people=9, grows=True, visited=True)
    assert say.beside_people(calendar, [toilets]) == (
        "Those who use wc grow in number by 2 % a year, for 10 years. On Saturdays, 12-26, 200 visitors use wc as well."
    )
    assert say.beside_people(Calendar(), [toilets]) == ""
    week = xr.DataArray([[90.0] * 5 + [0.0] * 2, [10.0] * 7], uses, ("use", "weekday"))
    assert say.week(week_facts(week)) == (
        "A working day asks for 100 L on average, a day at the weekend for 10 L. "
        "Most is asked by wc: 87 % of the water."
    )
    by_month = xr.DataArray(
        [[90.0] * 12, [0.0] * 6 + [50.0, 80.0] + [0.0] * 4], uses, ("use", "calendar_month")
    )
    assert say.months(months_facts(by_month)) == (
        "August asks for most, 170 L a day on average; January for least, 90 L. "
        "The garden asks for 80 L a day in August, when rain fails it."
    )
    assert say.months(months_facts(by_month.isel(use=[0]))) == ("Every month asks for about 90 L a day.")
    days = pd.date_range("2023-01-01", "2023-12-31")
    year = xr.DataArray(np.where(days.weekday < 5, 100.0, 0.0), {"time": days}, ("time",))
    year[days == "2023-03-09"] = 300.0
    assert say.calendar(calendar_facts(year)) == (
        "2023 asks for 26 kL; its largest day, 9 March, for 300 L. 105 days ask for nothing."
    )
    assert demand_facts(year.expand_dims(use=["wc"])) == DemandFacts(
        pytest.approx(26_200 / 365 * 365.25), pytest.approx(260 / 365 * 365.25), 300.0
    )
