"""Tables with a row a month or a column a month, and the station files that share their shape."""

from __future__ import annotations

import csv
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from rainharvest.core.errors import InputError
from rainharvest.rainfall.flags import Flag
from rainharvest.rainfall.read_columns import WORDS, Unit, asked_unit, plain
from rainharvest.rainfall.read_days import Entry, Readings, join_elements
from rainharvest.rainfall.read_layout import SEPARATORS, Preamble, is_comment, read_preamble, split
from rainharvest.rainfall.read_rows import Hints, file_unit
from rainharvest.rainfall.read_values import (
    MONTHS,
    assemble,
    decimal_comma,
    month_number,
    numbers,
    plural,
    positive_codes,
)

_FILLERS = frozenset((0.0, 99.9, 999.0, 999.9, 8888.0, 9999.0))

"""What tables write into cells for days that do not exist, besides the missing codes."""


@dataclass(frozen=True)
class Wide:
    """Where a wide table's rows begin and what its columns are."""

    separator: str  # One of ``SEPARATORS``
    names: tuple[str, ...]  # Column names; empty where the file has none
    first_row: int  # Lines before the first row of data
    year: int  # Places of those columns, -1 where there is none
    month: int  # Places of those columns, -1 where there is none
    day: int  # Places of those columns, -1 where there is none
    cells: tuple[int, ...]  # Places of the value columns, in order of day or month
    by_month: bool  # True for a row a month; False for a row a day with a column a month
    preamble: tuple[str, ...]  # The lines above


def find_wide(lines: Sequence[str]) -> Wide | None:
    """Recognise a wide table by its header, or by rows of year, month and 28 to 31 values."""
    for separator in SEPARATORS:
        for i, line in enumerate(lines):
            names = split(line.lstrip("#! ") if is_comment(line) else line, separator)
            if len(names) < 13:
                continue
            found = _by_header(names)
            if found:
                return Wide(separator, tuple(names), i + 1, *found, tuple(lines[:i]))
        found = _without_header(lines, separator)
        if found:
            return found
    return None


def _role(names: Sequence[str], role: str) -> int:
    return next((i for i, n in enumerate(names) if plain(n) in WORDS[role]), -1)


def _by_header(names: Sequence[str]):
    days = {}
    for i, name in enumerate(names):
        if found := re.fullmatch(r"(?:day|d|val|value|v|p|r|rain|)[ _]?0*([1-9]|[12]\d|3[01])", plain(name)):
            days.setdefault(int(found[1]), i)
    year, month = _role(names, "year"), _role(names, "month")
    if month < 0 and "mm" in map(plain, names) and year >= 0:
        month = [plain(n) for n in names].index("mm")
    if set(range(1, 32)) <= set(days) and month >= 0:
        return year, month, -1, tuple(days[d] for d in range(1, 32)), True
    months = {}
    for i, name in enumerate(names):
        if plain(name)[:3] in MONTHS or plain(name) in MONTHS:
            months.setdefault(month_number(name), i)
    day = _role(names, "day")
    if set(months) >= set(range(1, 13)) and day >= 0:
        return year, -1, day, tuple(months[m] for m in range(1, 13)), False
    return None


def _without_header(lines: Sequence[str], separator: str) -> Wide | None:
    """Take rows of [station,] year, month, values for a table, if the first two of them are so."""
    seen = []
    for i, line in enumerate(lines):
        cells = split(line, separator)
        if is_comment(line) or not cells:
            continue
        for lead in (0, 1):
            year, month = (cells[lead : lead + 2] + ["", ""])[:2]
            if (
                re.fullmatch(r"[12]\d{3}", year)
                and 1 <= month_number(month) <= 12
                and 28 <= len(cells) - lead - 2 <= 32
            ):
                seen.append((i, lead))
                break
        else:
            if seen:
                return None
        if len(seen) == 2 or (seen and i == len(lines) - 1):
            i, lead = seen[0]
            return Wide(
                separator,
                (),
                i,
                lead,
                lead + 1,
                -1,
                tuple(range(lead + 2, lead + 33)),
                True,
                tuple(lines[:i]),
            )
    return None


