"""The daily balance of the tank: one compiled loop that everything else calls."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import xarray as xr
from numba import types
from numba.extending import overload

from rainharvest.core.compiled import compiled
from rainharvest.core.errors import InputError

LANES = 128

"""Most lanes in a block. Measured: 64 to 128 best; 8 to 16 several times slower."""


UNLIMITED = 1e300

"""Stands for "no limit" where a rate or size is unbounded; finite, so that no inf - inf can arise."""


TOTALS = (
    "drawn",
    "spilled",
    "unmet",
    "rationed",
    "mains_stored",
    "mains_served",
    "days_failed",
    "days_rationed",
    "failure_events",
    "longest_failure",
    "worst_shortfall",
    "stored_end",
)

"""Rows of the totals that the loop fills, in order."""


BY_YEAR = ("drawn", "mains_served", "mains_stored", "days_failed")

"""Rows of the yearly totals, in order."""


DAILY = ("stored", "drawn", "spilled", "unmet", "rationed", "mains_stored", "mains_served")

"""Rows of the trace, in order. Rows of settings that are off are left as they come: give zeros."""


def _day(series, t):  # pragma: no cover - replaced by the overload in compiled code
    return series[t]


@overload(_day)
def _day_overload(series, t):
    """Give the day's value (one series for all lanes) or its row (a series a lane)."""
    if isinstance(series, types.Array):
        return lambda series, t: series[t]


def _lane(value, i):  # pragma: no cover - replaced by the overload in compiled code
    return value if np.ndim(value) == 0 else value[i]


@overload(_lane)
def _lane_overload(value, i):
    """Give a lane's value of what ``_day`` gave."""
    if isinstance(value, types.Array):
        return lambda value, i: value[i]
    return lambda value, i: value


def _no_rain(q_day):  # pragma: no cover - replaced by the overload in compiled code
    return np.ndim(q_day) == 0 and q_day == 0


@overload(_no_rain)
def _no_rain_overload(q_day):
    """Tell whether no lane has inflow; not asked where each lane has a series of its own."""
    if isinstance(q_day, types.Array):
        return lambda q_day: False
    return lambda q_day: q_day == 0.0


@compiled(nogil=True)
def _zeros(lanes):
    """Return a row of zeros that begins on a boundary of 64 bytes: anywhere else the loops take up to twice as long."""
    memory = np.zeros(lanes + 8)
    first = -memory.ctypes.data % 64 // 8
    return memory[first : first + lanes]


