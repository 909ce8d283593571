"""The demand in words."""

from __future__ import annotations

import numpy as np
import xarray as xr

from rainharvest.core.reader import days, litres, percent

MONTHS = "January February March April May June July August September October November December".split()


def week_words(week: xr.DataArray) -> str:
    """Return what the week of a demand shows.

    >>> day = xr.DataArray([[90.0] * 5 + [0.0] * 2, [10.0] * 7], {"use": ["wc", "cows"]}, ("use", "weekday"))
    >>> week_words(day)
    'A working day asks for 100 L on average, a day at the weekend for 10 L. Most is asked by wc: 87 % of the water.'
    """
    total, by_use = week.sum("use").values, week.sum("weekday").values
    most = int(np.argmax(by_use))
    return (
        f"A working day asks for {litres(total[:5].mean())} on average, a day at the weekend for "
        f"{litres(total[5:].mean())}. Most is asked by {week.use.values[most]}: "
        f"{percent(by_use[most] / by_use.sum())} of the water."
    )


def months_words(by_month: xr.DataArray) -> str:
    """Return what the months of a demand show."""
    total = by_month.sum("use").values
    high, low = int(np.argmax(total)), int(np.argmin(total))
    text = (
        f"{MONTHS[high]} asks for most, {litres(total[high])} a day on average; {MONTHS[low]} for least, "
        f"{litres(total[low])}."
    )
    if "garden" in by_month.use.values:
        beds = by_month.sel(use="garden").values
        peak = int(np.argmax(beds))
        text += f" The garden asks for {litres(beds[peak])} a day in {MONTHS[peak]}, when rain fails it."
    return text


def calendar_words(year: xr.DataArray) -> str:
    """Return what the calendar picture shows."""
    idle = int((year <= 0).sum())
    top = int(year.values.argmax())
    day = year.time.to_index()[top]
    return (
        f"{day.year} asks for {litres(float(year.sum()))}; its largest day, {day.day} {MONTHS[day.month - 1]}, for "
        f"{litres(float(year[top]))}. {'No day asks' if idle == 0 else f'{days(idle)} ask'} for nothing."
    )


def demand_said(done: xr.Dataset) -> str:
    """Return how much is asked for in a year and on the heaviest day."""
    total = done.demand.sum("use")
    worked = float((total > 0).mean()) * 365.25
    return (
        f"{litres(float(total.mean()) * 365.25)} a year, drawn on {days(worked)} of it; "
        f"{litres(float(total.max()))} on the heaviest day."
    )
