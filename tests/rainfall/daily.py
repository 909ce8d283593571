"""Daily records by hand, with readings that stand for several days."""

import numpy as np
import pandas as pd
import xarray as xr

from rainharvest.rainfall.flags import Flag


def record(values, start="2001-01-01", readings=()):
    """Return a record in which each reading (last day, days) stands on its last day."""
    values = np.array(values, float)
    flag = np.where(np.isnan(values), Flag.MISSING, Flag.MEASURED).astype("int8")
    total = np.where(np.isnan(values), 0, 1).astype("int16")
    for last, days in readings:
        inside = slice(max(last - days + 1, 0), last)
        flag[inside], values[inside], total[inside] = Flag.IN_TOTAL, np.nan, 0
        flag[last], total[last] = Flag.TOTAL, days
    time = pd.date_range(start, periods=len(values))
    coords = {"time": time, "flag": ("time", flag), "total_days": ("time", total)}
    return xr.DataArray(values, coords, "time", attrs={"units": "mm/day"})
