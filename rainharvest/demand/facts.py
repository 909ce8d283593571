"""The demand of a study, and its week and year as the pictures show them."""

from __future__ import annotations

import numpy as np
import xarray as xr

from rainharvest.core.errors import InputError
from rainharvest.core.quantities import attributes
from rainharvest.demand.evapotranspiration import from_monthly_table
from rainharvest.demand.garden import garden_demand, pool_demand, with_garden
from rainharvest.demand.periods import WEEKDAYS
from rainharvest.demand.uses import daily_demand, join_uses, may_serve
from rainharvest.rainfall.record import StudyRecord
from rainharvest.study.file import Study


def study_demand(study: Study, record: StudyRecord) -> tuple[xr.DataArray, tuple[str, ...]]:
    """Return what the tank is asked for: the uses that the arrangement may serve, gardens and pools."""
    uses, not_served = study.use, ()
    if study.arrangement.kind == "rain only":
        uses = tuple(use for use in study.use if may_serve("rain only", use.quality))
        not_served = tuple(use.name for use in study.use if use not in uses)
        if not (uses or study.garden or study.pool):
            raise InputError(
                "every use needs drinking quality, which rain alone may not serve",
                'set kind = "combined" (with treatment), or add a use such as flush toilets',
                "arrangement.kind",
            )
    asked = daily_demand(uses, study.calendar, record.filled) if uses else _nothing(record)
    if study.weather is not None:
        rain = record.filled.isel(member=0, drop=True)
        thirst = from_monthly_table(study.weather.evapotranspiration, rain)
        gardens = [garden_demand(garden, rain, thirst) for garden in study.garden]
        pools = [pool_demand(pool, rain, thirst) for pool in study.pool]
        for garden in gardens:
            asked = with_garden(asked, garden)
        for pool in pools:
            asked = join_uses(asked, pool)
    return asked, not_served


def _nothing(record: StudyRecord) -> xr.DataArray:
    """Return a demand without any use, for gardens and pools to join."""
    of_use = {"essential": bool, "quality": str, "kind": str}
    coords = {name: ("use", np.empty(0, dtype=kind)) for name, kind in of_use.items()}
    days = record.filled.indexes["time"]
    coords |= {"use": np.empty(0, dtype=str), "time": days}
    return xr.DataArray(np.empty((0, days.size)), coords, ("use", "time"))


def week_of(demand: xr.DataArray) -> xr.DataArray:
    """Return the mean demand of each day of the week, by use.

    >>> import pandas as pd
    >>> days = pd.date_range("2024-03-04", periods=14)
    >>> week_of(xr.DataArray(range(14), {"time": days}, ("time",))).values
    array([3.5, 4.5, 5.5, 6.5, 7.5, 8.5, 9.5])
    """
    if demand.sizes["time"] < 7:
        raise InputError("the demand covers less than a week", "give seven days or more", "demand")
    number = demand.time.dt.dayofweek.values
    means = [demand.isel(time=np.flatnonzero(number == day)).mean("time") for day in range(7)]
    names = xr.DataArray(list(WEEKDAYS), dims="weekday", attrs=attributes("weekday"))
    out = xr.concat(means, "weekday").assign_coords(weekday=names)
    return out.transpose(..., "weekday").assign_attrs(attributes("demand")).rename("demand")


def months_of(demand: xr.DataArray) -> xr.DataArray:
    """Return the mean demand of each month of the year, by use.

    >>> import pandas as pd
    >>> days = pd.date_range("2023-01-01", "2023-12-31")
    >>> months_of(xr.DataArray(days.month, {"time": days}, ("time",))).values.astype(int)
    array([ 1,  2,  3,  4,  5,  6,  7,  8,  9, 10, 11, 12])
    """
    month = demand.time.dt.month.values
    missing = sorted(set(range(1, 13)) - set(month.tolist()))
    if missing:
        raise InputError(f"month {missing[0]} has no day", "give a year or more", "demand")
    means = [demand.isel(time=np.flatnonzero(month == m)).mean("time") for m in range(1, 13)]
    numbers = xr.DataArray(np.arange(1, 13), dims="calendar_month", attrs=attributes("calendar_month"))
    out = xr.concat(means, "calendar_month").assign_coords(calendar_month=numbers)
    return out.transpose(..., "calendar_month").assign_attrs(attributes("demand")).rename("demand")


def thirstiest_year(demand: xr.DataArray) -> xr.DataArray:
    """Return the days of the calendar year that asks for most, of those that the record covers whole.

    >>> import pandas as pd
    >>> days = pd.date_range("2021-06-01", "2024-12-31")
    >>> one = xr.DataArray(days.year * 1.0, {"time": days}, ("time",))
    >>> thirstiest_year(one).sizes["time"]
    366
    """
    if demand.dims != ("time",):
        raise InputError(f"the demand has dimensions {demand.dims}", "sum it over its uses first", "demand")
    year = demand.time.dt.year.values
    first = np.flatnonzero(np.diff(year, prepend=year[0] - 1))
    end = np.append(first[1:], year.size)
    length = np.where(demand.time.dt.is_leap_year.values[first], 366, 365)
    whole = np.flatnonzero(end - first == length)
    if whole.size == 0:
        raise InputError("no calendar year is whole", "give a demand of a year or more", "demand")
    sums = np.array([demand.values[first[i] : end[i]].sum() for i in whole])
    best = whole[int(np.argmax(sums))]
    return demand.isel(time=slice(int(first[best]), int(end[best])))
