"""The calendar of a building, the litres a day that its uses ask of the tank, and what is fit for each."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Literal

import numpy as np
import pandas as pd
import xarray as xr

from rainharvest.core.defaults import Default
from rainharvest.core.errors import InputError
from rainharvest.core.quantities import attributes
from rainharvest.demand.periods import as_days, in_period
from rainharvest.demand.tables import KINDS, QUALITIES, Calendar, Use


def calendar_days(calendar: Calendar, time) -> xr.Dataset:
    """Return what each day is: in term, holiday, worked, and how many people it has.

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


def daily_demand(uses: Iterable[Use], calendar: Calendar, time) -> xr.DataArray:
    """Return the litres a day that each use asks of the tank.

    On a day of use: demand = count x litres x growth x seasonal load; visitors add visitors x litres on
    the days on which they come, whether or not the use draws on that day otherwise.

    >>> import pandas as pd
    >>> uses = [Use(name="pupils", kind="day_pupil", people=100), Use(name="cows", kind="cattle", units=3)]
    >>> week = daily_demand(uses, Calendar(), pd.date_range("2024-03-01", periods=3))
    >>> week.sum("use").values
    array([620., 120., 120.])
    """
    uses = list(uses)
    if not uses:
        raise InputError("there is no use", "give at least one", "use")
    names = [use.name for use in uses]
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise InputError(f'two uses bear the name "{twice[0]}"', "give each its own name", "use")
    days = calendar_days(calendar, time)
    rows = np.stack([_litres(use, days) for use in uses])
    never = np.flatnonzero(rows.sum(axis=1) == 0)
    if never.size:
        use = uses[never[0]]
        first, last = (str(t)[:10] for t in days.time.values[[0, -1]])
        raise InputError(
            f'"{use.name}" draws nothing: the calendar has no day for it ({use.days}) from {first} to {last}',
            "change its days, or the calendar's working_days, terms or holidays",
            "calendar",
        )
    return xr.DataArray(
        rows,
        {
            "use": names,
            "time": days.time,
            "essential": ("use", [use.essential for use in uses]),
            "quality": ("use", [use.quality for use in uses]),
            "kind": ("use", [use.kind for use in uses]),
        },
        ("use", "time"),
        name="demand",
        attrs=attributes("demand", assumptions="; ".join(_assumption(use) for use in uses)),
    )


def _litres(use: Use, days: xr.Dataset) -> np.ndarray:
    """Return the litres of one use on every day."""
    index = days.time.to_index()
    if use.days == "all":
        draws = np.ones(len(index), dtype=bool)
    elif use.days == "working":
        draws = days.working.values
    elif use.days == "term":
        draws = days.term.values & ~days.holiday.values
    elif use.days == "closed":
        draws = ~days.working.values
    else:
        draws = in_period(use.days, index)
    each = use.litres * (days.seasonal_load.values if use.seasonal else 1.0)
    many = use.count * draws * (days.growth_factor.values if use.grows else 1.0)
    if use.visited:
        many = many + days.visitors.values
    return many * each


def _assumption(use: Use) -> str:
    kind = KINDS[use.kind]
    return f"{use.name}: {use.litres:g} L a day for each {kind.unit} ({use.origin.replace(';', ',')})"


def essential_demand(demand: xr.DataArray) -> xr.DataArray:
    """Return the part of the demand that rationing does not cut.

    Parameters
    ----------
    demand : DataArray [L/day]
        Dimensions (use, time), with ``essential`` on ``use``, as `daily_demand` returns it.

    Returns
    -------
    DataArray [L/day]
        On ``time``.

    Raises
    ------
    InputError
        If the demand does not say which uses are essential.

    Examples
    --------
    >>> import pandas as pd
    >>> uses = [Use(name="wc", kind="dual_flush", people=4), Use(name="cows", kind="cattle", units=3)]
    >>> essential_demand(daily_demand(uses, Calendar(), pd.date_range("2024-03-01", periods=2))).values
    array([120., 120.])
    """
    if "use" not in demand.dims or "essential" not in demand.coords:
        raise InputError("the demand does not say which uses are essential", "use daily_demand", "demand")
    part = demand.where(demand.essential, 0.0).sum("use")
    part.attrs = attributes("essential")
    return part.rename("essential")


def defaults_used(uses: Iterable[Use]) -> dict[str, Default]:
    """Return the defaults that these uses rest on, by use.

    >>> used = defaults_used([Use(name="ward", kind="inpatient", people=12)])
    >>> used["ward"].value, used["ward"].low
    (60.0, 40.0)
    """
    return {use.name: use.default for use in uses if use.default is not None}


