"""The wet run: textbook friction, Colebrook against fluids, and one run worked step by step by hand."""

import math

import pytest
from fluids.friction import friction_factor
from hypothesis import assume, given
from hypothesis import strategies as st

from rainharvest.catchment.hydraulics import (
    SELF_CLEANSING,
    cannot_work,
    first_bore,
    friction_head,
    full_velocity,
    head_available,
    head_margin,
    head_needed,
    held_volume,
    level_margin,
    pipe_capacity,
    run_levels,
    section,
    static_pressure,
    total_length,
)
from rainharvest.catchment.tables import Conveyance, run_of_kind

RUN = Conveyance(kind="wet", run=60, bore=100, outlet_level=3.0, inlet_level=2.4, low_level=-0.5)


def test_the_wet_run_of_60_m_worked_by_hand():
    """60 m of 100 mm bore, 0.6 m of head; 3.5 m down, 2.9 m up; entrance and three bends; k = 1 mm."""
    # 1. Head from the gutter outlet at 3.0 m down to the inlet at 2.4 m.
    head = 0.6
    assert head_available(RUN) == pytest.approx(head)
    # 2. Length: down 3.0 - (-0.5) = 3.5 m, along 60 m, up 2.4 - (-0.5) = 2.9 m.
    length = 3.5 + 60 + 2.9
    assert total_length(RUN) == pytest.approx(length) == pytest.approx(66.4)
    # 3. Losses in velocity heads: entrance 0.5, three bends 0.9 each, 1 for the exit.
    fixed = 0.5 + 3 * 0.9 + 1
    assert fixed == pytest.approx(4.2)
    # 4. First guess, fully rough: 1/sqrt(f) = -2 log10((1/100)/3.7) = 5.136, f = 0.03791.
    f = (-2 * math.log10(0.01 / 3.7)) ** -2
    assert f == pytest.approx(0.03791, abs=1e-5)
    # 5. 0.6 = (f L / D + 4.2) V2 / 2g: f L / D = 25.1, V2 = 2 x 9.807 x 0.6 / 29.3, V = 0.633 m/s.
    velocity = math.sqrt(2 * 9.80665 * head / (f * length / 0.1 + fixed))
    assert velocity == pytest.approx(0.633, abs=0.001)
    # 6. Re = V D / nu = 0.633 x 0.1 / 1.31e-6 = 48,300; Colebrook then gives f = 0.0391, V = 0.624 m/s.
    for _ in range(6):
        reynolds = velocity * 0.1 / 1.31e-6
        f = (-2 * math.log10(0.01 / 3.7 + 2.51 / (reynolds * math.sqrt(f)))) ** -2
        velocity = math.sqrt(2 * 9.80665 * head / (f * length / 0.1 + fixed))
    assert f == pytest.approx(0.0391, abs=1e-4) and velocity == pytest.approx(0.624, abs=0.001)
    # 7. Q = V A = 0.624 x 0.007854 = 4.90 L/s: more than that backs up at the gutter.
    by_hand = velocity * math.pi * 0.1**2 / 4 * 1000
    assert by_hand == pytest.approx(4.90, abs=0.01)
    assert pipe_capacity(RUN) == pytest.approx(by_hand, rel=1e-4)
    # 8. The three parts of the head: friction 0.516, fittings 0.064, velocity head 0.020 m.
    parts = head_needed(RUN, by_hand)
    assert parts.friction == pytest.approx(0.516, abs=0.001)
    assert parts.fittings == pytest.approx(0.0636, abs=0.0005)
    assert parts.velocity == pytest.approx(0.0199, abs=0.0002)
    # 9. Held: 7.854 L on each of 60 + 2 x 2.9 m below the inlet level: 516.8 L.
    assert held_volume(RUN) == pytest.approx(7.854 * 65.8, rel=1e-4)
    # 10. Pressure on the lowest joint at rest: 2.9 m of water, 28.4 kPa; backed up: 3.5 m, 34.3 kPa.
    assert static_pressure(RUN) == pytest.approx(28.4, abs=0.05)
    assert static_pressure(RUN, backed_up=True) == pytest.approx(34.3, abs=0.05)
    # 11. Even when it backs up the pipe is too slow to clean itself.
    assert full_velocity(RUN, by_hand) == pytest.approx(0.624, abs=0.001)
    assert full_velocity(RUN, by_hand) < SELF_CLEANSING.value
    # 12. On 200 m2 it backs up at 4.90 x 3600 / 200 = 88 mm/h; at 75 mm/h (4.17 L/s) 0.16 m of head is left.
    assert by_hand * 3600 / 200 == pytest.approx(88.3, abs=0.1)
    assert head_margin(RUN, 200 * 75 / 3600) == pytest.approx(0.6 * (1 - (4.167 / 4.903) ** 2), abs=0.006)


def test_darcy_weisbach_textbook_example():
    """Surge Analysis and the Wave Plan Method, Problem 0.2: 0.0689 m, with f rounded to 0.0169."""
    flow = 2.0 * section(300) * 1000
    head = friction_head(flow, bore=300, pipe_length=6, roughness=0.12, viscosity=1e-6)
    assert head == pytest.approx(0.0689, rel=0.005)


