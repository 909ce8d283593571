"""The calendar of a building: which days are worked, who comes in which month, how enrolment grows."""

from __future__ import annotations

from datetime import date

import numpy as np
import pandas as pd
import xarray as xr
from pydantic import BaseModel, ConfigDict, Field, field_validator

from rainharvest.demand.periods import WEEKDAYS, check_rule, in_period, weekday
from rainharvest.errors import InputError
from rainharvest.names import attributes


def _rules(values: object) -> tuple[str, ...]:
    """Return one rule or a list of rules (TOML dates too) in their plain spelling."""
    several = values if isinstance(values, list | tuple) else [values]
    return tuple(check_rule(v.isoformat()[:10] if isinstance(v, date) else str(v)) for v in several)


class Visit(BaseModel):
    """People who come on some days in addition to those who are always there.

    Parameters
    ----------
    people : float [1]
        How many come on each of these days.
    days : list of str
        Rules for the days (see `rainharvest.demand.periods.check_rule`), for example ["sat", "sun"] or
        ["07-01 to 08-31"].
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    people: float = Field(gt=0, le=1e6, allow_inf_nan=False)
    days: tuple[str, ...] = Field(min_length=1)

    _spelled = field_validator("days", mode="before")(_rules)


class Calendar(BaseModel):
    """The days on which a building is used, and by how many.

    A working day is one of the working days of the week, in term, and not a holiday. Term is the whole
    year where no terms are given.

    Parameters
    ----------
    working_days : list of str
        Days of the week: "mon" to "sun". Monday to Friday by default.
    terms : list of str
        Spans in which the building is open, by rule ("09-01 to 12-14" every year) or by date
        ("2026-09-07 to 2026-12-11"); the whole year by default.
    holidays : list of str
        Days and spans in which it is closed, likewise; also "last mon of 08" and "easter-2".
    growth : float [1/year]
        Growth of enrolment: 0.02 is 2 % more people in each year than in the one before. It goes in
        yearly steps, from the year in which the series begins.
    growth_month : int [1]
        Month in which each step is taken.
    growth_years : int [year]
        After how many steps enrolment stays as it is; by default it never does.
    seasonal : list of 12 floats [1]
        Load of each month, January first, as a multiple of the ordinary load, for the uses that follow
        the season (patients at a clinic).
    visits : list of Visit
        Visiting population, for the uses that visitors share.

    Examples
    --------
    >>> school = Calendar(holidays=["12-15 to 01-10", "easter-2 to easter+1"])
    >>> school.working_days
    ('mon', 'tue', 'wed', 'thu', 'fri')
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    working_days: tuple[str, ...] = Field(WEEKDAYS[:5], min_length=1)
    terms: tuple[str, ...] = ()
    holidays: tuple[str, ...] = ()
    growth: float = Field(0.0, ge=-0.5, le=0.5, allow_inf_nan=False)
    growth_month: int = Field(1, ge=1, le=12)
    growth_years: int | None = Field(None, ge=0, le=1000)
    seasonal: tuple[float, ...] = Field((1.0,) * 12, min_length=12, max_length=12)
    visits: tuple[Visit, ...] = ()

    _spelled = field_validator("terms", "holidays", mode="before")(_rules)

    @field_validator("working_days", mode="before")
    @classmethod
    def _known_weekdays(cls, values: object) -> object:
        several = values if isinstance(values, list | tuple) else [values]
        plain = [weekday(v) for v in several]
        if len(set(plain)) < len(plain):
            raise InputError("a day of the week is named twice", "name each day once")
        return tuple(plain)

    @field_validator("seasonal")
    @classmethod
    def _sane_loads(cls, values: tuple[float, ...]) -> tuple[float, ...]:
        if not all(0 <= v <= 10 for v in values):
            raise InputError("a month's load is below 0 or above 10", "give loads like 0.8 or 1.3")
        return values


def as_days(time) -> pd.DatetimeIndex:
    """Return the days of a series or an index, at midnight.

    Parameters
    ----------
    time : DatetimeIndex, pandas Series or DataArray
        The days themselves, or a series on them.

    Returns
    -------
    DatetimeIndex
        The days.

    Raises
    ------
    InputError
        If there is no day, or the days are not dates.
    """
    if isinstance(time, xr.DataArray | xr.Dataset):
        time = time["time"].to_index() if "time" in time.coords else time.to_index()
    elif isinstance(time, pd.Series):
        time = time.index
    if not isinstance(time, pd.DatetimeIndex):
        raise InputError("the days have no dates", "give a DatetimeIndex or a series on dates", "time")
    if len(time) == 0:
        raise InputError("the calendar covers no day", "give at least one day", "time")
    return time.normalize()


def calendar_days(calendar: Calendar, time) -> xr.Dataset:
    """Return what each day is: in term, holiday, worked, and how many people it has.

    Parameters
    ----------
    calendar : Calendar
        The rules.
    time : DatetimeIndex, pandas Series or DataArray
        The days.

    Returns
    -------
    Dataset
        On ``time``: ``term``, ``holiday``, ``working`` (bool); ``growth_factor`` and ``seasonal_load``,
        multiples of the ordinary load [1]; ``visitors`` [1].

    Raises
    ------
    InputError
        If there is no day, or the days are not dates.

    Examples
    --------
    >>> week = calendar_days(Calendar(holidays=["01-01"]), pd.date_range("2024-01-01", periods=7))
    >>> week.working.values
    array([False,  True,  True,  True,  True, False, False])
    """
    days = as_days(time)
    in_term = in_period(calendar.terms, days) if calendar.terms else np.ones(len(days), dtype=bool)
    holiday = in_period(calendar.holidays, days)
    working = in_period(calendar.working_days, days) & in_term & ~holiday
    steps = days.year.to_numpy() - (days.month.to_numpy() < calendar.growth_month)
    steps = steps - steps[0]
    if calendar.growth_years is not None:
        steps = np.minimum(steps, calendar.growth_years)
    visitors = np.zeros(len(days))
    for visit in calendar.visits:
        visitors += visit.people * in_period(visit.days, days)
    values = {
        "term": in_term,
        "holiday": holiday,
        "working": working,
        "growth_factor": (1.0 + calendar.growth) ** steps,
        "seasonal_load": np.asarray(calendar.seasonal)[days.month.to_numpy() - 1],
        "visitors": visitors,
    }
    return xr.Dataset(
        {name: ("time", of_day, attributes(name)) for name, of_day in values.items()},
        {"time": ("time", days, attributes("time"))},
    )
