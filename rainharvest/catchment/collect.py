"""From the rain on the roofs to the litres at the tank inlet, by the day or a finer step."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
import xarray as xr

import rainharvest
from rainharvest.catchment.chain import LOSSES, ROWS, STORES, run_lanes
from rainharvest.catchment.intensity import Intensity, Rain, estimate_intensity, read_daily, read_steps
from rainharvest.catchment.tables import (
    DRYING,
    FILTER_EFFICIENCY,
    FIRST_FLUSH,
    FIRST_FLUSH_BLEED,
    FIRST_FLUSH_RESET,
    INTENSITY,
    Catchment,
    Conveyance,
    Roof,
    make_catchment,
)
from rainharvest.core.errors import require
from rainharvest.core.quantities import attributes


def collect(
    rain: xr.DataArray | pd.Series,
    roofs: Roof | Sequence[Roof],
    conveyance: Conveyance | None = None,
    *,
    first_flush: float = FIRST_FLUSH.value,
    first_flush_bleed: float = FIRST_FLUSH_BLEED.value,
    first_flush_reset: float | None = FIRST_FLUSH_RESET.value,
    filter_efficiency: float = FILTER_EFFICIENCY.value,
    drying: float | xr.DataArray = DRYING.value,
    intensity: Intensity = INTENSITY,
) -> xr.Dataset:
    """Return the water that reaches the tank inlet each day, and every litre that does not, by cause.

    rain_on_roof = inflow + sum of lost + change of held, on every day. The order of the chain is that of
    `rainharvest.catchment.chain.LOSSES`. Gutter and pipe limits act on how hard it rains within the day,
    see `rainharvest.catchment.intensity`.

    Parameters
    ----------
    rain : DataArray or Series [mm/day]
        Daily rain on ``time`` without gaps; further dimensions (member, site) are carried through.
    roofs : Roof or sequence of Roof
        The roofs connected.
    conveyance : Conveyance, optional
        The run of pipe to the tank; without one nothing is lost on the way.
    first_flush : float [mm]
        Depth turned away at the start of an event, on the plan area of each roof.
    first_flush_bleed : float [L/day]
        What the bleed of each roof's first-flush space lets out.
    first_flush_reset : float [day], optional
        Dry days in a row after which the space is empty again; never if None.
    filter_efficiency : float [1]
        Share of the flow that screens and filters let through.
    drying : float or DataArray [mm/day]
        Most that a wet roof loses to the air in a day.
    intensity : Intensity
        How hard it rains; matters only where a gutter or a pipe has a limit.

    Returns
    -------
    Dataset
        ``rain_on_roof`` and ``inflow`` (L/day), ``lost`` by ``loss`` (L/day) and ``held`` by ``store``
        (L at the end of the day).

    Raises
    ------
    InputError
        If the rain is not daily or has gaps, a value is outside its limits, or the run cannot work.

    Examples
    --------
    >>> days = pd.date_range("2001-01-01", periods=3)
    >>> rain = pd.Series([10.0, 0.0, 4.0], index=days)
    >>> roof = Roof(area=100, runoff_coefficient=0.9, wetting=0.0)
    >>> water = collect(rain, roof, first_flush=0.5, filter_efficiency=1.0)
    >>> water.inflow.values
    array([850.,   0., 360.])
    >>> water.lost.sel(loss="runoff coefficient").values
    array([100.,   0.,  40.])
    """
    steps = read_daily(rain)
    catchment = make_catchment(
        roofs=_several(roofs),
        conveyance=conveyance,
        first_flush=first_flush,
        first_flush_bleed=first_flush_bleed,
        first_flush_reset=first_flush_reset,
        filter_efficiency=filter_efficiency,
    )
    _, rows = run_lanes(steps, [catchment], drying, intensity, trace=True)
    return label_days(steps.label(rows), catchment, steps.array)


def _several(roofs: Roof | Sequence[Roof]) -> tuple[Roof, ...]:
    return (roofs,) if isinstance(roofs, Roof) else tuple(roofs)


def collect_totals(
    rain: xr.DataArray | pd.Series,
    catchments: Sequence[Catchment],
    *,
    drying: float | xr.DataArray = DRYING.value,
    intensity: Intensity = INTENSITY,
) -> xr.Dataset:
    """Return the totals of many catchments over one record, for comparison.

    >>> rain = pd.Series([10.0, 0.0, 4.0], index=pd.date_range("2001-01-01", periods=3))
    >>> two = [
    ...     Catchment(roofs=(Roof(area=a, wetting=0),), first_flush=0, filter_efficiency=1) for a in (50, 100)
    ... ]
    >>> collect_totals(rain, two).inflow.values
    array([210., 420.])
    """
    steps = read_daily(rain)
    total, _ = run_lanes(steps, list(catchments), drying, intensity, trace=False)
    sizes = steps.array.shape[1:]
    dims = ("row", "catchment", *steps.array.dims[1:])
    coords = {d: steps.array[d].variable for d in steps.array.dims[1:] if d in steps.array.indexes}
    total[: -len(STORES)] /= steps.depth.shape[0]
    return _by_name(xr.DataArray(total.reshape(*total.shape[:2], *sizes), dims=dims, coords=coords))


def label_days(rows: xr.DataArray, catchment: Catchment, rain: xr.DataArray) -> xr.Dataset:
    """Name the rows of the trace and say where they come from."""
    data = _by_name(rows)
    data.attrs = {
        "rainharvest_version": rainharvest.__version__,
        "catchment": catchment.model_dump_json(),
    } | {key: rain.attrs[key] for key in ("source_file", "sha256", "assumptions") if key in rain.attrs}
    return data


def _by_name(rows: xr.DataArray) -> xr.Dataset:
    first, last = ROWS.index(LOSSES[0]), ROWS.index(STORES[0])
    data = {
        "rain_on_roof": rows.isel(row=0),
        "inflow": rows.isel(row=1),
        "lost": rows.isel(row=slice(first, last)).rename(row="loss").assign_coords(loss=list(LOSSES)),
        "held": rows.isel(row=slice(last, None)).rename(row="store").assign_coords(store=list(STORES)),
    }
    for name, array in data.items():
        array.attrs = attributes(name)
    return xr.Dataset(data)


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

    >>> hours = pd.date_range("2001-01-01", periods=24, freq="h")
    >>> rain = pd.Series([0.0] * 20 + [30.0, 2.0, 0.0, 0.0], index=hours)
    >>> roof = Roof(area=120, runoff_coefficient=1, wetting=0, gutter_capacity=0.5)
    >>> water = collect_finer(rain, roof, first_flush=0, filter_efficiency=1)
    >>> water.inflow.values, water.lost.sel(loss="gutter capacity").values
    (array([2040.]), array([1800.]))
    """
    steps = _finer(rain_rate)
    catchment = make_catchment(roofs=_several(roofs), conveyance=conveyance, **settings)
    _, rows = run_lanes(steps, [catchment], drying, INTENSITY, trace=True)
    data = label_days(steps.label(rows), catchment, steps.array)
    days, per_day = data.time.values.astype("datetime64[D]"), round(24 / steps.hours)
    before = int((data.time.values[0] - days[0]) / np.timedelta64(1, "h") / steps.hours)
    out = {}
    for name, old in data.items():  # whole days side by side: grouping by day takes a hundred times as long
        turned = old.transpose(..., "time")
        pads = [(0, 0)] * (turned.ndim - 1) + [(before, -(before + days.size) % per_day)]
        padded = np.pad(turned.values, pads, mode="edge" if name == "held" else "constant")
        of_day = padded.reshape(*turned.shape[:-1], -1, per_day)
        values = of_day[..., -1] if name == "held" else of_day.sum(axis=-1)
        coords = {"time": np.unique(days).astype("datetime64[ns]")}
        coords |= {d: turned.coords[d].variable for d in turned.dims[:-1] if d in turned.coords}
        out[name] = xr.DataArray(values, coords, turned.dims, attrs=old.attrs).transpose(*old.dims)
    return xr.Dataset(out, attrs=data.attrs)


