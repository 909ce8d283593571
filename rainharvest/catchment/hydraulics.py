"""What a run of pipe passes, the head and the levels that it needs, and the water that stands in it."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import xarray as xr

from rainharvest.catchment.tables import DEFAULTS, FITTINGS, Catchment, Conveyance
from rainharvest.core.compiled import compiled
from rainharvest.core.errors import InputError
from rainharvest.core.quantities import attributes
from rainharvest.core.reader import measure, number

GRAVITY = 9.80665

TOLERANCE = 0.001

"""Own choice, m: no level on a site is set closer, so that what is left within it is an exact fit."""

DENSITY = 1000.0

VISCOSITY, SELF_CLEANSING, STANDING_LIMIT = (
    DEFAULTS[key] for key in ("viscosity", "self_cleansing", "standing_limit")
)


def section(bore: float) -> float:
    """Return the area of a round bore.

    >>> section(100.0)
    0.0078540
    """
    return math.pi * (bore / 1000) ** 2 / 4


def friction_head(
    flow: float, bore: float, pipe_length: float, roughness: float, viscosity: float = VISCOSITY.value
) -> float:
    """Return the head lost along a full pipe: h = f (L / D) V^2 / 2g, f by Colebrook (64 / Re if laminar).

    >>> friction_head(flow=5.0, bore=100.0, pipe_length=60.0, roughness=0.25)
    0.3430
    """
    from fluids.friction import friction_factor

    if flow == 0 or pipe_length == 0:
        return 0.0
    velocity = flow / 1000 / section(bore)
    reynolds = velocity * bore / 1000 / viscosity
    factor = friction_factor(Re=reynolds, eD=roughness / bore)
    return factor * pipe_length / (bore / 1000) * velocity**2 / (2 * GRAVITY)


def part_full_flow(
    bore: float, fall: float, filling: float, roughness: float, viscosity: float = VISCOSITY.value
) -> float:
    """Return the flow of a pipe that runs part full, by Colebrook and White.

    With Dh = 4A / P, four times the hydraulic radius, and q = sqrt(2 g Dh S),
    V = -2 q log10(k / (3.71 Dh) + 2.51 nu / (Dh q)).

    >>> round(part_full_flow(bore=96, fall=0.01, filling=0.7, roughness=1.0), 1)
    4.2
    """
    if bore == 0 or fall <= 0:
        return 0.0
    diameter = bore / 1000
    angle = 2 * math.acos(1 - 2 * filling)
    area = diameter**2 / 8 * (angle - math.sin(angle))
    hydraulic = 4 * area / (diameter * angle / 2)
    root = math.sqrt(2 * GRAVITY * hydraulic * fall)
    inner = roughness / 1000 / (3.71 * hydraulic) + 2.51 * viscosity / (hydraulic * root)
    return -2 * root * math.log10(inner) * area * 1000


@dataclass(frozen=True)
class Head:
    """Head that a flow needs, part by part."""

    friction: float  # [m] Along the straight pipe
    fittings: float  # [m] In bends, tees, valves, screens and the entrance
    velocity: float  # [m] Carried away at the exit

    @property
    def total(self) -> float:
        """Sum of the three [m]."""
        return self.friction + self.fittings + self.velocity


def head_needed(conveyance: Conveyance, flow: float) -> Head:
    """Return the head that a wet run needs to pass a flow.

    One downpipe carries its share of the flow down to the run; run and riser carry all of it.

    >>> wet = Conveyance(kind="wet", run=60, bore=100, outlet_level=3.0, inlet_level=2.4, roughness=0.25)
    >>> head_needed(wet, 4.0).total
    0.3036
    """
    down = conveyance.outlet_level - conveyance.low_level
    up = conveyance.inlet_level - conveyance.low_level
    bore, roughness = conveyance.bore, conveyance.roughness
    velocity_head = (flow / 1000 / section(bore)) ** 2 / (2 * GRAVITY)
    return Head(
        friction=friction_head(flow / conveyance.downpipes, bore, down, roughness)
        + friction_head(flow, bore, conveyance.run + up, roughness),
        fittings=velocity_head * sum(FITTINGS[name].value * n for name, n in conveyance.fittings.items()),
        velocity=velocity_head,
    )


def head_available(conveyance: Conveyance) -> float:
    """Return the head from the gutter outlet down to the tank inlet, less the drop of a filter.

    Where the water of the full tank drowns the inlet of a wet run, the head is that down to the water.

    >>> head_available(Conveyance(kind="wet", run=60, bore=100, outlet_level=3.0, inlet_level=2.4))
    0.6
    """
    return conveyance.outlet_level - conveyance.filter_drop - conveyance.discharge_level


def _to_tolerance(margin: float) -> float:
    """Return a margin of levels, zero where it is an exact fit but for rounding."""
    return 0.0 if abs(margin) < TOLERANCE else margin


def level_margin(conveyance: Conveyance) -> float:
    """Return the level left over: outlet - filter drop - run x fall - inlet (dry), head available (wet).

    Less than a millimetre either way is an exact fit: 3.0 - 1.4 - 20 x 0.01 - 1.4 is zero, whatever binary
    fractions make of it.

    >>> level_margin(Conveyance(kind="dry", run=30, bore=100, outlet_level=3.0, inlet_level=2.4))
    0.3
    """
    fall = conveyance.run * conveyance.fall if conveyance.kind == "dry" else 0.0
    return _to_tolerance(head_available(conveyance) - fall)


def held_volume(conveyance: Conveyance) -> float:
    """Return the water that stands in the run after rain: what lies below the level of the inlet.

    >>> held_volume(Conveyance(kind="wet", run=60, bore=100, outlet_level=3.0, inlet_level=2.4))
    516.8
    """
    if conveyance.kind == "dry":
        return 0.0
    leg = min(conveyance.inlet_level, conveyance.outlet_level) - conveyance.low_level
    return 1000 * section(conveyance.bore) * (conveyance.run + leg * (conveyance.downpipes + 1))


def pipe_capacity(conveyance: Conveyance) -> float:
    """Return the most that the run passes before it backs up at the gutter.

    Wet: the flow whose needed head equals the head available. Dry: part-full flow at the fall it is laid.

    >>> pipe_capacity(Conveyance(kind="wet", run=60, bore=100, outlet_level=3.0, inlet_level=2.4))
    4.9
    """
    from fluids.numerics import brenth

    margin = level_margin(conveyance)
    if conveyance.bore == 0 or margin < 0:
        return 0.0
    if conveyance.kind == "dry":
        return part_full_flow(conveyance.bore, conveyance.fall, conveyance.filling, conveyance.roughness)
    if margin == 0:
        return 0.0
    # All head into velocity is more than any pipe can pass.
    most = 1000 * section(conveyance.bore) * math.sqrt(2 * GRAVITY * margin)
    return brenth(
        lambda flow: head_needed(conveyance, flow).total - margin, 0.0, most, xtol=1e-12, rtol=1e-12
    )


def first_bore(conveyance: Conveyance, flow: float, bores: Iterable[float]) -> float | None:
    """Return the smallest of these bores [mm] with which the run passes a flow [L/s]; None if none does.

    >>> wet = Conveyance(kind="wet", run=60, bore=100, outlet_level=3.0, inlet_level=2.4)
    >>> first_bore(wet, 6.0, (80, 100, 125)), first_bore(wet, 60.0, (80, 100, 125))
    (125, None)
    """
    able = (b for b in sorted(bores) if run_levels(conveyance.model_copy(update={"bore": b}), flow).enough)
    return next(able, None)


def head_margin(conveyance: Conveyance, flow: float) -> float:
    """Return the head left over at a flow: head available less head needed (wet), or the level left (dry).

    >>> head_margin(Conveyance(kind="wet", run=60, bore=100, outlet_level=3.0, inlet_level=2.4), 3.0)
    0.3718
    """
    needed = head_needed(conveyance, flow).total if conveyance.kind == "wet" else 0.0
    return _to_tolerance(level_margin(conveyance) - needed)


def total_length(conveyance: Conveyance) -> float:
    """Return the length of pipe to buy: the run, and for a wet one every leg down and the riser.

    >>> total_length(Conveyance(kind="wet", run=60, bore=100, outlet_level=3.0, inlet_level=2.4))
    66.4
    """
    if conveyance.kind == "dry":
        return conveyance.run
    down = conveyance.outlet_level - conveyance.low_level
    return conveyance.run + conveyance.downpipes * down + conveyance.inlet_level - conveyance.low_level


def require_feasible(conveyance: Conveyance) -> None:
    """Raise if the run cannot bring any water to the tank, and say what would make it work.

    >>> high = Conveyance(kind="dry", run=30, bore=100, outlet_level=2.5, inlet_level=2.4)
    >>> require_feasible(high)  # doctest: +ELLIPSIS
    Traceback (most recent call last):
    rainharvest.core.errors.InputError: conveyance: the dry run cannot work: the gutter outlet is 0.2 m too ...
    """
    answer = cannot_work(conveyance)
    if answer:
        raise InputError(*answer, "conveyance")


def cannot_work(conveyance: Conveyance) -> tuple[str, str] | None:
    """Say why a run cannot bring any water to the tank and what would make it work; None if it can.

    >>> cannot_work(Conveyance(kind="wet", run=30, bore=0, outlet_level=3.0, inlet_level=2.4))
    ('the wet run cannot work: its bore is zero', 'give a pipe with a bore above zero')
    >>> level = Conveyance(kind="wet", run=30, bore=100, outlet_level=3.0, inlet_level=3.0, filter_drop=0)
    >>> cannot_work(level)[1]
    'lower the tank or its inlet, or raise the outlet'
    """
    kind = f"the {conveyance.kind} run cannot work"
    if conveyance.bore == 0:
        return f"{kind}: its bore is zero", "give a pipe with a bore above zero"
    margin = level_margin(conveyance)
    gap = measure(abs(margin), "m", 2)
    if conveyance.kind == "wet" and margin <= 0:
        drowned = conveyance.discharge_level > conveyance.inlet_level
        what = "water in the full tank" if drowned else "tank inlet"
        return (
            f"{kind}: the {what} is {gap} above what the gutter outlet can feed"
            if margin
            else f"{kind}: the {what} is as high as the gutter outlet can feed, which leaves no head",
            f"lower the tank or its {'overflow' if drowned else 'inlet'}, or raise the outlet"
            + (f", by more than {gap}" if margin else ""),
        )
    if conveyance.kind == "dry" and margin < 0:
        nearest = max(head_available(conveyance), 0.0) / conveyance.fall
        return (
            f"{kind}: the gutter outlet is {gap} too low for a run of {measure(conveyance.run, 'm', 3)} "
            f"at a fall of {number(conveyance.fall)}",
            f"stand the tank within {measure(nearest, 'm', 3)}, or lower its inlet by {gap}, or use a wet run"
            if nearest
            else f"lower the inlet, or raise the outlet, by {gap}",
        )
    return None


@dataclass(frozen=True)
class Levels:
    """What a drawing of one run needs: points are (distance from the wall, level above the tank's base), m."""

    conveyance: Conveyance  # What is drawn
    pipe: tuple[tuple[float, float], ...]  # The axis of the pipe from the gutter outlet to the tank inlet
    # The part of it that stays full after rain; empty for a dry run
    full: tuple[tuple[float, float], ...]
    # [m] Head left over at the design storm (wet), or level left over (dry); below zero where it fails
    margin: float
    # [m] Distance from the wall at which the margin is read: the downpipe of a wet run, the tank of a dry one
    margin_at: float
    margin_from: float  # [m] Levels between which the margin lies
    margin_to: float  # [m] Levels between which the margin lies
    answer: str  # Empty if the run can work; otherwise why not and what would make it work
    flow: float = 0.0  # [L/s] What reaches it in the design storm
    passes: float = 0.0  # [L/s] Most that it passes before it backs up at the gutter

    @property
    def enough(self) -> bool:
        """Whether it can work and passes the design storm."""
        passed = self.conveyance.kind == "wet" or self.passes >= self.flow * (1 - 1e-9)
        return not self.answer and self.margin >= 0 and passed  # a wet run passes what its head allows


def run_levels(conveyance: Conveyance, flow: float) -> Levels:
    """Return where a run lies and what head it has left at the design storm.

    A dry run drops through its filter, falls along the run and ends at or above the inlet. A wet run goes
    down, along and up; in the design storm water stands in the downpipe at the inlet level plus the head
    that the flow needs, and the margin is what is left up to the gutter outlet.

    >>> dry = Conveyance(kind="dry", run=30, bore=100, outlet_level=3.0, inlet_level=2.4)
    >>> levels = run_levels(dry, flow=4.0)
    >>> levels.pipe, levels.margin
    (((0.0, 3.0), (30.0, 2.7), (30.0, 2.4)), 0.3)
    """
    reason = cannot_work(conveyance)
    answer = f"{reason[0]}; {reason[1]}" if reason else ""
    margin = head_margin(conveyance, flow) if conveyance.bore else level_margin(conveyance)
    passes = pipe_capacity(conveyance)
    run, outlet, inlet = conveyance.run, conveyance.outlet_level, conveyance.inlet_level
    top = outlet - conveyance.filter_drop
    start = ((0.0, outlet), (0.0, top)) if conveyance.filter_drop else ((0.0, outlet),)
    if conveyance.kind == "dry":
        end = top - run * conveyance.fall
        pipe = (*start, (run, end), (run, inlet))
        return Levels(conveyance, pipe, (), margin, run, end, inlet, answer, flow, passes)
    low, surface = conveyance.low_level, min(conveyance.discharge_level, outlet)
    pipe = (*start, (0.0, low), (run, low), (run, inlet))
    full = ((0.0, surface), (0.0, low), (run, low), (run, surface))
    return Levels(conveyance, pipe, full, margin, 0.0, top, top - margin, answer, flow, passes)


def static_pressure(conveyance: Conveyance, backed_up: bool = False) -> float:
    """Return the pressure on the lowest joint [kPa]: rho g (level of the water - low level).

    After rain the water stands at the inlet, or at the level of the full tank where that drowns it; in a storm that
    the run cannot pass, at the gutter outlet. The pipe is bought for the higher.

    >>> static_pressure(Conveyance(kind="wet", run=60, bore=100, outlet_level=3.0, inlet_level=2.4))
    28.4
    """
    if conveyance.kind == "dry":
        return 0.0
    top = conveyance.discharge_level
    top = max(conveyance.outlet_level, top) if backed_up else top
    return DENSITY * GRAVITY * (top - conveyance.low_level) / 1000


def full_velocity(conveyance: Conveyance, flow: float) -> float:
    """Return the velocity in a full pipe, to hold against `SELF_CLEANSING`.

    >>> full_velocity(Conveyance(kind="wet", run=60, bore=100, outlet_level=3.0, inlet_level=2.4), 4.0)
    0.509
    """
    return flow / 1000 / section(conveyance.bore)


@compiled(nogil=True, error_model="numpy")
def count_standing(inflow, held, drained, small, stood):
    """Fill in, for each day and series, how many days ago the oldest water in the pipe entered it."""
    left = np.empty(held.shape[0])  # of what entered on each day
    for i in range(held.shape[1]):
        oldest = 0
        for t in range(held.shape[0]):
            out = inflow[t, i] + drained[t, i]
            left[t] = max(out + held[t, i] - (held[t - 1, i] if t > 0 else 0.0), 0.0)
            while oldest < t and left[oldest] <= out + small[i]:
                out = max(out - left[oldest], 0.0)
                oldest += 1
            left[oldest] -= out
            if held[t, i] > small[i]:
                stood[t, i] = t - oldest


def standing_days(water: xr.Dataset) -> xr.DataArray:
    """Return, for each day, how many days the oldest water in the pipe has stood at its end.

    Plug flow: what entered first leaves first, to the tank, through the bleed or by a hand. An inflow smaller than
    the pipe renews a part of it only.

    >>> import pandas as pd
    >>> from rainharvest.catchment.collect import collect
    >>> from rainharvest.catchment.tables import Roof
    >>> rain = pd.Series([9.0, 0, 0, 9.0, 0], index=pd.date_range("2001-01-01", periods=5))
    >>> wet = Conveyance(kind="wet", run=60, bore=100, outlet_level=3.0, inlet_level=2.4)
    >>> standing_days(collect(rain, Roof(area=200), wet)).values
    array([0, 1, 2, 0, 1])
    """
    held = water.held.sel(store="pipe", drop=True).transpose("time", ...)
    drained = water.lost.sel(loss="held in pipe", drop=True)
    small = 1e-6 * np.maximum(held.max("time"), 1.0)  # a series at a time: its neighbours do not matter
    flows = [array.transpose(*held.dims).values.astype(float) for array in (water.inflow, held, drained)]
    flat = [np.ascontiguousarray(values).reshape(held.sizes["time"], -1) for values in flows]
    stood = np.zeros(flat[0].shape, dtype=np.int64)
    count_standing(*flat, np.atleast_1d(small.values).reshape(-1), stood)
    return held.copy(data=stood.reshape(held.shape)).rename("standing").assign_attrs(attributes("standing"))


def standing_spells(water: xr.Dataset, standing_limit: float = STANDING_LIMIT.value) -> xr.Dataset:
    """Return how long water stands in a wet run: longest, spells, those beyond a limit [day], shares of the days.

    A spell ends when the last of its water is renewed; one beyond the limit, when the last that is too old is.

    >>> import pandas as pd
    >>> from rainharvest.catchment.collect import collect
    >>> from rainharvest.catchment.tables import Roof
    >>> rain = pd.Series([9.0, 0, 0, 9.0, 0], index=pd.date_range("2001-01-01", periods=5))
    >>> wet = Conveyance(kind="wet", run=60, bore=100, outlet_level=3.0, inlet_level=2.4)
    >>> spells = standing_spells(collect(rain, Roof(area=200), wet), standing_limit=1)
    >>> int(spells.longest), int(spells.spells), int(spells.spells_beyond)
    (2, 2, 1)
    """
    stood = standing_days(water)

    def spells(beyond: float) -> xr.DataArray:
        return ((stood > beyond) & (stood.shift(time=-1, fill_value=0) <= beyond)).sum("time")

    return xr.Dataset(
        {
            "longest": stood.max("time"),
            "spells": spells(0),
            "spells_beyond": spells(standing_limit),
            "share": (stood > 0).mean("time"),
            "share_beyond": (stood > standing_limit).mean("time"),
        },
        attrs={"standing_limit": standing_limit},
    )


def gutter_limits(catchment: Catchment) -> np.ndarray:
    """Return the rain above which each roof's gutter overflows, mm/h."""
    return np.array(
        [
            np.inf
            if roof.gutter_capacity is None or not roof.runoff_coefficient
            else roof.gutter_capacity * 3600 / (roof.runoff_coefficient * roof.area)
            for roof in catchment.roofs
        ]
    )


def pipe_limit(catchment: Catchment) -> float:
    """Return the rain above which the run backs up, mm/h, the gutters passing no more than they can.

    Solves e sum(min(c, c_i) k_i A_i) = Q for c: filter efficiency e, gutter limits c_i, pipe capacity Q.
    """
    if catchment.conveyance is None:
        return np.inf
    wanted = pipe_capacity(catchment.conveyance) * 3600
    weights = np.array([r.runoff_coefficient * r.area for r in catchment.roofs]) * catchment.filter_efficiency
    limits = gutter_limits(catchment)
    passed_before, weight_left = 0.0, float(weights.sum())
    for i in np.argsort(limits):
        if not np.isfinite(limits[i]) or passed_before + weight_left * limits[i] > wanted:
            break
        passed_before += weights[i] * limits[i]
        weight_left -= weights[i]
    if weight_left <= 1e-12 * max(weights.sum(), 1e-9):  # every limit is reached; what is left is rounding
        return np.inf
    return (wanted - passed_before) / weight_left
