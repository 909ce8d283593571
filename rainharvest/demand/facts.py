"""The demand of a study, and its week and year as pictures and sentences show them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
import xarray as xr

from rainharvest.core.errors import InputError, require
from rainharvest.core.quantities import attributes
from rainharvest.demand.evapotranspiration import from_monthly_table
from rainharvest.demand.garden import garden_use, pool_demand
from rainharvest.demand.periods import WEEKDAYS, as_days
from rainharvest.demand.tables import Garden, Use, Weather
from rainharvest.demand.uses import daily_demand, may_serve, with_uses
from rainharvest.demand.weather import from_weather, read_weather
from rainharvest.rainfall.record import StudyRecord


def study_evapotranspiration(weather: Weather, site, folder: Path, record: StudyRecord) -> xr.DataArray:
    """Return the reference evapotranspiration of a study's days: from its weather file or its monthly means."""
    days = as_days(record.filled)
    if weather.file is None:
        return from_monthly_table(weather.evapotranspiration, days)
    path = folder / weather.file
    table = read_weather(path)
    try:
        return from_weather(table, days, site.latitude, site.elevation, weather.wind_height)
    except InputError as error:
        raise error.at(path) from None


def uses_served(study) -> tuple[Use, ...]:
    """Return the uses that the arrangement may serve; an error where nothing is left to draw."""
    uses = tuple(use for use in study.use if may_serve(study.arrangement.serves_as, use.quality))
    require(
        uses or study.garden or study.pool,
        "every use needs drinking quality, which rain alone may not serve",
        'set kind = "combined" (with treatment), or treated = true where there are no mains, or add a use such as '
        "flush toilets",
        "arrangement.kind",
    )
    return uses


def study_demand(
    study, record: StudyRecord, evapotranspiration: xr.DataArray | None = None
) -> tuple[xr.DataArray, tuple[str, ...]]:
    """Return the demand on the tank, of the uses that the arrangement may serve, and the names of those it may not."""
    uses = uses_served(study)
    not_served = tuple(use.name for use in study.use if use not in uses)
    rain = record.filled.isel(member=0, drop=True)
    parts = [daily_demand(uses, study.calendar, rain)] if uses else []
    parts += [garden_use(garden, rain, evapotranspiration) for garden in study.garden]
    parts += [pool_demand(pool, rain, evapotranspiration) for pool in study.pool]
    return (with_uses(*parts) if len(parts) > 1 else parts[0]), not_served


def changed_uses(uses: Sequence[Use], counts: Sequence[float], litres: Sequence[float]) -> tuple[Use, ...]:
    """Return the uses with other counts and litres, each change marked as the reader's own."""
    out = []
    for use, count, each in zip(uses, counts, litres, strict=True):
        for what, value in (("count", count), ("litres", each)):
            require(0 < value <= 1e6, f'"{use.name}" has {what} {value:g}', "give a value above zero", what)
        source = use.source if each == use.litres else "given by the reader"
        counted = "units" if use.people is None else "people"
        out.append(use.model_copy(update={counted: count, "litres": each, "source": source}))
    return tuple(out)


def demand_of(supply, uses: Sequence[Use], bed_area: float = 0.0) -> xr.DataArray:
    """Return the demand of these uses and of a garden.

    Parameters
    ----------
    supply : Supply
        The study, as `rainharvest.storage.panel.prepare_supply` returns it.
    uses : list of Use
        The uses.
    bed_area : float [m2], optional
        Planted area that is watered; none by default.

    Returns
    -------
    DataArray [L/day]
        (use, time).

    Raises
    ------
    InputError
        As `rainharvest.demand.uses.daily_demand`.
    """
    demand = daily_demand(uses, supply.study.calendar, supply.rain)
    if bed_area <= 0:
        return demand
    return with_uses(demand, garden_use(Garden(bed_area=bed_area), supply.rain, supply.evapotranspiration))


@dataclass(frozen=True)
class DemandFacts:
    """A demand over all its years."""

    year: float  # [L] In a mean year
    days: float  # Days of a mean year on which anything draws
    largest: float  # [L] On the heaviest day


def demand_facts(demand: xr.DataArray) -> DemandFacts:
    """Return how much is drawn in a year and on the heaviest day."""
    total = demand.sum("use")
    return DemandFacts(float(total.mean()) * 365.25, float((total > 0).mean()) * 365.25, float(total.max()))


def yearly_facts(demand: xr.DataArray) -> dict[str, float]:
    """Return what each use draws in a mean year [L]; together they are the demand on the tank."""
    return {str(name): float(demand.sel(use=name).mean()) * 365.25 for name in demand.use.values}


