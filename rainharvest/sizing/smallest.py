"""The smallest tank that reaches a target, found by simulation to the litre or in closed form."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from itertools import product
from typing import Literal

import numpy as np
import xarray as xr

from rainharvest.sizing.trade_off import ENOUGH, THREADS
from rainharvest.storage.balance import BY_YEAR, LANES, TOTALS, balance
from rainharvest.storage.simulate import as_series, common_time, simulate

Measure = Literal["volume_reliability", "time_reliability"]

SPAN = 64  # sizes tried in one pass: one block of lanes


@dataclass(frozen=True)
class SmallestTank:
    """The answer to "how large must it be?"."""

    capacity: float  # [L] Smallest usable size, in whole litres, that reaches the target; NaN if none does
    reached: float  # [1] What the size found reaches; if none does, the most that any tried reaches
    one_less: float  # [1] What one litre less reaches: below the target, or NaN at size zero


def smallest_tank(inflow, demand, target: float, **settings) -> SmallestTank:
    """Find the smallest tank that reaches a target reliability over the record.

    Each pass simulates 64 sizes between two bounds and keeps the interval in which the target is first
    reached, down to one litre; the answer is then simulated again beside one litre less. The volume
    delivered never falls as the tank grows (without rationing or mains water), so the first crossing is
    the only one. Time reliability has no such law: a larger tank may deliver more on a day that fails all
    the same and so have less on the next. There the answer is the first crossing among the sizes tried.

    >>> answer = smallest_tank([0, 3, 8, 0, 2, 0, 0], 2.0, target=0.5)
    >>> answer.capacity, round(answer.reached, 3), answer.one_less < 0.5
    (5.0, 0.5, True)
    """
    series = as_series("inflow", inflow, common_time(inflow=inflow, demand=demand))
    return smallest_of_members(series.expand_dims("member"), demand, target, **settings)[0]


def smallest_of_members(
    inflow: xr.DataArray,
    demand,
    target: float,
    *,
    measure: Measure = "volume_reliability",
    largest: float | None = None,
    curve: xr.DataArray | None = None,
    shares: dict[str, object] | None = None,
    **settings,
) -> list[SmallestTank]:
    """Find the smallest tank of each version of a record, as `smallest_tank` does for one, side by side.

    ``shares`` are settings that grow with the tank, as shares of it; ``largest`` is all the water of the record where
    it is not given; ``curve`` is what sizes simulated before reach, (member, capacity): it spares most of the search
    where more tank never gives less.
    """
    inflow = inflow.reset_coords(drop=True).transpose("member", "time")

    def reach(which: list[int], sizes: np.ndarray) -> np.ndarray:
        part = inflow.isel(member=which)
        along = xr.DataArray(sizes, {"member": part.member}, ("member", "capacity"))
        grown = {name: share * along for name, share in (shares or {}).items()}
        done = simulate(part, demand, along, threads=THREADS, **settings, **grown)[measure]
        return done.transpose("member", "capacity").values

    start = float(np.max(np.asarray(settings.get("start", 0.0))))
    most = np.array(
        [float(brought.sum()) + start if largest is None else largest for brought in inflow.values]
    )
    short = np.zeros(most.size)
    if curve is not None and more_is_never_less(measure, settings, shares or {}):
        enough = curve.transpose("member", "capacity").values >= target * ENOUGH
        first, sizes = enough.argmax(axis=1), curve.capacity.values
        most = np.where(enough.any(axis=1), np.ceil(sizes[first]), most)
        short = np.where(first > 0, np.floor(sizes[first - 1]), 0.0)
    return search(reach, target, most, short)


def more_is_never_less(measure: str, *settings: Mapping[str, object]) -> bool:
    """Return whether a larger tank never reaches less: so of the volume delivered, without rationing or mains water."""
    given = {name for some in settings for name in some}
    return measure == "volume_reliability" and not {"ration_level", "top_up_level", "change_over"} & given


def sizes_between(low: float, high: float) -> np.ndarray:
    """Return whole litres above one size and up to another: geometric while they span magnitudes, else even."""
    wide = high > 10 * max(low, 1.0)
    span = np.geomspace(max(low, 1.0), high, SPAN) if wide else np.linspace(low, high, SPAN)
    sizes = np.unique(np.round(span))
    return sizes[(sizes > low) & (sizes <= high)]


def search(
    reach: Callable[[list[int], np.ndarray], np.ndarray],
    target: float,
    largest: np.ndarray,
    short: np.ndarray | float = 0.0,
) -> list[SmallestTank]:
    """Search the smallest tank of each version between one that falls short and its largest, all open side by side.

    ``reach`` takes versions and a row of sizes for each, and returns what they reach.
    """
    # Rounding in sums of a hundred thousand days must not make a target of 1 unreachable.
    enough = target * ENOUGH
    most = np.maximum(1.0, np.ceil(largest))
    low, high = np.zeros_like(most) + short, most.copy()
    without, reached = reach(list(range(most.size)), np.stack([low, high], axis=1)).T.copy()
    found = reached >= enough
    # Where rationing begins at a share of the tank, a smaller tank may reach what the largest does not.
    if (lost := np.flatnonzero(~found)).size:
        table = _side_by_side([sizes_between(0.0, high[i]) for i in lost])
        for i, sizes, row in zip(lost, table, reach(list(lost), table), strict=True):
            best = int(np.argmax(row >= enough if (row >= enough).any() else row))
            found[i], reached[i] = row[best] >= enough, row[best]
            if found[i]:
                low[i], high[i] = (sizes[best - 1] if best else 0.0), sizes[best]
    nothing = found & (without >= enough)
    inside = np.flatnonzero(found & ~nothing)
    while open_ := [i for i in inside if high[i] - low[i] > 1]:
        tried = [sizes_between(low[i], high[i]) for i in open_]
        table = _side_by_side(tried)
        for i, sizes, row in zip(open_, tried, reach(open_, table), strict=True):
            first = int(np.argmax(row >= enough))
            low[i], high[i] = (sizes[first - 1] if first else low[i]), sizes[first]
    one_less = np.full(most.size, math.nan)
    if inside.size:
        ends = np.stack([high - 1, high], axis=1)[inside]
        one_less[inside], reached[inside] = reach(list(inside), ends).T
    capacity = np.where(found, np.where(nothing, 0.0, high), math.nan)
    reached = np.where(nothing, without, reached)
    return list(map(SmallestTank, *(values.tolist() for values in (capacity, reached, one_less))))


def smallest_within(
    reach: Callable[[np.ndarray, np.ndarray], np.ndarray],
    sizes: np.ndarray,
    reached: np.ndarray,
    target: float,
) -> np.ndarray:
    """Return the smallest size, to the litre, that reaches a target within the step of curves already simulated.

    ``reached`` holds a curve a series over the ``sizes``; ``reach`` takes series and sizes for each. Missing where no
    size reaches; sought below the smallest of them where that does. Two sizes a pass, close about the straight line
    between the bounds; where the bounds then stay far apart, at thirds.

    >>> sizes, curve = np.array([10.0, 50.0, 90.0]), np.array([[0.1, 0.5, 0.9]])
    >>> [float(smallest_within(lambda _, tried: tried / 100, sizes, curve, target)[0]) for target in (0.614, 0.05)]
    [62.0, 5.0]
    """
    enough = target * ENOUGH
    reaches = (reached >= enough).any(axis=1)
    first, rows = (reached >= enough).argmax(axis=1), np.arange(len(reached))
    low, high = np.where(first > 0, np.floor(sizes[first - 1]), 0.0), np.ceil(sizes[first])
    at_low, at_high = np.where(first > 0, reached[rows, first - 1], 0.0), reached[rows, first]
    slow = np.zeros(len(first), dtype=bool)
    while (some := np.flatnonzero(reaches & (high - low > 1))).size:
        gap = high[some] - low[some]
        rise = np.maximum(at_high[some] - at_low[some], 1e-15)
        part = np.clip((enough - at_low[some]) / rise, 0, 1)
        ends = np.where(slow[some], [[1 / 3], [2 / 3]], part + np.array([[-1 / 32], [1 / 32]]))
        tried = np.clip(np.round(low[some] + ends * gap), low[some] + 1, high[some] - 1)
        got = reach(some, tried.T).T
        for size, value in zip(
            tried[::-1], got[::-1], strict=True
        ):  # from the larger: the first crossing is kept
            up = value >= enough
            high[some[up]], at_high[some[up]] = size[up], value[up]
        for size, value in zip(tried, got, strict=True):
            down = (value < enough) & (size < high[some])
            low[some[down]], at_low[some[down]] = size[down], value[down]
        slow[some] = high[some] - low[some] > gap / 2
    return np.where(reaches, high, np.nan)


def _side_by_side(rows: list[np.ndarray]) -> np.ndarray:
    """Return rows of sizes as one table; a shorter one repeats its last."""
    width = max(sizes.size for sizes in rows)
    return np.array([np.pad(sizes, (0, width - sizes.size), mode="edge") for sizes in rows])


def storage_deficit(inflow, demand) -> np.ndarray:
    """Return the running deficit below a full store (mass curve, Rippl 1883).

    K is zero before the first step and then max(0, K + demand - inflow).

    >>> storage_deficit([1, 3, 3], 3.5)
    array([2.5, 3. , 3.5])
    """
    inflow, demand = _steps(inflow, demand)
    change = np.cumsum(demand - inflow)
    return change - np.minimum(np.minimum.accumulate(change), 0.0)


def sequent_peak(inflow, demand, theta: float = 1.0) -> float:
    """Return the smallest storage that never fails when the record repeats (sequent peak).

    The deficit is run over two cycles of the record, so that a drought across its end is seen. The method
    of the books lets a step's inflow serve its own demand (``theta`` 1). A tank that draws before the rain
    is in needs more: with K the deficit on the evening before, d the demand and q the inflow of the step,

        storage = largest of (K + d - theta q) and of ((1 - theta) d),
        K becomes max(0, K + theta d - q) + (1 - theta) d,

    which is the method of the books at theta = 1.

    Thomas and Burden 1963; Loucks and van Beek, Water Resource Systems Planning and Management. The form
    with theta is ours, derived from the balance.

    >>> flow = [1, 3, 3, 5, 8, 6, 7, 2, 1]
    >>> sequent_peak(flow, 3.5), sequent_peak(flow, 3.5, theta=0.0)
    (7.5, 14.5)
    """
    inflow, demand = _steps(inflow, demand)
    if demand.sum() > inflow.sum() * (1 + 1e-12):
        return float("inf")
    inflow, demand = np.tile(inflow, 2), np.tile(demand, 2)
    late = (1.0 - theta) * demand  # the part drawn after the step's inflow was in, and so not made good by it
    before = np.concatenate(([0.0], late[:-1]))
    change = np.cumsum(theta * demand + before - inflow)
    evening = change - np.minimum(np.minimum.accumulate(change), 0.0) + late
    needed = np.concatenate(([0.0], evening[:-1])) + demand - theta * inflow
    return float(max(needed.max(), late.max(), 0.0))


def _steps(inflow, demand) -> tuple[np.ndarray, np.ndarray]:
    """Return inflow and demand as arrays of one length."""
    inflow = np.asarray(inflow, dtype=float)
    return inflow, np.broadcast_to(np.asarray(demand, dtype=float), inflow.shape)


TARGETS = (0.8, 0.9, 0.95, 0.99)

"""Reliabilities for which the smallest tank is told (own choice)."""


def no_failure(inflow, demand, *, theta: float = 0.0) -> tuple[float, float]:
    """Return the smallest tank without a failed day when the record repeats, in whole litres, and its sequent peak.

    Not a number, and infinite, where more is asked than comes in. "No failure in the record" is no promise: a longer
    record holds a worse drought.

    >>> no_failure([1, 3, 3, 5, 8, 6, 7, 2, 1], 3.5, theta=1.0)
    (8.0, 7.5)
    """
    peak = sequent_peak(inflow, demand, theta)
    # Rounding in sums of a hundred thousand days must not add a litre.
    size = math.nan if math.isinf(peak) else float(math.ceil(peak - 1e-9 * max(peak, 1.0)))
    return size, peak


def merge_dry_days(inflow, *others) -> tuple[np.ndarray, ...]:
    """Return series in which the dry days between two wet ones are one step.

    While nothing flows in, a tank delivers min(what is asked, what it holds), whether that is asked on one
    day or over several: so volumes delivered, spilled and stored at the ends of the steps stay the same
    for every rule of spillage. Days that fail are no longer counted, and rationing no longer sees each
    morning: use the days themselves there.

    >>> merge_dry_days(np.array([5.0, 0, 0, 0, 2, 3, 0]), np.ones(7))
    (array([5., 0., 2., 3., 0.]), array([1., 3., 1., 1., 1.]))
    """
    wet = (inflow > 0).reshape(-1, inflow.shape[-1]).any(axis=0)
    # A step begins on each wet day, and on a dry day that follows a wet one.
    begins = wet.copy()
    begins[1:] |= wet[:-1]
    begins[:1] = True
    starts = np.flatnonzero(begins)
    return tuple(np.add.reduceat(series, starts, axis=-1) for series in (inflow, *others))


def padded(rows: list[np.ndarray]) -> np.ndarray:
    """Return rows of different lengths as one array; the steps added ask for nothing and bring nothing.

    >>> padded([np.array([1.0, 2.0]), np.array([3.0])])
    array([[1., 2.],
           [3., 0.]])
    """
    longest = max(row.shape[-1] for row in rows)
    return np.array([np.pad(row, [(0, 0)] * (row.ndim - 1) + [(0, longest - row.shape[-1])]) for row in rows])


def run_versions(
    inflow: np.ndarray,
    demand: np.ndarray,
    capacity: np.ndarray,
    *,
    theta: float = 0.0,
    start_share: float = 0.0,
    essential: np.ndarray | None = None,
    ration_level_share: np.ndarray | None = None,
    ration_share: np.ndarray | None = None,
) -> dict[str, np.ndarray]:
    """Simulate every size in every version, and return the totals: what `rainharvest.simulate` does, unlabelled.

    Nothing is checked: give what has been through `rainharvest.simulate` before.

    >>> done = run_versions(np.array([[0.0, 3, 8, 0, 2, 0, 0]]), np.full((1, 7), 2.0), np.array([2.0, 5.0]))
    >>> done["drawn"], done["days_failed"]
    (array([[5., 7.]]), array([[5., 4.]]))
    """
    versions, steps = inflow.shape
    years = np.array([0, steps])
    out = np.empty((len(TOTALS), versions, capacity.size))

    def block(job: tuple[int, int]) -> None:
        version, first = job
        size = capacity[first : first + LANES]
        tank = np.array([size, start_share * size])
        rationed = ration_level_share is not None
        total, by_year = np.empty((len(TOTALS), size.size)), np.empty((len(BY_YEAR), 1, size.size))
        balance(
            inflow[version],
            demand[version],
            essential[version] if rationed else None,
            None,
            tank,
            np.full(size.size, theta) if theta else None,
            ration_level_share[:, None] * size if rationed else None,
            np.repeat(ration_share[:, None], size.size, axis=1) if rationed else None,
            None,
            years,
            total,
            by_year,
            None,
        )
        out[:, version, first : first + LANES] = total

    jobs = product(range(versions), range(0, capacity.size, LANES))
    with ThreadPoolExecutor(THREADS) as pool:
        list(pool.map(block, jobs))
    return dict(zip(TOTALS, out, strict=True))
