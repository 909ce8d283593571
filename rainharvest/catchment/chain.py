"""The loss chain as one compiled loop: every litre that falls on the roofs is followed to where it goes."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import xarray as xr

from rainharvest.catchment.hydraulics import (
    gutter_limits,
    held_volume,
    pipe_capacity,
    pipe_limit,
    require_feasible,
)
from rainharvest.catchment.intensity import Intensity, Rain, on_time, share_below, wet_day_intensity
from rainharvest.catchment.tables import Catchment
from rainharvest.core.compiled import compiled, compiling_notice
from rainharvest.core.errors import require

NEVER = 1e300
"""Stands for "no limit" or "never"; finite, so that no inf - inf can arise."""

LANES = 64
"""Lanes in a block."""

LOSSES = (
    "wetting",
    "runoff coefficient",
    "gutter capacity",
    "first flush",
    "filter",
    "pipe capacity",
    "held in pipe",
)
"""Where water is lost, in the order of the chain."""

STORES = ("roof film", "first flush", "pipe")
"""Where water is held from one day to the next."""

ROWS = ("rain_on_roof", "inflow", *LOSSES, *STORES)
"""Rows of the totals and of the trace, in order. The stores are contents at the end, not sums."""

ROOF = ("area", "runoff_coefficient", "wetting", "flush", "flush_bleed", "flush_reset", "gutter_limit")
"""Parameters of a roof, in order: m2, 1, L, L, L a step, steps, L a step."""

PIPE = ("filter_efficiency", "pipe_limit", "held_volume", "bleed", "emptied_after")
"""Parameters of what is common to all roofs, in order: 1, L a step, L, L a step, steps."""


@compiled(nogil=True, error_model="numpy")
def fill_step(held, dry, inflow, capacity, drain, empty_after):
    """Fill and drain one store over one step: the only place where the rule is written down.

    1. A step without inflow is dry; ``dry`` counts the dry steps in a row. From the ``empty_after``-th
       on, the store is emptied; otherwise it drains by at most ``drain``. Either way this comes first.
    2. The store takes what still fits; the rest of the inflow passes.

    Gives the content at the end of the step, the dry steps so far, what passed, what drained.
    """
    dry = dry + 1.0 if inflow <= 0.0 else 0.0
    kept = max(held - drain, 0.0) if dry < empty_after else 0.0
    taken = min(inflow, max(capacity - kept, 0.0))
    return kept + taken, dry, inflow - taken, held - kept


@compiled(nogil=True, error_model="numpy")
def run_chain(
    rain, drying, series, roofs, gutter_ratio, gutter_index, pipes, pipe_ratio, pipe_index, total, kept, trace
):
    """Run all lanes through the record.

    In each step, for each roof: the film on the roof dries and takes what it can (wetting); the runoff
    coefficient is applied; what the gutter cannot pass is lost; the first-flush space drains and takes
    what it can. The roofs are added; the filter takes its share; what the pipe cannot pass is lost at the
    gutter; the pipe, if wet, drains through its bleed or is emptied, and fills before anything passes.
    """
    count, lanes, steps = roofs.shape[1], series.size, rain.shape[0]
    # What the inner loops touch lies in arrays made here, one lane beside the other: only then does the compiler
    # know that they do not overlap, and makes vector instructions of the loops.
    film, flush = np.empty((count, LANES)), np.empty((count, LANES))
    film_dry, flush_dry = np.empty((count, LANES)), np.empty((count, LANES))
    pipe, pipe_dry = np.empty(LANES), np.empty(LANES)
    roof, run = np.empty((len(ROOF), count, LANES)), np.empty((len(PIPE), LANES))
    depth, dries, below = np.empty(LANES), np.empty(LANES), np.empty(LANES)
    row, summed = np.zeros((12, LANES)), np.zeros((9, LANES))
    own, at_pipe = np.empty(LANES, np.int64), np.empty(LANES, np.int64)
    at_gutter = np.empty((count, LANES), np.int64)
    for first in range(0, lanes, LANES):
        width = min(LANES, lanes - first)
        film[:], flush[:], film_dry[:], flush_dry[:] = 0.0, 0.0, 0.0, 0.0
        pipe[:], pipe_dry[:], summed[:] = 0.0, 0.0, 0.0
        for j in range(LANES):
            i = min(first + j, lanes - 1)  # a short block repeats its last lane
            own[j], at_pipe[j] = series[i], pipe_index[i]
            for k in range(len(PIPE)):
                run[k, j] = pipes[k, i]
            for r in range(count):
                at_gutter[r, j] = gutter_index[r, i]
                for k in range(len(ROOF)):
                    roof[k, r, j] = roofs[k, r, i]
        for t in range(steps):
            row[:] = 0.0
            for j in range(LANES):
                depth[j] = rain[t, own[j]]
                dries[j] = drying[t, own[j]]
            for r in range(count):
                for j in range(LANES):
                    below[j] = gutter_ratio[t, at_gutter[r, j]]
                for j in range(LANES):
                    fallen = depth[j] * roof[0, r, j]
                    film[r, j], film_dry[r, j], wet, dried = fill_step(
                        film[r, j], film_dry[r, j], fallen, roof[2, r, j], dries[j] * roof[0, r, j], 1e300
                    )
                    runoff = wet * roof[1, r, j]
                    passed = min(runoff * below[j], roof[6, r, j])
                    flush[r, j], flush_dry[r, j], clean, bled = fill_step(
                        flush[r, j], flush_dry[r, j], passed, roof[3, r, j], roof[4, r, j], roof[5, r, j]
                    )
                    row[0, j] += fallen
                    row[1, j] += clean
                    row[2, j] += dried
                    row[3, j] += wet - runoff
                    row[4, j] += runoff - passed
                    row[5, j] += bled
                    row[9, j] += film[r, j]
                    row[10, j] += flush[r, j]
            for j in range(LANES):
                below[j] = pipe_ratio[t, at_pipe[j]]
            for j in range(LANES):
                screened = row[1, j] * run[0, j]
                entered = min(screened * below[j], run[1, j])
                row[6, j] = row[1, j] - screened
                row[7, j] = screened - entered
                pipe[j], pipe_dry[j], row[1, j], row[8, j] = fill_step(
                    pipe[j], pipe_dry[j], entered, run[2, j], run[3, j], run[4, j]
                )
                row[11, j] = pipe[j]
            for k in range(9):
                for j in range(LANES):
                    summed[k, j] += row[k, j]
            if trace is not None:
                for k in range(kept.size):
                    for j in range(width):
                        trace[k, t, first + j] = row[kept[k], j]
        total[:9, first : first + width] = summed[:, :width]
        total[9:, first : first + width] = row[9:, :width]


class _Shares:
    """Columns of the share of each day's runoff below a limit, each computed once."""

    def __init__(self, rain: Rain, intensity: Intensity | Sequence[Intensity]):
        self.rain = rain
        self.intensity = (
            [intensity] * rain.depth.shape[1] if isinstance(intensity, Intensity) else list(intensity)
        )
        self.columns = [np.ones(rain.depth.shape[0])]
        self.known: dict = {}
        self.days: dict = {}
        self.shares: dict = {}

    def below(self, limit: float, series: int) -> np.ndarray:
        """Return the share of each day's rain below a limit (mm/h)."""
        if not np.isfinite(limit):
            return self.columns[0]
        if series not in self.days:
            depth = self.rain.depth[:, series]
            wet = np.flatnonzero(depth > 0)
            self.days[series] = wet, wet_day_intensity(depth[wet], self.intensity[series])
        if (limit, series) not in self.shares:  # roofs of one run of pipe often share a limit
            wet, mean = self.days[series]
            share = np.ones(self.rain.depth.shape[0])
            share[wet] = share_below(limit, mean, self.intensity[series].variation)
            self.shares[limit, series] = share
        return self.shares[limit, series]

    def column(self, key: tuple, make) -> int:
        """Return the column kept under this key, made if need be."""
        if key not in self.known:
            self.columns.append(make())
            self.known[key] = len(self.columns) - 1
        return self.known[key]

    def table(self) -> np.ndarray:
        return np.ascontiguousarray(np.stack(self.columns, axis=1))


