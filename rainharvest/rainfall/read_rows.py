"""Tables with a row a day (or an hour, or a minute): how they are to be read, and the readings."""

from __future__ import annotations

import csv
import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from rainharvest.core.errors import InputError
from rainharvest.rainfall.flags import Flag
from rainharvest.rainfall.read_columns import Roles, Unit, asked_unit, parse_unit, plain, roles, unit_in_name
from rainharvest.rainfall.read_days import LONGEST_TOTAL, Readings, refuse_apart, usual_step
from rainharvest.rainfall.read_layout import (
    Preamble,
    Table,
    is_comment,
    read_preamble,
    split,
    unit_in_preamble,
)
from rainharvest.rainfall.read_values import (
    DateForm,
    apply_quality,
    assemble,
    clock_seconds,
    decimal_comma,
    factorize,
    find_form,
    month_number,
    numbers,
    plural,
    positive_codes,
)


@dataclass(frozen=True)
class Hints:
    """What the caller says where the file leaves doubt."""

    column: str | None = None
    units: str | None = None
    day_first: bool | None = None
    at: object = None
    blank_is_zero: bool | None = None


@dataclass(frozen=True)
class Plan:
    """How the rows are read, settled on the first chunk."""

    form: DateForm | None
    unit: Unit
    comma: bool
    clock: bool
    missing: tuple[float, ...]
    trace: tuple[float, ...]
    notes: tuple[str, ...]
    step: float = 0.0
    stamp_ends: bool = False


def column_cells(rows: Sequence[Sequence[str]], place: int) -> list[str]:
    """Return one column of rows that may be short."""
    return [row[place].strip() if len(row) > place else "" for row in rows]


def settle(rows, table: Table, role: Roles, preamble: Preamble, hints: Hints, fixed: Unit | None) -> Plan:
    """Decide unit, decimals and date form on the first chunk; doubt raises."""
    notes: list[str] = []
    name = table.names[role.rain]
    if not table.headed:
        notes.append(f"the file names no columns; {name} was taken for the rain")
    explained, trace = unit_in_preamble(table.preamble, name)
    under = table.unit_row[role.rain] if len(table.unit_row) > role.rain else ""
    stated = [fixed] if fixed else [unit_in_name(name), parse_unit(under), explained]
    unit = file_unit(hints, stated, preamble, name, notes)
    comma = table.separator != " " or not any("." in c for c in column_cells(rows, role.rain))
    comma = comma and decimal_comma(column_cells(rows, role.rain))
    if comma:
        notes.append("decimals are written with a comma")
    form, clock = None, role.parts == "date clock"
    if role.parts.startswith("date"):
        cells = column_cells(rows, role.date[0])
        dated = [c for c in cells if any(ch.isdigit() for ch in c)]
        if clock:
            times = column_cells(rows, role.date[1])
            clock = ":" in next((t for t in times if t), "")
        form = find_form(dated, hints.day_first)
        if form is None:
            raise InputError(
                f"{(dated or cells or [''])[0]!r} is no date",
                "write dates as 1990-01-31",
                f"column {table.names[role.date[0]]!r}",
            )
        notes += form.notes
        if form.zone:
            notes.append(
                f"the times carry the offset {form.zone} and were taken for the local clock as they stand"
            )
    ends = ends_at_24(rows, role)
    if ends:
        notes.append("an hour 24 occurs, so that stamps are the end of each reading")
    trace = (*preamble.trace, *trace)
    return Plan(form, unit, comma, clock, preamble.missing, trace, tuple(notes), stamp_ends=ends)


def file_unit(
    hints: Hints, stated: Sequence[Unit | None], preamble: Preamble, name: str, notes: list[str]
) -> Unit:
    """Return the unit that the caller, the columns or the preamble settle."""
    asked = asked_unit(hints.units)
    found = [u for u in (*stated, preamble.unit) if u]
    if asked:
        notes.append(f"rain was read in {asked.text}, as asked")
        if found and found[0].factor != asked.factor:
            notes.append(f"the file itself says {found[0].text}")
        return asked
    if not found:
        raise InputError(
            f"the unit of {name!r} is not stated", "say units='mm' (or '0.1 mm', 'in', ...)", "units"
        )
    if other := next((u for u in found if u.factor != found[0].factor), None):
        raise InputError(
            f"the unit of {name!r} is stated as {found[0].text} and as {other.text}",
            "say which with units=",
            "units",
        )
    return found[0]


