"""Water by its own weight: the orifice, the tap's energy, the bucket, taps that cannot be."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rainharvest import InputError
from rainharvest.catchment.hydraulics import friction_head
from rainharvest.siteworks.base import vessel_of
from rainharvest.siteworks.delivery import (
    Tap,
    below_the_tap,
    orifice_flow,
    seconds_to_fill,
    tap_flow,
    tap_height_needed,
    tap_pressure,
)


def test_orifice_p3_of_60_millimetres_under_6_metres():
    # row P3 of the check values, quoted there from a solved problem: 0.0192 m3/s
    flow = orifice_flow(orifice=60, water_head=6.0, contraction=0.68, jet=0.92)
    assert flow / 1000 == pytest.approx(0.0192, abs=0.00005)


@given(st.floats(0.02, 8), st.floats(0, 40), st.floats(10, 50), st.integers(0, 8))
def test_the_taps_flow_spends_the_whole_head(head, run, bore, elbows):
    from fluids.fittings import K_globe_valve_Crane, bend_rounded

    tap = Tap(tap_height=0.4, tap_run=run, tap_bore=bore, elbows=elbows)
    losses = 1.5 + K_globe_valve_Crane(bore / 1000, bore / 1000)
    losses += elbows * bend_rounded(Di=bore / 1000, angle=90, fd=0.025, bend_diameters=1.5)

    def spent(flow):
        speed = flow / 1000 / (math.pi * (bore / 1000) ** 2 / 4)
        return friction_head(flow, bore, run, tap.roughness) + losses * speed**2 / (2 * 9.80665)

    flow = tap_flow(tap, 0.4 + head)
    # friction jumps where the flow turns turbulent: there the head lies within the jump
    assert (
        flow > 0
        and spent(flow * (1 - 1e-6)) <= head * (1 + 1e-6)
        and head <= spent(flow * (1 + 1e-6)) * (1 + 1e-6)
    )


def test_pressure_is_9_81_kilopascals_a_metre_and_nothing_above_the_water():
    tap = Tap(tap_height=1.0, floor_height=0.5)
    assert tap_pressure(tap, 2.5) == pytest.approx(2.0 * 9.80665)
    assert tap_pressure(tap, 0.5) == tap_pressure(tap, 0.2) == 0 and tap_flow(tap, 0.5) == 0
    assert math.isinf(seconds_to_fill(tap_flow(tap, 0.5))) and seconds_to_fill(0.4, 20) == 50


def test_more_water_or_a_wider_pipe_never_fills_the_bucket_more_slowly():
    flows = [tap_flow(Tap(tap_height=0.4, tap_run=5), level) for level in (0.5, 1.0, 1.5, 2.0)]
    assert flows == sorted(flows)
    bores = [tap_flow(Tap(tap_height=0.4, tap_run=5, tap_bore=bore), 1.5) for bore in (15, 20, 25, 32)]
    assert bores == sorted(bores)


def test_water_that_stands_below_the_tap():
    tank = vessel_of(10_000, height=2.0)
    assert below_the_tap(tank, Tap(tap_height=0.1)) == 0
    assert below_the_tap(tank, Tap(tap_height=0.6, floor_height=0.1)) == pytest.approx(2000)
    assert tap_height_needed(0.4, 0.05) == pytest.approx(0.45)


def test_taps_that_cannot_be_get_plain_answers():
    with pytest.raises(InputError, match="under the base: the floor of the tank lies 0.6 m above the ground"):
        Tap(tap_height=0.3, floor_height=0.6)
    assert Tap(tap_height=0.3, floor_height=0.6, tap_run=2).tap_level == pytest.approx(
        -0.3
    )  # on a pipe it may
    with pytest.raises(InputError, match="under the ground"):
        Tap(tap_height=-0.1)
    with pytest.raises(InputError, match="above the overflow: no water reaches it"):
        below_the_tap(vessel_of(1000, height=1.0), Tap(tap_height=1.5))
    for wrong in ({"tap_bore": 0}, {"tap_run": -1}):
        with pytest.raises(InputError):
            Tap(tap_height=0.3, **wrong)
    with pytest.raises(InputError, match="a bucket of 0 L"):
        seconds_to_fill(0.1, 0)
    with pytest.raises(InputError, match="a hole of 0 mm"):
        orifice_flow(0, 1)
