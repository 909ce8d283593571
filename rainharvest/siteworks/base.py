"""What the tank stands on: its mass when full, its pressure on the ground, the slab that spreads it."""

from __future__ import annotations

import math
from dataclasses import dataclass

from rainharvest.catchment.friction import GRAVITY
from rainharvest.errors import InputError
from rainharvest.siteworks.defaults import (
    CONCRETE,
    EMPTY_SHARE,
    HEIGHT_OVER_WIDTH,
    SLAB_MARGIN,
    SLAB_THICKNESS,
    WATER,
)
from rainharvest.siteworks.ground import GROUNDS, presumed_bearing
from rainharvest.siteworks.vessel import Vessel


@dataclass(frozen=True)
class Base:
    """One tank on its slab.

    Parameters
    ----------
    water_mass, empty_mass, slab_mass : float [kg]
        Of one tank, full to its top.
    slab_length, slab_width : float [m]
        Sides of the slab.
    slab_thickness : float [m]
        Its thickness; zero for a prepared bed without a slab.
    ground_pressure : float [kPa]
        On the ground below it.
    bearing : float or None [kPa]
        What the ground may be asked to bear; None where nothing may be presumed.
    stand : float [m]
        Height of a stand under the tank.
    spread : bool
        Whether the slab must spread the load beyond the tank's own footprint.
    warnings : tuple of str
        What to mind, the gravest first.
    """

    water_mass: float
    empty_mass: float
    slab_mass: float
    slab_length: float
    slab_width: float
    slab_thickness: float
    ground_pressure: float
    bearing: float | None
    stand: float
    spread: bool
    warnings: tuple[str, ...]

    @property
    def mass_full(self) -> float:
        """Mass of tank, water and slab [kg]."""
        return self.water_mass + self.empty_mass + self.slab_mass

    @property
    def slab_area(self) -> float:
        """Area of the slab [m2]."""
        return self.slab_length * self.slab_width

    @property
    def engineer(self) -> bool:
        """Whether an engineer must design the base."""
        over = self.bearing is None or self.ground_pressure > self.bearing
        return self.stand > 0 or self.spread or over


def ground_pressure(mass: float, contact: float) -> float:
    """Return the pressure of a mass that stands evenly on an area: m g / A.

    Parameters
    ----------
    mass : float [kg]
        Mass.
    contact : float [m2]
        Area on which it stands.

    Returns
    -------
    float [kPa]
        9.81 kPa for each metre of water.

    Raises
    ------
    InputError
        If the area is not above zero.

    Examples
    --------
    >>> ground_pressure(mass=2000.0, contact=1.0)
    19.6
    """
    if not contact > 0:
        raise InputError(f"a footprint of {contact:g} m2", "give an area above zero", "contact")
    return mass * GRAVITY / contact / 1000


def slab_area_needed(mass: float, most_pressure: float, slab_thickness: float) -> float:
    """Return the area of a slab that keeps the pressure on the ground at a chosen value.

    (m + rho t A) g / A = p, so A = m g / (p - rho t g).

    Parameters
    ----------
    mass : float [kg]
        Full tank without its slab.
    most_pressure : float [kPa]
        Chosen pressure on the ground.
    slab_thickness : float [m]
        Thickness of the concrete.

    Returns
    -------
    float [m2]
        Area.

    Raises
    ------
    InputError
        If the slab alone presses harder than that.

    Examples
    --------
    >>> slab_area_needed(mass=10_000, most_pressure=30.0, slab_thickness=0.1)
    3.55
    """
    own = CONCRETE.value * slab_thickness * GRAVITY / 1000
    if not most_pressure > own:
        raise InputError(
            f"a slab of {slab_thickness:g} m alone presses with {own:.1f} kPa, the ground may be asked for "
            f"{most_pressure:g}",
            "have an engineer design the base",
            "most_pressure",
        )
    return mass * GRAVITY / 1000 / (most_pressure - own)


