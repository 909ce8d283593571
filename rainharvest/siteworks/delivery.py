"""Water out of the tank: by its own weight, or by a pump."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import xarray as xr

from rainharvest.catchment.hydraulics import GRAVITY, friction_head, section
from rainharvest.catchment.tables import FITTINGS
from rainharvest.core.errors import require
from rainharvest.core.quantities import along, variables
from rainharvest.siteworks.base import Vessel
from rainharvest.siteworks.tables import DEFAULTS, PumpPlan

MOTOR_SIZES = (0.25, 0.37, 0.55, 0.75, 1.1, 1.5, 2.2, 3.0, 4.0, 5.5, 7.5, 11.0, 15.0)

"""Preferred ratings of motors, kW: IEC 60072, from memory, not verified."""

ATMOSPHERE = 101.325

"""Standard atmosphere, kPa."""

CUT_OUT_SHARE, CUT_IN_SHARE = 0.95, 0.8

"""Own choices where no pressures are given: the pump stops at so much of its pressure at no flow, and starts at the
pressure that the highest tap wants or, if that is lower, at so much of the pressure at which it stops."""

POINTS = 41

"""Of a pump's curve."""

ROUGHNESS = DEFAULTS["pipe_roughness"].value

PRECHARGE = 13.8

"""Of a pressure vessel below the pressure at which the pump starts, kPa. Common practice, no source."""


@dataclass(frozen=True)
class Tap:
    """A tap fed from the tank by its own weight. Levels are from the ground on which the tank's base stands."""

    tap_height: float  # [m] Mouth of the tap above the ground
    floor_height: float = 0.0  # [m] Floor of the tank above the ground: slab and stand
    tap_run: float = 0.0  # [m] Pipe from the outlet to the tap; zero for a tap in the wall of the tank
    tap_bore: float = DEFAULTS["tap_bore"].value  # [mm] Inside diameter of that pipe and of the tap

    def __post_init__(self):
        require(
            self.tap_height >= 0,
            f"the tap at {self.tap_height:g} m is under the ground",
            "give its height above the ground on which the base stands",
            "tap_height",
        )
        require(
            self.tap_run > 0 or self.tap_height >= self.floor_height - 1e-9,
            f"the tap at {self.tap_height:g} m is under the base: the floor of the tank lies "
            f"{self.floor_height:g} m above the ground",
            "raise the tap, or give tap_run, the length of pipe to a tap that stands apart",
            "tap_height",
        )

    @property
    def tap_level(self) -> float:
        """Mouth of the tap above the floor of the tank [m]."""
        return self.tap_height - self.floor_height


def tap_pressure(tap: Tap, water_level: float) -> float:
    """Return the pressure at a shut tap: rho g (level of the water - level of the tap).

    >>> tap_pressure(Tap(tap_height=0.5), water_level=2.0)
    14.7
    """
    return max(water_level - tap.tap_level, 0.0) * GRAVITY


def tap_flow(tap: Tap, water_level: float) -> float:
    """Return the flow of a tap that is fully open.

    The head is spent in the entrance, the pipe, the tap (a globe valve, Crane TP-410) and the jet.

    >>> tap_flow(Tap(tap_height=0.5), water_level=1.5)
    0.44
    """
    from fluids.fittings import K_globe_valve_Crane
    from scipy.optimize import brentq

    available = water_level - tap.tap_level
    if available <= 1e-9:
        return 0.0
    wide = tap.tap_bore / 1000
    losses = 1.0 + FITTINGS["entrance"].value + K_globe_valve_Crane(wide, wide)

    def spare(flow: float) -> float:
        speed = flow / 1000 / section(tap.tap_bore)
        lost = friction_head(flow, tap.tap_bore, tap.tap_run, ROUGHNESS)
        return available - lost - losses * speed**2 / (2 * GRAVITY)

    most = 1000 * section(tap.tap_bore) * math.sqrt(2 * GRAVITY * available / losses)
    return brentq(spare, 0.0, most * 1.0001, xtol=1e-12)


def seconds_to_fill(flow: float, bucket: float = DEFAULTS["bucket"].value) -> float:
    """Return how long a bucket takes.

    >>> seconds_to_fill(0.4)
    50.0
    """
    return bucket / flow if flow > 0 else math.inf


def tap_gauge(gauge: xr.Dataset, tap: Tap, bucket: float) -> xr.Dataset:
    """Return the gauge with pressure, flow and filling time at the tap."""
    levels = gauge.water_level.values
    reached = np.where(levels >= gauge.attrs["outlet_mark"], levels, 0.0)  # nothing leaves below the outlet
    flows = [tap_flow(tap, level) if level else 0.0 for level in reached]
    columns = {
        "tap_pressure": [tap_pressure(tap, level) if level else 0.0 for level in reached],
        "tap_flow": flows,
        "seconds_to_fill": [seconds_to_fill(flow, bucket) for flow in flows],
    }
    return gauge.assign(variables("water_level", columns))


