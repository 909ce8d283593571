"""The study of one building at many places at once: one function, whole or lazy, alone or on a cluster."""

from __future__ import annotations

import numpy as np
import pandas as pd
import xarray as xr

from rainharvest.catchment.chain import LOSSES, ROWS, STORES
from rainharvest.catchment.choose import NEARLY
from rainharvest.catchment.intensity import Intensity
from rainharvest.catchment.lanes import run_lanes
from rainharvest.catchment.parts import make_catchment
from rainharvest.catchment.standing import standing_days
from rainharvest.catchment.steps import Rain
from rainharvest.climates.plan import Plan
from rainharvest.climates.statistics import STATISTICS, statistics_of
from rainharvest.errors import InputError
from rainharvest.names import attributes
from rainharvest.storage.simulate import simulate

BLOCK = 64
"""Places worked at a time: a block of the loss chain's lanes."""
DECADE = 10
"""Years on end of the driest decade."""
DAYS_A_YEAR = 365.25

SIZED = ("conveyance", "arrangement", "capacity")
BY_SIZE = (
    "volume_reliability",
    "time_reliability",
    "yearly_yield",
    "failed_a_year",
    "longest_failure",
    "spilled_share",
    "driest_decade_yield",
    "mains_a_year",
)
VARIABLES: dict[str, tuple[str, ...]] = (
    dict.fromkeys(BY_SIZE, SIZED)
    | {"reaching": SIZED[:2], "brought_a_year": SIZED[:1], "lost_a_year": ("conveyance", "loss")}
    | dict.fromkeys(("standing_share", "longest_standing", "standing_spells_a_year"), SIZED[:1])
    | dict.fromkeys(("caught_a_year", "best_bore", *STATISTICS, "mean_intensity"), ())
)
"""What is kept of each place, with its dimensions."""


def coords_of(plan: Plan) -> dict[str, tuple]:
    """Return the coordinates of what is kept of each place.

    Parameters
    ----------
    plan : Plan
        The plan.

    Returns
    -------
    dict of str to tuple
        Dimension, values and attributes by name.
    """
    return {
        "conveyance": ("conveyance", list(plan.catchments), attributes("conveyance")),
        "arrangement": ("arrangement", list(plan.arrangements), attributes("arrangement")),
        "capacity": ("capacity", np.array(plan.capacity, dtype=float), attributes("capacity")),
        "loss": ("loss", list(LOSSES), {"long_name": "Cause of the loss"}),
    }


def over_cells(
    rain: xr.DataArray, plan: Plan, mean_intensity: xr.DataArray | float | None = None
) -> xr.Dataset:
    """Put one building to the rain of many places.

    Parameters
    ----------
    rain : DataArray [mm/day]
        On ``time`` and any further dimensions (site, latitude, longitude, member); in memory, or a dask array:
        then nothing is computed before it is asked for. A place with a missing day is missing in the results.
    plan : Plan
        The building. Its demand covers the days of the rain.
    mean_intensity : DataArray or float [mm/h], optional
        How hard it rains at each place; the plan's by default.

    Returns
    -------
    Dataset
        `VARIABLES` at each place, among them `rainharvest.climates.statistics.STATISTICS`.

    Raises
    ------
    InputError
        If rain and demand do not cover the same days.

    Examples
    --------
    >>> from rainharvest.catchment.parts import Catchment
    >>> from rainharvest.catchment.roofs import Roof
    >>> days = pd.date_range("2001-01-01", "2003-12-31")
    >>> rain = xr.DataArray(
    ...     [np.where(days.day % k == 0, 8.0, 0.0) for k in (4, 9)], {"time": days}, ("site", "time")
    ... )
    >>> plan = Plan(
    ...     {"none": Catchment(roofs=(Roof(area=100),))}, xr.full_like(rain[0], 100.0), (500.0, 5000.0)
    ... )
    >>> over_cells(rain, plan).volume_reliability.sel(capacity=5000).round(2).values.ravel()
    array([1.  , 0.58])
    """
    days = rain.indexes["time"]
    if plan.demand.sizes["time"] != days.size or not plan.demand.indexes["time"].equals(days):
        raise InputError(
            "demand and rain do not cover the same days", "make the demand on the rain's days", "demand"
        )
    if rain.chunks is not None:
        rain = rain.chunk(time=-1)
    hard = plan.intensity.mean_intensity if mean_intensity is None else mean_intensity
    coords = coords_of(plan)
    out = xr.apply_ufunc(
        work_places,
        rain,
        hard,
        input_core_dims=[["time"], []],
        output_core_dims=[list(dims) for dims in VARIABLES.values()],
        dask="parallelized",
        output_dtypes=[float] * len(VARIABLES),
        dask_gufunc_kwargs={"output_sizes": {d: len(values) for d, (_, values, _) in coords.items()}},
        kwargs={"plan": plan, "days": days},
    )
    for name, array in zip(VARIABLES, out, strict=True):
        array.attrs = attributes(name)
    return (
        xr.Dataset(dict(zip(VARIABLES, out, strict=True)))
        .assign_coords(coords)
        .drop_vars("time", errors="ignore")
    )


