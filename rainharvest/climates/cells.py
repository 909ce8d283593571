"""The study of one building at many places at once: one function, whole or lazy, alone or on a cluster."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from types import MappingProxyType

import numpy as np
import pandas as pd
import xarray as xr

from rainharvest.catchment.chain import LOSSES
from rainharvest.catchment.compare import BORES, NEARLY
from rainharvest.catchment.hydraulics import STANDING_LIMIT, cannot_work
from rainharvest.catchment.intensity import Intensity
from rainharvest.catchment.tables import DRYING, INTENSITY, Catchment, make_catchment
from rainharvest.climates.statistics import STATISTICS, WET_DAY, months_of, statistics_of
from rainharvest.climates.tank_sizes import MEASURES, Asked, measures
from rainharvest.climates.wet_days import Caught, catch, on_days
from rainharvest.core.defaults import rows_of
from rainharvest.core.errors import InputError, require
from rainharvest.core.quantities import DAYS_A_YEAR, attributes
from rainharvest.rainfall.calendars import SHORT
from rainharvest.rainfall.fill import fill_gaps
from rainharvest.rainfall.read_columns import check_mean, in_mm
from rainharvest.sizing.smallest import smallest_within
from rainharvest.storage.arrangements import arrangement_settings
from rainharvest.storage.simulate import common_time, simulate

ARRANGEMENTS = ("rain only", "combined")

"""Arrangements in which the climate matters; a mains reserve takes no rain."""


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

    @cached_property
    def with_bores(self) -> list[Catchment]:
        """The catchment of the first wet run with each bore that is tried, the smallest first."""
        one = self.catchments[self.wet_run]
        run = one.conveyance.model_dump(exclude_unset=True)
        return [
            make_catchment(**(dict(one) | {"conveyance": run | {"bore": float(bore)}}))
            for bore in sorted(self.bores)
        ]

    @property
    def wet_run(self) -> str | None:
        """Name of the first wet run, for which bores are tried."""
        runs = {name: catchment.conveyance for name, catchment in self.catchments.items()}
        return next((name for name, run in runs.items() if run is not None and run.kind == "wet"), None)

    @property
    def coords(self) -> dict[str, tuple]:
        """The coordinates of what is kept of each place."""
        return {
            "conveyance": ("conveyance", list(self.catchments), attributes("conveyance")),
            "arrangement": ("arrangement", list(self.arrangements), attributes("arrangement")),
            "capacity": ("capacity", np.array(self.capacity, dtype=float), attributes("capacity")),
            "loss": ("loss", list(LOSSES), {"long_name": "Cause of the loss"}),
        }

    @property
    def sizes(self) -> dict[str, int]:
        """How many there are along each dimension of what is kept."""
        return {dim: len(values) for dim, (_, values, _) in self.coords.items()}

    def check(self, days: pd.Index) -> None:
        """Refuse a plan that cannot be computed, or whose demand is not of the days of the rain."""
        require(self.catchments, "there is no run of pipe", "give at least one catchment", "catchments")
        for name, catchment in self.catchments.items():
            answer = catchment.conveyance is not None and cannot_work(catchment.conveyance)
            if answer:
                raise InputError(*answer, f"conveyance.{name}")
        rising = self.capacity and self.capacity[0] >= 0 and (np.diff(self.capacity) > 0).all()
        require(rising, "the tank sizes do not rise from zero", "give each once, smallest first", "capacity")
        remedy = f"give one of {', '.join(ARRANGEMENTS)}"
        require(self.arrangements, "there is no arrangement", remedy, "arrangements")
        for kind in self.arrangements:
            problem = f'"{kind}" is the same in every climate, or unknown'
            require(kind in ARRANGEMENTS, problem, remedy, "arrangements")
        problem, remedy = f"{self.target:g} is no reliability", "give a share above 0 and up to 1"
        require(0 < self.target <= 1, problem, remedy, "target")
        problem, remedy = "demand and rain do not cover the same days", "make the demand on the rain's days"
        require(self.demand.indexes["time"].equals(days), problem, remedy, "demand")

    def settings(self, arrangement: str, sizes: xr.DataArray) -> dict[str, object]:
        """Return the settings of the balance for an arrangement and sizes."""
        return arrangement_settings(arrangement, sizes, start_share=self.start_share) | {"theta": self.theta}


BLOCK = 16

"""Places worked at a time: few, so that what passes between the stages stays near the processor."""

DECADE = 10

"""Years on end of the driest decade."""


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


def over_cells(
    rain: xr.DataArray,
    plan: Plan,
    mean_intensity: xr.DataArray | float | None = None,
    calendar: str | None = None,
    own: Mapping[str, Callable[[xr.Dataset], float]] | None = None,
    capacity: float | None = None,
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
        How hard it rains at each place; the plan's by default. A coordinate ``variation`` says how much that varies
        within the wet hours there, as `rainharvest.catchment.intensity.Intensity` does.
    calendar : str, optional
        Calendar in which the rain was made, where it has been set on the days of the year already: that of the
        time axis by default.
    own : dict of str to function, optional
        Statistics of your own, by name. Each is given, place by place, the Dataset of `rainharvest.simulate` with
        its daily trace (``stored``, ``drawn_daily``, ...) and yearly measures, on ``conveyance``, and the daily
        ``rain``, ``inflow`` and ``demand``; it returns one number.
    capacity : float, optional [L]
        Usable size of the tank of your own statistics, in the first arrangement.

    Returns
    -------
    Dataset
        `VARIABLES` at each place, among them `rainharvest.climates.cells.STATISTICS`, the days of its record
        (``record_days``) and their first year; and your own.

    Raises
    ------
    InputError
        If the rain is not of days one after the other, is below zero or of no unit of rain, the demand does not cover
        its days, the plan cannot work, or a statistic of your own gives no number.

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
    >>> own = {"mean_stored": lambda tank: tank.stored.mean()}
    >>> over_cells(rain, plan, own=own, capacity=5000.0).mean_stored.values.round()
    array([4484.,  202.])
    """
    labelled = isinstance(rain, xr.DataArray) and "time" in rain.indexes
    require(labelled, "the rain has no time axis", "give a DataArray on time and places", "rain")
    rain, own = in_mm(rain), dict(own or {})
    common_time(rain=rain)
    plan.check(rain.indexes["time"])
    for name in own:
        problem, remedy = f"the results have a {name!r} already", "give your statistic another name"
        require(name not in VARIABLES, problem, remedy, "own")
    sized = not own or (capacity is not None and capacity >= 0)
    require(sized, "a statistic of your own needs a tank", "give its usable size in litres", "capacity")
    if isinstance(rain.indexes["time"], xr.CFTimeIndex):
        calendar = rain.indexes["time"].calendar
        moved = {"calendar": "standard", "align_on": "year", "use_cftime": False}
        rain = rain.convert_calendar(**moved, missing=np.nan).transpose(*rain.dims)
        asked = plan.demand.convert_calendar(**moved).reindex(time=rain.time, method="ffill")
        plan = replace(plan, demand=asked)
    if rain.chunks is not None:
        rain = rain.chunk(time=-1)
    hard = plan.intensity.mean_intensity if mean_intensity is None else mean_intensity
    varies = plan.intensity.variation
    if isinstance(hard, xr.DataArray):
        varies = hard.coords.get("variation", xr.DataArray(varies)).reset_coords(drop=True)
        hard = in_mm(hard, "mean_intensity", "hour").drop_vars("variation", errors="ignore")
    names = VARIABLES | dict.fromkeys(own, ())
    out = xr.apply_ufunc(
        compute_places,
        rain,
        hard,
        varies,
        input_core_dims=[["time"], [], []],
        output_core_dims=[list(dims) for dims in names.values()],
        dask="parallelized",
        output_dtypes=[float] * len(names),
        dask_gufunc_kwargs={"output_sizes": plan.sizes},
        kwargs={
            "plan": plan,
            "days": rain.indexes["time"],
            "calendar": calendar or "standard",
            "own": own,
            "capacity": capacity,
        },
    )
    named = dict(zip(names, out, strict=True))
    for name, array in named.items():
        array.attrs = {"long_name": name} if name in own else attributes_of_result(name)
    return xr.Dataset(named).assign_coords(plan.coords).drop_vars("time", errors="ignore")


