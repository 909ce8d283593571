"""How the rows of a table are to be read: unit, decimals and dates, settled once; doubt raises."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from rainharvest.errors import InputError
from rainharvest.rainfall.read_columns import Roles
from rainharvest.rainfall.read_dates import DateForm, assemble, clock_seconds, find_form, month_number
from rainharvest.rainfall.read_layout import Table
from rainharvest.rainfall.read_preamble import Preamble, unit_in_preamble
from rainharvest.rainfall.read_units import Unit, asked_unit, parse_unit, unit_in_name
from rainharvest.rainfall.read_values import decimal_comma, factorize


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
    """Return one column of rows that may be short.

    Parameters
    ----------
    rows : sequence of sequence of str
        The rows.
    place : int
        The column.

    Returns
    -------
    list of str
        Stripped cells, blank where a row ends before the column.
    """
    return [row[place].strip() if len(row) > place else "" for row in rows]


def settle(rows, table: Table, role: Roles, preamble: Preamble, hints: Hints, fixed: Unit | None) -> Plan:
    """Decide unit, decimals and date form on the first chunk; doubt raises.

    Parameters
    ----------
    rows : sequence of sequence of str
        The rows of the first chunk.
    table : Table
        The layout.
    role : Roles
        The columns.
    preamble : Preamble
        What the lines above say.
    hints : Hints
        The caller's arguments.
    fixed : Unit or None
        The unit that the layout prescribes.

    Returns
    -------
    Plan

    Raises
    ------
    InputError
        If the unit, the decimals or the dates are in doubt.
    """
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
    """Return the unit that the caller, the columns or the preamble settle.

    Parameters
    ----------
    hints : Hints
        The caller's arguments.
    stated : sequence of Unit or None
        What the columns say, the surest first.
    preamble : Preamble
        What the lines above say.
    name : str
        The column, for the error.
    notes : list of str
        Assumptions, added to in place.

    Returns
    -------
    Unit

    Raises
    ------
    InputError
        If nothing states the unit, or two places state different ones.
    """
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
    """Return the moment of each row, NaT where it has no date.

    Parameters
    ----------
    rows : sequence of sequence of str
        The rows.
    role : Roles
        The columns.
    plan : Plan
        How to read them.

    Returns
    -------
    array of datetime64
    """
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
    """Tell whether an hour 24 occurs: then stamps are the end of each reading.

    Parameters
    ----------
    rows : sequence of sequence of str
        The rows of the first chunk.
    role : Roles
        The columns.

    Returns
    -------
    bool
    """
    if "hour" in role.parts:
        place = role.date[role.parts.split().index("hour")]
        return "24" in {cell.removesuffix(".0") for cell in column_cells(rows, place)}
    if not role.parts.startswith("date"):
        return False
    cells = (cell for place in role.date for cell in column_cells(rows, place))
    return any(re.search(r"(?:^|[T ,:])24[:.]00|^\d{8}24(?:00)?$", cell) for cell in cells)


def integers(cells: list[str], word: str) -> np.ndarray:
    """Read whole numbers (1990.0 too) or month names; -1 where it is neither.

    Parameters
    ----------
    cells : list of str
        Cells of a column.
    word : str
        What the column holds; month names are read in a "month".

    Returns
    -------
    array of int
    """
    codes, unique = factorize(cells)
    out = np.full(len(unique), -1, dtype=np.int64)
    for i, cell in enumerate(unique):
        text = cell.removesuffix(".0")
        if text.isascii() and text.isdigit() and len(text) < 5:
            out[i] = int(text)
        elif word == "month":
            out[i] = month_number(text)
    return out[codes]
