"""The soakaway, by the method of BRE Digest 365: trial pit, storage over a set of storms, time to half empty."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import xarray as xr
from pydantic import BaseModel, ConfigDict, Field

from rainharvest.errors import InputError
from rainharvest.names import attributes
from rainharvest.siteworks.defaults import HALF_EMPTY_LIMIT, LEAST_INFILTRATION, VOIDS


class TrialPit(BaseModel):
    """A trial pit, filled and left to drain at least three times on the same or on following days.

    Parameters
    ----------
    pit_length, pit_width : float [m]
        Sides of the pit.
    pit_depth : float [m]
        Depth of the water at the start, the effective depth.
    minutes : tuple of float [min]
        Time from three quarters full to one quarter full, of each filling.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    pit_length: float = Field(gt=0, le=20, description="length of the pit [m]")
    pit_width: float = Field(gt=0, le=20, description="width of the pit [m]")
    pit_depth: float = Field(gt=0, le=10, description="water at the start [m]")
    minutes: tuple[float, ...] = Field(min_length=1, max_length=20, description="from 75 to 25 % full [min]")

    @property
    def complete(self) -> bool:
        """Whether it was filled three times, as the method asks."""
        return len(self.minutes) >= 3


def infiltration_rate(pit: TrialPit) -> float:
    """Return the soil infiltration rate: f = V75-25 / (a50 t).

    V75-25 is the water between three quarters and one quarter of the depth, a50 the base and the walls up to
    half of it, t the longest of the times.

    Parameters
    ----------
    pit : TrialPit
        The trial pit.

    Returns
    -------
    float [m/s]
        Rate. Source: BRE Digest 365, as worked in a public calculation sheet of 14 May 2008.

    Raises
    ------
    InputError
        If a time is not above zero.

    Examples
    --------
    >>> f = infiltration_rate(TrialPit(pit_length=1.0, pit_width=0.75, pit_depth=1.0, minutes=(56, 55, 56)))
    >>> round(f * 1e6, 1)
    44.6
    """
    if not all(0 < minutes < np.inf for minutes in pit.minutes):
        raise InputError("a pit that drains in no time", "give minutes above zero", "trial_pit.minutes")
    volume = pit.pit_length * pit.pit_width * pit.pit_depth / 2
    wet = pit.pit_length * pit.pit_width + 2 * (pit.pit_length + pit.pit_width) * pit.pit_depth / 2
    return volume / (wet * 60 * max(pit.minutes))


def outflow_area(soakaway_length: float, soakaway_width: float, soakaway_depth: float) -> float:
    """Return the walls through which a soakaway drains: up to half its depth, the base left out.

    Parameters
    ----------
    soakaway_length, soakaway_width : float [m]
        Sides of the pit.
    soakaway_depth : float [m]
        Below the pipe that feeds it.

    Returns
    -------
    float [m2]
        2 (l + w) d / 2. Source: BRE Digest 365; the base silts up.

    Examples
    --------
    >>> outflow_area(2.0, 1.5, 1.5)
    5.25
    """
    return (soakaway_length + soakaway_width) * soakaway_depth


def storage_required(
    drained: float, storm_minutes: Sequence[float], storm_depths: Sequence[float], outflow: float
) -> xr.DataArray:
    """Return what a soakaway must hold in each of a set of storms: S = A R - O, O = a50 f D.

    Parameters
    ----------
    drained : float [m2]
        Plan area that drains to it.
    storm_minutes : sequence of float [min]
        Durations D.
    storm_depths : sequence of float [mm]
        Depth R of each.
    outflow : float [m3/s]
        a50 f, the rate at which it drains.

    Returns
    -------
    DataArray [L]
        On ``storm_minutes``; zero where it drains faster than it fills. Source: BRE Digest 365.

    Raises
    ------
    InputError
        If the two lists differ in length, or a value is below zero.

    Examples
    --------
    >>> storage_required(75, [120, 1440], [24.5, 49.6], outflow=234.1e-6).values.round().tolist()
    [152.0, 0.0]
    """
    minutes, depths = np.asarray(storm_minutes, float), np.asarray(storm_depths, float)
    if minutes.shape != depths.shape or minutes.ndim != 1 or minutes.size == 0:
        raise InputError(
            f"{minutes.size} durations and {depths.size} depths",
            "give one depth for each duration",
            "storm_depths",
        )
    if not ((minutes > 0).all() and (depths >= 0).all() and drained >= 0 and outflow >= 0):
        raise InputError(
            "a storm, an area or an outflow below zero",
            "give durations above zero, depths of zero or more",
            "storm_depths",
        )
    stored = np.maximum(drained * depths - outflow * 60 * minutes * 1000, 0.0)
    return xr.DataArray(
        stored,
        {"storm_minutes": ("storm_minutes", minutes, attributes("storm_minutes"))},
        ("storm_minutes",),
        name="storage_required",
        attrs=attributes("storage_required"),
    )


