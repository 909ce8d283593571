"""What a run of pipe passes: head and friction of a wet run, part-full flow of a dry one.

Flows are L/s, levels and heads m, bores mm. No authority gives a least head for a wet run: it is computed.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from rainharvest.catchment.conveyance import FITTINGS, Conveyance
from rainharvest.sources import Default

GRAVITY = 9.80665
VISCOSITY = Default(
    1.31e-6,
    "m2/s",
    "water at 10 degrees; EN 12056-3:2000, Table C.1, as transcribed",
    "standard",
    0.8e-6,
    1.8e-6,
)


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


def section(bore: float) -> float:
    """Return the area of a round bore.

    Parameters
    ----------
    bore : float [mm]
        Inside diameter.

    Returns
    -------
    float [m2]
        Area.

    Examples
    --------
    >>> section(100.0)
    0.0078540
    """
    return math.pi * (bore / 1000) ** 2 / 4


def friction_head(
    flow: float, bore: float, length: float, roughness: float, viscosity: float = VISCOSITY.value
) -> float:
    """Return the head lost along a full pipe: h = f (L / D) V^2 / 2g, f by Colebrook (64 / Re if laminar).

    Parameters
    ----------
    flow : float [L/s]
        Flow.
    bore : float [mm]
        Inside diameter, above zero.
    length : float [m]
        Length of pipe.
    roughness : float [mm]
        Colebrook roughness.
    viscosity : float [m2/s]
        Kinematic viscosity.

    Returns
    -------
    float [m]
        Head lost. Source: Darcy and Weisbach; Colebrook 1939, solved by the library ``fluids``.

    Examples
    --------
    >>> friction_head(flow=5.0, bore=100.0, length=60.0, roughness=0.25)
    0.3430
    """
    from fluids.friction import friction_factor

    if flow == 0 or length == 0:
        return 0.0
    velocity = flow / 1000 / section(bore)
    reynolds = velocity * bore / 1000 / viscosity
    factor = friction_factor(Re=reynolds, eD=roughness / bore)
    return factor * length / (bore / 1000) * velocity**2 / (2 * GRAVITY)


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


def part_full_flow(
    bore: float, fall: float, filling: float, roughness: float, viscosity: float = VISCOSITY.value
) -> float:
    """Return the flow of a pipe that runs part full, by Colebrook and White.

    With Dh = 4A / P, four times the hydraulic radius, and q = sqrt(2 g Dh S),
    V = -2 q log10(k / (3.71 Dh) + 2.51 nu / (Dh q)).

    Parameters
    ----------
    bore : float [mm]
        Inside diameter.
    fall : float [m/m]
        Slope of the pipe.
    filling : float [1]
        Depth of water over bore, up to 1.
    roughness : float [mm]
        Colebrook roughness.
    viscosity : float [m2/s]
        Kinematic viscosity.

    Returns
    -------
    float [L/s]
        Flow. Source: the method of EN 12056-3:2000, Table C.1.

    Examples
    --------
    >>> round(part_full_flow(bore=96, fall=0.01, filling=0.7, roughness=1.0), 1)
    4.2
    """
    if bore == 0 or fall <= 0:
        return 0.0
    diameter = bore / 1000
    angle = 2 * math.acos(1 - 2 * filling)
    area = diameter**2 / 8 * (angle - math.sin(angle))
    hydraulic = 4 * area / (diameter * angle / 2)
    root = math.sqrt(2 * GRAVITY * hydraulic * fall)
    inner = roughness / 1000 / (3.71 * hydraulic) + 2.51 * viscosity / (hydraulic * root)
    return -2 * root * math.log10(inner) * area * 1000


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
