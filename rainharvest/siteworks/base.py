"""What the tank stands on, the tank as a body, and its gauge."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
import xarray as xr

from rainharvest.catchment.hydraulics import GRAVITY
from rainharvest.core.defaults import Default
from rainharvest.core.errors import InputError
from rainharvest.core.quantities import attributes
from rainharvest.siteworks.tables import (
    CONCRETE,
    EMPTY_SHARE,
    HEIGHT_OVER_WIDTH,
    SLAB_MARGIN,
    SLAB_THICKNESS,
    WATER,
)

POUNDS_PER_SQUARE_FOOT = 0.04788025898

"""One pound-force on a square foot, kPa: 4.4482216 N over 0.09290304 m2."""


CODE = "International Building Code 2012, Table 1806.2, presumptive values of vertical foundation pressure"

"""Where the values come from."""

_LEAST = "less than 1,500 pounds on a square foot is likely: investigate"


def _presumed(pounds: float) -> Default:
    return Default(pounds * POUNDS_PER_SQUARE_FOOT, "kPa", f"{CODE}: {pounds:,.0f} lbf/ft2", "standard")


@dataclass(frozen=True)
class Ground:
    """One class of ground."""

    meaning: str  # What it is
    bearing: Default | None  # Presumed bearing value, kPa; None where the code presumes nothing
    warning: str  # What to mind


_SOUND = "valid for undisturbed, level, drained natural ground of this class down to well below the base"


GROUNDS: dict[str, Ground] = {
    "bedrock": Ground("crystalline bedrock", _presumed(12_000), _SOUND),
    "layered rock": Ground("sedimentary and foliated rock", _presumed(4_000), _SOUND),
    "gravel": Ground("sandy gravel and gravel (GW, GP)", _presumed(3_000), _SOUND),
    "sand": Ground(
        "sand, silty and clayey sand, silty and clayey gravel",
        _presumed(2_000),
        f"{_SOUND}; loose sand bears less, and water that runs under the base washes it out",
    ),
    "clay": Ground(
        "clay, sandy, silty or clayey silt, silt",
        _presumed(1_500),
        f"{_SOUND}; soft clay bears less ({_LEAST}), and clay that swells and shrinks counts as expansive",
    ),
    "expansive clay": Ground(
        "clay that swells when wet and shrinks when dry",
        None,
        "it heaves and settles with the seasons and with every leak: a geotechnical engineer designs the base",
    ),
    "fill": Ground(
        "made ground, backfill, rubbish, anything placed and not compacted under control",
        None,
        "it settles under a full tank: take it out, or have an engineer design the base",
    ),
    "peat": Ground(
        "mud, organic silt or clay, peat",
        None,
        "it flows and rots: no tank stands on it without an engineer",
    ),
    "unknown": Ground(
        "nobody has looked",
        None,
        "dig a hole to a metre below the base and look, or ask who built next door",
    ),
}

"""Classes of ground. Codes differ threefold for the same name: local rules and a look into a pit govern."""


def presumed_bearing(ground: str) -> float | None:
    """Return the bearing value that the code presumes for a class of ground.

    >>> round(presumed_bearing("clay"), 1), presumed_bearing("peat")
    (71.8, None)
    """
    if ground not in GROUNDS:
        raise InputError(f'no ground is called "{ground}"', f"choose one of {', '.join(GROUNDS)}", "ground")
    found = GROUNDS[ground].bearing
    return None if found is None else found.value


Shape = Literal["upright", "horizontal", "rectangular"]

SHAPES: dict[str, str] = {
    "upright": "a round tank that stands on its end",
    "horizontal": "a round tank that lies on its side",
    "rectangular": "a tank with upright walls",
}


@dataclass(frozen=True)
class Vessel:
    """One tank, or several alike that are linked at the floor."""

    form: str  # A key of `SHAPES`
    height: float  # [m] Inside height; the diameter of a tank that lies on its side
    tank_length: float  # [m] Inside length along the ground; the diameter of an upright tank
    tank_width: float  # [m] Inside width across; the diameter of an upright tank, or of one on its side
    outlet_mark: float  # [m] Lowest level that can be drawn, above the floor of the tank
    overflow_mark: float  # [m] Level at which the tank overflows, above the floor of the tank
    tanks: int = 1  # [1] How many alike stand side by side

    def __post_init__(self):
        if self.form not in SHAPES:
            raise InputError(f'no tank is shaped "{self.form}"', f"choose one of {', '.join(SHAPES)}", "form")
        for name in ("height", "tank_length", "tank_width"):
            value = getattr(self, name)
            if not 0 < value < math.inf:
                what = "a tank without a footprint" if name != "height" else "a tank without a height"
                raise InputError(f"{value:g} m makes {what}", f"give {name} above zero", name)
        if self.tanks < 1:
            raise InputError(f"{self.tanks} tanks", "give one or more", "tanks")
        if not 0 <= self.outlet_mark:
            raise InputError(
                f"the outlet at {self.outlet_mark:g} m is below the floor of the tank",
                "give zero or more",
                "outlet_mark",
            )
        if not self.outlet_mark < self.overflow_mark:
            raise InputError(
                f"the outlet at {self.outlet_mark:g} m is not below the overflow at {self.overflow_mark:g} m: "
                "nothing could be drawn",
                "lower the outlet, or raise the overflow",
                "outlet_mark",
            )
        if self.overflow_mark > self.height:
            raise InputError(
                f"the overflow at {self.overflow_mark:g} m is above the top of the tank at {self.height:g} m",
                "lower the overflow, or give a taller tank",
                "overflow_mark",
            )

    @property
    def plan_area(self) -> float:
        """Plan area that one tank covers; one on its side needs cradles or a bed of that area [m2]."""
        if self.form == "upright":
            return math.pi * self.tank_length**2 / 4
        return self.tank_length * self.tank_width

    def volume(self, level):
        """Return the water in all the tanks at a level above the floor."""
        depth = np.clip(np.asarray(level, float), 0.0, self.height)
        if self.form == "horizontal":
            litres = 1000 * self.tank_length * segment_area(depth, self.height)
        else:
            litres = 1000 * self.plan_area * depth
        return (litres * self.tanks)[()]

    def level(self, volume: float) -> float:
        """Return the level at which the tanks hold a volume."""
        full = float(self.volume(self.height))
        if not 0 <= volume <= full * (1 + 1e-9):
            raise InputError(
                f"{volume:g} L in a tank of {full:g} L", "give a volume from zero to full", "volume"
            )
        if self.form != "horizontal":
            return min(volume / (1000 * self.plan_area * self.tanks), self.height)
        from scipy.optimize import brentq

        if volume >= full:
            return self.height
        return brentq(lambda level: float(self.volume(level)) - volume, 0.0, self.height, xtol=1e-12)

    @property
    def nominal(self) -> float:
        """Volume of all the tanks to their tops [L]."""
        return float(self.volume(self.height))

    @property
    def capacity(self) -> float:
        """Volume between outlet and overflow of all the tanks [L]."""
        return float(self.volume(self.overflow_mark) - self.volume(self.outlet_mark))


def segment_area(depth, circle: float):
    """Return the wet part of a circle: r^2 acos((r - h)/r) - (r - h) sqrt(2 r h - h^2).

    >>> round(float(segment_area(1.0, 2.0)), 4)
    1.5708
    """
    radius = circle / 2
    depth = np.asarray(depth, float)
    from_centre = radius - depth
    half_chord = np.sqrt(np.maximum(2 * radius * depth - depth**2, 0.0))
    return radius**2 * np.arccos(np.clip(from_centre / radius, -1, 1)) - from_centre * half_chord


def vessel_of(
    nominal: float,
    form: str = "upright",
    height: float = 2.0,
    *,
    tank_width: float | None = None,
    tanks: int = 1,
    dead_share: float = 0.05,
    freeboard_share: float = 0.05,
) -> Vessel:
    """Return the tank of a nominal size, height and shape, with its marks where the shares put them.

    >>> tank = vessel_of(10_000, height=2.0)
    >>> round(tank.tank_length, 2), round(tank.outlet_mark, 2), round(tank.capacity)
    (2.52, 0.1, 9000)
    """
    for name, value in (("nominal", nominal), ("height", height), ("tanks", tanks)):
        if not 0 < value < math.inf:
            raise InputError(f"{value:g} is not possible", f"give {name} above zero", name)
    if tank_width is not None and not 0 < tank_width < math.inf:
        raise InputError(
            f"{tank_width:g} m makes a tank without a footprint", "give tank_width above zero", "tank_width"
        )
    if dead_share < 0 or freeboard_share < 0 or dead_share + freeboard_share >= 1:
        raise InputError(
            "the shares below the outlet and above the overflow leave nothing to use",
            "make them add up to less than 1",
            "dead_share",
        )
    each = nominal / tanks / 1000
    if form == "horizontal":
        length, width = each / (math.pi * height**2 / 4), height
    elif form == "upright":
        length = width = math.sqrt(4 * each / (math.pi * height))
    else:
        width = tank_width or math.sqrt(each / height)
        length = each / height / width
    whole = Vessel(form, height, length, width, 0.0, height, tanks)
    outlet = whole.level(dead_share * whole.nominal)
    overflow = whole.level((1 - freeboard_share) * whole.nominal)
    return Vessel(form, height, length, width, outlet, overflow, tanks)


@dataclass(frozen=True)
class Base:
    """One tank on its slab."""

    water_mass: float  # [kg] Of one tank, full to its top
    empty_mass: float  # [kg] Of one tank, full to its top
    slab_mass: float  # [kg] Of one tank, full to its top
    slab_length: float  # [m] Sides of the slab
    slab_width: float  # [m] Sides of the slab
    slab_thickness: float  # [m] Its thickness; zero for a prepared bed without a slab
    ground_pressure: float  # [kPa] On the ground below it
    bearing: float | None  # [kPa] What the ground may be asked to bear; None where nothing may be presumed
    stand: float  # [m] Height of a stand under the tank
    spread: bool  # Whether the slab must spread the load beyond the tank's own footprint
    warnings: tuple[str, ...]  # What to mind, the gravest first

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

    >>> ground_pressure(mass=2000.0, contact=1.0)
    19.6
    """
    if not contact > 0:
        raise InputError(f"a footprint of {contact:g} m2", "give an area above zero", "contact")
    return mass * GRAVITY / contact / 1000


