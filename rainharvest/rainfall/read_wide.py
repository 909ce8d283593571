"""Tables with a row a month or a column a month, and the station files that share their shape."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from rainharvest.core.errors import InputError, require, shortened
from rainharvest.rainfall.flags import Flag
from rainharvest.rainfall.read_columns import Unit, given_unit, places_of, plain, unit_in_name
from rainharvest.rainfall.read_days import Readings
from rainharvest.rainfall.read_layout import (
    SEPARATORS,
    Preamble,
    is_comment,
    read_preamble,
    split,
    split_rows,
)
from rainharvest.rainfall.read_rows import Hints, file_unit, one_of
from rainharvest.rainfall.read_values import (
    LIMITS,
    MONTHS,
    NOWHEN,
    READING,
    assemble,
    decimal_comma,
    drop_codes,
    has_digit,
    lay_marks,
    month_days,
    month_number,
    numbers,
    plural,
)


@dataclass(frozen=True)
class Wide:
    """Where a wide table's rows begin and what its columns are."""

    separator: str  # One of ``SEPARATORS``
    names: tuple[str, ...]  # Column names; empty where the file has none
    first_row: int  # Lines before the first row of data
    year: int  # Place of the year, -1 where there is none
    part: int  # Place of the month, or of the day where the columns are months
    cells: tuple[int, ...]  # Places of the value columns, in order of day or month
    by_month: bool  # True for a row a month; False for a row a day with a column a month
    preamble: tuple[str, ...]  # The lines above


def find_wide(lines: Sequence[str]) -> Wide | None:
    """Recognise a wide table by its header, or by rows of year, month and 28 to 31 values."""
    for separator in SEPARATORS:
        for i, line in enumerate(lines):
            names = split(line.lstrip("#! ") if is_comment(line) else line, separator)
            if len(names) >= 13 and (found := _by_header(names)):
                return Wide(separator, tuple(names), i + 1, *found, tuple(lines[:i]))
        if found := _without_header(lines, separator):
            return found
    return None


def _by_header(names: Sequence[str]) -> tuple | None:
    """Return the places of year, of month or day and of the values, and whether a row is a month."""
    words = [plain(n) for n in names]
    year, month, day = (next(iter(places_of(names, role)), -1) for role in ("year", "month", "day"))
    if month < 0 and "mm" in words and year >= 0:
        month = words.index("mm")
    days, months = {}, {}
    for i, word in enumerate(words):
        if found := re.fullmatch(r"(?:day|d|val|value|v|p|r|rain|)[ _]?0*([1-9]|[12]\d|3[01])", word):
            days.setdefault(int(found[1]), i)
        if word[:3] in MONTHS or word in MONTHS:
            months.setdefault(month_number(names[i]), i)
    if set(range(1, 32)) <= set(days) and month >= 0:
        return year, month, tuple(days[d] for d in range(1, 32)), True
    if set(range(1, 13)) <= set(months) and day >= 0:
        return year, day, tuple(months[m] for m in range(1, 13)), False
    return None


def _without_header(lines: Sequence[str], separator: str) -> Wide | None:
    """Take rows of [station,] year, month, values for a table, if the first two of them are so."""
    rows = [(i, split(line, separator)) for i, line in enumerate(lines) if not is_comment(line)]
    rows = [(i, _lead(cells)) for i, cells in rows if cells]
    first = next((k for k, (_, lead) in enumerate(rows) if lead >= 0), None)
    if first is None:
        return None
    i, lead = rows[first]
    sure = rows[first + 1][1] >= 0 if first + 1 < len(rows) else i == len(lines) - 1
    places = tuple(range(lead + 2, lead + 33))
    return Wide(separator, (), i, lead, lead + 1, places, True, tuple(lines[:i])) if sure else None


def _lead(cells: list[str]) -> int:
    """Return how many cells stand before year, month and 28 to 32 values: 0 or 1; -1 if the row is not so."""
    for lead in (0, 1):
        year, month = (cells[lead : lead + 2] + ["", ""])[:2]
        if re.fullmatch(r"[12]\d{3}", year) and month_number(month) and 28 <= len(cells) - lead - 2 <= 32:
            return lead
    return -1