def week_of(demand: xr.DataArray) -> xr.DataArray:
    """Return the mean demand of each day of the week, by use.

    >>> days = pd.date_range("2024-03-04", periods=14)
    >>> week_of(xr.DataArray(range(14), {"time": days}, ("time",))).values
    array([3.5, 4.5, 5.5, 6.5, 7.5, 8.5, 9.5])
    """
    require(
        demand.sizes["time"] >= 7, "the demand covers less than a week", "give seven days or more", "demand"
    )
    return _means(demand, demand.time.dt.dayofweek.values, range(7), "weekday", list(WEEKDAYS))


@dataclass(frozen=True)
class WeekFacts:
    """The week of a demand."""

    working: float  # [L] On a mean day from Monday to Friday
    weekend: float  # [L] On a mean day at the weekend
    most: str  # The use that draws most
    share: float  # Its share of the whole


def week_facts(week: xr.DataArray) -> WeekFacts:
    """Return what the week of a demand shows."""
    total, by_use = week.sum("use").values, week.sum("weekday").values
    most = int(np.argmax(by_use))
    return WeekFacts(
        total[:5].mean(), total[5:].mean(), str(week.use.values[most]), by_use[most] / by_use.sum()
    )


def months_of(demand: xr.DataArray) -> xr.DataArray:
    """Return the mean demand of each month of the year, by use.

    >>> days = pd.date_range("2023-01-01", "2023-12-31")
    >>> months_of(xr.DataArray(days.month, {"time": days}, ("time",))).values.astype(int)
    array([ 1,  2,  3,  4,  5,  6,  7,  8,  9, 10, 11, 12])
    """
    month = demand.time.dt.month.values
    for missing in sorted(set(range(1, 13)) - set(month.tolist())):
        raise InputError(f"month {missing} has no day", "give a year or more", "demand")
    return _means(demand, month, range(1, 13), "calendar_month", np.arange(1, 13))


def _means(demand: xr.DataArray, of_day: np.ndarray, groups: range, dim: str, names) -> xr.DataArray:
    """Return the mean of each group of days, the groups last."""
    means = [demand.isel(time=np.flatnonzero(of_day == group)).mean("time") for group in groups]
    out = xr.concat(means, xr.DataArray(names, dims=dim, name=dim, attrs=attributes(dim)))
    return out.transpose(..., dim).assign_attrs(attributes("demand")).rename("demand")


@dataclass(frozen=True)
class MonthsFacts:
    """The year of a demand, month by month; months count from 0."""

    high: int  # The month that draws most
    most: float  # [L] On its mean day
    low: int  # The month that draws least
    least: float  # [L] On its mean day
    garden_month: int | None  # The month in which the garden draws most, if there is one
    garden: float | None  # [L] What it draws on that month's mean day


def months_facts(by_month: xr.DataArray) -> MonthsFacts:
    """Return what the months of a demand show."""
    total = by_month.sum("use").values
    high, low = int(np.argmax(total)), int(np.argmin(total))
    if "garden" not in by_month.use.values:
        return MonthsFacts(high, total[high], low, total[low], None, None)
    beds = by_month.sel(use="garden").values
    peak = int(np.argmax(beds))
    return MonthsFacts(high, total[high], low, total[low], peak, beds[peak])


def heaviest_year(demand: xr.DataArray) -> xr.DataArray:
    """Return the days of the calendar year that draws most, of those that the record covers whole.

    >>> days = pd.date_range("2021-06-01", "2024-12-31")
    >>> one = xr.DataArray(days.year * 1.0, {"time": days}, ("time",))
    >>> heaviest_year(one).sizes["time"]
    366
    """
    summed = f"the demand has dimensions {demand.dims}", "sum it over its uses first"
    require(demand.dims == ("time",), *summed, "demand")
    year = demand.time.dt.year.values
    first = np.flatnonzero(np.diff(year, prepend=year[0] - 1))
    end = np.append(first[1:], year.size)
    length = np.where(demand.time.dt.is_leap_year.values[first], 366, 365)
    whole = np.flatnonzero(end - first == length)
    require(whole.size, "no calendar year is whole", "give a demand of a year or more", "demand")
    sums = np.array([demand.values[first[i] : end[i]].sum() for i in whole])
    best = whole[int(np.argmax(sums))]
    return demand.isel(time=slice(int(first[best]), int(end[best])))


@dataclass(frozen=True)
class CalendarFacts:
    """One year of a demand, day by day."""

    total: float  # [L]
    largest_day: pd.Timestamp
    largest: float  # [L] On that day
    idle: int  # Days on which nothing draws


def calendar_facts(year: xr.DataArray) -> CalendarFacts:
    """Return what the calendar picture shows."""
    top = int(year.values.argmax())
    idle = int((year <= 0).sum())
    return CalendarFacts(float(year.sum()), year.time.to_index()[top], float(year[top]), idle)
