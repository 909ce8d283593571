"""Which column is which and in what unit: dates, rain, days of total, quality, site."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import xarray as xr

from rainharvest.rainfall.read_values import READING
from rainharvest.rainfall.refusals import refusal, refuse_unless


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
        with np.errstate(over="ignore"):  # what is beyond every number is no reading either
            return np.asarray(values, dtype=float) if factor == 1 else np.round(values * factor, 9)


SECONDS = {"day": 86400.0, "hour": 3600.0, "minute": 60.0, "second": 1.0}


def words_of(name: str) -> dict[str, str]:
    """Return the key of each word of a table of words in reading.toml."""
    return {word: key for key, words in READING[name].items() for word in words.split()}


_BASE = {word: row["mm"] for row in READING["units"]["lengths"] for word in row["words"].split()}

_PER = {word: per for per, words in READING["units"]["times"].items() for word in words.split()}


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
    for row in READING["units"]["scales"]:
        if found := re.match(rf"({row['pattern']})(?=[^\d])", tight):
            tight, factor = tight[found.end() :], row["factor"]
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
    return Unit(text.strip(), factor, "second") if tight.endswith("s-1kgm-2") else None


def given_unit(units: str | None) -> Unit | None:
    """Return the unit that the caller named with ``units=``."""
    unit = parse_unit(units) if isinstance(units, str) else None
    refuse_unless(unit or units is None, "no_unit", units=units)
    return unit


def in_mm(values: xr.DataArray, place: str = "rain", per: str = "day") -> xr.DataArray:
    """Return rain that is handed over in mm a day or an hour, by the unit that it states; without one as it is.

    >>> flux = xr.DataArray([2.0 / 86400], dims="time", attrs={"units": "kg m-2 s-1"})
    >>> in_mm(flux).values, in_mm(flux).attrs["units"]
    (array([2.]), 'mm/day')
    """
    text = str(values.attrs.get("units", "")).strip()
    unit, step = parse_unit(text), SECONDS[per]
    refuse_unless(unit or not text, "unit_of_attribute", units=text, per=per, place=place)
    if not text or float(unit.mm(1.0, step)) == 1:
        return values
    mm = xr.apply_ufunc(
        unit.mm, values, kwargs={"step": step}, dask="parallelized", output_dtypes=[float], keep_attrs=True
    )
    return mm.assign_attrs(units=f"mm/{'h' if per == 'hour' else per}")


def check_mean(mean: float, file: object = None) -> None:
    """Refuse rain so heavy on the mean of its days [mm/day] that its unit must be wrong."""
    refuse_unless(mean <= 100, "much_rain", file, mean=float(mean))


LONGEST_NAME = 200  # letters of a column's name that are looked at; patterns take long over endless ones


def unit_in_name(name: str) -> Unit | None:
    """Return the unit that a column's name carries: rain_mm, Prcp(mm), Rainfall amount (millimetres).

    >>> unit_in_name("Rainfall amount (millimetres)").factor, unit_in_name("precip_in").factor
    (1.0, 25.4)
    >>> unit_in_name("Precipitation") is None
    True
    """
    name = name[:LONGEST_NAME]
    words = [w for w in re.split(r"[\s_,:;.-]+", name.strip()) if w]
    tails = [" ".join(words[-count:]) for count in (4, 3, 2, 1) if len(words) >= count]
    # a lone "m", "d" or quote mark at the end of a name is too little to be a unit
    tails = [tail for tail in tails if tail.lower() not in ("m", '"')]
    inside = re.findall(r"[(\[{]([^)\]}]*)[)\]}]", name)
    return next((unit for unit in map(parse_unit, [*inside, *tails]) if unit), None)


COLUMNS = {role: frozenset(words.split()) for role, words in READING["columns"].items()}

_RAIN, _NOT_RAIN, _DAYS, _HOURS, _QUALITY, _REMARK = (
    re.compile("|".join(READING["patterns"][name]))
    for name in ("rain", "not_rain", "days", "hours", "quality", "remark")
)


def is_rain(text: str) -> bool:
    """Tell whether words are about rain."""
    return bool(_RAIN.search(text.lower()))


@dataclass(frozen=True)
class Roles:
    """Places of the columns that matter; -1 or empty where there is none."""

    date: tuple[int, ...]  # One column (a date), two (a date and a clock), or the parts named by ``parts``
    parts: str  # "date", "date clock", or "year month day [hour [minute]]", "year doy"
    rain: int = -1
    days: int = -1  # Days over which a value was measured
    hours: bool = False  # Whether these are given in hours
    end: int = -1  # The last date of the row, where it has two
    quality: int = -1
    remark: int = -1
    site: int = -1
    places: tuple[tuple[str, int], ...] = ()  # latitude, longitude, elevation


@lru_cache(maxsize=4096)
def plain(name: str) -> str:
    """Return a column name in lower case, without its unit in brackets and with single blanks.

    >>> plain("Rainfall amount (millimetres)"), plain("Q_RR"), plain("MESS_DATUM")
    ('rainfall amount', 'q rr', 'mess datum')
    """
    name = re.sub(r"[\[({][^\])}]*[\])}]", " ", name[:LONGEST_NAME])
    return re.sub(r"[\s_]+", " ", name).strip(" .:#*\"'").lower()


def places_of(names: Sequence[str], role: str) -> list[int]:
    """Return the places of the columns that bear a name of this role."""
    return [
        i
        for i, word in enumerate(map(plain, names))
        if COLUMNS[role] & {word, word.replace(" ", "_"), word.replace(" ", "")}
    ]


def date_columns(names: Sequence[str]) -> list[tuple[tuple[int, ...], str]]:
    """Find the columns that may make up the date, the likeliest first; the rows decide between them.

    >>> date_columns(["Day", "Month", "Year", "Prcp(mm)"])[0]
    ((2, 1, 0), 'year month day')
    >>> date_columns(["year", "day", "radn", "rain"])[0]
    ((0, 1), 'year doy')
    """
    lower = [plain(n) for n in names]
    found = {role: places_of(names, role) for role in COLUMNS}
    if "yyyy" in lower and "mm" in lower and not found["month"]:
        # yyyy and mm side by side are year and month, whatever mm means elsewhere
        found["month"] = [lower.index("mm")]
    dated = [i for i in found["date"] if lower[i] not in ("time", "tid")] or found["date"]
    dated = dated or found["start"]
    dated = dated or [i for i, n in enumerate(lower) if re.search(r"(^|\s)(date|datum|fecha)(\s|$)", n)]
    out: list[tuple[tuple[int, ...], str]] = []
    if dated:
        clock = [i for i in (*found["clock"], *found["hour"]) if i != dated[0]]
        out.append(((dated[0], clock[0]), "date clock") if clock else ((dated[0],), "date"))
    if found["year"]:
        parts = []
        if found["month"] and found["day"]:
            parts = ["year", "month", "day"]
        elif found["doy"] or (found["day"] and not found["month"]):
            parts = ["year", "doy"]
            found["doy"] = found["doy"] or found["day"]
        for role in ("hour", "minute") if parts else ():
            if not found[role]:
                break
            parts.append(role)
        if parts:
            out.append((tuple(found[role][0] for role in parts), " ".join(parts)))
    return out + [((i,), "date") for i in found["day"][:1]]


def looks_like_rain(name: str) -> bool:
    """Tell whether a name means rain.

    >>> looks_like_rain("Prcp(mm)"), looks_like_rain("rain_quality"), looks_like_rain("tmax")
    (True, False, False)
    """
    word = plain(name)
    return bool(_RAIN.search(word)) and not _NOT_RAIN.search(word)


def _rain_column(names: Sequence[str], others: Sequence[int], column: str | None) -> int:
    """Find the rain column; several that could be it are a doubt, which ``column=`` settles."""
    if column is not None:
        same = [i for i, n in enumerate(names) if n.strip().lower() == str(column).strip().lower()]
        same = same or [i for i, n in enumerate(names) if plain(n) == plain(str(column))]
        kind = "column_twice" if same else "no_such_column"
        refuse_unless(len(same) == 1, kind, column=column, names=", ".join(names))
        return same[0]
    left = [i for i in range(len(names)) if i not in others]
    rain = [i for i in left if looks_like_rain(names[i])]
    if not rain:
        named = [i for i in left if plain(names[i]) and unit_in_name(names[i])]
        named = [i for i in named if "snow" not in plain(names[i])]
        rain = named if len(named) == 1 else left if len(left) == 1 else []
    if len(rain) == 1:
        return rain[0]
    shown = ", ".join(names[i] or f"(column {i + 1})" for i in (rain or left)[:12])
    raise refusal("which_column" if rain else "no_rain_column", names=shown)


def roles(names: Sequence[str], date: tuple[tuple[int, ...], str], column: str | None) -> Roles:
    """Give each column its role, from the names."""
    where, parts = date
    words = [plain(n) for n in names]
    sites = [i for i in places_of(names, "site") if i not in where]
    sites = sites or [
        i for i, n in enumerate(words) if re.search(r"(station|stn|gauge) (number|no|name|id)$", n)
    ]
    places = tuple(
        (role, i) for role in ("latitude", "longitude", "elevation") for i in places_of(names, role)[:1]
    )
    full = [re.sub(r"[\s_]+", " ", n[:LONGEST_NAME]).strip().lower() for n in names]

    def first(form: re.Pattern, words: list[str], taken: Sequence[int]) -> int:
        return next((i for i, word in enumerate(words) if i not in taken and form.search(word)), -1)

    days = first(_DAYS, full, where)
    hours = first(_HOURS, full, where) if days < 0 else -1
    end = next((i for i in places_of(names, "end") if parts == "date" and i not in where), -1)
    taken = [*where, days, hours, end, *sites, *(i for _, i in places)]
    quality = [i for i, n in enumerate(words) if i not in taken and _QUALITY.search(n)]
    rain = _rain_column(names, [*taken, *quality], column)
    # a quality column belongs to the rain when it names it or follows it
    mine = [i for i in quality if i != rain and words[rain] and words[rain] in words[i]]
    mine = mine or [i for i in quality if rain < i <= rain + 2]
    remark = first(_REMARK, words, [*taken, *range(rain)])
    period = (max(days, hours), hours >= 0, end)
    return Roles(where, parts, rain, *period, [*mine, -1][0], remark, [*sites, -1][0], places)
