"""Ground, base, tank and gauge: the code's table, pressures and masses by hand, closed forms against integration."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from rainharvest import InputError
from rainharvest.siteworks.base import (
    GROUNDS,
    SHAPES,
    base_of,
    ground_pressure,
    presumed_bearing,
    segment_area,
    tank_height,
    vessel_of,
    wind_on,
)
from rainharvest.siteworks.tables import SiteWorks

# International Building Code 2012, Table 1806.2, lbf/ft2, as read on a public page (row T1 of the project's check
# values); kPa at 0.0479 kPa to the lbf/ft2, as printed there to one figure.
IBC_2012_TABLE_1806_2 = {
    "bedrock": (12_000, 574.6),
    "layered rock": (4_000, 191.5),
    "gravel": (3_000, 143.6),
    "sand": (2_000, 95.8),
    "clay": (1_500, 71.8),
}


@pytest.mark.parametrize("ground", IBC_2012_TABLE_1806_2)
def test_ibc_2012_table_1806_2_and_its_conversion(ground):
    pounds, kilopascals = IBC_2012_TABLE_1806_2[ground]
    assert presumed_bearing(ground) == pytest.approx(kilopascals, abs=0.06)
    # pounds-force and feet from their definitions, not from the constant that the module uses
    assert presumed_bearing(ground) == pytest.approx(
        pounds * 0.45359237 * 9.80665 / 0.3048**2 / 1000, rel=1e-9
    )


@pytest.mark.parametrize(
    "nominal, height, tips, slides",
    [
        (1_000, 1.35, 19.4, 16.2),  # worked in the docstring of wind_on
        # 3,500 L, 1.476 m across, 2.045 m high: 105 kg, 3.019 m2 in the wind; tips at 743 N, slides at 515 N
        (3_500, 2.045, 24.0, 19.9),
    ],
)
def test_an_empty_tank_in_the_wind_by_hand(nominal, height, tips, slides):
    tank = vessel_of(nominal, height=height)
    empty = base_of(tank, SiteWorks()).empty_mass
    wind = wind_on(tank, empty)
    assert (wind.tips_at, wind.slides_at) == (pytest.approx(tips, abs=0.05), pytest.approx(slides, abs=0.05))
    assert wind.gust is None and not wind.stands_empty
    # the water that is asked for holds it and no less does: mass enters as the square of the speed
    hard = wind_on(tank, empty, 40.0)
    held = wind_on(tank, empty + hard.holds_with, 40.0)
    assert min(held.tips_at, held.slides_at) == pytest.approx(40.0)
    # moments about the lee edge: push at half the height, weight at half the width, ties at the windward edge
    turning = hard.push * height / 2 - empty * 9.80665 / 1000 * tank.tank_width / 2
    assert hard.lift * tank.tank_width == pytest.approx(turning)
    assert wind_on(tank, empty, 10.0).stands_empty and wind_on(tank, empty, 10.0).lift == 0


def test_a_lying_tank_holds_next_to_nothing_at_a_depth_of_next_to_nothing():
    # h << r: the segment is a parabola's, 4/3 h sqrt(2 r h)
    for depth in (1e-22, 1e-12, 1e-6):
        assert segment_area(depth, 2.0) == pytest.approx(4 / 3 * depth * math.sqrt(2 * depth), rel=1e-6)
    depths = np.geomspace(1e-30, 2.0, 4001)
    assert (np.diff(segment_area(depths, 2.0)) > 0).all()
    near = segment_area(np.nextafter(2 * math.sin(0.075) ** 2, [0, 1]), 2.0)  # where the two forms meet
    assert near[1] == pytest.approx(near[0], rel=1e-12)


@pytest.mark.parametrize("ground", ["fill", "peat", "expansive clay", "unknown"])
def test_nothing_is_presumed_for_fill_peat_and_expansive_clay(ground):
    assert presumed_bearing(ground) is None and GROUNDS[ground]["warning"]
    base = base_of(vessel_of(5000), SiteWorks(ground=ground))
    assert base.engineer and any("no value may be presumed" in warning for warning in base.warnings)
    assert not base_of(
        vessel_of(5000), SiteWorks(ground=ground, bearing=100.0)
    ).engineer  # an engineer has said what it bears


def test_two_metres_of_water_press_with_19_6_kilopascals_on_clay_of_71_8():
    # row T3 of the check values: 2.0 m of water, 19.6 kPa
    assert ground_pressure(mass=2000.0, contact=1.0) == pytest.approx(19.6, abs=0.05)
    base = base_of(vessel_of(10_000, height=2.0), SiteWorks(slab_thickness=0, empty_mass=0))
    assert base.ground_pressure == pytest.approx(19.613, abs=0.001) and not base.engineer


@given(st.floats(500, 500_000), st.floats(0.3, 8), st.sampled_from(["upright", "rectangular"]))
def test_pressure_goes_with_the_height_and_not_with_the_volume(nominal, height, form):
    bare = SiteWorks(ground="bedrock", slab_thickness=0, empty_mass=0)
    base = base_of(vessel_of(nominal, form, height), bare)
    assert base.ground_pressure == pytest.approx(9.80665 * height, rel=1e-9)
    assert base.mass_full == pytest.approx(nominal, rel=1e-9)


def test_masses_by_hand():
    base = base_of(vessel_of(8000, "rectangular", 2.0), SiteWorks(slab_thickness=0.2, slab_margin=0.25))
    side = 2.0 + 0.5
    assert (base.slab_length, base.slab_width) == pytest.approx((side, side))
    assert base.mass_full == pytest.approx(8000 + 240 + 2400 * 0.2 * side**2)
    assert base.ground_pressure == pytest.approx((8240 / 4.0 + 2400 * 0.2) * 9.80665 / 1000)


@given(st.floats(1, 12), st.floats(20, 90))
def test_a_slab_that_spreads_keeps_to_the_chosen_pressure(height, bearing):
    base = base_of(vessel_of(20_000, height=height), SiteWorks(bearing=bearing, slab_thickness=0.15))
    assert base.ground_pressure <= bearing * (1 + 1e-9)
    needs = (1 + 0.03) * 9.80665 * height + 2.4 * 0.15 * 9.80665 > bearing
    assert base.spread == needs and base.engineer == needs


def test_anything_raised_is_an_engineers_work_and_comes_first():
    base = base_of(vessel_of(1000), SiteWorks(ground="bedrock", stand=0.1))
    assert base.engineer and base.warnings[0].startswith("the tank stands 0.1 m up: an engineer")
    assert "cradles press" in base_of(vessel_of(2_000, "horizontal", 1.2), SiteWorks()).warnings[0]


@given(st.floats(0.2, 8), st.floats(0, 1))
def test_horizontal_cylinder_closed_form_against_numerical_integration(circle, share):
    depth, radius = share * circle, circle / 2
    chord, _ = quad(lambda y: 2 * np.sqrt(max(radius**2 - (y - radius) ** 2, 0.0)), 0, depth, limit=200)
    assert float(segment_area(depth, circle)) == pytest.approx(chord, rel=1e-6, abs=1e-8)


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


def test_impossible_sizes_get_plain_answers():
    for wrong in (
        {"nominal": 0},
        {"nominal": 100, "height": -1},
        {"nominal": 100, "tank_width": 0, "form": "rectangular"},
    ):
        with pytest.raises(InputError, match="above zero"):
            vessel_of(**wrong)


@pytest.mark.parametrize("form", ["upright", "rectangular", "horizontal"])
def test_a_small_tank_of_no_given_height_is_not_a_pole(form):
    site = SiteWorks(form=form)
    small, large = (
        vessel_of(nominal, form, tank_height(site, None, nominal)) for nominal in (60.0, 20_000.0)
    )
    assert small.height == pytest.approx(1.5 * small.tank_length) and large.height == 2.0
    assert small.nominal == pytest.approx(60.0)
    # what a study gives, and an inlet that stands lower, hold as before
    assert tank_height(SiteWorks(height=1.9), None, 60.0) == 1.9 and tank_height(site, 0.4, 60.0) == 0.4
