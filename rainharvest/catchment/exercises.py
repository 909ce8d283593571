"""Exercises on the catchment that check themselves: the right answer is computed, never stored."""

from __future__ import annotations

import ipywidgets as widgets

from rainharvest.catchment.facts import CatchmentCase, dry_and_wet
from rainharvest.catchment.hydraulics import head_available, pipe_capacity
from rainharvest.catchment.tables import Conveyance
from rainharvest.core.board import predict
from rainharvest.core.controls import slider
from rainharvest.core.exercise import says
from rainharvest.core.text import texts_of

SAY = texts_of("catchment")


def guess_wet_share(case: CatchmentCase, climate: str, bleed: float) -> widgets.VBox:
    """Return the guess at how much of the dry run's water the wet run brings.

    Parameters
    ----------
    case : CatchmentCase
        As `rainharvest.catchment.panel.load_case`.
    climate : str
        Name of a climate.
    bleed : float [L/day]
        Low-point bleed.

    Returns
    -------
    VBox
        A slider; then the guesses beside the share that it is.
    """

    def found() -> tuple[float, str]:
        done = dry_and_wet(case, climate, bleed=bleed)
        dry, wet = (float(done.table.loc["delivered", kind]) for kind in ("dry run", "wet run"))
        return 100 * wet / dry, SAY.wet_share(dry, wet)

    share = slider("brought_by_wet", 50, 0, 100, 1, unit="%", scale=0.01, about="What you expect")
    return predict("wet-share", SAY.guess_wet_share(climate, bleed), share, found)


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
    hint = (
        "The panel says what level is left above the inlet: divide it by the fall, and add the run as it is."
    )
    says(yours_metres, reach, f"{head:.2f} m of level over a fall of {run.fall:g} reach {reach:.0f} m.", hint)


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
    levels = f"the gutter outlet to {run.outlet_level:g} m and the inlet to 2.4 m"
    hint = f"Set the run to 60 m, the bore to 100 mm, {levels}, and read what the wet run passes."
    says(yours_litres_a_second, flow, f"It backs up from {flow:.1f} L/s on.", hint)


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
    done = dry_and_wet(case, climate, bleed=bleed)
    best = None if done.curve is None else done.curve.attrs["best_bore"]
    answer = "No bore makes this wet run work." if best is None else f"{best:g} mm."
    hint = "Choose the rain and the bleed in the panel and look for the lowest point of the third figure."
    says(yours_millimetres, best, answer, "Look at the levels." if best is None else hint)
