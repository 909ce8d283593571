"""The study of one building at many places at once: one function, whole or lazy, alone or on a cluster."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
import xarray as xr

from rainharvest.catchment.chain import LOSSES, ROWS, STORES, run_lanes
from rainharvest.catchment.compare import BORES, NEARLY
from rainharvest.catchment.hydraulics import STANDING_LIMIT, cannot_work, standing_spells
from rainharvest.catchment.intensity import Intensity, Rain
from rainharvest.catchment.tables import DRYING, INTENSITY, Catchment, make_catchment
from rainharvest.climates.statistics import STATISTICS, WET_DAY, months_of, statistics_of
from rainharvest.core.defaults import rows_of
from rainharvest.core.errors import InputError, require
from rainharvest.core.quantities import attributes
from rainharvest.rainfall.calendars import SHORT
from rainharvest.rainfall.fill import fill_gaps
from rainharvest.rainfall.read_columns import check_mean, in_mm
from rainharvest.sizing.smallest import smallest_within
from rainharvest.storage.arrangements import arrangement_settings
from rainharvest.storage.simulate import simulate

ARRANGEMENTS = ("rain only", "combined")

"""Arrangements in which the climate matters; a mains reserve takes no rain."""


def is_wet(catchment: Catchment) -> bool:
    """Return whether a catchment has a wet run."""
    return catchment.conveyance is not None and catchment.conveyance.kind == "wet"


@dataclass(frozen=True)
class Plan:
    """One building, put to every climate alike.

    Parameters
    ----------
    catchments : dict of str to Catchment
        The same roofs with each run of pipe, by its name.
    demand : DataArray [L/day]
        Water asked of the tank, on ``time``.
    capacity : tuple of float [L]
        Usable tank sizes, rising.
    arrangements : tuple of str
        Of `ARRANGEMENTS`.
    target : float [1]
        Reliability that the tank must reach.
    measure : str
        "volume_reliability" or "time_reliability", of the first arrangement.
    intensity : Intensity
        How hard it rains; its mean gives way to that of the grid where the grid has one.
    drying : float [mm/day]
        Most that a wet roof loses to the air in a day.
    standing_limit : float [day]
        Standing water older than this counts as too old.
    wet_day : float [mm/day]
        A day with at least this much rain is wet.
    bores : tuple of float [mm]
        Bores of the wet run among which the best is sought; empty to leave that out, which saves time.
    theta : float [1]
        Storage operating parameter.
    start_share : float [1]
        Share of the tank that is full on the first morning.
    year_start_month : int [1]
        First month of the hydrological year.
    """

    catchments: dict[str, Catchment]
    demand: xr.DataArray
    capacity: tuple[float, ...]
    arrangements: tuple[str, ...] = ("rain only",)
    target: float = 0.9
    measure: str = "volume_reliability"
    intensity: Intensity = INTENSITY
    drying: float = DRYING.value
    standing_limit: float = STANDING_LIMIT.value
    wet_day: float = WET_DAY.value
    bores: tuple[float, ...] = BORES
    theta: float = 0.0
    start_share: float = 0.0
    year_start_month: int = 1

    @property
    def sizes(self) -> xr.DataArray:
        """The usable sizes as a setting of the balance [L]."""
        at = np.array(self.capacity, dtype=float)
        return xr.DataArray(at, {"capacity": at}, ("capacity",))

    @property
    def wet_run(self) -> str | None:
        """Name of the first wet run, for which bores are tried."""
        return next((name for name, catchment in self.catchments.items() if is_wet(catchment)), None)

    def settings(self, arrangement: str, sizes: xr.DataArray | None = None) -> dict[str, object]:
        """Return the settings of the balance for an arrangement, with the plan's sizes or others."""
        sizes = self.sizes if sizes is None else sizes
        return arrangement_settings(arrangement, sizes, start_share=self.start_share) | {"theta": self.theta}


