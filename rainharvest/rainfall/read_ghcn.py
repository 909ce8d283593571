"""GHCN-Daily: a line a month, a line a day and element, or an order with a column an element."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence

import numpy as np
import pandas as pd

from rainharvest.core.errors import shortened
from rainharvest.rainfall.flags import Flag, plural
from rainharvest.rainfall.read_columns import Unit, given_unit
from rainharvest.rainfall.read_days import Readings
from rainharvest.rainfall.read_layout import split, split_rows
from rainharvest.rainfall.read_rows import Hints, one_of
from rainharvest.rainfall.read_values import LIMITS, assemble, drop_codes, month_days
from rainharvest.rainfall.refusals import refuse_unless

TENTHS = Unit("0.1 mm", 0.1)

HUNDREDTHS = Unit("0.01 in", 0.254)

_MONTHLY = re.compile(
    r"(?P<id>[A-Z]{2}[A-Z0-9_-]{9}|\d{6})(?P<ym>[12]\d{3}(?:0[1-9]|1[0-2]))[A-Z]{3}[A-Z0-9][ \d-]{4}\d"
)

_LONG = re.compile(r"[A-Z]{2}[A-Z0-9_-]{9},[12]\d{7},[A-Z]{3}[A-Z0-9],\s*-?\d+,")

_NUMBER = re.compile(r"-?(\d+\.?\d*|\.\d+)")

_MISSING = ("", "-9999", "-99999")

ELEMENTS = ("PRCP", "MDPR", "DAPR")  # rain of a day, rain of several days, and how many days

# An amount of an element. Measured "T" is a trace, "P" a zero that the source presumes; quality is blank where the
# value passed the source's checks.
ENTRY = ("station", "element", "day", "value", "measured", "quality", "source", "line")


def find_ghcn(lines: Sequence[str]) -> str:
    """Return which of the forms a file has: "monthly", "long", "summaries" or ""."""
    for line in lines[:50]:
        if _MONTHLY.match(line):
            return "monthly"
        if _LONG.match(line.replace('"', "")):
            return "long"
        if {"STATION", "DATE", "PRCP", "PRCP_ATTRIBUTES"} <= {n.upper() for n in split(line, ",")}:
            return "summaries"
    return ""


def read_ghcn(form: str, lines: Iterable[str], hints: Hints) -> Readings:
    """Read GHCN-Daily text."""
    facts: dict[str, object] = {}
    notes: list[str] = []
    found: dict[str, list[tuple]] = {}
    entries = {"monthly": _monthly, "long": _long, "summaries": _summaries}[form](lines, hints, facts, notes)
    for entry in entries:
        found.setdefault(entry[0], []).append(entry)
        if hints.at is None and len(found) > 12:  # a year of all stations: stop before it fills the memory
            break
    refuse_unless(found or hints.at is not None, "no_rain_element")
    station = [*found][one_of([*found], hints.at, "station")]
    unit = HUNDREDTHS if form == "monthly" and len(station) == 6 else TENTHS
    if asked := given_unit(hints.units):
        notes.append(f"rain was read in {asked.text}, as asked; the layout prescribes {unit.text}")
        unit = asked
    table = pd.DataFrame(found[station], columns=ENTRY)
    there = table["value"][table["element"] != "DAPR"].notna().any()
    refuse_unless(there, "no_rain_of_station")
    facts.setdefault("site", station)
    return _one_series(table, unit, facts, notes)


def _entry(
    station: str, element: str, day, text: str, flags: Sequence[str], line: int, place: str
) -> Iterator[tuple]:
    """Give the entry of a cell; of cells without a value only those of a day's rain, which list the day."""
    text = text.strip()
    if text in _MISSING:
        if element == "PRCP" and not np.isnat(day):
            yield station, element, day, np.nan, "", "", "", line
        return
    refuse_unless(_NUMBER.fullmatch(text), "no_value", text=text, place=place)
    refuse_unless(not np.isnat(day), "value_on_no_day", text=text, place=place)
    yield station, element, day, float(text), *[*(flag.strip() for flag in flags), "", "", ""][:3], line


def _monthly(lines: Iterable[str], hints: Hints, facts: dict, notes: list[str]) -> Iterator[tuple]:
    """Read a line a month and element: 31 times a value of five places and three flags."""
    for number, raw in enumerate(lines, 1):
        line = raw.rstrip("\r\n")
        found = _MONTHLY.match(line)
        refuse_unless(found or not line.strip(), "no_month_of_station", line=number)
        start = found and len(found["id"]) + 6
        if not found or line[start : start + 4] not in ELEMENTS:
            continue
        cells = line.ljust(start + 4 + 31 * 8)[start + 4 :]  # editors strip the blanks at the end
        for k, day in enumerate(month_days(int(found["ym"][:4]), int(found["ym"][4:]))):
            cell, place = cells[8 * k :][:8], f"line {number}, day {k + 1}"
            yield from _entry(found["id"], line[start : start + 4], day, cell[:5], cell[5:], number, place)


def _date(text: str, pattern: str, place: str) -> np.datetime64:
    """Return the day of a date's three parts."""
    parts = re.fullmatch(pattern, text.strip())
    day = assemble(*map(int, parts.groups()))[()] if parts else np.datetime64("NaT")
    refuse_unless(not np.isnat(day), "no_date_of_station", text=text, place=place)
    return day


def _wanted(station: str, hints: Hints) -> bool:
    return hints.at is None or station.lower() == str(hints.at).strip().lower()