def read_wide(table: Wide, lines: Iterable[str], hints: Hints) -> Readings:
    """Read a wide table."""
    preamble = read_preamble(table.preamble)
    notes: list[str] = []
    unit = file_unit(hints, [_named_unit(table)], preamble, "the daily values", notes)
    rows = _rows(table, lines, preamble)
    if not rows:
        raise InputError("the file has no rows of data", "check that this is the file meant")
    cells = [cell for _, _, row in rows for cell in row]
    days = np.concatenate([day for _, day, _ in rows])
    line = np.repeat([number for number, _, _ in rows], [len(day) for _, day, _ in rows])
    comma = (table.separator != " " or not any("." in c for c in cells)) and decimal_comma(cells)
    values, flags, marked, bad = numbers(cells, comma, preamble.missing, preamble.trace)
    if bad >= 0:
        raise InputError(
            f"{cells[bad]!r} is no amount of rain", "correct it, or blank it if unknown", f"line {line[bad]}"
        )
    if codes := positive_codes(values, unit.factor):
        coded = np.isin(values, codes)
        values[coded], flags[coded] = np.nan, Flag.MISSING
        notes.append(f"{', '.join(f'{c:g}' for c in codes)} taken for a missing code")
    real = ~np.isnat(days)
    rain = ~real & ~np.isnan(values) & ~np.isin(values, list(_FILLERS))
    if rain.any():
        at = int(np.flatnonzero(rain)[0])
        raise InputError(
            f"{cells[at]} stands on a day that does not exist",
            "check that the columns are in order",
            f"line {line[at]}",
        )
    if marked:
        notes.append(f"{plural(marked, 'value')} that the source marks with a sign kept")
    one = np.ones(int(real.sum()), dtype=np.int64)
    return Readings(
        days[real], unit.mm(values[real]), flags[real], one, line[real], preamble.facts, tuple(notes)
    )


def _named_unit(table: Wide):
    from rainharvest.rainfall.read_columns import unit_in_name

    return next((u for n in table.names if not re.search(r"\d", n) for u in [unit_in_name(n)] if u), None)


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
            text = (row[table.year] if len(row) > table.year else "").removesuffix(".0")
            if not re.fullmatch(r"[12]\d{3}", text):
                if not any(ch.isdigit() for ch in "".join(row[: table.cells[0]])):
                    continue  # sums and means under a block
                raise InputError(f"{text!r} is no year", "write it with four digits", place)
            year = int(text)
        if not year:
            raise InputError(
                "the table names no year", "add a column Year, or a line 'year: 1990' above it", place
            )
        index = table.month if table.by_month else table.day
        text = row[index].removesuffix(".0") if len(row) > index else ""
        part = month_number(text) if table.by_month else (int(text) if re.fullmatch(r"[0-3]?\d", text) else 0)
        if not part:
            if not any(ch.isdigit() for ch in text):
                continue
            raise InputError(f"{text!r} is no {'month' if table.by_month else 'day'}", "correct it", place)
        if table.by_month:
            days = assemble(np.full(31, year), np.full(31, part), np.arange(1, 32))
        else:
            days = assemble(np.full(12, year), np.arange(1, 13), np.full(12, part))
        out.append((number, days, _cells(row, table, days, place)))
    return out


def _cells(row: list[str], table: Wide, days: np.ndarray, place: str) -> list[str]:
    """Return the cells of the days; where blanks separate, a short row cannot be told from a gap."""
    cells = [row[i] if len(row) > i else "" for i in table.cells]
    if table.separator == " " and table.by_month:
        length = int((~np.isnat(days)).sum())
        if len(row) - table.cells[0] < length:
            raise InputError(
                f"the row has {len(row) - table.cells[0]} values for a month of {length} days",
                "separate the values with commas, or write a code such as -9999 for missing days",
                place,
            )
    if table.separator == " " and not table.by_month and len(row) - table.cells[0] < len(days):
        # short months close up to the left: 30 and 31 have fewer cells
        real = np.flatnonzero(~np.isnat(days))
        if len(row) - table.cells[0] != len(real):
            raise InputError("the row has too few values", "separate the values with commas", place)
        packed = iter(row[table.cells[0] :])
        cells = [next(packed) if i in real else "" for i in range(len(days))]
    return cells


TENTHS = Unit("0.1 mm", 0.1)

HUNDREDTHS = Unit("0.01 in", 0.254)