def base_of(
    vessel: Vessel,
    ground: str = "clay",
    *,
    bearing: float | None = None,
    empty_mass: float | None = None,
    slab_thickness: float = SLAB_THICKNESS.value,
    slab_margin: float = SLAB_MARGIN.value,
    stand: float = 0.0,
) -> Base:
    """Return the base of one tank: masses, pressure, slab, and what to mind.

    A thin slab spreads nothing beyond about its own thickness: the pressure is that of the tank on its own
    footprint, and of the slab. Where that is more than the ground may be asked to bear, the slab grows until
    the pressure, spread evenly over it, is not; an engineer must reinforce it to do that.

    Parameters
    ----------
    vessel : Vessel
        The tank.
    ground : str
        A key of `rainharvest.siteworks.ground.GROUNDS`.
    bearing : float [kPa], optional
        What an engineer allows; the presumed value of the ground if not given.
    empty_mass : float [kg], optional
        Mass of the empty tank; a share of its water if not given.
    slab_thickness : float [m]
        Thickness of the concrete; zero for a prepared bed.
    slab_margin : float [m]
        How far the slab reaches beyond the tank on each side.
    stand : float [m]
        Height of a stand under the tank; anything raised is an engineer's work.

    Returns
    -------
    Base
        For one tank.

    Raises
    ------
    InputError
        If the ground is unknown to the table or a measure is below zero.

    Examples
    --------
    >>> from rainharvest.siteworks.vessel import vessel_of
    >>> base = base_of(vessel_of(10_000), "clay")
    >>> round(base.ground_pressure, 1), base.engineer
    (22.6, False)
    """
    for name, value in (
        ("bearing", bearing),
        ("empty_mass", empty_mass),
        ("slab_thickness", slab_thickness),
        ("slab_margin", slab_margin),
        ("stand", stand),
    ):
        if value is not None and not 0 <= value < math.inf:
            raise InputError(f"{value:g} is not possible", f"give {name} of zero or more", name)
    allowed = presumed_bearing(ground) if bearing is None else bearing
    water = vessel.nominal / vessel.tanks / 1000 * WATER.value
    empty = EMPTY_SHARE.value * water if empty_mass is None else empty_mass
    length, width = (side + 2 * slab_margin for side in (vessel.tank_length, vessel.tank_width))
    own = CONCRETE.value * slab_thickness * GRAVITY / 1000
    pressure = ground_pressure(water + empty, vessel.plan_area) + own
    warnings = []
    if stand > 0:
        warnings.append(
            f"the tank stands {stand:g} m up: an engineer designs the stand, its feet, and what holds it in wind "
            "and earthquake; the pressure under the feet is more than what is given here"
        )
    if allowed is None:
        warnings.append(f"{ground}: no value may be presumed; {GROUNDS[ground].warning}")
    elif pressure > allowed:
        if slab_thickness == 0 or allowed <= own:
            warnings.append(f"the base presses harder than {allowed:.0f} kPa: an engineer designs another")
        else:
            needed = slab_area_needed(water + empty, allowed, slab_thickness)
            grow = max(math.sqrt(needed / (length * width)), 1.0)
            length, width = length * grow, width * grow
            pressure = ground_pressure(water + empty, length * width) + own
            warnings.append(
                f"the tank on its own footprint presses harder than {allowed:.0f} kPa: an engineer reinforces a slab "
                f"of {length:.1f} m by {width:.1f} m that spreads the load"
            )
    if vessel.form == "horizontal":
        warnings.append(
            "cradles press on the ground harder than this, which takes the load as spread under the whole tank: their "
            "maker or an engineer sizes their feet"
        )
    elif vessel.height > HEIGHT_OVER_WIDTH.value * min(vessel.tank_length, vessel.tank_width):
        warnings.append(
            "it is tall for its width: wind or an earthquake can tip it, most easily when it stands empty; tie it down "
            "as its maker says"
        )
    if allowed is not None and bearing is None:
        warnings.append(f"{ground}: {GROUNDS[ground].warning}")
    slab = CONCRETE.value * slab_thickness * length * width
    spread = pressure < ground_pressure(water + empty, vessel.plan_area) + own
    return Base(
        water, empty, slab, length, width, slab_thickness, pressure, allowed, stand, spread, tuple(warnings)
    )