@given(st.floats(4500, 1e7), st.floats(1e-6, 0.04))
def test_colebrook_against_fluids_and_against_the_equation(reynolds, relative):
    bore, length, viscosity = 100.0, 10.0, 1.31e-6
    velocity = reynolds * viscosity / 0.1
    head = friction_head(velocity * section(bore) * 1000, bore, length, relative * bore, viscosity)
    f = head / (length / 0.1 * velocity**2 / (2 * 9.80665))
    assert f == pytest.approx(friction_factor(Re=reynolds, eD=relative, Method="Colebrook"), rel=1e-9)
    assert 1 / math.sqrt(f) == pytest.approx(
        -2 * math.log10(relative / 3.7 + 2.51 / (reynolds * math.sqrt(f))), rel=2e-3
    )


def test_laminar_flow():
    velocity, viscosity = 0.01, 1.31e-6  # Re = 763
    head = friction_head(velocity * section(100) * 1000, 100, 10, 0.5, viscosity)
    assert head == pytest.approx(
        64 * viscosity / (velocity * 0.1) * 10 / 0.1 * velocity**2 / (2 * 9.80665), rel=1e-9
    )


@given(st.floats(0.01, 3), st.floats(15, 400), st.floats(0, 500), st.integers(1, 6))
def test_the_flow_found_needs_exactly_the_head_there_is(head, bore, length, downpipes):
    run = RUN.model_copy(
        update={"outlet_level": 2.4 + head, "bore": bore, "run": length, "downpipes": downpipes}
    )
    flow = pipe_capacity(run)
    reynolds = flow / downpipes / 1000 / section(bore) * bore / 1000 / 1.31e-6
    assume(reynolds > 4000)  # between laminar and turbulent the friction jumps
    assert head_needed(run, flow).total == pytest.approx(head_available(run), rel=1e-6)


# ---- what cannot work says so


@pytest.mark.parametrize(
    "change, reason, remedy",
    [
        ({"bore": 0.0}, "bore is zero", "bore above zero"),
        ({"outlet_level": 2.4}, "no head|0.00 m above", "lower the tank"),
        ({"outlet_level": 2.0}, "0.4 m above", "by more than 0.4 m"),
    ],
)
def test_limits_of_a_wet_run(change, reason, remedy):
    run = RUN.model_copy(update=change)
    assert pipe_capacity(run) == 0
    problem, cure = cannot_work(run)
    assert any(r in problem for r in reason.split("|")) and remedy in cure


def test_a_bore_that_fits_to_a_hair_is_not_called_too_narrow():
    """The remedy finds enough what the check of the run does: a head short by less than the tolerance of levels."""
    flow = pipe_capacity(RUN) * 1.0005  # 0.1 % more of a head of 0.6 m: 0.6 mm, less than a millimetre
    assert run_levels(RUN, flow).enough and first_bore(RUN, flow, (80, 100, 125)) == 100


def test_dry_run_levels():
    dry = Conveyance(kind="dry", run=30, bore=100, outlet_level=3.0, inlet_level=2.4, filter_drop=0.2)
    assert level_margin(dry) == pytest.approx(3.0 - 0.2 - 30 * 0.01 - 2.4)
    assert cannot_work(dry) is None and held_volume(dry) == 0 and static_pressure(dry) == 0
    far = dry.model_copy(update={"run": 50.0})
    problem, cure = cannot_work(far)
    assert "0.1 m too low" in problem and "within 40 m" in cure and "wet run" in cure
    assert cannot_work(dry.model_copy(update={"run": 40.0 - 1e-9})) is None
    high = dry.model_copy(update={"outlet_level": 2.0})
    assert "wet run" not in cannot_work(high)[1]


@pytest.mark.parametrize(
    "fields, key",
    [
        ({"kind": "dry", "bleed": 3.0}, "bleed"),
        ({"kind": "wet", "fall": 0.02}, "fall"),
        ({"fittings": {"elbow": 1}}, "elbow"),
        ({"fittings": {"bend 90": -1}}, "bend 90"),
        ({"low_level": 2.9}, "low_level"),
        ({"bore": -1}, "bore"),
        ({"kind": "damp"}, "kind"),
        ({"colour": "red"}, "colour"),
    ],
)
def test_conveyance_errors_name_the_key(fields, key):
    good = {"kind": "wet", "run": 60, "bore": 100, "outlet_level": 3.0, "inlet_level": 2.4}
    with pytest.raises(ValueError, match=key):
        Conveyance(**(good | fields))


