"""Joining rain by day with totals over several days, as GHCN-Daily keeps them in separate elements."""

from __future__ import annotations

import numpy as np

from rainharvest.rainfall.flags import Flag
from rainharvest.rainfall.read_days import LONGEST_TOTAL, Readings, plural
from rainharvest.rainfall.read_units import Unit
from rainharvest.rainfall.read_values import positive_codes

Entry = tuple[np.datetime64, float, str, str, str, int]
"""Day, value (NaN if missing), measurement flag, quality flag, source flag, line."""


def join_elements(elements: dict[str, list[Entry]], unit: Unit, facts: dict, notes: list[str]) -> Readings:
    """Join rain by day with totals over several days and their number of days.

    Parameters
    ----------
    elements : dict
        Entries of PRCP (rain of a day), MDPR (a total over several days) and DAPR (over how many).
    unit : Unit
        The unit of PRCP and MDPR.
    facts : dict
        What is known of the place.
    notes : list of str
        Assumptions, added to in place.

    Returns
    -------
    Readings
        Daily. Values with a quality flag are rejected; a total that reaches over days with values of their
        own, or over an unstated number of days longer than a month, is left out.
    """
    rows = [*elements.get("PRCP", ())]
    own = {e[0] for e in rows if not e[3]}
    known = np.array(sorted(own), dtype="datetime64[s]")
    spans = {e[0]: int(e[1]) for e in elements.get("DAPR", ()) if not e[3]}
    total = [1] * len(rows)
    guessed = lost = 0
    last = None  # the day on which the total before this one ends
    for entry in sorted(elements.get("MDPR", ()), key=lambda e: e[0]):
        day = entry[0]
        if day in own:
            lost += 1
            continue
        before = np.searchsorted(known, day)
        free = (
            int((day - known[before - 1]).astype("timedelta64[D]").astype(int))
            if before
            else LONGEST_TOTAL.value
        )
        if last is not None:
            free = min(free, int((day - last).astype("timedelta64[D]").astype(int)))
        span = spans.get(day, 0)
        if not span and before and free <= 31:
            span, guessed = free, guessed + 1
        if not 1 <= span <= free:
            lost += 1
            entry = (*entry[:3], "span", *entry[4:])
        last = day
        rows.append(entry)
        total.append(max(span, 1))
    if guessed:
        notes.append(
            f"{plural(guessed, 'total')} of unstated length taken to cover the days since the last value"
        )
    if lost:
        notes.append(
            f"{plural(lost, 'total')} over several days left out: the days have values of their own, or the "
            "number of them is not given"
        )
    quality = np.array([bool(e[3]) for e in rows], dtype=bool)
    trace = np.array([e[2] == "T" for e in rows], dtype=bool)
    raw = np.array([e[1] for e in rows], dtype=float)
    codes = positive_codes(raw, unit.factor)
    coded = np.isin(raw, codes)
    if codes:
        notes.append(f"{', '.join(f'{c:g}' for c in codes)} taken for a missing code")
    rain = unit.mm(np.where(coded, np.nan, raw))
    rain = np.where(quality, np.nan, np.where(trace, 0.0, rain))
    flag = np.where(trace, Flag.TRACE, np.where(np.isnan(rain), Flag.MISSING, Flag.MEASURED))
    flag = np.where(quality, Flag.REJECTED, flag).astype(np.int8)
    _flag_notes(rows, quality, notes)
    return Readings(
        np.array([e[0] for e in rows], dtype="datetime64[s]"),
        rain,
        flag,
        np.array(total, dtype=np.int64),
        np.array([e[5] for e in rows], dtype=np.int64),
        facts,
        tuple(notes),
    )


def _flag_notes(rows: list[Entry], quality: np.ndarray, notes: list[str]) -> None:
    if quality.any():
        letters = "".join(sorted({e[3] for e in rows if len(e[3]) == 1}))
        notes.append(
            f"{plural(int(quality.sum()), 'value')} rejected (quality flags {letters}) set to unknown"
        )
    if presumed := sum(e[2] == "P" and not e[3] for e in rows):
        notes.append(f"{plural(presumed, 'zero')} that the source presumes (flag P) kept")
    wet = sum(e[1] > 0 and not e[3] for e in rows)
    if wet and (loose := sum(e[4] == "S" and e[1] > 0 and not e[3] for e in rows)) > 0.05 * wet:
        notes.append(f"{plural(loose, 'wet day')} come from the source S, the least reliable one for rain")
