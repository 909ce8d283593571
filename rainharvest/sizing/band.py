"""The trade-off curve with its band, the nine-in-ten tank, and which uncertain input matters most."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import xarray as xr

from rainharvest.core.errors import require
from rainharvest.core.quantities import attributes
from rainharvest.sizing.smallest import Measure, sizes_between
from rainharvest.sizing.trade_off import (
    DAYS_A_YEAR,
    QUANTILES,
    THREADS,
    along_sizes,
    sizes_to_try,
    yield_quantile,
)
from rainharvest.sizing.uncertainty import (
    Case,
    Drawn,
    draw_flows,
    draw_inputs,
    inputs_of,
    pick_draws,
    record_inputs,
)
from rainharvest.storage.simulate import simulate

SURE = 0.9

"""Share of the draws in which the size told reaches the target (own choice)."""


BOUNDS = {"low": 0.05, "middle": 0.5, "high": 0.95}

"""The band: nine of ten draws lie between low and high."""


LANES_AT_ONCE = 1024

"""Tanks simulated in one go; only their measures are kept."""


def measures_of_draws(drawn: Drawn, capacity, *, keep: Sequence[str]) -> xr.Dataset:
    """Simulate every size in every draw, and keep only the measures named."""
    sizes = np.atleast_1d(np.asarray(capacity, dtype=float))
    along = along_sizes(sizes)
    grown = {name: s * along for name, s in drawn.case.shares.items()}
    batch = int(np.clip(LANES_AT_ONCE // sizes.size, 16, 256))
    pieces: dict[str, list[xr.DataArray]] = {name: [] for name in keep}
    for first in range(0, drawn.inflow.sizes["draw"], batch):
        part = pick_draws(drawn, slice(first, first + batch))
        done = simulate(part.inflow, part.demand, along, threads=THREADS, **part.settings, **grown)
        for name in keep:
            pieces[name].append(_measure(done, name).transpose("draw", "capacity", ...))
    data = {
        name: (parts[0].dims, np.concatenate([part.values for part in parts]), attributes(name))
        for name, parts in pieces.items()
    }
    coords = {"draw": drawn.inflow["draw"].variable, "capacity": ("capacity", sizes, attributes("capacity"))}
    if any("year" in parts[0].dims for parts in pieces.values()):
        coords["year"] = done.year.variable
    if "yield_quantile" in keep:
        coords["quantile"] = list(QUANTILES)
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
        return xr.DataArray(yield_quantile(done))
    known = name in done and "capacity" in done[name].dims
    require(known, f"no measure is called {name!r}", "name measures of simulate", "keep")
    return done[name]


def uncertain_curve(
    drawn: Drawn,
    record: Drawn,
    capacity,
    *,
    target: float,
    measure: Measure = "volume_reliability",
) -> xr.Dataset:
    """Return the trade-off curve with its band, beside the curve of the record as it stands.

    Every draw begins as the record does, with an empty tank unless the case says otherwise; so the band of a
    tank that hardly ever fails lies below 1 by what its first filling costs.
    """
    keep = (measure, "yearly_yield")
    done = measures_of_draws(drawn, capacity, keep=keep)
    own = measures_of_draws(record, capacity, keep=keep)
    out = xr.Dataset(coords=done.coords)
    for name, source in (("reliability", measure), ("yearly_yield", "yearly_yield")):
        out[f"{name}_on_record"] = own[source].median("draw")
        bounds = done[source].quantile(list(BOUNDS.values()), dim="draw", method="weibull")
        for k, bound in enumerate(BOUNDS):
            out[f"{name}_{bound}"] = bounds.isel(quantile=k, drop=True)
    out["reliability"] = done[measure]
    out["draws_reaching"] = (done[measure] >= target * (1 - 1e-12)).mean("draw")
    for name in out.data_vars:
        out[name].attrs = attributes(name)
    return out.assign_attrs(measure=measure, draws=done.sizes["draw"], **drawn.inputs.attrs, target=target)


@dataclass(frozen=True)
class SureSize:
    """The tank that reaches the target in most draws, beside the one on the record as it stands."""

    # [L] Smallest usable size, in whole litres, that reaches the target in a share ``sure`` of the draws; NaN
    # if none does
    capacity: float
    on_record: float  # [L] The same for the fillings of the record as it stands; NaN if none does
    reached_by: float  # [1] Share of the draws in which that size reaches the target
    one_less_reached_by: float  # [1] Share in which one litre less does: below ``sure``
    sure: float  # [1] Share asked for
    target: float  # [1] Reliability to reach
    measure: str  # Which reliability


def sure_size(
    drawn: Drawn,
    record: Drawn,
    target: float,
    *,
    sure: float = SURE,
    measure: Measure = "volume_reliability",
    largest: float | None = None,
) -> SureSize:
    """Find the smallest tank that reaches the target in nine of ten draws, to the litre."""
    for name, value in (("target", target), ("sure", sure)):
        require(0 < value <= 1, f"{value!r} is not possible", "give a share above 0 and up to 1", name)
    on_record, _, _ = _search(record, target, sure, measure, None, math.nan)
    capacity, by, less = _search(drawn, target, sure, measure, largest, on_record)
    return SureSize(capacity, on_record, by, less, sure, target, measure)


def _search(drawn: Drawn, target: float, sure: float, measure: str, largest, near: float):
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
        return measures_of_draws(part, sizes, keep=(measure,))[measure].values >= enough

    if largest is None:
        largest = float(drawn.inflow.sum("time").max())
    low, high = 0.0, max(1.0, math.ceil(largest))
    ends = content(np.array([low, high]))
    if ends[:, 1].mean() < wanted and not orderly:  # rationing at a share of the tank: a smaller one may do
        sizes = sizes_between(low, high)
        found = content(sizes)
        first = int(np.argmax(found.mean(axis=0) >= wanted))
        if first:
            ends = found[:, first - 1 : first + 1]
            low, high = sizes[first - 1], sizes[first]
    if ends[:, 1].mean() < wanted:
        return math.nan, float(ends[:, 1].mean()), math.nan
    if ends[:, 0].mean() >= wanted:
        return 0.0, float(ends[:, 0].mean()), math.nan
    if near >= 4 and 4 * near < high:
        closer = content(np.array([math.floor(near / 4), 4 * near]))
        if closer[:, 0].mean() < wanted <= closer[:, 1].mean():
            low, high, ends = float(math.floor(near / 4)), 4 * near, closer
    while high - low > 1:
        sizes = sizes_between(low, high)
        open_ = np.flatnonzero(~ends[:, 0] & ends[:, 1]) if orderly else np.arange(len(ends))
        found = np.repeat(ends[:, :1], sizes.size, axis=1)  # where the ends agree, so does all between
        found[open_] = content(sizes, open_)
        first = int(np.argmax(found.mean(axis=0) >= wanted))
        ends = np.stack([found[:, first - 1] if first else ends[:, 0], found[:, first]], axis=1)
        low, high = (sizes[first - 1] if first else low), sizes[first]
    less, by = content(np.array([high - 1, high])).mean(axis=0)
    return float(high), float(by), float(less)


RUNS_OF_YEARS = 128

"""Runs of years among which "which years come" chooses."""


def tornado(
    case: Case,
    *,
    capacity: float | None = None,
    target: float | None = None,
    measure: Measure = "volume_reliability",
    runs: int = RUNS_OF_YEARS,
    seed: int = 0,
) -> xr.Dataset:
    """Move one input at a time to the ends of its range and see what the answer does.

    The answer is the reliability of one tank, or the size that reaches a target. Inputs with a range go to
    its ends; "filling" and "years" have no ends, and go to the 5th and 95th per cent of what the fillings,
    or the runs of years, give.
    """
    sizes = _sizes(case, capacity, target)
    at_best = record_inputs(case)
    best = {one.name: one.best for one in case.ranges}
    rows = [dict(best)]
    for one in case.ranges:
        rows += [best | {one.name: one.low}, best | {one.name: one.high}]
    chosen = {name: np.array([row[name] for row in rows]) for name in best}
    chosen |= {"member": np.zeros(len(rows), dtype=int), "year_draw": np.zeros(len(rows), dtype=int)}

    def answers(inputs: xr.Dataset) -> np.ndarray:
        return _answers(case, inputs, sizes, target, measure)

    moved = answers(inputs_of(chosen, at_best.day_drawn))
    found = {
        one.name: (moved[1 + 2 * k], moved[2 + 2 * k], one.low, one.high) for k, one in enumerate(case.ranges)
    }
    if case.members > 1:
        found["filling"] = (*_spread(answers(at_best)), np.nan, np.nan)
    years = _at_best(case, draw_inputs(case, runs, seed))
    found["years"] = (*_spread(answers(years)), np.nan, np.nan)
    widest = sorted(found, key=lambda name: -np.nan_to_num(abs(found[name][1] - found[name][0]), nan=np.inf))
    data = {
        name: ("input", np.array([found[one][k] for one in widest]))
        for k, name in enumerate(("response_low", "response_high", "input_low", "input_high"))
    }
    out = xr.Dataset(data | {"response_best": ((), float(moved[0]))}, {"input": widest})
    return _labelled(out, capacity, target, measure)


def sobol_indices(
    case: Case,
    *,
    capacity: float | None = None,
    target: float | None = None,
    measure: Measure = "volume_reliability",
    base: int = 64,
    runs: int = RUNS_OF_YEARS,
    seed: int = 0,
) -> xr.Dataset:
    """Split the variance of the answer between the uncertain inputs (Sobol indices).

    The first-order index is the share of the variance that goes when one input alone becomes known; the
    total index is the share that stays when all the others do. Their difference is what the input does
    together with others. Inputs with a range follow their triangular laws; "filling" and "years" choose
    among the fillings and the runs of years, put in the order of what they bring.

    Sampling and estimators: SALib (Saltelli et al. 2010, from memory); indices of inputs that do not matter
    scatter about zero and may be below it.
    """
    from SALib.analyze import sobol as analyse
    from SALib.sample import sobol as sample

    power = base >= 2 and not base & (base - 1)
    require(power, f"{base} points", "give a power of two, such as 64", "base")
    sizes = _sizes(case, capacity, target)
    names = [one.name for one in case.ranges if one.high > one.low]
    names += ["filling"] * (case.members > 1) + ["years"]
    require(len(names) > 1, "only one input is uncertain", "give ranges of more inputs", "ranges")
    problem = {"num_vars": len(names), "names": names, "bounds": [[0.0, 1.0]] * len(names)}
    points = sample.sample(problem, base, calc_second_order=False, seed=seed)
    at = dict(zip(names, points.T, strict=True))
    years = draw_inputs(case, runs, seed)
    brought = draw_flows(case, _at_best(case, years)).inflow.sum("time").values
    chosen = {
        one.name: one.at(at[one.name]) if one.name in at else one.best + 0 * points[:, 0]
        for one in case.ranges
    }
    chosen["year_draw"] = years.year_draw.values[np.argsort(brought)[_place(at["years"], runs)]]
    chosen["member"] = np.zeros(len(points), dtype=int)
    if "filling" in at:
        own = draw_flows(case, record_inputs(case)).inflow.sum("time").values
        chosen["member"] = np.argsort(own)[_place(at["filling"], case.members)]
    answer = _answers(case, inputs_of(chosen, years.day_drawn), sizes, target, measure)
    beyond = np.isnan(answer)
    answer = np.where(beyond, sizes[-1], answer)
    keys = {
        "first_order": "S1",
        "first_order_confidence": "S1_conf",
        "total_order": "ST",
        "total_order_confidence": "ST_conf",
    }
    if np.ptp(answer) <= 1e-9 * max(abs(answer).max(), 1e-30):
        indices = {name: np.full(len(names), np.nan) for name in keys.values()}
    else:
        # The library takes a seed of zero for none.
        indices = analyse.analyze(problem, answer, calc_second_order=False, seed=seed + 1)
    order = np.argsort(-np.nan_to_num(indices["ST"]), kind="stable")
    data = {name: ("input", np.asarray(indices[key])[order]) for name, key in keys.items()}
    out = xr.Dataset(data, {"input": [names[k] for k in order]})
    out["out_of_reach"] = ((), float(beyond.mean()))
    return _labelled(out, capacity, target, measure).assign_attrs(answers=len(points))


def _sizes(case: Case, capacity: float | None, target: float | None) -> np.ndarray:
    """Return the sizes to simulate: the one asked about, or enough to read the size for a target."""
    problem = "the answer is either a tank's reliability or a target's size"
    require((capacity is None) != (target is None), problem, "give capacity or target", "target")
    if capacity is not None:
        return np.array([float(capacity)])
    return sizes_to_try(case.total_demand, count=56, least_days=0.5, most_days=730.0)


def _answers(case, inputs, sizes, target, measure) -> np.ndarray:
    """Return the reliability of the one size, or the size for the target, in each draw."""
    drawn = draw_flows(case, inputs)
    reached = measures_of_draws(drawn, sizes, keep=(measure,))[measure].values
    return reached[:, 0] if target is None else size_between(reached, sizes, target)


def size_between(reached: np.ndarray, sizes: np.ndarray, target: float) -> np.ndarray:
    """Return the size at which each row first reaches a target, read between the sizes tried.

    >>> size_between(np.array([[0.2, 0.6], [0.1, 0.3]]), np.array([100.0, 400.0]), 0.4)
    array([200.,  nan])
    """
    enough = reached >= target * (1 - 1e-12)
    first = np.argmax(enough, axis=1)
    before = np.maximum(first - 1, 0)
    rows = np.arange(len(reached))
    below, above = reached[rows, before], reached[rows, first]
    share = np.divide(target - below, above - below, out=np.ones(len(reached)), where=above > below)
    low, high = np.log(sizes[before]), np.log(sizes[first])
    size = np.exp(low + np.clip(share, 0, 1) * (high - low))
    return np.where(enough.any(axis=1), size, np.nan)


def _at_best(case: Case, inputs: xr.Dataset) -> xr.Dataset:
    """Return the same runs of years with every other input at its best."""
    best = {one.name: inputs[one.name] * 0 + one.best for one in case.ranges}
    return inputs.assign(best | {"member": inputs["member"] * 0})


def _place(chance: np.ndarray, many: int) -> np.ndarray:
    return np.minimum((chance * many).astype(int), many - 1)


def _spread(answers: np.ndarray) -> tuple[float, float]:
    low, high = (BOUNDS[b] for b in ("low", "high"))
    return tuple(float(v) for v in np.quantile(answers, [low, high], method="weibull"))


def _labelled(out: xr.Dataset, capacity, target, measure: str) -> xr.Dataset:
    """Give the variables their units and say what was asked."""
    unit = "1" if target is None else "L"
    for name in out.variables:
        out[name].attrs = attributes(name)
        if name.startswith("response"):
            out[name].attrs["units"] = unit
    out.attrs = {"measure": measure} | ({"target": target} if capacity is None else {"capacity": capacity})
    return out
