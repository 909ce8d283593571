"""A table's layout from its first lines: separator, header, the lines above it, rows that do not fit."""

from __future__ import annotations

import csv
import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np

from rainharvest.core.errors import InputError, shortened
from rainharvest.rainfall.read_columns import Unit, date_columns, is_rain, parse_unit, plain, words_of
from rainharvest.rainfall.read_values import assemble, find_form, has_digit, month_number
from rainharvest.rainfall.refusals import refusal, refuse_unless

SEPARATORS = (";", "\t", ",", "|", " ")

COMMENTS = ("#", "!", "%", "//")


@dataclass(frozen=True)
class Table:
    """Where a table's rows begin and how they are split."""

    separator: str  # One of ``SEPARATORS``; a blank stands for any run of blanks
    names: tuple[str, ...]  # Column names; "column 1" and so on where the file has no header
    # Places of the date's columns, and what they are (see ``read_columns.Roles``)
    date: tuple[tuple[int, ...], str]
    first_row: int  # Number of lines before the first row of data
    unit_row: tuple[str, ...] = ()  # Cells of a row of units under the header, if there is one
    headed: bool = True  # Whether the file names its columns
    preamble: tuple[str, ...] = ()  # Lines before the rows that are no header
    # How sure: 2 where the header names the date, 1 where a row looks dated, 0 without a header; then the
    # lines of the sample that fit
    score: tuple[int, int] = (0, 0)


def split(line: str, separator: str) -> list[str]:
    """Return the stripped cells of a line."""
    if separator == " ":
        return [cell.strip('"') for cell in line.split()]
    try:
        row = next(csv.reader([line], delimiter=separator, skipinitialspace=True), [])
        return [cell.strip() for cell in row]
    except csv.Error:
        return []


def split_rows(
    numbered: Iterable[tuple[int, str]], separator: str, **form: bool
) -> Iterator[tuple[int, list[str]]]:
    """Split numbered lines into cells, a line a row: a cell that runs on would swallow the days below it."""
    begun = at = 0

    def texts() -> Iterator[str]:
        nonlocal begun, at
        for at, line in numbered:
            begun = begun or at
            yield line
        yield ""  # so that a quote mark open on the last line runs on as well

    reader, read = csv.reader(texts(), delimiter=separator, **form), 0
    try:
        for row in reader:
            read += 1
            refuse_unless(reader.line_num == read, "quote_mark", line=begun)
            if row:
                yield at, row
            begun = 0
    except csv.Error as error:
        raise refusal("unsplit_row", error=error, line=begun) from None


def is_comment(line: str) -> bool:
    """Tell whether a line is a remark rather than a row."""
    return line.lstrip().startswith(COMMENTS)


def _dated(cells: Sequence[str], where: Sequence[int], parts: str) -> bool:
    """Tell whether a row has a date in these columns."""
    if max(where) >= len(cells):
        return False
    if parts.startswith("date"):
        try:
            return find_form([cells[where[0]]], True) is not None
        except InputError:
            return True
    year, *rest = (cells[i].removesuffix(".0") for i in where)
    month, day = (rest[0], rest[1]) if "month" in parts else ("", rest[0])
    if not all(re.fullmatch(r"[0-9]{1,4}", number) for number in (year, day)):
        return False
    number = 0 if not month else month_number(month) or 13
    return not np.isnat(assemble(int(year), number, int(day)))


def find_table(lines: Sequence[str]) -> Table | None:
    """Find the table of days in a file's first lines."""
    best = None
    for separator in SEPARATORS:
        cells = [split(line, separator) for line in lines]
        table = _headed(lines, cells, separator) or _bare(lines, cells, separator)
        if table and (best is None or table.score > best.score):
            best = table
    return best


def _headed(lines, rows, separator) -> Table | None:
    """Find a header that names a date, or else words above a row that begins like one."""
    heads = [(i, _names(lines[i], cells, separator)) for i, cells in enumerate(rows)]
    heads = [(i, names) for i, names in heads if len(names) > 1 and not any(map(_NO_NAME.search, names))]
    found = (
        _under(lines, rows, separator, i, names, choose)
        for choose in (_by_name, _by_look)
        for i, names in heads
    )
    return next(filter(None, found), None)


# What no header has: bare numbers and dates.
_NO_NAME = re.compile(r"^[-+]?[\d.,]+$|\d{2,4}[-/.]\d{1,2}[-/.]\d")


def _names(line: str, cells: list[str], separator: str) -> list[str]:
    names = [*cells]
    if names and is_comment(line):  # a header may hide behind a comment sign
        names[0] = names[0].lstrip("#!% ")
        names = names[1:] if not names[0] and separator == " " else names
    return _with_units(names) if separator == " " else names