def test_the_run_of_the_other_kind_there_and_back():
    rough = RUN.model_copy(update={"roughness": 0.3, "downpipes": 2})
    dry = run_of_kind(rough, "dry")
    assert dry.kind == "dry" and (dry.run, dry.bore, dry.roughness, dry.downpipes) == (60, 100, 0.3, 2)
    assert run_of_kind(dry, "wet", low_level=-0.5) == rough == run_of_kind(rough, "wet")
    other = run_of_kind(rough, "wet", bore=80.0, bleed=5.0)
    assert (other.bore, other.bleed, other.run, other.roughness) == (80, 5, 60, 0.3)
    sunk = Conveyance(kind="dry", run=6, bore=100, outlet_level=0.2, inlet_level=-1.0)
    assert run_of_kind(sunk, "wet").low_level == -1.0  # no higher than its ends


@given(
    st.integers(0, 400), st.integers(1, 40), st.sampled_from([0.005, 0.01, 0.02, 0.025]), st.integers(0, 30)
)
def test_an_exact_fit_fits(inlet, run, fall, drop):
    """Levels in centimetres and falls as they are laid: what is exact on paper is no shortage in binary."""
    outlet = inlet / 100 + run * fall + drop / 100
    exact = Conveyance(
        kind="dry",
        run=run,
        bore=100,
        outlet_level=round(outlet, 4),
        inlet_level=inlet / 100,
        filter_drop=drop / 100,
        fall=fall,
    )
    assert level_margin(exact) == 0 and cannot_work(exact) is None and pipe_capacity(exact) > 0
    short = exact.model_copy(update={"outlet_level": exact.outlet_level - 0.002})
    assert "0.002 m too low" in cannot_work(short)[0] and pipe_capacity(short) == 0


def test_the_full_tank_drowns_an_inlet_below_its_overflow():
    """By hand: outlet 3.0, inlet 0.8, water 2.2 m: 0.8 m of head, not 2.2; at rest 2.7 m stand over -0.5, 26.5 kPa."""
    free = RUN.model_copy(update={"inlet_level": 0.8})
    drowned = free.model_copy(update={"tank_water_level": 2.2})
    assert head_available(free) == pytest.approx(2.2) and head_available(drowned) == pytest.approx(0.8)
    assert static_pressure(free) == pytest.approx(12.7, abs=0.05)
    assert static_pressure(drowned) == pytest.approx(26.5, abs=0.05)
    assert static_pressure(drowned, backed_up=True) == pytest.approx(3.5 * 9.80665)
    assert pipe_capacity(drowned) < pipe_capacity(free)
    assert held_volume(drowned) == held_volume(free)  # once the tank is drawn down the pipe holds no more
    assert run_levels(drowned, 3.0).full[0] == (0.0, 2.2)
    low = free.model_copy(update={"tank_water_level": 0.5})
    assert head_available(low) == head_available(free)
    over = free.model_copy(update={"tank_water_level": 3.1})
    assert "the water in the full tank is 0.1 m above" in cannot_work(over)[0]


# ---- the drawing of a run: its points follow the levels, its margin is the hydraulics' own

DROPPED = Conveyance(
    kind="wet", run=60, bore=100, outlet_level=3.0, inlet_level=2.4, low_level=-0.6, filter_drop=0.1
)
FALLING = Conveyance(
    kind="dry", run=20, bore=100, outlet_level=3.0, inlet_level=2.4, fall=0.02, filter_drop=0.1
)


def test_a_dry_run_drops_through_the_filter_falls_and_ends_above_the_inlet():
    drawn = run_levels(FALLING, flow=5.0)
    assert drawn.pipe == ((0.0, 3.0), (0.0, 2.9), (20.0, pytest.approx(2.5)), (20.0, 2.4))
    assert drawn.full == () and drawn.answer == ""
    assert drawn.margin == pytest.approx(0.1) == pytest.approx(level_margin(FALLING))
    assert (drawn.margin_at, drawn.margin_to) == (20.0, 2.4)
    assert drawn.margin_from - drawn.margin_to == pytest.approx(drawn.margin)


def test_a_wet_run_stays_full_below_the_inlet_and_its_margin_is_what_the_storm_leaves():
    drawn = run_levels(DROPPED, flow=3.0)
    assert drawn.pipe[0] == (0.0, 3.0) and drawn.pipe[-1] == (60.0, 2.4)
    assert {y for _, y in drawn.full} == {2.4, -0.6}
    assert drawn.margin == head_margin(DROPPED, 3.0)
    # Water stands in the downpipe at the inlet level plus what the flow needs.
    assert drawn.margin_to == pytest.approx(2.4 + head_needed(DROPPED, 3.0).total)
    assert drawn.margin_from - drawn.margin_to == pytest.approx(drawn.margin)


@pytest.mark.parametrize(
    "run, words",
    [
        (FALLING.model_copy(update={"inlet_level": 2.6}), "stand the tank within 15 m"),
        (DROPPED.model_copy(update={"inlet_level": 3.2}), "lower the tank"),
        (DROPPED.model_copy(update={"bore": 0.0}), "its bore is zero"),
    ],
)
def test_a_run_that_cannot_work_is_drawn_with_its_answer(run, words):
    assert words in run_levels(run, flow=0.0 if run.bore == 0 else 3.0).answer
