"""Which column is which: dates, rain, days of total, quality, site, read from the column names."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from rainharvest.errors import InputError
from rainharvest.rainfall.read_units import unit_in_name

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
    """Places of the columns that matter; -1 or empty where there is none.

    Parameters
    ----------
    names : tuple of str
        All column names, as the file writes them.
    date : tuple of int
        One column (a date), two (a date and a clock), or the parts named by ``parts``.
    parts : str
        "date", "date clock", or "year month day [hour [minute]]", "year doy".
    rain, days, quality, site : int
        Places of those columns.
    places : dict
        Places of latitude, longitude, elevation columns.
    """

    names: tuple[str, ...]
    date: tuple[int, ...]
    parts: str
    rain: int = -1
    days: int = -1
    quality: int = -1
    site: int = -1
    places: tuple[tuple[str, int], ...] = ()


def plain(name: str) -> str:
    """Return a column name in lower case, without its unit in brackets and with single blanks.

    Parameters
    ----------
    name : str
        As the file writes it.

    Returns
    -------
    str

    Examples
    --------
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

    Parameters
    ----------
    names : sequence of str
        All column names.

    Returns
    -------
    list of tuple
        Places of the columns, and what they are (see ``Roles.parts``).

    Examples
    --------
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

    Parameters
    ----------
    name : str
        The name of a column or variable.

    Returns
    -------
    bool

    Examples
    --------
    >>> looks_like_rain("Prcp(mm)"), looks_like_rain("rain_quality"), looks_like_rain("tmax")
    (True, False, False)
    """
    word = plain(name)
    return bool(_RAIN.search(word)) and not _NOT_RAIN.search(word)


def rain_column(names: Sequence[str], others: Sequence[int], column: str | int | None) -> int:
    """Find the rain column; several that could be it are a doubt, which ``column=`` settles.

    Parameters
    ----------
    names : sequence of str
        All column names.
    others : sequence of int
        Places that are dates or the like.
    column : str, optional
        The name that the caller gave.

    Returns
    -------
    int
        Its place.

    Raises
    ------
    InputError
        If there is no such column, none that looks like rain, or more than one.
    """
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
    """Give each column its role, from the names.

    Parameters
    ----------
    names : sequence of str
        All column names.
    date : tuple
        The columns of the date, one of what ``date_columns`` gave.
    column : str, optional
        The rain column that the caller named.

    Returns
    -------
    Roles

    Raises
    ------
    InputError
        As ``rain_column`` does.
    """
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
