"""The loss chain as one compiled loop: every litre that falls on the roofs is followed to where it goes.

Lanes are independent chains (other roofs, bores, bleeds, members, sites) in blocks; time is the loop
outside them. The order of the chain is written down here and nowhere else.
"""

from __future__ import annotations

import numpy as np
from numba import njit

from rainharvest.catchment.losses import fill_step

LANES = 64
"""Lanes in a block."""

LOSSES = (
    "wetting",
    "runoff coefficient",
    "gutter capacity",
    "first flush",
    "filter",
    "pipe capacity",
    "held in pipe",
)
"""Where water is lost, in the order of the chain."""

STORES = ("roof film", "first flush", "pipe")
"""Where water is held from one day to the next."""

ROWS = ("rain_on_roof", "inflow", *LOSSES, *STORES)
"""Rows of the totals and of the trace, in order. The stores are contents at the end, not sums."""

ROOF = ("area", "runoff_coefficient", "wetting", "flush", "flush_bleed", "flush_reset", "gutter_limit")
"""Parameters of a roof, in order: m2, 1, L, L, L a step, steps, L a step."""

PIPE = ("filter_efficiency", "pipe_limit", "held_volume", "bleed", "emptied_after")
"""Parameters of what is common to all roofs, in order: 1, L a step, L, L a step, steps."""


@njit(cache=True, nogil=True, error_model="numpy")
def run_chain(
    rain,
    drying,
    series,
    roofs,
    gutter_ratio,
    gutter_index,
    pipes,
    pipe_ratio,
    pipe_index,
    total,
    kept,
    trace,
):
    """Run all lanes through the record.

    In each step, for each roof: the film on the roof dries and takes what it can (wetting); the runoff
    coefficient is applied; what the gutter cannot pass is lost; the first-flush space drains and takes
    what it can. The roofs are added; the filter takes its share; what the pipe cannot pass is lost at the
    gutter; the pipe, if wet, drains through its bleed or is emptied, and fills before anything passes.

    Parameters
    ----------
    rain : ndarray, shape (steps, series)
        Depth in each step, mm. No missing values: check before.
    drying : ndarray, shape (steps, series)
        Most that a roof dries in each step, mm.
    series : ndarray of int, shape (lanes,)
        Which series each lane takes.
    roofs : ndarray, shape (len(ROOF), roofs, lanes)
        See `ROOF`; a lane with fewer roofs has roofs of area zero.
    gutter_ratio : ndarray, shape (steps, any)
        Share of the step's runoff that falls below the limit of a gutter.
    gutter_index : ndarray of int, shape (roofs, lanes)
        Which column of it.
    pipes : ndarray, shape (len(PIPE), lanes)
        See `PIPE`.
    pipe_ratio : ndarray, shape (steps, any)
        Share of what the gutters passed that falls below the limit of the pipe.
    pipe_index : ndarray of int, shape (lanes,)
        Which column of it.
    total : ndarray, shape (len(ROWS), lanes)
        Filled with the sums over the record (L); for the stores with what they hold at the end.
    kept : ndarray of int
        Which of the `ROWS` the trace has.
    trace : ndarray, shape (kept.size, steps, lanes), or None
        Filled with the values of each step (L) if given.
    """
    count = roofs.shape[1]
    lanes = series.size
    film, flush = np.zeros((count, lanes)), np.zeros((count, lanes))
    film_dry, flush_dry = np.zeros((count, lanes)), np.zeros((count, lanes))
    pipe, pipe_dry = np.zeros(lanes), np.zeros(lanes)
    row = np.zeros((12, LANES))
    total[:] = 0.0
    for first in range(0, lanes, LANES):
        last = min(first + LANES, lanes)
        for t in range(rain.shape[0]):
            row[:] = 0.0
            for r in range(count):
                for i in range(first, last):
                    j = i - first
                    area = roofs[0, r, i]
                    fallen = rain[t, series[i]] * area
                    film[r, i], film_dry[r, i], wet, dried = fill_step(
                        film[r, i], film_dry[r, i], fallen, roofs[2, r, i], drying[t, series[i]] * area, 1e300
                    )
                    runoff = wet * roofs[1, r, i]
                    passed = min(runoff * gutter_ratio[t, gutter_index[r, i]], roofs[6, r, i])
                    flush[r, i], flush_dry[r, i], clean, bled = fill_step(
                        flush[r, i], flush_dry[r, i], passed, roofs[3, r, i], roofs[4, r, i], roofs[5, r, i]
                    )
                    row[0, j] += fallen
                    row[1, j] += clean
                    row[2, j] += dried
                    row[3, j] += wet - runoff
                    row[4, j] += runoff - passed
                    row[5, j] += bled
                    row[9, j] += film[r, i]
                    row[10, j] += flush[r, i]
            for i in range(first, last):
                j = i - first
                screened = row[1, j] * pipes[0, i]
                entered = min(screened * pipe_ratio[t, pipe_index[i]], pipes[1, i])
                row[6, j] = row[1, j] - screened
                row[7, j] = screened - entered
                pipe[i], pipe_dry[i], row[1, j], row[8, j] = fill_step(
                    pipe[i], pipe_dry[i], entered, pipes[2, i], pipes[3, i], pipes[4, i]
                )
                row[11, j] = pipe[i]
            for k in range(9):
                for i in range(first, last):
                    total[k, i] += row[k, i - first]
            if trace is not None:
                for k in range(kept.size):
                    for i in range(first, last):
                        trace[k, t, i] = row[kept[k], i - first]
        for k in range(9, 12):
            for i in range(first, last):
                total[k, i] = row[k, i - first]