@compiled(nogil=True, error_model="numpy", fastmath={"nnan", "nsz"})
def balance(
    inflow,
    demand,
    essential,
    mains_on,
    tank,
    theta,
    ration_level,
    ration_share,
    valve,
    years,
    total,
    by_year,
    trace,
):
    """Run one block of tanks through the record, one day at a time.

    ``tank`` holds the usable capacities and what is stored on the first morning, a column a lane; what is
    None is compiled out (a theta of zero in every lane is given as None).

    The order of operations within a day, the only place where it is written down:

    1. **Morning.** The gauge is read: s is the water stored since last evening. If rationing is set, the
       stage is that of the lowest share whose level is above s, and the water asked for is
       a = e + share (d - e), d the demand and e its essential part; otherwise a = d.
    2. **Rain and draw.** With q the day's inflow, S the usable capacity and theta the operating parameter,
       y = min(a, s + theta q, S / (1 - theta)), what overflows is max(0, s + q - theta y - S), and
       s becomes min(s + q - theta y, S) - (1 - theta) y.
       theta = 0 draws before the day's rain is in (yield after spillage, the default: errs on the safe
       side); theta = 1 after it (yield before spillage). The third term of y matters only between the
       two: without it a storm larger than the tank would let the draw outrun what the tank can hold, and
       the store would go below zero.
    3. **Mains valve**, if set. It opens when s is at or below its trigger, or when the draw was short,
       and stays open, over as many days as it takes, until s reaches the set level. Open, it passes
       m = min(rate x share of the day with mains, short + max(0, set - s)): first to what is still asked
       for today, the rest into the tank. A change-over valve is the same with trigger and set level
       zero: it feeds what is short and stores nothing.
    4. **Evening.** What is still short is the day's shortfall. The day fails if that exceeds 1e-9 of
       what was asked. Failed days that follow one another make one failure event; a day on which nothing
       is asked neither lengthens nor ends it, so that a weekend does not hide that a school is without
       water for weeks.

    Yield after and before spillage: Jenkins et al. 1978; the form with theta: Latham 1983, as used by
    Fewkes and Butler 2000 (equations from memory). The limit S / (1 - theta) is ours.
    """
    lanes = tank.shape[1]
    capacity, stored, most = _zeros(lanes), _zeros(lanes), _zeros(lanes)
    capacity[:], stored[:] = tank[0], tank[1]
    asked, short, opened = _zeros(lanes), _zeros(lanes), _zeros(lanes)
    drawn, spilled, unmet, rationed = _zeros(lanes), _zeros(lanes), _zeros(lanes), _zeros(lanes)
    mains_stored, mains_served, days_rationed = _zeros(lanes), _zeros(lanes), _zeros(lanes)
    # Of the failure under way: its days and shortfall. Of those that have ended: days, number, longest, worst.
    run, run_short = _zeros(lanes), _zeros(lanes)
    days_failed, events, longest, worst = _zeros(lanes), _zeros(lanes), _zeros(lanes), _zeros(lanes)
    lanes_failing, all_empty = 0, False
    if theta is not None:
        for i in range(lanes):
            most[i] = capacity[i] / (1.0 - theta[i]) if theta[i] < 1.0 else UNLIMITED

    for year in range(years.size - 1):
        by_year[0, year] = drawn
        by_year[1, year] = mains_served
        by_year[2, year] = mains_stored
        by_year[3, year] = days_failed + run
        for t in range(years[year], years[year + 1]):
            q_day = _day(inflow, t)
            d_day = _day(demand, t)
            if ration_level is not None:
                e_day = _day(essential, t)
                for i in range(lanes):
                    asked[i] = 1.0
                for k in range(ration_level.shape[0]):
                    for i in range(lanes):
                        below = stored[i] < ration_level[k, i]
                        asked[i] = min(asked[i], ration_share[k, i]) if below else asked[i]
                for i in range(lanes):
                    d = _lane(d_day, i)
                    e = _lane(e_day, i)
                    # The cut, not the rest, is computed, so that a share of one leaves d to the last bit.
                    cut = (1.0 - asked[i]) * (d - e)
                    asked[i] = d - cut
                    rationed[i] += cut
                    days_rationed[i] += 1.0 if cut > 0.0 else 0.0
                    if trace is not None:
                        trace[4, t, i] = cut
            lanes_short = 0
            if _no_rain(q_day):
                # Most days. Nothing can overflow, and the rules of spillage are all the same.
                for i in range(lanes):
                    a = asked[i] if ration_level is not None else _lane(d_day, i)
                    lanes_short += 1 if a > stored[i] else 0
                if all_empty & (lanes_short == lanes) & (valve is None) & (trace is None):
                    # Nothing in any tank: all that is asked is short, and the day is done.
                    for i in range(lanes):
                        a = asked[i] if ration_level is not None else _lane(d_day, i)
                        unmet[i] += a
                        run[i] += 1.0
                        run_short[i] += a
                    lanes_failing = lanes
                    continue
                all_empty = lanes_short == lanes
                if (lanes_short == 0) & (lanes_failing == 0) & (valve is None) & (trace is None):
                    # Enough in every tank: the same draw from all, and the day is done.
                    for i in range(lanes):
                        a = asked[i] if ration_level is not None else _lane(d_day, i)
                        stored[i] -= a
                        drawn[i] += a
                    continue
                for i in range(lanes):
                    a = asked[i] if ration_level is not None else _lane(d_day, i)
                    y = min(a, stored[i])
                    stored[i] -= y
                    short[i] = a - y
                    drawn[i] += y
                    if trace is not None:
                        trace[1, t, i] = y
            else:
                all_empty = False
                for i in range(lanes):
                    q = _lane(q_day, i)
                    a = asked[i] if ration_level is not None else _lane(d_day, i)
                    s = stored[i]
                    if theta is None:
                        y = min(a, s)
                        full = s + q
                        kept = min(full, capacity[i])
                        left = kept - y
                    else:
                        y = min(min(a, s + theta[i] * q), most[i])
                        full = s + q - theta[i] * y
                        kept = min(full, capacity[i])
                        left = max(kept - (1.0 - theta[i]) * y, 0.0)
                    # Written so that a lane without rain gives the same bits here as above.
                    stored[i] = left if q > 0.0 else s - y
                    over = full - kept if q > 0.0 else 0.0
                    short[i] = a - y
                    lanes_short += 1 if a > y else 0
                    drawn[i] += y
                    spilled[i] += over
                    if trace is not None:
                        trace[1, t, i] = y
                        trace[2, t, i] = over
            if valve is not None:
                m_day = _day(mains_on, t)
                lanes_short = 0
                for i in range(lanes):
                    # Ones and zeros rather than branches: only so does the loop stay one of vectors.
                    a = asked[i] if ration_level is not None else _lane(d_day, i)
                    low = 1.0 if stored[i] <= valve[0, i] else 0.0
                    dry = 1.0 if short[i] > 1e-9 * a else 0.0
                    is_open = max(max(low, dry), opened[i])
                    wanted = short[i] + max(valve[1, i] - stored[i], 0.0)
                    m = min(valve[2, i] * _lane(m_day, i), wanted) * is_open
                    served = min(m, short[i])
                    stored[i] += m - served
                    short[i] -= served
                    lanes_short += 1 if short[i] > 0.0 else 0
                    mains_served[i] += served
                    mains_stored[i] += m - served
                    # Given all that it wanted the tank is at its level, to which the sum may lack a last digit.
                    filling = 1.0 if (stored[i] < valve[1, i]) & (m < wanted) else 0.0
                    opened[i] = is_open * filling
                    if trace is not None:
                        trace[5, t, i] = m - served
                        trace[6, t, i] = served
            lanes_failed = 0
            if lanes_short > 0:
                for i in range(lanes):
                    a = asked[i] if ration_level is not None else _lane(d_day, i)
                    failed = 1.0 if short[i] > 1e-9 * a else 0.0
                    unmet[i] += short[i]
                    run[i] += failed
                    run_short[i] += short[i] * failed
                    lanes_failed += 1 if failed > 0.0 else 0
            if (lanes_failing > 0) & (lanes_failed < lanes):
                # What a failure came to is taken when it ends, not day by day.
                lanes_failing = 0
                for i in range(lanes):
                    a = asked[i] if ration_level is not None else _lane(d_day, i)
                    ends = 0.0 if (a == 0.0) | (short[i] > 1e-9 * a) else 1.0
                    days_failed[i] += run[i] * ends
                    events[i] += ends if run[i] > 0.0 else 0.0
                    longest[i] = max(longest[i], run[i] * ends)
                    worst[i] = max(worst[i], run_short[i] * ends)
                    run[i] *= 1.0 - ends
                    run_short[i] *= 1.0 - ends
                    lanes_failing += 1 if run[i] > 0.0 else 0
            else:
                lanes_failing = lanes_failed
            if trace is not None:
                for i in range(lanes):
                    trace[0, t, i] = stored[i]
                    trace[3, t, i] = short[i]
        by_year[0, year] = drawn - by_year[0, year]
        by_year[1, year] = mains_served - by_year[1, year]
        by_year[2, year] = mains_stored - by_year[2, year]
        by_year[3, year] = days_failed + run - by_year[3, year]

    total[0] = drawn
    total[1] = spilled
    total[2] = unmet
    total[3] = rationed
    total[4] = mains_stored
    total[5] = mains_served
    total[6] = days_failed + run
    total[7] = days_rationed
    total[8] = events + (run > 0.0)
    total[9] = np.maximum(longest, run)
    total[10] = np.maximum(worst, run_short)
    total[11] = stored