def work_places(rain: np.ndarray, hard, plan: Plan, days: pd.DatetimeIndex) -> tuple[np.ndarray, ...]:
    """Work places block by block; the numpy core of `over_cells`.

    Parameters
    ----------
    rain : ndarray [mm/day]
        Any dimensions, time last.
    hard : ndarray or float [mm/h]
        Mean wet-hour intensity of each place.
    plan : Plan
        The building.
    days : DatetimeIndex
        The days.

    Returns
    -------
    tuple of ndarray
        In the order of `VARIABLES`; missing where the rain has a missing day.
    """
    shape = rain.shape[:-1]
    flat = rain.reshape(-1, rain.shape[-1])
    hardness = np.broadcast_to(np.asarray(hard, dtype=float), shape).reshape(-1)
    sizes = {d: len(values) for d, (_, values, _) in coords_of(plan).items()}
    out = {n: np.full((flat.shape[0], *(sizes[d] for d in dims)), np.nan) for n, dims in VARIABLES.items()}
    # the sum of a place is missing if a day is: quicker than a table of true and false
    known = np.flatnonzero(np.isfinite(flat.sum(axis=1)) & np.isfinite(hardness))
    for first in range(0, known.size, BLOCK):
        these = known[first : first + BLOCK]
        for name, values in _work(np.ascontiguousarray(flat[these]), hardness[these], plan, days).items():
            out[name][these] = values
    return tuple(values.reshape((*shape, *values.shape[1:])) for values in out.values())


def _work(rain: np.ndarray, hard: np.ndarray, plan: Plan, days: pd.DatetimeIndex) -> dict[str, np.ndarray]:
    """Work one block of places whose rain is known, shape (places, days)."""
    time = xr.DataArray(days, dims="time", name="time")
    labelled = xr.DataArray(np.ascontiguousarray(rain.T), {"time": time}, ("time", "place"))
    steps = Rain(labelled.values, labelled, 24.0)
    if (hard == hard[0]).all():
        intensity = plan.intensity.model_copy(update={"mean_intensity": float(hard[0])})
    else:
        intensity = [plan.intensity.model_copy(update={"mean_intensity": float(h)}) for h in hard]
    out = dict(zip(STATISTICS, statistics_of(rain, days, plan.wet_day), strict=True))
    out["mean_intensity"] = hard
    inflow = _catch(steps, intensity, plan, time, out)
    for k, kind in enumerate(plan.arrangements):
        done = _balance(inflow, plan, kind)
        for name, values in done.items():
            shape = (values.shape[0], values.shape[1], len(plan.arrangements), *values.shape[2:])
            out.setdefault(name, np.empty(shape))[:, :, k] = values
    out["best_bore"] = _best_bore(steps, intensity, plan)
    return out