def compute_places(
    rain: np.ndarray,
    hard,
    varies,
    plan: Plan,
    days: pd.DatetimeIndex,
    calendar: str = "standard",
    own: Mapping[str, Callable] = MappingProxyType({}),
    capacity: float | None = None,
) -> tuple[np.ndarray, ...]:
    """Compute places block by block; the numpy core of `over_cells`."""
    shape, sizes = rain.shape[:-1], plan.sizes
    flat = rain.reshape(-1, rain.shape[-1])
    mean, variation = (
        np.broadcast_to(np.asarray(one, dtype=float), shape).reshape(-1) for one in (hard, varies)
    )
    names = VARIABLES | dict.fromkeys(own, ())
    out = {n: np.full((flat.shape[0], *(sizes[d] for d in dims)), np.nan) for n, dims in names.items()}
    if calendar in SHORT:
        flat = fill_lacking(flat, days, calendar)
    for (first, end), places in own_records(flat, np.isfinite(mean)).items():
        part = replace(plan, demand=plan.demand[first:end])
        asked = Asked.of(part.demand, plan.year_start_month)
        work = Work(part, days[first:end], calendar, asked, own, capacity)
        for k in range(0, len(places), BLOCK):
            these = places[k : k + BLOCK]
            depth = np.ascontiguousarray(flat[these, first:end], dtype=float)
            for name, values in work.block(depth, (mean[these], variation[these])).items():
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


