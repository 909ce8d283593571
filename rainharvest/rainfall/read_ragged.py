"""Rows that do not fit their table: too short, too long, without a date; refused with their line, or named."""

from __future__ import annotations

import numpy as np

from rainharvest.errors import InputError
from rainharvest.rainfall.read_columns import Roles, plain
from rainharvest.rainfall.read_days import plural
from rainharvest.rainfall.read_layout import Table, split
from rainharvest.rainfall.read_plan import Plan
from rainharvest.rainfall.read_values import numbers


def refuse_torn(rows, lines, role: Roles, dated: np.ndarray) -> None:
    """Refuse a row too short among rows separated by blanks: which cell is missing cannot be told.

    Parameters
    ----------
    rows, lines : sequences
        The rows and the numbers of their lines.
    role : Roles
        The columns.
    dated : array of bool
        Which rows have a date.

    Raises
    ------
    InputError
        If there is one.
    """
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
    """Refuse a row with more cells than columns, unless only words after the rain are too many.

    Parameters
    ----------
    rows, lines : sequences
        The rows and the numbers of their lines.
    table : Table
        The layout.
    role : Roles
        The columns.

    Raises
    ------
    InputError
        If there is one.
    """
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
    """Sort out rows without a date: repeated headers, days that do not exist, a foot; else an error.

    Parameters
    ----------
    rows, lines : sequences
        The rows and the numbers of their lines.
    table : Table
        The layout.
    role : Roles
        The columns.
    plan : Plan
        How the rows are read.
    values : array of float
        Their rain.
    dated : array of bool
        Which rows have a date.
    pending : list
        Rows that are a foot if no dated row follows; added to in place.
    notes : list of str
        Assumptions; added to in place.

    Raises
    ------
    InputError
        If a row has a date that is none, or stands between dated ones.
    """
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
    """Raise the error of a row whose date is none.

    Parameters
    ----------
    row : tuple of int and str
        Line and text.
    plan : Plan
        How the rows are read.

    Raises
    ------
    InputError
        Always.
    """
    form = f"a {plan.form.name} date like the others" if plan.form else "a day of the calendar"
    raise InputError(f"{row[1]!r} is not {form}", "correct the date or take the row out", f"line {row[0]}")