def read_wide(table: Wide, lines: Iterable[str], hints: Hints) -> Readings:
    """Read a wide table."""
    preamble = read_preamble(table.preamble)
    notes: list[str] = []
    named = [unit_in_name(n) for n in table.names if not re.search(r"\d", n)]
    named = next(filter(None, named), None)
    unit = file_unit(hints, [named], preamble, "the daily values", notes)
    rows = _rows(table, lines, preamble)
    require(rows, "the file has no rows of data", "check that this is the file meant")
    cells = [cell for _, _, row in rows for cell in row]
    days = np.concatenate([day for _, day, _ in rows])
    line = np.repeat([number for number, _, _ in rows], [len(day) for _, day, _ in rows])
    comma = decimal_comma(cells, table.separator)
    values, flags, marked, bad = numbers(cells, comma, preamble.missing, preamble.trace)
    problem = f"{cells[bad]!r} is no amount of rain"
    require(bad < 0, problem, "correct it, or blank it if unknown", f"line {line[bad]}")
    if said := drop_codes(values, flags, unit.factor, preamble.missing)[0]:
        notes.append(said)
    real = ~np.isnat(days)
    rain = ~real & ~np.isnan(values) & ~np.isin(values, READING["cells"]["fillers"])
    at = int(rain.argmax())
    problem = f"{cells[at]} stands on a day that does not exist"
    require(not rain.any(), problem, "check that the columns are in order", f"line {line[at]}")
    if marked:
        notes.append(f"{plural(marked, 'value')} that the source marks with a sign kept")
    days, values, flags, line = days[real], values[real], flags[real], line[real]
    total = np.ones(len(days), dtype=np.int64)
    lay_marks(days, values, flags, total, notes)
    return Readings(days, unit.mm(values), flags, total, line, preamble.facts, tuple(notes))


def _rows(table: Wide, lines: Iterable[str], preamble: Preamble) -> list[tuple[int, np.ndarray, list[str]]]:
    """Return line, days and cells of each row."""
    out = []
    year = preamble.year
    header = [plain(n) for n in table.names]
    for number, line in enumerate(lines, 1):
        if number <= table.first_row or line.isspace() or is_comment(line):
            continue
        row = split(line.rstrip("\r\n"), table.separator)
        if not any(row) or [plain(c) for c in row] == header:
            continue
        place = f"line {number}"
        # a year on a line of its own heads the block below it
        if table.year < 0 and (alone := re.fullmatch(r"\D*([12]\d{3})\D*", " ".join(row))):
            year = int(alone[1])
            continue
        if table.year >= 0:
            text = _cell(row, table.year)
            if not re.fullmatch(r"[12]\d{3}", text):
                sums = not has_digit("".join(row[: table.cells[0]]))  # under a block
                require(sums, f"{text!r} is no year", "write it with four digits", place)
                continue
            year = int(text)
        require(year, "the table names no year", "add a column Year, or a line 'year: 1990' above it", place)
        text = _cell(row, table.part)
        part = month_number(text) if table.by_month else int(text) if re.fullmatch(r"[0-3]?\d", text) else 0
        if not part:
            what = "month" if table.by_month else "day"
            require(not has_digit(text), f"{text!r} is no {what}", "correct it", place)
            continue
        if table.by_month:
            days = month_days(year, part)
        else:
            days = assemble(np.full(12, year), np.arange(1, 13), np.full(12, part))
        out.append((number, days, _cells(row, table, days, place)))
    return out


def _cell(row: list[str], place: int) -> str:
    return (row[place] if len(row) > place else "").removesuffix(".0")


