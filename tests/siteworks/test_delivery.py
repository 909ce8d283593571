"""Water out of the tank: the tap's energy and the bucket; power against a textbook, duty point, starts, dry running."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rainharvest import InputError
from rainharvest.catchment.hydraulics import friction_head
from rainharvest.siteworks.base import vessel_of
from rainharvest.siteworks.delivery import (
    Rise,
    Tap,
    below_the_tap,
    curve_through,
    drawdown,
    dry_running_level,
    duty_point,
    fitting_losses,
    head_wanted,
    pump_curve,
    pump_duty,
    pump_works,
    seconds_to_fill,
    starts_an_hour,
    tap_flow,
    tap_pressure,
)
from rainharvest.siteworks.tables import PumpPlan


@given(st.floats(0.02, 8), st.floats(0, 40), st.floats(10, 50))
def test_the_taps_flow_spends_the_whole_head(head, run, bore):
    from fluids.fittings import K_globe_valve_Crane

    tap = Tap(tap_height=0.4, tap_run=run, tap_bore=bore)
    losses = 1.5 + K_globe_valve_Crane(bore / 1000, bore / 1000)

    def spent(flow):
        speed = flow / 1000 / (math.pi * (bore / 1000) ** 2 / 4)
        return friction_head(flow, bore, run, 0.007) + losses * speed**2 / (2 * 9.80665)

    flow = tap_flow(tap, 0.4 + head)
    # friction jumps where the flow turns turbulent: there the head lies within the jump
    assert flow > 0 and spent(flow * (1 - 1e-6)) <= head * (1 + 1e-6)
    assert head <= spent(flow * (1 + 1e-6)) * (1 + 1e-6)


def test_pressure_is_9_81_kilopascals_a_metre_and_nothing_above_the_water():
    tap = Tap(tap_height=1.0, floor_height=0.5)
    assert tap_pressure(tap, 2.5) == pytest.approx(2.0 * 9.80665)
    assert tap_pressure(tap, 0.5) == tap_pressure(tap, 0.2) == 0 and tap_flow(tap, 0.5) == 0
    assert math.isinf(seconds_to_fill(tap_flow(tap, 0.5))) and seconds_to_fill(0.4, 20) == 50


def test_water_that_stands_below_the_tap():
    tank = vessel_of(10_000, height=2.0)
    assert below_the_tap(tank, Tap(tap_height=0.1)) == 0
    assert below_the_tap(tank, Tap(tap_height=0.6, floor_height=0.1)) == pytest.approx(2000)


def test_taps_that_cannot_be_get_plain_answers():
    with pytest.raises(InputError, match="under the base: the floor of the tank lies 0.6 m above the ground"):
        Tap(tap_height=0.3, floor_height=0.6)
    # on a pipe it may
    assert Tap(tap_height=0.3, floor_height=0.6, tap_run=2).tap_level == pytest.approx(-0.3)
    with pytest.raises(InputError, match="under the ground"):
        Tap(tap_height=-0.1)
    with pytest.raises(InputError, match="above the overflow: no water reaches it"):
        below_the_tap(vessel_of(1000, height=1.0), Tap(tap_height=1.5))


def hazen_williams_head(flow, bore, length, smoothness):
    """Return 10.67 L Q^1.852 / (C^1.852 D^4.8704), in metres and m3/s: a second opinion on friction."""
    return 10.67 * length * (flow / 1000) ** 1.852 / (smoothness**1.852 * (bore / 1000) ** 4.8704)


def test_pump_power_of_a_textbook():
    # Surge Analysis and the Wave Plan Method, chapter 0, problem 0.27, as printed on its solution page: 80 L/s, 2,400 m
    # of 243 mm with a coefficient of 140, 24.81 m of friction and 40 m of lift, 50.9 kW given to the water
    # rounded exponents
    assert hazen_williams_head(80.0, 243.0, 2400.0, 140.0) == pytest.approx(24.81, rel=0.015)
    duty = pump_duty(80.0, 64.81, 0.75, 1.0)
    weight = 9810 / 9806.65  # the book's weight of a cubic metre over ours
    assert weight * duty.hydraulic_power / 1000 == pytest.approx(50.9, abs=0.05)
    assert duty.shaft_power == pytest.approx(duty.hydraulic_power / 0.75)


def test_duty_point_where_two_parabolas_meet():
    # data of a fluid-mechanics exercise (H0 7.46 m, 0.0453; lift 3.52 m, 0.0261; L/min); the answer is own arithmetic
    flow, head = duty_point(lambda q: 7.46 - 0.0453 * q**2, lambda q: 3.52 + 0.0261 * q**2, 12.8)
    assert flow == pytest.approx(math.sqrt((7.46 - 3.52) / (0.0453 + 0.0261)), rel=1e-9)
    assert head == pytest.approx(7.46 - 0.0453 * flow**2, rel=1e-9)


@given(st.floats(0.5, 30), st.floats(0, 300), st.floats(0.05, 3), st.floats(15, 65), st.floats(0, 200))
def test_a_curve_through_the_duty_wanted_meets_the_pipe_there(lift, pressure, flow, bore, length):
    rise = Rise(lift, pressure, length, bore)
    shut_off, most = curve_through(rise, flow)
    found, head = duty_point(pump_curve(shut_off, most), lambda q: head_wanted(rise, q), most)
    assert found == pytest.approx(flow, rel=1e-6) and head == pytest.approx(head_wanted(rise, flow), rel=1e-6)


def test_the_head_wanted_is_lift_pressure_friction_and_fittings():
    rise = Rise(lift=4.0, pressure=98.0665, pipe_length=30, pipe_bore=25)
    assert rise.static_head == pytest.approx(14.0) == pytest.approx(head_wanted(rise, 0.0))
    speed = 0.3e-3 / (math.pi * 0.025**2 / 4)
    by_hand = friction_head(0.3, 25, 30, 0.007) + fitting_losses(25) * speed**2 / (2 * 9.80665)
    assert head_wanted(rise, 0.3) - 14.0 == pytest.approx(by_hand)
    # Crane TP-410: six elbows of 30 f_T, a check valve of 100 f_T, a gate valve of 8 f_T, f_T 0.023 to 0.024 at 25 mm
    assert fitting_losses(25) == pytest.approx(0.5 + (6 * 30 + 100 + 8) * 0.0235, rel=0.05)


def test_energy_of_a_kilolitre_is_2_725_watt_hours_for_each_metre():
    # g / 3.6: 9.80665 kJ lift a kilolitre by a metre
    duty = pump_duty(0.7, 10.0, 1.0, 1.0)
    assert duty.pump_energy == pytest.approx(0.02724, abs=0.00001)
    worse = pump_duty(1.4, 10.0, 0.5, 0.8)
    assert worse.pump_energy == pytest.approx(duty.pump_energy / 0.4)
    # 274 W and 69 W, plus a quarter
    assert worse.motor_size == 370 and pump_duty(0.7, 10.0, 1.0, 1.0).motor_size == 250
    assert math.isnan(pump_duty(1000.0, 50.0).motor_size)


def test_drawdown_of_a_pressure_tank_pelikan_2006():
    # The Driller, February 2006, example 1: 28, 30 and 50 lbf/in2, 85 US gallons: 25.1 gallons
    pounds = 6.894757
    assert drawdown(85.0, 30 * pounds, 50 * pounds, 28 * pounds) == pytest.approx(25.1, abs=0.05)


@given(st.floats(0.05, 5), st.floats(1, 500))
def test_most_starts_come_when_half_the_flow_is_drawn(flow, drawn):
    share = np.linspace(0.01, 0.99, 99)
    cycle = drawn / (share * flow) + drawn / ((1 - share) * flow)
    assert starts_an_hour(flow, drawn) == pytest.approx((3600 / cycle).max(), rel=1e-9)


def test_the_pump_stops_before_it_runs_dry():
    tank = vessel_of(10_000, height=2.0)
    assert dry_running_level(tank) == pytest.approx(0.1 + 0.1)
    with pytest.raises(InputError, match="would stop at"):
        dry_running_level(vessel_of(10_000, height=0.1))


def test_a_pump_that_starts_too_late_for_the_highest_tap_is_told_with_the_start_that_would_do():
    # 5.7 m of lift are 55.9 kPa; 0.5 L/s in 25.4 mm flow at 0.987 m/s, of head 0.0497 m. In water of 10 degrees Re is
    # 19,200 and f 0.0267: 40 m of pipe take 2.09 m, fittings of 7.1 heads 0.35 m, in all 23.9 kPa. Of 100 are left
    # 150 - 55.9 - 23.9 = 70.2; 100 + 55.9 + 23.9 = 179.8 would do
    plan = dict(highest_tap=6.0, pressure=100, flow=0.5, pipe_length=40, pipe_bore=25.4, cut_out=250)
    plan |= dict(pump_level=0.3, suction_length=9.0)  # what the suction pipe takes, it takes before the pump
    tank = vessel_of(10_000, height=2.2)
    low = pump_works(PumpPlan(**plan, cut_in=150), tank, 0.1)
    assert low.starts_low and low.tap_at_start == pytest.approx(70.2, abs=0.3)
    assert low.cut_in_wanted == pytest.approx(179.8, abs=0.3)
    enough = pump_works(PumpPlan(**plan, cut_in=low.cut_in_wanted), tank, 0.1)
    assert not enough.starts_low and enough.tap_at_start == 100
    assert not pump_works(PumpPlan(highest_tap=6.0), tank, 0.1).starts_low  # no start is given


def test_pumps_that_cannot_be_get_plain_answers():
    with pytest.raises(
        InputError, match=r"the pump has no lift: -6 m up, 20 kPa wanted; leave the pump out, gravity"
    ):
        Rise(lift=-6.0, pressure=20.0)
    assert Rise(lift=-1.0, pressure=20.0).static_head > 0  # downhill, but pressure is wanted
    with pytest.raises(InputError, match="choose a pump with a higher head"):
        duty_point(pump_curve(5.0, 1.0), lambda q: 6.0 + q, 1.0)