def daily_rain(rain_rate: xr.DataArray | pd.Series) -> xr.DataArray:
    """Add hourly or finer rain up to days, midnight to midnight.

    >>> hours = pd.date_range("2001-01-01", periods=48, freq="h")
    >>> daily_rain(pd.Series([0.5] * 24 + [0.0] * 24, index=hours)).values
    array([12.,  0.])
    """
    steps = _finer(rain_rate)
    depth = steps.array * steps.hours
    out = depth.groupby(depth.time.dt.floor("D").rename("day")).sum().rename(day="time").rename("rain")
    return out.transpose("time", ...).assign_attrs(steps.array.attrs | attributes("rain"))


def compare_steps(
    rain_rate: xr.DataArray | pd.Series,
    roofs: Roof | Sequence[Roof],
    conveyance: Conveyance | None = None,
    *,
    intensity: Intensity | None = None,
    heaviest: int = 10,
    **settings: float | None,
) -> pd.DataFrame:
    """Say how far the daily shortcut is off the same chain run at the step of the rain."""
    days = daily_rain(rain_rate)
    fine = collect_finer(rain_rate, roofs, conveyance, **settings)
    hardness = intensity or estimate_intensity(rain_rate)
    short = collect(days, roofs, conveyance, intensity=hardness, **settings)
    top = np.sort(np.argsort(days.values)[::-1][:heaviest])
    columns = {}
    for label, pick in (("all days", slice(None)), (f"{heaviest} heaviest days", top)):
        finer, daily = (_sums(data.isel(time=pick)) for data in (fine, short))
        columns |= {f"{label}, finer step [L]": finer, f"{label}, daily shortcut [L]": daily}
        columns[f"{label}, error [share of rain]"] = (daily - finer) / finer["rain on the roofs"]
    return pd.DataFrame(columns)


def _finer(rain: xr.DataArray | pd.Series) -> Rain:
    """Check a rate in mm/h whose step divides a day, and lay it out as depths."""
    steps = read_steps(rain, "rain_rate")
    whole = steps.hours <= 12 and abs(24 / steps.hours - round(24 / steps.hours)) <= 1e-9
    problem = f"steps of {steps.hours:g} h do not divide a day"
    require(whole, problem, "give steps of an hour or less", "rain_rate")
    return steps


def _sums(data: xr.Dataset) -> pd.Series:
    totals = data[["rain_on_roof", "inflow"]].sum()
    lost = data.lost.sum("time").to_series()
    return pd.Series(
        {"rain on the roofs": float(totals.rain_on_roof), "inflow": float(totals.inflow)} | lost.to_dict()
    )
