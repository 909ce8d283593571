"""Water out of the tank: by its own weight, or by a pump."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from rainharvest.catchment.hydraulics import GRAVITY, friction_head, section
from rainharvest.catchment.tables import FITTINGS
from rainharvest.core.errors import InputError
from rainharvest.siteworks.base import Vessel
from rainharvest.siteworks.tables import (
    BUCKET,
    BUCKET_CLEARANCE,
    BUCKET_HEIGHT,
    CUT_OUT_SUBMERGENCE,
    FIXTURE_FLOW,
    FIXTURE_PRESSURE,
    MOTOR_EFFICIENCY,
    MOTOR_MARGIN,
    MOTOR_SIZES,
    PIPE_ROUGHNESS,
    PUMP_EFFICIENCY,
    SHUT_OFF_SHARE,
    STARTS,
    TAP_BORE,
)


@dataclass(frozen=True)
class Tap:
    """A tap fed from the tank by its own weight. Levels are from the ground on which the tank's base stands."""

    tap_height: float  # [m] Mouth of the tap above the ground
    floor_height: float = 0.0  # [m] Floor of the tank above the ground: slab and stand
    tap_run: float = 0.0  # [m] Pipe from the outlet to the tap; zero for a tap in the wall of the tank
    tap_bore: float = TAP_BORE.value  # [mm] Inside diameter of that pipe and of the tap
    roughness: float = PIPE_ROUGHNESS.value  # [mm] Of the pipe
    elbows: int = 0  # [1] Elbows on the way

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

    >>> orifice_flow(orifice=60, water_head=6.0, contraction=0.68, jet=0.92)
    19.19
    """
    if not orifice > 0:
        raise InputError(f"a hole of {orifice:g} mm", "give a diameter above zero", "orifice")
    return contraction * jet * section(orifice) * math.sqrt(2 * GRAVITY * max(water_head, 0.0)) * 1000


def tap_pressure(tap: Tap, water_level: float) -> float:
    """Return the pressure at a shut tap: rho g (level of the water - level of the tap).

    >>> tap_pressure(Tap(tap_height=0.5), water_level=2.0)
    14.7
    """
    return max(water_level - tap.tap_level, 0.0) * GRAVITY


def tap_flow(tap: Tap, water_level: float) -> float:
    """Return the flow of a tap that is fully open.

    The head is spent in the entrance, the pipe, the elbows, the tap (a globe valve, Crane TP-410) and the jet.

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

    >>> tap_height_needed()
    0.45
    """
    return bucket_height + clearance


def below_the_tap(vessel: Vessel, tap: Tap) -> float:
    """Return the water above the outlet that does not reach the tap by its own weight.

    >>> from rainharvest.siteworks.base import vessel_of
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


@dataclass(frozen=True)
class Rise:
    """The way from the tank to the highest tap."""

    lift: float  # [m] Highest tap above the lowest water that is pumped
    pressure: float = FIXTURE_PRESSURE.value  # [kPa] Wanted there
    pipe_length: float = 20.0  # [m] Straight pipe
    pipe_bore: float = 25.0  # [mm] Its inside diameter
    roughness: float = PIPE_ROUGHNESS.value  # [mm] Of the pipe
    # How many of each: "entrance", "elbow", "check valve", "gate valve", "tee"
    fittings: tuple[tuple[str, int], ...] = (
        ("entrance", 1),
        ("elbow", 6),
        ("check valve", 1),
        ("gate valve", 1),
    )

    def __post_init__(self):
        if not 0 < self.pipe_bore < math.inf:
            raise InputError(f"a bore of {self.pipe_bore:g} mm", "give one above zero", "pipe_bore")
        for name in ("pressure", "pipe_length", "roughness"):
            if not 0 <= getattr(self, name) < math.inf:
                raise InputError(f"{getattr(self, name):g} is not possible", "give zero or more", name)
        if not self.static_head > 0:
            raise InputError(
                f"the pump has no lift: {self.lift:g} m up, {self.pressure:g} kPa wanted",
                "leave the pump out, gravity does it; or give the height of the highest tap, or a pressure",
                "lift",
            )

    @property
    def static_head(self) -> float:
        """Head at no flow: the lift and the pressure wanted [m]."""
        return self.lift + self.pressure / GRAVITY


def fitting_losses(rise: Rise) -> float:
    """Return the loss of all fittings, in velocity heads, by Crane TP-410 through the library ``fluids``."""
    from fluids.fittings import K_gate_valve_Crane, K_swing_check_valve_Crane, entrance_sharp, ft_Crane

    wide = rise.pipe_bore / 1000
    known = {
        "entrance": entrance_sharp,
        "elbow": lambda: 30 * ft_Crane(wide),
        "check valve": lambda: K_swing_check_valve_Crane(D=wide),
        "gate valve": lambda: K_gate_valve_Crane(wide, wide, 0.0),
        "tee": lambda: 60 * ft_Crane(wide),
    }
    total = 0.0
    for name, count in rise.fittings:
        if name not in known:
            raise InputError(
                f'no fitting is called "{name}"', f"choose one of {', '.join(known)}", "fittings"
            )
        if count < 0:
            raise InputError(f"{count} of {name}", "give zero or more", "fittings")
        total += count * known[name]()
    return total


def head_wanted(rise: Rise, flow: float) -> float:
    """Return the head that a flow needs: lift + pressure + friction + fittings.

    >>> head_wanted(Rise(lift=4.0), flow=0.3)
    10.2
    """
    speed = flow / 1000 / section(rise.pipe_bore)
    lost = friction_head(flow, rise.pipe_bore, rise.pipe_length, rise.roughness)
    return rise.static_head + lost + fitting_losses(rise) * speed**2 / (2 * GRAVITY)