def below_the_tap(vessel: Vessel, tap: Tap) -> float:
    """Return the water above the outlet that does not reach the tap by its own weight.

    >>> from rainharvest.siteworks.base import vessel_of
    >>> round(below_the_tap(vessel_of(10_000), Tap(tap_height=0.5)))
    2000
    """
    require(
        tap.tap_level < vessel.overflow_mark,
        f"the tap is {tap.tap_level - vessel.overflow_mark:.2f} m above the overflow: no water reaches it by its "
        "own weight",
        "lower the tap, raise the tank, or give a pump",
        "tap_height",
    )
    return max(vessel.above_outlet(tap.tap_level), 0.0)


@dataclass(frozen=True)
class Rise:
    """The way from the tank to the highest tap."""

    lift: float  # [m] Highest tap above the lowest water that is pumped
    pressure: float = DEFAULTS["fixture_pressure"].value  # [kPa] Wanted there
    pipe_length: float = 20.0  # [m] Straight pipe
    pipe_bore: float = 25.0  # [mm] Its inside diameter
    more_losses: float = 0.0  # [1] Velocity heads beside its usual fittings: a foot valve

    def __post_init__(self):
        require(
            self.static_head > 0,
            f"the pump has no lift: {self.lift:g} m up, {self.pressure:g} kPa wanted",
            "leave the pump out, gravity does it; or give the height of the highest tap, or a pressure",
            "pump.highest_tap",
        )

    @property
    def static_head(self) -> float:
        """Head at no flow: the lift and the pressure wanted [m]."""
        return self.lift + self.pressure / GRAVITY


def fitting_losses(bore: float) -> float:
    """Return the loss in velocity heads of an entrance, six elbows, a check valve and a gate valve (own choice).

    By Crane TP-410 through the library ``fluids``.
    """
    from fluids.fittings import K_gate_valve_Crane, K_swing_check_valve_Crane, entrance_sharp, ft_Crane

    wide = bore / 1000
    valves = K_swing_check_valve_Crane(D=wide) + K_gate_valve_Crane(wide, wide, 0.0)
    return entrance_sharp() + 6 * (30 * ft_Crane(wide)) + valves


def head_wanted(rise: Rise, flow: float) -> float:
    """Return the head that a flow needs: lift + pressure + friction + fittings.

    >>> head_wanted(Rise(lift=4.0), flow=0.3)
    10.2
    """
    speed = flow / 1000 / section(rise.pipe_bore)
    lost = friction_head(flow, rise.pipe_bore, rise.pipe_length, ROUGHNESS)
    losses = fitting_losses(rise.pipe_bore) + rise.more_losses
    return rise.static_head + lost + losses * speed**2 / (2 * GRAVITY)


def pump_curve(shut_off_head: float, most_flow: float) -> Callable[[float], float]:
    """Return a pump's curve through its two ends: H = H0 (1 - (Q / Qmax)^2).

    >>> pump_curve(20.0, 1.0)(0.5)
    15.0
    """
    return lambda flow: shut_off_head * (1 - (flow / most_flow) ** 2)


def duty_point(
    curve: Callable[[float], float], system: Callable[[float], float], most_flow: float
) -> tuple[float, float]:
    """Return where a pump's curve meets the head that the pipe asks for.

    >>> flow, head = duty_point(pump_curve(20.0, 1.0), lambda flow: 5.0 + 10 * flow**2, 1.0)
    >>> flow, head
    (0.7071, 10.0)
    """
    from scipy.optimize import brentq

    given, wanted = curve(0.0), system(0.0)
    require(
        given > wanted,
        f"the pump gives {given:.1f} m at no flow, the highest tap asks for {wanted:.1f} m",
        "choose a pump with a higher head, or ask for less pressure",
        "pump.shut_off_head",
    )
    flow = brentq(lambda q: curve(q) - system(q), 0.0, most_flow, xtol=1e-12)
    return flow, float(system(flow))


@dataclass(frozen=True)
class Duty:
    """A pump at work."""

    flow: float  # [L/s] At the duty point
    duty_head: float  # [m] Its head
    hydraulic_power: float  # [W] Given to the water
    shaft_power: float  # [W] Taken at the shaft
    electric_power: float  # [W] Taken from the mains
    motor_size: float  # [W] Smallest preferred rating that carries the shaft power with a margin
    pump_energy: float  # [kW h/m3] Electric energy of a kilolitre


