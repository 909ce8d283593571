"""Units of rain, as files write them, to mm."""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np

from rainharvest.errors import InputError


@dataclass(frozen=True)
class Unit:
    """A unit of rain.

    Parameters
    ----------
    text : str
        As the file or the caller wrote it.
    factor : float
        Millimetres in one unit.
    per : str
        "" for an amount, else the time of the rate: "day", "hour", "minute" or "second".
    """

    text: str
    factor: float
    per: str = ""

    def mm(self, values: np.ndarray, step: float = 86400.0) -> np.ndarray:
        """Return values of this unit in mm for one interval of ``step`` seconds.

        Rounded to 1e-9 mm, so that 188 tenths of a mm are 18.8 and not 18.800000000000001.
        """
        factor = self.factor * (step / SECONDS[self.per] if self.per else 1.0)
        return np.asarray(values, dtype=float) if factor == 1 else np.round(values * factor, 9)


SECONDS = {"day": 86400.0, "hour": 3600.0, "minute": 60.0, "second": 1.0}

# 1 kg of water on 1 m2 is 1 mm; a point is a hundredth of an inch
_LENGTHS = {
    1.0: "mm millimetre millimetres millimeter millimeters mms kgm2 kg/m2 kgm-2 l/m2 lm-2 litres/m2 mmh2o",
    10.0: "cm centimetre centimetres centimeter centimeters",
    1000.0: "m metre metres meter meters",
    25.4: 'in inch inches ins "',
    0.254: "point points pts",
}
_BASE = {word: factor for factor, words in _LENGTHS.items() for word in words.split()}
_TIMES = {
    "day": "d day days 24h 24hr 24hrs daily",
    "hour": "h hr hrs hour hours",
    "minute": "min minute minutes",
    "second": "s sec second seconds",
}
_PER = {word: per for per, words in _TIMES.items() for word in words.split()}
_SCALES = (
    (r"(0[.,]1|1/10|10-1|1e-1|tenths?(of)?(an?)?)", 0.1),
    (r"(0[.,]01|1/100|10-2|1e-2|hundredths?(of)?(an?)?)", 0.01),
    (r"(0[.,]001|1/1000|10-3|1e-3|thousandths?(of)?(an?)?)", 0.001),
)


def parse_unit(text: str) -> Unit | None:
    """Read a unit of rain in any of its usual spellings.

    Parameters
    ----------
    text : str
        For example "mm", "0.1 mm", "tenths of mm", "inches", "kg m-2 s-1", "mm/day", "m s**-1".

    Returns
    -------
    Unit or None
        None if it is no unit of rain.

    Examples
    --------
    >>> parse_unit("tenths of mm"), parse_unit("kg m-2 s-1"), parse_unit("degC")
    (Unit(text='tenths of mm', factor=0.1, per=''), Unit(text='kg m-2 s-1', factor=1.0, per='second'), None)
    """
    word = text.strip().strip(".()[]{}").lower()
    for old, new in (("²", "2"), ("⁻", "-"), ("¹", "1"), ("−", "-"), ("**", ""), ("^", ""), ("·", " ")):
        word = word.replace(old, new)
    word = re.sub(r"\bper\b", "/", word)
    word = re.sub(r"\s+of (water|rain|rainfall)( equivalent)?$", "", word)
    tight = re.sub(r"[\s_*.]+(?=\D)|(?<=\D)[\s_*.]+", "", word)
    factor = 1.0
    for pattern, scale in _SCALES:
        if found := re.match(pattern + r"(?=[^\d])", tight):
            tight, factor = tight[found.end() :], scale
            break
    else:
        if found := re.fullmatch(r"(mm|in)/(10|100)", tight):  # "mm/10" is a tenth of a mm
            tight, factor = found[1], 1 / int(found[2])
    if tight in _BASE:
        return Unit(text.strip(), _BASE[tight] * factor)
    for base in sorted(_BASE, key=len, reverse=True):
        if tight.startswith(base):
            rest = tight[len(base) :]
            per = rest[1:] if rest.startswith("/") else rest[:-2] if rest.endswith("-1") else ""
            per = rest if base in ("mm", "cm") and not per else per  # rain_mm_day
            if per in _PER:
                return Unit(text.strip(), _BASE[base] * factor, _PER[per])
    if tight.endswith("s-1kgm-2"):
        return Unit(text.strip(), factor, "second")
    return None


def asked_unit(units: str | None) -> Unit | None:
    """Return the unit that the caller named with ``units=``.

    Parameters
    ----------
    units : str or None
        What the caller gave.

    Returns
    -------
    Unit or None

    Raises
    ------
    InputError
        If it is no unit of rain.
    """
    if units is None:
        return None
    unit = parse_unit(units) if isinstance(units, str) else None
    if unit is None:
        raise InputError(
            f"{units!r} is no unit of rain", "give mm, 0.1 mm, in, kg m-2 s-1 or the like", "units"
        )
    return unit


def unit_in_name(name: str) -> Unit | None:
    """Return the unit that a column's name carries: rain_mm, Prcp(mm), Rainfall amount (millimetres).

    Parameters
    ----------
    name : str
        The column's name.

    Returns
    -------
    Unit or None

    Examples
    --------
    >>> unit_in_name("Rainfall amount (millimetres)").factor, unit_in_name("precip_in").factor
    (1.0, 25.4)
    >>> unit_in_name("Precipitation") is None
    True
    """
    for inside in re.findall(r"[(\[{]([^)\]}]*)[)\]}]", name):
        if unit := parse_unit(inside):
            return unit
    words = [w for w in re.split(r"[\s_,:;.-]+", name.strip()) if w]
    for count in (4, 3, 2, 1):
        if len(words) >= count:
            tail = " ".join(words[-count:])
            # a lone "m", "d" or quote mark at the end of a name is too little to be a unit
            if tail.lower() not in ("m", '"') and (unit := parse_unit(tail)):
                return unit
    return None
