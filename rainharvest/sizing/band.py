"""The trade-off curve with its band, and the tank that reaches the target in nine of ten draws."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import xarray as xr

from rainharvest.errors import InputError
from rainharvest.names import attributes
from rainharvest.sizing.smallest import SPAN, Measure
from rainharvest.sizing.trade_off import DAYS_A_YEAR, YEARS_TOLD
from rainharvest.sizing.uncertainty import Drawn, pick_draws
from rainharvest.storage.simulate import simulate

SURE = 0.9
"""Share of the draws in which the size told reaches the target (own choice)."""

BOUNDS = {"low": 0.05, "middle": 0.5, "high": 0.95}
"""The band: nine of ten draws lie between low and high."""

LANES_AT_ONCE = 1024
"""Tanks simulated in one go; only their measures are kept."""

MEASURES = (
    "volume_reliability",
    "time_reliability",
    "yearly_yield",
    "failed_a_year",
    "longest_failure",
    "worst_shortfall",
    "failure_events",
    "spilled_share",
)
"""Measures kept of every draw, unless others are named."""

EVERY = MEASURES + (
    "delivered",
    "spilled",
    "unmet",
    "rationed",
    "topped_up",
    "changed_over",
    "stored_end",
    "days_failed",
    "days_met",
    "days_rationed",
    "yield_quantile",
)
"""Every measure that is not a year's."""


