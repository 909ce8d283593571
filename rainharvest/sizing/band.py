"""The trade-off curve with its band, the nine-in-ten tank, and which uncertain input matters most."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import xarray as xr

from rainharvest.core.errors import require
from rainharvest.core.quantities import DAYS_A_YEAR, attributes, variables
from rainharvest.core.quantities import along as labels
from rainharvest.sizing.smallest import Measure, SmallestTank, more_is_never_less, search
from rainharvest.sizing.trade_off import ENOUGH, THREADS, along_sizes
from rainharvest.sizing.uncertainty import Case, Drawn, draw_flows, draw_inputs, inputs_of, pick_draws
from rainharvest.storage.simulate import simulate

SURE = 0.9

"""Share of the draws in which the size told reaches the target (own choice)."""


BOUNDS = {"low": 0.05, "middle": 0.5, "high": 0.95}

"""The band: nine of ten draws lie between low and high."""


LANES_AT_ONCE = 1024

"""Tanks simulated in one go; only their measures are kept."""


def measures_of_draws(drawn: Drawn, capacity, *, keep: Sequence[str]) -> xr.Dataset:
    """Simulate every size in every draw, and keep only the measures named, of `simulate` or ``yearly_yield``."""
    along = along_sizes(np.atleast_1d(np.asarray(capacity, dtype=float)))
    grown = {name: s * along for name, s in drawn.case.shares.items()}
    batch = int(np.clip(LANES_AT_ONCE // along.size, 16, 256))
    pieces = []
    for first in range(0, drawn.inflow.sizes["draw"], batch):
        part = pick_draws(drawn, slice(first, first + batch))
        done = simulate(part.inflow, part.demand, along, threads=THREADS, **part.settings, **grown)
        done["yearly_yield"] = done.delivered / (float(done.days_in_year.sum()) / DAYS_A_YEAR)
        pieces.append(done[list(keep)].transpose("draw", "capacity", ...))
    out = xr.concat(pieces, "draw").drop_attrs()
    for name in (*keep, "capacity"):
        out[name].attrs = attributes(name)
    return out


def uncertain_curve(
    drawn: Drawn, record: Drawn, capacity, *, target: float, measure: Measure = "volume_reliability"
) -> xr.Dataset:
    """Return the trade-off curve with its band, beside the curve of the record as it stands.

    Every draw begins as the record does, with an empty tank unless the case says otherwise; so the band of a
    tank that hardly ever fails lies below 1 by what its first filling costs.
    """
    done, own = (
        measures_of_draws(flows, capacity, keep=(measure, "yearly_yield")) for flows in (drawn, record)
    )
    out = xr.Dataset(coords=done.coords)
    for name, source in (("reliability", measure), ("yearly_yield", "yearly_yield")):
        out[f"{name}_on_record"] = own[source].median("draw")
        for bound, share in BOUNDS.items():
            out[f"{name}_{bound}"] = (
                done[source].quantile(share, "draw", method="weibull").drop_vars("quantile")
            )
    out["reliability"] = done[measure]
    out["draws_reaching"] = (done[measure] >= target * ENOUGH).mean("draw")
    for name in out.data_vars:
        out[name].attrs = attributes(name)
    return out.assign_attrs(measure=measure, draws=done.sizes["draw"], **drawn.inputs.attrs, target=target)


def sure_size(
    drawn: Drawn,
    target: float,
    *,
    sure: float = SURE,
    measure: Measure = "volume_reliability",
    largest: float | None = None,
    too_small: float = 0.0,
) -> SmallestTank:
    """Find the smallest tank that reaches the target in nine of ten draws, to the litre.

    What the answer reaches is that share of the draws. Where more tank never gives less, a draw that is content with
    a smaller size, or not with a larger one, needs no further simulation; and sizes known to be ``too_small`` none.
    """
    orderly = more_is_never_less(measure, drawn.settings, drawn.case.shares)
    draws = drawn.inflow.sizes["draw"]
    enough, short = (
        np.full(draws, np.inf),
        np.full(draws, -1.0),
    )  # [L] the least that does, the most that does not

    def share_content(_: list[int], table: np.ndarray) -> np.ndarray:
        sizes = table[0]
        content = np.repeat((enough <= sizes[0])[:, None] & orderly, sizes.size, axis=1)
        some = np.flatnonzero((enough > sizes[0]) & (short < sizes[-1]) | (not orderly))
        if some.size:
            reached = measures_of_draws(pick_draws(drawn, some), sizes, keep=(measure,))[measure].values
            content[some] = reached >= target * ENOUGH
            np.minimum(enough, np.where(content, sizes, np.inf).min(axis=1), out=enough)
            np.maximum(short, np.where(content, -1.0, sizes).max(axis=1), out=short)
        return content.mean(axis=0)[None]

    most = float(drawn.inflow.sum("time").max()) if largest is None else largest
    return search(share_content, sure, np.array([most]), too_small if orderly else 0.0)[0]


def runs_of_years(case: Case, runs: int, seed: int = 0) -> Drawn:
    """Return so many runs of years with every other input at its best: among them "which years come" chooses."""
    inputs = draw_inputs(case, runs, seed)
    best = {one.name: inputs[one.name] * 0 + one.best for one in case.ranges}
    return draw_flows(case, inputs.assign(best | {"member": inputs["member"] * 0}))


def tornado(
    record: Drawn, years: Drawn, capacity: float, *, measure: Measure = "volume_reliability"
) -> xr.Dataset:
    """Move one input at a time to the ends of its range and see what the reliability of a tank does.

    Inputs with a range go to its ends; "filling" and "years" have no ends, and go to the 5th and 95th per cent of
    what the fillings (``record``), or the runs of years, give.
    """
    case = record.case
    best = {one.name: one.best for one in case.ranges}
    rows = [dict(best)]
    for one in case.ranges:
        rows += [best | {one.name: one.low}, best | {one.name: one.high}]
    chosen = {name: np.array([row[name] for row in rows]) for name in best}
    chosen |= {name: np.zeros(len(rows), dtype=int) for name in ("member", "year_draw")}

    def answers(drawn: Drawn) -> np.ndarray:
        return measures_of_draws(drawn, capacity, keep=(measure,))[measure].values[:, 0]

    moved = answers(draw_flows(case, inputs_of(chosen, record.inputs.day_drawn)))
    found = {
        one.name: (moved[1 + 2 * k], moved[2 + 2 * k], one.low, one.high) for k, one in enumerate(case.ranges)
    }
    ends = [BOUNDS["low"], BOUNDS["high"]]
    for name, drawn in {"filling": record, "years": years}.items():
        if name == "years" or case.members > 1:
            found[name] = (*np.quantile(answers(drawn), ends, method="weibull"), np.nan, np.nan)
    widest = sorted(found, key=lambda name: -abs(found[name][1] - found[name][0]))
    table = np.array([found[name] for name in widest]).T
    names = ("response_low", "response_high", "input_low", "input_high")
    out = xr.Dataset(variables("input", dict(zip(names, table, strict=True))), labels(input=np.array(widest)))
    out["response_best"] = ((), float(moved[0]), attributes("response_best"))
    for name in ("response_low", "response_high", "response_best"):
        out[name].attrs["units"] = "1"
    return out


def sobol_indices(
    record: Drawn,
    years: Drawn,
    capacity: float,
    *,
    measure: Measure = "volume_reliability",
    base: int = 64,
    seed: int = 0,
) -> xr.Dataset:
    """Split the variance of a tank's reliability between the uncertain inputs (Sobol indices).

    The first-order index is the share of the variance that goes when one input alone becomes known; the
    total index is the share that stays when all the others do. Their difference is what the input does
    together with others. Inputs with a range follow their triangular laws; "filling" and "years" choose
    among the fillings and the runs of years, put in the order of what they bring.

    Sampling and estimators: SALib (Saltelli et al. 2010, from memory); indices of inputs that do not matter
    scatter about zero and may be below it.
    """
    from SALib.analyze import sobol as analyse
    from SALib.sample import sobol as sample

    case = record.case
    names = [one.name for one in case.ranges if one.high > one.low]
    names += ["filling"] * (case.members > 1) + ["years"]
    require(len(names) > 1, "only one input is uncertain", "give ranges of more inputs", "ranges")
    problem = {"num_vars": len(names), "names": names, "bounds": [[0.0, 1.0]] * len(names)}
    points = sample.sample(problem, base, calc_second_order=False, seed=seed)
    at = dict(zip(names, points.T, strict=True))
    chosen = {
        one.name: one.at(at[one.name]) if one.name in at else one.best + 0 * points[:, 0]
        for one in case.ranges
    }
    chosen["year_draw"] = years.inputs.year_draw.values[_by_what_they_bring(years, at["years"])]
    chosen["member"] = np.zeros(len(points), dtype=int)
    if "filling" in at:
        chosen["member"] = _by_what_they_bring(record, at["filling"])
    drawn = draw_flows(case, inputs_of(chosen, years.inputs.day_drawn))
    answer = measures_of_draws(drawn, capacity, keep=(measure,))[measure].values[:, 0]
    keys = {
        "first_order": "S1",
        "first_order_confidence": "S1_conf",
        "total_order": "ST",
        "total_order_confidence": "ST_conf",
    }
    indices = {key: np.full(len(names), np.nan) for key in keys.values()}
    if np.ptp(answer) > 1e-9 * max(abs(answer).max(), 1e-30):
        # The library takes a seed of zero for none.
        indices = analyse.analyze(problem, answer, calc_second_order=False, seed=seed + 1)
    order = np.argsort(-np.nan_to_num(indices["ST"]), kind="stable")
    values = {name: np.asarray(indices[key])[order] for name, key in keys.items()}
    return xr.Dataset(variables("input", values), labels(input=np.array(names)[order]))


def _by_what_they_bring(drawn: Drawn, chance: np.ndarray) -> np.ndarray:
    """Return for each chance one of the draws, in the order of the water that they bring."""
    brought = drawn.inflow.sum("time").values
    return np.argsort(brought)[np.minimum((chance * brought.size).astype(int), brought.size - 1)]