def _cells(row: list[str], table: Wide, days: np.ndarray, place: str) -> list[str]:
    """Return the cells of the days; where blanks separate, a short row cannot be told from a gap."""
    cells = [row[i] if len(row) > i else "" for i in table.cells]
    given, real = len(row) - table.cells[0], ~np.isnat(days)
    if table.separator != " " or given >= len(days):
        return cells
    if table.by_month:
        require(
            given >= real.sum(),
            f"the row has {given} values for a month of {real.sum()} days",
            "separate the values with commas, or write a code such as -9999 for missing days",
            place,
        )
        return cells
    # short months close up to the left: 30 and 31 have fewer cells
    require(given == real.sum(), "the row has too few values", "separate the values with commas", place)
    packed = iter(row[table.cells[0] :])
    return [next(packed) if there else "" for there in real]


TENTHS = Unit("0.1 mm", 0.1)

HUNDREDTHS = Unit("0.01 in", 0.254)

_MONTHLY = re.compile(
    r"(?P<id>[A-Z]{2}[A-Z0-9_-]{9}|\d{6})(?P<ym>[12]\d{3}(?:0[1-9]|1[0-2]))[A-Z]{3}[A-Z0-9][ \d-]{4}\d"
)

_LONG = re.compile(r"[A-Z]{2}[A-Z0-9_-]{9},[12]\d{7},[A-Z]{3}[A-Z0-9],\s*-?\d+,")

ELEMENTS = ("PRCP", "MDPR", "DAPR")  # rain of a day, rain of several days, and how many days


class Entry(NamedTuple):
    """A value of an element, with its three flags."""

    day: np.datetime64
    value: float
    measured: str  # "T" for a trace, "P" for a zero that the source presumes
    quality: str  # Blank where the value passed the source's checks
    source: str
    line: int


Stations = dict[str, dict[str, list[Entry]]]

"""Entries by station and element."""


def find_ghcn(lines: Sequence[str]) -> str:
    """Return which of the forms a file has: "monthly", "long", "summaries" or ""."""
    for line in lines[:50]:
        if _MONTHLY.match(line):
            return "monthly"
        if _LONG.match(line.replace('"', "")):
            return "long"
        if {"STATION", "DATE", "PRCP", "PRCP_ATTRIBUTES"} <= {n.upper() for n in split(line, ",")}:
            return "summaries"
    return ""


def read_ghcn(form: str, lines: Iterable[str], hints: Hints) -> Readings:
    """Read GHCN-Daily text."""
    facts: dict[str, object] = {}
    notes: list[str] = []
    unit = TENTHS
    if form == "monthly":
        stations, unit = _monthly(lines)
    elif form == "long":
        stations = _long(lines, hints)
    else:
        stations = _summaries(lines, hints, facts, notes)
    no_rain = "the file has no rain (elements PRCP, MDPR)"
    require(stations or hints.at is not None, no_rain, "order the element PRCP")
    station = [*stations][one_of([*stations], hints.at, "station")]
    if asked := given_unit(hints.units):
        notes.append(f"rain was read in {asked.text}, as asked; the layout prescribes {unit.text}")
        unit = asked
    elements = stations[station]
    there = any(e.value == e.value for name in ("PRCP", "MDPR") for e in elements.get(name, ()))
    require(there, no_rain, "order the element PRCP for this station")
    facts.setdefault("site", station)
    return _one_series(elements, unit, facts, notes)


def _blank(day: np.datetime64, line: int) -> Entry:
    """Return a day that the file lists without a value."""
    return Entry(day, np.nan, "", "", "", line)


def _wanted(station: str, hints: Hints) -> bool:
    return hints.at is None or station.lower() == str(hints.at).strip().lower()