def pump_curve(shut_off_head: float, most_flow: float) -> Callable[[float], float]:
    """Return a pump's curve through its two ends: H = H0 (1 - (Q / Qmax)^2).

    >>> pump_curve(20.0, 1.0)(0.5)
    15.0
    """
    for name, value in (("shut_off_head", shut_off_head), ("most_flow", most_flow)):
        if not 0 < value < math.inf:
            raise InputError(f"{value:g} is not possible", f"give {name} above zero", name)
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

    if not curve(0.0) > system(0.0):
        raise InputError(
            f"the pump gives {curve(0.0):.1f} m at no flow, the highest tap asks for {system(0.0):.1f} m",
            "choose a pump with a higher head, or ask for less pressure",
            "shut_off_head",
        )
    flow = brentq(lambda q: curve(q) - system(q), 0.0, most_flow, xtol=1e-12)
    return flow, float(system(flow))


@dataclass(frozen=True)
class Duty:
    """A pump at work."""

    flow: float  # [L/s] At the duty point
    duty_head: float  # [m] Its head
    hydraulic_power: float  # [W] Given to the water, taken at the shaft, taken from the mains
    shaft_power: float  # [W] Given to the water, taken at the shaft, taken from the mains
    electric_power: float  # [W] Given to the water, taken at the shaft, taken from the mains
    motor_size: float  # [W] Smallest preferred rating that carries the shaft power with a margin
    pump_energy: float  # [kW h/m3] Electric energy of a kilolitre


def pump_duty(
    flow: float,
    duty_head: float,
    pump_efficiency: float = PUMP_EFFICIENCY.value,
    motor_efficiency: float = MOTOR_EFFICIENCY.value,
) -> Duty:
    """Return what a pump takes: P = rho g Q H / (pump efficiency x motor efficiency).

    >>> duty = pump_duty(flow=80.0, duty_head=64.81, pump_efficiency=0.75)
    >>> duty.hydraulic_power / 1000, duty.shaft_power / 1000
    (50.8, 67.8)
    """
    for name, value in (("flow", flow), ("duty_head", duty_head)):
        if not 0 < value < math.inf:
            raise InputError(f"{value:g} is not possible", f"give {name} above zero", name)
    for name, value in (("pump_efficiency", pump_efficiency), ("motor_efficiency", motor_efficiency)):
        if not 0 < value <= 1:
            raise InputError(f"{value:g} is not possible", f"give {name} above 0 and up to 1", name)
    hydraulic = GRAVITY * flow * duty_head
    shaft = hydraulic / pump_efficiency
    electric = shaft / motor_efficiency
    rated = [1000 * size for size in MOTOR_SIZES if 1000 * size >= MOTOR_MARGIN.value * shaft]
    return Duty(
        flow, duty_head, hydraulic, shaft, electric, rated[0] if rated else math.nan, electric / 3600 / flow
    )


def curve_through(rise: Rise, flow: float = FIXTURE_FLOW.value) -> tuple[float, float]:
    """Return the ends of a curve that passes through the duty wanted, for a pump not yet chosen.

    The head at no flow is taken as a share above the head wanted; H0 (1 - (Q / Qmax)^2) = H gives Qmax.

    >>> shut_off, most = curve_through(Rise(lift=4.0), flow=0.3)
    >>> pump_curve(shut_off, most)(0.3) - head_wanted(Rise(lift=4.0), 0.3)
    0.0
    """
    if not 0 < flow < math.inf:
        raise InputError(f"a flow of {flow:g} L/s", "give one above zero", "flow")
    head = head_wanted(rise, flow)
    return SHUT_OFF_SHARE.value * head, flow / math.sqrt(1 - 1 / SHUT_OFF_SHARE.value)


ATMOSPHERE = 101.325

"""Standard atmosphere, kPa."""


def drawdown(vessel_volume: float, cut_in: float, cut_out: float, precharge: float | None = None) -> float:
    """Return the water that a pressure vessel gives between the pump's stop and its start.

    Boyle: V (P1 / P2 - P1 / P3), absolute pressures of precharge, cut-in and cut-out.

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

    >>> starts_an_hour(flow=0.5, drawn=25.0)
    18.0
    """
    for name, value in (("flow", flow), ("drawn", drawn)):
        if not 0 < value < math.inf:
            raise InputError(f"{value:g} is not possible", f"give {name} above zero", name)
    return 3600 * flow / 4 / drawn


def vessel_needed(flow: float, cut_in: float, cut_out: float, most_starts: float = STARTS.value) -> float:
    """Return the pressure vessel with which a pump starts no more often than so many times an hour.

    >>> size = vessel_needed(0.3, cut_in=100, cut_out=200)
    >>> starts_an_hour(0.3, drawdown(size, 100, 200))
    12.0
    """
    if not most_starts > 0:
        raise InputError(f"{most_starts:g} starts an hour", "give more than zero", "most_starts")
    return 3600 * flow / 4 / most_starts / drawdown(1.0, cut_in, cut_out)


def dry_running_level(vessel: Vessel, submergence: float = CUT_OUT_SUBMERGENCE.value) -> float:
    """Return the level at which the pump must be stopped: the outlet and the water that keeps air out of it.

    >>> from rainharvest.siteworks.base import vessel_of
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
