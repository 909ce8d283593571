"""Days named by a rule: a date, a span, a day of the week, the last Monday of a month, Easter."""

from __future__ import annotations

import re
from calendar import isleap
from datetime import date
from typing import Annotated

import numpy as np
import pandas as pd
import xarray as xr
from pydantic import BeforeValidator

from rainharvest.core.errors import InputError, require

_DAYS = tuple("monday tuesday wednesday thursday friday saturday sunday".split())

WEEKDAYS = tuple(day[:3] for day in _DAYS)


FORMS = (
    '"2026-03-29", "2026-03-29 to 2026-04-10", "12-25", "12-15 to 01-10", "sat", '
    '"last mon of 08", "easter-2" or "easter-2 to easter+1"'
)

"""The forms that a rule may take, for error messages."""


_DAY = r"(\d{4}-)?(\d{2})-(\d{2})"

_EASTER = r"easter([+-]\d{1,3})?"

_ORDER = ("first", "second", "third", "fourth")

_NTH = rf"({'|'.join(_ORDER)}|last) ({'|'.join(WEEKDAYS)}) of (\d{{2}})"


def check_rule(rule: str) -> str:
    """Return a rule in its plain spelling, or refuse it.

    >>> check_rule("12-15  to 01-10")
    '12-15 to 01-10'
    >>> check_rule("13-01")
    Traceback (most recent call last):
    rainharvest.core.errors.InputError: there is no day "13-01"; write month and day as 12-25, the month first
    """
    plain = " ".join(str(rule).lower().split())
    if plain in WEEKDAYS:
        return plain
    nth = re.fullmatch(_NTH, plain)
    if nth:
        require(1 <= int(nth[3]) <= 12, f'"{rule}" names month {nth[3]}', "give a month from 01 to 12")
        return plain
    ends = plain.split(" to ")
    if len(ends) <= 2 and all(re.fullmatch(f"{_DAY}|{_EASTER}", end) for end in ends):
        for end in ends:
            _check_day(end)
        if len(ends) == 2:
            _check_span(rule, *ends)
        return plain
    raise InputError(f'"{rule}" is not a day or a span of days', f"write it as {FORMS}")


def _check_day(end: str) -> None:
    """Refuse a day that no calendar has; 29 February is a day."""
    if end.startswith("easter"):
        return
    year, month, day = (int(part) for part in (end if len(end) > 5 else f"2000-{end}").split("-"))
    try:
        date(year, month, day)
    except ValueError:
        raise InputError(
            f'there is no day "{end}"', "write month and day as 12-25, the month first"
        ) from None


def _check_span(rule: str, first: str, last: str) -> None:
    """Refuse a span whose ends do not go together."""
    dated = [not end.startswith("easter") and len(end) > 5 for end in (first, last)]
    one_year = f'"{rule}" has a year at one end only', "give the year at both ends or at neither"
    require(dated[0] == dated[1], *one_year)
    backward = f'"{rule}" ends before it begins'
    require(not dated[0] or first <= last, backward, "turn the two dates round")
    easter = first.startswith("easter") and last.startswith("easter")
    require(not easter or _shift(first) <= _shift(last), backward, "turn the two ends round")


def _shift(end: str) -> int:
    return int(end.removeprefix("easter") or 0)


def weekday(name: object) -> str:
    """Return the short name of a day of the week, from "fri" or "Friday".

    >>> weekday("Friday"), weekday("sun")
    ('fri', 'sun')
    """
    plain = str(name).strip().lower()
    known = plain in (*WEEKDAYS, *_DAYS)
    require(known, f'"{name}" is not a day of the week', f"choose from {', '.join(WEEKDAYS)}")
    return plain[:3]


