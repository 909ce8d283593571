"""Water by its own weight: pressure and flow at a tap, how long a bucket takes, where the tap must be."""

from __future__ import annotations

import math
from dataclasses import dataclass

from rainharvest.catchment.conveyance import FITTINGS
from rainharvest.catchment.friction import GRAVITY, friction_head, section
from rainharvest.errors import InputError
from rainharvest.siteworks.defaults import (
    BUCKET,
    BUCKET_CLEARANCE,
    BUCKET_HEIGHT,
    PIPE_ROUGHNESS,
    TAP_BORE,
)
from rainharvest.siteworks.vessel import Vessel


@dataclass(frozen=True)
class Tap:
    """A tap fed from the tank by its own weight. Levels are from the ground on which the tank's base stands.

    Parameters
    ----------
    tap_height : float [m]
        Mouth of the tap above the ground.
    floor_height : float [m]
        Floor of the tank above the ground: slab and stand.
    tap_run : float [m]
        Pipe from the outlet to the tap; zero for a tap in the wall of the tank.
    tap_bore : float [mm]
        Inside diameter of that pipe and of the tap.
    roughness : float [mm]
        Of the pipe.
    elbows : int [1]
        Elbows on the way.
    """

    tap_height: float
    floor_height: float = 0.0
    tap_run: float = 0.0
    tap_bore: float = TAP_BORE.value
    roughness: float = PIPE_ROUGHNESS.value
    elbows: int = 0

    def __post_init__(self):
        for name in ("floor_height", "tap_run", "elbows"):
            if not 0 <= getattr(self, name) < math.inf:
                raise InputError(f"{getattr(self, name):g} is not possible", "give zero or more", name)
        if not 0 < self.tap_bore < math.inf:
            raise InputError(f"a bore of {self.tap_bore:g} mm", "give one above zero", "tap_bore")
        if not self.tap_height >= 0:
            raise InputError(
                f"the tap at {self.tap_height:g} m is under the ground",
                "give its height above the ground on which the base stands",
                "tap_height",
            )
        if self.tap_run == 0 and self.tap_height < self.floor_height - 1e-9:
            raise InputError(
                f"the tap at {self.tap_height:g} m is under the base: the floor of the tank lies "
                f"{self.floor_height:g} m above the ground",
                "raise the tap, or give tap_run, the length of pipe to a tap that stands apart",
                "tap_height",
            )

    @property
    def tap_level(self) -> float:
        """Mouth of the tap above the floor of the tank [m]."""
        return self.tap_height - self.floor_height


def orifice_flow(orifice: float, water_head: float, contraction: float = 0.62, jet: float = 0.98) -> float:
    """Return the flow through a hole: Q = Cc Cv A sqrt(2 g H).

    Parameters
    ----------
    orifice : float [mm]
        Diameter of the hole.
    water_head : float [m]
        Depth of water over its middle.
    contraction : float [1]
        Coefficient of contraction Cc.
    jet : float [1]
        Coefficient of velocity Cv.

    Returns
    -------
    float [L/s]
        Flow; zero without head. Source: Torricelli's law, any textbook.

    Raises
    ------
    InputError
        If the hole has no size.

    Examples
    --------
    >>> orifice_flow(orifice=60, water_head=6.0, contraction=0.68, jet=0.92)
    19.19
    """
    if not orifice > 0:
        raise InputError(f"a hole of {orifice:g} mm", "give a diameter above zero", "orifice")
    return contraction * jet * section(orifice) * math.sqrt(2 * GRAVITY * max(water_head, 0.0)) * 1000


def tap_pressure(tap: Tap, water_level: float) -> float:
    """Return the pressure at a shut tap: rho g (level of the water - level of the tap).

    Parameters
    ----------
    tap : Tap
        The tap.
    water_level : float [m]
        Water above the floor of the tank.

    Returns
    -------
    float [kPa]
        9.81 kPa for each metre; zero where the water stands below the tap.

    Examples
    --------
    >>> tap_pressure(Tap(tap_height=0.5), water_level=2.0)
    14.7
    """
    return max(water_level - tap.tap_level, 0.0) * GRAVITY


