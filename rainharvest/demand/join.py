"""Uses that are computed from the weather, beside those that the calendar gives."""

from __future__ import annotations

import numpy as np
import pandas as pd
import xarray as xr

from rainharvest.demand.calendar import as_days
from rainharvest.errors import InputError
from rainharvest.names import attributes


def join_uses(demand: xr.DataArray, more: xr.DataArray) -> xr.DataArray:
    """Return the demand by use with further uses.

    Parameters
    ----------
    demand, more : DataArray [L/day]
        Dimensions (use, time) and any other; coordinates ``essential``, ``quality`` and ``kind`` on
        ``use``, as `rainharvest.demand.uses.daily_demand` returns them.

    Returns
    -------
    DataArray [L/day]
        Dimensions (..., use, time).

    Raises
    ------
    InputError
        If both have a use of one name, or the days differ.

    Examples
    --------
    >>> from rainharvest.demand.calendar import Calendar
    >>> from rainharvest.demand.uses import Use, daily_demand
    >>> days = pd.date_range("2024-03-01", periods=2)
    >>> one, two = (
    ...     daily_demand([Use(name=n, kind="cattle", units=3)], Calendar(), days) for n in ("cows", "oxen")
    ... )
    >>> join_uses(one, two).sum("use").values
    array([240., 240.])
    """
    twice = sorted(set(demand.use.values.tolist()) & set(more.use.values.tolist()))
    if twice:
        raise InputError(f'a use is called "{twice[0]}" already', "give each its own name", "use")
    if not demand.time.to_index().equals(more.time.to_index()):
        raise InputError(
            f"{more.use.values[0]} and the demand do not cover the same days", "use one record", "use"
        )
    said = "; ".join(filter(None, (part.attrs.get("assumptions", "") for part in (demand, more))))
    both = xr.concat(xr.broadcast(demand, more, exclude=("use",)), "use").transpose(..., "use", "time")
    return both.assign_attrs(attributes("demand", assumptions=said)).rename("demand")


def known_days(name: str, values) -> xr.DataArray:
    """Return a daily series as a DataArray, refusing days without a value or below zero.

    Parameters
    ----------
    name : str
        The argument, for errors.
    values : DataArray or Series
        On ``time``.

    Returns
    -------
    DataArray
        Floats, without any coordinate but its dimensions'.

    Raises
    ------
    InputError
        If it is no series on dates, or a day has no value or a negative one.
    """
    if isinstance(values, pd.Series):
        values = xr.DataArray(values.to_numpy(dtype=float), {"time": values.index}, ("time",))
    if not isinstance(values, xr.DataArray) or "time" not in values.dims:
        raise InputError("it is not a series on dates", "give a Series or a DataArray with time", name)
    values = values.astype(float).assign_coords(time=as_days(values))
    bad = ~(np.isfinite(values) & (values >= 0))
    if bool(bad.any()):
        per_day = bad.any([d for d in bad.dims if d != "time"])
        first = str(per_day.time.values[per_day.values][0])[:10]
        raise InputError(
            f"{int(per_day.sum())} days have no value or a negative one, the first {first}",
            "fill the record first",
            name,
        )
    return values.reset_coords(drop=True)
