"""The tank in the ground: flotation by Archimedes, suction by the standard atmosphere, both by hand."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from places import SCHOOL
from pydantic import ValidationError

from rainharvest import InputError
from rainharvest.siteworks.base import base_of, flotation_of, vessel_of
from rainharvest.siteworks.delivery import air_pressure, suction_of
from rainharvest.siteworks.facts import buildability
from rainharvest.siteworks.figures import run_figure, tank_figure
from rainharvest.siteworks.panel import prepare_siteworks, site_given, site_variant
from rainharvest.siteworks.section import SAID, siteworks_said
from rainharvest.siteworks.tables import PumpPlan, SiteWorks


def test_what_lifts_an_empty_tank_and_what_holds_it_by_hand():
    # 5 m2 of plan, 2 m high, its floor 2.5 m deep, groundwater 1 m below the ground: it stands 1.5 m in water
    tank = vessel_of(10_000, "rectangular", tank_width=2.0)
    base = base_of(tank, SiteWorks(slab_margin=0.0))
    lift = flotation_of(SiteWorks(buried=2.5, groundwater=1.0), tank, base)
    assert lift.displaced == pytest.approx(7500) and lift.measured
    # tank 300 kg; 0.5 m of earth over it, dry, 1600 x 0.5 x 5; slab 5 x 0.1 x (2400 - 1000)
    assert lift.holding == pytest.approx(300 + 4000 + 700)
    assert lift.wanted == pytest.approx(9000) and lift.holds_with == pytest.approx(4000)
    assert lift.more_concrete == pytest.approx(4000 / (1 - 1000 / 2400)) and lift.floats
    # water to the surface: all of it stands in water, and so does its cover
    wet = flotation_of(SiteWorks(buried=2.5), tank, base)
    assert wet.displaced == pytest.approx(10_000) and not wet.measured
    assert wet.holding == pytest.approx(300 + 900 * 0.5 * 5 + 700)
    # below the floor there is nothing that lifts; on the ground there is nothing to say
    dry = flotation_of(SiteWorks(buried=2.5, groundwater=2.6), tank, base)
    assert dry.displaced == 0 and not dry.floats
    assert flotation_of(SiteWorks(), tank, base) is None


def test_a_lying_tank_half_in_water_displaces_half_of_itself():
    tank = vessel_of(6000, "horizontal", 1.6, tanks=2)
    lift = flotation_of(SiteWorks(buried=2.0, groundwater=1.2), tank, base_of(tank, SiteWorks()))
    assert lift.displaced == pytest.approx(1500)


@given(st.floats(0.5, 5), st.floats(0, 4), st.sampled_from(["upright", "horizontal"]))
def test_the_concrete_that_is_asked_for_holds_it_and_no_less_does(depth, water, form):
    tank = vessel_of(8000, form, 1.8)
    site = SiteWorks(buried=depth, groundwater=water)
    lift = flotation_of(site, tank, base_of(tank, site))
    if lift.floats:
        tied = site.model_copy(update={"anchor_mass": lift.more_concrete})
        held = flotation_of(tied, tank, base_of(tank, tied))
        assert held.holding == pytest.approx(held.wanted)


@pytest.mark.parametrize(
    "elevation, kilopascals", [(0, 101.325), (1000, 89.876), (2000, 79.501), (3000, 70.121)]
)
def test_air_pressure_of_the_united_states_standard_atmosphere_1976(elevation, kilopascals):
    assert air_pressure(elevation) == pytest.approx(kilopascals, rel=3e-4)  # rows of the table, from memory


def test_suction_by_hand_and_what_height_takes_from_it():
    plan = PumpPlan(highest_tap=4.0, pump_level=1.0, pipe_bore=32, suction_length=5.0, npsh_required=5.0)
    here = suction_of(plan, -2.0, 0.4, 0.0)  # worked in the docstring of suction_of
    assert here.lift == 3.0 and here.available == pytest.approx(6.73, abs=0.03) and here.enough
    # 1,500 m up the air weighs 84.56 kPa: 1.71 m less
    high = suction_of(plan, -2.0, 0.4, 1500.0)
    assert here.available - high.available == pytest.approx((101.325 - 84.556) / 9.80665, abs=0.01)
    assert not high.enough and high.asked == pytest.approx(5.6)
    assert suction_of(plan, 1.2, 0.4, 0.0) is None  # the water stands above it
    assert suction_of(PumpPlan(highest_tap=4.0), -2.0, 0.4, 0.0) is None  # it stands in the water


@pytest.fixture(scope="module")
def ready():
    return prepare_siteworks(SCHOOL, nominal=20_000)


def test_a_tank_in_the_ground_is_told_drawn_and_held_against_the_ground(ready):
    school = site_given(ready)
    pump = {"highest_tap": 3.0, "pump_level": 0.3}
    works = site_variant(ready, school, buried=2.6, height=2.0, pump=pump, overflow_to="garden")
    assert works.floor_height == -2.6 and works.tap.tap_height == pytest.approx(0.45) and works.tap_dry
    said = dict(siteworks_said(works))
    assert "nobody has measured" in said["In the ground"] and "It may rise" in said["In the ground"]
    assert "The pump brings it" in said["Water by its own weight"] and "it draws" in said["Water by pump"]
    assert "at 120 m above the sea" in said["Water by pump"]
    assert "gust" not in said["In the wind"] and "2.6 m below the ground" in said["Levels and heads"]
    # the overflow leaves 0.7 m under the ground and falls 8 m at 1 %: no garden takes it
    checks = works.checks.set_index("check").fits
    assert works.checks.set_index("check").found["overflow runs off by its own fall"] == "0.78 m too low"
    assert checks["overflow runs off by its own fall"] == "no" and "shade at noon" not in checks
    parts = works.parts.part.tolist()
    assert {"access lid", "foot valve", "vent"} <= set(parts) and "washout valve" not in parts
    rows = {row.thing: row for row in buildability(works)}
    assert not rows["tank in wet ground"].fits and "measure it" in rows["tank in wet ground"].answer
    assert rows["pump"].fits and "priming" in " ".join(works.handover)
    # without a level the pump stands in the water: nothing of it is dry, and it has no suction side
    wet = site_variant(ready, school, buried=2.6, height=2.0, pump={"highest_tap": 3.0}, overflow_to="garden")
    listed = " ".join((*wet.ticks, *wet.handover, *wet.parts.part))
    assert "It stands in the water" in SAID["Water by pump"](wet) and "lifted out by its chain" in listed
    for dry in ("the pump stands dry", "priming", "pump cover", "strainer", "foot valve"):
        assert dry not in listed and dry in " ".join((*works.ticks, *works.handover, *works.parts.part))
    counted = [w.parts.set_index("part").quantity[["union", "isolating valve"]] for w in (wet, works)]
    assert [one.tolist() for one in counted] == [[1, 2], [2, 3]]  # the tank's outlet has a valve as well
    # a soakaway may lie as deep as that, if its base stays clear of the groundwater: 3 - 0.78 - 1.5
    deep = site_variant(ready, school, buried=2.6, height=2.0, pump=pump, groundwater=3.0)
    row = deep.checks.set_index("check").loc["base of the soakaway above the highest groundwater"]
    assert row.found == "0.72 m" and row.fits == "no" and not deep.flotation.floats
    body = next(a for a in tank_figure(works).axes[0].get_children() if a.get_gid() == "body")
    assert body.get_xy()[:, 1].min() == pytest.approx(-2.6)
    assert run_figure(works).axes[0].get_ylim()[1] > 3.8
    poor = site_variant(
        ready, school, buried=2.6, height=2.0, pump=pump | {"pump_level": 8.0, "suction_length": 12.0}
    )
    with pytest.raises(InputError, match="5 m is shorter than the 10.40 m down to the water; give its whole"):
        site_variant(ready, school, buried=2.6, height=2.0, pump=pump | {"pump_level": 8.0})
    assert not buildability(poor)[-1].fits and "does not draw" in SAID["Water by pump"](poor)


def test_in_the_ground_and_on_a_stand_is_refused():
    with pytest.raises(ValidationError, match="a tank in the ground has no stand"):
        SiteWorks(buried=1.0, stand=0.5)
