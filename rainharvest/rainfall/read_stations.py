"""GHCN-Daily in its three forms, and the month-a-line fixed width files that share its shape.

Layouts and flags follow the readme of the Global Historical Climatology Network - Daily (NOAA, version 3):
a fixed-width line a month and element, a csv line a day and element, and a csv with a column an element.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Iterable, Sequence

import numpy as np

from rainharvest.errors import InputError
from rainharvest.rainfall.read_dates import assemble
from rainharvest.rainfall.read_days import Readings
from rainharvest.rainfall.read_elements import Entry, join_elements
from rainharvest.rainfall.read_layout import split
from rainharvest.rainfall.read_plan import Hints
from rainharvest.rainfall.read_units import Unit, asked_unit

TENTHS = Unit("0.1 mm", 0.1)
HUNDREDTHS = Unit("0.01 in", 0.254)

_MONTHLY = re.compile(
    r"(?P<id>[A-Z]{2}[A-Z0-9_-]{9}|\d{6})(?P<ym>[12]\d{3}(?:0[1-9]|1[0-2]))[A-Z]{3}[A-Z0-9][ \d-]{4}\d"
)
_LONG = re.compile(r"[A-Z]{2}[A-Z0-9_-]{9},[12]\d{7},[A-Z]{3}[A-Z0-9],\s*-?\d+,")
ELEMENTS = ("PRCP", "MDPR", "DAPR")


def find_ghcn(lines: Sequence[str]) -> str:
    """Return which of the forms a file has: "monthly", "long", "summaries" or "".

    Parameters
    ----------
    lines : sequence of str
        The first lines, without line ends.

    Returns
    -------
    str
    """
    for line in lines[:50]:
        if _MONTHLY.match(line):
            return "monthly"
        if _LONG.match(line.replace('"', "")):
            return "long"
        names = [n.upper() for n in split(line, ",")]
        if {"STATION", "DATE", "PRCP", "PRCP_ATTRIBUTES"} <= set(names):
            return "summaries"
    return ""


def read_ghcn(form: str, lines: Iterable[str], hints: Hints) -> Readings:
    """Read GHCN-Daily text.

    Parameters
    ----------
    form : str
        What ``find_ghcn`` said.
    lines : iterable of str
        All lines of the file.
    hints : Hints
        The caller's arguments; ``at`` names the station where the file holds several.

    Returns
    -------
    Readings

    Raises
    ------
    InputError
        If the file has no rain, several stations, or a damaged line.
    """
    facts: dict[str, object] = {}
    notes: list[str] = []
    if form == "monthly":
        stations, unit = _monthly(lines)
    elif form == "long":
        stations, unit = _long(lines, hints), TENTHS
    else:
        stations, unit = _summaries(lines, hints, facts, notes)
    station = _station(stations, hints)
    if asked := asked_unit(hints.units):
        notes.append(f"rain was read in {asked.text}, as asked; the layout prescribes {unit.text}")
        unit = asked
    elements = stations[station]
    if not any(elements.get(e) for e in ("PRCP", "MDPR")):
        raise InputError(
            "the file has no rain (elements PRCP, MDPR)", "order the element PRCP for this station"
        )
    facts.setdefault("site", station)
    return join_elements(elements, unit, facts, notes)


def _station(stations: dict[str, dict], hints: Hints) -> str:
    if hints.at is not None:
        found = [s for s in stations if s.lower() == str(hints.at).strip().lower()]
        if not found:
            raise InputError(
                f"no station is called {hints.at!r}", f"name one of: {', '.join([*stations][:12])}", "at"
            )
        return found[0]
    if not stations:
        raise InputError("the file has no rain (elements PRCP, MDPR)", "order the element PRCP")
    if len(stations) > 1:
        shown = ", ".join([*stations][:12])
        raise InputError(
            f"the file holds more than one station: {shown}", "say which with at=, by its name", "at"
        )
    return next(iter(stations))


def _wanted(station: str, hints: Hints) -> bool:
    return hints.at is None or station.lower() == str(hints.at).strip().lower()


def _monthly(lines: Iterable[str]) -> tuple[dict, Unit]:
    """Read a line a month and element: 31 times a value of five places and three flags."""
    stations: dict[str, dict[str, list[Entry]]] = {}
    unit = TENTHS
    for number, raw in enumerate(lines, 1):
        line = raw.rstrip("\r\n")
        found = _MONTHLY.match(line)
        if not found:
            if line.strip():
                raise InputError(
                    "the line is no month of a station", "restore or remove it", f"line {number}"
                )
            continue
        start = len(found["id"]) + 6
        unit = HUNDREDTHS if len(found["id"]) == 6 else TENTHS
        element = line[start : start + 4]
        if element not in ELEMENTS:
            continue
        year, month = int(found["ym"][:4]), int(found["ym"][4:])
        days = assemble(np.full(31, year), np.full(31, month), np.arange(1, 32))
        entries = stations.setdefault(found["id"], {}).setdefault(element, [])
        line = line.ljust(start + 4 + 31 * 8)  # editors strip the blanks at the end
        for k, day in enumerate(days):
            text = line[start + 4 + 8 * k :][:8]
            value = text[:5].strip()
            if not re.fullmatch(r"-?\d+", value or "-9999"):
                raise InputError(f"{value!r} is no value", "restore the line", f"line {number}, day {k + 1}")
            if value in ("", "-9999", "-99999"):
                continue
            if np.isnat(day):
                raise InputError(
                    f"{year}-{month:02d} has no day {k + 1}, yet a value",
                    "restore the line",
                    f"line {number}",
                )
            entries.append((day, float(value), text[5].strip(), text[6].strip(), text[7].strip(), number))
    return stations, unit


def _long(lines: Iterable[str], hints: Hints) -> dict:
    """Read a line a day and element."""
    stations: dict[str, dict[str, list[Entry]]] = {}
    for number, line in enumerate(lines, 1):
        cells = line.rstrip("\r\n").replace('"', "").split(",")
        if len(cells) < 4 or cells[2] not in ELEMENTS or not _wanted(cells[0], hints):
            if number > 1 and line.strip() and not _LONG.match(line.replace('"', "")):
                raise InputError("the line is no day of a station", "restore or remove it", f"line {number}")
            continue
        date = cells[1].strip()
        day = (
            assemble(*(int(d) for d in (date[:4], date[4:6], date[6:])))
            if re.fullmatch(r"\d{8}", date)
            else np.datetime64("NaT")
        )
        if np.isnat(day) or not re.fullmatch(r"\s*-?\d{1,7}\s*", cells[3]):
            raise InputError(f"{date}, {cells[3]} are no day and value", "restore the line", f"line {number}")
        if hints.at is None and len(stations) > 12:  # a year of all stations: stop before it fills the memory
            break
        flags = [c.strip() for c in (*cells[4:7], "", "", "")][:3]
        entries = stations.setdefault(cells[0], {}).setdefault(cells[2], [])
        if int(cells[3]) != -9999:
            entries.append((day[()], float(cells[3]), *flags, number))
    return stations


def _summaries(lines: Iterable[str], hints: Hints, facts: dict, notes: list[str]) -> tuple[dict, Unit]:
    """Read a line a day with a column an element; tenths of mm only where the padding says so."""
    stations: dict[str, dict[str, list[Entry]]] = {}
    reader = csv.reader(lines)
    names: list[str] = []
    padded, whole = False, True
    try:
        for row in reader:
            if not names:
                names = [n.strip().upper() for n in row]
                if "PRCP_ATTRIBUTES" not in names:
                    names = []
                continue
            cells = dict(zip(names, row, strict=False))
            station = cells.get("STATION", "").strip()
            if not any(c.strip() for c in row) or not _wanted(station, hints):
                continue
            date = cells.get("DATE", "").strip()
            parts = re.fullmatch(r"(\d{4})-(\d\d)-(\d\d)", date)
            day = assemble(*map(int, parts.groups()))[()] if parts else np.datetime64("NaT")
            if np.isnat(day):
                raise InputError(f"{date!r} is no date", "write it as 1990-01-31", f"line {reader.line_num}")
            elements = stations.setdefault(station, {})
            for element in ELEMENTS:
                raw = cells.get(element, "")
                text = raw.strip()
                if not text or text in ("-9999", "9999"):
                    continue
                if not re.fullmatch(r"-?(\d+\.?\d*|\.\d+)", text):
                    raise InputError(
                        f"{text!r} is no value", "correct it", f"line {reader.line_num}, column {element}"
                    )
                if element == "PRCP":
                    padded |= raw != text
                    whole &= "." not in text
                flags = [*(c.strip() for c in cells.get(f"{element}_ATTRIBUTES", "").split(",")), "", "", ""][
                    :3
                ]
                elements.setdefault(element, []).append((day, float(text), *flags, reader.line_num))
            if not facts:
                facts |= _place(cells)
    except csv.Error as error:
        raise InputError(
            f"the row cannot be split ({error})", "restore it", f"line {reader.line_num}"
        ) from None
    if hints.units is None and not (padded and whole):
        raise InputError(
            "the unit of 'PRCP' is not stated: an order comes in mm or inches, as its maker chose",
            "say units='mm', units='in' or units='0.1 mm'",
            "units",
        )
    if hints.units is None:
        notes.append(
            "PRCP is padded whole numbers, as in the archive's own files, and was read in tenths of mm"
        )
    return stations, TENTHS


def _place(cells: dict[str, str]) -> dict[str, object]:
    facts: dict[str, object] = {}
    for name in ("latitude", "longitude", "elevation"):
        try:
            facts[name] = float(cells.get(name.upper(), ""))
        except ValueError:
            continue
    if name := cells.get("NAME", "").strip():
        facts["site"] = name
    return facts
