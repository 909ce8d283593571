"""The smallest tank that reaches a stated reliability, found by simulation to the litre."""

from __future__ import annotations

import math
from collections.abc import Callable, Generator
from dataclasses import dataclass
from typing import Literal

import numpy as np
import xarray as xr

from rainharvest.errors import InputError
from rainharvest.storage.simulate import simulate

Measure = Literal["volume_reliability", "time_reliability"]
SPAN = 64  # sizes tried in one pass: one block of lanes


@dataclass(frozen=True)
class SmallestTank:
    """The answer to "how large must it be?".

    Parameters
    ----------
    capacity : float [L]
        Smallest usable size, in whole litres, that reaches the target; NaN if none does.
    measure : str
        Which reliability was asked for.
    target : float [1]
        What it had to reach.
    reached : float [1]
        What the size found reaches; if none does, what the largest tried reaches.
    one_less : float [1]
        What one litre less reaches: below the target, or NaN at size zero.
    largest : float [L]
        Largest size tried.
    """

    capacity: float
    measure: str
    target: float
    reached: float
    one_less: float
    largest: float


def smallest_tank(
    inflow,
    demand,
    target: float,
    *,
    measure: Measure = "volume_reliability",
    largest: float | None = None,
    shares: dict[str, object] | None = None,
    **settings,
) -> SmallestTank:
    """Find the smallest tank that reaches a target reliability over the record.

    Each pass simulates 64 sizes between two bounds and keeps the interval in which the target is first
    reached, down to one litre; the answer is then simulated again beside one litre less. The volume
    delivered never falls as the tank grows (without rationing or mains water), so the first crossing is
    the only one. Time reliability has no such law: a larger tank may deliver more on a day that fails all
    the same and so have less on the next. There the answer is the first crossing among the sizes tried.

    Parameters
    ----------
    inflow : array_like [L/day]
        Water at the tank inlet, one record.
    demand : array_like [L/day]
        Water asked of the tank.
    target : float [1]
        Reliability to reach, above 0 and up to 1.
    measure : str
        "volume_reliability" (default) or "time_reliability".
    largest : float [L], optional
        Largest size worth trying; by default all the water of the record, beyond which size cannot matter.
    shares : dict, optional
        Settings of `rainharvest.simulate` that grow with the tank (start, levels), as shares of its size.
    **settings
        As `rainharvest.simulate`, the same for every size.

    Returns
    -------
    SmallestTank
        With NaN as capacity where no size reaches the target.

    Raises
    ------
    InputError
        If the target is not above 0 and at most 1, the measure is unknown, or the series carry further
        dimensions.

    Examples
    --------
    >>> answer = smallest_tank([0, 3, 8, 0, 2, 0, 0], 2.0, target=0.5)
    >>> answer.capacity, round(answer.reached, 3), answer.one_less < 0.5
    (5.0, 0.5, True)
    """
    _check(target, measure)

    def reach(_: list[int], sizes: np.ndarray) -> np.ndarray:
        along = xr.DataArray(sizes[0], {"capacity": sizes[0]}, ("capacity",))
        grown = {name: share * along for name, share in (shares or {}).items()}
        done = simulate(inflow, demand, along, **settings, **grown)[measure]
        if done.dims != ("capacity",):
            raise InputError(
                f"the record has further dimensions {done.dims}",
                "give one member, roof or arrangement at a time",
                "inflow",
            )
        return done.values[None]

    if largest is None:
        start = float(np.max(np.asarray(settings.get("start", 0.0))))
        largest = float(np.sum(np.asarray(inflow, dtype=float))) + start
    return _together([_search(target, measure, largest)], reach)[0]


