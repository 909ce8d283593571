"""Rain cells: numbers, missing codes, traces, by the book (missing codes as public data sets use them)."""

from __future__ import annotations

import re
from collections.abc import Sequence

import numpy as np
import pandas as pd

from rainharvest.errors import InputError
from rainharvest.rainfall.check_values import WORLD_RECORD
from rainharvest.rainfall.flags import Flag
from rainharvest.sources import Default

CODE_DEPTH = Default(500.0, "mm/day", "depth from which a lone 999 is a code, not rain", "own choice")

MISSING_WORDS = frozenset(
    "na n/a #n/a nan null none nil nd n.d. n.a. missing miss m x - -- --- ---- — – . .. "
    "* ** *** # ? ?? / // ///".split()
) | {"", "no data", "no_data", "nodata", "not available", "#value!", "#div/0!", "(null)"}
TRACE_WORDS = frozenset(
    "t tr tr. trace traces <0.1 <0.05 <0.2 <0.01 0.0t 0t 0.00t 0,0t t0.0 + <0,1 <0,05".split()
) | {"0.0 t", "0 t", "< 0.1"}

NEGATIVE_CODES = frozenset(
    (
        -99,
        -99.9,
        -99.99,
        -999,
        -999.9,
        -999.99,
        -9999,
        -9999.9,
        -9999.99,
        -99999,
        -8888,
        -7777,
        -32767,
        -32768,
    )
)
"""No rain is negative, so these are always codes."""

POSITIVE_CODES = (999, 999.9, 999.99, 9999, 9999.9, 9999.99, 99999, 8888, 8888.8, 32766, 32767, 99.99, 88.88)
"""Codes only where the data say so (``positive_codes``): 999 may be tenths of a mm."""

_NUMBER = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,3})?")
_THOUSANDS = re.compile(r"[+-]?\d{1,3}(?:,\d{3})+\.\d+")
_COMMA = re.compile(r"[+-]?\d*,\d+")
_MARKED = re.compile(r"(.*\d)\s?[*#†^]")  # a number that the source marks (estimated, other sensor)


def factorize(cells: Sequence[str]) -> tuple[np.ndarray, list[str]]:
    """Return codes and the different cells, since a rain column repeats few of them.

    Parameters
    ----------
    cells : sequence of str
        The column.

    Returns
    -------
    tuple of array of int and list of str
    """
    codes, unique = pd.factorize(np.array(cells, dtype=object))
    return codes, list(unique)


def decimal_comma(cells: Sequence[str]) -> bool:
    """Decide whether these cells write decimals with a comma.

    Parameters
    ----------
    cells : sequence of str
        The rain column.

    Returns
    -------
    bool

    Raises
    ------
    InputError
        If "1,234" may be a decimal or a thousand.
    """
    unique = [c for c in factorize(cells)[1] if not (_NUMBER.fullmatch(c) and float(c) in NEGATIVE_CODES)]
    commas = [c for c in unique if "," in c and not _THOUSANDS.fullmatch(c) and _COMMA.fullmatch(c)]
    if not commas:
        return False
    if any(_NUMBER.fullmatch(c) and "." in c for c in unique):
        point = next(c for c in unique if _NUMBER.fullmatch(c) and "." in c)
        raise InputError(
            f"decimals are written both ways ({commas[0]!r} and {point!r})",
            "write all with a point",
            "rain column",
        )
    if all(re.fullmatch(r"[+-]?[1-9]\d{0,2},\d{3}", c) for c in commas):
        raise InputError(
            f"{commas[0]!r} may be a decimal or a thousand",
            "write it without a comma, or with a point",
            "rain column",
        )
    return True


def numbers(cells: Sequence[str], comma: bool, missing: Sequence[float] = (), trace: Sequence[float] = ()):
    """Read rain cells.

    Parameters
    ----------
    cells : sequence of str
        Stripped cells of the rain column.
    comma : bool
        Decimals are written with a comma.
    missing, trace : sequence of float
        Numbers that the file declares to be codes.

    Returns
    -------
    values : array of float
        As the file writes them (its own unit), NaN where there is none.
    flags : array of int8
        MEASURED, TRACE or MISSING.
    marked : int
        How many numbers carry a mark of the source, such as "0.2*".
    bad : int
        Place of the first cell that is neither number, code nor trace; -1 if none.
    """
    codes, unique = factorize(cells)
    values = np.full(len(unique), np.nan)
    flags = np.full(len(unique), Flag.MISSING, dtype=np.int8)
    marks = np.zeros(len(unique), dtype=bool)
    odd = np.zeros(len(unique), dtype=bool)
    for i, cell in enumerate(unique):
        word = cell.lower()
        if word in MISSING_WORDS:
            continue
        if word in TRACE_WORDS:
            values[i], flags[i] = 0.0, Flag.TRACE
            continue
        text = cell.replace("−", "-").replace("\xa0", "").replace("\u202f", "")
        if found := _MARKED.fullmatch(text):
            text, marks[i] = found[1], True
        if comma and _COMMA.fullmatch(text):
            text = text.replace(",", ".")
        elif not comma and _THOUSANDS.fullmatch(text):
            text = text.replace(",", "")
        number = float(text) if text.isascii() and _NUMBER.fullmatch(text) else np.inf
        if not np.isfinite(number):
            odd[i] = True
        elif number in missing or (number in NEGATIVE_CODES and number not in trace):
            continue
        elif number in trace:
            values[i], flags[i] = 0.0, Flag.TRACE
        else:
            values[i], flags[i] = number, Flag.MEASURED
    at = np.flatnonzero(odd[codes]) if odd.any() else ()
    return values[codes], flags[codes], int(marks[codes].sum()), int(at[0]) if len(at) else -1


def positive_codes(values: np.ndarray, factor: float) -> list[float]:
    """Find the positive numbers that are missing codes in this column, not rain.

    A candidate (999, 999.9, 9999, ...) counts as a code only where nothing else lies above half of it
    and it would be more rain in a day than the world record, or 500 mm and more, or stands three times
    or more. A lone 99.9 mm stays rain.

    Parameters
    ----------
    values : array of float
        The column in its own unit.
    factor : float
        Millimetres in one unit.

    Returns
    -------
    list of float
        The codes, in the column's own unit.

    Examples
    --------
    >>> positive_codes(np.array([0.0, 12.5, 999.9, 3.0]), 1.0)
    [999.9]
    >>> positive_codes(np.array([0.0, 600.0, 999.0, 3.0]), 0.1)
    []
    """
    if not len(values) or not np.nanmax(values, initial=0.0) >= min(POSITIVE_CODES):
        return []
    codes = set(POSITIVE_CODES) & set(np.unique(values[~np.isnan(values)]).tolist())
    rest = np.nanmax(np.where(np.isin(values, list(codes)), np.nan, values), initial=0.0)
    return sorted(
        code
        for code in codes
        if code * factor > WORLD_RECORD.value
        or (rest <= code / 2 and (code * factor >= CODE_DEPTH.value or (values == code).sum() >= 3))
    )
