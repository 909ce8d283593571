"""The stretch of the record that hurt most."""

from __future__ import annotations

import numpy as np
import xarray as xr


def worst_two_years(done: xr.Dataset) -> xr.Dataset:
    """Return the daily balance of the two years around the largest shortfall.

    Parameters
    ----------
    done : Dataset
        As `rainharvest.study.run.run_study`, with ``stored`` and ``unmet_daily`` on ``time``.

    Returns
    -------
    Dataset
        730 days, fewer where the record is shorter.
    """
    daily = done[["stored", "unmet_daily"]]
    total = np.concatenate([[0.0], np.cumsum(daily.unmet_daily.values)])
    span = min(730, daily.sizes["time"])
    # From the many windows that hold the whole shortfall, the one in which it lies in the middle.
    short = total[span:] - total[:-span]
    best = np.flatnonzero(short >= short.max() - 1e-9)
    first = int(best[best.size // 2])
    return daily.isel(time=slice(first, first + span))
