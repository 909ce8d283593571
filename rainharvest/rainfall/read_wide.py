"""Tables with a row a month or a column a month, and the station files that share their shape."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from rainharvest.rainfall.read_columns import places_of, plain, unit_in_name
from rainharvest.rainfall.read_days import Readings
from rainharvest.rainfall.read_layout import SEPARATORS, Preamble, is_comment, read_preamble, split
from rainharvest.rainfall.read_rows import Hints, file_unit
from rainharvest.rainfall.read_values import (
    MONTHS,
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
    refuse_odd,
)
from rainharvest.rainfall.refusals import refuse_unless


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
    refuse_unless(rows, "no_rows")
    cells = [cell for _, _, row in rows for cell in row]
    days = np.concatenate([day for _, day, _ in rows])
    line = np.repeat([number for number, _, _ in rows], [len(day) for _, day, _ in rows])
    comma = decimal_comma(cells, table.separator)
    values, flags, marked, odd = numbers(cells, comma, preamble.missing, preamble.trace)
    refuse_odd(odd, cells, line)
    drop_codes(values, flags, unit.factor, notes, preamble.missing)
    real = ~np.isnat(days)
    rain = ~real & ~np.isnan(values) & ~np.isin(values, READING["cells"]["fillers"])
    at = int(rain.argmax())
    refuse_unless(not rain.any(), "no_such_day", cell=cells[at], line=line[at])
    if marked.any():
        notes.append(f"{plural(int(marked.sum()), 'value')} that the source marks with a sign kept")
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
                refuse_unless(sums, "no_year", text=text, place=place)
                continue
            year = int(text)
        refuse_unless(year, "no_year_at_all", place=place)
        text = _cell(row, table.part)
        part = month_number(text) if table.by_month else int(text) if re.fullmatch(r"[0-3]?\d", text) else 0
        if not part:
            what = "month" if table.by_month else "day"
            refuse_unless(not has_digit(text), "no_part_of_date", text=text, part=what, place=place)
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
        refuse_unless(given >= real.sum(), "short_month", count=given, days=real.sum(), place=place)
        return cells
    # short months close up to the left: 30 and 31 have fewer cells
    refuse_unless(given == real.sum(), "few_values", place=place)
    packed = iter(row[table.cells[0] :])
    return [next(packed) if there else "" for there in real]
