"""The figure of the heavy days shows the levels it is given, and is moved, not drawn anew."""

import numpy as np
import pytest
import xarray as xr

from rainharvest.core.style import svg
from rainharvest.rainfall.figures import return_levels_figure

PERIODS = [2.0, 5, 10, 20, 50, 100]


def levels(scale=1.0, known=6):
    level = scale * np.array([40.0, 55, 66, 78, 95, 110])
    high = np.where(np.arange(6) < known, 1.4 * level, np.nan)
    return xr.Dataset(
        {
            "return_level": ("return_period", level),
            "return_level_low": ("return_period", 0.8 * level),
            "return_level_high": ("return_period", high),
        },
        coords={"return_period": PERIODS},
    )


def artist(figure, name):
    return next(a for a in figure.axes[0].get_children() if a.get_gid() == name)


def test_levels_band_and_end_of_the_record():
    figure = return_levels_figure(levels(), 30)
    np.testing.assert_allclose(artist(figure, "line").get_ydata(), levels().return_level)
    band = artist(figure, "band").get_paths()[0].vertices
    assert band[:, 1].max() == pytest.approx(154) and band[:, 1].min() == pytest.approx(32)
    assert artist(figure, "end").get_xdata()[0] == 30
    assert figure.axes[0].get_ylim()[1] >= 154


def test_it_is_moved():
    figure = return_levels_figure(levels(), 30)
    count, painted = len(figure.axes[0].get_children()), svg(figure, "t")
    assert return_levels_figure(levels(2.5), 60, figure) is figure
    assert len(figure.axes[0].get_children()) == count and svg(figure, "t") != painted
    fresh = return_levels_figure(levels(2.5), 60)
    for name in ("line", "end"):
        moved, new = artist(figure, name), artist(fresh, name)
        np.testing.assert_array_equal(moved.get_xydata(), new.get_xydata())
    assert figure.axes[0].get_ylim() == fresh.axes[0].get_ylim()
    assert artist(figure, "note").get_text() == artist(fresh, "note").get_text()


def test_an_interval_that_could_not_be_had_is_not_drawn():
    figure = return_levels_figure(levels(known=3), 30)
    assert artist(figure, "band").get_paths()[0].vertices[:, 0].max() == 10
    assert artist(figure, "line").get_xdata()[-1] == 100


def test_too_few_heavy_days_is_said():
    figure = return_levels_figure(levels() * np.nan, 3)
    assert artist(figure, "note").get_text() == "too few heavy days to say"
    assert artist(figure, "end").get_xdata()[0] == 3