def stamps_of(rows, role: Roles, plan: Plan) -> np.ndarray:
    """Return the moment of each row, NaT where it has no date."""
    if plan.form:
        stamps = plan.form.read(column_cells(rows, role.date[0]))
        return stamps + clock_seconds(column_cells(rows, role.date[1])) if plan.clock else stamps
    parts = [
        integers(column_cells(rows, i), word) for i, word in zip(role.date, role.parts.split(), strict=True)
    ]
    if role.parts.startswith("year doy"):
        year, day, *time = parts
        month = np.zeros_like(year)
    else:
        year, month, day, *time = parts
        month = np.where(month == 0, 13, month)
    seconds = sum((t * s for t, s in zip(time, (3600, 60), strict=False)), np.zeros_like(year))
    return assemble(year, month, day, seconds)


def ends_at_24(rows, role: Roles) -> bool:
    """Tell whether an hour 24 occurs: then stamps are the end of each reading."""
    if "hour" in role.parts:
        place = role.date[role.parts.split().index("hour")]
        return "24" in {cell.removesuffix(".0") for cell in column_cells(rows, place)}
    if not role.parts.startswith("date"):
        return False
    cells = (cell for place in role.date for cell in column_cells(rows, place))
    return any(re.search(r"(?:^|[T ,:])24[:.]00|^\d{8}24(?:00)?$", cell) for cell in cells)


def integers(cells: list[str], word: str) -> np.ndarray:
    """Read whole numbers (1990.0 too) or month names; -1 where it is neither."""
    codes, unique = factorize(cells)
    out = np.full(len(unique), -1, dtype=np.int64)
    for i, cell in enumerate(unique):
        text = cell.removesuffix(".0")
        if text.isascii() and text.isdigit() and len(text) < 5:
            out[i] = int(text)
        elif word == "month":
            out[i] = month_number(text)
    return out[codes]


def refuse_torn(rows, lines, role: Roles, dated: np.ndarray) -> None:
    """Refuse a row too short among rows separated by blanks: which cell is missing cannot be told."""
    width = max(len(row) for row in rows)
    full = next(row for row in rows if len(row) == width)
    after = numbers(list(full[role.rain + 1 :]), False)[0]
    before = [i for i in range(role.rain) if i not in role.date]
    if not before and np.isnan(after).all():
        return  # nothing but flags and remarks can be missing, or the rain itself
    short = [i for i, row in enumerate(rows) if len(row) < width and dated[i]]
    if short:
        raise InputError(
            f"the row has {len(rows[short[0]])} values where others have {width}: blanks cannot be told from gaps",
            "separate the values with commas, or write a code such as -9999 for what is missing",
            f"line {lines[short[0]]}",
        )


def refuse_long(rows, lines, table: Table, role: Roles) -> None:
    """Refuse a row with more cells than columns, unless only words after the rain are too many."""
    width = len(table.names)
    for i, row in enumerate(rows):
        if len(row) > width and any(cell.strip() for cell in row[width:]):
            if not np.isnan(numbers([c.strip() for c in row[role.rain + 1 :]], False)[0]).all():
                raise InputError(
                    f"the row has {len(row)} cells for {width} columns: a decimal comma between commas?",
                    "write decimals with a point, or separate the cells with semicolons",
                    f"line {lines[i]}",
                )


def sort_undated(rows, lines, table, role, plan, values, dated, pending, notes) -> None:
    """Sort out rows without a date: repeated headers, days that do not exist, a foot; else an error."""
    header = [plain(n) for n in table.names]
    again = {tuple(split(line, table.separator)) for line in table.preamble} | {table.unit_row}
    headers = blanks = 0
    last = np.flatnonzero(dated)[-1] if dated.any() else -1
    for i in np.flatnonzero(~dated):
        text = " ".join(rows[i][k] for k in role.date if k < len(rows[i])).strip()
        if [plain(c) for c in rows[i]] == header or tuple(c.strip() for c in rows[i]) in again:
            headers += 1
        elif np.isnan(values[i]) and not plan.form and any(ch.isdigit() for ch in text):
            blanks += 1
        elif any(ch.isdigit() for ch in text) or i < last:
            raise_undated((lines[i], text), plan)
        else:
            pending.append((lines[i], " ".join(rows[i])[:60].strip()))
    if dated.any() and pending and pending[0][0] < lines[last]:
        raise_undated(pending[0], plan)
    if headers:
        notes.append(f"{plural(headers, 'line')} of the header again among the rows left out")
    if blanks:
        notes.append(f"{plural(blanks, 'blank row')} for days that do not exist left out")