def _catch(steps: Rain, intensity, plan: Plan, time, out: dict[str, np.ndarray]) -> xr.DataArray:
    """Run the loss chain; what is lost and what stands goes into ``out``, the inflow is handed back."""
    count, years = steps.depth.shape[1], steps.depth.shape[0] / DAYS_A_YEAR
    drained, pipe = ROWS.index("held in pipe"), ROWS.index("pipe")
    catchments = list(plan.catchments.values())
    kept = (1,) if plan.wet_run is None else (1, drained, pipe)
    total, rows = run_lanes(steps, catchments, plan.drying, intensity, trace=kept)
    out["caught_a_year"] = total[0, 0] / years
    out["brought_a_year"] = total[1].T / years
    first = ROWS.index(LOSSES[0])
    out["lost_a_year"] = total[first : first + len(LOSSES)].transpose(2, 1, 0) / years
    shaped = rows.reshape(len(kept), -1, len(catchments), count)
    dims = ("time", "place")
    for name in ("standing_share", "longest_standing", "standing_spells_a_year"):
        out[name] = np.zeros((count, len(catchments)))
    for k, catchment in enumerate(catchments):
        if catchment.conveyance is None or catchment.conveyance.kind != "wet":
            continue
        water = xr.Dataset(
            {
                "inflow": (dims, shaped[0, :, k]),
                "lost": ((*dims, "loss"), shaped[1, :, k][..., None]),
                "held": ((*dims, "store"), shaped[2, :, k][..., None]),
            },
            {"loss": ["held in pipe"], "store": [STORES[-1]]},
        )
        stood = standing_days(water).transpose(*dims).values
        after = np.concatenate([stood[1:], np.zeros((1, count), stood.dtype)])
        out["standing_share"][:, k] = (stood > 0).mean(axis=0)
        out["longest_standing"][:, k] = stood.max(axis=0)
        out["standing_spells_a_year"][:, k] = ((after == 0) & (stood > plan.standing_limit)).sum(
            axis=0
        ) / years
    return xr.DataArray(shaped[0], {"time": time}, ("time", "conveyance", "place")).transpose("place", ...)


def _balance(inflow: xr.DataArray, plan: Plan, kind: str) -> dict[str, np.ndarray]:
    """Simulate every size; values on place, conveyance and, most of them, capacity."""
    done = simulate(
        inflow, plan.demand, plan.sizes, **plan.settings(kind), year_start_month=plan.year_start_month
    ).transpose("place", "conveyance", "capacity", ...)
    years = inflow.sizes["time"] / DAYS_A_YEAR
    total = done.inflow_total.values[..., None]
    out = {
        "volume_reliability": done.volume_reliability.values,
        "time_reliability": done.time_reliability.values,
        "yearly_yield": done.delivered.values / years,
        "failed_a_year": done.days_failed.values / years,
        "longest_failure": done.longest_failure.values,
        "spilled_share": done.spilled.values / np.where(total > 0, total, np.inf),
        "mains_a_year": done.mains_by_year.values.sum(axis=-1) / years,
        "driest_decade_yield": driest_decade(done.yield_by_year.values, done.days_in_year.values),
    }
    reached = out[plan.measure] >= plan.target * (1 - 1e-12)
    first = np.array(plan.capacity, dtype=float)[reached.argmax(axis=-1)]
    return out | {"reaching": np.where(reached.any(axis=-1), first, np.nan)}


def driest_decade(by_year: np.ndarray, days_in_year: np.ndarray) -> np.ndarray:
    """Return the least mean of ten whole years on end.

    Parameters
    ----------
    by_year : ndarray [L]
        Yield of each hydrological year, years last.
    days_in_year : ndarray [day]
        Days of each year within the record.

    Returns
    -------
    ndarray [L/year]
        Missing where there are fewer than ten whole years.

    Examples
    --------
    >>> float(driest_decade(np.r_[np.full(10, 5.0), np.full(10, 2.0)], np.full(20, 365)))
    2.0
    """
    whole = by_year[..., days_in_year >= 365]
    runs = whole.shape[-1] - DECADE + 1
    if runs < 1:
        return np.full(by_year.shape[:-1], np.nan)
    return sum(whole[..., k : k + runs] for k in range(DECADE)).min(axis=-1) / DECADE


def _best_bore(steps: Rain, intensity: Intensity | list[Intensity], plan: Plan) -> np.ndarray:
    """Return the bore of the wet run that brings most at each place, as `choose.best_bore` does for one."""
    count = steps.depth.shape[1]
    if plan.wet_run is None or not plan.bores:
        return np.full(count, np.nan)
    catchment = plan.catchments[plan.wet_run]
    whole = {name: getattr(catchment, name) for name in type(catchment).model_fields}
    run = catchment.conveyance.model_dump(exclude_unset=True)
    bores = np.array(sorted(plan.bores), dtype=float)
    tries = [make_catchment(**(whole | {"conveyance": run | {"bore": float(b)}})) for b in bores]
    brought = run_lanes(steps, tries, plan.drying, intensity, trace=False)[0][1]
    able = brought >= brought.max(axis=0) * (1 - NEARLY)
    return bores[able.argmax(axis=0)]
