"""Many readings of the gauge run through many years, as lanes of the daily balance."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np

from rainharvest.compiled import compiling_notice
from rainharvest.drought.windows import Windows
from rainharvest.errors import InputError
from rainharvest.storage.balance import BY_YEAR, DAILY, LANES, TOTALS, balance

STORED, DRAWN, UNMET = DAILY.index("stored"), DAILY.index("drawn"), DAILY.index("unmet")
DAYS_FAILED = BY_YEAR.index("days_failed")
FEW = 8  # blocks below which a second thread does not pay (own choice)


@dataclass(frozen=True)
class Settings:
    """What the lanes differ in: a row a setting.

    Parameters
    ----------
    start : ndarray, shape (settings,) [L]
        Stored on the first morning.
    level, share : ndarray, shape (settings, stages)
        Rationing levels [L] and shares of the non-essential demand served below them; a level of zero is
        never reached from above.
    """

    start: np.ndarray
    level: np.ndarray
    share: np.ndarray


def run_windows(
    windows: Windows, capacity: float, settings: Settings, theta: float = 0.0, edges=None
) -> np.ndarray:
    """Run every setting through every window and count the failed days of each part of the window.

    Parameters
    ----------
    windows : Windows
        What comes and what is asked.
    capacity : float [L]
        Usable tank size.
    settings : Settings
        What the lanes differ in.
    theta : float [1]
        As in `rainharvest.simulate`.
    edges : sequence of int [day], optional
        Where the parts begin, from 0, and where the last one ends; one part by default.

    Returns
    -------
    ndarray, shape (settings, parts, columns)
        Failed days.
    """
    days = windows.inflow.shape[0]
    edges = np.array([0, days] if edges is None else edges, dtype=np.int64)
    failed = np.empty((settings.start.size, edges.size - 1, windows.year.size))

    def part(columns: range) -> None:
        for row, begin, end, _, by_part, _ in _blocks(
            windows, capacity, settings, theta, edges, columns, False
        ):
            failed[row, :, begin:end] = by_part[DAYS_FAILED, :, : end - begin]

    _side_by_side(part, windows.year.size)
    return failed


def trace_windows(
    windows: Windows, capacity: float, settings: Settings, theta: float = 0.0
) -> tuple[np.ndarray, np.ndarray]:
    """Run every setting through every window and keep the store of each evening.

    Parameters
    ----------
    windows : Windows
        What comes and what is asked.
    capacity : float [L]
        Usable tank size.
    settings : Settings
        What the lanes differ in.
    theta : float [1]
        As in `rainharvest.simulate`.

    Returns
    -------
    tuple of ndarray
        Stored (settings, days, columns) [L], in single precision; the number of days before the first failed
        one (settings, columns), the length of the window where none failed.
    """
    days = windows.inflow.shape[0]
    stored = np.empty((settings.start.size, days, windows.year.size), dtype=np.float32)
    lasts = np.empty((settings.start.size, windows.year.size), dtype=np.int64)
    edges = np.array([0, days], dtype=np.int64)

    def part(columns: range) -> None:
        for row, begin, end, asked, _, daily in _blocks(
            windows, capacity, settings, theta, edges, columns, True
        ):
            stored[row, :, begin:end] = daily[STORED, :, : end - begin]
            short = daily[UNMET, :, : end - begin] > 1e-9 * asked[:, : end - begin]
            lasts[row, begin:end] = np.where(short.any(axis=0), short.argmax(axis=0), days)

    _side_by_side(part, windows.year.size)
    return stored, lasts


def _side_by_side(part: Callable[[range], None], columns: int) -> None:
    """Work the blocks of columns in two threads where there is enough to do: a slider waits."""
    blocks = range(0, columns, LANES)
    with compiling_notice("the daily balance"):
        part(blocks[:1])
        rest = blocks[1:]
        if len(rest) < FEW:
            part(rest)
        else:
            with ThreadPoolExecutor(2) as pool:
                list(pool.map(part, (rest[::2], rest[1::2])))


def _blocks(
    windows: Windows, capacity: float, settings: Settings, theta: float, edges, blocks: range, trace: bool
):
    """Yield the results of each block of lanes; the arrays are used again for the next."""
    days, columns = windows.inflow.shape
    if not capacity > 0:
        raise InputError(f"a tank of {capacity:g} L", "give a size above zero", "capacity")
    if (settings.start < 0).any() or (settings.start > capacity * (1 + 1e-12)).any():
        raise InputError(
            "the gauge shows more than the tank holds, or less than nothing",
            f"give a level from 0 to {capacity:g} L",
            "start",
        )
    total = np.empty((len(TOTALS), LANES))
    by_part = np.empty((len(BY_YEAR), edges.size - 1, LANES))
    daily = np.zeros((len(DAILY), days, LANES)) if trace else None
    tank = np.empty((3, LANES))
    tank[0], tank[1] = capacity, theta
    for begin in blocks:
        end = min(begin + LANES, columns)
        lanes = np.minimum(np.arange(begin, begin + LANES), end - 1)  # a short block repeats its last
        flows = [
            np.ascontiguousarray(series[:, begin:end] if end - begin == LANES else series[:, lanes])
            for series in (windows.inflow, windows.demand, windows.essential)
        ]
        for row in range(settings.start.size):
            tank[2] = settings.start[row]
            level, share = (
                np.repeat(rule[row][:, None], LANES, axis=1) for rule in (settings.level, settings.share)
            )
            balance(*flows, None, tank, level, share, None, edges, total, by_part, daily)
            yield row, begin, end, flows[1], by_part, daily