def measures_of_draws(
    drawn: Drawn, capacity, *, keep: Sequence[str] = MEASURES, threads: int = 1
) -> xr.Dataset:
    """Simulate every size in every draw, and keep only the measures named.

    Parameters
    ----------
    drawn : Drawn
        What enters the balance.
    capacity : array_like [L]
        Usable tank sizes.
    keep : sequence of str
        Measures of `rainharvest.simulate`, by year or not, and ``yearly_yield``, ``failed_a_year``,
        ``spilled_share``, ``yield_quantile``.
    threads : int [1]
        Blocks of tanks simulated side by side.

    Returns
    -------
    Dataset
        What was named, on (draw, capacity), and ``year`` or ``quantile`` where it has them.

    Raises
    ------
    InputError
        As `rainharvest.simulate`; also if a measure is unknown.
    """
    sizes = np.atleast_1d(np.asarray(capacity, dtype=float))
    along = xr.DataArray(sizes, {"capacity": sizes}, ("capacity",))
    grown = {name: s * along for name, s in drawn.case.shares.items()}
    batch = int(np.clip(LANES_AT_ONCE // sizes.size, 16, 256))
    pieces: dict[str, list[xr.DataArray]] = {name: [] for name in keep}
    for first in range(0, drawn.inflow.sizes["draw"], batch):
        part = pick_draws(drawn, slice(first, first + batch))
        done = simulate(part.inflow, part.demand, along, threads=threads, **part.settings, **grown)
        for name in keep:
            pieces[name].append(_measure(done, name).transpose("draw", "capacity", ...))
    data = {}
    for name, arrays in pieces.items():
        values = np.concatenate([array.values for array in arrays])
        data[name] = (arrays[0].dims, values, attributes(name))
    coords = {
        "draw": drawn.inflow["draw"].variable,
        "capacity": ("capacity", sizes, attributes("capacity")),
    }
    if any("year" in array[0].dims for array in pieces.values()):
        coords["year"] = done.year.variable
    if "yield_quantile" in keep:
        coords["quantile"] = list(YEARS_TOLD)
    return xr.Dataset(data, coords)


def _measure(done: xr.Dataset, name: str) -> xr.DataArray:
    """Return a measure of the simulation, or one that follows from it."""
    years = float(done.days_in_year.sum()) / DAYS_A_YEAR
    if name == "yearly_yield":
        return done.delivered / years
    if name == "failed_a_year":
        return done.days_failed / years
    if name == "spilled_share":
        return done.spilled / done.inflow_total.where(done.inflow_total > 0, np.inf)
    if name == "yield_quantile":
        whole = np.flatnonzero(done.days_in_year.values >= 365)
        yearly = done.yield_by_year.transpose("draw", "capacity", "year").values[..., whole]
        told = np.quantile(yearly, YEARS_TOLD, axis=-1)
        return xr.DataArray(told, dims=("quantile", "draw", "capacity"))
    if name not in done or "capacity" not in done[name].dims:
        raise InputError(f"no measure is called {name!r}", "name measures of simulate", "keep")
    return done[name]


def uncertain_curve(
    drawn: Drawn,
    record: Drawn,
    capacity,
    *,
    target: float | None = None,
    measure: Measure = "volume_reliability",
    threads: int = 1,
) -> xr.Dataset:
    """Return the trade-off curve with its band, beside the curve of the record as it stands.

    Every draw begins as the record does, with an empty tank unless the case says otherwise; so the band of a
    tank that hardly ever fails lies below 1 by what its first filling costs.

    Parameters
    ----------
    drawn : Drawn
        The draws.
    record : Drawn
        The record as it stands, from `rainharvest.sizing.uncertainty.record_inputs`.
    capacity : array_like [L]
        Usable tank sizes, rising.
    target : float [1], optional
        Reliability to reach.
    measure : str
        "volume_reliability" or "time_reliability".
    threads : int [1]
        Blocks of tanks simulated side by side.

    Returns
    -------
    Dataset
        On ``capacity``: ``reliability_on_record`` (median of the fillings), ``reliability_low``,
        ``reliability_middle``, ``reliability_high`` and the same of the yearly yield; with a target,
        ``draws_reaching``, the share of the draws that reach it. On (draw, capacity): ``reliability``.
        The bounds are the 5th, 50th and 95th per cent of the draws, as (n + 1) p ranks.

    Raises
    ------
    InputError
        As `rainharvest.simulate`.
    """
    keep = (measure, "yearly_yield")
    done = measures_of_draws(drawn, capacity, keep=keep, threads=threads)
    own = measures_of_draws(record, capacity, keep=keep, threads=threads)
    out = xr.Dataset(coords=done.coords)
    for name, source in (("reliability", measure), ("yearly_yield", "yearly_yield")):
        out[f"{name}_on_record"] = own[source].median("draw")
        bounds = done[source].quantile(list(BOUNDS.values()), dim="draw", method="weibull")
        for k, bound in enumerate(BOUNDS):
            out[f"{name}_{bound}"] = bounds.isel(quantile=k, drop=True)
    out["reliability"] = done[measure]
    if target is not None:
        out["draws_reaching"] = (done[measure] >= target * (1 - 1e-12)).mean("draw")
    for name in out.data_vars:
        out[name].attrs = attributes(name)
    out.attrs = {"measure": measure, "draws": done.sizes["draw"], **drawn.inputs.attrs}
    if target is not None:
        out.attrs["target"] = target
    return out


@dataclass(frozen=True)
class SureSize:
    """The tank that reaches the target in most draws, beside the one on the record as it stands.

    Parameters
    ----------
    capacity : float [L]
        Smallest usable size, in whole litres, that reaches the target in a share ``sure`` of the draws;
        NaN if none does.
    on_record : float [L]
        The same for the fillings of the record as it stands; NaN if none does.
    reached_by : float [1]
        Share of the draws in which that size reaches the target.
    one_less_reached_by : float [1]
        Share in which one litre less does: below ``sure``.
    sure : float [1]
        Share asked for.
    target : float [1]
        Reliability to reach.
    measure : str
        Which reliability.
    """

    capacity: float
    on_record: float
    reached_by: float
    one_less_reached_by: float
    sure: float
    target: float
    measure: str


def sure_size(
    drawn: Drawn,
    record: Drawn,
    target: float,
    *,
    sure: float = SURE,
    measure: Measure = "volume_reliability",
    largest: float | None = None,
    threads: int = 1,
) -> SureSize:
    """Find the smallest tank that reaches the target in nine of ten draws, to the litre.

    Parameters
    ----------
    drawn : Drawn
        The draws.
    record : Drawn
        The record as it stands.
    target : float [1]
        Reliability to reach, above 0 and up to 1.
    sure : float [1]
        Share of the draws that must reach it.
    measure : str
        "volume_reliability", which never falls as the tank grows, or "time_reliability", of which the
        first crossing among the sizes tried is taken.
    largest : float [L], optional
        Largest size worth trying in the draws; by default all the water of the wettest one.
    threads : int [1]
        Blocks of tanks simulated side by side.

    Returns
    -------
    SureSize
        Both sizes.

    Raises
    ------
    InputError
        If the target or the share is not above 0 and at most 1.
    """
    for name, value in (("target", target), ("sure", sure)):
        if not 0 < value <= 1:
            raise InputError(f"{value!r} is not possible", "give a share above 0 and up to 1", name)
    on_record, _, _ = _search(record, target, sure, measure, None, math.nan, threads)
    capacity, by, less = _search(drawn, target, sure, measure, largest, on_record, threads)
    return SureSize(capacity, on_record, by, less, sure, target, measure)


def _search(drawn: Drawn, target: float, sure: float, measure: str, largest, near: float, threads: int):
    """Return the smallest size that enough draws find enough, the share that do, and with a litre less.

    The answer is looked for from a quarter to four times a size ``near`` it first. Where more tank never
    gives less, a draw that is content at the lower end of the bracket, or not at its upper end, needs no
    further simulation.
    """
    enough, wanted = target * (1 - 1e-12), sure - 1e-12
    orderly = measure == "volume_reliability" and not (
        {"ration_level", "top_up_level", "change_over"} & (set(drawn.settings) | set(drawn.case.shares))
    )

    def content(sizes: np.ndarray, some: np.ndarray | None = None) -> np.ndarray:
        part = drawn if some is None else pick_draws(drawn, some)
        return measures_of_draws(part, sizes, keep=(measure,), threads=threads)[measure].values >= enough

    if largest is None:
        largest = float(drawn.inflow.sum("time").max())
    low, high = 0.0, max(1.0, math.ceil(largest))
    ends = content(np.array([low, high]))
    if ends[:, 1].mean() < wanted:
        return math.nan, float(ends[:, 1].mean()), math.nan
    if ends[:, 0].mean() >= wanted:
        return 0.0, float(ends[:, 0].mean()), math.nan
    if near >= 4 and 4 * near < high:
        closer = content(np.array([math.floor(near / 4), 4 * near]))
        if closer[:, 0].mean() < wanted <= closer[:, 1].mean():
            low, high, ends = float(math.floor(near / 4)), 4 * near, closer
    while high - low > 1:
        wide = high > 10 * max(low, 1.0)
        span = np.geomspace(max(low, 1.0), high, SPAN) if wide else np.linspace(low, high, SPAN)
        sizes = np.unique(np.round(span))
        sizes = sizes[(sizes > low) & (sizes <= high)]
        open_ = np.flatnonzero(~ends[:, 0] & ends[:, 1]) if orderly else np.arange(len(ends))
        told = np.repeat(ends[:, :1], sizes.size, axis=1)  # where the ends agree, so does all between
        told[open_] = content(sizes, open_)
        first = int(np.argmax(told.mean(axis=0) >= wanted))
        ends = np.stack([told[:, first - 1] if first else ends[:, 0], told[:, first]], axis=1)
        low, high = (sizes[first - 1] if first else low), sizes[first]
    less, by = content(np.array([high - 1, high])).mean(axis=0)
    return float(high), float(by), float(less)
