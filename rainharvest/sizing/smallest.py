"""The smallest tank that reaches a stated reliability, found by simulation to the litre."""

from __future__ import annotations

import math
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
    if not 0 < target <= 1:
        raise InputError(
            f"{target!r} is no reliability to reach", "give a share above 0 and up to 1", "target"
        )
    if measure not in Measure.__args__:
        raise InputError(
            f"no reliability is called {measure!r}", f"use one of {', '.join(Measure.__args__)}", "measure"
        )

    def reliability(sizes: np.ndarray) -> np.ndarray:
        along = xr.DataArray(sizes, {"capacity": sizes}, ("capacity",))
        grown = {name: share * along for name, share in (shares or {}).items()}
        done = simulate(inflow, demand, along, **settings, **grown)[measure]
        if done.dims != ("capacity",):
            raise InputError(
                f"the record has further dimensions {done.dims}",
                "give one member, roof or arrangement at a time",
                "inflow",
            )
        return done.values

    # Rounding in sums of a hundred thousand days must not make a target of 1 unreachable.
    enough = target * (1 - 1e-12)
    if largest is None:
        start = float(np.max(np.asarray(settings.get("start", 0.0))))
        largest = float(np.sum(np.asarray(inflow, dtype=float))) + start
    low, high = 0.0, max(1.0, math.ceil(largest))
    reached = float(reliability(np.array([high]))[0])
    if reached < enough:
        return SmallestTank(math.nan, measure, target, reached, math.nan, high)
    if float(reliability(np.array([0.0]))[0]) >= enough:
        return SmallestTank(0.0, measure, target, float(reliability(np.array([0.0]))[0]), math.nan, high)
    while high - low > 1:
        # Geometric while the interval spans magnitudes, even when it no longer does.
        span = (
            np.geomspace(max(low, 1.0), high, SPAN)
            if high > 10 * max(low, 1.0)
            else np.linspace(low, high, SPAN)
        )
        sizes = np.unique(np.round(span))
        sizes = sizes[(sizes > low) & (sizes <= high)]
        first = int(np.argmax(reliability(sizes) >= enough))
        low, high = (sizes[first - 1] if first else low), sizes[first]
    one_less, reached = (float(r) for r in reliability(np.array([high - 1, high])))
    return SmallestTank(float(high), measure, target, reached, one_less, math.ceil(largest))