def _under(lines, rows, separator, i: int, names: list[str], choose) -> Table | None:
    """Return the table under the header in line ``i``, if a row with a date follows within five lines."""
    for j in range(i + 1, min(i + 6, len(rows))):
        if not rows[j] or is_comment(lines[j]):
            continue
        # a table written with row names has one cell more in its rows than in its header
        shift = len(rows[j]) == len(names) + 1 and rows[j][-1] != "" and separator != " "
        between = [k for k in range(i + 1, j) if len(rows[k]) >= max(2, len(names) - 1)]
        for header in (names, ["row", *names]) if shift else (names,):
            date = next((d for d in choose(header, rows[j]) if _dated(rows[j], *d)), None)
            torn = separator == " " and len(rows[j]) != len(header)
            # a row with numbers is no row of units: its date is wrong, and the reading will say so
            first = next((k for k in between if _has_number(rows[k])), j)
            if date is None or (torn and max(date[0]) + 1 >= len(rows[j])):
                continue
            # words below rows like those that follow are a damaged row and no header
            alike = (r for r in rows[:i] if len(r) == len(rows[j]) and _has_number(r))
            if choose is _by_look and any(_dated(r, *date) for r in alike):
                return None
            units = [k for k in between if k < first]
            preamble = [lines[k] for k in range(first) if k != i and k not in units]
            score = (1 + (choose is _by_name), sum(abs(len(r) - len(header)) <= 1 for r in rows[j:]))
            row = tuple(rows[units[-1]]) if units else ()
            return Table(separator, tuple(header), date, first, row, True, tuple(preamble), score)
        if choose is _by_look and between:
            return None
    return None


def _has_number(cells: list[str]) -> bool:
    return any(re.fullmatch(r"[-+]?[0-9.,]*[0-9][0-9.,]*", cell) for cell in cells)


def _by_name(names: list[str], row: list[str]) -> list[tuple[tuple[int, ...], str]]:
    return date_columns(names)


def _by_look(names: list[str], row: list[str]) -> list[tuple[tuple[int, ...], str]]:
    words = len(names) == len(row) and all(re.search(r"[^\W\d_]", n) for n in names)
    return _likely_dates(row) if words else []


def _likely_dates(row: list[str]) -> list[tuple[tuple[int, ...], str]]:
    """Return the cells that may be a date; a bare number is one only where it is eight digits long."""
    return [((k,), "date") for k, cell in enumerate(row) if not cell.isdigit() or len(cell) == 8]


def undated(lines: Sequence[str]) -> tuple[str, str]:
    """Return the column that names a date and the cell under it that is none, for an error; else blanks."""
    for separator in SEPARATORS:
        rows = [split(line, separator) for line in lines]
        for names, row in pairwise(r for r in rows if r):
            for where, parts in date_columns(names) if len(names) > 1 else ():
                if parts.startswith("date") and len(row) == len(names) and row[where[0]]:
                    return names[where[0]], row[where[0]]
    return "", ""


def _with_units(names: list[str]) -> list[str]:
    """Join "Rain" and "(mm)" that blanks tore apart."""
    out: list[str] = []
    for name in names:
        if out and name[:1] in "([" and parse_unit(name):
            out[-1] += f" {name}"
        else:
            out.append(name)
    return out


def _bare(lines, rows, separator) -> Table | None:
    """Find a table without a header by the first row with a date in it."""
    for i, cells in enumerate(rows):
        if len(cells) < 2 or is_comment(lines[i]):
            continue
        dates = _likely_dates(cells[:-1][:4])
        if len(cells) > 3:
            dates += [((0, 1, 2), "year month day"), ((2, 1, 0), "year month day")]
        if len(cells) > 2 and _counts_days(rows[i:], len(cells)):
            dates.insert(0, ((0, 1), "year doy"))
        date = next((d for d in dates if _dated(cells, *d)), None)
        while date and i and len(rows[i - 1]) == len(cells) and _has_number(rows[i - 1][-1:]):
            i -= 1  # a row like the others whose date is wrong: the reading will say so
        if date:
            score = (0, sum(len(r) == len(cells) for r in rows[i:]))
            names = tuple(f"column {k + 1}" for k in range(len(cells)))
            return Table(separator, names, date, i, (), False, tuple(lines[:i]), score)
    return None


def _counts_days(rows, width: int) -> bool:
    """Tell whether the second cells are consecutive days of the year rather than months."""
    days = [int(r[1]) for r in rows if len(r) == width and re.fullmatch(r"[0-9]{1,3}", r[1])]
    return len(days) > 2 and max(days) > 12 and all(b - a == 1 or b == 1 for a, b in pairwise(days))


_ENTRY = re.compile(r"[\s#!%*;/\"'<>$-]*([^\W\d_][\w ./()°-]{0,40}?)[\s\"']*[:=;,\t][\s\"']*(.+)")

