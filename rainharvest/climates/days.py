"""The days and the unit that the pieces of a grid have in common; what is not daily is refused by name."""

from __future__ import annotations

import numpy as np
import pandas as pd
import xarray as xr

from rainharvest.errors import InputError
from rainharvest.rainfall.read_grid import day_stamps
from rainharvest.rainfall.read_plan import Hints
from rainharvest.rainfall.read_units import Unit, asked_unit, parse_unit

DAY = 86400
NO_LEAP = ("noleap", "365_day")


def common_unit(pieces: list[tuple[object, xr.DataArray]], hints: Hints, notes: list[str]) -> Unit:
    """Return the one unit of all pieces.

    Parameters
    ----------
    pieces : list of (file, DataArray)
        The rain of each file.
    hints : Hints
        ``units`` overrules what the files say.
    notes : list of str
        Assumptions, added to in place.

    Returns
    -------
    Unit

    Raises
    ------
    InputError
        If a piece states no unit of rain, or two state different ones.
    """
    asked = asked_unit(hints.units)
    if asked:
        notes.append(f"rain was read in {asked.text}, as asked")
        return asked
    found: tuple[object, Unit] | None = None
    for file, rain in pieces:
        text = str(rain.attrs.get("units", ""))
        unit = parse_unit(text)
        if unit is None:
            said = f"says {text!r}, which is no unit of rain" if text else "states no unit"
            raise InputError(
                f"{rain.name!r} {said}", "say units='mm/day' (or 'kg m-2 s-1', ...)", "units", file
            )
        if found is None:
            found = file, unit
        elif (unit.factor, unit.per) != (found[1].factor, found[1].per):
            raise InputError(
                f"its unit is {unit.text}, that of {found[0]} is {found[1].text}",
                "convert the files to one unit first",
                "units",
                file,
            )
    if found[1].per in ("hour", "minute"):
        notes.append(f"{found[1].text} was taken for the mean rate of each day")
    return found[1]


def days_of(
    pieces: list[tuple[object, xr.Dataset, xr.DataArray]], notes: list[str]
) -> tuple[pd.DatetimeIndex, list[np.ndarray], np.ndarray]:
    """Return the days of all pieces, and where the times of each piece stand among them.

    Parameters
    ----------
    pieces : list of (file, Dataset, DataArray)
        Each file with its time coordinate, in order of time.
    notes : list of str
        Assumptions, added to in place.

    Returns
    -------
    tuple
        The days; for each piece the place of each of its times; the places of each 29 February that the
        calendar of the files does not have.

    Raises
    ------
    InputError
        If the times are not daily, days are missing or stand twice, or the calendar is not the year's.
    """
    dates, short = [], False
    for file, data, time in pieces:
        try:
            stamps, begins = day_stamps(data, time, notes)
            if begins is None:
                notes.append("no time bounds: each value was taken for the day of its date")
            moments = stamps if begins is None else begins
            _refuse_other_steps(moments)
            short |= getattr(time.values.flat[0], "calendar", "") in NO_LEAP
            dates.append(moments.astype("datetime64[D]"))
        except InputError as error:
            raise error.at(file) if file is not None else error from None
    together = np.concatenate(dates)
    first, last = together.min(), together.max()
    days = np.arange(first, last + 1)
    count = np.bincount((together - first).astype(np.int64), minlength=days.size)
    _refuse_twice(pieces, dates, days, count)
    absent = days[count == 0]
    leap = (
        np.array([str(day)[5:] == "02-29" for day in absent], dtype=bool)
        if short
        else np.zeros(absent.size, bool)
    )
    if (~leap).any():
        raise InputError(
            f"{int((~leap).sum())} days are not in the files, the first {absent[~leap][0]}",
            "give files that follow one another without a gap",
            "time",
            pieces[-1][0] if len(pieces) > 1 else pieces[0][0],
        )
    if leap.any():
        notes.append(
            f"the calendar has no 29 February: {int(leap.sum())} of them were given the mean of the days beside them"
        )
    if days.size < 365:
        raise InputError(f"only {days.size} days", "give at least a year of daily rain", "time", pieces[0][0])
    index = pd.DatetimeIndex(days.astype("datetime64[ns]"), name="time")
    return index, [(d - first).astype(np.int64) for d in dates], np.flatnonzero(count == 0)


def _refuse_other_steps(stamps: np.ndarray) -> None:
    """Refuse months, hours, and times that do not rise."""
    if stamps.size < 2:
        return
    steps = np.diff(stamps.astype("datetime64[s]")).astype(np.int64)
    if (steps <= 0).any():
        at = str(stamps[1:][steps <= 0][0])[:10]
        raise InputError(f"the times do not rise at {at}", "sort the file by time, each day once", "time")
    step = float(np.median(steps))
    if step >= 28 * DAY:
        what = "monthly" if step <= 31 * DAY else "yearly" if step > 300 * DAY else "totals over many days"
        raise InputError(f"the rain is {what}", "give daily rain; totals cannot be undone", "time")
    if step < 0.75 * DAY:
        raise InputError(
            f"the rain comes in steps of {step / 3600:g} h", "sum it to days first, by the local day", "time"
        )
    if step != DAY:
        raise InputError(f"the steps are {step / DAY:g} days", "give daily rain", "time")


def _refuse_twice(pieces, dates, days, count) -> None:
    twice = np.flatnonzero(count > 1)
    if not twice.size:
        return
    day = days[twice[0]]
    file = [p[0] for p, d in zip(pieces, dates, strict=True) if day in d][-1]
    raise InputError(f"{day} stands twice", "give each day once: files must not overlap", "time", file)
