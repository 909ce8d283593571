"""Exercises on the catchment that check themselves: the right answer is computed, never stored."""

from __future__ import annotations

from rainharvest.catchment.conveyance import Conveyance
from rainharvest.catchment.hydraulics import head_available, pipe_capacity
from rainharvest.study.conveyance import Case, dry_and_wet
from rainharvest.study.exercises import NEAR, says


def check_dry_reach(case: Case, yours_metres: float) -> None:
    """Check how far from the downpipe the study's dry run may end.

    Parameters
    ----------
    case : Case
        As `rainharvest.study.conveyance.load_case`.
    yours_metres : float
        The reader's answer.
    """
    run = case.catchment.conveyance
    head = head_available(run)
    reach = head / run.fall
    right = abs(yours_metres - reach) <= NEAR * reach
    says(
        right,
        f"{head:.2f} m of level over a fall of {run.fall:g} reach {reach:.0f} m."
        if right
        else "Divide the level between gutter outlet (less the filter's drop) and tank inlet by the fall.",
    )


def check_backing_up(case: Case, yours_litres_a_second: float) -> None:
    """Check the flow at which a wet run of 60 m, 100 mm bore and 0.6 m of head backs up.

    Parameters
    ----------
    case : Case
        As `rainharvest.study.conveyance.load_case`: the filter's drop comes off the head.
    yours_litres_a_second : float
        The reader's answer.
    """
    drop = case.catchment.conveyance.filter_drop
    run = Conveyance(kind="wet", run=60, bore=100, outlet_level=3.0 + drop, inlet_level=2.4, filter_drop=drop)
    flow = pipe_capacity(run)
    right = abs(yours_litres_a_second - flow) <= NEAR * flow
    says(
        right,
        f"It backs up from {flow:.1f} L/s on."
        if right
        else f"Set the run to 60 m, the bore to 100 mm, the gutter outlet to {run.outlet_level:g} m and the inlet "
        "to 2.4 m, and read what the wet run passes.",
    )


def check_best_bore(case: Case, climate: str, bleed: float, yours_millimetres: float) -> None:
    """Check which bore brings most through the study's wet run.

    Parameters
    ----------
    case : Case
        As `rainharvest.study.conveyance.load_case`.
    climate : str
        Name of a climate.
    bleed : float [L/day]
        Low-point bleed.
    yours_millimetres : float
        The reader's answer.
    """
    done = dry_and_wet(case, climate, 75.0, bleed=bleed)
    if done.curve is None:
        says(False, "No bore makes this wet run work.")
        return
    best = done.curve.attrs["best_bore"]
    right = abs(yours_millimetres - best) <= NEAR * best
    says(right, f"{best:g} mm." if right else "Look for the lowest point of the third figure.")
