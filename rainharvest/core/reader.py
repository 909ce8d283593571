"""The reader's form of numbers, units and dates: metric or US on the page, metric always inside.

`reading` sets it for a block, as `numpy.printoptions` does for arrays: the sentences and figures of every
stage then follow it, and no function need hand it on.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from typing import Literal

import numpy as np
import xarray as xr

from rainharvest.core.defaults import rows_of
from rainharvest.core.quantities import QUANTITIES, SHOWN_UNITS, label

Units = Literal["metric", "us"]

Numbers = Literal["1,234.5", "1.234,5", "1 234,5", "1'234.5"]

Dates = Literal["2026-11-25", "25/11/2026", "25.11.2026", "11/25/2026"]


@dataclass(frozen=True)
class Reader:
    """In what form a reader expects numbers, units and dates."""

    units: Units = "metric"  # "metric" or "us"
    numbers: Numbers = "1,234.5"  # The number 1234.5 as the reader writes it
    dates: Dates = "2026-11-25"  # The 25th of November 2026 as the reader writes it


MONTHS = tuple(
    "January February March April May June July August September October November December".split()
)
MONTHS_SHORT = tuple(month[:3] for month in MONTHS)

METRIC = Reader()

US = Reader("us", dates="11/25/2026")


GALLON = 3.785411784

"""Litres in a US liquid gallon: 231 cubic inches of 25.4 mm, exact."""


US_UNITS: dict[str, tuple[str, float]] = {
    "m2": ("ft2", 0.3048**2),
    "m": ("ft", 0.3048),
    "km": ("mi", 1.609344),
    "mm": ("in", 25.4),
    "mm/day": ("in/day", 25.4),
    "mm/h": ("in/h", 25.4),
    "mm/year": ("in/year", 25.4),
    "m/s": ("ft/s", 0.3048),
    "m/s of wind": ("mph", 0.44704),
    "L": ("gal", GALLON),
    "L/day": ("gal/day", GALLON),
    "L/year": ("gal/year", GALLON),
    "L/s": ("gal/min", GALLON / 60),
    "L/min": ("gal/min", GALLON),
    "kL": ("kgal", GALLON),
    "m3": ("ft3", 0.3048**3),
    "kg": ("lb", 0.45359237),
    "kPa": ("psi", 0.45359237 * 9.80665 / 25.4**2 * 1000),
    "kN": ("lbf", 0.45359237 * 9.80665 / 1000),
    "currency/L": ("currency/gal", 1 / GALLON),
    "currency/kL": ("currency/1,000 gal", 1 / GALLON),
    "currency/m2": ("currency/ft2", 0.3048**-2),
    "currency/m": ("currency/ft", 1 / 0.3048),
}

"""Unit of a US page for each unit inside, and how many of the latter make one of it; exact by definition."""


_WORDS = SHOWN_UNITS | rows_of("core", "units")["said"]

_MARKS = {
    "1,234.5": {},
    "1.234,5": {",": ".", ".": ","},
    "1 234,5": {",": "\u00a0", ".": ","},
    "1'234.5": {",": "’"},
}

_DATES = {
    "2026-11-25": "{0}-{1}-{2}",
    "25/11/2026": "{2}/{1}/{0}",
    "25.11.2026": "{2}.{1}.{0}",
    "11/25/2026": "{1}/{2}/{0}",
}

_reader: ContextVar[Reader] = ContextVar("reader", default=METRIC)


@contextmanager
def reading(reader: Reader) -> Iterator[None]:
    """Write for this reader until the block ends.

    >>> with reading(US):
    ...     measure(420, "m2", 2)
    '4,500 ft²'
    >>> measure(420, "m2")
    '420 m²'
    """
    token = _reader.set(reader)
    try:
        yield
    finally:
        _reader.reset(token)


def reader_now() -> Reader:
    """Return the reader for whom is written: what keeps words keeps them by this.

    >>> with reading(US):
    ...     reader_now().units
    'us'
    """
    return _reader.get()


def marks(text: str) -> str:
    """Return a number that Python wrote with the reader's marks.

    >>> with reading(Reader(numbers="1.234,5")):
    ...     marks(f"{1234.5:,.1f}")
    '1.234,5'
    """
    return text.translate(str.maketrans(_MARKS[_reader.get().numbers]))


_TIE = 1 + 1e-12
"""A half goes up, by whatever sums it came about: one fact may not be 31 kL here and 32 kL there."""


def number(value: float, figures: int | None = None) -> str:
    """Return a number in the reader's form.

    >>> number(18_432.0, 2), number(0.0410), number(2_500_000.0)
    ('18,000', '0.041', '2,500,000')
    """
    if not np.isfinite(value):
        return "none"
    near = float(f"{value * _TIE:.{figures or 6}g}")
    text = f"{near:,.10f}".rstrip("0").rstrip(".")
    return marks("0" if text in ("-0", "") else text)


def in_units(value, unit: str):
    """Return a value in the reader's unit.

    >>> with reading(US):
    ...     in_units(30.48, "m")
    (100.0, 'ft')
    """
    if _reader.get().units == "us" and unit in US_UNITS:
        unit, factor = US_UNITS[unit]
        value = value / factor
    return value, "" if unit == "1" else marks(_WORDS.get(unit, unit))


def measure(value: float, unit: str, figures: int | None = None) -> str:
    """Return a measure with its unit in the reader's form.

    A US reader gets three figures of what was converted, unless told otherwise, and inches below a foot.

    >>> measure(18.0, "m"), measure(0.41, "mm"), measure(912.4, "L/day", 2)
    ('18 m', '0.41 mm', '910 L a day')
    >>> with reading(US):
    ...     measure(18.0, "m"), measure(0.14, "m")
    ('59.1 ft', '5.51 in')
    """
    if gallons() and unit in US_UNITS:
        figures = figures or 3
        if unit == "m" and 0 < abs(value) < 0.3048:
            value, unit = 1000 * value, "mm"
    value, unit = in_units(value, unit)
    return f"{number(value, figures)} {unit}".rstrip()


def depths(text: str, units: str = "mm|m", figures: int | None = None) -> str:
    """Return words that are kept in metric (of a record's findings) with their numbers as the reader writes them.

    >>> with reading(US):
    ...     depths("25.4 mm: that is 3.1 times the next of the season (8.1 mm)")
    '1 in: that is 3.1 times the next of the season (0.319 in)'
    >>> with reading(Reader(numbers="1.234,5")):
    ...     depths("0.61 times that of 1990-01-01 (p 3.7e-05)"), depths("2 x 5,000 L", "L")
    ('0,61 times that of 1990-01-01 (p 3,7e-05)', '2 x 5.000 L')
    """
    kept = rf"(?<![\w.])(-?\d+(?:,\d{{3}})*(?:\.\d+)?(?:e[+-]\d+)?)(?: ({units})\b|(?!\w|[.,-]\d))"

    def told(found: re.Match) -> str:
        """Return one number, in the reader's unit where it bears one."""
        bare = found[2] is None
        return marks(found[1]) if bare else measure(float(found[1].replace(",", "")), found[2], figures)

    return re.sub(kept, told, text)


def per_volume(value: float, what: str = "", figures: int = 2) -> str:
    """Return what goes with each thousand litres, told for each large unit of volume of the reader.

    >>> per_volume(0.31, "kWh")
    '0.31 kWh for each kL'
    >>> with reading(US):
    ...     per_volume(0.31, "kWh")
    '1.2 kWh for each 1,000 gal'
    """
    volume, unit = large_volume()
    return f"{number(value * volume / 1000, figures)} {what + ' ' if what else ''}for each {unit}"


def label_for_reader(name: str) -> str:
    """Return the words of a quantity and the reader's unit, for the head of a table.

    >>> with reading(US):
    ...     label_for_reader("area")
    'Roof plan area (ft²)'
    """
    return label(name, in_units(1.0, QUANTITIES[name].unit)[1])


def large_volume() -> tuple[float, str]:
    """Return the unit in which figures show volumes: how many litres make it, and its name.

    >>> large_volume()
    (1000.0, 'kL')
    """
    us = _reader.get().units == "us"
    return (1000 * GALLON, marks("1,000") + " gal") if us else (1000.0, "kL")


def gallons() -> bool:
    """Return whether volumes are told in gallons.

    >>> gallons()
    False
    """
    return _reader.get().units == "us"


def date(day) -> str:
    """Return a day in the reader's form.

    >>> with reading(US):
    ...     date(np.datetime64("2026-11-25T00:00"))
    '11/25/2026'
    """
    return _DATES[_reader.get().dates].format(*str(day)[:10].split("-"))


def rounded(value: float, figures: int = 2, up: bool = False) -> float:
    """Return a value to so many significant figures.

    >>> rounded(18_432.0), rounded(18_432.0, up=True), rounded(0.0)
    (18000.0, 19000.0, 0.0)
    """
    if value == 0 or not math.isfinite(value):
        return value
    near = float(f"{value * _TIE:.{figures}g}")
    if up and near * _TIE < value:  # what a quotient adds in its last digit asks for no more
        near += 10.0 ** (math.floor(math.log10(value)) + 1 - figures)
    return near


def litres(value: float, figures: int = 2, up: bool = False) -> str:
    """Return a volume in words, in litres below ten thousand and in kilolitres (kL) from there.

    For a reader in the US (`rainharvest.core.reader`): in gallons.

    >>> litres(6_312.0), litres(18_432.0), litres(181_432.0), litres(0.00002)
    ('6,300 L', '18 kL', '180 kL', 'under 0.1 L')
    """
    if 0 < abs(value) < 0.1:
        return "under " + marks(f"0.1 {'gal' if gallons() else 'L'}")
    if gallons():
        return f"{number(rounded(value / GALLON, figures, up))} gal"
    near = rounded(value, figures, up)
    if abs(near) < 10_000:
        return marks(f"{near:,.0f} L" if near == 0 or abs(near) >= 10 else f"{near:g} L")
    return f"{number(near / 1000)} kL"


def percent(share: float, target: float | None = None) -> str:
    """Return a share as whole per cent; never 100 % where something was short, nor a target that is not reached.

    >>> percent(0.914), percent(0.9996), percent(1.0), percent(0.0001), percent(-1e-9)
    ('91 %', 'over 99 %', '100 %', 'under 1 %', '0 %')
    >>> percent(0.897, 0.9), percent(0.89, 0.9), percent(0.9, 0.9)
    ('just under 90 %', '89 %', '90 %')
    """
    if target is not None and share * _TIE < target and percent(share) == percent(target):
        return f"just under {aim(target)}"
    if 0.995 <= share < 1:
        return "over 99 %"
    if 0 < share < 0.005:
        return "under 1 %"
    return f"{number(float(f'{100 * share:.0f}'))} %"  # minus nothing is nothing


def aim(target: float) -> str:
    """Return a share that is aimed at, which is as it was given.

    >>> aim(0.9), aim(0.999)
    ('90 %', '99.9 %')
    """
    return f"{number(100 * target)} %"


def days(count: float) -> str:
    """Return a number of days in words.

    >>> days(1), days(12.2), days(0.44), days(0)
    ('1 day', '12 days', '0.4 days', 'no day')
    """
    if count == 0:
        return "no day"
    if count < 0.05:
        return f"fewer than {number(0.1)} days"
    near = round(count, 1) if count < 3 and not float(count).is_integer() else round(count)
    return f"{number(near)} day{'' if near == 1 else 's'}"


def hours(count: float) -> str:
    """Return a number of hours in words, below two of them in minutes.

    >>> hours(14.6), hours(0.0227), hours(0.0002), hours(0)
    ('15 hours', '1 minute', 'under 1 minute', 'never')
    """
    if 0 < 60 * count < 1:
        return f"under {number(1)} minute"
    near, unit = (rounded(count), "hour") if count >= 2 else (round(60 * count), "minute")
    return f"{number(near)} {unit}{'' if near == 1 else 's'}" if count else "never"


def middle(values: xr.DataArray) -> float:
    """Return the median over filled versions, or the value itself where there is one."""
    return float(np.median(values.values))
