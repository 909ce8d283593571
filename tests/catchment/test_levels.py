"""The drawing of a run: its points follow the levels, its margin is the hydraulics' own."""

import pytest

from rainharvest.catchment.hydraulics import head_margin, head_needed, level_margin, run_levels
from rainharvest.catchment.tables import Conveyance

WET = Conveyance(
    kind="wet", run=60, bore=100, outlet_level=3.0, inlet_level=2.4, low_level=-0.6, filter_drop=0.1
)
DRY = Conveyance(kind="dry", run=20, bore=100, outlet_level=3.0, inlet_level=2.4, fall=0.02, filter_drop=0.1)


def test_a_dry_run_drops_through_the_filter_falls_and_ends_above_the_inlet():
    drawn = run_levels(DRY, flow=5.0)
    assert drawn.pipe == ((0.0, 3.0), (0.0, 2.9), (20.0, pytest.approx(2.5)), (20.0, 2.4))
    assert drawn.standing == () and drawn.answer == ""
    assert drawn.margin == pytest.approx(0.1) == pytest.approx(level_margin(DRY))
    assert (drawn.margin_at, drawn.margin_to) == (20.0, 2.4)
    assert drawn.margin_from - drawn.margin_to == pytest.approx(drawn.margin)


def test_a_wet_run_stays_full_below_the_inlet_and_its_margin_is_what_the_storm_leaves():
    drawn = run_levels(WET, flow=3.0)
    assert drawn.pipe[0] == (0.0, 3.0) and drawn.pipe[-1] == (60.0, 2.4)
    assert {y for _, y in drawn.standing} == {2.4, -0.6}
    assert drawn.margin == head_margin(WET, 3.0)
    # Water stands in the downpipe at the inlet level plus what the flow needs.
    assert drawn.margin_to == pytest.approx(2.4 + head_needed(WET, 3.0).total)
    assert drawn.margin_from - drawn.margin_to == pytest.approx(drawn.margin)


@pytest.mark.parametrize(
    "run, words",
    [
        (DRY.model_copy(update={"inlet_level": 2.6}), "stand the tank within 15.0 m"),
        (WET.model_copy(update={"inlet_level": 3.2}), "lower the tank"),
        (WET.model_copy(update={"bore": 0.0}), "its bore is zero"),
    ],
)
def test_a_run_that_cannot_work_is_drawn_with_its_answer(run, words):
    assert words in run_levels(run, flow=0.0 if run.bore == 0 else 3.0).answer
