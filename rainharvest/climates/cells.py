"""The study of one building at many places at once: one function, whole or lazy, alone or on a cluster."""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass

import numpy as np
import pandas as pd
import xarray as xr
from numba import njit

import rainharvest
from rainharvest.catchment.chain import LOSSES, ROWS, STORES, run_lanes
from rainharvest.catchment.compare import BORES, NEARLY
from rainharvest.catchment.hydraulics import STANDING_LIMIT, require_working, standing_days
from rainharvest.catchment.intensity import Intensity, Rain
from rainharvest.catchment.tables import DRYING, INTENSITY, Catchment, make_catchment
from rainharvest.climates.tiles import Grid
from rainharvest.core.defaults import Default
from rainharvest.core.errors import InputError
from rainharvest.core.quantities import attributes
from rainharvest.storage.arrangements import arrangement_settings
from rainharvest.storage.simulate import simulate

WET_DAY = Default(1.0, "mm/day", "WMO practice for counts of wet days", "from memory", 0.1, 1.0)


MONTH_DAYS = np.array([31, 28.25, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])


STATISTICS = ("rain_year", "wet_share", "mean_storm", "mean_dry_spell", "seasonality", "annual_cv")

"""Names in the order of the rows that `measure_climate` fills."""


@njit(cache=True, nogil=True, error_model="numpy")
def measure_climate(rain, month, year, whole, wet_day, out):  # pragma: no cover - compiled
    """Fill the statistics of each place, in the order of `STATISTICS`.

    A storm is a run of wet days; a dry spell is a run of days that are not wet, one that touches an end of the
    record included. Seasonality is the index of Walsh and Lawler (1981), sum over months of
    |mean rain of the month - mean rain of the year / 12| over the mean rain of the year: near 0 for even rain,
    11/6 for rain in one month. The variation is that of the whole calendar years.
    """
    days, years = rain.shape[1], whole.size
    by_year, by_month, length = np.zeros(years), np.zeros(12), np.zeros(12)
    for t in range(days):
        length[month[t]] += 1.0
    for c in range(rain.shape[0]):
        by_year[:] = 0.0
        by_month[:] = 0.0
        wet_days, storms, storm_rain, spells, total = 0, 0, 0.0, 0, 0.0
        was_wet = -1
        for t in range(days):
            fallen = rain[c, t]
            by_month[month[t]] += fallen
            by_year[year[t]] += fallen
            total += fallen
            is_wet = 1 if fallen >= wet_day else 0
            if is_wet == 1:
                wet_days += 1
                storm_rain += fallen
                storms += 1 if was_wet != 1 else 0
            else:
                spells += 1 if was_wet != 0 else 0
            was_wet = is_wet
        mean_year = total / days * 365.25
        of_months, uneven = 0.0, 0.0
        for m in range(12):
            by_month[m] *= MONTH_DAYS[m] / length[m] if length[m] > 0.0 else 0.0
            of_months += by_month[m]
        for m in range(12):
            uneven += abs(by_month[m] - of_months / 12)
        count, mean, square = 0, 0.0, 0.0
        for y in range(years):
            if whole[y]:
                count += 1
                mean += by_year[y]
        mean = mean / count if count > 0 else 0.0
        for y in range(years):
            if whole[y]:
                square += (by_year[y] - mean) ** 2
        out[0, c] = mean_year
        out[1, c] = wet_days / days
        out[2, c] = storm_rain / storms if storms > 0 else 0.0
        out[3, c] = (days - wet_days) / spells if spells > 0 else 0.0
        out[4, c] = uneven / of_months if of_months > 0.0 else 0.0
        out[5, c] = np.sqrt(square / (count - 1)) / mean if count > 1 and mean > 0.0 else np.nan


def statistics_of(rain: np.ndarray, days: pd.DatetimeIndex, wet_day: float = WET_DAY.value) -> np.ndarray:
    """Return the statistics of places whose rain is known throughout."""
    month = (days.month.to_numpy() - 1).astype(np.int64)
    year = (days.year.to_numpy() - days.year[0]).astype(np.int64)
    first = pd.Timestamp(days.year[0], 1, 1)
    ends = [first + pd.DateOffset(years=int(k)) for k in range(year[-1] + 2)]
    whole = np.bincount(year) == np.array([(b - a).days for a, b in zip(ends, ends[1:], strict=False)])
    out = np.empty((len(STATISTICS), rain.shape[0]))
    measure_climate(np.ascontiguousarray(rain, dtype=float), month, year, whole, wet_day, out)
    return out