def pump_duty(
    flow: float,
    duty_head: float,
    pump_efficiency: float = DEFAULTS["pump_efficiency"].value,
    motor_efficiency: float = DEFAULTS["motor_efficiency"].value,
) -> Duty:
    """Return what a pump takes: P = rho g Q H / (pump efficiency x motor efficiency).

    >>> duty = pump_duty(flow=80.0, duty_head=64.81, pump_efficiency=0.75)
    >>> duty.hydraulic_power / 1000, duty.shaft_power / 1000
    (50.8, 67.8)
    """
    hydraulic = GRAVITY * flow * duty_head
    shaft = hydraulic / pump_efficiency
    electric = shaft / motor_efficiency
    least = DEFAULTS["motor_margin"].value * shaft
    rating = next((1000 * size for size in MOTOR_SIZES if 1000 * size >= least), math.nan)
    return Duty(flow, duty_head, hydraulic, shaft, electric, rating, electric / 3600 / flow)


def curve_through(rise: Rise, flow: float = DEFAULTS["fixture_flow"].value) -> tuple[float, float]:
    """Return the ends of a curve that passes through the duty wanted, for a pump not yet chosen.

    The head at no flow is taken as a share above the head wanted; H0 (1 - (Q / Qmax)^2) = H gives Qmax.

    >>> shut_off, most = curve_through(Rise(lift=4.0), flow=0.3)
    >>> pump_curve(shut_off, most)(0.3) - head_wanted(Rise(lift=4.0), 0.3)
    0.0
    """
    share = DEFAULTS["shut_off_share"].value
    return share * head_wanted(rise, flow), flow / math.sqrt(1 - 1 / share)


def drawdown(vessel_volume: float, cut_in: float, cut_out: float, precharge: float | None = None) -> float:
    """Return the water that a pressure vessel gives between the pump's stop and its start.

    Boyle: V (P1 / P2 - P1 / P3), absolute pressures of precharge, cut-in and cut-out.

    >>> round(drawdown(85, 30 * 6.894757, 50 * 6.894757, 28 * 6.894757), 1)
    25.1
    """
    first = max(cut_in - PRECHARGE, 0.0) if precharge is None else precharge
    low, start, stop = (ATMOSPHERE + gauge for gauge in (first, cut_in, cut_out))
    return vessel_volume * (low / start - low / stop)


def starts_an_hour(flow: float, drawn: float) -> float:
    """Return the most often that a pump starts: Q / 4 V, when half of its flow is drawn.

    With x the share of the pump's flow that is drawn, the vessel empties in V / xQ and fills in
    V / (1 - x)Q: starts = Q x (1 - x) / V, which is largest at one half.

    >>> starts_an_hour(flow=0.5, drawn=25.0)
    18.0
    """
    return 3600 * flow / 4 / drawn


def vessel_needed(
    flow: float, cut_in: float, cut_out: float, most_starts: float = DEFAULTS["starts"].value
) -> float:
    """Return the pressure vessel with which a pump starts no more often than so many times an hour.

    >>> size = vessel_needed(0.3, cut_in=100, cut_out=200)
    >>> starts_an_hour(0.3, drawdown(size, 100, 200))
    12.0
    """
    return 3600 * flow / 4 / most_starts / drawdown(1.0, cut_in, cut_out)


def dry_running_level(vessel: Vessel) -> float:
    """Return the level at which the pump must be stopped: the outlet and the water that keeps air out of it.

    >>> from rainharvest.siteworks.base import vessel_of
    >>> dry_running_level(vessel_of(10_000))
    0.2
    """
    stop = vessel.outlet_mark + DEFAULTS["cut_out_submergence"].value
    require(
        stop < vessel.overflow_mark,
        f"the pump would stop at {stop:.2f} m, in a tank that overflows at {vessel.overflow_mark:.2f} m",
        "lower the intake, or ask for less water over it",
        "pump",
    )
    return stop


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
    return ATMOSPHERE * (1 - 2.25577e-5 * elevation) ** 5.25588


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
    pipe = friction_head(flow, plan.pipe_bore, plan.suction_pipe, ROUGHNESS)
    lost = pipe + foot_valve_loss(plan.pipe_bore) * speed**2 / (2 * GRAVITY)
    head = (air_pressure(elevation or 0.0) - DEFAULTS["suction_vapour"].value) / GRAVITY
    return Suction(lift, lost, head - lift - lost, plan.npsh_required, elevation)


def foot_valve_loss(bore: float) -> float:
    """Return the loss of a foot valve with its strainer, in velocity heads: 420 f_T of Crane TP-410."""
    from fluids.fittings import ft_Crane

    return 420 * ft_Crane(bore / 1000)