def check_plan(plan: Plan) -> None:
    """Refuse a plan that cannot be computed, before anything is read."""
    require(plan.catchments, "there is no run of pipe", "give at least one catchment", "catchments")
    for name, catchment in plan.catchments.items():
        answer = catchment.conveyance is not None and cannot_work(catchment.conveyance)
        if answer:
            raise InputError(*answer, f"conveyance.{name}")
    sizes = np.array(plan.capacity, dtype=float)
    rising = sizes.size and sizes[0] >= 0 and (np.diff(sizes) > 0).all()
    require(rising, "the tank sizes do not rise from zero", "give each once, smallest first", "capacity")
    remedy = f"give one of {', '.join(ARRANGEMENTS)}"
    require(plan.arrangements, "there is no arrangement", remedy, "arrangements")
    for kind in plan.arrangements:
        problem = f'"{kind}" is the same in every climate, or unknown'
        require(kind in ARRANGEMENTS, problem, remedy, "arrangements")
    problem = f"{plan.target:g} is no reliability"
    require(0 < plan.target <= 1, problem, "give a share above 0 and up to 1", "target")


BLOCK = 64

"""Places worked at a time: a block of the loss chain's lanes."""

DECADE = 10

"""Years on end of the driest decade."""

DAYS_A_YEAR = 365.25

YEAR = 365

"""Days that the record of a place must have."""


VARIABLES: dict[str, tuple[str, ...]] = {
    name: tuple(dims) for name, dims in rows_of("climates", "results")["results"].items()
}

"""What is kept of each place, with its dimensions."""


_METHODS = {name: how for how, names in rows_of("climates", "results")["methods"].items() for name in names}


def attributes_of_result(name: str) -> dict[str, object]:
    """Return the attributes of what is kept of each place, and how it was taken over the days, in the words of CF."""
    return attributes(name) | ({"cell_methods": f"time: {_METHODS[name]}"} if name in _METHODS else {})


def coords_of(plan: Plan) -> dict[str, tuple]:
    """Return the coordinates of what is kept of each place."""
    return {
        "conveyance": ("conveyance", list(plan.catchments), attributes("conveyance")),
        "arrangement": ("arrangement", list(plan.arrangements), attributes("arrangement")),
        "capacity": ("capacity", np.array(plan.capacity, dtype=float), attributes("capacity")),
        "loss": ("loss", list(LOSSES), {"long_name": "Cause of the loss"}),
    }


def sizes_of(plan: Plan) -> dict[str, int]:
    """Return how many there are along each dimension of what is kept."""
    return {dim: len(values) for dim, (_, values, _) in coords_of(plan).items()}


def same_days(demand: xr.DataArray, days: pd.Index) -> None:
    """Refuse a demand that does not cover the days of the rain."""
    problem = "demand and rain do not cover the same days"
    require(demand.indexes["time"].equals(days), problem, "make the demand on the rain's days", "demand")


