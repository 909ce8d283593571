"""Which column is which and in what unit: dates, rain, days of total, quality, site."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from rainharvest.core.errors import InputError


@dataclass(frozen=True)
class Unit:
    """A unit of rain."""

    text: str  # As the file or the caller wrote it
    factor: float  # Millimetres in one unit
    per: str = ""  # "" for an amount, else the time of the rate: "day", "hour", "minute" or "second"

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
    """Return the unit that the caller named with ``units=``."""
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


_WORDS = {
    "date": "date datum fecha data dato dates yyyymmdd yyyy-mm-dd datetime timestamp time valid_time "
    "mess_datum date/time date_time time_hour aaaammjj jjjjmmtt tid",
    "year": "year yr yyyy y annee année jahr ano año anno jaar år aar iyear",
    "month": "month mon m mois monat mes mês mese maand mo måned",
    "day": "day dd dy d jour tag dia día giorno dag dayofmonth",
    "doy": "doy jday julian yday dayofyear jul",
    "hour": "hour hr hh heure stunde hora uur ora",
    "minute": "minute minutes minuto",
    "clock": "time heure uhrzeit hora clock",
    "site": "station stn site location gauge gage staid souid station_id stationid origin name id "
    "station_name stations_id src_id siteid gauge_id stationname",
    "latitude": "latitude lat",
    "longitude": "longitude lon long lng",
    "elevation": "elevation elev altitude alt height",
    "flag": "flag",
}

WORDS = {role: frozenset(words.split()) for role, words in _WORDS.items()}


_RAIN = re.compile(
    r"(rain|precip|prcp|prec$|pcp|ppt|pluv|pluie|precipitacion|lluvia|niederschlag|neerslag|nedb|chuva|regen|pioggia"
    r"|^rr$|^pr$|^tp$|^rd$|^rs$|^rsk$|^prec|^prcpt|^mm$)"
)

_NOT_RAIN = re.compile(
    r"(flag|quality|qualit|qual$|^qc|qc$|attribut|code|days?$|prob|hours?$|durat|type|period|count|normal"
    r"|mean temp|cumul|accum|^q_|(^| )q$|note|comment|remark|status|measured over|intens|max|rate of)"
)

_DAYS = re.compile(
    r"(period over which|number of days|^n ?days$|^days$|total days|days in total|^dapr$|day cnt|accum.* days"
    r"|days? measured|^period \(days\)$|^ndays$)"
)

_QUALITY = re.compile(r"(quality|^qual|^qc|qc$|^q_|^q rr| q$|^qflag|^flag$|flag$|attributes$|^status$)")


@dataclass(frozen=True)
class Roles:
    """Places of the columns that matter; -1 or empty where there is none."""

    names: tuple[str, ...]  # All column names, as the file writes them
    date: tuple[int, ...]  # One column (a date), two (a date and a clock), or the parts named by ``parts``
    parts: str  # "date", "date clock", or "year month day [hour [minute]]", "year doy"
    rain: int = -1  # Places of those columns
    days: int = -1  # Places of those columns
    quality: int = -1  # Places of those columns
    site: int = -1  # Places of those columns
    places: tuple[tuple[str, int], ...] = ()  # Places of latitude, longitude, elevation columns


def plain(name: str) -> str:
    """Return a column name in lower case, without its unit in brackets and with single blanks.

    >>> plain("Rainfall amount (millimetres)"), plain("Q_RR"), plain("MESS_DATUM")
    ('rainfall amount', 'q rr', 'mess datum')
    """
    name = re.sub(r"[\[({][^\])}]*[\])}]", " ", name)
    return re.sub(r"[\s_]+", " ", name).strip(" .:#*\"'").lower()


def _is(role: str, name: str) -> bool:
    word = plain(name)
    return (
        word in WORDS[role] or word.replace(" ", "_") in WORDS[role] or word.replace(" ", "") in WORDS[role]
    )


def date_columns(names: Sequence[str]) -> list[tuple[tuple[int, ...], str]]:
    """Find the columns that may make up the date, the likeliest first; the rows decide between them.

    >>> date_columns(["Day", "Month", "Year", "Prcp(mm)"])[0]
    ((2, 1, 0), 'year month day')
    >>> date_columns(["year", "day", "radn", "rain"])[0]
    ((0, 1), 'year doy')
    """
    lower = [plain(n) for n in names]
    found = {role: [i for i, n in enumerate(names) if _is(role, n)] for role in WORDS}
    if "yyyy" in lower and "mm" in lower and not found["month"]:
        # yyyy and mm side by side are year and month, whatever mm means elsewhere
        found["month"] = [lower.index("mm")]
    dated = [i for i in found["date"] if lower[i] not in ("time", "tid")] or found["date"]
    dated += [i for i, n in enumerate(lower) if not dated and re.search(r"(^|\s)(date|datum|fecha)(\s|$)", n)]
    out: list[tuple[tuple[int, ...], str]] = []
    if dated:
        clock = [i for i in found["clock"] if i != dated[0]]
        out.append(((dated[0], clock[0]), "date clock") if clock else ((dated[0],), "date"))
    for year in found["year"][:1]:
        columns, parts = [], ""
        if found["month"] and found["day"]:
            columns, parts = [year, found["month"][0], found["day"][0]], "year month day"
        elif found["doy"] or (found["day"] and not found["month"]):
            columns, parts = [year, (found["doy"] or found["day"])[0]], "year doy"
        for role in ("hour", "minute") if columns else ():
            if not found[role]:
                break
            columns.append(found[role][0])
            parts += f" {role}"
        if columns:
            out.append((tuple(columns), parts))
    return out + [((i,), "date") for i in found["day"][:1]]


def looks_like_rain(name: str) -> bool:
    """Tell whether a name means rain.

    >>> looks_like_rain("Prcp(mm)"), looks_like_rain("rain_quality"), looks_like_rain("tmax")
    (True, False, False)
    """
    word = plain(name)
    return bool(_RAIN.search(word)) and not _NOT_RAIN.search(word)


def rain_column(names: Sequence[str], others: Sequence[int], column: str | int | None) -> int:
    """Find the rain column; several that could be it are a doubt, which ``column=`` settles."""
    if column is not None:
        same = [i for i, n in enumerate(names) if n.strip().lower() == str(column).strip().lower()]
        same = same or [i for i, n in enumerate(names) if plain(n) == plain(str(column))]
        if len(same) != 1:
            raise InputError(
                f"{'no column' if not same else 'more than one column'} is called {column!r}",
                f"name one of: {', '.join(names)}",
                "column",
            )
        return same[0]
    left = [i for i in range(len(names)) if i not in others]
    rain = [i for i in left if looks_like_rain(names[i])]
    if not rain:
        named = [
            i for i in left if plain(names[i]) and unit_in_name(names[i]) and "snow" not in plain(names[i])
        ]
        rain = named if len(named) == 1 else []
    if not rain and len(left) == 1:
        rain = left
    if len(rain) == 1:
        return rain[0]
    shown = ", ".join(names[i] or f"(column {i + 1})" for i in (rain or left)[:12])
    raise InputError(
        f"more than one column may be the rain: {shown}"
        if rain
        else f"no column is plainly the rain: {shown}",
        "say which with column=, by its name",
        "column",
    )


def roles(names: Sequence[str], date: tuple[tuple[int, ...], str], column: str | None) -> Roles:
    """Give each column its role, from the names."""
    where, parts = date
    sites = [i for i, n in enumerate(names) if _is("site", n) and i not in where]
    sites += [
        i
        for i, n in enumerate(names)
        if not sites and re.search(r"(station|stn|gauge) (number|no|name|id)$", plain(n))
    ]
    places = tuple(
        (role, i)
        for role in ("latitude", "longitude", "elevation")
        for i in [next((i for i, n in enumerate(names) if _is(role, n)), -1)]
        if i >= 0
    )
    days = next((i for i, n in enumerate(names) if i not in where and _DAYS.search(_with_unit(n))), -1)
    taken = [*where, days, *sites, *(i for _, i in places)]
    quality = [i for i, n in enumerate(names) if i not in taken and _QUALITY.search(plain(n))]
    rain = rain_column(names, [*taken, *quality], column)
    # a quality column belongs to the rain when it names it or follows it
    stem = plain(names[rain])
    mine = [i for i in quality if i != rain and stem and stem in plain(names[i])] or [
        i for i in quality if rain < i <= rain + 2
    ]
    return Roles(
        tuple(names), where, parts, rain, days, mine[0] if mine else -1, sites[0] if sites else -1, places
    )


def _with_unit(name: str) -> str:
    return re.sub(r"[\s_]+", " ", name).strip().lower().removesuffix(" (days)")
