"""The tank as a body, what it stands on, what wind and groundwater do to it, and its gauge."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
import xarray as xr

from rainharvest.catchment.hydraulics import GRAVITY
from rainharvest.core.defaults import rows_of
from rainharvest.core.errors import require
from rainharvest.core.quantities import along, variables
from rainharvest.core.reader import measure
from rainharvest.siteworks.tables import DEFAULTS, SiteWorks

POUNDS_PER_SQUARE_FOOT = 0.04788025898

"""One pound-force on a square foot, kPa: 4.4482216 N over 0.09290304 m2."""

_ROWS = rows_of("siteworks", "grounds")

CODE = _ROWS["code"]

"""Where the presumed bearing values come from."""


GROUNDS: dict[str, dict] = _ROWS["ground"]

"""Classes of ground: rows of grounds.toml."""


def presumed_bearing(ground: str) -> float | None:
    """Return the bearing value that the code presumes for a class of ground [kPa]; None where it presumes nothing.

    >>> round(presumed_bearing("clay"), 1), presumed_bearing("peat")
    (71.8, None)
    """
    pounds = GROUNDS[ground].get("pounds_per_square_foot")
    return None if pounds is None else pounds * POUNDS_PER_SQUARE_FOOT


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
            held = 1000 * self.tank_length * segment_area(depth, self.height)
        else:
            held = 1000 * self.plan_area * depth
        return (held * self.tanks)[()]

    def above_outlet(self, level: float) -> float:
        """Return the water between the outlet and a level of all the tanks."""
        return float(self.volume(level) - self.volume(self.outlet_mark))

    def level(self, volume: float) -> float:
        """Return the level at which the tanks hold a volume."""
        if self.form != "horizontal":
            return min(volume / (1000 * self.plan_area * self.tanks), self.height)
        from scipy.optimize import brentq

        if volume >= self.nominal:
            return self.height
        return brentq(lambda level: float(self.volume(level)) - volume, 0.0, self.height, xtol=1e-12)

    @property
    def nominal(self) -> float:
        """Volume of all the tanks to their tops [L]."""
        return float(self.volume(self.height))

    @property
    def capacity(self) -> float:
        """Volume between outlet and overflow of all the tanks [L]."""
        return self.above_outlet(self.overflow_mark)

    @property
    def dead(self) -> float:
        """Volume below the outlet of all the tanks [L]."""
        return float(self.volume(self.outlet_mark))

    @property
    def middle(self) -> float:
        """Level half way between outlet and overflow [m]."""
        return (self.outlet_mark + self.overflow_mark) / 2


def segment_area(depth, circle: float):
    """Return the wet part of a circle: r^2 (a - sin a) / 2, with a = 4 asin(sqrt(h / 2r)).

    >>> round(float(segment_area(1.0, 2.0)), 4)
    1.5708
    """
    share = np.clip(np.asarray(depth, float) / circle, 0.0, 1.0)
    angle = 4 * np.arcsin(np.sqrt(share))  # that the water's surface spans, seen from the centre
    square = angle**2
    # near nothing the two terms cancel: there the series of a - sin a
    series = (
        angle * square / 6 * (1 - square / 20 * (1 - square / 42 * (1 - square / 72 * (1 - square / 110))))
    )
    return circle**2 / 8 * np.where(angle < 0.3, series, angle - np.sin(angle))


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
    sides = {"nominal": nominal, "height": height, "tanks": tanks, "tank_width": tank_width}
    for name, value in sides.items():
        possible = value is None or 0 < value < math.inf
        require(possible, f"{value or 0:g} is not possible", f"give {name} above zero", name)
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
    return replace(
        whole, outlet_mark=outlet, overflow_mark=whole.level((1 - freeboard_share) * whole.nominal)
    )


USUAL_HEIGHT = {"metric": DEFAULTS["height"].value, "us": DEFAULTS["height_in_feet"].value}


def tank_height(site: SiteWorks, inlet_level: float | None, nominal: float, units: str = "metric") -> float:
    """Return the height of the tank: as given, else 2 m (7 ft), or less where it is small or the inlet stands lower.

    A small tank is no more than 1.5 times as high as it is wide (on its side: as it is long). By hand, 60 L upright:
    pi / 4 (h / 1.5)^2 h = 0.06, h = (0.06 x 2.25 x 4 / pi)^(1/3) = 0.556 m, 0.371 m across.

    >>> round(tank_height(SiteWorks(), None, 60.0), 3), tank_height(SiteWorks(), None, 10_000.0)
    (0.556, 2.0)
    """
    if site.height is not None:
        return site.height
    each, slender = nominal / site.tanks / 1000, DEFAULTS["slenderness"].value
    area = each if site.form == "rectangular" else 4 * each / math.pi
    if site.tank_width is None:
        longest = (area * slender ** (1 if site.form == "horizontal" else 2)) ** (1 / 3)
    else:
        longest = slender * site.tank_width
    usual = min(USUAL_HEIGHT[units], longest)
    return usual if inlet_level is None or inlet_level <= 0.3 else min(usual, inlet_level)


def overflow_level(site: SiteWorks, freeboard_share: float) -> float:
    """Return the level at which a tank of a given height overflows, above its floor, whatever its size."""
    return vessel_of(
        1000.0, site.form, site.height, dead_share=0, freeboard_share=freeboard_share
    ).overflow_mark


@dataclass(frozen=True)
class Base:
    """One tank on its slab."""

    water_mass: float  # [kg] Of one tank, full to its top
    empty_mass: float  # [kg] Of one tank, empty
    slab_mass: float  # [kg] Of its slab
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
    return mass * GRAVITY / contact / 1000


def base_of(vessel: Vessel, site: SiteWorks) -> Base:
    """Return the base of one tank: masses, pressure, slab, and what to mind.

    A thin slab spreads nothing beyond about its own thickness: the pressure is that of the tank on its own
    footprint, and of the slab. Where that is more than the ground may be asked to bear, the slab grows until
    the pressure, spread evenly over it, is not; an engineer must reinforce it to do that.

    >>> base = base_of(vessel_of(10_000), SiteWorks(ground="clay"))
    >>> round(base.ground_pressure, 1), base.engineer
    (22.6, False)
    """
    thick, presumed = site.slab_thickness, presumed_bearing(site.ground)
    concrete = DEFAULTS["concrete"].value
    allowed = presumed if site.bearing is None else site.bearing
    water = vessel.nominal / vessel.tanks / 1000 * DEFAULTS["water"].value
    empty = DEFAULTS["empty_share"].value * water if site.empty_mass is None else site.empty_mass
    length, width = (side + 2 * site.slab_margin for side in (vessel.tank_length, vessel.tank_width))
    own = ground_pressure(concrete * thick, 1.0)
    on_footprint = pressure = ground_pressure(water + empty, vessel.plan_area) + own
    warn = ["stand"] if site.stand > 0 else ["buried"] if site.buried > 0 else []
    if allowed is None:
        warn.append("unknown")
    elif pressure > allowed:
        if thick == 0 or allowed <= own:
            warn.append("another")
        else:
            warn.append("spread")
            # (m + rho t A) g / A = p, so A = m g / (p - rho t g)
            needed = ground_pressure(water + empty, 1.0) / (allowed - own)
            grow = max(math.sqrt(needed / (length * width)), 1.0)
            length, width = length * grow, width * grow
            pressure = ground_pressure(water + empty, length * width) + own
    if vessel.form == "horizontal":
        warn.append("cradles")
    if allowed is not None and site.bearing is None:
        warn.append("presumed")
    mind = (_ROWS["sound"] if presumed else "", GROUNDS[site.ground].get("warning", ""))
    to_mind = "; ".join(filter(None, mind))
    facts = {"ground": site.ground, "to_mind": to_mind, "stand": measure(site.stand, "m", 3)}
    facts |= {"length": measure(length, "m", 2), "width": measure(width, "m", 2)}
    facts |= {"allowed": measure(allowed or 0.0, "kPa", 2)}
    warnings = tuple(_ROWS["warning"][name].format(**facts) for name in warn)
    slab = concrete * thick * length * width
    spread = pressure < on_footprint
    return Base(water, empty, slab, length, width, thick, pressure, allowed, site.stand, spread, warnings)


@dataclass(frozen=True)
class Wind:
    """One tank in the wind."""

    tips_at: float  # [m/s] Gust in which it tips when it stands empty
    slides_at: float  # [m/s] Gust in which it slides when it stands empty
    gust: float | None  # [m/s] Gust of the site; None where nobody said
    push: float  # [kN] Sideways, in that gust
    lift: float  # [kN] On the ties of the windward side in that gust, when it stands empty
    holds_with: (
        float  # [L] Water in it that holds it in that gust without ties; more than it holds where none does
    )

    @property
    def stands_empty(self) -> bool:
        """Whether it stands empty in the gust of the site without ties."""
        return self.gust is not None and self.gust <= min(self.tips_at, self.slides_at)


def wind_on(vessel: Vessel, empty_mass: float, gust: float | None = None) -> Wind:
    """Return the gusts in which an empty tank [kg] tips and slides, and what holds it in the gust of the site [m/s].

    F = rho Cf A v^2 / 2 at half the height. It tips where F h / 2 > m g b / 2, b the width of its foot, and slides
    where F > mu m g. On the level of its base: a stand, an edge or a hill-top asks for an engineer.

    By hand, 1,000 L of 0.971 m across and 1.35 m high: m = 30 kg, A = 1.311 m2; it tips at
    F = 30 x 9.807 x 0.971 / 1.35 = 212 N, v = sqrt(2 x 212 / (1.225 x 0.7 x 1.311)) = 19.4 m/s; it slides at
    F = 0.5 x 30 x 9.807 = 147 N, v = 16.2 m/s.

    >>> wind = wind_on(vessel_of(1000, height=1.35), 30.0)
    >>> round(wind.tips_at, 1), round(wind.slides_at, 1)
    (19.4, 16.2)
    """
    force = DEFAULTS["wind_force_flat" if vessel.form == "rectangular" else "wind_force_round"].value
    friction = DEFAULTS["base_friction"].value
    wide, foot = max(vessel.tank_length, vessel.tank_width), min(vessel.tank_length, vessel.tank_width)
    per_square = DEFAULTS["air"].value * force * vessel.height * wide / 2  # N in 1 m/s
    weight, blows = empty_mass * GRAVITY, per_square * (gust or 0.0) ** 2
    needed = max(blows * vessel.height / foot, blows / friction) / GRAVITY  # kg that neither tip nor slide
    return Wind(
        tips_at=math.sqrt(weight * foot / vessel.height / per_square),
        slides_at=math.sqrt(friction * weight / per_square),
        gust=gust,
        push=blows / 1000,
        lift=max(blows * vessel.height / foot - weight, 0.0) / 2000,
        holds_with=max(needed - empty_mass, 0.0) / DEFAULTS["water"].value * 1000,
    )


@dataclass(frozen=True)
class Flotation:
    """One empty tank in wet ground."""

    groundwater: float  # [m] Highest groundwater below the ground
    measured: bool  # Whether that was measured; else it is taken at the surface
    displaced: float  # [kg] Groundwater that the empty tank displaces: what lifts it
    holding: float  # [kg] Tank, cover, slab and anchors, less the water that these displace
    wanted: float  # [kg] What must hold it: the lift and a margin
    more_concrete: float  # [kg] Concrete to be tied to it beside that
    holds_with: float  # [L] Water that must never be drawn, where no concrete is added

    @property
    def floats(self) -> bool:
        """Whether it may rise when it is empty."""
        return self.more_concrete > 0


def flotation_of(site: SiteWorks, vessel: Vessel, base: Base) -> Flotation | None:
    """Return what lifts one empty tank in the ground and what holds it; None where it stands on the ground.

    Lift: the mass of water that the tank displaces below the groundwater. Against it: the empty tank, the soil on
    its roof, the slab that it is tied to and its anchors, each less the water that it displaces in turn. Friction of
    the backfill and the earth over the slab's margin are left out, which errs on the safe side.

    By hand, 10,000 L of 2.523 m across and 2 m high, its floor 2.5 m deep, water to the surface: lift 10,000 kg; the
    tank 300 kg, 0.5 m of soil in water 900 x 0.5 x 5 = 2,250 kg, a slab of 2.723 m by 2.723 m by 0.1 m
    1,779 x (1 - 1000 / 2400) = 1,038 kg: 3,588 kg hold it and 1.2 x 10,000 = 12,000 are wanted, so that 8,412 kg are
    missing: 14,420 kg of concrete, or 8,412 L that stay in it.

    >>> tank = vessel_of(10_000)
    >>> site = SiteWorks(buried=2.5)
    >>> lift = flotation_of(site, tank, base_of(tank, site))
    >>> round(lift.displaced), round(lift.holding), round(lift.more_concrete), round(lift.holds_with)
    (10000, 3588, 14420, 8412)
    """
    if not site.buried:
        return None
    water, concrete = DEFAULTS["water"].value, DEFAULTS["concrete"].value
    table = site.groundwater or 0.0
    floor, roof = site.buried, site.buried - vessel.height
    displaced = float(vessel.volume(max(floor - table, 0.0))) / vessel.tanks * water / 1000
    wet = float(np.clip(roof - table, 0.0, max(roof, 0.0)))  # m of the cover that stand in water
    cover = DEFAULTS["soil"].value * (max(roof, 0.0) - wet) + DEFAULTS["soil_in_water"].value * wet
    in_water = 1 - water / concrete if table < floor else 1.0
    tied = in_water * (base.slab_mass + site.anchor_mass)
    holding = base.empty_mass + cover * vessel.plan_area + tied
    wanted = DEFAULTS["flotation_margin"].value * displaced
    missing = max(wanted - holding, 0.0)
    return Flotation(
        groundwater=table,
        measured=site.groundwater is not None,
        displaced=displaced,
        holding=holding,
        wanted=wanted,
        more_concrete=missing / (1 - water / concrete),
        holds_with=missing / water * 1000,
    )


def gauge_table(vessel: Vessel, mean_demand: float, steps: int = 20) -> xr.Dataset:
    """Return what a gauge says at each level: litres in the tank, litres to draw, days that they last.

    Days = (V(level) - V(outlet)) / demand: no rain, no rationing, an even draw.

    >>> table = gauge_table(vessel_of(10_000), mean_demand=500, steps=4)
    >>> table.litres_to_draw.values.round().tolist(), table.days_of_supply.values.round(1).tolist()
    ([0.0, 0.0, 1875.0, 4250.0, 6625.0, 9000.0], [0.0, 0.0, 3.8, 8.5, 13.2, 18.0])
    """
    even = np.linspace(0.0, vessel.overflow_mark, steps + 1)
    levels = np.union1d(even, [vessel.outlet_mark, vessel.overflow_mark])
    held = vessel.volume(levels)
    draw = np.maximum(held - vessel.dead, 0.0)
    columns = {"litres_held": held, "litres_to_draw": draw, "days_of_supply": draw / mean_demand}
    marks = {"outlet_mark": vessel.outlet_mark, "overflow_mark": vessel.overflow_mark}
    return xr.Dataset(variables("water_level", columns), along(water_level=levels), marks)