def half_empty_hours(stored: float, outflow: float) -> float:
    """Return how long a soakaway takes to drain half of what it must hold: S / 2 / (a50 f).

    Parameters
    ----------
    stored : float [L]
        What it must hold.
    outflow : float [m3/s]
        a50 f.

    Returns
    -------
    float [h]
        Time. Source: BRE Digest 365.

    Examples
    --------
    >>> round(half_empty_hours(1040.0, 234.1e-6) * 60)
    37
    """
    return stored / 2000 / outflow / 3600 if outflow > 0 else np.inf if stored > 0 else 0.0


def size_soakaway(
    drained: float,
    infiltration: float,
    storm_minutes: Sequence[float],
    storm_depths: Sequence[float],
    *,
    soakaway_width: float = 1.0,
    soakaway_depth: float = 1.5,
    voids: float = VOIDS.value,
    half_empty_limit: float = HALF_EMPTY_LIMIT.value,
) -> xr.Dataset:
    """Return the length of a soakaway that holds every storm of a set and is half empty in time.

    Length l solves l w d v >= A R - (l + w) d f D for every storm, and then
    S / 2 / ((l + w) d f) <= the limit; both are linear in l.

    Parameters
    ----------
    drained : float [m2]
        Plan area of roof whose whole rain comes by the overflow: the tank counts as full.
    infiltration : float [m/s]
        As `infiltration_rate`.
    storm_minutes : sequence of float [min]
        Durations of the storms.
    storm_depths : sequence of float [mm]
        Their depths.
    soakaway_width, soakaway_depth : float [m]
        Width, and depth below the pipe that feeds it.
    voids : float [1]
        Share of the pit that water can fill.
    half_empty_limit : float [h]
        Time in which it must be half empty.

    Returns
    -------
    Dataset
        ``soakaway_length`` [m], ``soakaway_holds`` [L], ``half_empty`` [h], ``storage_required`` [L] on
        ``storm_minutes``; attributes ``governed_by`` ("storage" or "half-empty time") and ``worst_storm``.

    Raises
    ------
    InputError
        If the ground is too slow for a soakaway, or a measure is not above zero.

    Examples
    --------
    >>> done = size_soakaway(75, 44.6e-6, [15, 60, 120], [14.0, 20.2, 28.7], soakaway_width=1.5, voids=0.3)
    >>> round(float(done.soakaway_length), 2), done.attrs["governed_by"]
    (1.31, 'storage')
    """
    for name, value in (
        ("soakaway_width", soakaway_width),
        ("soakaway_depth", soakaway_depth),
        ("half_empty_limit", half_empty_limit),
    ):
        if not 0 < value < np.inf:
            raise InputError(f"{value:g} is not possible", f"give {name} above zero", name)
    if not 0 < voids <= 1:
        raise InputError(f"{voids:g} is not possible", "give a share of voids above 0 and up to 1", "voids")
    if not infiltration >= LEAST_INFILTRATION.value:
        raise InputError(
            f"water soaks away at {infiltration:.1e} m/s, slower than {LEAST_INFILTRATION.value:g}",
            "this ground is unsuitable for a soakaway: find another way off the site",
            "infiltration",
        )
    storage_required(drained, storm_minutes, storm_depths, 0.0)  # says what is wrong with the storms
    seconds, rain = 60 * np.asarray(storm_minutes, float), np.asarray(storm_depths, float) / 1000
    drains = soakaway_depth * infiltration
    room = soakaway_width * soakaway_depth * voids
    for_storage = (drained * rain - soakaway_width * drains * seconds) / (room + drains * seconds)
    span = drained * rain / 2 / (drains * (3600 * half_empty_limit + seconds / 2)) - soakaway_width
    length = max(float(for_storage.max()), float(span.max()), 0.0)
    outflow = outflow_area(length, soakaway_width, soakaway_depth) * infiltration
    needed = storage_required(drained, storm_minutes, storm_depths, outflow)
    worst = float(needed.max())
    return xr.Dataset(
        {
            "soakaway_length": ((), length, attributes("soakaway_length")),
            "soakaway_holds": ((), 1000 * length * room, attributes("soakaway_holds")),
            "half_empty": ((), half_empty_hours(worst, outflow), attributes("half_empty")),
            "storage_required": needed,
            "storm_depth": ("storm_minutes", 1000 * rain, attributes("storm_depth")),
        },
        attrs={
            "governed_by": "half-empty time" if span.max() > for_storage.max() else "storage",
            "worst_storm": float(needed.storm_minutes[int(needed.values.argmax())]),
        },
    )
