"""The tank in the ground: what lifts it when it is empty, and what a pump above its water can draw."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rainharvest.catchment.hydraulics import GRAVITY, friction_head, section
from rainharvest.core.errors import require
from rainharvest.siteworks.base import Base, Vessel
from rainharvest.siteworks.tables import DEFAULTS, PumpPlan, SiteWorks


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

    >>> from rainharvest.siteworks.base import base_of, vessel_of
    >>> tank = vessel_of(10_000)
    >>> lift = flotation_of(SiteWorks(buried=2.5), tank, base_of(tank))
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


@dataclass(frozen=True)
class Suction:
    """A pump that stands above the water that it draws."""

    lift: float  # [m] Its axis above the lowest water that it draws
    lost: float  # [m] In the suction pipe and its foot valve
    available: float  # [m] Net positive suction head that the site offers
    required: float | None  # [m] What the pump's maker asks for; None where nobody said
    elevation: float | None  # [m] Of the site above the sea; None where nobody said

    @property
    def asked(self) -> float:
        """What the pump asks for, known or usual, and a margin [m]."""
        own = DEFAULTS["suction_usual"].value if self.required is None else self.required
        return own + DEFAULTS["suction_margin"].value

    @property
    def enough(self) -> bool:
        """Whether the pump draws without its water boiling."""
        return self.available >= self.asked


def air_pressure(elevation: float) -> float:
    """Return the pressure of the air at a height above the sea [kPa]: the standard atmosphere, ISO 2533.

    >>> round(air_pressure(0.0), 1), round(air_pressure(1500.0), 1)
    (101.3, 84.6)
    """
    return 101.325 * (1 - 2.25577e-5 * elevation) ** 5.25588


def suction_of(plan: PumpPlan, lowest: float, flow: float, elevation: float | None) -> Suction | None:
    """Return what a pump above its lowest water [m above the ground] can draw; None where the water stands above it.

    NPSHa = (air pressure - vapour pressure) / (rho g) - lift - losses, for water of 30 degrees.

    By hand at sea level, 3 m of lift, 0.4 L/s, 5 m of 32 mm: (101.3 - 4.25) / 9.807 = 9.90 m; the speed is 0.497 m/s,
    its head 0.0126 m; pipe 5 / 0.032 x 0.025 x 0.0126 = 0.05 m; foot valve of Crane's 420 f_T = 9.4 velocity heads
    0.12 m; NPSHa = 9.90 - 3 - 0.17 = 6.73 m.

    >>> plan = PumpPlan(highest_tap=4.0, pump_level=1.0, pipe_bore=32, suction_length=5.0)
    >>> round(suction_of(plan, lowest=-2.0, flow=0.4, elevation=0.0).available, 1)
    6.7
    """
    if plan.pump_level is None or plan.pump_level <= lowest:
        return None
    lift = plan.pump_level - lowest
    require(
        plan.suction_length >= lift,
        f"the suction pipe of {plan.suction_length:g} m is shorter than the {lift:.2f} m down to the water",
        "give its whole length, or set the pump lower",
        "pump.suction_length",
    )
    speed = flow / 1000 / section(plan.pipe_bore)
    pipe = friction_head(flow, plan.pipe_bore, plan.suction_pipe, DEFAULTS["pipe_roughness"].value)
    lost = pipe + foot_valve_loss(plan.pipe_bore) * speed**2 / (2 * GRAVITY)
    head = (air_pressure(elevation or 0.0) - DEFAULTS["suction_vapour"].value) / GRAVITY
    return Suction(lift, lost, head - lift - lost, plan.npsh_required, elevation)


def foot_valve_loss(bore: float) -> float:
    """Return the loss of a foot valve with its strainer, in velocity heads: 420 f_T of Crane TP-410."""
    from fluids.fittings import ft_Crane

    return 420 * ft_Crane(bore / 1000)
