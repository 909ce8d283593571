"""Storms: depths by duration where no table is at hand, and what the tank does to the biggest of the record."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import xarray as xr

from rainharvest.errors import InputError
from rainharvest.names import attributes
from rainharvest.siteworks.defaults import DAY_TO_24_HOURS, SHORTEST_STORM

STORM_MINUTES = (5.0, 10.0, 15.0, 30.0, 60.0, 120.0, 240.0, 360.0, 600.0, 1440.0)
"""Durations of BRE Digest 365's table, min; as printed in a public calculation."""
DAY_MINUTES = 1440.0


def storm_depths(
    design_intensity: float, ten_year_day: float, storm_minutes: Sequence[float] = STORM_MINUTES
) -> xr.DataArray:
    """Return depths of rain by duration, between a design intensity and a heavy day of the record.

    A power law R = a D^b through (5 min, design intensity) and (24 h, 1.13 times the heavy day), b no less
    than zero. It stands in for the national table of storms until somebody looks that up.

    Parameters
    ----------
    design_intensity : float [mm/h]
        Rain of the design storm over a few minutes.
    ten_year_day : float [mm/day]
        A day as heavy as comes once in so many years.
    storm_minutes : sequence of float [min]
        Durations.

    Returns
    -------
    DataArray [mm]
        On ``storm_minutes``. Own choice of the law; the factor 1.13 from Hershfield 1961, from memory.

    Raises
    ------
    InputError
        If a value is not above zero.

    Examples
    --------
    >>> storm_depths(75, 60, [5, 60, 1440]).values
    array([ 6.25      , 17.79063218, 67.8       ])
    """
    minutes = np.asarray(storm_minutes, float)
    if not (design_intensity > 0 and ten_year_day > 0 and (minutes > 0).all()):
        raise InputError(
            f"a design intensity of {design_intensity:g} mm/h and a heavy day of {ten_year_day:g} mm",
            "give both above zero, and durations above zero",
            "design_intensity",
        )
    short = design_intensity * SHORTEST_STORM.value / 60
    long = max(DAY_TO_24_HOURS.value * ten_year_day, short)
    power = np.log(long / short) / np.log(DAY_MINUTES / SHORTEST_STORM.value)
    return xr.DataArray(
        short * (minutes / SHORTEST_STORM.value) ** power,
        {"storm_minutes": ("storm_minutes", minutes, attributes("storm_minutes"))},
        ("storm_minutes",),
        name="storm_depth",
        attrs=attributes("storm_depth"),
    )


def biggest_storms(daily: xr.Dataset, capacity: float, storms: int = 10, separation: int = 3) -> xr.Dataset:
    """Return how full the tank was before each of the biggest storms, and what it kept of them.

    A storm is a day of largest inflow, no closer than ``separation`` days to a larger one.

    Parameters
    ----------
    daily : Dataset
        ``inflow``, ``spilled_daily`` and ``stored`` on ``time``: a simulation of one tank.
    capacity : float [L]
        Usable tank size.
    storms : int [1]
        How many.
    separation : int [day]
        Least distance between two storms.

    Returns
    -------
    Dataset
        On ``storm``, the biggest first: ``storm_day``, ``storm_inflow`` [L/day], ``full_before`` [1],
        ``storm_spilled`` [L/day] and ``storm_kept`` [1], the share that did not overflow that day. The first
        day of the record is never one, since nothing is known of the evening before.

    Raises
    ------
    InputError
        If the simulation has no daily values, or the tank no size.

    Examples
    --------
    >>> import pandas as pd
    >>> from rainharvest.storage.simulate import simulate
    >>> time = pd.date_range("2001-01-01", periods=6)
    >>> inflow = xr.DataArray([0.0, 80, 0, 0, 60, 0], {"time": time}, "time")
    >>> done = simulate(inflow, xr.full_like(inflow, 10.0), 100.0, trace=True).isel(capacity=0)
    >>> found = biggest_storms(done.assign(inflow=inflow), 100.0, storms=2)
    >>> found.full_before.values, found.storm_kept.values
    (array([0. , 0.6]), array([1.  , 0.66666667]))
    """
    for name in ("inflow", "spilled_daily", "stored"):
        if name not in daily or daily[name].dims != ("time",):
            raise InputError(
                f"the simulation has no daily {name} of one tank",
                "simulate one tank with trace=True",
                "daily",
            )
    if not capacity > 0:
        raise InputError(f"a tank of {capacity:g} L", "give a size above zero", "capacity")
    if storms < 1 or separation < 1:
        raise InputError(f"{storms} storms, {separation} days apart", "give one or more", "storms")
    inflow = daily.inflow.values
    chosen: list[int] = []
    for day in np.argsort(-inflow, kind="stable"):
        if len(chosen) == storms or inflow[day] <= 0:
            break
        if day > 0 and all(abs(day - other) >= separation for other in chosen):
            chosen.append(int(day))
    days = np.array(chosen, int)
    came, ran = inflow[days], daily.spilled_daily.values[days]
    return xr.Dataset(
        {
            "storm_day": ("storm", daily.time.values[days], {"long_name": "Day of the storm"}),
            "storm_inflow": ("storm", came, attributes("storm_inflow")),
            "full_before": ("storm", daily.stored.values[days - 1] / capacity, attributes("full_before")),
            "storm_spilled": ("storm", ran, attributes("storm_spilled")),
            "storm_kept": ("storm", np.clip(1 - ran / came, 0.0, 1.0), attributes("storm_kept")),
        },
        coords={"storm": ("storm", np.arange(1, len(days) + 1), attributes("storm"))},
    )