def in_period(rules, days: pd.DatetimeIndex) -> np.ndarray:
    """Return for each day whether any of the rules covers it.

    A span without years returns every year and may pass over the new year. In years that have no
    29 February, "02-29" covers no day where it stands alone; in a span it is read as 28 February at the
    end and as 1 March at the beginning.

    >>> days = pd.date_range("2023-12-30", "2024-01-03")
    >>> in_period(["12-31 to 01-01"], days)
    array([False,  True,  True, False, False])
    """
    inside = np.zeros(len(days), dtype=bool)
    if len(days) == 0:
        return inside
    at = days.to_numpy().astype("datetime64[ns]")
    years = range(int(days.year.min()) - 1, int(days.year.max()) + 2)
    for rule in map(check_rule, rules):
        if rule in WEEKDAYS:
            inside |= np.asarray(days.weekday) == WEEKDAYS.index(rule)
            continue
        spans = np.array(_spans(rule, years), dtype="datetime64[ns]").reshape(-1, 2)
        begun = np.searchsorted(np.sort(spans[:, 0]), at, side="right")
        ended = np.searchsorted(np.sort(spans[:, 1]), at, side="left")
        inside |= begun > ended
    return inside


def _spans(rule: str, years: range) -> list[tuple[pd.Timestamp, pd.Timestamp]]:
    """Return the first and last day of every span that a checked rule gives in these years."""
    nth = re.fullmatch(_NTH, rule)
    if nth:
        return [(day, day) for day in (_nth_weekday(y, *nth.groups()) for y in years)]
    first, _, last = rule.partition(" to ")
    if not last:
        if first == "02-29":
            years = [y for y in years if isleap(y)]
        last = first
    if len(first) > 5 and not first.startswith("easter"):
        return [(pd.Timestamp(first), pd.Timestamp(last))]
    out = []
    for year in years:
        begins, ends = _on(first, year, begin=True), _on(last, year, begin=False)
        if ends < begins:
            ends = _on(last, year + 1, begin=False)
        out.append((begins, ends))
    return out


def _on(end: str, year: int, begin: bool) -> pd.Timestamp:
    """Return the day that one end of a yearly rule names in a year."""
    if end.startswith("easter"):
        from dateutil.easter import easter

        return pd.Timestamp(easter(year)) + pd.Timedelta(days=_shift(end))
    if end == "02-29" and not isleap(year):
        end = "03-01" if begin else "02-28"
    return pd.Timestamp(f"{year}-{end}")


def _nth_weekday(year: int, order: str, weekday: str, month: str) -> pd.Timestamp:
    """Return the n-th or last such day of the week in a month."""
    start = pd.Timestamp(year, int(month), 1)
    ahead = (WEEKDAYS.index(weekday) - start.weekday()) % 7
    if order != "last":
        return start + pd.Timedelta(days=ahead + 7 * _ORDER.index(order))
    end = start + pd.offsets.MonthEnd(0)
    return end - pd.Timedelta(days=(end.weekday() - WEEKDAYS.index(weekday)) % 7)


def _rules(values: object) -> tuple[str, ...]:
    """Return one rule or a list of rules (TOML dates too) in their plain spelling."""
    several = values if isinstance(values, list | tuple) else [values]
    return tuple(check_rule(v.isoformat()[:10] if isinstance(v, date) else str(v)) for v in several)


Rules = Annotated[
    tuple[str, ...], BeforeValidator(_rules, json_schema_input_type=str | tuple[str | date, ...])
]

"""Rules for days in a table of the study file."""


def as_days(time) -> pd.DatetimeIndex:
    """Return the days of a series or an index, at midnight."""
    if isinstance(time, xr.DataArray | xr.Dataset):
        time = time["time"].to_index() if "time" in time.coords else time.to_index()
    elif isinstance(time, pd.Series):
        time = time.index
    dated = isinstance(time, pd.DatetimeIndex)
    require(dated, "the days have no dates", "give a DatetimeIndex or a series on dates", "time")
    require(len(time), "the calendar covers no day", "give at least one day", "time")
    return time.normalize()
