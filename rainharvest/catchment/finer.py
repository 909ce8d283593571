"""The same chain at an hourly or finer step, and how far the daily shortcut was off."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
import xarray as xr

from rainharvest.catchment.chain import LOSSES
from rainharvest.catchment.collect import collect, label_days
from rainharvest.catchment.conveyance import Conveyance
from rainharvest.catchment.intensity import Intensity, day_intensity, estimate_intensity, share_below
from rainharvest.catchment.lanes import run_lanes
from rainharvest.catchment.parts import DRYING, INTENSITY, make_catchment
from rainharvest.catchment.roofs import Roof
from rainharvest.catchment.steps import Rain, read_steps
from rainharvest.errors import InputError
from rainharvest.names import attributes


def collect_finer(
    rain_rate: xr.DataArray | pd.Series,
    roofs: Roof | Sequence[Roof],
    conveyance: Conveyance | None = None,
    *,
    drying: float = DRYING.value,
    **settings: float | None,
) -> xr.Dataset:
    """Run the chain at the step of the rain and return it by day, exactly as `collect` does.

    Gutter and pipe limits act on each step: min(flow, limit). Nothing is assumed about how hard it rains
    within the day; what happens within a step stays hidden.

    Parameters
    ----------
    rain_rate : DataArray or Series [mm/h]
        Rain on an even ``time`` without gaps, each step stamped by its start; an hour or less.
    roofs : Roof or sequence of Roof
        The roofs connected.
    conveyance : Conveyance, optional
        The run of pipe to the tank.
    drying : float [mm/day]
        Most that a wet roof loses to the air in a day.
    **settings
        ``first_flush``, ``first_flush_bleed``, ``first_flush_reset``, ``filter_efficiency``, as `collect`.

    Returns
    -------
    Dataset
        As `collect`; ``held`` is what is held at the end of the day.

    Raises
    ------
    InputError
        If the step does not divide a day, or as `collect`.

    Examples
    --------
    >>> hours = pd.date_range("2001-01-01", periods=24, freq="h")
    >>> rain = pd.Series([0.0] * 20 + [30.0, 2.0, 0.0, 0.0], index=hours)
    >>> roof = Roof(area=120, runoff_coefficient=1, wetting=0, gutter_capacity=0.5)
    >>> water = collect_finer(rain, roof, first_flush=0, filter_efficiency=1)
    >>> water.inflow.values, water.lost.sel(loss="gutter capacity").values
    (array([2040.]), array([1800.]))
    """
    steps = _finer(rain_rate)
    catchment = make_catchment(
        roofs=(roofs,) if isinstance(roofs, Roof) else tuple(roofs), conveyance=conveyance, **settings
    )
    _, rows = run_lanes(steps, [catchment], drying, INTENSITY, trace=True)
    data = label_days(steps.label(rows), catchment, steps.array)
    day = data.time.dt.floor("D").rename("day")
    by_day = data.groupby(day)
    flows = by_day.sum()
    out = flows.assign(held=by_day.last().held).rename(day="time")
    for name in out.data_vars:
        out[name] = out[name].transpose(*data[name].dims)
        out[name].attrs = attributes(name)
    out.attrs = data.attrs
    return out[list(data.data_vars)]


def daily_rain(rain_rate: xr.DataArray | pd.Series) -> xr.DataArray:
    """Add hourly or finer rain up to days, midnight to midnight.

    Parameters
    ----------
    rain_rate : DataArray or Series [mm/h]
        Rain on an even ``time`` without gaps, each step stamped by its start.

    Returns
    -------
    DataArray [mm/day]
        Rain of each day.

    Raises
    ------
    InputError
        If the rain has gaps or its step does not divide a day.

    Examples
    --------
    >>> hours = pd.date_range("2001-01-01", periods=48, freq="h")
    >>> daily_rain(pd.Series([0.5] * 24 + [0.0] * 24, index=hours)).values
    array([12.,  0.])
    """
    steps = _finer(rain_rate)
    depth = steps.array * steps.hours
    out = depth.groupby(depth.time.dt.floor("D").rename("day")).sum().rename(day="time").rename("rain")
    out.attrs = (
        {**rain_rate.attrs, **attributes("rain")}
        if isinstance(rain_rate, xr.DataArray)
        else attributes("rain")
    )
    return out.transpose("time", ...)


def compare_steps(
    rain_rate: xr.DataArray | pd.Series,
    roofs: Roof | Sequence[Roof],
    conveyance: Conveyance | None = None,
    *,
    intensity: Intensity | None = None,
    heaviest: int = 10,
    **settings: float | None,
) -> pd.DataFrame:
    """Say how far the daily shortcut is off the same chain run at the step of the rain.

    Parameters
    ----------
    rain_rate : DataArray or Series [mm/h]
        One series of hourly or finer rain.
    roofs : Roof or sequence of Roof
        The roofs connected.
    conveyance : Conveyance, optional
        The run of pipe to the tank.
    intensity : Intensity, optional
        What the shortcut is told of how hard it rains; estimated from the same rain if not given.
    heaviest : int [day]
        How many of the heaviest days are looked at apart.
    **settings
        As `collect_finer`.

    Returns
    -------
    DataFrame
        Rows: rain on the roofs, inflow and each loss. Columns: litres by the finer step and by the daily
        shortcut over the whole record and over the heaviest days, and the error as a share of the rain.

    Raises
    ------
    InputError
        As `collect_finer` and `rainharvest.catchment.intensity.estimate_intensity`.
    """
    told = intensity or estimate_intensity(rain_rate)
    days = daily_rain(rain_rate)
    fine = collect_finer(rain_rate, roofs, conveyance, **settings)
    short = collect(days, roofs, conveyance, intensity=told, **settings)
    top = np.sort(np.argsort(days.values)[::-1][:heaviest])
    columns = {}
    for label, pick in (("all days", slice(None)), (f"{heaviest} heaviest days", top)):
        finer, daily = (_sums(data.isel(time=pick)) for data in (fine, short))
        columns[f"{label}, finer step [L]"] = finer
        columns[f"{label}, daily shortcut [L]"] = daily
        columns[f"{label}, error [share of rain]"] = (daily - finer) / finer["rain on the roofs"]
    return pd.DataFrame(columns)


def shortcut_error(
    rain_rate: xr.DataArray | pd.Series,
    limits: Sequence[float],
    intensity: Intensity | None = None,
    heaviest: int = 10,
) -> pd.DataFrame:
    """Say how far the closed form is off at each limit, for the record and for its heaviest days.

    Parameters
    ----------
    rain_rate : DataArray or Series [mm/h]
        One series of hourly or finer rain.
    limits : sequence of float [mm/h]
        Limits of intensity.
    intensity : Intensity, optional
        What the closed form is told; estimated from the same rain if not given.
    heaviest : int [day]
        How many of the heaviest days are looked at apart.

    Returns
    -------
    DataFrame
        By limit: the share that passes in truth and by the closed form, and the error, for both.

    Raises
    ------
    InputError
        As `rainharvest.catchment.intensity.estimate_intensity`.
    """
    steps = _finer(rain_rate)
    told = intensity or estimate_intensity(rain_rate)
    days = daily_rain(rain_rate)
    mean = day_intensity(days, told).values
    top = np.argsort(days.values)[::-1][:heaviest]
    index = pd.DatetimeIndex(steps.array.indexes["time"]).floor("D")
    in_top = index.isin(days.indexes["time"][top])
    rate = steps.depth[:, 0] / steps.hours
    rows = []
    for limit in limits:
        share = share_below(limit, mean, told.variation)
        row = {"limit": limit}
        for label, fine, pick in (("all", slice(None), slice(None)), ("heaviest", in_top, top)):
            truth = np.minimum(rate[fine], limit).sum() / rate[fine].sum()
            shortcut = (share[pick] * days.values[pick]).sum() / days.values[pick].sum()
            row |= {
                f"{label}_truth": truth,
                f"{label}_shortcut": shortcut,
                f"{label}_error": shortcut - truth,
            }
        rows.append(row)
    return pd.DataFrame(rows).set_index("limit")


def _finer(rain: xr.DataArray | pd.Series) -> Rain:
    """Check a rate in mm/h whose step divides a day, and lay it out as depths."""
    steps = read_steps(rain, "rain_rate")
    if steps.hours > 12 or abs(24 / steps.hours - round(24 / steps.hours)) > 1e-9:
        raise InputError(
            f"steps of {steps.hours:g} h do not divide a day", "give steps of an hour or less", "rain_rate"
        )
    return steps


def _sums(data: xr.Dataset) -> pd.Series:
    lost = data.lost.sum("time")
    return pd.Series(
        {"rain on the roofs": float(data.rain_on_roof.sum()), "inflow": float(data.inflow.sum())}
        | {name: float(lost.sel(loss=name)) for name in LOSSES}
    )