Arrangement = Literal["mains reserve", "rain only", "combined"]


SOURCES: dict[Arrangement, str] = {
    "mains reserve": "stored mains water",
    "rain only": "rain",
    "combined": "rain and mains water in one tank",
}

"""What the tank holds in each arrangement. Once rain is in it, all of it is treated as rain."""


CLASSES: dict[str, str] = {
    "as stored": "a clean, covered, screened tank that is turned over within days",
    "kept fresh": (
        "a clean, covered tank that is turned over within days; its disinfectant decays, so measure it "
        "and disinfect again where it is gone"
    ),
    "screened": "leaf screens, first-flush diversion and a covered tank",
    "filtered and disinfected": (
        "first-flush diversion, sediment filtration and disinfection, with testing and a named keeper"
    ),
}

"""Treatment classes, from the least to the most. Common practice, no source: local rules govern."""


_OF_RAIN = {
    "drinking": "filtered and disinfected",
    "washing": "filtered and disinfected",
    "flushing": "screened",
    "outdoor": "screened",
    "livestock": "screened",
}


POTABLE = (
    "Water for drinking, cooking or washing needs treatment, testing and the consent of the local health "
    "authority, whose rules govern."
)

NEVER_CROSSED = (
    "Mains and rain are never cross-connected: an air gap or an approved backflow device stands between "
    "them, and taps with rain water say that it is not for drinking."
)


def treatment_class(quality: str, arrangement: Arrangement) -> str:
    """Return the treatment class that a use of this quality needs in this arrangement.

    Common practice, no source.

    >>> treatment_class("flushing", "rain only"), treatment_class("drinking", "combined")
    ('screened', 'filtered and disinfected')
    """
    if quality not in QUALITIES:
        raise InputError(
            f'no quality is called "{quality}"', f"choose one of {', '.join(QUALITIES)}", "quality"
        )
    if arrangement not in SOURCES:
        raise InputError(
            f'no arrangement is called "{arrangement}"', f"choose one of {', '.join(SOURCES)}", "arrangement"
        )
    if arrangement == "mains reserve":
        return "kept fresh" if quality in ("drinking", "washing") else "as stored"
    return _OF_RAIN[quality]


def may_serve(arrangement: Arrangement, quality: str) -> bool:
    """Return whether an arrangement may serve a use that needs this quality.

    Rain only serves what needs no drinking quality; the other two serve everything, the combined
    arrangement through adequate filtration and disinfection.

    >>> may_serve("rain only", "drinking"), may_serve("rain only", "livestock"), may_serve("combined", "drinking")
    (False, True, True)
    """
    needed = treatment_class(quality, arrangement)
    return arrangement != "rain only" or needed != "filtered and disinfected"


def fit_for_use(uses: Iterable[Use], arrangement: Arrangement) -> pd.DataFrame:
    """Return, for each use, the treatment that its source needs and what to mind.

    Parameters
    ----------
    uses : iterable of Use
        The uses.
    arrangement : str
        "mains reserve", "rain only" or "combined".

    Returns
    -------
    DataFrame
        A row a use: ``use``, ``needs`` (the quality), ``source``, ``served``, ``class``, ``treatment`` and
        ``mind``.

    Raises
    ------
    InputError
        If there is no use or the arrangement is unknown.

    Examples
    --------
    >>> uses = [Use(name="ward", kind="inpatient", people=8), Use(name="wc", kind="dual_flush", people=8)]
    >>> fit_for_use(uses, "rain only")[["use", "served", "class"]]
        use  served                     class
    0  ward   False  filtered and disinfected
    1    wc    True                  screened
    """
    uses = list(uses)
    if not uses:
        raise InputError("there is no use", "give at least one", "use")
    rows = []
    for use in uses:
        needed = treatment_class(use.quality, arrangement)
        mind = POTABLE if use.quality in ("drinking", "washing") else ""
        if arrangement != "mains reserve":
            mind = f"{mind} {NEVER_CROSSED}".strip()
        rows.append(
            {
                "use": use.name,
                "needs": QUALITIES[use.quality],
                "source": SOURCES[arrangement],
                "served": may_serve(arrangement, use.quality),
                "class": needed,
                "treatment": CLASSES[needed],
                "mind": mind,
            }
        )
    return pd.DataFrame(rows)


def join_uses(demand: xr.DataArray, more: xr.DataArray) -> xr.DataArray:
    """Return the demand by use with further uses.

    >>> from rainharvest.demand.uses import Calendar
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
    """Return a daily series as a DataArray, refusing days without a value or below zero."""
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