def raise_undated(row: tuple[int, str], plan: Plan) -> None:
    """Raise the error of a row whose date is none."""
    form = f"a {plan.form.name} date like the others" if plan.form else "a day of the calendar"
    raise InputError(f"{row[1]!r} is not {form}", "correct the date or take the row out", f"line {row[0]}")


CHUNK = 1 << 16

"""Rows held as text at a time."""


def text_rows(lines: Iterable[str], table: Table) -> Iterator[tuple[int, list[str]]]:
    """Split lines into rows, leaving out blanks and remarks."""
    at = 0

    def body() -> Iterator[str]:
        nonlocal at
        for line in lines:
            at += 1
            if at > table.first_row and not line.isspace() and not is_comment(line):
                yield line

    if table.separator == " ":
        for line in body():
            yield at, tuple(line.replace('"', "").split())
        return
    try:
        for row in csv.reader(body(), delimiter=table.separator, skipinitialspace=True):
            yield at, tuple(row)
    except csv.Error as error:
        raise InputError(
            f"the row cannot be split ({error})", "look for a stray quote mark", f"line {at}"
        ) from None


def read_rows(
    rows: Iterable[tuple[int, list[str]]], table: Table, hints: Hints, fixed: Unit | None = None
) -> Iterator[Readings]:
    """Read the rows of a table, a chunk at a time."""
    preamble = read_preamble(table.preamble)
    role = roles(table.names, table.date, hints.column)
    plan, pending, sites = None, [], set()
    for chunk in _chunks(rows):
        lines = np.array([line for line, _ in chunk], dtype=np.int32)
        cells, lines = _one_site([row for _, row in chunk], lines, role, hints, sites)
        if not len(cells):
            continue
        if plan is None:
            plan, facts = settle(cells, table, role, preamble, hints, fixed), dict(preamble.facts)
            facts |= _facts(cells, role)
            notes = list(plan.notes)
        else:
            facts, notes = {}, []
        readings = _read_chunk(cells, lines, table, role, plan, pending, notes)
        if not plan.step:
            refuse_apart(readings)
        plan = replace(plan, step=readings.step)
        yield replace(readings, facts=facts, notes=tuple(notes), stamp_ends=plan.stamp_ends)
    if plan is None and hints.at is not None and sites:
        shown = ", ".join(sorted(sites)[:12])
        raise InputError(f"no site is called {hints.at!r}", f"name one of: {shown}", "at")
    if plan is None:
        raise InputError("the file has no rows of data", "check that this is the file meant")
    if pending:
        shown = pending[0][1]
        yield replace(
            _nothing(),
            notes=(f"{plural(len(pending), 'row')} at the end without a date ({shown!r}) left out",),
        )


def _nothing() -> Readings:
    empty = np.array([])
    return Readings(
        empty.astype("datetime64[s]"), empty, empty.astype("i1"), empty.astype("i2"), empty.astype("i8")
    )


def _chunks(rows: Iterable[tuple[int, list[str]]]) -> Iterator[list[tuple[int, list[str]]]]:
    chunk = []
    for row in rows:
        chunk.append(row)
        if len(chunk) == CHUNK:
            yield chunk
            chunk = []
    if chunk:
        yield chunk


def _one_site(rows, lines, role: Roles, hints: Hints, seen: set[str]):
    """Keep the rows of one site; several sites are a doubt that ``at=`` settles."""
    if role.site < 0:
        return rows, lines
    codes, names = factorize(column_cells(rows, role.site))
    seen.update(names)
    if hints.at is not None:
        wanted = str(hints.at).strip().lower()
        keep = np.array([n.lower() == wanted for n in names], dtype=bool)[codes]
        return [row for row, k in zip(rows, keep, strict=True) if k], lines[keep]
    if len(seen - {""}) > 1:
        dates = {tuple(row[i] for i in role.date if i < len(row)) for row in rows}
        if len(dates) < len(rows):
            shown = ", ".join(sorted(seen - {""})[:12])
            raise InputError(
                f"the file holds more than one site: {shown}", "say which with at=, by its name", "at"
            )
    return rows, lines


