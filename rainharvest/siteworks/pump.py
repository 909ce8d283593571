"""Water by pump: the head it must give, where its curve meets the pipe's, what power that takes."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from rainharvest.catchment.friction import GRAVITY, friction_head, section
from rainharvest.errors import InputError
from rainharvest.siteworks.defaults import (
    FIXTURE_FLOW,
    FIXTURE_PRESSURE,
    MOTOR_EFFICIENCY,
    MOTOR_MARGIN,
    MOTOR_SIZES,
    PIPE_ROUGHNESS,
    PUMP_EFFICIENCY,
    SHUT_OFF_SHARE,
)


@dataclass(frozen=True)
class Rise:
    """The way from the tank to the highest tap.

    Parameters
    ----------
    lift : float [m]
        Highest tap above the lowest water that is pumped.
    pressure : float [kPa]
        Wanted there.
    pipe_length : float [m]
        Straight pipe.
    pipe_bore : float [mm]
        Its inside diameter.
    roughness : float [mm]
        Of the pipe.
    fittings : tuple of (str, int)
        How many of each: "entrance", "elbow", "check valve", "gate valve", "tee".
    """

    lift: float
    pressure: float = FIXTURE_PRESSURE.value
    pipe_length: float = 20.0
    pipe_bore: float = 25.0
    roughness: float = PIPE_ROUGHNESS.value
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
    """Return the loss of all fittings, in velocity heads, by Crane TP-410 through the library ``fluids``.

    Parameters
    ----------
    rise : Rise
        The way up.

    Returns
    -------
    float [1]
        Sum of the loss coefficients.

    Raises
    ------
    InputError
        If a fitting is not known.
    """
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

    Parameters
    ----------
    rise : Rise
        The way up.
    flow : float [L/s]
        Flow.

    Returns
    -------
    float [m]
        Head. Source: Darcy and Weisbach, Colebrook; Crane TP-410.

    Examples
    --------
    >>> head_wanted(Rise(lift=4.0), flow=0.3)
    10.2
    """
    speed = flow / 1000 / section(rise.pipe_bore)
    lost = friction_head(flow, rise.pipe_bore, rise.pipe_length, rise.roughness)
    return rise.static_head + lost + fitting_losses(rise) * speed**2 / (2 * GRAVITY)


def pump_curve(shut_off_head: float, most_flow: float) -> Callable[[float], float]:
    """Return a pump's curve through its two ends: H = H0 (1 - (Q / Qmax)^2).

    Parameters
    ----------
    shut_off_head : float [m]
        Head H0 at no flow, from the pump's plate or leaflet.
    most_flow : float [L/s]
        Flow Qmax at no head.

    Returns
    -------
    callable
        Head (m) of a flow (L/s).

    Raises
    ------
    InputError
        If an end is not above zero.

    Examples
    --------
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

    Parameters
    ----------
    curve : callable
        Head that the pump gives at a flow.
    system : callable
        Head that the flow needs.
    most_flow : float [L/s]
        Flow at which the pump gives no head.

    Returns
    -------
    tuple of float
        Flow (L/s) and head (m).

    Raises
    ------
    InputError
        If the pump cannot even reach the highest tap.

    Examples
    --------
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
    """A pump at work.

    Parameters
    ----------
    flow : float [L/s]
        At the duty point.
    duty_head : float [m]
        Its head.
    hydraulic_power, shaft_power, electric_power : float [W]
        Given to the water, taken at the shaft, taken from the mains.
    motor_size : float [W]
        Smallest preferred rating that carries the shaft power with a margin.
    pump_energy : float [kW h/m3]
        Electric energy of a kilolitre.
    """

    flow: float
    duty_head: float
    hydraulic_power: float
    shaft_power: float
    electric_power: float
    motor_size: float
    pump_energy: float


def pump_duty(
    flow: float,
    duty_head: float,
    pump_efficiency: float = PUMP_EFFICIENCY.value,
    motor_efficiency: float = MOTOR_EFFICIENCY.value,
) -> Duty:
    """Return what a pump takes: P = rho g Q H / (pump efficiency x motor efficiency).

    Parameters
    ----------
    flow : float [L/s]
        Flow.
    duty_head : float [m]
        Head.
    pump_efficiency, motor_efficiency : float [1]
        Of the pump at that point and of the motor.

    Returns
    -------
    Duty
        Powers and energy. The energy of a kilolitre does not depend on the flow but through its head.

    Raises
    ------
    InputError
        If flow or head is not above zero, or an efficiency is not between 0 and 1.

    Examples
    --------
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

    Parameters
    ----------
    rise : Rise
        The way up.
    flow : float [L/s]
        Flow wanted.

    Returns
    -------
    tuple of float
        Head at no flow (m) and flow at no head (L/s). The curve of the pump that is bought replaces it.

    Raises
    ------
    InputError
        If the flow is not above zero.

    Examples
    --------
    >>> shut_off, most = curve_through(Rise(lift=4.0), flow=0.3)
    >>> pump_curve(shut_off, most)(0.3) - head_wanted(Rise(lift=4.0), 0.3)
    0.0
    """
    if not 0 < flow < math.inf:
        raise InputError(f"a flow of {flow:g} L/s", "give one above zero", "flow")
    head = head_wanted(rise, flow)
    return SHUT_OFF_SHARE.value * head, flow / math.sqrt(1 - 1 / SHUT_OFF_SHARE.value)