@dataclass(frozen=True)
class Work:
    """What all places with the same days have in common."""

    plan: Plan
    days: pd.DatetimeIndex
    calendar: str
    asked: Asked
    own: Mapping[str, Callable]
    capacity: float | None

    def block(self, rain: np.ndarray, hard: tuple[np.ndarray, np.ndarray]) -> dict[str, np.ndarray]:
        """Compute places whose rain is known, by place and day, and how hard it falls: the mean and its variation."""
        plan, years = self.plan, self.days.size / DAYS_A_YEAR
        out = dict(zip(STATISTICS, statistics_of(rain, self.days, plan.wet_day, self.calendar), strict=True))
        check_mean(out["rain_year"].max() / DAYS_A_YEAR)
        require(rain.min() >= 0, "rain is below zero", "take such days out, or fill them", "rain")
        out["mean_intensity"] = hard[0]
        out["record_days"], out["first_year"] = (
            np.full(len(rain), float(n)) for n in (self.days.size, self.days[0].year)
        )
        caught = catch(rain, hard, list(plan.catchments.values()), plan.intensity.depth_growth, plan.drying)
        out["caught_a_year"] = caught.rain_on_roof / years
        out["brought_a_year"] = caught.brought / years
        out["lost_a_year"] = caught.lost / years
        old = caught.stood > plan.standing_limit
        out["standing_share"] = (caught.stood > 0).mean(axis=2)
        out["longest_standing"] = caught.stood.max(axis=2)
        out["standing_spells_a_year"] = (old[..., :-1] & ~old[..., 1:]).sum(axis=2) / years
        out["standing_spells_a_year"] += old[..., -1] / years
        done = [self.every_size(caught, kind) for kind in plan.arrangements]
        out |= {name: np.stack([one[name] for one in done], axis=2) for name in done[0]}
        out["best_bore"] = self.best_bore(rain, hard, out["reaching"][..., 0])
        return out | (self.own_statistics(rain, caught) if self.own else {})

    def own_statistics(self, rain: np.ndarray, caught: Caught) -> dict[str, np.ndarray]:
        """Hand the daily trace of each place to the statistics that the caller brought."""
        plan, out = self.plan, {name: np.empty(len(rain)) for name in self.own}
        labels = {"conveyance": list(plan.catchments), "time": self.days}
        settings = plan.settings(plan.arrangements[0], xr.DataArray(self.capacity))
        settings |= {"year_start_month": plan.year_start_month, "trace": True}
        for p, inflow in enumerate(on_days(caught.flow, caught.when)):
            flow = xr.DataArray(inflow, labels, ("conveyance", "time"))
            done = simulate(flow, plan.demand, self.capacity, **settings).isel(capacity=0, drop=True)
            done = done.assign(rain=("time", rain[p]), inflow=flow, demand=plan.demand)
            for name, statistic in self.own.items():
                found = np.asarray(statistic(done))
                problem = (
                    f"{name!r} gave {found.size} values" if found.size != 1 else f"{name!r} gave no number"
                )
                one = found.size == 1 and found.dtype.kind in "iufb"
                require(one, problem, "return one number for each place", "own")
                out[name][p] = found.item()
        return out

    def every_size(self, caught: Caught, kind: str) -> dict[str, np.ndarray]:
        """Simulate every size; values by place, conveyance and, most of them, capacity."""
        shape, years = caught.brought.shape, self.days.size / DAYS_A_YEAR
        sizes, every = np.array(self.plan.capacity, dtype=float), np.arange(caught.brought.size)
        done = self.tanks(caught, every, np.tile(sizes, (every.size, 1)), kind)
        total = caught.brought.reshape(-1, 1)
        of_year = np.moveaxis(done["yield_by_year"], 1, 2)

        def reach(lanes: np.ndarray, tried: np.ndarray) -> np.ndarray:
            return self.tanks(caught, lanes, tried, kind)[self.plan.measure]

        out = {
            "volume_reliability": done["volume_reliability"],
            "time_reliability": done["time_reliability"],
            "yearly_yield": done["delivered"] / years,
            "failed_a_year": done["days_failed"] / years,
            "longest_failure": done["longest_failure"],
            "spilled_share": done["spilled"] / np.where(total > 0, total, np.inf),
            "mains_a_year": done["mains"] / years,
            "driest_decade_yield": driest_decade(of_year, self.asked.days_in_year),
            "reaching": smallest_within(reach, sizes, done[self.plan.measure], self.plan.target),
        }
        return {name: values.reshape(*shape, *values.shape[1:]) for name, values in out.items()}

    def tanks(self, caught: Caught, lanes: np.ndarray, sizes: np.ndarray, kind: str) -> dict[str, np.ndarray]:
        """Simulate lanes of the inflow, each with its row of rising sizes: by the balance of many where that holds."""
        plan, days = self.plan, self.days.size
        if kind == "rain only" and plan.theta == 0:
            flow = caught.flow.reshape(-1, days)
            done = measures(flow, caught.when, lanes, self.asked, sizes, plan.start_share)
            return done | {"mains": np.zeros(sizes.shape)}
        time = xr.DataArray(self.days, dims="time", name="time")
        size = xr.DataArray(sizes, dims=("lane", "capacity"))
        inflow = on_days(caught.flow, caught.when).reshape(-1, days)[lanes]
        series = xr.DataArray(inflow, {"time": time}, ("lane", "time"))
        settings = plan.settings(kind, size) | {"year_start_month": plan.year_start_month}
        done = simulate(series, plan.demand, size, **settings).transpose("lane", ..., "capacity")
        return {name: done[name].values for name in MEASURES} | {
            "mains": done.mains_by_year.sum("year").values
        }

    def best_bore(self, rain: np.ndarray, hard: tuple, reaching: np.ndarray) -> np.ndarray:
        """Return the bore of the wet run with which the tank that reaches the target delivers most rain at each place.

        Where no size reaches it by the run as drawn, with the largest size; of bores that are alike, the smallest.
        """
        plan, bores = self.plan, np.array(sorted(self.plan.bores), dtype=float)
        if plan.wet_run is None or not bores.size:
            return np.full(len(rain), np.nan)
        size = reaching[:, list(plan.catchments).index(plan.wet_run)]
        size = np.where(np.isfinite(size), size, plan.capacity[-1])
        caught = catch(rain, hard, plan.with_bores, plan.intensity.depth_growth, plan.drying, standing=False)
        every = np.arange(caught.brought.size)
        done = self.tanks(caught, every, np.repeat(size, bores.size)[:, None], plan.arrangements[0])
        water = (done["delivered"] - done["mains"]).reshape(len(rain), bores.size)
        return bores[(water >= water.max(axis=1, keepdims=True) * (1 - NEARLY)).argmax(axis=1)]


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
