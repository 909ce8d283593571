"""The tank as a body: closed forms against integration, levels back from volumes, the gauge."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from rainharvest import InputError
from rainharvest.siteworks.base import SHAPES, Vessel, gauge_table, segment_area, vessel_of


@given(st.floats(0.2, 8), st.floats(0, 1))
def test_horizontal_cylinder_closed_form_against_numerical_integration(circle, share):
    depth, radius = share * circle, circle / 2
    chord, _ = quad(lambda y: 2 * np.sqrt(max(radius**2 - (y - radius) ** 2, 0.0)), 0, depth, limit=200)
    assert float(segment_area(depth, circle)) == pytest.approx(chord, rel=1e-6, abs=1e-8)


def test_horizontal_cylinder_known_points():
    tank = Vessel("horizontal", 2.0, 3.0, 2.0, 0.1, 1.9)
    assert tank.nominal == pytest.approx(1000 * np.pi * 3.0)
    assert float(tank.volume(1.0)) == pytest.approx(tank.nominal / 2)
    assert float(tank.volume(0.5) + tank.volume(1.5)) == pytest.approx(tank.nominal)
    assert float(tank.volume(0.5)) / tank.nominal == pytest.approx(
        1 / 3 - np.sqrt(3) / (4 * np.pi)
    )  # 60 degrees


@given(
    st.sampled_from(list(SHAPES)),
    st.floats(200, 500_000),
    st.floats(0.5, 6),
    st.integers(1, 5),
    st.floats(0, 0.3),
    st.floats(0, 0.3),
)
def test_a_tank_holds_its_size_and_its_marks_lie_where_the_shares_put_them(
    form, nominal, height, tanks, dead, freeboard
):
    tank = vessel_of(nominal, form, height, tanks=tanks, dead_share=dead, freeboard_share=freeboard)
    assert tank.nominal == pytest.approx(nominal)
    assert tank.capacity == pytest.approx(nominal * (1 - dead - freeboard), rel=1e-6)
    assert float(tank.volume(tank.outlet_mark)) == pytest.approx(dead * nominal, rel=1e-6, abs=1e-6)
    for share in (0.0, 0.37, 1.0):
        assert float(tank.volume(tank.level(share * nominal))) == pytest.approx(
            share * nominal, rel=1e-6, abs=1e-4
        )
    levels = np.linspace(0, height, 40)
    assert (np.diff(tank.volume(levels)) > 0).all()


def test_the_gauge_by_hand():
    # 2 m2 of plan, 1 m high, outlet at 0.1 m, overflow at 0.9 m: 2,000 L, 1,600 of them to draw; 100 L a day
    tank = Vessel("rectangular", 1.0, 2.0, 1.0, 0.1, 0.9)
    table = gauge_table(tank, 100.0, steps=9)
    assert float(table.litres_held.sel(water_level=0.5, method="nearest")) == pytest.approx(1000)
    assert float(table.litres_to_draw[-1]) == pytest.approx(1600) and float(table.days_of_supply[-1]) == 16
    assert float(table.days_of_supply.sel(water_level=0.1, method="nearest")) == pytest.approx(0)
    assert (table.litres_to_draw.where(table.water_level < 0.1, drop=True) == 0).all()
    assert table.days_of_supply.attrs["units"] == "day" and table.attrs["outlet_mark"] == 0.1


@pytest.mark.parametrize(
    "wrong, say",
    [
        ({"outlet_mark": 0.95}, "outlet at 0.95 m is not below the overflow at 0.9 m"),
        ({"outlet_mark": 0.9}, "nothing could be drawn"),
        ({"outlet_mark": -0.1}, "below the floor"),
        ({"overflow_mark": 1.2}, "above the top of the tank"),
        ({"tank_length": 0.0}, "0 m makes a tank without a footprint"),
        ({"height": 0.0}, "without a height"),
        ({"form": "round"}, "choose one of upright, horizontal, rectangular"),
        ({"tanks": 0}, "0 tanks"),
    ],
)
def test_impossible_tanks_get_plain_answers(wrong, say):
    right = dict(
        form="upright", height=1.0, tank_length=1.0, tank_width=1.0, outlet_mark=0.1, overflow_mark=0.9
    )
    with pytest.raises(InputError, match=say):
        Vessel(**(right | wrong))


def test_impossible_sizes_get_plain_answers():
    for wrong in (
        {"nominal": 0},
        {"nominal": 100, "height": -1},
        {"nominal": 100, "tank_width": 0, "form": "rectangular"},
    ):
        with pytest.raises(InputError, match="above zero"):
            vessel_of(**wrong)
    with pytest.raises(InputError, match="leave nothing to use"):
        vessel_of(100, dead_share=0.6, freeboard_share=0.4)
    with pytest.raises(InputError, match="from zero to full"):
        vessel_of(100).level(101)
    with pytest.raises(InputError, match="a demand of 0"):
        gauge_table(vessel_of(100), 0)