_MONTHLY = re.compile(
    r"(?P<id>[A-Z]{2}[A-Z0-9_-]{9}|\d{6})(?P<ym>[12]\d{3}(?:0[1-9]|1[0-2]))[A-Z]{3}[A-Z0-9][ \d-]{4}\d"
)

_LONG = re.compile(r"[A-Z]{2}[A-Z0-9_-]{9},[12]\d{7},[A-Z]{3}[A-Z0-9],\s*-?\d+,")

ELEMENTS = ("PRCP", "MDPR", "DAPR")


def find_ghcn(lines: Sequence[str]) -> str:
    """Return which of the forms a file has: "monthly", "long", "summaries" or ""."""
    for line in lines[:50]:
        if _MONTHLY.match(line):
            return "monthly"
        if _LONG.match(line.replace('"', "")):
            return "long"
        names = [n.upper() for n in split(line, ",")]
        if {"STATION", "DATE", "PRCP", "PRCP_ATTRIBUTES"} <= set(names):
            return "summaries"
    return ""


def read_ghcn(form: str, lines: Iterable[str], hints: Hints) -> Readings:
    """Read GHCN-Daily text."""
    facts: dict[str, object] = {}
    notes: list[str] = []
    if form == "monthly":
        stations, unit = _monthly(lines)
    elif form == "long":
        stations, unit = _long(lines, hints), TENTHS
    else:
        stations, unit = _summaries(lines, hints, facts, notes)
    station = _station(stations, hints)
    if asked := asked_unit(hints.units):
        notes.append(f"rain was read in {asked.text}, as asked; the layout prescribes {unit.text}")
        unit = asked
    elements = stations[station]
    if not any(elements.get(e) for e in ("PRCP", "MDPR")):
        raise InputError(
            "the file has no rain (elements PRCP, MDPR)", "order the element PRCP for this station"
        )
    facts.setdefault("site", station)
    return join_elements(elements, unit, facts, notes)


def _station(stations: dict[str, dict], hints: Hints) -> str:
    if hints.at is not None:
        found = [s for s in stations if s.lower() == str(hints.at).strip().lower()]
        if not found:
            raise InputError(
                f"no station is called {hints.at!r}", f"name one of: {', '.join([*stations][:12])}", "at"
            )
        return found[0]
    if not stations:
        raise InputError("the file has no rain (elements PRCP, MDPR)", "order the element PRCP")
    if len(stations) > 1:
        shown = ", ".join([*stations][:12])
        raise InputError(
            f"the file holds more than one station: {shown}", "say which with at=, by its name", "at"
        )
    return next(iter(stations))


def _wanted(station: str, hints: Hints) -> bool:
    return hints.at is None or station.lower() == str(hints.at).strip().lower()


def _monthly(lines: Iterable[str]) -> tuple[dict, Unit]:
    """Read a line a month and element: 31 times a value of five places and three flags."""
    stations: dict[str, dict[str, list[Entry]]] = {}
    unit = TENTHS
    for number, raw in enumerate(lines, 1):
        line = raw.rstrip("\r\n")
        found = _MONTHLY.match(line)
        if not found:
            if line.strip():
                raise InputError(
                    "the line is no month of a station", "restore or remove it", f"line {number}"
                )
            continue
        start = len(found["id"]) + 6
        unit = HUNDREDTHS if len(found["id"]) == 6 else TENTHS
        element = line[start : start + 4]
        if element not in ELEMENTS:
            continue
        year, month = int(found["ym"][:4]), int(found["ym"][4:])
        days = assemble(np.full(31, year), np.full(31, month), np.arange(1, 32))
        entries = stations.setdefault(found["id"], {}).setdefault(element, [])
        line = line.ljust(start + 4 + 31 * 8)  # editors strip the blanks at the end
        for k, day in enumerate(days):
            text = line[start + 4 + 8 * k :][:8]
            value = text[:5].strip()
            if not re.fullmatch(r"-?\d+", value or "-9999"):
                raise InputError(f"{value!r} is no value", "restore the line", f"line {number}, day {k + 1}")
            if value in ("", "-9999", "-99999"):
                continue
            if np.isnat(day):
                raise InputError(
                    f"{year}-{month:02d} has no day {k + 1}, yet a value",
                    "restore the line",
                    f"line {number}",
                )
            entries.append((day, float(value), text[5].strip(), text[6].strip(), text[7].strip(), number))
    return stations, unit


