"""Where the surplus goes: the overflow, the soakaway, and the storms that they must pass."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import xarray as xr

from rainharvest.catchment.hydraulics import GRAVITY, part_full_flow, section
from rainharvest.catchment.tables import FALL, FILLING, ROUGHNESS, TRADE_SIZES
from rainharvest.core.errors import InputError, require
from rainharvest.core.quantities import along, attributes, variables
from rainharvest.core.reader import measure
from rainharvest.rainfall.climatology import return_levels
from rainharvest.siteworks.tables import DEFAULTS, TrialPit

MOST_PIPES, SMALLEST = 12, 50.0

"""Overflows of a tank, and their bore in mm."""

STORM_MINUTES = (5.0, 10.0, 15.0, 30.0, 60.0, 120.0, 240.0, 360.0, 600.0, 1440.0)

"""Durations of BRE Digest 365's table, min; as printed in a public calculation."""

DAY_MINUTES = 1440.0


@dataclass(frozen=True)
class OverflowPipe:
    """The overflow."""

    overflow_bore: float  # [mm] Inside diameter of each pipe
    pipes: int  # [1] How many
    passes: float  # [L/s] Most that they pass together


def stuck_valve_flow(mains_bore: float) -> float:
    """Return what a float valve that sticks open lets into the tank.

    >>> stuck_valve_flow(20)
    0.942
    """
    return 1000 * section(mains_bore) * DEFAULTS["mains_speed"].value


def entry_capacity(overflow_bore: float, rise: float) -> float:
    """Return what enters a level round pipe through the wall of a tank.

    While the pipe runs part full the flow is critical at its mouth: with the depth y there,
    y + A / 2T = rise and Q = A sqrt(g A / T), A the wet area and T the width of the surface. When it is
    drowned it is a hole: Q = Cd A sqrt(2 g (rise - D / 2)). The lesser of the two.

    >>> entry_capacity(100, 0.05), entry_capacity(100, 0.15)
    (1.33, 6.6)
    """
    from scipy.optimize import brentq

    if rise <= 0:
        return 0.0
    wide = overflow_bore / 1000

    def part(angle: float) -> tuple[float, float, float]:
        area = wide**2 / 8 * (angle - math.sin(angle))
        return wide / 2 * (1 - math.cos(angle / 2)), area, wide * math.sin(angle / 2)

    def energy(angle: float) -> float:
        depth, area, top = part(angle)
        return depth + area / (2 * top)

    critical = drowned = math.inf
    most = 2 * math.pi * 0.999
    if energy(most) > rise:
        angle = brentq(lambda a: energy(a) - rise, 1e-3, most, xtol=1e-12)
        _, area, top = part(angle)
        critical = area * math.sqrt(GRAVITY * area / top)
    if rise > wide:
        orifice = DEFAULTS["overflow_orifice"].value
        drowned = orifice * section(overflow_bore) * math.sqrt(2 * GRAVITY * (rise - wide / 2))
    return 1000 * min(critical, drowned)


def overflow_pipe(
    peak: float, rise: float, inlet_bore: float = 0.0, sizes: Sequence[float] = TRADE_SIZES["metric"]
) -> OverflowPipe:
    """Return the overflow that passes a peak flow with the tank full.

    The smallest bore, no smaller than the inlet's and no taller than ``rise``, whose entry passes the flow with
    the water no higher than that and whose pipe, 70 % full at its fall, carries it away; more pipes side by
    side where one is not enough.

    >>> overflow_pipe(4.5, rise=0.12, inlet_bore=100)
    OverflowPipe(overflow_bore=100.0, pipes=1, passes=4.67)
    """
    require(
        rise > 0,
        "the overflow leaves no room above it for the water to rise",
        "lower the overflow, or raise the inlet and the lid",
        "rise",
    )
    bores = [bore for bore in sizes if bore >= max(inlet_bore - 1e-6, SMALLEST)] or [inlet_bore]
    fitting = [bore for bore in bores if bore <= 1000 * rise + 1e-6]
    room = measure(rise, "m", 2)
    require(
        fitting,
        f"an overflow of {measure(bores[0], 'mm')} does not fit into the {room} above its lowest point",
        "lower the overflow (more room left above it), or raise the inlet and the lid",
        "rise",
    )
    for pipes in range(1, MOST_PIPES + 1):
        for bore in fitting:
            entry = pipes * entry_capacity(bore, rise)
            carried = pipes * part_full_flow(bore, FALL.value, FILLING.value, ROUGHNESS.value)
            if min(entry, carried) >= peak:
                return OverflowPipe(bore, pipes, min(entry, carried))
    raise InputError(
        f"no {MOST_PIPES} pipes pass {measure(peak, 'L/s', 2)} with {room} for the water to rise",
        "leave more height above the overflow, or bring the water to several tanks",
        "rise",
    )


