"""Tables with a row a day (or an hour, or a minute): rows of text to readings, in bounded memory."""

from __future__ import annotations

import csv
from collections.abc import Iterable, Iterator
from dataclasses import replace

import numpy as np

from rainharvest.errors import InputError
from rainharvest.rainfall.flags import Flag
from rainharvest.rainfall.read_columns import Roles, roles
from rainharvest.rainfall.read_days import LONGEST_TOTAL, Readings, plural, refuse_apart, usual_step
from rainharvest.rainfall.read_layout import Table, is_comment
from rainharvest.rainfall.read_plan import Hints, Plan, column_cells, settle, stamps_of
from rainharvest.rainfall.read_preamble import read_preamble
from rainharvest.rainfall.read_quality import apply_quality
from rainharvest.rainfall.read_ragged import raise_undated, refuse_long, refuse_torn, sort_undated
from rainharvest.rainfall.read_units import Unit
from rainharvest.rainfall.read_values import factorize, numbers, positive_codes

CHUNK = 1 << 16
"""Rows held as text at a time."""


def text_rows(lines: Iterable[str], table: Table) -> Iterator[tuple[int, list[str]]]:
    """Split lines into rows, leaving out blanks and remarks.

    Parameters
    ----------
    lines : iterable of str
        All lines of the file.
    table : Table
        Where the rows begin and how they are split.

    Yields
    ------
    tuple of int and list of str
        The number of the line, and its cells.

    Raises
    ------
    InputError
        If a row cannot be split.
    """
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
    """Read the rows of a table, a chunk at a time.

    Parameters
    ----------
    rows : iterable
        Line numbers and cells, as ``text_rows`` gives them.
    table : Table
        The layout.
    hints : Hints
        The caller's arguments.
    fixed : Unit, optional
        The unit that the layout prescribes.

    Yields
    ------
    Readings
        One a chunk; the first carries facts and most notes.

    Raises
    ------
    InputError
        Where the file is in doubt or damaged, with line, cause and remedy.
    """
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
