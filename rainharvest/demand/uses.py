"""Uses of water as building blocks, and the litres a day that they ask of the tank."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import xarray as xr
from pydantic import BaseModel, ConfigDict, Field, ValidationInfo, field_validator

from rainharvest.demand.calendar import Calendar, calendar_days
from rainharvest.demand.kinds import KINDS, Days, Quality, known_kinds
from rainharvest.demand.periods import WEEKDAYS, in_period, weekday
from rainharvest.errors import InputError
from rainharvest.names import attributes
from rainharvest.sources import Default


class Use(BaseModel):
    """One use of water: how many draw how much, on which days, and whether it can wait.

    What is left out comes from the table of kinds (`rainharvest.demand.kinds.KINDS`).

    Parameters
    ----------
    name : str
        The name that tables and figures show.
    kind : str
        A kind of the table, for example "dual_flush" or "outpatient".
    people : float [1]
        How many people draw on an ordinary day, for kinds counted by people.
    units : float [1]
        How many things draw, for kinds counted by units (animals, washes, square metres of floor).
    litres : float [L/day]
        What each of them draws on a day of use.
    source : str
        Where that figure comes from; filled in where it is the table's.
    essential : bool
        Whether rationing spares it.
    quality : str
        The quality that it needs: drinking, washing, flushing, outdoor, livestock.
    days : str or list of str
        "all", "working", "term" (every day of the week in term, except holidays), "closed" (the days that
        are not worked), or a list of days of the week ("fri"), which holidays do not interrupt.
    grows : bool
        Whether it grows with enrolment.
    seasonal : bool
        Whether it follows the calendar's seasonal load.
    visited : bool
        Whether visitors use it too; a visitor draws as much as one of the people.

    Examples
    --------
    >>> use = Use(name="pupils' toilets", kind="school_flush", people=120)
    >>> use.litres, use.quality, use.essential, use.days
    (20.0, 'flushing', False, 'working')
    """

    model_config = ConfigDict(frozen=True, extra="forbid", validate_default=True)

    name: str = Field(min_length=1, max_length=80)
    kind: str
    people: float | None = Field(None, gt=0, le=1e6, allow_inf_nan=False)
    units: float | None = Field(None, gt=0, le=1e6, allow_inf_nan=False)
    source: str = ""
    litres: float = Field(None, gt=0, le=1e5, allow_inf_nan=False)
    essential: bool = None
    quality: Quality = None
    days: Days | tuple[str, ...] = None
    grows: bool = None
    seasonal: bool = None
    visited: bool = None

    @field_validator("kind")
    @classmethod
    def _known(cls, kind: str) -> str:
        if kind not in KINDS:
            raise InputError(f'there is no kind of use "{kind}"', f"choose one of {known_kinds()}")
        return kind

    @field_validator("people", "units")
    @classmethod
    def _counted_rightly(cls, count: float | None, info: ValidationInfo) -> float | None:
        kind = KINDS.get(info.data.get("kind", ""))
        # One mistake is reported once: what failed before is not in the data.
        if kind is None or (info.field_name == "units" and "people" not in info.data):
            return count
        if (count is not None) != (info.field_name == kind.counted):
            have = "missing" if count is None else "given"
            raise InputError(
                f'"{info.data["kind"]}" is counted by {kind.counted} (one {kind.unit} each) and '
                f"{info.field_name} is {have}",
                f"give {kind.counted} only",
            )
        return count

    @field_validator("litres", "essential", "quality", "days", "grows", "seasonal", "visited", mode="before")
    @classmethod
    def _from_the_table(cls, value: object, info: ValidationInfo) -> object:
        kind = KINDS.get(info.data.get("kind", ""))
        if value is not None:
            return value
        if kind is None:
            # The kind has been refused already: give a value that passes, so that one error is shown.
            return {"litres": 1.0, "quality": "outdoor", "days": "all"}.get(info.field_name, False)
        default = getattr(kind, info.field_name)
        if info.field_name == "litres":
            if default is None:
                raise InputError(
                    f'no figure with a source is known for "{info.data["kind"]}"',
                    f"give litres, what one {kind.unit} draws on a day of use, and its source",
                )
            return default.value
        return default

    @field_validator("days", mode="before")
    @classmethod
    def _known_days(cls, value: object) -> object:
        if value is None or (isinstance(value, str) and value in Days.__args__):
            return value
        if isinstance(value, str) and value.lower() not in WEEKDAYS:
            raise InputError(
                f'"{value}" does not say on which days',
                f"give one of {', '.join(Days.__args__)}, or days of the week",
            )
        several = value if isinstance(value, list | tuple) else [value]
        if not several:
            raise InputError("the list of days is empty", "name at least one day of the week")
        return tuple(weekday(v) for v in several)

    @property
    def count(self) -> float:
        """How many people or units draw on an ordinary day."""
        return self.units if self.people is None else self.people

    @property
    def default(self) -> Default | None:
        """The table's figure, if it is the one used."""
        figure = KINDS[self.kind].litres
        return figure if figure is not None and figure.value == self.litres and not self.source else None

    @property
    def origin(self) -> str:
        """Where the litres come from, in words."""
        if self.default is None:
            return self.source or "given by the user"
        return self.default.source


def daily_demand(uses: Iterable[Use], calendar: Calendar, time) -> xr.DataArray:
    """Return the litres a day that each use asks of the tank.

    On a day of use: demand = count x litres x growth x seasonal load; visitors add visitors x litres on
    the days on which they come, whether or not the use draws on that day otherwise.

    Parameters
    ----------
    uses : iterable of Use
        The uses, each with its own name.
    calendar : Calendar
        The days on which the building is used, and by how many.
    time : DatetimeIndex, pandas Series or DataArray
        The days, or a series on them: the rain, for instance.

    Returns
    -------
    DataArray [L/day]
        Dimensions (use, time); coordinates ``essential``, ``quality`` and ``kind`` on ``use``. Its sum
        over ``use`` is the total that `rainharvest.simulate` takes; `essential_demand` is the part that
        rationing spares.

    Raises
    ------
    InputError
        If there is no use, two uses bear one name, or a use never draws because the calendar leaves it no
        day.

    Examples
    --------
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

    Parameters
    ----------
    uses : iterable of Use
        The uses.

    Returns
    -------
    dict of str to Default
        Only those whose litres come from the table of kinds.

    Examples
    --------
    >>> used = defaults_used([Use(name="ward", kind="inpatient", people=12)])
    >>> used["ward"].value, used["ward"].low
    (60.0, 40.0)
    """
    return {use.name: use.default for use in uses if use.default is not None}
