"""The figures of demand and supply: what is drawn is what was given, and moving draws nothing anew."""

import numpy as np
import pandas as pd
import pytest
import xarray as xr

from rainharvest.core.style import svg
from rainharvest.demand.figures import calendar_figure, months_figure, week_figure
from rainharvest.storage.figures import arrangements_figure, reserve_figure, set_level_figure


def stacked(n, days, dim, factor=1.0):
    values = factor * np.arange(1.0, n * days + 1).reshape(n, days)
    return xr.DataArray(values, {"use": [f"use {i}" for i in range(n)]}, ("use", dim))


def artists(figure):
    return sum(len(axes.get_children()) for axes in figure.axes)


@pytest.mark.parametrize(
    ("draw", "days", "dim"), [(week_figure, 7, "weekday"), (months_figure, 12, "calendar_month")]
)
@pytest.mark.parametrize("uses", [1, 4, 7])
def test_stacked_bars_add_up(draw, days, dim, uses):
    figure = draw(stacked(uses, days, dim))
    count = artists(figure)
    given = stacked(uses, days, dim, 3.5)
    assert draw(given, figure) is figure and artists(figure) == count
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


@pytest.mark.parametrize("year", [1999, 2000, 2012, 2028])  # leap years that begin on a Saturday, a Sunday
def test_the_calendar_holds_every_day_of_its_year(year):
    days = pd.date_range(f"{year}-01-01", f"{year}-12-31")
    demand = xr.DataArray(np.arange(1.0, days.size + 1), {"time": days}, ("time",))
    figure = calendar_figure(demand)
    count = artists(figure)
    calendar_figure(2 * demand, figure)
    assert artists(figure) == count
    mesh = next(c for c in figure.axes[0].collections if c.get_gid() == "days")
    cells = np.ma.filled(mesh.get_array(), np.nan).reshape(7, 54)
    assert np.nansum(cells) == 2 * float(demand.sum())
    assert np.isfinite(cells).sum() == days.size
    assert cells[days[100].weekday()][(100 + days[0].weekday()) // 7] == 2 * 101
    assert str(year) in svg(figure, "t")


def table(factor=1.0):
    names = ["mains reserve", "rain only"]
    values = {"failed_a_year": [1.0, 174.0], "mains_a_year": [543e3, 0.0], "rain_used_a_year": [0.0, 120e3]}
    return xr.Dataset(
        {k: ("arrangement", factor * np.array(v)) for k, v in values.items()}, {"arrangement": names}
    )


def test_arrangements_side_by_side():
    figure = arrangements_figure(table(0.0))  # nothing failed, nothing bought: still a picture
    count = artists(figure)
    arrangements_figure(table(), figure)
    assert artists(figure) == count
    widths = [[p.get_width() for p in axes.patches if p.get_gid()] for axes in figure.axes]
    assert widths == [[1, 174], [543, 0], [0, 120]]
    assert {"543", "174"} <= {t.get_text() for axes in figure.axes for t in axes.texts}


def test_set_levels_and_reserve_mark_what_was_chosen():
    levels = xr.Dataset(
        {
            "spilled_mains_a_year": ("level_share", [0.0, 5e3, 20e3]),
            "failed_a_year": ("level_share", [9.0, 6.0, 1.0]),
        },
        {"level_share": [0.1, 0.5, 1.0]},
    )
    figure = set_level_figure(levels, 0.3)
    count = artists(figure)
    set_level_figure(levels, 0.75, figure)
    assert artists(figure) == count
    marks = [next(a for a in axes.lines if a.get_gid() == "chosen") for axes in figure.axes]
    assert [float(m.get_ydata()[0]) for m in marks] == pytest.approx([12.5, 3.5])
    reserves = xr.DataArray([1e3, 2e3, 4e3], {"ride_out": [1.0, 2.0, 4.0]}, ("ride_out",))
    figure = reserve_figure(reserves, 3.0, 2500.0)
    mark = next(a for a in figure.axes[0].lines if a.get_gid() == "mark")
    assert (mark.get_xdata()[0], mark.get_ydata()[0]) == (3.0, 3.0)
