"""How often a pump starts, the pressure vessel that spares it, and the level at which it must stop."""

from __future__ import annotations

import math

from rainharvest.errors import InputError
from rainharvest.siteworks.defaults import CUT_OUT_SUBMERGENCE, STARTS
from rainharvest.siteworks.vessel import Vessel

ATMOSPHERE = 101.325
"""Standard atmosphere, kPa."""


def drawdown(vessel_volume: float, cut_in: float, cut_out: float, precharge: float | None = None) -> float:
    """Return the water that a pressure vessel gives between the pump's stop and its start.

    Boyle: V (P1 / P2 - P1 / P3), absolute pressures of precharge, cut-in and cut-out.

    Parameters
    ----------
    vessel_volume : float [L]
        Volume of the vessel.
    cut_in, cut_out : float [kPa]
        Gauge pressures at which the pump starts and stops.
    precharge : float [kPa], optional
        Gauge pressure of the air when empty; 14 kPa (2 lbf/in2) below the cut-in if not given.

    Returns
    -------
    float [L]
        Water. Source: Pelikan, The Driller, February 2006 (pressure tank drawdown).

    Raises
    ------
    InputError
        If the pressures do not rise from precharge to cut-in to cut-out.

    Examples
    --------
    >>> round(drawdown(85, 30 * 6.894757, 50 * 6.894757, 28 * 6.894757), 1)
    25.1
    """
    first = max(cut_in - 13.8, 0.0) if precharge is None else precharge
    if not (0 <= first <= cut_in < cut_out) or not vessel_volume > 0:
        raise InputError(
            f"precharge {first:g}, cut-in {cut_in:g}, cut-out {cut_out:g} kPa and a vessel of {vessel_volume:g} L",
            "give pressures that rise from the one to the next, and a volume above zero",
            "cut_out",
        )
    low, start, stop = (ATMOSPHERE + gauge for gauge in (first, cut_in, cut_out))
    return vessel_volume * (low / start - low / stop)


def starts_an_hour(flow: float, drawn: float) -> float:
    """Return the most often that a pump starts: Q / 4 V, when half of its flow is drawn.

    With x the share of the pump's flow that is drawn, the vessel empties in V / xQ and fills in
    V / (1 - x)Q: starts = Q x (1 - x) / V, which is largest at one half.

    Parameters
    ----------
    flow : float [L/s]
        Flow of the pump.
    drawn : float [L]
        Water that the vessel gives between stop and start.

    Returns
    -------
    float [1/h]
        Starts an hour.

    Raises
    ------
    InputError
        If a value is not above zero.

    Examples
    --------
    >>> starts_an_hour(flow=0.5, drawn=25.0)
    18.0
    """
    for name, value in (("flow", flow), ("drawn", drawn)):
        if not 0 < value < math.inf:
            raise InputError(f"{value:g} is not possible", f"give {name} above zero", name)
    return 3600 * flow / 4 / drawn


def vessel_needed(flow: float, cut_in: float, cut_out: float, most_starts: float = STARTS.value) -> float:
    """Return the pressure vessel with which a pump starts no more often than so many times an hour.

    Parameters
    ----------
    flow : float [L/s]
        Flow of the pump.
    cut_in, cut_out : float [kPa]
        Gauge pressures at which it starts and stops.
    most_starts : float [1/h]
        Starts an hour that its motor bears.

    Returns
    -------
    float [L]
        Volume of the vessel.

    Raises
    ------
    InputError
        If a value is not above zero, or the pressures do not rise.

    Examples
    --------
    >>> size = vessel_needed(0.3, cut_in=100, cut_out=200)
    >>> starts_an_hour(0.3, drawdown(size, 100, 200))
    12.0
    """
    if not most_starts > 0:
        raise InputError(f"{most_starts:g} starts an hour", "give more than zero", "most_starts")
    return 3600 * flow / 4 / most_starts / drawdown(1.0, cut_in, cut_out)


def dry_running_level(vessel: Vessel, submergence: float = CUT_OUT_SUBMERGENCE.value) -> float:
    """Return the level at which the pump must be stopped: the outlet and the water that keeps air out of it.

    Parameters
    ----------
    vessel : Vessel
        The tank.
    submergence : float [m]
        Water over the intake.

    Returns
    -------
    float [m]
        Level of the float switch above the floor of the tank; what lies between it and the outlet is not pumped.

    Raises
    ------
    InputError
        If the pump would stop with the tank full.

    Examples
    --------
    >>> from rainharvest.siteworks.vessel import vessel_of
    >>> dry_running_level(vessel_of(10_000))
    0.2
    """
    stop = vessel.outlet_mark + submergence
    if not vessel.outlet_mark <= stop < vessel.overflow_mark:
        raise InputError(
            f"the pump would stop at {stop:.2f} m, in a tank that overflows at {vessel.overflow_mark:.2f} m",
            "lower the intake, or ask for less water over it",
            "submergence",
        )
    return stop
