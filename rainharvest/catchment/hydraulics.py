"""What a run of pipe passes: head and friction of a wet run, part-full flow of a dry one.

Flows are L/s, levels and heads m, bores mm. No authority gives a least head for a wet run: it is computed.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from rainharvest.catchment.conveyance import FITTINGS, Conveyance
from rainharvest.catchment.friction import GRAVITY, friction_head, part_full_flow, section


@dataclass(frozen=True)
class Head:
    """Head that a flow needs, part by part.

    Parameters
    ----------
    friction : float [m]
        Along the straight pipe.
    fittings : float [m]
        In bends, tees, valves, screens and the entrance.
    velocity : float [m]
        Carried away at the exit.
    """

    friction: float
    fittings: float
    velocity: float

    @property
    def total(self) -> float:
        """Sum of the three [m]."""
        return self.friction + self.fittings + self.velocity


def head_needed(conveyance: Conveyance, flow: float) -> Head:
    """Return the head that a wet run needs to pass a flow.

    One downpipe carries its share of the flow down to the run; run and riser carry all of it.

    Parameters
    ----------
    conveyance : Conveyance
        A wet run with a bore above zero.
    flow : float [L/s]
        Flow at the tank inlet.

    Returns
    -------
    Head
        Friction, fittings and velocity head.

    Examples
    --------
    >>> wet = Conveyance(kind="wet", run=60, bore=100, outlet_level=3.0, inlet_level=2.4, roughness=0.25)
    >>> head_needed(wet, 4.0).total
    0.3036
    """
    down = conveyance.outlet_level - conveyance.low_level
    up = conveyance.inlet_level - conveyance.low_level
    bore, roughness = conveyance.bore, conveyance.roughness
    velocity_head = (flow / 1000 / section(bore)) ** 2 / (2 * GRAVITY)
    return Head(
        friction=friction_head(flow / conveyance.downpipes, bore, down, roughness)
        + friction_head(flow, bore, conveyance.run + up, roughness),
        fittings=velocity_head * sum(FITTINGS[name].value * n for name, n in conveyance.fittings.items()),
        velocity=velocity_head,
    )


def head_available(conveyance: Conveyance) -> float:
    """Return the head from the gutter outlet down to the tank inlet, less the drop of a filter.

    Parameters
    ----------
    conveyance : Conveyance
        A run of either kind.

    Returns
    -------
    float [m]
        Head; below zero where the tank stands too high.

    Examples
    --------
    >>> head_available(Conveyance(kind="wet", run=60, bore=100, outlet_level=3.0, inlet_level=2.4))
    0.6
    """
    return conveyance.outlet_level - conveyance.filter_drop - conveyance.inlet_level


def level_margin(conveyance: Conveyance) -> float:
    """Return the level left over: outlet - filter drop - run x fall - inlet (dry), head available (wet).

    Parameters
    ----------
    conveyance : Conveyance
        A run of either kind.

    Returns
    -------
    float [m]
        Below zero where the water cannot get there.

    Examples
    --------
    >>> level_margin(Conveyance(kind="dry", run=30, bore=100, outlet_level=3.0, inlet_level=2.4))
    0.3
    """
    fall = conveyance.run * conveyance.fall if conveyance.kind == "dry" else 0.0
    return head_available(conveyance) - fall


def fall_available(conveyance: Conveyance) -> float:
    """Return the steepest fall at which a dry run could be laid: (outlet - filter drop - inlet) / run.

    Parameters
    ----------
    conveyance : Conveyance
        A run of either kind.

    Returns
    -------
    float [m/m]
        Below zero where the tank stands too high; infinite for a run of no length that drops.

    Examples
    --------
    >>> fall_available(Conveyance(kind="dry", run=30, bore=100, outlet_level=3.0, inlet_level=2.4))
    0.02
    """
    head = head_available(conveyance)
    return head / conveyance.run if conveyance.run else math.copysign(math.inf, head) if head else 0.0


def held_volume(conveyance: Conveyance) -> float:
    """Return the water that stands in the run after rain: what lies below the level of the inlet.

    Parameters
    ----------
    conveyance : Conveyance
        A run of either kind; a dry one holds nothing.

    Returns
    -------
    float [L]
        Held volume.

    Examples
    --------
    >>> held_volume(Conveyance(kind="wet", run=60, bore=100, outlet_level=3.0, inlet_level=2.4))
    516.8
    """
    if conveyance.kind == "dry":
        return 0.0
    leg = min(conveyance.inlet_level, conveyance.outlet_level) - conveyance.low_level
    return 1000 * section(conveyance.bore) * (conveyance.run + leg * (conveyance.downpipes + 1))


def pipe_capacity(conveyance: Conveyance) -> float:
    """Return the most that the run passes before it backs up at the gutter.

    Wet: the flow whose needed head equals the head available. Dry: part-full flow at the fall it is laid.

    Parameters
    ----------
    conveyance : Conveyance
        A run of either kind.

    Returns
    -------
    float [L/s]
        Zero where the run cannot work at all.

    Examples
    --------
    >>> pipe_capacity(Conveyance(kind="wet", run=60, bore=100, outlet_level=3.0, inlet_level=2.4))
    4.9
    """
    from scipy.optimize import brentq

    margin = level_margin(conveyance)
    if conveyance.bore == 0 or margin < 0:
        return 0.0
    if conveyance.kind == "dry":
        return part_full_flow(conveyance.bore, conveyance.fall, conveyance.filling, conveyance.roughness)
    if margin == 0:
        return 0.0
    # All head into velocity is more than any pipe can pass.
    most = 1000 * section(conveyance.bore) * math.sqrt(2 * GRAVITY * margin)
    return brentq(
        lambda flow: head_needed(conveyance, flow).total - margin, 0.0, most, xtol=1e-12, rtol=1e-12
    )


def head_margin(conveyance: Conveyance, flow: float) -> float:
    """Return the head left over at a flow: head available less head needed (wet), or the level left (dry).

    Parameters
    ----------
    conveyance : Conveyance
        A run with a bore above zero.
    flow : float [L/s]
        Flow at the tank inlet, as at the design intensity.

    Returns
    -------
    float [m]
        Below zero where the run backs up at the gutter.

    Examples
    --------
    >>> head_margin(Conveyance(kind="wet", run=60, bore=100, outlet_level=3.0, inlet_level=2.4), 3.0)
    0.3718
    """
    needed = head_needed(conveyance, flow).total if conveyance.kind == "wet" else 0.0
    return level_margin(conveyance) - needed


def total_length(conveyance: Conveyance) -> float:
    """Return the length of pipe to buy: the run, and for a wet one every leg down and the riser.

    Parameters
    ----------
    conveyance : Conveyance
        A run of either kind.

    Returns
    -------
    float [m]
        Length; the downpipes of a dry run are those of the building and not counted.

    Examples
    --------
    >>> total_length(Conveyance(kind="wet", run=60, bore=100, outlet_level=3.0, inlet_level=2.4))
    66.4
    """
    if conveyance.kind == "dry":
        return conveyance.run
    down = conveyance.outlet_level - conveyance.low_level
    return conveyance.run + conveyance.downpipes * down + conveyance.inlet_level - conveyance.low_level
