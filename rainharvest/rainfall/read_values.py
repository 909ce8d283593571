"""Cells as files write them: dates, numbers, missing codes, quality marks."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from rainharvest.core.defaults import Default
from rainharvest.core.errors import InputError
from rainharvest.rainfall.check_days import WORLD_RECORD
from rainharvest.rainfall.flags import MEANINGS, Flag

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
    """How a file writes its dates."""

    name: str  # In words
    # Takes the cells, returns ``datetime64[s]``, NaT where a cell does not fit
    read: Callable[[Sequence[str]], np.ndarray]
    notes: tuple[str, ...] = ()  # Assumptions that the form rests on
    zone: str = ""  # The offset from UTC written behind the times, where there is one


def month_number(word: str) -> int:
    """Return the month that a name or number means; 0 if none.

    >>> month_number("Sept."), month_number("août"), month_number("7"), month_number("rain")
    (9, 8, 7, 0)
    """
    word = word.strip(" .").lower()
    if word.isascii() and word.isdigit():
        return int(word) if len(word) < 3 and 1 <= int(word) <= 12 else 0
    return MONTHS.get(word) or MONTHS.get(word[:4]) or MONTHS.get(word[:3], 0)


def assemble(year, month, day, seconds=0) -> np.ndarray:
    """Return ``datetime64[s]`` of calendar parts, NaT where there is no such day."""
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
    """Work out how these cells write dates."""
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


CODE_DEPTH = Default(500.0, "mm/day", "depth from which a lone 999 is a code, not rain", "own choice")


MISSING_WORDS = frozenset(
    "na n/a #n/a nan null none nil nd n.d. n.a. missing miss m x - -- --- ---- — – . .. "
    "* ** *** # ? ?? / // ///".split()
) | {"", "no data", "no_data", "nodata", "not available", "#value!", "#div/0!", "(null)"}

TRACE_WORDS = frozenset(
    "t tr tr. trace traces <0.1 <0.05 <0.2 <0.01 0.0t 0t 0.00t 0,0t t0.0 + <0,1 <0,05".split()
) | {"0.0 t", "0 t", "< 0.1"}


NEGATIVE_CODES = frozenset(
    (
        -99,
        -99.9,
        -99.99,
        -999,
        -999.9,
        -999.99,
        -9999,
        -9999.9,
        -9999.99,
        -99999,
        -8888,
        -7777,
        -32767,
        -32768,
    )
)

"""No rain is negative, so these are always codes."""


POSITIVE_CODES = (999, 999.9, 999.99, 9999, 9999.9, 9999.99, 99999, 8888, 8888.8, 32766, 32767, 99.99, 88.88)

"""Codes only where the data say so (``positive_codes``): 999 may be tenths of a mm."""


_NUMBER = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,3})?")

_THOUSANDS = re.compile(r"[+-]?\d{1,3}(?:,\d{3})+\.\d+")

_COMMA = re.compile(r"[+-]?\d*,\d+")

_MARKED = re.compile(r"(.*\d)\s?[*#†^]")  # a number that the source marks (estimated, other sensor)


def factorize(cells: Sequence[str]) -> tuple[np.ndarray, list[str]]:
    """Return codes and the different cells, since a rain column repeats few of them."""
    codes, unique = pd.factorize(np.array(cells, dtype=object))
    return codes, list(unique)


def decimal_comma(cells: Sequence[str]) -> bool:
    """Decide whether these cells write decimals with a comma."""
    unique = [c for c in factorize(cells)[1] if not (_NUMBER.fullmatch(c) and float(c) in NEGATIVE_CODES)]
    commas = [c for c in unique if "," in c and not _THOUSANDS.fullmatch(c) and _COMMA.fullmatch(c)]
    if not commas:
        return False
    if any(_NUMBER.fullmatch(c) and "." in c for c in unique):
        point = next(c for c in unique if _NUMBER.fullmatch(c) and "." in c)
        raise InputError(
            f"decimals are written both ways ({commas[0]!r} and {point!r})",
            "write all with a point",
            "rain column",
        )
    if all(re.fullmatch(r"[+-]?[1-9]\d{0,2},\d{3}", c) for c in commas):
        raise InputError(
            f"{commas[0]!r} may be a decimal or a thousand",
            "write it without a comma, or with a point",
            "rain column",
        )
    return True


def numbers(cells: Sequence[str], comma: bool, missing: Sequence[float] = (), trace: Sequence[float] = ()):
    """Read rain cells."""
    codes, unique = factorize(cells)
    values = np.full(len(unique), np.nan)
    flags = np.full(len(unique), Flag.MISSING, dtype=np.int8)
    marks = np.zeros(len(unique), dtype=bool)
    odd = np.zeros(len(unique), dtype=bool)
    for i, cell in enumerate(unique):
        word = cell.lower()
        if word in MISSING_WORDS:
            continue
        if word in TRACE_WORDS:
            values[i], flags[i] = 0.0, Flag.TRACE
            continue
        text = cell.replace("−", "-").replace("\xa0", "").replace("\u202f", "")
        if found := _MARKED.fullmatch(text):
            text, marks[i] = found[1], True
        if comma and _COMMA.fullmatch(text):
            text = text.replace(",", ".")
        elif not comma and _THOUSANDS.fullmatch(text):
            text = text.replace(",", "")
        number = float(text) if text.isascii() and _NUMBER.fullmatch(text) else np.inf
        if not np.isfinite(number):
            odd[i] = True
        elif number in missing or (number in NEGATIVE_CODES and number not in trace):
            continue
        elif number in trace:
            values[i], flags[i] = 0.0, Flag.TRACE
        else:
            values[i], flags[i] = number, Flag.MEASURED
    at = np.flatnonzero(odd[codes]) if odd.any() else ()
    return values[codes], flags[codes], int(marks[codes].sum()), int(at[0]) if len(at) else -1


def positive_codes(values: np.ndarray, factor: float) -> list[float]:
    """Find the positive numbers that are missing codes in this column, not rain.

    A candidate (999, 999.9, 9999, ...) counts as a code only where nothing else lies above half of it
    and it would be more rain in a day than the world record, or 500 mm and more, or stands three times
    or more. A lone 99.9 mm stays rain.

    >>> positive_codes(np.array([0.0, 12.5, 999.9, 3.0]), 1.0)
    [999.9]
    >>> positive_codes(np.array([0.0, 600.0, 999.0, 3.0]), 0.1)
    []
    """
    if not len(values) or not np.nanmax(values, initial=0.0) >= min(POSITIVE_CODES):
        return []
    codes = set(POSITIVE_CODES) & set(np.unique(values[~np.isnan(values)]).tolist())
    rest = np.nanmax(np.where(np.isin(values, list(codes)), np.nan, values), initial=0.0)
    return sorted(
        code
        for code in codes
        if code * factor > WORLD_RECORD.value
        or (rest <= code / 2 and (code * factor >= CODE_DEPTH.value or (values == code).sum() >= 3))
    )


def plural(count: int, one: str = "day", many: str = "") -> str:
    """Return "1 day", "2 days".

    >>> plural(1), plural(3, "value")
    ('1 day', '3 values')
    """
    return f"{count} {one if count == 1 else many or one + 's'}"


_SUSPECT = frozenset("suspect suspicious doubtful doubt questionable".split())

_REJECTED = frozenset("reject rejected bad wrong erroneous error invalid".split())

_NOTHING = frozenset("ok good valid y n yes no measured checked".split()) | {""}

_OWN = {meaning: flag for flag, meaning in MEANINGS.items()}

_ECA = {"0": "valid", "1": "suspect", "9": "missing", "": ""}

"""Quality codes of the European Climate Assessment & Dataset text files."""


_LETTERS = frozenset("t m a e c l f ^".split()) | {""}

"""Letters of the Canadian files: trace, missing, accumulated, estimated, uncertain, may have occurred."""


def apply_quality(
    name: str, cells: Sequence[str], values: np.ndarray, flags: np.ndarray
) -> tuple[np.ndarray, list[str]]:
    """Set values and flags by a quality column, in place."""
    codes, unique = factorize(cells)
    words = [u.strip().lower() for u in unique]
    accumulated = np.zeros(len(values), dtype=bool)
    notes: list[str] = []
    had = ~np.isnan(values)

    def mark(which: set[str] | frozenset[str]) -> np.ndarray:
        return np.array([w in which for w in words], dtype=bool)[codes] if words else np.zeros(0, dtype=bool)

    if set(words) <= _LETTERS and set(words) & set("tmaeclf") and "flag" in name.lower():
        trace = mark({"t"}) & ~(values > 0)
        values[trace], flags[trace] = 0.0, Flag.TRACE
        gone = mark({"m"}) & ~(values > 0)
        values[gone], flags[gone] = np.nan, Flag.MISSING
        accumulated = mark({"a", "f"}) & ~np.isnan(values)
        for letter, meaning in (
            ("e", "estimated"),
            ("c", "uncertain in amount"),
            ("l", "doubtful in occurrence"),
        ):
            if count := int((mark({letter}) & had).sum()):
                notes.append(f"the source marks {plural(count, 'value')} as {meaning}; kept")
        return accumulated, notes
    if re.fullmatch(r"Q_R[RD]|Q", name.strip(), re.IGNORECASE) and set(words) <= set(_ECA):
        words = [_ECA[w] for w in words]
    known = _SUSPECT | _REJECTED | _NOTHING | set(_OWN)
    if strange := [w for w in words if w not in known]:
        shown = ", ".join(repr(w) for w in sorted(strange)[:6])
        notes.append(
            f"the quality column {name!r} has codes without a meaning known here ({shown}) and was not used"
        )
        return accumulated, notes
    rejected = mark(_REJECTED | {"rejected"}) & had
    values[rejected], flags[rejected] = np.nan, Flag.REJECTED
    suspect = mark(_SUSPECT) & had & (flags != Flag.TRACE)
    flags[suspect] = Flag.SUSPECT
    for word, flag in _OWN.items():
        if word in words and flag not in (Flag.MEASURED, Flag.SUSPECT, Flag.REJECTED):
            same = mark({word})
            # a flag that says "no value" cannot stand on a value, nor the other way round
            fits = same & (np.isnan(values) == (flag in (Flag.MISSING, Flag.IN_TOTAL)))
            flags[fits] = flag
    for word in _REJECTED & set(words):
        blank = mark({word}) & ~had
        flags[blank] = Flag.REJECTED
    if rejected.any():
        notes.append(f"{plural(int(rejected.sum()), 'value')} that the source rejects set to unknown")
    if suspect.any():
        notes.append(f"{plural(int(suspect.sum()), 'value')} that the source doubts kept and flagged")
    if (
        re.search("quality", name, re.IGNORECASE)
        and "n" in words
        and (count := int((mark({"n"}) & had).sum()))
    ):
        notes.append(f"{plural(count, 'value')} not yet checked by the source; kept")
    return accumulated, notes
