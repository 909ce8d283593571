"""The tank as a body: its shape, how much stands in it at each level, and the marks on its gauge."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from rainharvest.errors import InputError

Shape = Literal["upright", "horizontal", "rectangular"]
SHAPES: dict[str, str] = {
    "upright": "a round tank that stands on its end",
    "horizontal": "a round tank that lies on its side",
    "rectangular": "a tank with upright walls",
}


@dataclass(frozen=True)
class Vessel:
    """One tank, or several alike that are linked at the floor.

    Parameters
    ----------
    form : str
        A key of `SHAPES`.
    height : float [m]
        Inside height; the diameter of a tank that lies on its side.
    tank_length : float [m]
        Inside length along the ground; the diameter of an upright tank.
    tank_width : float [m]
        Inside width across; the diameter of an upright tank, or of one on its side.
    outlet_mark : float [m]
        Lowest level that can be drawn, above the floor of the tank.
    overflow_mark : float [m]
        Level at which the tank overflows, above the floor of the tank.
    tanks : int [1]
        How many alike stand side by side.
    """

    form: str
    height: float
    tank_length: float
    tank_width: float
    outlet_mark: float
    overflow_mark: float
    tanks: int = 1

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
        """Return the water in all the tanks at a level above the floor.

        Parameters
        ----------
        level : float or array [m]
            Depth of the water; what lies above the top counts as the top.

        Returns
        -------
        float or ndarray [L]
            Volume.
        """
        depth = np.clip(np.asarray(level, float), 0.0, self.height)
        if self.form == "horizontal":
            litres = 1000 * self.tank_length * segment_area(depth, self.height)
        else:
            litres = 1000 * self.plan_area * depth
        return (litres * self.tanks)[()]

    def level(self, volume: float) -> float:
        """Return the level at which the tanks hold a volume.

        Parameters
        ----------
        volume : float [L]
            Water in all the tanks, from zero to full.

        Returns
        -------
        float [m]
            Level above the floor.

        Raises
        ------
        InputError
            If the tanks cannot hold it.
        """
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

    Parameters
    ----------
    depth : float or array
        Depth h of the water in the circle, m, from zero to the diameter.
    circle : float [m]
        Diameter 2 r.

    Returns
    -------
    float or ndarray [m2]
        Area of the segment. Source: plane geometry.

    Examples
    --------
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

    Parameters
    ----------
    nominal : float [L]
        Volume of all the tanks together.
    form : str
        A key of `SHAPES`.
    height : float [m]
        Inside height of a tank; the diameter of one that lies on its side.
    tank_width : float [m], optional
        Width of a rectangular tank; square on plan if not given.
    tanks : int [1]
        How many alike.
    dead_share : float [1]
        Share of the nominal size below the outlet.
    freeboard_share : float [1]
        Share of the nominal size above the overflow.

    Returns
    -------
    Vessel
        Its length follows from the volume.

    Raises
    ------
    InputError
        If a measure is not above zero, or the shares leave nothing between outlet and overflow.

    Examples
    --------
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
