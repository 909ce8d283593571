"""Figures of many climates: the artists hold the numbers given, and are moved, not added."""

import numpy as np
import pytest
import vega_datasets
import xarray as xr
from drawn import artist, count
from matplotlib.path import Path

from rainharvest.catchment.chain import LOSSES
from rainharvest.climates.figures import (
    explain_figure,
    map_figure,
    place_figure,
    sides_figure,
    wet_sides_figure,
)
from rainharvest.core.defaults import rows_of

SIZES = np.array([1e3, 1e4, 1e5])


def sides(factor=1.0):
    names, runs = ["wet", "dry", "middling"], ["dry run", "wet run"]
    share = np.array([[0.5, 0.8, 1.0], [0.1, 0.2, 0.3], [0.3, 0.5, 0.7]])
    lost = np.zeros((3, 2, len(LOSSES)))
    lost[:, 1, -1] = factor * np.array([3e3, 2e3, 0.0])
    lost[:, 0, -2] = factor * 5e3
    return xr.Dataset(
        {
            "volume_reliability": (
                ("climate", "conveyance", "arrangement", "capacity"),
                np.stack([share, share / 2], axis=1)[:, :, None],
            ),
            "lost_a_year": (("climate", "conveyance", "loss"), lost),
            "standing_spells_a_year": (
                ("climate", "conveyance"),
                factor * np.array([[0, 4.0], [0, 12.0], [0, 0]]),
            ),
        },
        {
            "climate": names,
            "conveyance": runs,
            "arrangement": ["rain only"],
            "capacity": SIZES,
            "loss": list(LOSSES),
        },
        {"measure": "volume_reliability", "target": 0.6},
    )


def test_climates_side_by_side():
    figure = sides_figure(sides(), 5e3)
    held = count(figure)
    sides_figure(sides(), 1e4, figure=figure)
    assert count(figure) == held
    axes = figure.axes[0]
    np.testing.assert_allclose(artist(axes, "line-1").get_ydata(), [10, 20, 30])
    np.testing.assert_allclose(artist(axes, "marks").get_ydata(), [80, 20, 50])
    assert artist(axes, "tank").get_xdata()[0] == 10 and artist(axes, "target").get_ydata()[0] == 60
    assert [t.get_text() for t in axes.get_legend().get_texts()] == ["wet", "dry", "middling"]


def test_costs_of_the_wet_run_side_by_side():
    figure = wet_sides_figure(sides(0.0))  # nothing lost: still a picture
    held = count(figure)
    wet_sides_figure(sides(), figure=figure)
    assert count(figure) == held
    held, turned, spells = figure.axes
    assert [artist(held, f"bar-{i}-0").get_width() for i in range(3)] == [3, 2, 0]
    assert [artist(turned, f"bar-0-{j}").get_width() for j in range(2)] == [5, 0]
    assert [artist(spells, f"words-{i}-0").get_text() for i in range(3)] == ["4.0", "12", "0"]


def test_map_marks_the_place_and_where_nothing_reaches():
    values = xr.DataArray(
        [[1.0, np.nan], [3.0, np.nan]],
        {"latitude": [1.0, 2.0], "longitude": [5.0, 6.0]},
        ("latitude", "longitude"),
    )
    land = xr.DataArray([[True, True], [True, False]], dims=("latitude", "longitude"))
    figure = map_figure(values, land, "A map", "kL", (1.0, 6.0))
    held = count(figure)
    map_figure(values * 10, land, "Another", "mm", (2.0, 5.0), 0, figure=figure)
    assert count(figure) == held
    axes, bar = figure.axes
    assert artist(axes, "cells").get_clim() == (10, 30) and bar.get_ylabel() == "mm"
    assert (artist(axes, "never").get_xdata(), artist(axes, "never").get_ydata()) == ([6.0], [1.0])
    assert (artist(axes, "picked").get_xdata()[0], artist(axes, "picked").get_ydata()[0]) == (5.0, 2.0)
    map_figure(values, land, "Groups", "", (2.0, 5.0), 3, figure=figure)
    assert artist(axes, "cells").get_clim() == (0.5, 3.5) and bar.get_ylabel() == "Group"
    assert all(tick == round(tick) for tick in bar.get_yticks())
    # from -0.5 to 1.5: zero in the middle
    map_figure(values - 1.5, land, "Signs", "kL", (2.0, 5.0), 0, figure=figure)
    assert artist(axes, "cells").get_clim() == (-1.5, 1.5) and artist(bar, "zero").get_visible()
    assert artist(axes, "cells").cmap(0.5)[:3] == pytest.approx((1, 1, 1), abs=0.02)
    assert axes.get_aspect() == pytest.approx(1 / np.cos(np.radians(1.5)))
    map_figure(values * np.nan, land, "Nothing", "kL", (2.0, 5.0), 0, figure=figure)
    assert artist(axes, "never").get_xdata().size == 3