def _long(lines: Iterable[str], hints: Hints) -> dict:
    """Read a line a day and element."""
    stations: dict[str, dict[str, list[Entry]]] = {}
    for number, line in enumerate(lines, 1):
        cells = line.rstrip("\r\n").replace('"', "").split(",")
        if len(cells) < 4 or cells[2] not in ELEMENTS or not _wanted(cells[0], hints):
            if number > 1 and line.strip() and not _LONG.match(line.replace('"', "")):
                raise InputError("the line is no day of a station", "restore or remove it", f"line {number}")
            continue
        date = cells[1].strip()
        day = (
            assemble(*(int(d) for d in (date[:4], date[4:6], date[6:])))
            if re.fullmatch(r"\d{8}", date)
            else np.datetime64("NaT")
        )
        if np.isnat(day) or not re.fullmatch(r"\s*-?\d{1,7}\s*", cells[3]):
            raise InputError(f"{date}, {cells[3]} are no day and value", "restore the line", f"line {number}")
        if hints.at is None and len(stations) > 12:  # a year of all stations: stop before it fills the memory
            break
        flags = [c.strip() for c in (*cells[4:7], "", "", "")][:3]
        entries = stations.setdefault(cells[0], {}).setdefault(cells[2], [])
        if int(cells[3]) != -9999:
            entries.append((day[()], float(cells[3]), *flags, number))
    return stations


def _summaries(lines: Iterable[str], hints: Hints, facts: dict, notes: list[str]) -> tuple[dict, Unit]:
    """Read a line a day with a column an element; tenths of mm only where the padding says so."""
    stations: dict[str, dict[str, list[Entry]]] = {}
    reader = csv.reader(lines)
    names: list[str] = []
    padded, whole = False, True
    try:
        for row in reader:
            if not names:
                names = [n.strip().upper() for n in row]
                if "PRCP_ATTRIBUTES" not in names:
                    names = []
                continue
            cells = dict(zip(names, row, strict=False))
            station = cells.get("STATION", "").strip()
            if not any(c.strip() for c in row) or not _wanted(station, hints):
                continue
            date = cells.get("DATE", "").strip()
            parts = re.fullmatch(r"(\d{4})-(\d\d)-(\d\d)", date)
            day = assemble(*map(int, parts.groups()))[()] if parts else np.datetime64("NaT")
            if np.isnat(day):
                raise InputError(f"{date!r} is no date", "write it as 1990-01-31", f"line {reader.line_num}")
            elements = stations.setdefault(station, {})
            for element in ELEMENTS:
                raw = cells.get(element, "")
                text = raw.strip()
                if not text or text in ("-9999", "9999"):
                    continue
                if not re.fullmatch(r"-?(\d+\.?\d*|\.\d+)", text):
                    raise InputError(
                        f"{text!r} is no value", "correct it", f"line {reader.line_num}, column {element}"
                    )
                if element == "PRCP":
                    padded |= raw != text
                    whole &= "." not in text
                flags = [*(c.strip() for c in cells.get(f"{element}_ATTRIBUTES", "").split(",")), "", "", ""][
                    :3
                ]
                elements.setdefault(element, []).append((day, float(text), *flags, reader.line_num))
            if not facts:
                facts |= _place(cells)
    except csv.Error as error:
        raise InputError(
            f"the row cannot be split ({error})", "restore it", f"line {reader.line_num}"
        ) from None
    if hints.units is None and not (padded and whole):
        raise InputError(
            "the unit of 'PRCP' is not stated: an order comes in mm or inches, as its maker chose",
            "say units='mm', units='in' or units='0.1 mm'",
            "units",
        )
    if hints.units is None:
        notes.append(
            "PRCP is padded whole numbers, as in the archive's own files, and was read in tenths of mm"
        )
    return stations, TENTHS


def _place(cells: dict[str, str]) -> dict[str, object]:
    facts: dict[str, object] = {}
    for name in ("latitude", "longitude", "elevation"):
        try:
            facts[name] = float(cells.get(name.upper(), ""))
        except ValueError:
            continue
    if name := cells.get("NAME", "").strip():
        facts["site"] = name
    return facts
