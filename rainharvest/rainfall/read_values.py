"""Cells as files write them: dates, numbers, missing codes, quality marks."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from rainharvest.core.defaults import Default, rows_of
from rainharvest.core.errors import shortened
from rainharvest.rainfall.check_days import WORLD_RECORD
from rainharvest.rainfall.flags import MEANINGS, Flag, plural
from rainharvest.rainfall.refusals import refusal, refuse_unless

READING = rows_of("rainfall", "reading")  # how files write things: the rows of reading.toml

LIMITS = {name: Default(**row) for name, row in READING["limits"].items()}

# Years outside these are taken for writing errors: no daily rain record is older.
FIRST_YEAR, LAST_YEAR = 1600, 2200

PIVOT = 69  # two-digit years from here on belong to the 1900s (the POSIX rule)

NOWHEN = np.datetime64("NaT", "s")


MONTHS = {word: number for number, words in enumerate(READING["months"], 1) for word in words.split()}

_TIME = (
    r"(?:(?:[T ,]\s*|:)(?P<H>\d{1,2})[:.](?P<M>\d{2})(?::(?P<S>\d{2})(?:[.,]\d+)?)?"
    r"\s*(?P<ap>[AaPp]\.?[Mm]\.?)?)?\s*(?P<z>Z|UTC|GMT|[+-]\d{2}(?::?\d{2})?)?"
)

_OFFSET = re.compile(r"([+-])(\d{2}):?(\d{2})?$")

_YEAR = r"(?P<y>\d{4}|\d{2})"

_WORD = r"(?P<mon>[^\W\d_]{3,})\.?"

_PATTERNS = {
    name: re.compile(pattern)
    for name, pattern in {
        "year-month-day": r"(?P<y>\d{4})(?P<s>[-/. ])(?P<m>\d{1,2})(?P=s)(?P<d>\d{1,2})" + _TIME,
        "yyyymmdd": r"(?P<y>\d{4})(?P<m>\d{2})(?P<d>\d{2})"
        r"(?:[T: ]?(?P<H>\d{2}|(?<=[T: ])\d)[:.]?(?P<M>\d{2})?[:.]?(?P<S>\d{2})?\s*(?P<ap>[AaPp][Mm])?)?(?P<z>Z)?",
        "year and day of year": r"(?P<y>\d{4})[-/. ]?(?P<j>\d{3})(?:(?=[T ])" + _TIME + ")?",
        "day, month name, year": r"(?P<d>\d{1,2})(?:[-/. ]\s?)?" + _WORD + r"[-/., ]*" + _YEAR + _TIME,
        "month name, day, year": _WORD + r"[-/. ]*(?P<d>\d{1,2})(?:st|nd|rd|th)?,?[-/ ]+" + _YEAR + _TIME,
        "year, month name, day": r"(?P<y>\d{4})[-/. ]*" + _WORD + r"[-/. ]*(?P<d>\d{1,2})" + _TIME,
        "numbers": r"(?P<a>\d{1,2})(?P<s>[-/. ])(?P<b>\d{1,2})(?P=s)" + _YEAR.replace("<y>", "<c>") + _TIME,
    }.items()
}

_ORDERS = {"day-month-year": "dmy", "month-day-year": "mdy", "year-month-day": "ymd"}


def each(cells: Sequence[str], read: Callable[[str], object], dtype: object) -> np.ndarray:
    """Return what ``read`` makes of the cells; each different cell is read once, since columns repeat few."""
    codes, unique = factorize(cells)
    return np.array([read(cell) for cell in unique], dtype=dtype)[codes]


def has_digit(text: str) -> bool:
    """Tell whether a text has a digit in it."""
    return any(letter.isdigit() for letter in text)


def factorize(cells: Sequence[str]) -> tuple[np.ndarray, list[str]]:
    """Return codes and the different cells."""
    codes, unique = pd.factorize(np.array(cells, dtype=object))
    return codes, list(unique)


@dataclass(frozen=True)
class DateForm:
    """How a file writes its dates."""

    name: str  # In words
    # Takes the cells, returns ``datetime64[s]``, NaT where a cell does not fit
    read: Callable[[Sequence[str]], np.ndarray]
    notes: tuple[str, ...] = ()  # Assumptions that the form rests on
    zone: str = ""  # The offset from UTC written behind the first time, where there is one

    def clock_changes(self, cells: Sequence[str]) -> np.ndarray:
        """Return by how much [s] the offset of each time lies before that of the first: summer time changes it."""

        def offset(cell: str) -> int:
            found = _OFFSET.search(cell)
            sign, hours, minutes = found.groups() if found else ("+", 0, 0)
            return int(f"{sign}1") * (int(hours) * 3600 + int(minutes or 0) * 60)

        return offset(self.zone) - each([cell[10:] for cell in cells], offset, np.int64)


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
    """Return ``datetime64[s]`` of calendar parts, NaT where there is no such day; month 0: days of the year."""
    year, month, day, seconds = (np.asarray(part, dtype=np.int64) for part in (year, month, day, seconds))
    ok = (year >= FIRST_YEAR) & (year <= LAST_YEAR) & (month <= 12) & (month >= 0) & (day >= 1) & (day <= 366)
    months = np.where(ok, (year - 1970) * 12 + np.maximum(month, 1) - 1, 0).astype("datetime64[M]")
    days = months.astype("datetime64[D]") + np.where(ok, day - 1, 0)
    ok &= days.astype("datetime64[Y]") == months.astype("datetime64[Y]")
    ok &= (month == 0) | (days.astype("datetime64[M]") == months)
    ok &= (seconds >= 0) & (seconds <= 86400)
    return np.where(ok, days.astype("datetime64[s]") + np.where(ok, seconds, 0), NOWHEN)


def month_days(year: int, month: int) -> np.ndarray:
    """Return the moments of a month's 31 days, NaT for those that it has not."""
    return assemble(np.full(31, year), np.full(31, month), np.arange(1, 32))


