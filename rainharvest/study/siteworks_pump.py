"""The pump of a study's site works: its duty, its starts, the level at which it must stop."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import xarray as xr

from rainharvest.catchment.friction import GRAVITY
from rainharvest.errors import InputError
from rainharvest.names import attributes
from rainharvest.siteworks.pump import (
    Duty,
    Rise,
    curve_through,
    duty_point,
    head_wanted,
    pump_curve,
    pump_duty,
)
from rainharvest.siteworks.pump_starts import drawdown, dry_running_level, starts_an_hour, vessel_needed
from rainharvest.siteworks.vessel import Vessel
from rainharvest.study.file_siteworks import PumpPlan

CUT_OUT_SHARE, CUT_IN_SHARE = 0.95, 0.8
"""Own choices where no pressures are given: the pump stops at so much of its pressure at no flow, and starts at the
pressure that the highest tap wants or, if that is lower, at so much of the pressure at which it stops."""
POINTS = 41


@dataclass(frozen=True)
class PumpWorks:
    """A pump at work on the site.

    Parameters
    ----------
    rise : Rise
        The way up.
    duty : Duty
        Its duty.
    chosen : bool
        Whether its curve is that of a pump that was chosen; else of one that passes through the duty wanted.
    curves : Dataset
        On ``flow``: ``pump_head`` and ``system_head`` [m].
    cut_in, cut_out : float [kPa]
        Pressures at which it starts and stops.
    vessel_volume : float [L]
        Pressure vessel that is there, or the one that it needs.
    starts : float [1/h]
        Most often that it starts.
    stop_level : float [m]
        Level of the dry-running switch above the floor of the tank.
    stop_litres : float [L]
        Water between the outlet and that level, which is not pumped.
    """

    rise: Rise
    duty: Duty
    chosen: bool
    curves: xr.Dataset
    cut_in: float
    cut_out: float
    vessel_volume: float
    starts: float
    stop_level: float
    stop_litres: float


def pump_works(plan: PumpPlan | None, vessel: Vessel, floor_height: float) -> PumpWorks | None:
    """Return the pump of a site.

    Parameters
    ----------
    plan : PumpPlan or None
        What was asked.
    vessel : Vessel
        The tank.
    floor_height : float [m]
        Its floor above the ground.

    Returns
    -------
    PumpWorks or None
        None where no pump was asked for.

    Raises
    ------
    InputError
        If the pump has no lift, cannot reach the highest tap, or cannot reach the pressure at which it stops.
    """
    if plan is None:
        return None
    stop = dry_running_level(vessel)
    rise = Rise(plan.highest_tap - floor_height - stop, plan.pressure, plan.pipe_length, plan.pipe_bore)
    chosen = plan.shut_off_head is not None
    shut_off, most = (plan.shut_off_head, plan.most_flow) if chosen else curve_through(rise, plan.flow)
    curve = pump_curve(shut_off, most)
    flow, head = duty_point(curve, lambda q: head_wanted(rise, q), most)
    duty = pump_duty(flow, head, plan.pump_efficiency, plan.motor_efficiency)
    start, end = plan.cut_in, plan.cut_out
    if start is None or end is None:
        end = CUT_OUT_SHARE * shut_off * GRAVITY
        start = min(rise.static_head * GRAVITY, CUT_IN_SHARE * end)
    elif chosen and end >= shut_off * GRAVITY:  # with the tank low it gives no more than that
        raise InputError(
            f"the pump stops at {end:g} kPa and gives {shut_off * GRAVITY:.0f} kPa at no flow: it never stops",
            "lower cut_out, or choose a pump with a higher head",
            "pump.cut_out",
        )
    size = plan.vessel_volume or vessel_needed(flow, start, end, plan.most_starts)
    flows = np.linspace(0.0, most, POINTS)
    return PumpWorks(
        rise,
        duty,
        chosen,
        xr.Dataset(
            {
                "pump_head": ("flow", curve(flows), attributes("pump_head")),
                "system_head": ("flow", [head_wanted(rise, q) for q in flows], attributes("system_head")),
            },
            coords={"flow": ("flow", flows, attributes("flow"))},
        ),
        start,
        end,
        size,
        starts_an_hour(flow, drawdown(size, start, end)),
        stop,
        float(vessel.volume(stop) - vessel.volume(vessel.outlet_mark)),
    )
