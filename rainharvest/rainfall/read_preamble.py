"""What the lines above a table say: the place, the unit, the missing codes."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field

from rainharvest.rainfall.read_columns import plain
from rainharvest.rainfall.read_units import Unit, parse_unit

_ENTRY = re.compile(r"[\s#!%*;/\"'<>$-]*([^\W\d_][\w ./()°-]{0,40}?)[\s\"']*[:=;,\t][\s\"']*(.+)")
_KEYS = {
    "latitude": "latitude lat",
    "longitude": "longitude lon long lng",
    "elevation": "elevation elev altitude alt height station_elevation",
    "site": "site station station_name place location gauge name site_name gauge_name",
    "unit": "unit units rain_unit rain_units precipitation_unit unit_of_rain",
    "missing": "missing missing_value missing_values missing_code missing_data "
    "no_data nodata nodata_value fill _fillvalue",
    "trace": "trace trace_code trace_value",
    "year": "year",
}
_ROLE = {key: role for role, keys in _KEYS.items() for key in keys.split()}


@dataclass(frozen=True)
class Preamble:
    """What the lines above a table say.

    Parameters
    ----------
    facts : dict
        latitude, longitude, elevation, site.
    unit : Unit or None
        The unit of rain.
    missing, trace : tuple of float
        Numbers declared to be codes.
    year : int
        A year given once for the whole table; 0 if none.
    """

    facts: dict[str, object] = field(default_factory=dict)
    unit: Unit | None = None
    missing: tuple[float, ...] = ()
    trace: tuple[float, ...] = ()
    year: int = 0


def _number(text: str) -> float | None:
    found = re.search(r"[-+−]?\d+(?:[.,]\d+)?", text)
    if not found:
        return None
    number = float(found[0].replace(",", ".").replace("−", "-"))
    return -number if re.match(r"\s*°?\s*[SW]\b", text[found.end() :]) and number > 0 else number


def read_preamble(lines: Sequence[str]) -> Preamble:
    """Pick up what the lines above a table say: place, unit, missing codes.

    Parameters
    ----------
    lines : sequence of str
        The lines.

    Returns
    -------
    Preamble

    Examples
    --------
    >>> p = read_preamble(["# latitude: -33.1", "# unit: 0.1 mm", "# missing: -1"])
    >>> p.facts, p.unit.factor, p.missing
    ({'latitude': -33.1}, 0.1, (-1.0,))
    """
    facts: dict[str, object] = {}
    unit, year = None, 0
    codes: dict[str, tuple[float, ...]] = {"missing": (), "trace": ()}
    for line in lines:
        found = _ENTRY.match(line)
        role = found and _ROLE.get(plain(found[1]).replace(" ", "_"))
        if not role:
            continue
        value = found[2].strip().strip("\"';,").strip()
        number = _number(value)
        if role == "unit":
            unit = unit or parse_unit(value)
        elif role in codes:
            codes[role] += tuple(float(n) for n in re.findall(r"[-+]?\d+(?:\.\d+)?", value))
        elif role == "year":
            year = int(number or 0)
        elif role == "site":
            facts.setdefault("site", re.split(r"[,;]\s*\w+\s*[:=]", value)[0].strip())
        elif (
            number is not None and abs(number) <= {"latitude": 90, "longitude": 360, "elevation": 9000}[role]
        ):
            facts.setdefault(role, number)
    return Preamble(facts, unit, codes["missing"], codes["trace"], year)


def unit_in_preamble(lines: Sequence[str], name: str) -> tuple[Unit | None, tuple[float, ...]]:
    """Find a line that explains the column: its unit, and the number that stands for a trace.

    Parameters
    ----------
    lines : sequence of str
        The lines.
    name : str
        The column's name.

    Returns
    -------
    tuple
        The unit or None, and the codes for a trace.

    Examples
    --------
    >>> unit, trace = unit_in_preamble(["RH = Daily amount (in 0.1 mm) (-1 for <0.05 mm)"], "RH")
    >>> unit.factor, trace
    (0.1, (-1.0,))
    """
    for line in lines:
        found = re.match(rf"[\s#!%*;]*{re.escape(name.strip())}\s*(?:[:=]|\s-\s)(.+)", line, re.IGNORECASE)
        if not found or not name.strip():
            continue
        inside = [part.removeprefix("in ") for part in re.findall(r"[(\[]([^)\]]+)[)\]]", found[1])]
        inside += re.findall(r"(0[.,]1 mm|tenths of (?:a )?(?:mm|millimet\w+))", found[1])
        unit = next((u for u in map(parse_unit, inside) if u), None)
        trace = re.search(r"(-\d+)\s+(?:for|=|means)\s*<\s*0[.,]\d", found[1])
        return unit, (float(trace[1]),) if trace else ()
    return None, ()
