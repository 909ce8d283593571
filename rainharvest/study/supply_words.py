"""What the pictures of demand and supply show, in sentences."""

from __future__ import annotations

import numpy as np
import xarray as xr

from rainharvest.study.words import days, litres, percent

MONTHS = "January February March April May June July August September October November December".split()


def week_words(week: xr.DataArray) -> str:
    """Return what the week of a demand shows.

    Parameters
    ----------
    week : DataArray [L/day]
        (use, weekday).

    Returns
    -------
    str
        Plain text.

    Examples
    --------
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
    """Return what the months of a demand show.

    Parameters
    ----------
    by_month : DataArray [L/day]
        (use, calendar_month).

    Returns
    -------
    str
        Plain text.
    """
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
    """Return what the calendar picture shows.

    Parameters
    ----------
    year : DataArray [L/day]
        Total demand of one calendar year.

    Returns
    -------
    str
        Plain text.
    """
    idle = int((year <= 0).sum())
    top = int(year.values.argmax())
    day = year.time.to_index()[top]
    return (
        f"{day.year} asks for {litres(float(year.sum()))}; its largest day, {day.day} {MONTHS[day.month - 1]}, for "
        f"{litres(float(year[top]))}. {'No day asks' if idle == 0 else f'{days(idle)} ask'} for nothing."
    )


def arrangements_words(done: xr.Dataset) -> str:
    """Return how the arrangements compare.

    Parameters
    ----------
    done : Dataset
        As `rainharvest.study.supply.supplied`.

    Returns
    -------
    str
        Plain text.
    """
    failed = {
        str(a): float(v) for a, v in zip(done.arrangement.values, done.failed_a_year.values, strict=True)
    }
    mains = done.mains_a_year
    bought = float(mains.sel(arrangement="mains reserve"))
    saved = 1 - float(mains.sel(arrangement="combined (top-up)")) / bought if bought > 0 else 0.0
    left_out = done.attrs["not_served"]
    text = (
        f"With {done.attrs['interruptions_a_year']:g} interruptions a year of {days(done.attrs['spell_length'])} on "
        f"average, the mains reserve is short on {days(failed['mains reserve'])} a year, the combined tank with "
        f"top-up on {days(failed['combined (top-up)'])}, with a change-over valve on "
        f"{days(failed['combined (change-over)'])}; the combined tank buys {percent(max(saved, 0.0))} less mains water "
        f"than the reserve. Rain only is short on {days(failed['rain only'])} a year"
    )
    return text + (f" and does not serve {left_out.replace('; ', ', ')}." if left_out else ".")


def set_level_words(done: xr.Dataset) -> str:
    """Return what the set level of the top-up costs.

    Parameters
    ----------
    done : Dataset
        As `rainharvest.study.supply.supplied`.

    Returns
    -------
    str
        Plain text.
    """
    at, chosen = done.level_share.values, done.attrs["level_share"]
    spilled = float(np.interp(chosen, at, done.level_spilled_mains_a_year.values))
    failed = float(np.interp(chosen, at, done.level_failed_a_year.values))
    full = float(done.level_spilled_mains_a_year[-1])
    return (
        f"A top-up set at {percent(chosen)} of the tank makes {litres(spilled)} of mains water a year spill when it "
        f"rains, and leaves {days(failed)} a year short. Set at the brim it would spill {litres(full)} and leave "
        f"{days(float(done.level_failed_a_year[-1]))} short."
    )


def reserve_words(reserves: xr.DataArray, ride_out: float, capacity: float) -> str:
    """Return what a reserve must hold, and whether the tank does.

    Parameters
    ----------
    reserves : DataArray [L]
        On ``ride_out``.
    ride_out : float [day]
        The ride-out asked for.
    capacity : float [L]
        The tank.

    Returns
    -------
    str
        Plain text.
    """
    needed = float(np.interp(ride_out, reserves.ride_out.values, reserves.values))
    lasts = float(np.interp(capacity, reserves.values, reserves.ride_out.values))
    more = "more than " if capacity > float(reserves[-1]) else ""
    return (
        f"To ride out {days(ride_out)} without mains whenever they come, a full reserve must hold {litres(needed)}. "
        f"This tank, kept full, rides out {more}{days(lasts)}."
    )