@dataclass(frozen=True)
class PumpWorks:
    """A pump at work on the site."""

    rise: Rise  # The way up
    duty: Duty  # Its duty
    # Whether its curve is that of a pump that was chosen; else of one that passes through the duty wanted
    chosen: bool
    curves: xr.Dataset  # On ``flow``: ``pump_head`` and ``system_head`` [m]
    cut_in: float  # [kPa] Pressure at which it starts
    cut_out: float  # [kPa] Pressure at which it stops
    vessel_volume: float  # [L] Pressure vessel that is there, or the one that it needs
    starts: float  # [1/h] Most often that it starts
    most_starts: float  # [1/h] Most often that its motor bears
    stop_level: float  # [m] Level of the dry-running switch above the floor of the tank
    stop_litres: float  # [L] Water between the outlet and that level, which is not pumped
    suction: Suction | None  # What it can draw, where it stands above its water
    flow: float  # [L/s] Wanted with as many taps open as are open at once
    # [kPa] At which it must start for the highest tap to keep its pressure at that flow; NaN where no start is given
    cut_in_wanted: float

    @property
    def has_rating(self) -> bool:
        """Whether a preferred rating of motors carries it."""
        return not math.isnan(self.duty.motor_size)

    @property
    def too_often(self) -> bool:
        """Whether it starts more often than its motor bears."""
        return self.starts > self.most_starts * 1.001  # a thousandth more is no more

    @property
    def tap_at_start(self) -> float:
        """Pressure that is left at the highest tap, at the flow wanted, when the pump starts [kPa]."""
        return max(self.rise.pressure - (self.cut_in_wanted - self.cut_in), 0.0)

    @property
    def starts_low(self) -> bool:
        """Whether that is less than what is wanted there."""
        return self.cut_in_wanted > self.cut_in * 1.001  # a thousandth more is no more

    @property
    def never_stops(self) -> bool:
        """Whether a pump of this curve never reaches the pressure at which it would stop."""
        return self.cut_out >= float(self.curves.pump_head[0]) * GRAVITY


def pump_works(
    plan: PumpPlan | None, vessel: Vessel, floor_height: float, elevation: float | None = None
) -> PumpWorks | None:
    """Return the pump of a site."""
    if plan is None:
        return None
    stop = dry_running_level(vessel)
    lowest = floor_height + stop  # water that is drawn, above the ground
    foot = foot_valve_loss(plan.pipe_bore) if plan.pump_level is not None else 0.0
    pipe = plan.pipe_length + plan.suction_pipe
    rise = Rise(plan.highest_tap - lowest, plan.pressure, pipe, plan.pipe_bore, foot)
    chosen = plan.shut_off_head is not None
    shut_off, most = (plan.shut_off_head, plan.most_flow) if chosen else curve_through(rise, plan.flow)
    curve = pump_curve(shut_off, most)
    flow, head = duty_point(curve, lambda q: head_wanted(rise, q), most)
    start, end, start_wanted = plan.cut_in, plan.cut_out, math.nan
    if start is not None:
        up = replace(rise, pipe_length=plan.pipe_length, more_losses=0.0)  # without the suction side
        axis = lowest if plan.pump_level is None else plan.pump_level
        start_wanted = (head_wanted(up, plan.flow) + lowest - axis) * GRAVITY
    if start is None or end is None:
        end = CUT_OUT_SHARE * shut_off * GRAVITY
        start = min(rise.static_head * GRAVITY, CUT_IN_SHARE * end)
    require(
        not chosen or end < shut_off * GRAVITY,  # with the tank low it gives no more than that
        f"the pump stops at {end:g} kPa and gives {shut_off * GRAVITY:.0f} kPa at no flow: it never stops",
        "lower cut_out, or choose a pump with a higher head",
        "pump.cut_out",
    )
    size = plan.vessel_volume or vessel_needed(flow, start, end, plan.most_starts)
    flows = np.linspace(0.0, most, POINTS)
    heads = {"pump_head": curve(flows), "system_head": [head_wanted(rise, q) for q in flows]}
    return PumpWorks(
        rise,
        pump_duty(flow, head, plan.pump_efficiency, plan.motor_efficiency),
        chosen,
        xr.Dataset(variables("flow", heads), along(flow=flows)),
        start,
        end,
        size,
        starts_an_hour(flow, drawdown(size, start, end)),
        plan.most_starts,
        stop,
        vessel.above_outlet(stop),
        suction_of(plan, lowest, flow, elevation),
        plan.flow,
        start_wanted,
    )