def find_form(cells: Sequence[str], day_first: bool | None = None) -> DateForm | None:
    """Work out how these cells write dates."""
    filled = [c for c in cells if c]
    if not filled or not has_digit(filled[0]):
        return None
    for name, pattern in _PATTERNS.items():
        if not (found := pattern.fullmatch(filled[0])):
            continue
        parts = found.groupdict()
        form = DateForm(name, lambda cells, p=pattern: _read(cells, p), (), parts.get("z") or "")
        if name == "numbers":
            form = _ordered(form, filled, pattern, day_first)
        return _century(form, filled) if len(parts.get("y") or parts.get("c")) == 2 else form
    return None


def _read(cells: Sequence[str], pattern: re.Pattern, order: str = "") -> np.ndarray:
    """Read cells by a pattern."""

    def parts(cell: str) -> tuple[int, int, int, int]:
        found = pattern.fullmatch(cell)
        return _parts(found.groupdict(), order) if found else (0, 0, 0, 0)

    return assemble(*each(cells, parts, np.int64).reshape(-1, 4).T)


def _parts(found: dict[str, str | None], order: str) -> tuple[int, int, int, int]:
    """Return year, month (0 with a day of the year), day and seconds; year 0 where the cell is no date."""
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
    seconds = hour * 3600 + minute * 60 + second
    by_year = bool(found.get("j"))
    month = 0 if by_year else month_number(found.get("mon") or found["m"])
    if minute > 59 or second > 60 or not (month or by_year):
        return 0, 0, 0, 0
    return year, month, int(found["j"] if by_year else found["d"]), seconds


def _ordered(form: DateForm, cells: list[str], pattern: re.Pattern, day_first: bool | None) -> DateForm:
    """Settle the order of dates such as 03/04/1990 over all the cells."""
    forms = {
        name: replace(form, name=name, read=lambda cells, o=order: _read(cells, pattern, o))
        for name, order in _ORDERS.items()
    }
    stamps = {name: form.read(cells) for name, form in forms.items()}
    wrong = {name: np.isnat(s).sum() for name, s in stamps.items()}
    if day_first is not None:
        name = "day-month-year" if day_first else "month-day-year"
        refuse_unless(wrong[name] < len(cells), "not_day_first", cell=cells[0], order=name)
        return replace(forms[name], notes=(f"the dates were read as {name}, as asked",))
    # where no order fits every cell, the best one names the cells that are no dates
    fit = [name for name in forms if wrong[name] == min(wrong.values())]
    likeliest = max(forms, key=lambda name: _steady(stamps[name]))
    if likeliest not in fit and _steady(stamps[likeliest]) > max(0.5, *(_steady(stamps[n]) for n in fit)):
        odd = cells[int(np.isnat(stamps[likeliest]).argmax())]
        raise refusal("odd_date", order=likeliest, cell=odd)
    if all(np.array_equal(stamps[name], stamps[fit[0]], equal_nan=True) for name in fit):
        return forms[fit[0]]
    one, other = fit[0], fit[1]  # more than one fit alike, or the last line had returned
    apart = np.isnat(stamps[one]) != np.isnat(stamps[other])
    if apart.any():
        odd = [cells[int((apart & np.isnat(stamps[name])).argmax())] for name in (one, other)]
        raise refusal("mixed_orders", one=odd[0], first=one, other=odd[1], second=other)
    daily = [name for name in fit if _steady(stamps[name]) >= 0.9]
    orders = " and ".join(fit)
    refuse_unless(len(daily) == 1, "two_orders", cell=cells[0], orders=orders)
    note = f"the dates fit {orders}; read as {daily[0]}, in which they run from day to day"
    return replace(forms[daily[0]], notes=(note,))


