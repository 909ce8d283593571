"""Where a run of pipe lies: the points of its drawing, the water that stands in it, the head left over."""

from __future__ import annotations

from dataclasses import dataclass

from rainharvest.catchment.conveyance import Conveyance
from rainharvest.catchment.hydraulics import head_margin, level_margin
from rainharvest.catchment.working import cannot_work


@dataclass(frozen=True)
class Levels:
    """What a drawing of one run needs: points are (distance from the wall, level above the tank's base), m.

    Parameters
    ----------
    conveyance : Conveyance
        What is drawn.
    pipe : tuple of points
        The axis of the pipe from the gutter outlet to the tank inlet.
    standing : tuple of points
        The part of it that stays full after rain; empty for a dry run.
    margin : float [m]
        Head left over at the design storm (wet), or level left over (dry); below zero where it fails.
    margin_at : float [m]
        Distance from the wall at which the margin is read: the downpipe of a wet run, the tank of a dry one.
    margin_from, margin_to : float [m]
        Levels between which the margin lies.
    answer : str
        Empty if the run can work; otherwise why not and what would make it work.
    """

    conveyance: Conveyance
    pipe: tuple[tuple[float, float], ...]
    standing: tuple[tuple[float, float], ...]
    margin: float
    margin_at: float
    margin_from: float
    margin_to: float
    answer: str


def run_levels(conveyance: Conveyance, flow: float) -> Levels:
    """Return where a run lies and what head it has left at the design storm.

    A dry run drops through its filter, falls along the run and ends at or above the inlet. A wet run goes
    down, along and up; in the design storm water stands in the downpipe at the inlet level plus the head
    that the flow needs, and the margin is what is left up to the gutter outlet.

    Parameters
    ----------
    conveyance : Conveyance
        A run of either kind.
    flow : float [L/s]
        Flow of the design storm.

    Returns
    -------
    Levels
        Points, margin, and the plain answer where the run cannot work.

    Examples
    --------
    >>> dry = Conveyance(kind="dry", run=30, bore=100, outlet_level=3.0, inlet_level=2.4)
    >>> levels = run_levels(dry, flow=4.0)
    >>> levels.pipe, levels.margin
    (((0.0, 3.0), (30.0, 2.7), (30.0, 2.4)), 0.3)
    """
    reason = cannot_work(conveyance)
    answer = f"{reason[0]}; {reason[1]}" if reason else ""
    margin = head_margin(conveyance, flow) if conveyance.bore else level_margin(conveyance)
    run, outlet, inlet = conveyance.run, conveyance.outlet_level, conveyance.inlet_level
    top = outlet - conveyance.filter_drop
    start = ((0.0, outlet), (0.0, top)) if conveyance.filter_drop else ((0.0, outlet),)
    if conveyance.kind == "dry":
        end = top - run * conveyance.fall
        pipe = (*start, (run, end), (run, inlet))
        return Levels(conveyance, pipe, (), margin, run, end, inlet, answer)
    low = conveyance.low_level
    full = min(inlet, outlet)
    pipe = (*start, (0.0, low), (run, low), (run, inlet))
    standing = ((0.0, full), (0.0, low), (run, low), (run, full))
    return Levels(conveyance, pipe, standing, margin, 0.0, top, top - margin, answer)
