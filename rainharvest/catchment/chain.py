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
    count, lanes, steps = roofs.shape[1], series.size, rain.shape[0]
    # What the inner loops touch lies in arrays made here, one lane beside the other: only then does the compiler
    # know that they do not overlap, and makes vector instructions of the loops.
    film, flush = np.empty((count, LANES)), np.empty((count, LANES))
    film_dry, flush_dry = np.empty((count, LANES)), np.empty((count, LANES))
    pipe, pipe_dry = np.empty(LANES), np.empty(LANES)
    roof, run = np.empty((len(ROOF), count, LANES)), np.empty((len(PIPE), LANES))
    depth, dries, below = np.empty(LANES), np.empty(LANES), np.empty(LANES)
    row, summed = np.zeros((12, LANES)), np.zeros((9, LANES))
    own, at_pipe = np.empty(LANES, np.int64), np.empty(LANES, np.int64)
    at_gutter = np.empty((count, LANES), np.int64)
    for first in range(0, lanes, LANES):
        width = min(LANES, lanes - first)
        film[:], flush[:], film_dry[:], flush_dry[:] = 0.0, 0.0, 0.0, 0.0
        pipe[:], pipe_dry[:], summed[:] = 0.0, 0.0, 0.0
        for j in range(LANES):
            i = min(first + j, lanes - 1)  # a short block repeats its last lane
            own[j], at_pipe[j] = series[i], pipe_index[i]
            for k in range(len(PIPE)):
                run[k, j] = pipes[k, i]
            for r in range(count):
                at_gutter[r, j] = gutter_index[r, i]
                for k in range(len(ROOF)):
                    roof[k, r, j] = roofs[k, r, i]
        for t in range(steps):
            row[:] = 0.0
            for j in range(LANES):
                depth[j] = rain[t, own[j]]
                dries[j] = drying[t, own[j]]
            for r in range(count):
                for j in range(LANES):
                    below[j] = gutter_ratio[t, at_gutter[r, j]]
                for j in range(LANES):
                    fallen = depth[j] * roof[0, r, j]
                    film[r, j], film_dry[r, j], wet, dried = fill_step(
                        film[r, j], film_dry[r, j], fallen, roof[2, r, j], dries[j] * roof[0, r, j], 1e300
                    )
                    runoff = wet * roof[1, r, j]
                    passed = min(runoff * below[j], roof[6, r, j])
                    flush[r, j], flush_dry[r, j], clean, bled = fill_step(
                        flush[r, j], flush_dry[r, j], passed, roof[3, r, j], roof[4, r, j], roof[5, r, j]
                    )
                    row[0, j] += fallen
                    row[1, j] += clean
                    row[2, j] += dried
                    row[3, j] += wet - runoff
                    row[4, j] += runoff - passed
                    row[5, j] += bled
                    row[9, j] += film[r, j]
                    row[10, j] += flush[r, j]
            for j in range(LANES):
                below[j] = pipe_ratio[t, at_pipe[j]]
            for j in range(LANES):
                screened = row[1, j] * run[0, j]
                entered = min(screened * below[j], run[1, j])
                row[6, j] = row[1, j] - screened
                row[7, j] = screened - entered
                pipe[j], pipe_dry[j], row[1, j], row[8, j] = fill_step(
                    pipe[j], pipe_dry[j], entered, run[2, j], run[3, j], run[4, j]
                )
                row[11, j] = pipe[j]
            for k in range(9):
                for j in range(LANES):
                    summed[k, j] += row[k, j]
            if trace is not None:
                for k in range(kept.size):
                    for j in range(width):
                        trace[k, t, first + j] = row[kept[k], j]
        total[:9, first : first + width] = summed[:, :width]
        total[9:, first : first + width] = row[9:, :width]
