"""Dry against wet for one site, side by side."""

from __future__ import annotations

import numpy as np
import pandas as pd
import xarray as xr

from rainharvest.catchment.chain import LOSSES
from rainharvest.catchment.collect import label_days, read_daily
from rainharvest.catchment.conveyance import Conveyance
from rainharvest.catchment.drainage import design_flow
from rainharvest.catchment.hydraulics import head_margin, held_volume, pipe_capacity, total_length
from rainharvest.catchment.intensity import Intensity, day_intensity, weibull_shape
from rainharvest.catchment.lanes import run_lanes
from rainharvest.catchment.parts import (
    DRYING,
    INTENSITY,
    Catchment,
    gutter_limits,
    make_catchment,
    pipe_limit,
)
from rainharvest.catchment.standing import STANDING_LIMIT, full_velocity, standing_spells, static_pressure
from rainharvest.catchment.working import cannot_work
from rainharvest.errors import InputError


def gutter_hours(
    rain: xr.DataArray | pd.Series, catchment: Catchment, intensity: Intensity = INTENSITY
) -> xr.DataArray:
    """Return the hours a year in which some gutter overflows, because of itself or of the run of pipe.

    On a day of depth P and mean intensity mu there are P / mu wet hours, and the share exp(-(c / l)^k) of
    them is above the limit c (Weibull, see `rainharvest.catchment.intensity`).

    Parameters
    ----------
    rain : DataArray or Series [mm/day]
        Daily rain on ``time`` without gaps.
    catchment : Catchment
        Roofs and run of pipe.
    intensity : Intensity
        How hard it rains.

    Returns
    -------
    DataArray [h/year]
        Expected hours a year, on the dimensions of the rain other than time.

    Examples
    --------
    >>> rain = pd.Series([10.0, 0.0, 4.0], index=pd.date_range("2001-01-01", periods=3))
    >>> from rainharvest.catchment.roofs import Roof
    >>> float(gutter_hours(rain, Catchment(roofs=(Roof(area=100),))))
    0.0
    """
    from scipy.special import gamma

    steps = read_daily(rain)
    limit = min(float(gutter_limits(catchment).min()), pipe_limit(catchment))
    depth = steps.array
    k = weibull_shape(intensity.variation)
    mean = day_intensity(depth, intensity)
    beyond = np.exp(-((np.minimum(limit / mean, 1e9) * gamma(1 + 1 / k)) ** k))
    out = (depth / mean * beyond).sum("time") / (depth.sizes["time"] / 365.25)
    out.attrs = {"units": "h/year", "long_name": "Hours a year with a gutter that overflows"}
    return out.rename("gutter_hours")


def compare_conveyance(
    rain: xr.DataArray | pd.Series,
    catchment: Catchment,
    runs: dict[str, Conveyance],
    design_intensity: float,
    *,
    standing_limit: float = STANDING_LIMIT.value,
    drying: float | xr.DataArray = DRYING.value,
    intensity: Intensity = INTENSITY,
) -> pd.DataFrame:
    """Return runs of pipe for one site side by side, dry against wet.

    Parameters
    ----------
    rain : DataArray or Series [mm/day]
        One series of daily rain without gaps.
    catchment : Catchment
        The roofs and what stands between; its own conveyance is not looked at.
    runs : dict of str to Conveyance
        The runs to compare, by name. One that cannot work has a column of reasons and no numbers.
    design_intensity : float [mm/h]
        Rain of the design storm over a few minutes.
    standing_limit : float [day]
        Standing water older than this counts as too old.
    drying : float or DataArray [mm/day]
        Most that a wet roof loses to the air in a day.
    intensity : Intensity
        How hard it rains.

    Returns
    -------
    DataFrame
        A column for each run; rows in words with their unit, the first saying whether it can work.

    Raises
    ------
    InputError
        If the rain has several series, or as `rainharvest.catchment.collect.collect`.
    """
    steps = read_daily(rain)
    if steps.depth.shape[1] != 1:
        raise InputError("the rain has several series", "choose one member and one site", "rain")
    flow = sum(design_flow(roof.area, design_intensity) for roof in catchment.roofs)
    whole = {name: getattr(catchment, name) for name in Catchment.model_fields}
    table: dict[str, dict[str, object]] = {}
    for name, run in runs.items():
        reason = cannot_work(run)
        if reason:
            table[name] = {"can it work": f"no: {reason[0]}; {reason[1]}"}
            continue
        variant = make_catchment(**(whole | {"conveyance": run}))
        table[name] = {"can it work": "yes"} | _figures(
            steps, variant, flow, standing_limit, drying, intensity
        )
    rows = max((column.keys() for column in table.values()), key=len)
    return pd.DataFrame(table).reindex(list(rows))


def _figures(
    steps, catchment: Catchment, flow: float, standing_limit: float, drying, intensity
) -> dict[str, float]:
    """Compute the rows of the comparison for one run that can work."""
    run = catchment.conveyance
    total, rows = run_lanes(steps, [catchment], drying, intensity, trace=True)
    water = label_days(steps.label(rows), catchment, steps.array)
    years = steps.depth.shape[0] / 365.25
    spells = standing_spells(water, standing_limit)
    capacity = pipe_capacity(run)
    return {
        "delivered [L/year]": float(water.inflow.sum()) / years,
        **{f"lost: {loss} [L/year]": float(water.lost.sel(loss=loss).sum()) / years for loss in LOSSES},
        "left in store at the end [L]": float(total[-3:].sum()),
        "flow before it backs up [L/s]": capacity,
        "flow of the design storm [L/s]": flow,
        "share of the design storm it passes [1]": min(capacity / flow, 1.0) if flow else 1.0,
        "head margin at the design storm [m]": head_margin(run, flow),
        "hours a year with a gutter that overflows [h/year]": float(
            gutter_hours(steps.array, catchment, intensity).max()
        ),
        "velocity at the design storm [m/s]": full_velocity(run, min(flow, capacity))
        if run.kind == "wet"
        else np.nan,
        "water held [L]": held_volume(run),
        "days on which water stands [1]": float(spells.share.max()),
        "longest time that water stands [day]": float(spells.longest.max()),
        f"spells a year beyond {standing_limit:g} days [1/year]": float(spells.spells_beyond.max()) / years,
        "pressure on the lowest joint [kPa]": static_pressure(run),
        "pipe [m]": total_length(run),
        "fittings [1]": float(sum(run.fittings.values())),
    }
