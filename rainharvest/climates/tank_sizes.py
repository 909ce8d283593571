"""Many sizes of a tank on rain alone at once: only the sizes that run dry or overflow today are touched."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import xarray as xr

from rainharvest.core.compiled import compiled, compiling_notice
from rainharvest.storage.simulate import year_edges


@compiled(nogil=True, error_model="numpy", fastmath={"nnan", "nsz"})
def add_waiting(empty, water, count, water_since, days_since, unmet, failed, run, longest):
    """Add what the tanks that are empty have lacked since they ran dry."""
    for j in range(empty):
        unmet[j] += water - water_since[j]
        failed[j] += count - days_since[j]
        run[j] += count - days_since[j]
        longest[j] = max(longest[j], run[j])


@compiled(nogil=True, error_model="numpy", fastmath={"nnan", "nsz"})
def run_sizes(flow, when, which, asked, days, edges, sizes, start_share, total, by_year):
    """Fill water short and spilled, days failed and the longest failure, and water short by year, of each lane's sizes.

    The order within a day is that of `rainharvest.storage.balance.balance` with theta = 0, and the answers are its. Of
    sizes that rise, a smaller tank never holds more, nor has more room, than a larger one: those that run dry or
    overflow are the first so many. The others share one sum of what came and went; those that are empty wait for
    rain, and what they lack until then is read from the running sums of the demand (``asked``, ``days``).
    """
    n, end_of_record, runs = sizes.shape[1], edges[-1], flow.shape[0] // when.shape[0]
    size, stored, before = np.empty(n), np.empty(n), np.empty(n)
    unmet, spilled, failed, longest, run = np.empty(n), np.empty(n), np.empty(n), np.empty(n), np.empty(n)
    water_since, days_since = np.empty(n), np.empty(n)  # sums of the demand when a tank ran dry
    for lane in range(which.size):
        q_of, t_of = flow[which[lane]], when[which[lane] // runs]
        size[:] = sizes[lane]
        stored[:] = start_share * size
        unmet[:], spilled[:], failed[:], longest[:], run[:] = 0.0, 0.0, 0.0, 0.0, 0.0
        # empty tanks; those that may be in a failure; day; wet day
        shared, empty, failing, t, k = 0.0, 0, 0, 0, 0
        for year in range(edges.size - 1):
            before[:] = unmet
            end = edges[year + 1]
            while t < end:
                while k < q_of.size and q_of[k] == 0.0 and t_of[k] < end_of_record:
                    k += 1
                rain = min(t_of[k], end_of_record) if k < q_of.size else end_of_record
                stop = min(rain, end)
                if days[stop] > days[t]:  # dry days: who holds less than they ask runs dry on the way
                    u, i, wanted = t, empty, asked[stop] - asked[t]
                    while i < n and stored[i] + shared < wanted:
                        while asked[u + 1] - asked[t] <= stored[i] + shared or days[u + 1] == days[u]:
                            u += 1
                        so_far, least = asked[u + 1] - asked[t], 1e-9 * (asked[u + 1] - asked[u])
                        goes_on = 1.0 if days[u] == days[t] else 0.0
                        while i < n and stored[i] + shared < so_far:  # these on the same day
                            short = so_far - max(stored[i] + shared, 0.0)
                            fails = 1.0 if short > least else 0.0
                            unmet[i] += short
                            failed[i] += fails
                            run[i] = (goes_on * run[i] + fails) * fails
                            longest[i] = max(longest[i], run[i])
                            water_since[i], days_since[i] = asked[u + 1], days[u + 1]
                            i += 1
                    for j in range(i, failing):
                        run[j] = 0.0
                    shared -= wanted
                    empty = failing = i
                t = stop
                if rain == stop < end:
                    q, a = q_of[k], asked[t + 1] - asked[t]
                    last = empty
                    while last < n and (stored[last] + shared < a or stored[last] + shared + q > size[last]):
                        last += 8
                    last = min(last, n)
                    change, water, count = shared + q - a, asked[t], days[t]
                    add_waiting(empty, water, count, water_since, days_since, unmet, failed, run, longest)
                    goes_on = 0.0 if a > 0.0 else 1.0
                    for j in range(last):
                        s = max(stored[j] + shared, 0.0)  # below zero where it has been empty
                        drawn, kept = min(a, s), min(s + q, size[j])
                        fails = 1.0 if a - drawn > 1e-9 * a else 0.0
                        unmet[j] += a - drawn
                        failed[j] += fails
                        run[j] = (run[j] + fails) * max(fails, goes_on)
                        longest[j] = max(longest[j], run[j])
                        spilled[j] += s + q - kept
                        stored[j] = max(kept - drawn, 0.0) - change
                    if a > 0.0:
                        for j in range(last, failing):
                            run[j] = 0.0
                        failing = last
                    else:
                        failing = max(failing, empty)
                    shared, empty = change, 0
                    t, k = t + 1, k + 1
            add_waiting(empty, asked[end], days[end], water_since, days_since, unmet, failed, run, longest)
            water_since[:empty], days_since[:empty], stored[:empty] = asked[end], days[end], -shared
            for j in range(n):
                stored[j] += shared
                by_year[lane, year, j] = unmet[j] - before[j]
            shared = 0.0
        total[0, lane], total[1, lane], total[2, lane], total[3, lane] = unmet, spilled, failed, longest


MEASURES = (
    "volume_reliability",
    "time_reliability",
    "delivered",
    "spilled",
    "days_failed",
    "longest_failure",
    "yield_by_year",
)

"""What `measures` gives by lane and size, the last by lane, year and size: named as by `simulate`."""


@dataclass(frozen=True)
class Asked:
    """The running sums of a demand, and its hydrological years: what all lanes share."""

    water: np.ndarray  # [L] asked before each day, and in all
    days: np.ndarray  # [day] on which water was asked before each day, and in all
    edges: np.ndarray  # Where the years begin, and their end
    days_in_year: np.ndarray  # [day]

    @classmethod
    def of(cls, demand: xr.DataArray, year_start_month: int) -> Asked:
        """Sum a demand up."""
        edges, _, days_in_year = year_edges(demand.time, year_start_month)
        sums = (np.concatenate([[0.0], np.cumsum(each)]) for each in (demand.values, demand.values > 0))
        return cls(*sums, edges, days_in_year)


def measures(
    flow: np.ndarray, when: np.ndarray, which: np.ndarray, asked: Asked, sizes: np.ndarray, start_share: float
) -> dict[str, np.ndarray]:
    """Simulate the rising sizes [L] of each lane: of the row ``which`` of the inflow [L/day] on wet days.

    ``when`` says which days these are, a row for as many runs of one place as there are.


    >>> from rainharvest.storage.simulate import simulate
    >>> demand = xr.DataArray(np.full(7, 2.0), {"time": np.arange(7)}, ("time",))
    >>> flow, when = np.array([[3.0, 8.0, 2.0]]), np.array([[1, 2, 4]])
    >>> measures(flow, when, np.array([0]), Asked.of(demand, 1), np.array([[5.0]]), 0.0)["delivered"]
    array([[7.]])
    """
    shape = sizes.shape
    total, by_year = np.empty((4, *shape)), np.empty((shape[0], asked.edges.size - 1, shape[1]))
    with compiling_notice("the balance of many sizes"):
        run_sizes(
            flow, when, which, asked.water, asked.days, asked.edges,
            np.ascontiguousarray(sizes), start_share, total, by_year,
        )  # fmt: skip
    short, spilled, failed, longest = total
    all_asked, all_days = asked.water[-1], asked.days[-1]
    found = (
        1.0 - short / (all_asked or np.inf),  # nothing asked is nothing failed
        1.0 - failed / max(all_days, 1.0),
        all_asked - short,
        spilled,
        failed,
        longest,
        np.diff(asked.water[asked.edges])[:, None] - by_year,
    )
    return dict(zip(MEASURES, found, strict=True))