def tap_flow(tap: Tap, water_level: float) -> float:
    """Return the flow of a tap that is fully open.

    The head is spent in the entrance, the pipe, the elbows, the tap (a globe valve, Crane TP-410) and the jet.

    Parameters
    ----------
    tap : Tap
        The tap.
    water_level : float [m]
        Water above the floor of the tank.

    Returns
    -------
    float [L/s]
        Zero where the water stands at the tap or below it. Source: Darcy and Weisbach, Colebrook; Crane
        TP-410 by the library ``fluids``.

    Examples
    --------
    >>> tap_flow(Tap(tap_height=0.5), water_level=1.5)
    0.44
    """
    from fluids.fittings import K_globe_valve_Crane, bend_rounded
    from scipy.optimize import brentq

    available = water_level - tap.tap_level
    if available <= 1e-9:
        return 0.0
    wide = tap.tap_bore / 1000
    losses = 1.0 + FITTINGS["entrance"].value + K_globe_valve_Crane(wide, wide)
    if tap.elbows:
        losses += tap.elbows * bend_rounded(Di=wide, angle=90, fd=0.025, bend_diameters=1.5)

    def spare(flow: float) -> float:
        speed = flow / 1000 / section(tap.tap_bore)
        lost = friction_head(flow, tap.tap_bore, tap.tap_run, tap.roughness)
        return available - lost - losses * speed**2 / (2 * GRAVITY)

    most = 1000 * section(tap.tap_bore) * math.sqrt(2 * GRAVITY * available / losses)
    return brentq(spare, 0.0, most * 1.0001, xtol=1e-12)


def seconds_to_fill(flow: float, bucket: float = BUCKET.value) -> float:
    """Return how long a bucket takes.

    Parameters
    ----------
    flow : float [L/s]
        Flow of the tap.
    bucket : float [L]
        The bucket.

    Returns
    -------
    float [s]
        Infinite where nothing flows.

    Raises
    ------
    InputError
        If the bucket holds nothing.

    Examples
    --------
    >>> seconds_to_fill(0.4)
    50.0
    """
    if not bucket > 0:
        raise InputError(f"a bucket of {bucket:g} L", "give one above zero", "bucket")
    return bucket / flow if flow > 0 else math.inf


def tap_height_needed(
    bucket_height: float = BUCKET_HEIGHT.value, clearance: float = BUCKET_CLEARANCE.value
) -> float:
    """Return how high above the ground a tap must be for a bucket to stand under it.

    Parameters
    ----------
    bucket_height : float [m]
        Height of the bucket.
    clearance : float [m]
        Room above it.

    Returns
    -------
    float [m]
        Height of the tap's mouth.

    Examples
    --------
    >>> tap_height_needed()
    0.45
    """
    return bucket_height + clearance


def below_the_tap(vessel: Vessel, tap: Tap) -> float:
    """Return the water above the outlet that does not reach the tap by its own weight.

    Parameters
    ----------
    vessel : Vessel
        The tank.
    tap : Tap
        The tap.

    Returns
    -------
    float [L]
        Zero for a tap at the outlet or below it.

    Raises
    ------
    InputError
        If the tap is above the overflow: no water reaches it.

    Examples
    --------
    >>> from rainharvest.siteworks.vessel import vessel_of
    >>> round(below_the_tap(vessel_of(10_000), Tap(tap_height=0.5)))
    2000
    """
    if tap.tap_level >= vessel.overflow_mark:
        raise InputError(
            f"the tap is {tap.tap_level - vessel.overflow_mark:.2f} m above the overflow: no water reaches it by its "
            "own weight",
            "lower the tap, raise the tank, or give a pump",
            "tap_height",
        )
    return float(max(vessel.volume(tap.tap_level) - vessel.volume(vessel.outlet_mark), 0.0))
