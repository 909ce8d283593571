"""Exercises on the catchment that check themselves: the right answer is computed, never stored."""

from __future__ import annotations

from rainharvest.catchment.facts import CatchmentCase, dry_and_wet
from rainharvest.catchment.hydraulics import head_available, pipe_capacity
from rainharvest.catchment.tables import Conveyance
from rainharvest.core.exercise import says


def check_dry_reach(case: CatchmentCase, yours_metres: float | None) -> None:
    """Check how far from the downpipe the study's dry run may end.

    Parameters
    ----------
    case : CatchmentCase
        As `rainharvest.catchment.panel.load_case`.
    yours_metres : float, optional
        The reader's answer; ``...`` asks for the right one.
    """
    run = case.catchment.conveyance
    head = head_available(run)
    reach = head / run.fall
    says(
        yours_metres,
        reach,
        f"{head:.2f} m of level over a fall of {run.fall:g} reach {reach:.0f} m.",
        "Divide the level between gutter outlet (less the filter's drop) and tank inlet by the fall.",
    )


def check_backing_up(case: CatchmentCase, yours_litres_a_second: float | None) -> None:
    """Check the flow at which a wet run of 60 m, 100 mm bore and 0.6 m of head backs up.

    Parameters
    ----------
    case : CatchmentCase
        As `rainharvest.catchment.panel.load_case`: the filter's drop comes off the head.
    yours_litres_a_second : float, optional
        The reader's answer; ``...`` asks for the right one.
    """
    drop = case.catchment.conveyance.filter_drop
    run = Conveyance(kind="wet", run=60, bore=100, outlet_level=3.0 + drop, inlet_level=2.4, filter_drop=drop)
    flow = pipe_capacity(run)
    says(
        yours_litres_a_second,
        flow,
        f"It backs up from {flow:.1f} L/s on.",
        f"Set the run to 60 m, the bore to 100 mm, the gutter outlet to {run.outlet_level:g} m and the inlet "
        "to 2.4 m, and read what the wet run passes.",
    )


def check_best_bore(case: CatchmentCase, climate: str, bleed: float, yours_millimetres: float | None) -> None:
    """Check which bore brings most through the study's wet run.

    Parameters
    ----------
    case : CatchmentCase
        As `rainharvest.catchment.panel.load_case`.
    climate : str
        Name of a climate.
    bleed : float [L/day]
        Low-point bleed.
    yours_millimetres : float, optional
        The reader's answer; ``...`` asks for the right one.
    """
    done = dry_and_wet(case, climate, 75.0, bleed=bleed)
    if done.curve is None:
        says(yours_millimetres, None, "No bore makes this wet run work.", "Look at the levels.")
        return
    best = done.curve.attrs["best_bore"]
    hint = "Choose the rain and the bleed in the panel and look for the lowest point of the third figure."
    says(yours_millimetres, best, f"{best:g} mm.", hint)
