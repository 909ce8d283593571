"""The catchment as numbers for the compiled loop: one lane for each catchment and series of rain."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
import xarray as xr

from rainharvest.catchment.chain import PIPE, ROOF, ROWS, run_chain
from rainharvest.catchment.hydraulics import held_volume, pipe_capacity
from rainharvest.catchment.intensity import Intensity, share_below, wet_day_intensity
from rainharvest.catchment.losses import NEVER
from rainharvest.catchment.parts import Catchment, gutter_limits, pipe_limit
from rainharvest.catchment.steps import Rain
from rainharvest.catchment.working import require_working
from rainharvest.compiled import compiling_notice
from rainharvest.errors import InputError


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


def run_lanes(
    rain: Rain,
    catchments: list[Catchment],
    drying: float | xr.DataArray,
    intensity: Intensity | Sequence[Intensity],
    trace: bool | Sequence[int],
) -> tuple[np.ndarray, np.ndarray | None]:
    """Run every catchment with every series of the rain; lanes are catchments by series.

    Parameters
    ----------
    rain : Rain
        The rain, daily or finer.
    catchments : list of Catchment
        Chains to compare.
    drying : float or DataArray [mm/day]
        Most that a roof dries in a day.
    intensity : Intensity or sequence of Intensity
        How hard it rains within the day, for all series or for each; not used where the steps are shorter
        than a day.
    trace : bool or sequence of int
        Whether the values of each step are wanted, or of which of the `ROWS`, by place.

    Returns
    -------
    total : ndarray, shape (len(ROWS), catchments, series) [L]
        Sums over the record; for the stores, what they hold at the end.
    trace : ndarray, shape (rows wanted, steps, catchments * series) [L], or None
        Values of each step.

    Raises
    ------
    InputError
        If a run of pipe cannot work, or the drying does not fit the rain.
    """
    steps, count = rain.depth.shape
    day = rain.hours / 24
    lanes = len(catchments) * count
    most = max(len(c.roofs) for c in catchments)
    roofs, pipes = np.zeros((len(ROOF), most, lanes)), np.zeros((len(PIPE), lanes))
    gutter_index, pipe_index = np.zeros((most, lanes), dtype=np.int64), np.zeros(lanes, dtype=np.int64)
    series = np.tile(np.arange(count), len(catchments))
    gutters, runs = _Shares(rain, intensity), _Shares(rain, intensity)
    daily = rain.hours >= 24
    for n, catchment in enumerate(catchments):
        run = catchment.conveyance
        if run is not None:
            require_working(run)
        lane = slice(n * count, (n + 1) * count)
        limits = gutter_limits(catchment)
        common = pipe_limit(catchment)
        weights = np.array([r.runoff_coefficient * r.area for r in catchment.roofs])
        for r, roof in enumerate(catchment.roofs):
            limited = roof.gutter_capacity is not None and not daily
            roofs[:, r, lane] = np.array(
                [
                    roof.area,
                    roof.runoff_coefficient,
                    roof.wetting * roof.area,
                    catchment.first_flush * roof.area,
                    catchment.first_flush_bleed * day,
                    NEVER if catchment.first_flush_reset is None else catchment.first_flush_reset / day,
                    roof.gutter_capacity * 3600 * rain.hours if limited else NEVER,
                ]
            )[:, None]
        wet = run is not None and run.kind == "wet"
        pipes[:, lane] = np.array(
            [
                catchment.filter_efficiency,
                NEVER if run is None or daily else pipe_capacity(run) * 3600 * rain.hours,
                held_volume(run) if wet else 0.0,
                run.bleed * day if wet else 0.0,
                run.emptied_after / day if wet and run.emptied_after else NEVER,
            ]
        )[:, None]
        if not daily:
            continue
        for s in range(count):
            for r, limit in enumerate(limits):
                if np.isfinite(limit):
                    gutter_index[r, n * count + s] = gutters.column(
                        (limit, s), lambda limit=limit, s=s: gutters.below(limit, s)
                    )
            if np.isfinite(common):
                key = (common, *limits, *weights, s)
                pipe_index[n * count + s] = runs.column(
                    key, lambda a=limits, w=weights, c=common, s=s: _pipe_share(runs, a, w, c, s)
                )
    total = np.zeros((len(ROWS), lanes))
    kept = np.array(range(len(ROWS)) if trace is True else trace or (), dtype=np.int64)
    rows = np.zeros((kept.size, steps, lanes)) if kept.size else None
    with compiling_notice("the loss chain"):
        run_chain(
            rain.depth,
            _drying_steps(drying, rain) * day,
            series,
            roofs,
            gutters.table(),
            gutter_index,
            pipes,
            runs.table(),
            pipe_index,
            total,
            kept,
            rows,
        )
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
    if isinstance(drying, pd.Series):
        drying = xr.DataArray(
            drying.to_numpy(dtype=float), dims="time", coords={"time": drying.index.to_numpy()}
        )
    if isinstance(drying, xr.DataArray):
        if "time" in drying.indexes:
            drying = drying.reindex(time=rain.array.time)
        drying = drying.broadcast_like(rain.array).transpose(*rain.array.dims).values
    laid = np.broadcast_to(np.asarray(drying, dtype=float), rain.array.shape).reshape(rain.depth.shape)
    if not (laid >= 0).all():
        raise InputError(
            "it is missing or below zero on some days",
            "give zero or more for every day of the rain",
            "drying",
        )
    if rain.hours < 24:  # a roof dries between showers; a day hides them, a shorter step shows them
        laid = np.where(rain.depth > 0, 0.0, laid)
    return np.ascontiguousarray(laid)