def slab_area_needed(mass: float, most_pressure: float, slab_thickness: float) -> float:
    """Return the area of a slab that keeps the pressure on the ground at a chosen value.

    (m + rho t A) g / A = p, so A = m g / (p - rho t g).

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

    >>> from rainharvest.siteworks.base import vessel_of
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


def gauge_table(vessel: Vessel, mean_demand: float, steps: int = 20) -> xr.Dataset:
    """Return what a gauge says at each level: litres in the tank, litres to draw, days that they last.

    Days = (V(level) - V(outlet)) / demand: no rain, no rationing, an even draw.

    >>> from rainharvest.siteworks.base import vessel_of
    >>> table = gauge_table(vessel_of(10_000), mean_demand=500, steps=4)
    >>> table.litres_to_draw.values.round().tolist(), table.days_of_supply.values.round(1).tolist()
    ([0.0, 0.0, 1875.0, 4250.0, 6625.0, 9000.0], [0.0, 0.0, 3.8, 8.5, 13.2, 18.0])
    """
    if not 0 < mean_demand < np.inf:
        raise InputError(f"a demand of {mean_demand:g} L a day", "give one above zero", "mean_demand")
    if steps < 1:
        raise InputError(f"{steps} steps", "give one or more", "steps")
    even = np.linspace(0.0, vessel.overflow_mark, steps + 1)
    levels = np.union1d(even, [vessel.outlet_mark, vessel.overflow_mark])
    held = vessel.volume(levels)
    draw = np.maximum(held - vessel.volume(vessel.outlet_mark), 0.0)
    return xr.Dataset(
        {
            "litres_held": ("water_level", held, attributes("litres_held")),
            "litres_to_draw": ("water_level", draw, attributes("litres_to_draw")),
            "days_of_supply": ("water_level", draw / mean_demand, attributes("days_of_supply")),
        },
        coords={"water_level": ("water_level", levels, attributes("water_level"))},
        attrs={"outlet_mark": vessel.outlet_mark, "overflow_mark": vessel.overflow_mark},
    )
