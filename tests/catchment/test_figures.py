"""Figures of the catchment: they show the numbers they are given, and are moved, not drawn anew."""

import numpy as np
import pandas as pd
import pytest
import xarray as xr
from drawn import artist, check_moved, texts

from rainharvest.catchment.compare import best_bore
from rainharvest.catchment.figures import CAUSES, bore_figure, levels_figure, losses_figure
from rainharvest.catchment.hydraulics import run_levels
from rainharvest.catchment.tables import Catchment, Conveyance, Roof


def levels(run=20.0, flow=3.0, inlet=2.4):
    shared = dict(run=run, bore=100, outlet_level=3.0, inlet_level=inlet)
    return {
        "Dry run": run_levels(Conveyance(kind="dry", **shared), flow),
        "Wet run": run_levels(Conveyance(kind="wet", **shared), flow),
    }


def yearly(scale=1.0, wet=True):
    values = np.array([np.arange(8, 0, -1.0), np.arange(8, 0, -1.0) + 0.5]) * 1000 * scale
    if not wet:
        values[1] = np.nan
    return xr.DataArray(
        values, {"conveyance": ["dry run", "wet run"], "cause": list(CAUSES)}, ("conveyance", "cause")
    )


def curve(bleed=30.0):
    rng = np.random.default_rng(3)
    days = pd.date_range("2001-01-01", periods=1500)
    rain = pd.Series(np.where(rng.random(1500) < 0.3, rng.exponential(9, 1500), 0.0), index=days)
    run = Conveyance(kind="wet", run=60, bore=100, outlet_level=3.0, inlet_level=2.4, bleed=bleed)
    return best_bore(rain, Catchment(roofs=(Roof(area=200),), conveyance=run))


@pytest.mark.parametrize(
    "draw, first, second",
    [
        (levels_figure, lambda: (levels(),), lambda: (levels(60.0, 9.0),)),
        (losses_figure, lambda: (yearly(),), lambda: (yearly(7.3),)),
        (bore_figure, lambda: (curve(), 100), lambda: (curve(200.0), 65)),
    ],
)
def test_the_figure_is_moved_and_shows_what_a_new_one_would(draw, first, second):
    check_moved(draw, first(), second())


def test_levels_are_drawn_to_scale():
    drawn = levels()
    figure = levels_figure(drawn)
    for axes, one in zip(figure.axes, drawn.values(), strict=True):
        np.testing.assert_allclose(artist(axes, "pipe").get_xydata(), one.pipe)
        np.testing.assert_allclose(artist(axes, "margin").get_ydata(), [one.margin_from, one.margin_to])
        assert artist(axes, "gutter outlet").get_ydata() == [3.0, 3.0]
    assert "0.4 m of level left" in texts(figure)
    levels_figure(levels(inlet=3.3), figure)
    assert sum("short" in words for words in texts(figure)) == 2


def test_bars_have_the_lengths_of_the_litres():
    figure = losses_figure(yearly())
    axes = figure.axes[0]
    assert artist(axes, "dry run-0").get_width() == 8.0 and artist(axes, "wet run-7").get_width() == 1.5
    losses_figure(yearly(wet=False), figure)
    assert "cannot work" in texts(figure) and artist(axes, "wet run-7").get_width() == 0


def test_the_bore_marked_is_the_lowest_point_of_the_curve():
    data = curve()
    axes = bore_figure(data, 100).axes[0]
    total = artist(axes, "both together").get_xydata()
    x, y = artist(axes, "best").get_xydata()[0]
    assert x == data.attrs["best_bore"] and y <= total[:, 1].min() + 0.1
    pipe = data.lost.sel(loss=["pipe capacity", "held in pipe"]).sum("loss")
    np.testing.assert_allclose(total[:, 1], 100 * pipe / (data.inflow + pipe))
