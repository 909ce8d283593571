"""Flow in one pipe: friction when it is full, flow when it is part full.

Flows are L/s, lengths and heads m, bores mm.
"""

from __future__ import annotations

import math

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
    flow: float, bore: float, pipe_length: float, roughness: float, viscosity: float = VISCOSITY.value
) -> float:
    """Return the head lost along a full pipe: h = f (L / D) V^2 / 2g, f by Colebrook (64 / Re if laminar).

    Parameters
    ----------
    flow : float [L/s]
        Flow.
    bore : float [mm]
        Inside diameter, above zero.
    pipe_length : float [m]
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
    >>> friction_head(flow=5.0, bore=100.0, pipe_length=60.0, roughness=0.25)
    0.3430
    """
    from fluids.friction import friction_factor

    if flow == 0 or pipe_length == 0:
        return 0.0
    velocity = flow / 1000 / section(bore)
    reynolds = velocity * bore / 1000 / viscosity
    factor = friction_factor(Re=reynolds, eD=roughness / bore)
    return factor * pipe_length / (bore / 1000) * velocity**2 / (2 * GRAVITY)


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


def hazen_williams_head(flow: float, bore: float, pipe_length: float, smoothness: float) -> float:
    """Return the head lost along a full pipe by Hazen and Williams, as a second opinion on friction.

    h = 10.67 L Q^1.852 / (C^1.852 D^4.8704), in metres and m3/s. Textbooks round the exponents, which
    moves the answer by 1 to 2 %. For water in turbulent flow only; `friction_head` is the one used.

    Parameters
    ----------
    flow : float [L/s]
        Flow.
    bore : float [mm]
        Inside diameter.
    pipe_length : float [m]
        Length of pipe.
    smoothness : float [1]
        The coefficient C: about 100 for old iron, 140 to 150 for plastic.

    Returns
    -------
    float [m]
        Head lost. Source: Hazen and Williams, as in Shammas and Wang, Water Engineering, 2015.

    Examples
    --------
    >>> hazen_williams_head(flow=43.8, bore=304.8, pipe_length=1000, smoothness=100)
    2.095
    """
    return 10.67 * pipe_length * (flow / 1000) ** 1.852 / (smoothness**1.852 * (bore / 1000) ** 4.8704)