def _long(lines: Iterable[str], hints: Hints, facts: dict, notes: list[str]) -> Iterator[tuple]:
    """Read a line a day and element."""
    for number, line in enumerate(lines, 1):
        place, bare = f"line {number}", line.rstrip("\r\n").replace('"', "")
        cells = bare.split(",")
        if len(cells) >= 4 and cells[2] in ELEMENTS and _wanted(cells[0], hints):
            day = _date(cells[1], r"(\d{4})(\d\d)(\d\d)", place)
            yield from _entry(cells[0], cells[2], day, cells[3], cells[4:], number, place)
        elif number > 1 and line.strip():
            refuse_unless(_LONG.match(bare), "no_day_of_station", place=place)


def _summaries(lines: Iterable[str], hints: Hints, facts: dict, notes: list[str]) -> Iterator[tuple]:
    """Read a line a day with a column an element; tenths of mm only where the padding says so."""
    names: list[str] = []
    padded, whole = False, True
    for number, row in split_rows(enumerate(lines, 1), ","):
        if not names:
            names = [n.strip().upper() for n in row]
            names = names if "PRCP_ATTRIBUTES" in names else []
            continue
        cells = dict(zip(names, row, strict=False))
        station = cells.get("STATION", "").strip()
        if not any(c.strip() for c in row) or not _wanted(station, hints):
            continue
        place = f"line {number}"
        day = _date(cells.get("DATE", ""), r"(\d{4})-(\d\d)-(\d\d)", place)
        for element in ELEMENTS:
            raw = cells.get(element, "")
            text = "" if raw.strip() == "9999" else raw.strip()
            if element == "PRCP" and text not in _MISSING:
                padded |= raw != text
                whole &= "." not in text
            flags = cells.get(f"{element}_ATTRIBUTES", "").split(",")
            yield from _entry(station, element, day, text, flags, number, f"{place}, column {element}")
        if not facts:
            facts |= _place(cells)
    if hints.units is None:
        refuse_unless(padded and whole, "no_unit_of_order")
        notes.append(
            "PRCP is padded whole numbers, as in the archive's own files, and was read in tenths of mm"
        )


def _place(cells: dict[str, str]) -> dict[str, object]:
    """Return what a row of a summary tells of its station."""
    names = ("latitude", "longitude", "elevation")
    told = {name: pd.to_numeric(cells.get(name.upper(), ""), errors="coerce") for name in names}
    facts: dict[str, object] = {name: float(value) for name, value in told.items() if np.isfinite(value)}
    if name := cells.get("NAME", "").strip():
        facts["site"] = shortened(name, 120)
    return facts


def _one_series(table: pd.DataFrame, unit: Unit, facts: dict, notes: list[str]) -> Readings:
    """Join rain by day with totals over several days and their number of days."""
    rain, totals, spans = (table[table["element"] == name] for name in ELEMENTS)
    given = rain[rain["value"].notna()]
    known = np.unique(given["day"][given["quality"] == ""].to_numpy("datetime64[D]"))
    days = pd.concat([given, totals])["day"]
    blank = rain[rain["value"].isna() & rain["day"].between(days.min(), days.max()) & ~rain["day"].isin(days)]

    kept = totals[~totals["day"].isin(known)].sort_values("day", kind="stable")
    day = kept["day"].to_numpy("datetime64[D]")
    # days back to the last value, or to the end of the total before
    free = np.full(len(kept), int(LIMITS["longest_total"].value))
    after = np.searchsorted(known, day) > 0
    free[after] = (day[after] - known[np.searchsorted(known, day[after]) - 1]).astype(int)
    free[1:] = np.minimum(free[1:], np.diff(day).astype(int))
    stated = spans[spans["quality"] == ""].drop_duplicates("day", keep="last").set_index("day")["value"]
    span = kept["day"].map(stated).fillna(0).clip(0, 9999).to_numpy(int)
    guessed = (span == 0) & after & (free <= 31)
    span = np.where(guessed, free, span)
    sound = (span >= 1) & (span <= free)
    if guessed.any():
        many = plural(int(guessed.sum()), "total")
        notes.append(f"{many} of unstated length taken to cover the days since the last value")
    if lost := len(totals) - int(sound.sum()):
        notes.append(
            f"{plural(lost, 'total')} over several days left out: the days have values of their own, or the "
            "number of them is not given"
        )
    kept = kept.assign(quality=kept["quality"].where(sound, "span"), total=np.maximum(span, 1))
    rows = pd.concat([given, blank, kept]).fillna({"total": 1}).sort_values("day", kind="stable")
    passed, trace = (rows["quality"] == "").to_numpy(), (rows["measured"] == "T").to_numpy()
    raw = rows["value"].to_numpy(copy=True)
    wet = passed & (raw > 0)
    flag = np.where(np.isnan(raw), Flag.MISSING, Flag.MEASURED)
    drop_codes(raw, flag, unit.factor, notes)
    amount = np.where(passed, np.where(trace, 0.0, unit.mm(raw)), np.nan)
    flag = np.where(passed, np.where(trace, Flag.TRACE, flag), Flag.REJECTED).astype(np.int8)
    if not passed.all():
        shown = "".join(sorted({letter for letter in rows["quality"] if len(letter) == 1}))
        many = plural(int((~passed).sum()), "value")
        notes.append(f"{many} rejected (quality flags {shown}) set to unknown")
    if presumed := int((passed & (rows["measured"] == "P")).sum()):
        notes.append(f"{plural(presumed, 'zero')} that the source presumes (flag P) kept")
    loose = int((wet & (rows["source"] == "S")).sum())
    if loose > 0.05 * wet.sum():
        notes.append(f"{plural(loose, 'wet day')} come from the source S, the least reliable one for rain")
    stamp = rows["day"].to_numpy("datetime64[s]")
    total, line = rows["total"].to_numpy(int), rows["line"].to_numpy()
    return Readings(stamp, amount, flag, total, line, facts, tuple(notes))