def _steady(stamps: np.ndarray) -> float:
    """Return the share of rows that follow the one before by a day; several rows of a day count as one."""
    steps = np.diff(stamps[~np.isnat(stamps)].astype("datetime64[D]")).astype(np.int64)
    return float((steps == 1).sum() / max((steps != 0).sum() + np.isnat(stamps).sum(), 1))


def _century(form: DateForm, cells: Sequence[str]) -> DateForm:
    """Add the note about two-digit years; refuse where the century stays open."""
    stamps = form.read(cells)
    known = stamps[~np.isnat(stamps)]
    backward = (np.diff(known).astype(np.int64) < 0).sum()
    plain = not len(known) or (known.max() <= np.datetime64("now") and backward <= 0.1 * len(known))
    refuse_unless(plain, "open_century", cell=cells[0])
    return replace(form, notes=(*form.notes, "two-digit years 69 to 99 were read as 19.., 00 to 68 as 20.."))


# What stands for the words that cells hold instead of an amount: value and flag.
_WORDS = {
    **dict.fromkeys(READING["cells"]["missing"], (np.nan, Flag.MISSING)),
    **dict.fromkeys(READING["cells"]["trace"], (0.0, Flag.TRACE)),
    **dict.fromkeys(READING["cells"]["in_total"], (np.nan, Flag.IN_TOTAL)),
}

NEGATIVE_CODES = frozenset(READING["cells"]["negative_codes"])

POSITIVE_CODES = frozenset(READING["cells"]["positive_codes"])

_NUMBER = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,3})?")

_THOUSANDS = re.compile(r"[+-]?\d{1,3}(?:,\d{3})+\.\d+")

_COMMA = re.compile(r"[+-]?\d*,\d+")

# a number that the source marks, as estimated or of another sensor, or as accumulated
_MARKED = re.compile(r"(.*\d)\s?(?:[*#†^]|(a|acc\.?|accum\w*))", re.IGNORECASE)

# what a column says of an amount over several days, with their number where it is said
_TOTAL = re.compile(r"(?:acc\.?|accum\w*|cumul\w*|multi-?day total|(\d{1,3})[- ]days?(?: total| accum\w*)?)")


def decimal_comma(cells: Sequence[str], separator: str) -> bool:
    """Decide whether these cells write decimals with a comma; between blanks a point settles it."""
    if separator == " " and any("." in c for c in cells):
        return False
    unique = [c for c in factorize(cells)[1] if not (_NUMBER.fullmatch(c) and float(c) in NEGATIVE_CODES)]
    commas = [c for c in unique if "," in c and not _THOUSANDS.fullmatch(c) and _COMMA.fullmatch(c)]
    if not commas:
        return False
    points = [c for c in unique if _NUMBER.fullmatch(c) and "." in c]
    if points:
        raise refusal("decimals_both_ways", comma=commas[0], point=points[0])
    thousands = all(re.fullmatch(r"[+-]?[1-9]\d{0,2},\d{3}", c) for c in commas)
    refuse_unless(not thousands, "decimal_or_thousand", cell=commas[0])
    return True