def smallest_of_members(
    inflow: xr.DataArray,
    demand,
    target: float,
    *,
    measure: Measure = "volume_reliability",
    shares: dict[str, object] | None = None,
    threads: int = 1,
    **settings,
) -> list[SmallestTank]:
    """Find the smallest tank of each version of a record, as `smallest_tank` does for one.

    The searches are the same, size by size; each pass simulates those of all versions at once.

    Parameters
    ----------
    inflow : DataArray [L/day]
        (member, time): water at the tank inlet.
    demand : array_like [L/day]
        Water asked of the tank, the same for all.
    target : float [1]
        Reliability to reach, above 0 and up to 1.
    measure : str
        As for `smallest_tank`.
    shares : dict, optional
        As for `smallest_tank`.
    threads : int
        As for `rainharvest.simulate`.
    **settings
        As for `smallest_tank`.

    Returns
    -------
    list of SmallestTank
        One a member.

    Raises
    ------
    InputError
        As `smallest_tank`.
    """
    _check(target, measure)
    inflow = inflow.reset_coords(drop=True).transpose("member", "time")
    start = float(np.max(np.asarray(settings.get("start", 0.0))))

    def reach(which: list[int], sizes: np.ndarray) -> np.ndarray:
        part = inflow.isel(member=which)
        along = xr.DataArray(sizes, {"member": part.member}, ("member", "capacity"))
        grown = {name: share * along for name, share in (shares or {}).items()}
        done = simulate(part, demand, along, threads=threads, **settings, **grown)[measure]
        return done.transpose("member", "capacity").values

    return _together(
        [_search(target, measure, float(brought.sum()) + start) for brought in inflow.values], reach
    )


def _check(target: float, measure: str) -> None:
    if not 0 < target <= 1:
        raise InputError(
            f"{target!r} is no reliability to reach", "give a share above 0 and up to 1", "target"
        )
    if measure not in Measure.__args__:
        raise InputError(
            f"no reliability is called {measure!r}", f"use one of {', '.join(Measure.__args__)}", "measure"
        )


Search = Generator[np.ndarray, np.ndarray, SmallestTank]


def _search(target: float, measure: str, largest: float) -> Search:
    """Ask for sizes, be told what they reach, and return the answer."""
    # Rounding in sums of a hundred thousand days must not make a target of 1 unreachable.
    enough = target * (1 - 1e-12)
    low, high = 0.0, max(1.0, math.ceil(largest))
    reached = float((yield np.array([high]))[0])
    if reached < enough:
        return SmallestTank(math.nan, measure, target, reached, math.nan, high)
    without = float((yield np.array([0.0]))[0])
    if without >= enough:
        return SmallestTank(0.0, measure, target, without, math.nan, high)
    while high - low > 1:
        # Geometric while the interval spans magnitudes, even when it no longer does.
        span = (
            np.geomspace(max(low, 1.0), high, SPAN)
            if high > 10 * max(low, 1.0)
            else np.linspace(low, high, SPAN)
        )
        sizes = np.unique(np.round(span))
        sizes = sizes[(sizes > low) & (sizes <= high)]
        first = int(np.argmax((yield sizes) >= enough))
        low, high = (sizes[first - 1] if first else low), sizes[first]
    one_less, reached = (float(r) for r in (yield np.array([high - 1, high])))
    return SmallestTank(float(high), measure, target, reached, one_less, math.ceil(largest))


def _together(
    searches: list[Search], reach: Callable[[list[int], np.ndarray], np.ndarray]
) -> list[SmallestTank]:
    """Run searches side by side: each pass hands the sizes that all of them ask for to ``reach``."""
    asked = dict(enumerate(next(search) for search in searches))
    found: dict[int, SmallestTank] = {}
    while asked:
        which = list(asked)
        width = max(sizes.size for sizes in asked.values())
        table = np.array([np.pad(asked[i], (0, width - asked[i].size), mode="edge") for i in which])
        for i, reached in zip(which, reach(which, table), strict=True):
            try:
                asked[i] = searches[i].send(reached[: asked[i].size])
            except StopIteration as end:
                found[i] = end.value
                del asked[i]
    return [found[i] for i in range(len(searches))]