def _monthly(lines: Iterable[str]) -> tuple[Stations, Unit]:
    """Read a line a month and element: 31 times a value of five places and three flags."""
    stations: Stations = {}
    unit = TENTHS
    for number, raw in enumerate(lines, 1):
        line = raw.rstrip("\r\n")
        found = _MONTHLY.match(line)
        if not found:
            fix = "restore or remove it"
            require(not line.strip(), "the line is no month of a station", fix, f"line {number}")
            continue
        start = len(found["id"]) + 6
        unit = HUNDREDTHS if len(found["id"]) == 6 else TENTHS
        element = line[start : start + 4]
        if element not in ELEMENTS:
            continue
        year, month = int(found["ym"][:4]), int(found["ym"][4:])
        entries = stations.setdefault(found["id"], {}).setdefault(element, [])
        line = line.ljust(start + 4 + 31 * 8)  # editors strip the blanks at the end
        for k, day in enumerate(month_days(year, month)):
            text = line[start + 4 + 8 * k :][:8]
            value = text[:5].strip()
            if not re.fullmatch(r"-?\d+", value or "-9999"):
                raise InputError(f"{value!r} is no value", "restore the line", f"line {number}, day {k + 1}")
            if value in ("", "-9999", "-99999"):
                if element == "PRCP" and not np.isnat(day):
                    entries.append(_blank(day, number))
                continue
            if np.isnat(day):
                problem = f"{year}-{month:02d} has no day {k + 1}, yet a value"
                raise InputError(problem, "restore the line", f"line {number}")
            entries.append(Entry(day, float(value), *(flag.strip() for flag in text[5:]), number))
    return stations, unit


def _date(text: str, pattern: str) -> np.datetime64:
    """Return the day of a date's three parts, NaT if it is none."""
    parts = re.fullmatch(pattern, text)
    return assemble(*map(int, parts.groups()))[()] if parts else NOWHEN


def _long(lines: Iterable[str], hints: Hints) -> Stations:
    """Read a line a day and element."""
    stations: Stations = {}
    for number, line in enumerate(lines, 1):
        bare = line.rstrip("\r\n").replace('"', "")
        cells = bare.split(",")
        if len(cells) < 4 or cells[2] not in ELEMENTS or not _wanted(cells[0], hints):
            if number > 1 and line.strip() and not _LONG.match(bare):
                raise InputError("the line is no day of a station", "restore or remove it", f"line {number}")
            continue
        date = cells[1].strip()
        day = _date(date, r"(\d{4})(\d\d)(\d\d)")
        if np.isnat(day) or not re.fullmatch(r"\s*-?\d{1,7}\s*", cells[3]):
            raise InputError(f"{date}, {cells[3]} are no day and value", "restore the line", f"line {number}")
        if hints.at is None and len(stations) > 12:  # a year of all stations: stop before it fills the memory
            break
        entries = stations.setdefault(cells[0], {}).setdefault(cells[2], [])
        if int(cells[3]) == -9999:
            entries += [_blank(day, number)] if cells[2] == "PRCP" else []
        else:
            entries.append(Entry(day, float(cells[3]), *_three_flags(cells[4:]), number))
    return stations


def _three_flags(cells: Sequence[str]) -> list[str]:
    return [*(cell.strip() for cell in cells), "", "", ""][:3]


def _summaries(lines: Iterable[str], hints: Hints, facts: dict, notes: list[str]) -> Stations:
    """Read a line a day with a column an element; tenths of mm only where the padding says so."""
    stations: Stations = {}
    names: list[str] = []
    padded, whole = False, True
    for number, row in split_rows(enumerate(lines, 1), ","):
        if not names:
            names = [n.strip().upper() for n in row]
            names = names if "PRCP_ATTRIBUTES" in names else []
            continue
        cells = dict(zip(names, row, strict=False))
        station = cells.get("STATION", "").strip()
        if not any(c.strip() for c in row) or not _wanted(station, hints):
            continue
        place = f"line {number}"
        date = cells.get("DATE", "").strip()
        day = _date(date, r"(\d{4})-(\d\d)-(\d\d)")
        require(not np.isnat(day), f"{date!r} is no date", "write it as 1990-01-31", place)
        elements = stations.setdefault(station, {})
        for element in ELEMENTS:
            raw = cells.get(element, "")
            text = raw.strip()
            if text in ("", "-9999", "9999"):
                if element == "PRCP":
                    elements.setdefault(element, []).append(_blank(day, number))
                continue
            if not re.fullmatch(r"-?(\d+\.?\d*|\.\d+)", text):
                raise InputError(f"{text!r} is no value", "correct it", f"{place}, column {element}")
            if element == "PRCP":
                padded |= raw != text
                whole &= "." not in text
            flags = _three_flags(cells.get(f"{element}_ATTRIBUTES", "").split(","))
            entry = Entry(day, float(text), *flags, number)
            elements.setdefault(element, []).append(entry)
        if not facts:
            facts |= _place(cells)
    if hints.units is None:
        problem = "the unit of 'PRCP' is not stated: an order comes in mm or inches, as its maker chose"
        require(padded and whole, problem, "say units='mm', units='in' or units='0.1 mm'", "units")
        notes.append(
            "PRCP is padded whole numbers, as in the archive's own files, and was read in tenths of mm"
        )
    return stations


