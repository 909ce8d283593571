"""The calendar of a building, the litres a day that its uses ask of the tank, and what is fit for each."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Literal

import numpy as np
import pandas as pd
import xarray as xr

from rainharvest.core.defaults import Default, rows_of
from rainharvest.core.errors import require
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
    require(uses, "there is no use", "give at least one", "use")
    names = [use.name for use in uses]
    for name in sorted(names):
        require(names.count(name) == 1, f'two uses bear the name "{name}"', "give each its own name", "use")
    days = calendar_days(calendar, time)
    rows = np.stack([_litres(use, days) for use in uses])
    first, last = (str(t)[:10] for t in days.time.values[[0, -1]])
    for use, row in zip(uses, rows, strict=True):
        require(
            row.any(),
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
    if isinstance(use.days, tuple):
        draws = in_period(use.days, days.time.to_index())
    else:
        draws = {
            "all": np.ones(days.sizes["time"], dtype=bool),
            "working": days.working.values,
            "term": days.term.values & ~days.holiday.values,
            "closed": ~days.working.values,
        }[use.days]
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
    check_essential_known(demand)
    part = demand.where(demand.essential, 0.0).sum("use")
    part.attrs = attributes("essential")
    return part.rename("essential")


def check_essential_known(demand: xr.DataArray) -> None:
    """Refuse a demand that does not say which of its uses are essential."""
    known = "use" in demand.dims and "essential" in demand.coords
    require(known, "the demand does not say which uses are essential", "use daily_demand", "demand")


def with_uses(*parts: xr.DataArray) -> xr.DataArray:
    """Return demands by use as one.

    >>> days = pd.date_range("2024-03-01", periods=2)
    >>> one, two = (
    ...     daily_demand([Use(name=n, kind="cattle", units=3)], Calendar(), days) for n in ("cows", "oxen")
    ... )
    >>> with_uses(one, two).sum("use").values
    array([240., 240.])
    """
    names = [str(name) for part in parts for name in part.use.values]
    for name in sorted(names):
        require(names.count(name) == 1, f'a use is called "{name}" already', "give each its own name", "use")
    for part in parts:
        same = part.time.to_index().equals(parts[0].time.to_index())
        one = f"{part.use.values[0]} and the demand do not cover the same days"
        require(same, one, "use one record", "use")
    said = "; ".join(filter(None, (part.attrs.get("assumptions", "") for part in parts)))
    whole = xr.concat(xr.broadcast(*parts, exclude=("use",)), "use").transpose(..., "use", "time")
    return whole.assign_attrs(attributes("demand", assumptions=said)).rename("demand")


def defaults_used(uses: Iterable[Use]) -> dict[str, Default]:
    """Return the defaults that these uses rest on and do not give themselves, by use.

    >>> used = defaults_used([Use(name="ward", kind="inpatient", people=12)])
    >>> used["ward"].value, used["ward"].low
    (60.0, 40.0)
    """
    return {use.name: use.default for use in uses if use.default and "litres" not in use.model_fields_set}


Arrangement = Literal["mains reserve", "rain only", "rain only, treated", "combined"]

_FIT = rows_of("demand", "fit")

HOLDS: dict[Arrangement, str] = _FIT["holds"]

SERVES: dict[Arrangement, str] = HOLDS | {"rain only, treated": HOLDS["rain only"]}

"""The same, and rain alone that is filtered and disinfected, for where there are no mains."""

CLASSES: dict[str, str] = _FIT["class"]


def treatment_class(quality: str, arrangement: Arrangement) -> str:
    """Return the treatment class that a use of this quality needs in this arrangement.

    Common practice, no source.

    >>> treatment_class("flushing", "rain only"), treatment_class("drinking", "combined")
    ('screened', 'filtered and disinfected')
    """
    for what, value, known in (("quality", quality, QUALITIES), ("arrangement", arrangement, SERVES)):
        require(value in known, f'no {what} is called "{value}"', f"choose one of {', '.join(known)}", what)
    return _FIT["mains" if arrangement == "mains reserve" else "rain"][quality]


def may_serve(arrangement: Arrangement, quality: str) -> bool:
    """Return whether an arrangement may serve a use that needs this quality.

    Rain only serves what needs no drinking quality; the others serve everything, with rain in the tank through
    adequate filtration and disinfection.

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
        "mains reserve", "rain only", "rain only, treated" or "combined".

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
    require(uses, "there is no use", "give at least one", "use")
    rows = []
    for use in uses:
        needed = treatment_class(use.quality, arrangement)
        mind = [_FIT["mind"]["potable"]] if use.quality in ("drinking", "washing") else []
        mind += [_FIT["mind"]["crossed"]] if arrangement != "mains reserve" else []
        rows.append(
            {
                "use": use.name,
                "needs": QUALITIES[use.quality],
                "source": SERVES[arrangement],
                "served": may_serve(arrangement, use.quality),
                "class": needed,
                "treatment": CLASSES[needed],
                "mind": " ".join(mind),
            }
        )
    return pd.DataFrame(rows)