def ten_year_day(rain: xr.DataArray) -> float:
    """Return a day as heavy as comes once in ten years; the heaviest of a record too short to say."""
    try:
        period = [DEFAULTS["return_period"].value]
        level = float(return_levels(rain, return_period=period).return_level[0])
    except InputError:
        level = float(rain.max())
    return max(level, 1.0)


def storm_depths(
    design_intensity: float, ten_year_day: float, storm_minutes: Sequence[float] = STORM_MINUTES
) -> xr.DataArray:
    """Return depths of rain by duration, from a heavy day of the record and a design intensity.

    R = R24 (t / 24) ((24 + b) / (t + b))^n over t hours, with R24 = 1.13 times the heavy day: a published law of
    storms near the equator, which puts as much or more of a day's rain into its hardest hours than two published
    ten-year tables do, so that what is sized by it errs large there; a desert's bursts may be harder. No less than
    the design intensity over its five minutes. It stands in for the national table of storms until somebody looks
    that up.

    By hand, an hour of a day of 60 mm: 67.8 / 24 x (24.3 / 1.3)^0.85 = 2.825 x 12.05 = 34.0 mm.

    >>> storm_depths(75, 60, [5, 60, 1440]).values.round(1)
    array([ 8. , 34. , 67.8])
    """
    minutes = np.asarray(storm_minutes, float)
    burst = design_intensity * np.minimum(minutes, DEFAULTS["shortest_storm"].value) / 60
    day = DEFAULTS["day_to_24_hours"].value * ten_year_day
    hours, whole = minutes / 60, DAY_MINUTES / 60
    offset, power = DEFAULTS["storm_offset"].value, DEFAULTS["storm_power"].value
    law = day * hours / whole * ((whole + offset) / (hours + offset)) ** power
    return _by_duration("storm_depth", minutes, np.maximum(law, burst))


def _by_duration(name: str, minutes: np.ndarray, values: np.ndarray) -> xr.DataArray:
    """Return values by the duration of the storm, labelled."""
    return xr.DataArray(values, along(storm_minutes=minutes), ("storm_minutes",), name, attributes(name))


def biggest_storms(daily: xr.Dataset, capacity: float, storms: int = 10, separation: int = 3) -> xr.Dataset:
    """Return how full the tank was before each of the biggest storms, and what it kept of them.

    A storm is a day of largest inflow, no closer than ``separation`` days to a larger one.

    >>> import pandas as pd
    >>> from rainharvest.storage.simulate import simulate
    >>> time = pd.date_range("2001-01-01", periods=6)
    >>> inflow = xr.DataArray([0.0, 80, 0, 0, 60, 0], {"time": time}, "time")
    >>> done = simulate(inflow, xr.full_like(inflow, 10.0), 100.0, trace=True).isel(capacity=0)
    >>> found = biggest_storms(done.assign(inflow=inflow), 100.0, storms=2)
    >>> found.full_before.values, found.storm_kept.values
    (array([0. , 0.6]), array([1.  , 0.66666667]))
    """
    inflow = daily.inflow.values
    chosen: list[int] = []
    for day in np.argsort(-inflow, kind="stable"):
        if len(chosen) == storms or inflow[day] <= 0:
            break
        if day > 0 and all(abs(day - other) >= separation for other in chosen):
            chosen.append(int(day))
    days = np.array(chosen, int)
    came, ran = inflow[days], daily.spilled_daily.values[days]
    columns = {
        "storm_inflow": came,
        "full_before": daily.stored.values[days - 1] / capacity,
        "storm_spilled": ran,
        "storm_kept": np.clip(1 - ran / came, 0.0, 1.0),
    }
    day_of = {"storm_day": ("storm", daily.time.values[days], {"long_name": "Day of the storm"})}
    return xr.Dataset(day_of | variables("storm", columns), along(storm=np.arange(1, len(days) + 1)))