def over_cells(
    rain: xr.DataArray,
    plan: Plan,
    mean_intensity: xr.DataArray | float | None = None,
    calendar: str | None = None,
) -> xr.Dataset:
    """Put one building to the rain of many places, each over its own record.

    Parameters
    ----------
    rain : DataArray [mm/day]
        On ``time`` and any further dimensions (site, latitude, longitude, member); in memory, or a dask array:
        then nothing is computed before it is asked for. Another unit that its attribute states is converted.
        Days unknown before the first and after the last that are known are not of a place's record; a place
        with a gap between them, or with less than a year, is missing in the results. Time may be of a climate
        model's calendar of 360 or 365 days (``cftime``): it is set on the days of the year, and the days that
        the calendar lacks are filled in each place, as `rainharvest.fill_gaps` does.
    plan : Plan
        The building. Its demand covers the days of the rain.
    mean_intensity : DataArray or float [mm/h], optional
        How hard it rains at each place; the plan's by default.
    calendar : str, optional
        Calendar in which the rain was made, where it has been set on the days of the year already: that of the
        time axis by default.

    Returns
    -------
    Dataset
        `VARIABLES` at each place, among them `rainharvest.climates.cells.STATISTICS`, the days of its record
        (``record_days``) and their first year.

    Raises
    ------
    InputError
        If rain and demand do not cover the same days, or the rain is of no unit of rain.

    Examples
    --------
    >>> from rainharvest.catchment.tables import Catchment
    >>> from rainharvest.catchment.tables import Roof
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
    rain = in_mm(rain)
    same_days(plan.demand, rain.indexes["time"])
    if isinstance(rain.indexes["time"], xr.CFTimeIndex):
        calendar = rain.indexes["time"].calendar
        moved = {"calendar": "standard", "align_on": "year", "use_cftime": False}
        rain = rain.convert_calendar(**moved, missing=np.nan).transpose(*rain.dims)
        asked = plan.demand.convert_calendar(**moved).reindex(time=rain.time, method="ffill")
        plan = replace(plan, demand=asked)
    if rain.chunks is not None:
        rain = rain.chunk(time=-1)
    hard = plan.intensity.mean_intensity if mean_intensity is None else mean_intensity
    hard = in_mm(hard, "mean_intensity", "hour") if isinstance(hard, xr.DataArray) else hard
    out = xr.apply_ufunc(
        compute_places,
        rain,
        hard,
        input_core_dims=[["time"], []],
        output_core_dims=[list(dims) for dims in VARIABLES.values()],
        dask="parallelized",
        output_dtypes=[float] * len(VARIABLES),
        dask_gufunc_kwargs={"output_sizes": sizes_of(plan)},
        kwargs={"plan": plan, "days": rain.indexes["time"], "calendar": calendar or "standard"},
    )
    named = dict(zip(VARIABLES, out, strict=True))
    for name, array in named.items():
        array.attrs = attributes_of_result(name)
    return xr.Dataset(named).assign_coords(coords_of(plan)).drop_vars("time", errors="ignore")


def compute_places(
    rain: np.ndarray, hard, plan: Plan, days: pd.DatetimeIndex, calendar: str = "standard"
) -> tuple[np.ndarray, ...]:
    """Compute places block by block; the numpy core of `over_cells`."""
    shape, sizes = rain.shape[:-1], sizes_of(plan)
    flat = rain.reshape(-1, rain.shape[-1])
    hardness = np.broadcast_to(np.asarray(hard, dtype=float), shape).reshape(-1)
    out = {n: np.full((flat.shape[0], *(sizes[d] for d in dims)), np.nan) for n, dims in VARIABLES.items()}
    if calendar in SHORT:
        flat = fill_lacking(flat, days, calendar)
    for (first, end), places in own_records(flat, np.isfinite(hardness)).items():
        part = slice(first, end)
        own = replace(plan, demand=plan.demand.isel(time=part))
        for k in range(0, len(places), BLOCK):
            these = places[k : k + BLOCK]
            depth = np.ascontiguousarray(flat[these, part])
            for name, values in _block(depth, hardness[these], own, days[part], calendar).items():
                out[name][these] = values
    return tuple(values.reshape((*shape, *values.shape[1:])) for values in out.values())


def own_records(rain: np.ndarray, fit: np.ndarray) -> dict[tuple[int, int], np.ndarray]:
    """Return the places by where their records begin and end; those with a gap or less than a year are left out.

    >>> rain = np.ones((3, 800))
    >>> rain[1, :20], rain[2, 400] = np.nan, np.nan
    >>> own_records(rain, np.full(3, True))
    {(0, 800): array([0]), (20, 800): array([1])}
    """
    # the sum of a place is missing if a day is: quicker than a table of true and false
    whole = np.isfinite(rain.sum(axis=1))
    found: dict[tuple[int, int], list[int]] = {}
    for place in np.flatnonzero(fit):
        if whole[place]:
            found.setdefault((0, rain.shape[1]), []).append(place)
            continue
        known = np.flatnonzero(np.isfinite(rain[place]))
        if known.size >= YEAR and known[-1] - known[0] + 1 == known.size:
            found.setdefault((int(known[0]), int(known[-1]) + 1), []).append(place)
    return {span: np.array(places) for span, places in found.items()}


def fill_lacking(rain: np.ndarray, days: pd.DatetimeIndex, calendar: str) -> np.ndarray:
    """Return rain with the days that a calendar lacks filled in each place that has rain, as any gap."""
    lacking = np.flatnonzero(months_of(days, calendar)[0] == 12)
    rain = rain.astype(float)
    for place in np.flatnonzero(np.isfinite(rain).any(axis=1)) if lacking.size else ():
        filled = fill_gaps(xr.DataArray(rain[place], {"time": days}, ("time",))).values[0]
        rain[place, lacking] = filled[lacking]
    return rain


def _block(
    rain: np.ndarray, hard: np.ndarray, plan: Plan, days: pd.DatetimeIndex, calendar: str
) -> dict[str, np.ndarray]:
    """Compute one block of places whose rain is known, shape (places, days)."""
    time = xr.DataArray(days, dims="time", name="time")
    labelled = xr.DataArray(np.ascontiguousarray(rain.T), {"time": time}, ("time", "place"))
    steps = Rain(labelled.values, labelled, 24.0)
    intensity = [plan.intensity.model_copy(update={"mean_intensity": float(h)}) for h in hard]
    if (hard == hard[0]).all():
        intensity = intensity[0]
    out = dict(zip(STATISTICS, statistics_of(rain, days, plan.wet_day, calendar), strict=True))
    check_mean(out["rain_year"].max() / DAYS_A_YEAR)
    out["mean_intensity"] = hard
    out["record_days"], out["first_year"] = (np.full(hard.size, float(n)) for n in (days.size, days[0].year))
    inflow = _catch(steps, intensity, plan, time, out)
    done = [_balance(inflow, plan, kind) for kind in plan.arrangements]
    out |= {name: np.stack([one[name] for one in done], axis=2) for name in done[0]}
    out["best_bore"] = _best_bore(steps, intensity, plan)
    return out


def _catch(steps: Rain, intensity, plan: Plan, time, out: dict[str, np.ndarray]) -> xr.DataArray:
    """Run the loss chain; what is lost and what stands goes into ``out``, the inflow is handed back."""
    count, years = steps.depth.shape[1], steps.depth.shape[0] / DAYS_A_YEAR
    catchments = list(plan.catchments.values())
    kept = (1,) if plan.wet_run is None else (1, ROWS.index("held in pipe"), ROWS.index("pipe"))
    total, rows = run_lanes(steps, catchments, plan.drying, intensity, trace=kept)
    out["caught_a_year"] = total[0, 0] / years
    out["brought_a_year"] = total[1].T / years
    first = ROWS.index(LOSSES[0])
    out["lost_a_year"] = total[first : first + len(LOSSES)].transpose(2, 1, 0) / years
    rows = rows.reshape(len(kept), -1, len(catchments), count)
    dims = ("time", "place")
    for name in ("standing_share", "longest_standing", "standing_spells_a_year"):
        out[name] = np.zeros((count, len(catchments)))
    for k, catchment in enumerate(catchments):
        if not is_wet(catchment):
            continue
        water = xr.Dataset(
            {
                "inflow": (dims, rows[0, :, k]),
                "lost": ((*dims, "loss"), rows[1, :, k][..., None]),
                "held": ((*dims, "store"), rows[2, :, k][..., None]),
            },
            {"loss": ["held in pipe"], "store": [STORES[-1]]},
        )
        stood = standing_spells(water, plan.standing_limit)
        out["standing_share"][:, k] = stood.share
        out["longest_standing"][:, k] = stood.longest
        out["standing_spells_a_year"][:, k] = stood.spells_beyond / years
    return xr.DataArray(rows[0], {"time": time}, ("time", "conveyance", "place")).transpose("place", ...)


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
    return out | {"reaching": _reaching(inflow, plan, kind, out[plan.measure])}


def _reaching(inflow: xr.DataArray, plan: Plan, kind: str, reached: np.ndarray) -> np.ndarray:
    """Return the smallest size that reaches the target, to the litre within the step of the sizes tried."""
    rows = inflow.transpose("place", "conveyance", "time").values.reshape(-1, inflow.sizes["time"])
    series = xr.DataArray(rows, {"time": inflow.time}, ("lane", "time"))

    def reach(lanes: np.ndarray, sizes: np.ndarray) -> np.ndarray:
        size = xr.DataArray(sizes, dims=("lane", "capacity"))
        settings = plan.settings(kind, size)
        done = simulate(series.isel(lane=lanes), plan.demand, size, **settings)
        return done[plan.measure].transpose("lane", "capacity").values

    found = smallest_within(
        reach, np.array(plan.capacity, dtype=float), reached.reshape(-1, len(plan.capacity)), plan.target
    )
    return found.reshape(reached.shape[:-1])


def driest_decade(by_year: np.ndarray, days_in_year: np.ndarray) -> np.ndarray:
    """Return the least mean of ten whole years on end.

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