_ROLE = words_of("preamble")

_TOLD = 1000  # letters of a line above the table that are looked at; patterns take long over endless ones

# Numbers beyond which these are no such thing.
_FARTHEST = {"latitude": 90, "longitude": 360, "elevation": 9000}


@dataclass(frozen=True)
class Preamble:
    """What the lines above a table say."""

    facts: dict[str, object] = field(default_factory=dict)  # latitude, longitude, elevation, site
    unit: Unit | None = None  # The unit of rain
    titled: Unit | None = None  # The unit of rain that a title gives in passing ("daily rainfall in mm")
    missing: tuple[float, ...] = ()  # Numbers declared to be codes
    trace: tuple[float, ...] = ()  # Numbers declared to be codes
    year: int = 0  # A year given once for the whole table; 0 if none


def _number(text: str) -> float | None:
    found = re.search(r"[-+−]?\d+(?:[.,]\d+)?", text)
    if not found:
        return None
    number = float(found[0].replace(",", ".").replace("−", "-"))
    return -number if re.match(r"\s*°?\s*[SW]\b", text[found.end() :]) and number > 0 else number


def read_preamble(lines: Sequence[str]) -> Preamble:
    """Pick up what the lines above a table say: place, unit, missing codes.

    >>> p = read_preamble(["# latitude: -33.1", "# unit: 0.1 mm", "# missing: -1"])
    >>> p.facts, p.unit.factor, p.missing
    ({'latitude': -33.1}, 0.1, (-1.0,))
    """
    facts: dict[str, object] = {}
    unit, year = None, 0
    codes: dict[str, tuple[float, ...]] = {"missing": (), "trace": ()}
    for line in lines:
        found = _ENTRY.match(line[:_TOLD])
        role = found and _ROLE.get(plain(found[1]).replace(" ", "_"))
        if not role:
            continue
        value = found[2].strip().strip("\"';,").strip()
        number = _number(value)
        if role == "unit":
            unit = unit or parse_unit(value)
        elif role in codes:
            codes[role] += tuple(float(n) for n in re.findall(r"[-+]?\d+(?:\.\d+)?", value))
        elif role == "year":
            year = int(number or 0)
        elif role == "site":
            facts.setdefault("site", shortened(re.split(r"[,;]\s*\w+\s*[:=]", value)[0].strip(), 120))
        elif number is not None and abs(number) <= _FARTHEST[role]:
            facts.setdefault(role, number)
    titles = {found for found in map(_unit_in_title, lines) if found}
    titled = titles.pop() if len(titles) == 1 else None
    return Preamble(facts, unit, titled, codes["missing"], codes["trace"], year)


def _unit_in_title(line: str) -> Unit | None:
    """Return the unit that a line about rain names in brackets or after "in", a comma or a dash.

    >>> _unit_in_title("Daily rainfall in mm, Hilltop School").factor
    1.0
    """
    if len(line) > 200 or not is_rain(line):  # a title is short
        return None
    said = re.findall(
        r"[(\[]([^)\]]+)[)\]]|(?:\bin|[,=:–-])\s+([\w./]+(?: of [\w./]+)*)", line, re.IGNORECASE
    )
    parts = [re.sub("^in ", "", (inside or after).strip(" ."), flags=re.IGNORECASE) for inside, after in said]
    words = line.split()
    parts += [" ".join(words[-count:]) for count in (4, 3, 2)]
    parts += [words[-1]] if not has_digit(" ".join(words[-2:])) else []  # a gauge of 203 mm is no unit
    return next((unit for unit in map(parse_unit, parts) if unit and len(unit.text) > 1), None)


def unit_in_preamble(lines: Sequence[str], name: str) -> tuple[Unit | None, tuple[float, ...]]:
    """Find a line that explains the column: its unit, and the number that stands for a trace.

    >>> unit, trace = unit_in_preamble(["RH = Daily amount (in 0.1 mm) (-1 for <0.05 mm)"], "RH")
    >>> unit.factor, trace
    (0.1, (-1.0,))
    """
    for line in lines:
        pattern = rf"[\s#!%*;]*{re.escape(name.strip())}\s*(?:[:=]|\s-\s)(.+)"
        found = re.match(pattern, line[:_TOLD], re.IGNORECASE)
        if not found or not name.strip():
            continue
        inside = [part.removeprefix("in ") for part in re.findall(r"[(\[]([^)\]]+)[)\]]", found[1])]
        inside += re.findall(r"(0[.,]1 mm|tenths of (?:a )?(?:mm|millimet\w+))", found[1])
        unit = next((u for u in map(parse_unit, inside) if u), None)
        trace = re.search(r"(-\d+)\s+(?:for|=|means)\s*<\s*0[.,]\d", found[1])
        return unit, (float(trace[1]),) if trace else ()
    return None, ()
