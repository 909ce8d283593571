"""Rain of some places of a grid, over all days: read, turned to mm, cleaned, every change counted."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit

from rainharvest.climates.grid import Grid
from rainharvest.rainfall.check_values import WORLD_RECORD
from rainharvest.rainfall.read_values import NEGATIVE_CODES

_CODES = np.array(sorted(NEGATIVE_CODES), dtype=float)


@dataclass(frozen=True)
class Read:
    """Rain of some places, and what was done to it.

    Parameters
    ----------
    rain : ndarray [mm/day]
        On the dimensions of the places, time last; a place with a day that is not known is missing whole.
    missing : ndarray [day]
        Days without a value, by place.
    clipped : ndarray [day]
        Days a hair below zero, set to zero.
    impossible : ndarray [day]
        Days below zero by more, or above the world's record.
    """

    rain: np.ndarray
    missing: np.ndarray
    clipped: np.ndarray
    impossible: np.ndarray


@njit(cache=True, nogil=True, error_model="numpy")
def _clean(rain, raw_factor, dust, most, codes, counts):  # pragma: no cover - compiled
    """Clip and count in place; a place with a day that is not known becomes missing whole."""
    for c in range(rain.shape[0]):
        missing, clipped, impossible = 0, 0, 0
        for t in range(rain.shape[1]):
            value = rain[c, t]
            if not np.isfinite(value):
                missing += 1
            elif value < 0.0:
                coded = False
                for code in codes:
                    coded |= abs(value / raw_factor - code) < 0.005
                if coded:
                    missing += 1
                elif value > -dust:
                    rain[c, t] = 0.0
                    clipped += 1
                else:
                    impossible += 1
            elif value > most:
                impossible += 1
        counts[0, c], counts[1, c], counts[2, c] = missing, clipped, impossible
        if missing + impossible > 0:
            rain[c, :] = np.nan


def read_cells(grid: Grid, region: dict[str, slice]) -> Read:
    """Read the rain of some places over all days.

    Parameters
    ----------
    grid : Grid
        The grid.
    region : dict of str to slice
        Which places, by dimension.

    Returns
    -------
    Read
        In mm a day, cleaned.
    """
    raw = read_raw(grid, region)
    rain = np.ascontiguousarray(grid.unit.mm(raw), dtype=float)
    if rain is raw or np.shares_memory(rain, raw):
        rain = rain.copy()
    flat = rain.reshape(-1, rain.shape[-1])
    counts = np.zeros((3, flat.shape[0]))
    factor = float(grid.unit.mm(np.array(1e6))) / 1e6
    _clean(flat, factor, grid.dust, WORLD_RECORD.value, _CODES, counts)
    return Read(rain, *counts.reshape(3, *rain.shape[:-1]))


def read_raw(grid: Grid, region: dict[str, slice]) -> np.ndarray:
    """Read the values of some places as the files have them, the days of all files together, time last.

    Parameters
    ----------
    grid : Grid
        The grid.
    region : dict of str to slice
        Which places, by dimension; a slice of "time" as well takes those days only.

    Returns
    -------
    ndarray
        In the unit of the files.
    """
    wanted = range(grid.days.size)[region.get("time", slice(None))]
    where = {d: s for d, s in region.items() if d != "time"}
    out = None
    for piece, place in zip(grid.pieces, grid.places, strict=True):
        inside = np.flatnonzero((place >= wanted.start) & (place < wanted.stop))
        if not inside.size:
            continue
        times = slice(int(inside[0]), int(inside[-1]) + 1)
        values = piece.variable.isel({**where, "time": times}).transpose(*grid.space, "time").values
        if out is None and inside.size == len(wanted):
            out = values  # one file holds all of it: no copy
            break
        if out is None:
            out = np.full((*values.shape[:-1], len(wanted)), np.nan, values.dtype)
        out[..., place[inside] - wanted.start] = values
    if out is None:
        shape = [len(range(n)[where.get(d, slice(None))]) for d, n in grid.space.items()]
        out = np.full((*shape, len(wanted)), np.nan)
    for day in grid.leap - wanted.start:
        if 0 < day < len(wanted) - 1:  # the calendar of the files lacks 29 February
            out[..., day] = (out[..., day - 1] + out[..., day + 1]) / 2
    return out
