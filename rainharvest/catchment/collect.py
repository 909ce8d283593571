"""From the rain on the roofs to the litres at the tank inlet, and where the rest went."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
import xarray as xr

import rainharvest
from rainharvest.catchment.chain import LOSSES, ROWS, STORES
from rainharvest.catchment.conveyance import Conveyance
from rainharvest.catchment.intensity import Intensity
from rainharvest.catchment.lanes import run_lanes
from rainharvest.catchment.parts import (
    DRYING,
    FILTER_EFFICIENCY,
    FIRST_FLUSH,
    FIRST_FLUSH_BLEED,
    FIRST_FLUSH_RESET,
    INTENSITY,
    Catchment,
    make_catchment,
)
from rainharvest.catchment.roofs import Roof
from rainharvest.catchment.steps import read_daily
from rainharvest.errors import InputError
from rainharvest.names import attributes


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
        roofs=(roofs,) if isinstance(roofs, Roof) else tuple(roofs),
        conveyance=conveyance,
        first_flush=first_flush,
        first_flush_bleed=first_flush_bleed,
        first_flush_reset=first_flush_reset,
        filter_efficiency=filter_efficiency,
    )
    _, rows = run_lanes(steps, [catchment], drying, intensity, trace=True)
    return label_days(steps.label(rows), catchment, steps.array)


def collect_totals(
    rain: xr.DataArray | pd.Series,
    catchments: Sequence[Catchment],
    *,
    drying: float | xr.DataArray = DRYING.value,
    intensity: Intensity = INTENSITY,
) -> xr.Dataset:
    """Return the totals of many catchments over one record, for comparison.

    Parameters
    ----------
    rain : DataArray or Series [mm/day]
        Daily rain on ``time`` without gaps; further dimensions are carried through.
    catchments : sequence of Catchment
        What to compare.
    drying : float or DataArray [mm/day]
        Most that a wet roof loses to the air in a day.
    intensity : Intensity
        How hard it rains.

    Returns
    -------
    Dataset
        On the dimension ``catchment`` and those of the rain: ``rain_on_roof``, ``inflow``, ``lost`` by
        ``loss``, as means over the days of the record (L/day), and ``held`` (L) at its end.

    Raises
    ------
    InputError
        As `collect`.

    Examples
    --------
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
    """Name the rows of the trace and say where they come from.

    Parameters
    ----------
    rows : DataArray [L]
        Rows of `rainharvest.catchment.chain.ROWS` on ``row`` and ``time``, one value a day.
    catchment : Catchment
        What was run.
    rain : DataArray [mm/day]
        What it was run with.

    Returns
    -------
    Dataset
        As `collect`.
    """
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


def annual_yield(
    rain_year: float | np.ndarray, area: float | np.ndarray, coefficient: float = 0.8, loss: float = 24.0
) -> float | np.ndarray:
    """Return a year's yield of a roof by the published annual form, as a check on the daily chain.

    yield = coefficient x (rain - loss) x area, not below zero. It knows no seasons, no tank, no storms.

    Parameters
    ----------
    rain_year : float or array [mm/year]
        Rain of the year.
    area : float or array [m2]
        Plan area of the roof.
    coefficient : float [1]
        Share collected; 0.80 to 0.85 in the source.
    loss : float [mm/year]
        Absorption and wetting; 2 mm a month in the source.

    Returns
    -------
    float or array [L/year]
        Yield. Source: enHealth, Guidance on use of rainwater tanks, Australian Government 2010,
        Appendix B.

    Raises
    ------
    InputError
        If a value is below zero.

    Examples
    --------
    >>> float(annual_yield(rain_year=750, area=200))
    116160.0
    """
    for name, value in (
        ("rain_year", rain_year),
        ("area", area),
        ("coefficient", coefficient),
        ("loss", loss),
    ):
        if not (np.asarray(value) >= 0).all():
            raise InputError(f"{value} is not possible", "give zero or more", name)
    return np.maximum(np.asarray(rain_year) - loss, 0.0) * coefficient * area
