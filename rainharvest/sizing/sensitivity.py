"""Which uncertain input matters most: one at a time (tornado), and all at once (Sobol indices)."""

from __future__ import annotations

import numpy as np
import xarray as xr

from rainharvest.errors import InputError
from rainharvest.names import attributes
from rainharvest.sizing.band import BOUNDS, measures_of_draws
from rainharvest.sizing.smallest import Measure
from rainharvest.sizing.trade_off import sizes_to_try
from rainharvest.sizing.uncertainty import Case, draw_flows, draw_inputs, inputs_of, record_inputs

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
    threads: int = 1,
) -> xr.Dataset:
    """Move one input at a time to the ends of its range and see what the answer does.

    The answer is the reliability of one tank, or the size that reaches a target. Inputs with a range go to
    its ends; "filling" and "years" have no ends, and go to the 5th and 95th per cent of what the fillings,
    or the runs of years, give.

    Parameters
    ----------
    case : Case
        The site.
    capacity : float [L], optional
        The tank whose reliability is asked for.
    target : float [1], optional
        The reliability for which the size is asked; give one of the two.
    measure : str
        "volume_reliability" or "time_reliability".
    runs : int [1]
        Runs of years.
    seed : int [1]
        Seed of the runs of years.
    threads : int [1]
        Blocks of tanks simulated side by side.

    Returns
    -------
    Dataset
        On ``input``, widest first: ``response_low`` and ``response_high``, the answer at the low and the
        high end of the input; ``input_low`` and ``input_high``, those ends as multiples (NaN where there
        are none). ``response_best`` is the answer with all at their best. Sizes are read between the
        sizes tried; one that no size reaches is NaN.

    Raises
    ------
    InputError
        If neither or both of capacity and target are given, or as `draw_inputs`.
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
        return _answers(case, inputs, sizes, target, measure, threads)

    told = answers(inputs_of(chosen, at_best.day_drawn))
    found = {
        one.name: (told[1 + 2 * k], told[2 + 2 * k], one.low, one.high) for k, one in enumerate(case.ranges)
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
    out = xr.Dataset(data | {"response_best": ((), float(told[0]))}, {"input": widest})
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
    threads: int = 1,
) -> xr.Dataset:
    """Split the variance of the answer between the uncertain inputs (Sobol indices).

    The first-order index is the share of the variance that goes when one input alone becomes known; the
    total index is the share that stays when all the others do. Their difference is what the input does
    together with others. Inputs with a range follow their triangular laws; "filling" and "years" choose
    among the fillings and the runs of years, put in the order of what they bring.

    Parameters
    ----------
    case : Case
        The site.
    capacity : float [L], optional
        The tank whose reliability is asked for.
    target : float [1], optional
        The reliability for which the size is asked; give one of the two.
    measure : str
        "volume_reliability" or "time_reliability".
    base : int [1]
        Points of the Sobol sequence, a power of two; base x (inputs + 2) answers are worked out.
    runs : int [1]
        Runs of years.
    seed : int [1]
        Seed of the sequence's scrambling, of the runs of years and of the confidence.
    threads : int [1]
        Blocks of tanks simulated side by side.

    Returns
    -------
    Dataset
        On ``input``, the largest total first: ``first_order``, ``total_order`` and their 95 % half-widths
        ``first_order_confidence``, ``total_order_confidence``. NaN throughout where the answer does not
        vary. ``out_of_reach`` is the share of answers at the largest size tried.

    Raises
    ------
    InputError
        If neither or both of capacity and target are given, or ``base`` is not a power of two.

    Notes
    -----
    Sampling and estimators: SALib (Saltelli et al. 2010, from memory); indices of inputs that do not matter
    scatter about zero and may be below it.
    """
    from SALib.analyze import sobol as analyse
    from SALib.sample import sobol as sample

    if base < 2 or base & (base - 1):
        raise InputError(f"{base} points", "give a power of two, such as 64", "base")
    sizes = _sizes(case, capacity, target)
    names = [one.name for one in case.ranges if one.high > one.low]
    names += ["filling"] * (case.members > 1) + ["years"]
    problem = {"num_vars": len(names), "names": names, "bounds": [[0.0, 1.0]] * len(names)}
    if len(names) < 2:
        raise InputError("only one input is uncertain", "give ranges of more inputs", "ranges")
    points = sample.sample(problem, base, calc_second_order=False, seed=seed)
    at = dict(zip(names, points.T, strict=True))
    years = draw_inputs(case, runs, seed)
    brought = draw_flows(case, _at_best(case, years), threads=threads).inflow.sum("time").values
    chosen = {
        one.name: one.at(at[one.name]) if one.name in at else one.best + 0 * points[:, 0]
        for one in case.ranges
    }
    chosen["year_draw"] = years.year_draw.values[np.argsort(brought)[_place(at["years"], runs)]]
    chosen["member"] = np.zeros(len(points), dtype=int)
    if "filling" in at:
        own = draw_flows(case, record_inputs(case), threads=threads).inflow.sum("time").values
        chosen["member"] = np.argsort(own)[_place(at["filling"], case.members)]
    answer = _answers(case, inputs_of(chosen, years.day_drawn), sizes, target, measure, threads)
    beyond = np.isnan(answer)
    answer = np.where(beyond, sizes[-1], answer)
    keys = {
        "first_order": "S1",
        "first_order_confidence": "S1_conf",
        "total_order": "ST",
        "total_order_confidence": "ST_conf",
    }
    if np.ptp(answer) <= 1e-9 * max(abs(answer).max(), 1e-30):
        told = {name: np.full(len(names), np.nan) for name in keys.values()}
    else:
        # The library takes a seed of zero for none.
        told = analyse.analyze(problem, answer, calc_second_order=False, seed=seed + 1)
    order = np.argsort(-np.nan_to_num(told["ST"]), kind="stable")
    data = {name: ("input", np.asarray(told[key])[order]) for name, key in keys.items()}
    out = xr.Dataset(data, {"input": [names[k] for k in order]})
    out["out_of_reach"] = ((), float(beyond.mean()))
    return _labelled(out, capacity, target, measure).assign_attrs(answers=len(points))


def _sizes(case: Case, capacity: float | None, target: float | None) -> np.ndarray:
    """Return the sizes to simulate: the one asked about, or enough to read the size for a target."""
    if (capacity is None) == (target is None):
        raise InputError(
            "the answer is either a tank's reliability or a target's size",
            "give capacity or target",
            "target",
        )
    if capacity is not None:
        return np.array([float(capacity)])
    asked = case.demand if case.weather_demand is None else case.demand + case.weather_demand
    return sizes_to_try(asked, count=56, least_days=0.5, most_days=730.0)


def _answers(case, inputs, sizes, target, measure, threads) -> np.ndarray:
    """Return the reliability of the one size, or the size for the target, in each draw."""
    drawn = draw_flows(case, inputs, threads=threads)
    reached = measures_of_draws(drawn, sizes, keep=(measure,), threads=threads)[measure].values
    return reached[:, 0] if target is None else size_between(reached, sizes, target)


def size_between(reached: np.ndarray, sizes: np.ndarray, target: float) -> np.ndarray:
    """Return the size at which each row first reaches a target, read between the sizes tried.

    Parameters
    ----------
    reached : ndarray, shape (rows, sizes)
        Reliability of each size.
    sizes : ndarray [L]
        Rising sizes.
    target : float [1]
        Reliability to reach.

    Returns
    -------
    ndarray [L]
        Between two sizes on the logarithm of size; NaN where none reaches it; the smallest size where all do.

    Examples
    --------
    >>> size_between(np.array([[0.2, 0.6], [0.1, 0.3]]), np.array([100.0, 400.0]), 0.4)
    array([200.,  nan])
    """
    enough = reached >= target * (1 - 1e-12)
    first = np.argmax(enough, axis=1)
    before = np.maximum(first - 1, 0)
    rows = np.arange(len(reached))
    below, above = reached[rows, before], reached[rows, first]
    share = np.divide(target - below, above - below, out=np.ones(len(reached)), where=above > below)
    size = np.exp(
        np.log(sizes[before]) + np.clip(share, 0, 1) * (np.log(sizes[first]) - np.log(sizes[before]))
    )
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
