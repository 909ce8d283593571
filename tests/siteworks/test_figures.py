"""Figures of the site works: to scale, moved and not drawn anew, and they show the numbers that they are given."""

from dataclasses import replace

import numpy as np
import pytest
from drawn import artist, check_moved
from places import SCHOOL

from rainharvest.core.reader import US, reading
from rainharvest.siteworks.figures import (
    gauge_figure,
    pump_figure,
    run_figure,
    soakaway_figure,
    storms_figure,
    tank_figure,
)
from rainharvest.siteworks.panel import prepare_siteworks, site_given, site_variant


@pytest.fixture(scope="module")
def ready():
    return prepare_siteworks(SCHOOL, nominal=30_000)


@pytest.fixture(scope="module")
def sites(ready):
    first = site_variant(ready)
    other = site_variant(
        ready,
        site_given(ready, 8000),
        tanks=1,
        form="horizontal",
        height=1.6,
        stand=1.5,
        pump={"highest_tap": 9.0},
        trial_pit={"pit_length": 1, "pit_width": 1, "pit_depth": 1, "minutes": [200]},
    )
    none = site_variant(ready, pump=None, trial_pit=None)
    return first, other, none


DRAWN = {
    tank_figure: lambda works: works,
    run_figure: lambda works: works,
    gauge_figure: lambda works: works,
    soakaway_figure: lambda works: works.soakaway,
    storms_figure: lambda works: works.storms,
    pump_figure: lambda works: works.pump,
}


@pytest.mark.parametrize("draw", DRAWN)
def test_a_figure_given_again_is_moved_and_looks_like_a_new_one(sites, draw):
    check_moved(draw, *((DRAWN[draw](works),) for works in sites[:2]))


def test_the_tank_is_drawn_to_one_scale(sites):
    first, other, _ = sites
    for works in (first, other):
        axes = tank_figure(works).axes[0]
        assert axes.get_aspect() == 1.0
        body = artist(axes, "body").get_xy()
        wide = works.vessel.height if works.vessel.form == "horizontal" else works.vessel.tank_length
        assert np.ptp(body[:, 0]) == pytest.approx(wide, rel=1e-3)
        assert np.ptp(body[:, 1]) == pytest.approx(works.vessel.height, rel=1e-3)
        assert body[:, 1].min() == pytest.approx(works.floor_height)
        water = artist(axes, "water").get_xy()
        assert water[:, 1].max() == pytest.approx(works.floor_height + works.vessel.overflow_mark, rel=1e-3)
        assert artist(axes, "bucket").get_xy()[:, 1].max() == pytest.approx(works.site.bucket_height)
        assert artist(axes, "mouth").get_ydata()[0] == pytest.approx(works.tap.tap_height)
        assert artist(axes, "stop").get_ydata()[0] == pytest.approx(
            works.floor_height + works.pump.stop_level
        )


def test_what_is_not_there_is_not_drawn(sites):
    first, _, none = sites
    axes = tank_figure(none, tank_figure(first)).axes[0]
    assert len(artist(axes, "rising").get_xdata()) == 0 and artist(axes, "pump-words").get_text() == ""
    assert not artist(axes, "deck").get_visible()
    empty = soakaway_figure(None, soakaway_figure(first.soakaway)).axes[0]
    assert artist(empty, "none").get_visible() and not artist(empty, "holds").get_visible()


def test_bars_and_lines_are_the_results(sites):
    first, _, _ = sites
    axes = storms_figure(first.storms).axes
    widths = [artist(axes[0], f"full-{k}").get_width() for k in range(10)]
    np.testing.assert_allclose(widths, 100 * first.storms.full_before)
    whole = [
        artist(axes[1], f"kept-{k}").get_width() + artist(axes[1], f"ran-{k}").get_width() for k in range(10)
    ]
    np.testing.assert_allclose(whole, first.storms.storm_inflow / 1000)
    axes = soakaway_figure(first.soakaway).axes[0]
    assert artist(axes, "holds").get_ydata()[0] == pytest.approx(float(first.soakaway.soakaway_holds) / 1000)
    left, right = gauge_figure(first).axes
    np.testing.assert_allclose(artist(left, "litres").get_xdata(), first.gauge.litres_to_draw / 1000)
    shown = artist(right, "seconds").get_xdata()
    assert (shown < 20_000).all() and len(shown) > 10
    axes = pump_figure(first.pump).axes[0]
    assert artist(axes, "duty").get_ydata()[0] == pytest.approx(first.pump.duty.duty_head)


def test_a_reader_in_the_us_sees_feet_and_gallons(sites):
    first, _, _ = sites
    with reading(US):
        axes = tank_figure(first).axes[0]
        assert "ft" in axes.get_xlabel() and "gal" in artist(axes, "holds").get_text()
        assert np.ptp(artist(axes, "body").get_xy()[:, 1]) == pytest.approx(
            first.vessel.height / 0.3048, rel=1e-3
        )
        assert "gal" in gauge_figure(first).axes[0].get_xlabel()


def test_words_of_a_tank_in_the_ground_keep_clear_of_pipes_and_of_one_another(ready):
    given = site_given(ready, 80_000)  # 6.8 m across at 2.2 m high: with the run of 30 m it fills the drawing
    run = given.conveyance.model_copy(update={"run": 30.0, "inlet_level": 2.4})
    given = replace(given, catchment=given.catchment.model_copy(update={"conveyance": run}))
    works = site_variant(ready, given, buried=2.0, height=2.2, pump={"highest_tap": 5.0})
    axes = tank_figure(works).axes[0]
    words, pipe = artist(axes, "overflow-words"), artist(axes, "rising").get_ydata()[1]
    assert words.get_va() == "bottom" and words.get_position()[1] > pipe
    figure = run_figure(works)
    figure.canvas.draw()
    one, other = (artist(figure.axes[0], name).get_window_extent() for name in ("mark-0", "tank inlet-words"))
    assert one.x1 < other.x0
    assert artist(gauge_figure(works).axes[1], "none").get_text() == "the pump brings it"
