"""The versions of a filled record, year by year."""

from __future__ import annotations

import numpy as np
import xarray as xr

from rainharvest.names import attributes
from rainharvest.rainfall.flags import Flag
from rainharvest.rainfall.totals import period_totals


def one_version(filled: xr.DataArray, member: int = 0) -> xr.DataArray:
    """Return one version as a record of its own: every day a day, nothing still inside a total.

    Parameters
    ----------
    filled : DataArray [mm/day]
        What ``fill_gaps`` gave, on ``member`` and ``time``.
    member : int [1]
        Which version.

    Returns
    -------
    DataArray [mm/day]
        On ``time``, with ``flag`` and ``total_days``.

    Examples
    --------
    >>> import pandas as pd
    >>> from rainharvest.rainfall.fill import fill_gaps
    >>> days = pd.date_range("2001-01-01", "2003-12-31")
    >>> filled = fill_gaps(pd.Series(1.0, days).drop(days[[500]]), members=2)
    >>> float(one_version(filled, 1).sel(time=days[500]))
    1.0
    """
    first = filled.isel(member=member, drop=True)
    known = first.notnull().values
    flag = np.where(known, first["flag"].values, Flag.MISSING).astype(np.int8)
    return first.assign_coords(
        flag=("time", flag, first["flag"].attrs), total_days=("time", known.astype(np.int16))
    )


def version_totals(filled: xr.DataArray, year_start_month: int = 1) -> xr.DataArray:
    """Sum each version's rain over hydrological years; a year with an unknown day has no total.

    Parameters
    ----------
    filled : DataArray [mm/day]
        What ``fill_gaps`` gave, on ``member`` and ``time``.
    year_start_month : int [1]
        First month of the hydrological year.

    Returns
    -------
    DataArray [mm]
        On ``member`` and ``year``; the attribute ``year_start_month`` keeps the setting.

    Examples
    --------
    >>> import pandas as pd
    >>> from rainharvest.rainfall.fill import fill_gaps
    >>> days = pd.date_range("2001-01-01", "2003-12-31")
    >>> filled = fill_gaps(pd.Series(1.0, days).drop(days[[500]]), members=2)
    >>> version_totals(filled).values
    array([[365., 365., 365.],
           [365., 365., 365.]])
    """
    # A version knows a day or does not: one tells which years are whole, and the sums of all are taken at
    # once, since a slider waits for them.
    first = period_totals(one_version(filled), 12, year_start_month)
    starts = np.searchsorted(filled.indexes["time"], first.time.values)
    total = np.add.reduceat(filled.transpose("member", "time").values, starts, axis=1)
    return xr.DataArray(
        np.where(first.known_share.values == 1, total, np.nan),
        {"year": ("year", first.time.dt.year.values, attributes("year"))},
        ("member", "year"),
        attrs=attributes("annual_total", year_start_month=int(year_start_month)),
    )
