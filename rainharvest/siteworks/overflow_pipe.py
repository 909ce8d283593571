"""The overflow of a tank that is full when the storm comes: how wide, how many, at what fall."""

from __future__ import annotations

import math
from dataclasses import dataclass

from rainharvest.catchment.conveyance import FALL, FILLING, ROUGHNESS
from rainharvest.catchment.friction import GRAVITY, part_full_flow, section
from rainharvest.errors import InputError
from rainharvest.siteworks.defaults import MAINS_SPEED, OVERFLOW_ORIFICE

OVERFLOW_BORES = (50.0, 65.0, 80.0, 100.0, 125.0, 150.0, 200.0, 250.0, 300.0)
"""Bores to choose from, mm."""
MOST_PIPES = 12

WAYS: dict[str, str] = {
    "soakaway": "into the ground by a soakaway sized from a trial pit, clear of every foundation",
    "garden": "over a splash apron to planted ground that falls away from buildings and neighbours",
    "drain": "to a surface-water drain, with the consent of its owner and a valve or trap against backflow; never "
    "to a foul sewer without consent",
    "watercourse": "to a ditch or stream, with the consent of the authority and a flap against floods",
}
"""Where the surplus may go. Common practice, no source: local rules govern."""


@dataclass(frozen=True)
class OverflowPipe:
    """The overflow.

    Parameters
    ----------
    overflow_bore : float [mm]
        Inside diameter of each pipe.
    pipes : int [1]
        How many.
    passes : float [L/s]
        Most that they pass together.
    governed_by : str
        "entry", "pipe" or "inlet bore": what set the bore.
    """

    overflow_bore: float
    pipes: int
    passes: float
    governed_by: str


def stuck_valve_flow(mains_bore: float) -> float:
    """Return what a float valve that sticks open lets into the tank.

    Parameters
    ----------
    mains_bore : float [mm]
        Bore of the mains inlet.

    Returns
    -------
    float [L/s]
        Flow of the full bore at the speed of `MAINS_SPEED`. Own choice, until somebody has timed a bucket.

    Raises
    ------
    InputError
        If the bore is not above zero.

    Examples
    --------
    >>> stuck_valve_flow(20)
    0.942
    """
    if not mains_bore > 0:
        raise InputError(f"a bore of {mains_bore:g} mm", "give one above zero", "mains_bore")
    return 1000 * section(mains_bore) * MAINS_SPEED.value


def entry_capacity(overflow_bore: float, rise: float) -> float:
    """Return what enters a level round pipe through the wall of a tank.

    While the pipe runs part full the flow is critical at its mouth: with the depth y there,
    y + A / 2T = rise and Q = A sqrt(g A / T), A the wet area and T the width of the surface. When it is
    drowned it is a hole: Q = Cd A sqrt(2 g (rise - D / 2)). The lesser of the two.

    Parameters
    ----------
    overflow_bore : float [mm]
        Inside diameter D.
    rise : float [m]
        Water above the lowest point of the pipe.

    Returns
    -------
    float [L/s]
        Flow; zero without rise. Source: open-channel hydraulics, any textbook; own choice of the lesser.

    Raises
    ------
    InputError
        If the bore is not above zero.

    Examples
    --------
    >>> entry_capacity(100, 0.05), entry_capacity(100, 0.15)
    (1.33, 6.6)
    """
    from scipy.optimize import brentq

    if not overflow_bore > 0:
        raise InputError(f"a bore of {overflow_bore:g} mm", "give one above zero", "overflow_bore")
    if rise <= 0:
        return 0.0
    wide = overflow_bore / 1000

    def part(angle: float) -> tuple[float, float, float]:
        area = wide**2 / 8 * (angle - math.sin(angle))
        return wide / 2 * (1 - math.cos(angle / 2)), area, wide * math.sin(angle / 2)

    def energy(angle: float) -> float:
        depth, area, top = part(angle)
        return depth + area / (2 * top)

    most = 2 * math.pi * 0.999
    if energy(most) <= rise:
        critical = math.inf
    else:
        angle = brentq(lambda a: energy(a) - rise, 1e-3, most, xtol=1e-12)
        _, area, top = part(angle)
        critical = area * math.sqrt(GRAVITY * area / top)
    drowned = math.inf
    if rise > wide:
        drowned = OVERFLOW_ORIFICE.value * section(overflow_bore) * math.sqrt(2 * GRAVITY * (rise - wide / 2))
    return 1000 * min(critical, drowned)


def overflow_pipe(
    peak: float,
    rise: float,
    *,
    inlet_bore: float = 0.0,
    fall: float = FALL.value,
    roughness: float = ROUGHNESS.value,
) -> OverflowPipe:
    """Return the overflow that passes a peak flow with the tank full.

    The smallest bore, no smaller than the inlet's and no taller than ``rise``, whose entry passes the flow with
    the water no higher than that and whose pipe, 70 % full at its fall, carries it away; more pipes side by
    side where one is not enough.

    Parameters
    ----------
    peak : float [L/s]
        Peak flow, as `rainharvest.catchment.overflow.peak_overflow`.
    rise : float [m]
        How far the water may rise above the lowest point of the overflow: to the lid, or to the inlet.
    inlet_bore : float [mm]
        Bore of the inlet; the overflow is never smaller (practice of BS 8515 and AS/NZS 3500.3, from memory).
    fall : float [m/m]
        Fall of the overflow pipe.
    roughness : float [mm]
        Colebrook roughness of the pipe in service.

    Returns
    -------
    OverflowPipe
        Bore, number, what they pass.

    Raises
    ------
    InputError
        If there is no room above the overflow, or no number of pipes will do.

    Examples
    --------
    >>> overflow_pipe(4.5, rise=0.12, inlet_bore=100)
    OverflowPipe(overflow_bore=100.0, pipes=1, passes=4.67, governed_by='inlet bore')
    """
    if not (0 <= peak < math.inf and fall > 0):
        raise InputError(
            f"a peak of {peak:g} L/s at a fall of {fall:g}", "give a flow of zero or more and a fall", "peak"
        )
    if not rise > 0:
        raise InputError(
            "the overflow leaves no room above it for the water to rise",
            "lower the overflow, or raise the inlet and the lid",
            "rise",
        )
    bores = [bore for bore in OVERFLOW_BORES if bore >= inlet_bore] or [inlet_bore]
    fitting = [bore for bore in bores if bore <= 1000 * rise + 1e-6]
    if not fitting:
        raise InputError(
            f"an overflow of {bores[0]:g} mm does not fit into the {rise:.2f} m above its lowest point",
            "lower the overflow (a larger freeboard_share), or raise the inlet and the lid",
            "rise",
        )
    for pipes in range(1, MOST_PIPES + 1):
        for bore in fitting:
            entry = pipes * entry_capacity(bore, rise)
            carried = pipes * part_full_flow(bore, fall, FILLING.value, roughness)
            if min(entry, carried) >= peak:
                smallest = pipes == 1 and bore == fitting[0]
                by = "inlet bore" if smallest else "entry" if entry <= carried else "pipe"
                return OverflowPipe(bore, pipes, min(entry, carried), by)
    raise InputError(
        f"no {MOST_PIPES} pipes pass {peak:.1f} L/s with {rise:.2f} m for the water to rise",
        "leave more height above the overflow, or bring the water to several tanks",
        "rise",
    )