class Axes:
    """Series and settings laid out in lanes: one lane a tank, the dimensions of series outermost."""

    def __init__(self, series: dict[str, xr.DataArray], settings: dict[str, xr.DataArray]):
        self.series, self.all = series, settings | series
        self.sizes: dict[str, int] = {}
        self.coords: dict[str, xr.DataArray] = {}
        source: dict[str, str] = {}
        for name, array in (series | settings).items():
            for dim, size in array.sizes.items():
                if dim in ("time", "stage"):
                    continue
                # A list of sizes labels its own dimension.
                label = array.coords[dim] if dim in array.coords else array if array.dims == (name,) else None
                clash = self.sizes.setdefault(dim, size) != size
                if label is not None and (known := self.coords.setdefault(dim, label)) is not label:
                    clash |= not known.to_index().equals(label.to_index())
                if clash:
                    raise InputError(
                        f"{name} and {source[dim]} differ along '{dim}'", "give both the same labels", name
                    )
                source.setdefault(dim, name)
        of_series = [d for d in self.sizes if any(d in s.dims for s in series.values())]
        self.dims = of_series + [d for d in self.sizes if d not in of_series]
        self.shape = tuple(self.sizes[d] for d in self.dims)
        self.lanes = math.prod(self.shape)
        self.per_series = math.prod(self.shape[len(of_series) :])
        self._series_index = {
            n: self._flat(s.dims[:-1], np.arange(math.prod(s.shape[:-1])).reshape(s.shape[:-1]))
            for n, s in series.items()
        }

    def _flat(self, dims: tuple[str, ...], values: np.ndarray) -> np.ndarray:
        """Return values of some of the dimensions as one value a lane (by hand: xarray takes 10 ms)."""
        order = [d for d in self.dims if d in dims]
        shape = [self.sizes[d] if d in dims else 1 for d in self.dims]
        turned = values.transpose([dims.index(d) for d in order]).reshape(shape)
        return np.broadcast_to(turned, self.shape).ravel()

    def lane_values(self, *names: str) -> np.ndarray:
        """Return settings as rows, a column a lane."""
        return np.array([self._flat(self.all[n].dims, self.all[n].values) for n in names])

    def over_days(self, name: str, measure: Callable[[np.ndarray], np.ndarray]) -> np.ndarray:
        """Return a measure of the days of a series, one value a lane."""
        array = self.series[name]
        return self._flat(array.dims[:-1], measure(array.values))

    def stage_values(self, name: str) -> np.ndarray:
        """Return a setting as rows of stages, a column a lane."""
        array = self.all[name]
        array = array.transpose("stage", ...) if "stage" in array.dims else array.expand_dims("stage")
        stages = max(self.all[n].sizes.get("stage", 1) for n in ("ration_level", "ration_share"))
        if array.sizes["stage"] != stages:
            raise InputError(
                f"{array.sizes['stage']} stages, where the other setting has {stages}",
                "give as many levels as shares",
                name,
            )
        dims = array.dims[1:]
        return np.array([self._flat(dims, array.values[k]) for k in range(stages)])

    def lane_series(self, name: str, lanes: np.ndarray) -> np.ndarray:
        """Return the days of one series if all lanes share it, else a column a lane."""
        rows = self._series_index[name][lanes]
        values = self.series[name].values.reshape(-1, self.series[name].sizes["time"])
        if (rows == rows[0]).all():
            return values[rows[0]]
        along = rows[0] + np.arange(rows.size)
        some = values[rows[0] : rows[-1] + 1] if (rows == along).all() else values[rows]  # spares a copy
        return np.ascontiguousarray(some.T)

    def blocks(self, lanes: int, few: int, many: int) -> list[tuple[int, int]]:
        """Return where each block of lanes begins and ends; of one series where that has many tanks."""
        # Mixing pays, and is worth compiling for, only where many series have few tanks each.
        mixed = self.per_series < few and self.lanes > many * self.per_series
        step = self.lanes if mixed else self.per_series
        return [
            (first, min(first + lanes, begin + step))
            for begin in range(0, self.lanes, step)
            for first in range(begin, begin + step, lanes)
        ]

    def shaped(self, values: np.ndarray, *last: str) -> tuple[tuple[str, ...], np.ndarray]:
        """Return lane values, with one more dimension if named, as dimensions and array."""
        return (*self.dims, *last), values.reshape(*self.shape, *values.shape[1:])
