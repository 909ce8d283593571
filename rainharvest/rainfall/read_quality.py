"""What the quality columns of sources mean for a day's flag."""

from __future__ import annotations

import re
from collections.abc import Sequence

import numpy as np

from rainharvest.rainfall.flags import MEANINGS, Flag
from rainharvest.rainfall.read_days import plural
from rainharvest.rainfall.read_values import factorize

_SUSPECT = frozenset("suspect suspicious doubtful doubt questionable".split())
_REJECTED = frozenset("reject rejected bad wrong erroneous error invalid".split())
_NOTHING = frozenset("ok good valid y n yes no measured checked".split()) | {""}
_OWN = {meaning: flag for flag, meaning in MEANINGS.items()}
_ECA = {"0": "valid", "1": "suspect", "9": "missing", "": ""}
"""Quality codes of the European Climate Assessment & Dataset text files."""

_LETTERS = frozenset("t m a e c l f ^".split()) | {""}
"""Letters of the Canadian files: trace, missing, accumulated, estimated, uncertain, may have occurred."""


def apply_quality(
    name: str, cells: Sequence[str], values: np.ndarray, flags: np.ndarray
) -> tuple[np.ndarray, list[str]]:
    """Set values and flags by a quality column, in place.

    Parameters
    ----------
    name : str
        The column's name.
    cells : sequence of str
        Its cells.
    values : array of float
        Rain; set to NaN where the source rejects it.
    flags : array of int8
        Flags, set in place.

    Returns
    -------
    accumulated : array of bool
        Values that are totals over an unstated number of days ending here.
    notes : list of str
        What was done, in words.
    """
    codes, unique = factorize(cells)
    words = [u.strip().lower() for u in unique]
    accumulated = np.zeros(len(values), dtype=bool)
    notes: list[str] = []
    had = ~np.isnan(values)

    def mark(which: set[str] | frozenset[str]) -> np.ndarray:
        return np.array([w in which for w in words], dtype=bool)[codes] if words else np.zeros(0, dtype=bool)

    if set(words) <= _LETTERS and set(words) & set("tmaeclf") and "flag" in name.lower():
        trace = mark({"t"}) & ~(values > 0)
        values[trace], flags[trace] = 0.0, Flag.TRACE
        gone = mark({"m"}) & ~(values > 0)
        values[gone], flags[gone] = np.nan, Flag.MISSING
        accumulated = mark({"a", "f"}) & ~np.isnan(values)
        for letter, meaning in (
            ("e", "estimated"),
            ("c", "uncertain in amount"),
            ("l", "doubtful in occurrence"),
        ):
            if count := int((mark({letter}) & had).sum()):
                notes.append(f"the source marks {plural(count, 'value')} as {meaning}; kept")
        return accumulated, notes
    if re.fullmatch(r"Q_R[RD]|Q", name.strip(), re.IGNORECASE) and set(words) <= set(_ECA):
        words = [_ECA[w] for w in words]
    known = _SUSPECT | _REJECTED | _NOTHING | set(_OWN)
    if strange := [w for w in words if w not in known]:
        shown = ", ".join(repr(w) for w in sorted(strange)[:6])
        notes.append(
            f"the quality column {name!r} has codes without a meaning known here ({shown}) and was not used"
        )
        return accumulated, notes
    rejected = mark(_REJECTED | {"rejected"}) & had
    values[rejected], flags[rejected] = np.nan, Flag.REJECTED
    suspect = mark(_SUSPECT) & had & (flags != Flag.TRACE)
    flags[suspect] = Flag.SUSPECT
    for word, flag in _OWN.items():
        if word in words and flag not in (Flag.MEASURED, Flag.SUSPECT, Flag.REJECTED):
            same = mark({word})
            # a flag that says "no value" cannot stand on a value, nor the other way round
            fits = same & (np.isnan(values) == (flag in (Flag.MISSING, Flag.IN_TOTAL)))
            flags[fits] = flag
    for word in _REJECTED & set(words):
        blank = mark({word}) & ~had
        flags[blank] = Flag.REJECTED
    if rejected.any():
        notes.append(f"{plural(int(rejected.sum()), 'value')} that the source rejects set to unknown")
    if suspect.any():
        notes.append(f"{plural(int(suspect.sum()), 'value')} that the source doubts kept and flagged")
    if (
        re.search("quality", name, re.IGNORECASE)
        and "n" in words
        and (count := int((mark({"n"}) & had).sum()))
    ):
        notes.append(f"{plural(count, 'value')} not yet checked by the source; kept")
    return accumulated, notes