def parameters(catchment: Catchment, hours: float) -> tuple[np.ndarray, np.ndarray]:
    """Return the parameters of each roof and of what is common to all, as `ROOF` and `PIPE`, for a step of time."""
    run, day, daily = catchment.conveyance, hours / 24, hours >= 24
    if run is not None:
        require_feasible(run)
    roofs = [
        [
            roof.area,
            roof.runoff_coefficient,
            roof.wetting * roof.area,
            catchment.first_flush * roof.area,
            catchment.first_flush_bleed * day,
            NEVER if catchment.first_flush_reset is None else catchment.first_flush_reset / day,
            NEVER if roof.gutter_capacity is None or daily else roof.gutter_capacity * 3600 * hours,
        ]
        for roof in catchment.roofs
    ]
    wet = run is not None and run.kind == "wet"
    pipe = [
        catchment.filter_efficiency,
        NEVER if run is None or daily else pipe_capacity(run) * 3600 * hours,
        held_volume(run) if wet else 0.0,
        run.bleed * day if wet else 0.0,
        run.emptied_after / day if wet and run.emptied_after else NEVER,
    ]
    return np.array(roofs).T, np.array(pipe)


def run_lanes(
    rain: Rain,
    catchments: list[Catchment],
    drying: float | xr.DataArray,
    intensity: Intensity | Sequence[Intensity],
    trace: bool | Sequence[int],
    series: Sequence[int] | None = None,
) -> tuple[np.ndarray, np.ndarray | None]:
    """Run every catchment with every series of the rain, or with the one named for it; lanes are these pairs."""
    steps, count = rain.depth.shape
    day = rain.hours / 24
    if series is None:
        series = np.tile(np.arange(count), len(catchments))
    series = np.asarray(series, dtype=np.int64)
    lanes, count = series.size, series.size // len(catchments)
    most = max(len(c.roofs) for c in catchments)
    roofs, pipes = np.zeros((len(ROOF), most, lanes)), np.zeros((len(PIPE), lanes))
    gutter_index, pipe_index = np.zeros((most, lanes), dtype=np.int64), np.zeros(lanes, dtype=np.int64)
    gutters, runs = _Shares(rain, intensity), _Shares(rain, intensity)
    daily = rain.hours >= 24
    for n, catchment in enumerate(catchments):
        lane = slice(n * count, (n + 1) * count)
        limits = gutter_limits(catchment)
        common = pipe_limit(catchment)
        weights = np.array([r.runoff_coefficient * r.area for r in catchment.roofs])
        of_roofs, of_pipe = parameters(catchment, rain.hours)
        roofs[:, : len(catchment.roofs), lane], pipes[:, lane] = of_roofs[..., None], of_pipe[:, None]
        if not daily:
            continue
        for i in range(lane.start, lane.stop):
            s = int(series[i])
            for r, limit in enumerate(limits):
                if np.isfinite(limit):
                    gutter_index[r, i] = gutters.column(
                        (limit, s), lambda limit=limit, s=s: gutters.below(limit, s)
                    )
            if np.isfinite(common):
                key = (common, *limits, *weights, s)
                pipe_index[i] = runs.column(
                    key, lambda a=limits, w=weights, c=common, s=s: _pipe_share(runs, a, w, c, s)
                )
    total = np.zeros((len(ROWS), lanes))
    kept = np.array(range(len(ROWS)) if trace is True else trace or (), dtype=np.int64)
    rows = np.zeros((kept.size, steps, lanes)) if kept.size else None
    laid = _drying_steps(drying, rain) * day
    below = (roofs, gutters.table(), gutter_index, pipes, runs.table(), pipe_index)
    with compiling_notice("the loss chain"):
        run_chain(rain.depth, laid, series, *below, total, kept, rows)
    return total.reshape(len(ROWS), len(catchments), count), rows