def test_a_projected_grid_is_drawn_where_its_places_lie():
    lat, lon = (
        np.array([[46.0, 46.1, 46.2], [47.0, 47.1, 47.2]]),
        np.array([[8.0, 9.0, 10.0], [8.1, 9.1, 10.1]]),
    )
    at = {"latitude": (("y", "x"), lat), "longitude": (("y", "x"), lon)}
    values = xr.DataArray([[1.0, np.nan, 3.0], [4.0, 5.0, 6.0]], at, ("y", "x"))
    axes = map_figure(values, xr.ones_like(values, bool).T, "Projected", "kL").axes[0]
    cells = artist(axes, "cells")
    middles = cells.get_coordinates()[:-1, :-1] + np.diff(cells.get_coordinates(), axis=1)[:-1] / 2
    assert cells.get_array().shape == (2, 3) and cells.get_array()[1, 2] == 6
    np.testing.assert_allclose(middles[..., 0], lon, atol=0.06)
    assert (artist(axes, "never").get_xdata(), artist(axes, "never").get_ydata()) == ([9.0], [46.1])


def test_outline_of_the_land_holds_real_airports():
    """Of the airports of the conterminous United States in an open dataset, all but those of islands lie on it."""
    airports = vega_datasets.data.airports()
    here = airports[airports.latitude.between(24, 50) & airports.longitude.between(-125, -65)]
    at = here[["longitude", "latitude"]].to_numpy()
    rings = [np.reshape(ring, (-1, 2)) for ring in rows_of("climates", "coastline")["ring"]]
    outside = at[~np.any([Path(ring).contains_points(at) for ring in rings], axis=0)]
    assert len(at) > 3000 and len(outside) < 0.02 * len(at)
    points = np.concatenate([np.linspace(ring[:-1], ring[1:], 20).reshape(-1, 2) for ring in rings])
    assert np.hypot(*(points - outside[:, None]).transpose(2, 0, 1)).min(axis=1).max() < 1.0  # degrees


def test_coast_is_drawn_where_asked_and_limits_stay():
    lat, lon = np.arange(36.0, 44), np.arange(350.0, 358)
    values = xr.DataArray(np.ones((8, 8)), {"latitude": lat, "longitude": lon}, ("latitude", "longitude"))
    axes = map_figure(values, values > 0, "Real", "kL", coast=True).axes[0]
    assert axes.get_xlim() == (349.5, 357.5)
    assert any(
        ((349.5 < ring[:, 0]) & (ring[:, 0] < 357.5)).any() for ring in artist(axes, "coast").get_segments()
    )
    assert not [
        a
        for a in map_figure(values, values > 0, "Invented", "kL").axes[0].get_children()
        if a.get_gid() == "coast"
    ]


def test_one_place_and_the_sea():
    runs = ["dry run", "wet run"]
    here = xr.Dataset(
        {
            "volume_reliability": (("conveyance", "capacity"), [[0.2, 0.6, 0.9], [0.1, 0.5, 0.8]]),
            "yearly_yield": (("conveyance", "capacity"), [[1e4, 3e4, 4.4e4]] * 2),
            "driest_decade_yield": (("conveyance", "capacity"), [[9e3, 2e4, 3e4]] * 2),
        },
        {"conveyance": runs, "capacity": SIZES},
    )
    figure = place_figure(here, 2e4, 0.8)
    held = count(figure)
    left, right = figure.axes
    np.testing.assert_allclose(artist(left, "wet run").get_ydata(), [10, 50, 80])
    np.testing.assert_allclose(artist(right, "driest decade").get_ydata(), [9, 20, 30])
    assert artist(left, "tank").get_xdata()[0] == 20 and right.get_ylim()[1] == pytest.approx(50)
    place_figure(here * np.nan, 2e4, 0.8, figure=figure)
    assert count(figure) == held and np.isnan(artist(left, "dry run").get_ydata()).all()


def test_explaining_has_a_point_a_place():
    climate = xr.Dataset(
        {"mean_storm": ("site", [10.0, 20.0, np.nan]), "seasonality": ("site", [0.1, 0.9, np.nan])}
    )
    cost = xr.DataArray([0.05, 0.01, np.nan], dims="site")
    found = xr.Dataset(
        {"rank_correlation": ("statistic", [-1.0, -0.5])}, {"statistic": ["mean_storm", "seasonality"]}
    )
    figure = explain_figure(climate, cost, found)
    held = count(figure)
    explain_figure(climate, 2 * cost, found, figure=figure)
    assert count(figure) == held
    np.testing.assert_allclose(artist(figure.axes[0], "places").get_ydata()[:2], [10, 2])
    assert figure.axes[1].get_title(loc="left") == "rank corr. −0.50"