def infiltration_rate(pit: TrialPit) -> float:
    """Return the soil infiltration rate: f = V75-25 / (a50 t).

    V75-25 is the water between three quarters and one quarter of the depth, a50 the base and the walls up to
    half of it, t the longest of the times.

    >>> f = infiltration_rate(TrialPit(pit_length=1.0, pit_width=0.75, pit_depth=1.0, minutes=(56, 55, 56)))
    >>> round(f * 1e6, 1)
    44.6
    """
    drains = all(0 < minutes < np.inf for minutes in pit.minutes)
    require(drains, "a pit that drains in no time", "give minutes above zero", "trial_pit.minutes")
    volume = pit.pit_length * pit.pit_width * pit.pit_depth / 2
    wet = pit.pit_length * pit.pit_width + 2 * (pit.pit_length + pit.pit_width) * pit.pit_depth / 2
    return volume / (wet * 60 * max(pit.minutes))


def outflow_area(soakaway_length: float, soakaway_width: float, soakaway_depth: float) -> float:
    """Return the walls through which a soakaway drains: up to half its depth, the base left out.

    >>> outflow_area(2.0, 1.5, 1.5)
    5.25
    """
    return (soakaway_length + soakaway_width) * soakaway_depth


def storage_required(
    drained: float, storm_minutes: Sequence[float], storm_depths: Sequence[float], outflow: float
) -> xr.DataArray:
    """Return what a soakaway must hold in each of a set of storms: S = A R - O, O = a50 f D.

    >>> storage_required(75, [120, 1440], [24.5, 49.6], outflow=234.1e-6).values.round().tolist()
    [152.0, 0.0]
    """
    minutes, depths = np.asarray(storm_minutes, float), np.asarray(storm_depths, float)
    require(
        (minutes > 0).all() and (depths >= 0).all(),
        "a storm below zero",
        "give durations above zero, depths of zero or more",
        "storm_depths",
    )
    stored = np.maximum(drained * depths - outflow * 60 * minutes * 1000, 0.0)
    return _by_duration("storage_required", minutes, stored)


def size_soakaway(
    drained: float,
    infiltration: float,
    storm_minutes: Sequence[float],
    storm_depths: Sequence[float],
    *,
    soakaway_width: float = 1.0,
    soakaway_depth: float = 1.5,
    voids: float = DEFAULTS["voids"].value,
) -> xr.Dataset:
    """Return the length of a soakaway that holds every storm of a set and is half empty in time.

    Length l solves l w d v >= A R - (l + w) d f D for every storm, and then
    S / 2 / ((l + w) d f) <= the limit; both are linear in l.

    >>> done = size_soakaway(75, 44.6e-6, [15, 60, 120], [14.0, 20.2, 28.7], soakaway_width=1.5, voids=0.3)
    >>> round(float(done.soakaway_length), 2), done.attrs["governed_by"]
    (1.31, 'storage')
    """
    least = DEFAULTS["least_infiltration"].value
    rate, slowest = (measure(3.6e6 * one, "mm/h", 2) for one in (infiltration, least))
    require(
        infiltration >= least,
        f"water soaks away at {rate}, slower than {slowest}",
        "this ground is unsuitable for a soakaway: find another way off the site",
        "infiltration",
    )
    storage_required(drained, storm_minutes, storm_depths, 0.0)  # says what is wrong with the storms
    seconds, rain = 60 * np.asarray(storm_minutes, float), np.asarray(storm_depths, float) / 1000
    drains = soakaway_depth * infiltration
    room = soakaway_width * soakaway_depth * voids
    for_storage = (drained * rain - soakaway_width * drains * seconds) / (room + drains * seconds)
    limit = 3600 * DEFAULTS["half_empty_limit"].value
    span = drained * rain / 2 / (drains * (limit + seconds / 2)) - soakaway_width
    length = max(float(for_storage.max()), float(span.max()), 0.0)
    governs = span if span.max() > for_storage.max() else for_storage
    outflow = outflow_area(length, soakaway_width, soakaway_depth) * infiltration
    needed = storage_required(drained, storm_minutes, storm_depths, outflow)
    worst = float(needed.max())
    single = {
        "soakaway_length": length,
        "soakaway_holds": 1000 * length * room,
        "half_empty": worst / 2000 / outflow / 3600,
    }
    done = xr.Dataset(variables((), single) | {"storage_required": needed})
    return done.assign(variables("storm_minutes", {"storm_depth": 1000 * rain})).assign_attrs(
        governed_by="half-empty time" if governs is span else "storage",
        longest_governs=bool(seconds[int(governs.argmax())] == seconds.max()),
        worst_storm=float(needed.storm_minutes[int(needed.values.argmax())]),
    )