def _pipe_share(shares: _Shares, limits, weights, common: float, series: int) -> np.ndarray:
    """Return the share of what the gutters passed that also falls below the limit of the run."""
    if not weights.any():
        return shares.columns[0]
    gutter = sum(w * shares.below(c, series) for w, c in zip(weights, limits, strict=True))
    both = sum(w * shares.below(min(c, common), series) for w, c in zip(weights, limits, strict=True))
    return np.divide(both, gutter, out=np.zeros_like(both), where=gutter > 0)


def _drying_steps(drying: float | xr.DataArray, rain: Rain) -> np.ndarray:
    """Lay the drying out like the rain, mm/day."""
    drying = on_time(drying)
    if isinstance(drying, xr.DataArray):
        if "time" in drying.indexes:
            drying = drying.reindex(time=rain.array.time)
        drying = drying.broadcast_like(rain.array).transpose(*rain.array.dims).values
    laid = np.broadcast_to(np.asarray(drying, dtype=float), rain.array.shape).reshape(rain.depth.shape)
    problem, remedy = (
        "it is missing or below zero on some days",
        "give zero or more for every day of the rain",
    )
    require((laid >= 0).all(), problem, remedy, "drying")
    if rain.hours < 24:  # a roof dries between showers; a day hides them, a shorter step shows them
        laid = np.where(rain.depth > 0, 0.0, laid)
    return np.ascontiguousarray(laid)