def _place(cells: dict[str, str]) -> dict[str, object]:
    """Return what a row of a summary tells of its station."""
    facts: dict[str, object] = {}
    for name in ("latitude", "longitude", "elevation"):
        try:
            facts[name] = float(cells.get(name.upper(), ""))
        except ValueError:
            continue
    if name := cells.get("NAME", "").strip():
        facts["site"] = shortened(name, 120)
    return facts


def _one_series(elements: dict[str, list[Entry]], unit: Unit, facts: dict, notes: list[str]) -> Readings:
    """Join rain by day with totals over several days and their number of days."""
    given = [e for e in elements.get("PRCP", ()) if e.value == e.value]
    own = {e.day for e in given if not e.quality}
    others = [e.day for e in (*given, *elements.get("MDPR", ()))]
    first, end = min(others), max(others)
    blank = [e for e in elements.get("PRCP", ()) if e.value != e.value and first < e.day < end]
    taken = {*others}
    rows = given + [e for e in blank if e.day not in taken]
    known = np.array(sorted(own), dtype="datetime64[D]")
    spans = {e.day: int(e.value) for e in elements.get("DAPR", ()) if not e.quality}
    total = [1] * len(rows)
    guessed = lost = 0
    last = None  # the day on which the total before this one ends
    for entry in sorted(elements.get("MDPR", ()), key=lambda e: e.day):
        day = entry.day.astype("datetime64[D]")
        if entry.day in own:
            lost += 1
            continue
        before = np.searchsorted(known, day)
        free = int((day - known[before - 1]).astype(int)) if before else LIMITS["longest_total"].value
        if last is not None:
            free = min(free, int((day - last).astype(int)))
        span = spans.get(entry.day, 0)
        if not span and before and free <= 31:
            span, guessed = free, guessed + 1
        if not 1 <= span <= free:
            lost += 1
            entry = entry._replace(quality="span")
        last = day
        rows.append(entry)
        total.append(max(span, 1))
    if guessed:
        notes.append(
            f"{plural(guessed, 'total')} of unstated length taken to cover the days since the last value"
        )
    if lost:
        notes.append(
            f"{plural(lost, 'total')} over several days left out: the days have values of their own, or the "
            "number of them is not given"
        )
    day, raw, measured, letters, sources, line = (np.array(column) for column in zip(*rows, strict=True))
    passed, trace = letters == "", measured == "T"
    wet = passed & (raw > 0)
    flag = np.where(np.isnan(raw), Flag.MISSING, Flag.MEASURED)
    if said := drop_codes(raw, flag, unit.factor)[0]:
        notes.append(said)
    rain = np.where(passed, np.where(trace, 0.0, unit.mm(raw)), np.nan)
    flag = np.where(passed, np.where(trace, Flag.TRACE, flag), Flag.REJECTED).astype(np.int8)
    loose = int((wet & (sources == "S")).sum())
    if not passed.all():
        shown = "".join(sorted({letter for letter in letters.tolist() if len(letter) == 1}))
        notes.append(
            f"{plural(int((~passed).sum()), 'value')} rejected (quality flags {shown}) set to unknown"
        )
    if presumed := int((passed & (measured == "P")).sum()):
        notes.append(f"{plural(presumed, 'zero')} that the source presumes (flag P) kept")
    if loose > 0.05 * wet.sum():
        notes.append(f"{plural(loose, 'wet day')} come from the source S, the least reliable one for rain")
    return Readings(day.astype("datetime64[s]"), rain, flag, np.array(total), line, facts, tuple(notes))
