"""Workbooks (.xlsx): the rows of one sheet as lines of tab-separated text, so that one reader serves all."""

from __future__ import annotations

import datetime as dt
import os
import warnings
from collections.abc import Iterator
from pathlib import Path

from rainharvest.errors import InputError


def workbook_lines(path: str | os.PathLike, sheet: object = None) -> Iterator[str]:
    """Give the rows of a sheet as tab-separated lines.

    Parameters
    ----------
    path : str or path
        The workbook.
    sheet : str, optional
        The sheet's name, where several hold rows.

    Yields
    ------
    str
        A line a row, dates as 1990-01-31, times as 09:00:00, formulas as their stored results.

    Raises
    ------
    InputError
        If the workbook is damaged, has no rows, or several sheets have some and none is named.
    """
    book = _open(Path(path))
    try:
        for row in _sheet(book, path, sheet).iter_rows(values_only=True):
            yield "\t".join(map(_text, row)).rstrip("\t") + "\n"
    except InputError:
        raise
    except Exception as error:  # the parser of the workbook format raises whatever its XML brings
        raise InputError(
            f"the workbook is damaged ({error})", "save it again, or save it as CSV", "", path
        ) from None
    finally:
        book.close()


def sheet_names(path: str | os.PathLike) -> list[str]:
    """Return the names of a workbook's sheets.

    Parameters
    ----------
    path : str or path
        The workbook.

    Returns
    -------
    list of str
    """
    book = _open(Path(path))
    try:
        return [*book.sheetnames]
    finally:
        book.close()


def _open(path: Path):
    import openpyxl

    try:
        with warnings.catch_warnings():
            warnings.simplefilter(
                "ignore"
            )  # styles and extensions that openpyxl does not know: no rain in them
            return openpyxl.load_workbook(path, read_only=True, data_only=True)
    except Exception as error:
        raise InputError(
            f"the workbook is damaged ({error})", "save it again, or save it as CSV", "", path
        ) from None


def _sheet(book, path, name: object):
    sheets = {s.title: s for s in book.worksheets}
    if name is not None and str(name) in sheets:
        return sheets[str(name)]
    full = [title for title, sheet in sheets.items() if _has_rows(sheet)]
    if not full:
        raise InputError("the workbook has no rows", "check that this is the file meant", "", path)
    if len(full) > 1:
        raise InputError(
            f"several sheets hold rows: {', '.join(full[:12])}", "say which with at=, by its name", "at", path
        )
    return sheets[full[0]]


def _has_rows(sheet) -> bool:
    rows = (
        sum(cell is not None for cell in row) > 1 for row in sheet.iter_rows(values_only=True, max_row=400)
    )
    return sum(rows) > 1


def _text(cell: object) -> str:
    if cell is None:
        return ""
    if isinstance(cell, dt.datetime):
        return cell.strftime("%Y-%m-%d") if cell.time() == dt.time() else cell.isoformat(" ", "seconds")
    if isinstance(cell, dt.date | dt.time):
        return cell.isoformat()
    if isinstance(cell, float):
        return repr(int(cell)) if cell.is_integer() and abs(cell) < 1e15 else repr(cell)
    return " ".join(str(cell).split())