def numbers(cells: Sequence[str], comma: bool, missing: Sequence[float] = (), trace: Sequence[float] = ()):
    """Return values, flags, which of them the source marks, and which cells are no number."""

    def read(cell: str) -> tuple[float, Flag, bool, bool]:
        marked = accumulated = False
        if known := _WORDS.get(cell.lower()):
            return *known, False, False
        text = cell.replace("−", "-").replace("\xa0", "").replace("\u202f", "")
        if found := _MARKED.fullmatch(text):
            text, marked, accumulated = found[1], not found[2], bool(found[2])
        if comma and _COMMA.fullmatch(text):
            text = text.replace(",", ".")
        elif not comma and _THOUSANDS.fullmatch(text):
            text = text.replace(",", "")
        number = float(text) if text.isascii() and _NUMBER.fullmatch(text) else np.inf
        if not np.isfinite(number):
            return np.nan, Flag.MISSING, marked, True
        if number in missing or (number in NEGATIVE_CODES and number not in trace):
            return np.nan, Flag.MISSING, marked, False
        if number in trace:
            return 0.0, Flag.TRACE, marked, False
        return number, Flag.TOTAL if accumulated else Flag.MEASURED, marked, False

    table = each(cells, read, float).reshape(-1, 4)
    values, flags, marks, odd = table.T
    return values.copy(), flags.astype(np.int8), marks.astype(bool), odd.astype(bool)


def refuse_odd(odd: np.ndarray, cells: Sequence[str], lines: np.ndarray, column: str = "") -> None:
    """Refuse the first cell that is no number."""
    row = int(odd.argmax())
    place = f"line {lines[row]}{f', column {column!r}' * bool(column)}"
    refuse_unless(not odd.any(), "no_amount", cell=cells[row], place=place)


def drop_codes(
    values: np.ndarray, flags: np.ndarray, factor: float, notes: list[str], declared: Sequence[float] = ()
) -> None:
    """Set positive missing codes to unknown, in place, and say so."""
    codes, doubtful = positive_codes(values, factor)
    refuse_unless(not doubtful or declared, "code_or_rain", codes=", ".join(f"{c:g}" for c in doubtful))
    coded = np.isin(values, codes)
    values[coded], flags[coded] = np.nan, Flag.MISSING
    if codes:
        shown = ", ".join(f"{c:g}" for c in codes)
        notes.append(f"{shown} taken for a missing code ({plural(int(coded.sum()))})")


def positive_codes(values: np.ndarray, factor: float) -> tuple[list[float], list[float]]:
    """Find the positive numbers that are missing codes in this column, not rain; and those that may be either.

    A candidate (999, 999.9, 9999, ...) counts as a code where it would be more rain in a day than the world
    record; or where nothing else lies above half of it and it is 500 mm and more, or stands three times or
    more. A lone 99.9 mm stays rain. Between a code and rain lies a doubt, so that no single row turns the
    days of others from one into the other; so it does where the deepest three days are of a candidate's depth.

    >>> positive_codes(np.array([0.0, 12.5, 999.9, 3.0]), 1.0)
    ([999.9], [])
    >>> positive_codes(np.array([0.0, 600.0, 999.0, 3.0]), 0.1)
    ([], [])
    >>> positive_codes(np.array([0.0, 600.0, 999.0, 3.0]), 1.0)
    ([], [999.0])
    >>> positive_codes(np.array([51.0, 64.0, 99.9, 99.9, 99.9]), 1.0)
    ([], [99.9])
    """
    if not len(values) or not np.nanmax(values, initial=0.0) >= min(POSITIVE_CODES):
        return [], []
    candidates = sorted(POSITIVE_CODES & set(np.unique(values[~np.isnan(values)]).tolist()))
    rest = values[~np.isin(values, candidates) & (values * factor <= WORLD_RECORD.value)]
    codes, doubtful = [], []
    for code in candidates:
        above, deep = int((rest > code / 2).sum()), code * factor >= LIMITS["code_depth"].value
        times = 3 if deep else int((values == code).sum())
        if code * factor > WORLD_RECORD.value or (above == 0 and times >= 3):
            codes.append(code)
        elif times >= 2 and (above < 2 or times > 2 and not (rest > code).any()):
            doubtful.append(code)
    return codes, doubtful


_OWN = {meaning: flag for flag, meaning in MEANINGS.items()}

_SAYS = {
    word: kind for kind in ("suspect", "rejected", "nothing") for word in READING["quality"][kind].split()
}

_ECA = READING["quality"]["eca"] | {"": ""}

_LETTERS = READING["quality"]["letters"]


def stated_days(cells: Sequence[str]) -> np.ndarray:
    """Return the days of the total that each cell speaks of: 0 if of none, -1 if it leaves their number open.

    >>> stated_days(["", "ok", "accumulated", "3-day total"])
    array([ 0,  0, -1,  3])
    """

    def days(cell: str) -> int:
        found = _TOTAL.fullmatch(cell.lower())
        return int(found[1] or -1) if found else 0

    return each(cells, days, np.int64)