def _facts(rows, role: Roles) -> dict[str, object]:
    facts: dict[str, object] = {}
    for name, place in role.places:
        values, _, _, bad = numbers(column_cells(rows[:1], place), False)
        if bad < 0 and len(values) and np.isfinite(values[0]):
            facts[name] = float(values[0])
    if role.site >= 0 and rows:
        facts["site"] = column_cells(rows[:1], role.site)[0]
    return facts


def _read_chunk(
    rows, lines, table: Table, role: Roles, plan: Plan, pending: list, notes: list[str]
) -> Readings:
    stamps = stamps_of(rows, role, plan)
    values, flags, marked, bad = numbers(column_cells(rows, role.rain), plan.comma, plan.missing, plan.trace)
    dated = ~np.isnat(stamps)
    if table.separator == " ":
        refuse_torn(rows, lines, role, dated)
    elif table.headed:
        refuse_long(rows, lines, table, role)
    if not dated.all():
        sort_undated(rows, lines, table, role, plan, values, dated, pending, notes)
    elif pending:
        raise_undated(pending[0], plan)
    if bad >= 0 and not dated[bad]:
        values, flags, marked, bad = numbers(
            [c if d else "" for c, d in zip(column_cells(rows, role.rain), dated, strict=True)],
            plan.comma,
            plan.missing,
            plan.trace,
        )
    if bad >= 0:
        raise InputError(
            f"{rows[bad][role.rain]!r} is no amount of rain",
            "correct it, or blank it if the day is unknown",
            f"line {lines[bad]}, column {table.names[role.rain]!r}",
        )
    if marked:
        notes.append(f"{plural(marked, 'value')} that the source marks with a sign kept")
    if codes := positive_codes(values, plan.unit.factor):
        coded = np.isin(values, codes)
        values[coded], flags[coded] = np.nan, Flag.MISSING
        notes.append(
            f"{', '.join(f'{c:g}' for c in codes)} taken for a missing code ({plural(int(coded.sum()))})"
        )
    total = _totals(rows, lines, table, role, values)
    if role.quality >= 0:
        grown, more = apply_quality(
            table.names[role.quality], column_cells(rows, role.quality), values, flags
        )
        notes += more
        if grown.any():
            total = _grown(grown, values, total, stamps, notes)
    step = plan.step or usual_step(stamps[dated])
    rain = plan.unit.mm(values, step)
    return Readings(stamps[dated], rain[dated], flags[dated], total[dated], lines[dated], step=step)


def _totals(rows, lines, table: Table, role: Roles, values: np.ndarray) -> np.ndarray:
    if role.days < 0:
        return np.ones(len(values), dtype=np.int16)
    cells = column_cells(rows, role.days)
    days, _, _, bad = numbers(cells, False)
    wrong = (
        ~np.isnan(values) & ~np.isnan(days) & ((days < 1) | (days > LONGEST_TOTAL.value) | (days % 1 != 0))
    )
    if bad >= 0 and not np.isnan(values[bad]):
        wrong[bad] = True
    if wrong.any():
        row = int(np.flatnonzero(wrong)[0])
        raise InputError(
            f"{cells[row]!r} is no number of days for a total",
            f"give a whole number from 1 to {LONGEST_TOTAL.value}, or leave it blank for one day",
            f"line {lines[row]}, column {table.names[role.days]!r}",
        )
    return np.where(np.isnan(days) | np.isnan(values), 1, days).astype(np.int16)


def _grown(grown, values, total, stamps, notes) -> np.ndarray:
    """Give an accumulated value the days since the last one known, as its source means it."""
    day = stamps.astype("datetime64[D]").astype(np.int64)
    known = np.flatnonzero(~np.isnan(values))
    for row in np.flatnonzero(grown):
        before = known[known < row]
        total[row] = min(day[row] - day[before[-1]], LONGEST_TOTAL.value) if len(before) else 1
        total[row] = max(total[row], 1)
    notes.append(
        f"{plural(int(grown.sum()), 'accumulated value')} taken to cover the days since the last value"
    )
    return total