def climate_statistics(rain: xr.DataArray | pd.Series, wet_day: float = WET_DAY.value) -> xr.Dataset:
    """Return what the climate of each place is, in a few numbers.

    >>> days = pd.date_range("2001-01-01", "2001-12-31")
    >>> rain = pd.Series(np.where(days.month == 7, 10.0, 0.0), days)
    >>> found = climate_statistics(rain)
    >>> float(found.mean_storm), float(found.mean_dry_spell), float(found.seasonality)
    (310.0, 167.0, 1.83)
    """
    if isinstance(rain, pd.Series):
        rain = xr.DataArray(rain.to_numpy(dtype=float), {"time": rain.index}, ("time",))
    if "time" not in rain.indexes or not isinstance(rain.indexes["time"], pd.DatetimeIndex):
        raise InputError("the rain has no dates", "give daily rain on time", "rain")
    turned = rain.transpose(..., "time")
    flat = np.asarray(turned.values, dtype=float).reshape(-1, turned.sizes["time"])
    known = ~np.isnan(flat).any(axis=1)
    values = np.full((len(STATISTICS), flat.shape[0]), np.nan)
    values[:, known] = statistics_of(flat[known], turned.indexes["time"], wet_day)
    dims, shape = turned.dims[:-1], turned.shape[:-1]
    coords = {d: turned[d].variable for d in dims if d in turned.coords}
    return xr.Dataset(
        {
            name: (dims, row.reshape(shape), attributes(name))
            for name, row in zip(STATISTICS, values, strict=True)
        },
        coords,
    )


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

    @property
    def sizes(self) -> xr.DataArray:
        """The usable sizes as a setting of the balance [L]."""
        at = np.array(self.capacity, dtype=float)
        return xr.DataArray(at, {"capacity": at}, ("capacity",))

    @property
    def wet_run(self) -> str | None:
        """Name of the first wet run, for which bores are tried."""
        wet = (
            n for n, c in self.catchments.items() if c.conveyance is not None and c.conveyance.kind == "wet"
        )
        return next(wet, None)

    def settings(self, arrangement: str) -> dict[str, object]:
        """Return the settings of the balance for an arrangement."""
        return arrangement_settings(arrangement, self.sizes, start_share=self.start_share) | {
            "theta": self.theta
        }


def check_plan(plan: Plan) -> None:
    """Refuse a plan that cannot be worked, before anything is read."""
    if not plan.catchments:
        raise InputError("there is no run of pipe", "give at least one catchment", "catchments")
    for name, catchment in plan.catchments.items():
        if catchment.conveyance is not None:
            try:
                require_working(catchment.conveyance)
            except InputError as error:
                raise InputError(error.problem, error.remedy, f"conveyance.{name}") from None
    sizes = np.array(plan.capacity, dtype=float)
    if not sizes.size or (sizes < 0).any() or (np.diff(sizes) <= 0).any():
        raise InputError("the tank sizes do not rise from zero", "give each once, smallest first", "capacity")
    if not plan.arrangements:
        raise InputError("there is no arrangement", f"give one of {', '.join(ARRANGEMENTS)}", "arrangements")
    for kind in plan.arrangements:
        if kind not in ARRANGEMENTS:
            raise InputError(
                f'"{kind}" is the same in every climate, or unknown',
                f"give one of {', '.join(ARRANGEMENTS)}",
                "arrangements",
            )
    if not 0 < plan.target <= 1:
        raise InputError(f"{plan.target:g} is no reliability", "give a share above 0 and up to 1", "target")


def digest_parts(plan: Plan, grid: Grid) -> dict[str, str]:
    """Return digests of all that a result depends on, part by part, so that a mismatch can be named.

    Every byte of the rain's files is read.
    """
    settings = {
        name: getattr(plan, name)
        for name in plan.__dataclass_fields__
        if name not in ("catchments", "demand", "intensity", "capacity")
    }
    where = {n: np.asarray(v.values).tolist() for n, v in grid.coords.items()}
    return {
        "rain": rain_digest(grid),
        "places": _of(json.dumps([grid.space, where, _bytes_of(grid.mask), _bytes_of(grid.mean_intensity)])),
        "roofs and pipes": _of(
            json.dumps({n: c.model_dump(mode="json") for n, c in plan.catchments.items()})
            + plan.intensity.model_dump_json()
        ),
        "demand": _of(np.ascontiguousarray(plan.demand.values, dtype=float).tobytes()),
        "tank sizes": _of(json.dumps(list(map(float, plan.capacity)))),
        "settings": _of(json.dumps(settings, sort_keys=True)),
        "version of rainharvest": _of(rainharvest.__version__),
    }


def rain_digest(grid: Grid) -> str:
    """Return the digest of the rain: of its files, or of its values where it has none."""
    whole = hashlib.sha256(json.dumps([grid.unit.text, grid.unit.factor, grid.unit.per, grid.dust]).encode())
    whole.update(pd.Series(grid.days).to_numpy().tobytes())
    for place in grid.places:
        whole.update(place.tobytes())
    if not grid.files:
        for piece in grid.pieces:
            whole.update(np.ascontiguousarray(piece.transpose(*grid.space, "time").values).tobytes())
    for path in grid.files:
        inside = sorted(p for p in path.rglob("*") if p.is_file()) if path.is_dir() else [path]
        for file in inside:
            with open(file, "rb") as handle:
                whole.update(hashlib.file_digest(handle, "sha256").digest())
    return whole.hexdigest()


def _of(data: str | bytes) -> str:
    return hashlib.sha256(data.encode() if isinstance(data, str) else data).hexdigest()


def _bytes_of(array: xr.DataArray | None) -> str:
    return "" if array is None else _of(np.ascontiguousarray(array.values).tobytes())


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
    """Return the coordinates of what is kept of each place."""
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
        `VARIABLES` at each place, among them `rainharvest.climates.cells.STATISTICS`.

    Raises
    ------
    InputError
        If rain and demand do not cover the same days.

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
    """Work places block by block; the numpy core of `over_cells`."""
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
