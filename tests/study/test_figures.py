"""The figure of a study's options: a line for each curve, the tanks on it, drawn again without new artists."""

import numpy as np
import pytest
import xarray as xr
from drawn import check_moved

from rainharvest.study.figures import options_figure
from rainharvest.study.panel import _options_at as options_at_words
from rainharvest.study.section import options_said


@pytest.fixture
def options():
    sizes = np.array([1_000.0, 10_000.0, 100_000.0])
    curves = np.array([[0.2, 0.5, 0.9], [0.2, 0.5, 0.9], [0.3, 0.7, 0.95]])
    names = ["as described", "A small tank", "Both roofs"]
    return xr.Dataset(
        {
            "reliability": (("study_option", "nominal"), curves),
            "described_nominal": ("study_option", [100_000.0, 10_000.0, 50_000.0]),
            "recommended_nominal": ("study_option", [100_000.0, 100_000.0, np.nan]),
            "rain_reliability": ("study_option", [0.9, 0.5, 0.85]),
            "annual": ("study_option", [700.0, 300.0, 500.0]),
            "mains_a_year": ("study_option", [0.0, 0.0, 0.0]),
            "unsupplied_a_year": ("study_option", [20e3, 150e3, 0.0]),
        },
        {"study_option": names, "nominal": sizes},
        {"measure": "volume_reliability", "currency": "crowns"},
    )


def test_options_of_one_curve_share_a_line(options):
    figure = options_figure(options, 0.9)
    axes = figure.axes[0]
    lines = [line for line in axes.lines if str(line.get_gid()).startswith("option ")]
    assert len(lines) == 2
    names = [text.get_text().replace("\n", " ") for text in axes.get_legend().get_texts()]
    assert names == ["Both roofs", "as described / A small tank"], "the better curve is named first"
    np.testing.assert_allclose(lines[1].get_ydata(), [20, 50, 90])
    np.testing.assert_allclose(lines[1].get_xdata(), [1, 10, 100])
    tanks = [line for line in axes.lines if str(line.get_gid()).startswith("tanks of ")]
    assert sorted(len(dots.get_xdata()) for dots in tanks) == [1, 2]


def test_drawn_again_it_moves_its_artists(options):
    def draw(looked_at, figure=None):
        return options_figure(options, 0.9, figure, looked_at=looked_at)

    check_moved(draw, (10_000.0,), (20_000.0,))


def test_options_in_words(options):
    said = " ".join(options_said(options, 0.9))
    assert "as described: 100 kL" in said and "No size reaches it for: Both roofs." in said
    assert (
        "Least a year is paid for \u201cA small tank\u201d: 300 crowns; it supplies 50 % and leaves " in said
    )
    assert "leaves 150 kL a year unsupplied, which costs nothing here." in said
    # Mains water is no part of a cost a year, and a reserve may need no tank at all.
    bought = {"mains_a_year": ("study_option", [140e3, 340e3, 0.0])}
    bought["recommended_nominal"] = ("study_option", [100_000.0, 0.0, np.nan])
    said = " ".join(options_said(options.assign(bought), 0.9))
    assert "Least a year, mains water not counted, is paid" in said and "A small tank: no tank needed" in said
    assert "it supplies 50 %, takes 340 kL a year from the mains and leaves 150 kL a year" in said
    bought["unsupplied_a_year"] = ("study_option", [0.0, 0.0, 0.0])
    said = " ".join(options_said(options.assign(bought), 0.9))
    assert "it supplies 50 % and takes 340 kL a year from the mains." in said
    words = options_at_words(options, 10_000.0, 0.6)
    assert (
        words
        == "With a tank of 10 kL nominal: as described 50 %, Both roofs 70 %. 60 % is reached by: Both roofs."
    )
    assert "None reaches 99 %" in options_at_words(options, 10_000.0, 0.99)
