"""The figures of the supply: what is drawn is what was given, and moving draws nothing anew."""

import numpy as np
import pytest
import xarray as xr
from drawn import artist, count

from rainharvest.storage.figures import arrangements_figure, reserve_figure, set_level_figure


def table(factor=1.0):
    names = ["mains reserve", "rain only"]
    values = {"failed_a_year": [1.0, 174.0], "mains_a_year": [543e3, 0.0], "rain_used_a_year": [0.0, 120e3]}
    return xr.Dataset(
        {k: ("arrangement", factor * np.array(v)) for k, v in values.items()}, {"arrangement": names}
    )


def test_arrangements_side_by_side():
    figure = arrangements_figure(table(0.0))  # nothing failed, nothing bought: still a picture
    held = count(figure)
    arrangements_figure(table(), figure)
    assert count(figure) == held
    widths = [[p.get_width() for p in axes.patches if p.get_gid()] for axes in figure.axes]
    assert widths == [[1, 174], [543, 0], [0, 120]]
    assert {"543", "174"} <= {t.get_text() for axes in figure.axes for t in axes.texts}


def test_set_levels_and_reserve_mark_what_was_chosen():
    levels = xr.Dataset(
        {
            "level_spilled_mains_a_year": ("level_share", [0.0, 5e3, 20e3]),
            "level_failed_a_year": ("level_share", [9.0, 6.0, 1.0]),
        },
        {"level_share": [0.1, 0.5, 1.0]},
    )
    figure = set_level_figure(levels, 0.3)
    held = count(figure)
    set_level_figure(levels, 0.75, figure)
    assert count(figure) == held
    marks = [artist(axes, "chosen") for axes in figure.axes]
    assert [float(m.get_ydata()[0]) for m in marks] == pytest.approx([12.5, 3.5])
    reserves = xr.DataArray([1e3, 2e3, 4e3], {"ride_out": [1.0, 2.0, 4.0]}, ("ride_out",))
    figure = reserve_figure(reserves, 3.0, 2500.0)
    mark = artist(figure, "mark")
    assert (mark.get_xdata()[0], mark.get_ydata()[0]) == (3.0, 3.0)