def lay_marks(
    day: np.ndarray, values: np.ndarray, flags: np.ndarray, total: np.ndarray, notes: list[str]
) -> None:
    """Give amounts marked as accumulated their days, in place: those said to be in them, or since the last value."""
    known, inside = np.flatnonzero(~np.isnan(values)), np.flatnonzero(flags == Flag.IN_TOTAL)
    before = np.concatenate([[-1], known[:-1]]).astype(int)[: len(known)]
    begun = np.append(inside, len(values))[np.searchsorted(inside, before)]
    said = begun < known
    grown = (said | (flags[known] == Flag.TOTAL)) & (total[known] == 1)
    since = np.where(said, np.append(day, day[-1:])[begun] - np.timedelta64(1, "D"), day[before])
    days = np.where(said | (before >= 0), (day[known] - since).astype(int), 1)
    total[known[grown]] = np.clip(days, 1, LIMITS["longest_total"].value)[grown]
    flags[flags == Flag.IN_TOTAL], flags[flags == Flag.TOTAL] = Flag.MISSING, Flag.MEASURED
    if grown.any():
        many = plural(int(grown.sum()), "accumulated value")
        notes.append(f"{many} taken to cover the days since the last value")


def apply_quality(name: str, cells: Sequence[str], values: np.ndarray, flags: np.ndarray) -> list[str]:
    """Set values and flags by a quality column, in place; return notes."""
    codes, unique = factorize(cells)
    words = [u.strip().lower() for u in unique]
    notes: list[str] = []
    had = ~np.isnan(values)

    def mark(*which: str) -> np.ndarray:
        return np.array([w in which for w in words], dtype=bool)[codes]

    def note(rows: np.ndarray, says: str) -> None:
        if count := int(rows.sum()):
            notes.append(says.format(plural(count, "value")))

    letters = set("tmaf") | set(_LETTERS)
    if set(words) <= letters | {"^", ""} and set(words) & letters and "flag" in name.lower():
        dry = ~(values > 0)
        trace, missing = mark("t") & dry, mark("m") & dry
        values[trace], flags[trace] = 0.0, Flag.TRACE
        if (mark("m") & ~dry).any():
            notes.append(f"{name!r} marks rain with M too, which so was not taken for missing")
        else:
            note(missing & had, "{} of zero that the source marks with M, for missing, set to unknown")
            values[missing], flags[missing] = np.nan, Flag.MISSING
        for letter, meaning in _LETTERS.items():
            note(mark(letter) & had, f"the source marks {{}} as {meaning}; kept")
        flags[mark("a", "f") & ~np.isnan(values)] = Flag.TOTAL
        return notes
    if re.fullmatch(r"Q_R[RD]|Q", name.strip(), re.IGNORECASE) and set(words) <= set(_ECA):
        words = [_ECA[w] for w in words]
    if strange := [w for w in words if w and not (w in _SAYS or w in _OWN or _TOTAL.fullmatch(w))]:
        shown = ", ".join(shortened(repr(w), 40) for w in sorted(strange)[:6])
        notes.append(
            f"the quality column {name!r} has codes without a meaning known here ({shown}) and was not used"
        )
        return notes
    refused = mark("rejected", *(word for word, kind in _SAYS.items() if kind == "rejected"))
    rejected = refused & had
    values[rejected], flags[rejected] = np.nan, Flag.REJECTED
    suspect = mark(*(word for word, kind in _SAYS.items() if kind == "suspect")) & had & (flags != Flag.TRACE)
    flags[suspect] = Flag.SUSPECT
    for word, flag in _OWN.items():
        if flag not in (Flag.MEASURED, Flag.SUSPECT, Flag.REJECTED):
            # a flag that says "no value" cannot stand on a value, nor the other way round
            flags[mark(word) & (np.isnan(values) == (flag in (Flag.MISSING, Flag.IN_TOTAL)))] = flag
    flags[refused & ~had] = Flag.REJECTED
    note(rejected, "{} that the source rejects set to unknown")
    note(suspect, "{} that the source doubts kept and flagged")
    if re.search("quality", name, re.IGNORECASE):
        note(mark("n") & had, "{} not yet checked by the source; kept")
    return notes
