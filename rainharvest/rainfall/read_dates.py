"""Dates and times as files write them; doubt about their order is an error that names it."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from rainharvest.errors import InputError

FIRST_YEAR, LAST_YEAR = 1600, 2200
"""Years outside these are taken for writing errors: no daily rain record is older."""

PIVOT = 69
"""Two-digit years from here on belong to the 1900s (the POSIX rule)."""

NOWHEN = np.datetime64("NaT", "s")

_MONTHS = (
    "jan ene gen janv januari",
    "feb fév fev fevr févr febr",
    "mar mär mrt mrz maa mars marz",
    "apr abr avr avri",
    "may mai mag mei maj",
    "jun juin giu juni",
    "jul juil lug juli",
    "aug ago aoû aou août",
    "sep set sept",
    "oct okt out ott",
    "nov",
    "dec dez dic déc des",
)
MONTHS = {word: number for number, words in enumerate(_MONTHS, 1) for word in words.split()}

_TIME = (
    r"(?:(?:[T ,]\s*|:)(?P<H>\d{1,2})[:.](?P<M>\d{2})(?::(?P<S>\d{2})(?:[.,]\d+)?)?"
    r"\s*(?P<ap>[AaPp]\.?[Mm]\.?)?)?\s*(?P<z>Z|UTC|GMT|[+-]\d{2}(?::?\d{2})?)?"
)
_YEAR = r"(?P<y>\d{4}|\d{2})"
_WORD = r"(?P<mon>[^\W\d_]{3,})\.?"
_FORMS = (
    ("year-month-day", r"(?P<y>\d{4})(?P<s>[-/. ])(?P<m>\d{1,2})(?P=s)(?P<d>\d{1,2})" + _TIME),
    (
        "yyyymmdd",
        r"(?P<y>\d{4})(?P<m>\d{2})(?P<d>\d{2})"
        r"(?:[T: ]?(?P<H>\d{2})[:.]?(?P<M>\d{2})?[:.]?(?P<S>\d{2})?)?(?P<z>Z)?",
    ),
    ("year and day of year", r"(?P<y>\d{4})[-/. ]?(?P<j>\d{3})"),
    ("day, month name, year", r"(?P<d>\d{1,2})(?:[-/. ]\s?)?" + _WORD + r"[-/., ]*" + _YEAR + _TIME),
    ("month name, day, year", _WORD + r"[-/. ]*(?P<d>\d{1,2})(?:st|nd|rd|th)?,?[-/ ]+" + _YEAR + _TIME),
    ("year, month name, day", r"(?P<y>\d{4})[-/. ]*" + _WORD + r"[-/. ]*(?P<d>\d{1,2})" + _TIME),
    ("numbers", r"(?P<a>\d{1,2})(?P<s>[-/. ])(?P<b>\d{1,2})(?P=s)" + _YEAR.replace("<y>", "<c>") + _TIME),
)
_PATTERNS = {name: re.compile(pattern) for name, pattern in _FORMS}
_ORDERS = {"day-month-year": "dmy", "month-day-year": "mdy", "year-month-day": "ymd"}


@dataclass(frozen=True)
class DateForm:
    """How a file writes its dates.

    Parameters
    ----------
    name : str
        In words.
    read : callable
        Takes the cells, returns ``datetime64[s]``, NaT where a cell does not fit.
    notes : tuple of str
        Assumptions that the form rests on.
    zone : str
        The offset from UTC written behind the times, where there is one.
    """

    name: str
    read: Callable[[Sequence[str]], np.ndarray]
    notes: tuple[str, ...] = ()
    zone: str = ""


def month_number(word: str) -> int:
    """Return the month that a name or number means; 0 if none.

    Parameters
    ----------
    word : str
        A number, a name or the beginning of one.

    Returns
    -------
    int

    Examples
    --------
    >>> month_number("Sept."), month_number("août"), month_number("7"), month_number("rain")
    (9, 8, 7, 0)
    """
    word = word.strip(" .").lower()
    if word.isascii() and word.isdigit():
        return int(word) if len(word) < 3 and 1 <= int(word) <= 12 else 0
    return MONTHS.get(word) or MONTHS.get(word[:4]) or MONTHS.get(word[:3], 0)


def assemble(year, month, day, seconds=0) -> np.ndarray:
    """Return ``datetime64[s]`` of calendar parts, NaT where there is no such day.

    Parameters
    ----------
    year, month, day : array of int
        Calendar parts; month 0 with ``day`` the day of the year.
    seconds : array of int
        Seconds since midnight; 24:00 is the next midnight.

    Returns
    -------
    array of datetime64
    """
    year, month, day = (np.asarray(part, dtype=np.int64) for part in (year, month, day))
    by_year = month == 0
    ok = (year >= FIRST_YEAR) & (year <= LAST_YEAR) & (month <= 12) & (month >= 0) & (day >= 1) & (day <= 366)
    months = np.where(ok, (year - 1970) * 12 + np.maximum(month, 1) - 1, 0).astype("datetime64[M]")
    days = months.astype("datetime64[D]") + np.where(ok, day - 1, 0)
    same = np.where(
        by_year,
        days.astype("datetime64[Y]") == months.astype("datetime64[Y]"),
        days.astype("datetime64[M]") == months,
    )
    seconds = np.asarray(seconds, dtype=np.int64)
    ok &= same & (seconds >= 0) & (seconds <= 86400)
    return np.where(ok, days.astype("datetime64[s]") + np.where(ok, seconds, 0), NOWHEN)


def clock_seconds(cells: Sequence[str]) -> np.ndarray:
    """Return the seconds since midnight of clock times such as 9:00, 14:30:00 or 2:30 PM; NaT if none.

    Parameters
    ----------
    cells : sequence of str
        Cells of a clock column.

    Returns
    -------
    array of timedelta64

    Examples
    --------
    >>> clock_seconds(["9:00", "2:30 PM", "24:00", "noon"]).astype(int)[:3]
    array([32400, 52200, 86400])
    """
    codes, unique = pd.factorize(np.array(cells, dtype=object))
    out = np.full(len(unique), np.timedelta64("NaT"), dtype="timedelta64[s]")
    pattern = re.compile(r"(\d{1,2}):(\d{2})(?::(\d{2})(?:\.\d+)?)?\s*([AaPp])?\.?[Mm]?\.?")
    for i, cell in enumerate(unique):
        if found := pattern.fullmatch(cell):
            hour, minute, second = (int(part or 0) for part in found.groups()[:3])
            if found[4]:
                hour = hour % 12 + 12 * (found[4].lower() == "p")
            if minute < 60 and second < 60 and hour * 3600 + minute * 60 + second <= 86400:
                out[i] = np.timedelta64(hour * 3600 + minute * 60 + second, "s")
    return out[codes]


def find_form(cells: Sequence[str], day_first: bool | None = None) -> DateForm | None:
    """Work out how these cells write dates.

    Parameters
    ----------
    cells : sequence of str
        The date cells of the file (of a large file, its first 65,536 rows).
    day_first : bool, optional
        What the caller says of dates such as 03/04/1990.

    Returns
    -------
    DateForm or None
        None if the cells are no dates.

    Raises
    ------
    InputError
        If the dates fit day-first and month-first alike, or leave the century open.
    """
    filled = [c for c in cells if c]
    if not filled or not any(ch.isdigit() for ch in filled[0]):
        return None
    if _iso(filled) is not None:
        return DateForm("year-month-day", _read_iso)
    for name, pattern in _PATTERNS.items():
        found = pattern.fullmatch(filled[0])
        if not found:
            continue
        zone = found.groupdict().get("z") or ""
        if name == "numbers":
            form = _numbers(filled, pattern, day_first, zone)
        else:
            form = DateForm(name, lambda cells, p=pattern: _read(cells, p), (), zone)
        year = found.groupdict().get("y") or found.groupdict().get("c")
        return _century(form, filled) if len(year) == 2 else form
    return None


def _iso(cells: Sequence[str]) -> np.ndarray | None:
    """Read the commonest form by the fast way; None if any cell does not fit it."""
    widths = set(map(len, cells))
    if len(widths) != 1 or not widths <= {10, 16, 19} or re.search(r"[^0-9T :-]", "".join(cells)):
        return None
    if not all(c[4] == c[7] == "-" and c[13:14] in ("", ":") for c in cells):  # numpy takes offsets for zones
        return None
    try:
        stamps = np.array(cells, dtype="datetime64[s]")
    except ValueError:
        return None
    years = stamps.astype("datetime64[Y]").astype(np.int64) + 1970
    return None if (np.isnat(stamps) | (years < FIRST_YEAR) | (years > LAST_YEAR)).any() else stamps


def _read_iso(cells: Sequence[str]) -> np.ndarray:
    fast = _iso(cells) if len(cells) else None
    return _read(cells, _PATTERNS["year-month-day"]) if fast is None else fast


def _read(cells: Sequence[str], pattern: re.Pattern, order: str = "") -> np.ndarray:
    """Read cells by a pattern; each different cell once, since days repeat in sub-daily files."""
    codes, unique = pd.factorize(np.array(cells, dtype=object))
    parts = np.zeros((4, len(unique)), dtype=np.int64)
    for i, cell in enumerate(unique):
        if found := pattern.fullmatch(cell):
            parts[:, i] = _parts(found.groupdict(), order)
    return assemble(*parts)[codes]


def _parts(found: dict[str, str | None], order: str) -> tuple[int, int, int, int]:
    """Return year, month, day and seconds; year 0 where the cell is no date."""
    if order:
        found = found | dict(zip(order, (found["a"], found["b"], found["c"]), strict=True))
        if len(found["d"]) > 2 or len(found["m"]) > 2:
            return 0, 0, 0, 0
    year = int(found["y"])
    if len(found["y"]) == 2:
        year += 2000 if year < PIVOT else 1900
    hour, minute, second = (int(found.get(k) or 0) for k in "HMS")
    if half := (found.get("ap") or "").lower().replace(".", ""):
        hour = hour % 12 + (12 if half == "pm" else 0) if 1 <= hour <= 12 else 99
    if minute > 59 or second > 60:
        return 0, 0, 0, 0
    seconds = hour * 3600 + minute * 60 + second
    if found.get("j"):
        return year, 0, int(found["j"]), seconds
    month = month_number(found["mon"] if found.get("mon") else found["m"])
    return (year, month, int(found["d"]), seconds) if month else (0, 0, 0, 0)


def _numbers(cells: list[str], pattern: re.Pattern, day_first: bool | None, zone: str) -> DateForm:
    """Settle the order of dates such as 03/04/1990 over all the cells."""
    forms = {
        name: DateForm(name, lambda cells, o=order: _read(cells, pattern, o), (), zone)
        for name, order in _ORDERS.items()
    }
    stamps = {name: form.read(cells) for name, form in forms.items()}
    wrong = {name: np.isnat(s).sum() for name, s in stamps.items()}
    if day_first is not None:
        name = "day-month-year" if day_first else "month-day-year"
        if wrong[name] == len(cells):
            raise InputError(
                f"the dates, such as {cells[0]!r}, are not {name}",
                "leave day_first out or turn it round",
                "day_first",
            )
        return replace(forms[name], notes=(f"the dates were read as {name}, as asked",))
    # where no order fits every cell, the best one names the cells that are no dates
    fit = [name for name in forms if wrong[name] == min(wrong.values())]
    if all(np.array_equal(stamps[name], stamps[fit[0]], equal_nan=True) for name in fit):
        return forms[fit[0]]
    daily = [name for name in fit if _steady(stamps[name])]
    if len(daily) != 1:
        raise InputError(
            f"the dates, such as {cells[0]!r}, fit {' and '.join(fit)} alike",
            "say day_first=True or day_first=False",
            "day_first",
        )
    note = f"the dates fit {' and '.join(fit)}; read as {daily[0]}, in which they run from day to day"
    return replace(forms[daily[0]], notes=(note,))


def _steady(stamps: np.ndarray) -> bool:
    """Tell whether the days follow one another as the rows do."""
    steps = np.diff(stamps.astype("datetime64[D]")).astype(np.int64)
    steps = steps[steps != 0]
    return len(steps) > 0 and (steps == 1).mean() >= 0.9


def _century(form: DateForm, cells: Sequence[str]) -> DateForm:
    """Add the note about two-digit years; refuse where the century stays open."""
    stamps = form.read(cells)
    known = stamps[~np.isnat(stamps)]
    backward = (np.diff(known).astype(np.int64) < 0).sum()
    if len(known) and (known.max() > np.datetime64("now") or backward > 0.1 * len(known)):
        raise InputError(
            f"the two-digit years, such as in {cells[0]!r}, leave the century open",
            "write the years with four digits",
            "dates",
        )
    return replace(form, notes=(*form.notes, "two-digit years 69 to 99 were read as 19.., 00 to 68 as 20.."))
