"""Tables with a row a month and a column a day, or a row a day and a column a month."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from rainharvest.errors import InputError
from rainharvest.rainfall.flags import Flag
from rainharvest.rainfall.read_columns import WORDS, plain
from rainharvest.rainfall.read_dates import MONTHS, assemble, month_number
from rainharvest.rainfall.read_days import Readings, plural
from rainharvest.rainfall.read_layout import SEPARATORS, is_comment, split
from rainharvest.rainfall.read_plan import Hints, file_unit
from rainharvest.rainfall.read_preamble import Preamble, read_preamble
from rainharvest.rainfall.read_values import decimal_comma, numbers, positive_codes

_FILLERS = frozenset((0.0, 99.9, 999.0, 999.9, 8888.0, 9999.0))
"""What tables write into cells for days that do not exist, besides the missing codes."""


@dataclass(frozen=True)
class Wide:
    """Where a wide table's rows begin and what its columns are.

    Parameters
    ----------
    separator : str
        One of ``SEPARATORS``.
    names : tuple of str
        Column names; empty where the file has none.
    first_row : int
        Lines before the first row of data.
    year, month, day : int
        Places of those columns, -1 where there is none.
    cells : tuple of int
        Places of the value columns, in order of day or month.
    by_month : bool
        True for a row a month; False for a row a day with a column a month.
    preamble : tuple of str
        The lines above.
    """

    separator: str
    names: tuple[str, ...]
    first_row: int
    year: int
    month: int
    day: int
    cells: tuple[int, ...]
    by_month: bool
    preamble: tuple[str, ...]


def find_wide(lines: Sequence[str]) -> Wide | None:
    """Recognise a wide table by its header, or by rows of year, month and 28 to 31 values.

    Parameters
    ----------
    lines : sequence of str
        The first lines, without line ends.

    Returns
    -------
    Wide or None
    """
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
    """Read a wide table.

    Parameters
    ----------
    table : Wide
        The layout.
    lines : iterable of str
        All lines of the file.
    hints : Hints
        The caller's arguments.

    Returns
    -------
    Readings

    Raises
    ------
    InputError
        If a row cannot be placed in the calendar, a day that does not exist has rain, or the unit is unknown.
    """
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
    from rainharvest.rainfall.read_units import unit_in_name

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
