"""CF netCDF, a station or a grid: the variable, its unit, its calendar, its place."""

from __future__ import annotations

import os
import shutil
import tempfile
import warnings
from collections.abc import Iterator
from contextlib import contextmanager

import numpy as np
import xarray as xr

from rainharvest.errors import InputError
from rainharvest.rainfall.flags import Flag
from rainharvest.rainfall.read_cell import axis, cell
from rainharvest.rainfall.read_columns import looks_like_rain
from rainharvest.rainfall.read_days import Readings, plural, usual_step
from rainharvest.rainfall.read_open import Source, unpacked
from rainharvest.rainfall.read_plan import Hints, file_unit
from rainharvest.rainfall.read_preamble import Preamble
from rainharvest.rainfall.read_units import parse_unit
from rainharvest.rainfall.read_values import NEGATIVE_CODES
from rainharvest.sources import Default

PACKING_DUST = Default(
    0.01, "mm", "below zero by less than this is the rounding of a packed zero", "own choice"
)

MOST_TIMES = 50_000_000
"""Longest dimension read: 95 years of minutes; a longer one is a damaged header."""

RAIN_NAMES = frozenset(
    "precipitation_flux rainfall_flux lwe_precipitation_rate rainfall_rate precipitation_amount "
    "rainfall_amount lwe_thickness_of_precipitation_amount thickness_of_rainfall_amount".split()
)
"""CF standard names of rain."""


def read_netcdf(source: Source, hints: Hints) -> Readings:
    """Read the rain at one place from a netCDF file.

    Parameters
    ----------
    source : Source
        The file.
    hints : Hints
        The caller's arguments: ``column`` names the variable, ``at`` the place.

    Returns
    -------
    Readings

    Raises
    ------
    InputError
        If the file is damaged, the variable, unit or place is in doubt, or the calendar is not the year's.
    """
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # what matters of them is said in words below
            with _dataset(source) as data:
                return _read(data, hints)
    except InputError:
        raise
    except Exception as error:  # a damaged file can raise anything out of the netCDF libraries
        raise InputError(
            f"the netCDF file is damaged or not CF ({_short(error)})", "fetch or export it again"
        ) from None


def _short(error: Exception) -> str:
    return " ".join(str(error).split())[:160] or type(error).__name__


@contextmanager
def _dataset(source: Source) -> Iterator[xr.Dataset]:
    if source.packing:
        with tempfile.TemporaryDirectory() as folder:
            path = os.path.join(folder, "unpacked.nc")
            with unpacked(source.path, source.packing) as packed, open(path, "wb") as out:
                shutil.copyfileobj(packed, out)
            with open_netcdf(path) as data:
                yield data
    else:
        with open_netcdf(os.fspath(source.path)) as data:
            yield data


def open_netcdf(path: str) -> xr.Dataset:
    """Open the root of a netCDF file, or the one group that holds variables with a time; nothing is read yet.

    Parameters
    ----------
    path : str
        The file.

    Returns
    -------
    Dataset
        Lazy.

    Raises
    ------
    InputError
        If the header is damaged or the root holds no variables.
    """
    with open(path, "rb") as handle:
        classic = handle.read(4) in (b"CDF\x01", b"CDF\x02")
    if classic:
        # the C library can loop for minutes over a damaged classic header; scipy's reader stops at once
        return xr.open_dataset(path, engine="scipy", decode_timedelta=False)
    import netCDF4

    with netCDF4.Dataset(path) as raw:
        if max((len(d) for d in raw.dimensions.values()), default=0) > MOST_TIMES:
            raise InputError("its header promises more times than any record has", "fetch the file again")
        top = any(v.ndim and name not in raw.dimensions for name, v in raw.variables.items())
        groups = [name for name, group in raw.groups.items() if group.variables]
    if top or not groups:
        return xr.open_dataset(path, engine="netcdf4", decode_timedelta=False)
    if len(groups) != 1:
        raise InputError("the file holds no variables at its top", "extract the rain to a file of its own")
    return xr.open_dataset(path, engine="netcdf4", group=groups[0], decode_timedelta=False)


def _read(data: xr.Dataset, hints: Hints) -> Readings:
    notes: list[str] = []
    name = rain_variable(data, hints, notes)
    rain = data[name]
    time = axis(data, rain, "time")
    if time is None:
        raise InputError(f"{name!r} has no time", "name a variable with a time axis", "column")
    facts: dict[str, object] = {}
    rain = cell(data, rain, time, hints, facts, notes)
    stamp, begins = day_stamps(data, data[time], notes)
    step = _interval(data, data[time], begins)
    unit = file_unit(hints, [parse_unit(str(rain.attrs.get("units", "")))], Preamble(), name, notes)
    raw = np.atleast_1d(np.asarray(rain.values, dtype=float))
    if raw.ndim != 1 or len(raw) != len(stamp):
        raise InputError(
            f"{name!r} does not have one value a time", "give a variable of time and place", name
        )
    values, flags = _clean(raw, unit, step, notes)
    ends = begins is None and step < 0.75 * 86400 and name == "tp"
    if ends:
        notes.append("tp is accumulated to the end of each step, as its maker defines it")
    if step < 0.75 * 86400:
        _refuse_piled(stamp, values, step)
    elif begins is None:
        notes.append(
            f"no time bounds: each value, stamped {str(stamp[0])[11:16]}, was taken for the day of its date"
        )
    one, none = np.ones(len(values), dtype=np.int64), np.array([], dtype=np.int64)
    when = stamp if begins is None else begins
    return Readings(when, values, flags, one, none, facts, tuple(notes), step, ends)


def rain_variable(data: xr.Dataset, hints: Hints, notes: list[str]) -> str:
    """Choose the variable that is the rain.

    Parameters
    ----------
    data : Dataset
        The file.
    hints : Hints
        ``column`` names the variable.
    notes : list of str
        Assumptions, added to in place.

    Returns
    -------
    str
        Its name.

    Raises
    ------
    InputError
        If none or several may be the rain, or none has a time.
    """
    timed = [
        str(n)
        for n, v in data.data_vars.items()
        if v.ndim and np.issubdtype(v.dtype, np.number) and axis(data, v, "time")
    ]
    if hints.column is not None:
        if hints.column not in data.data_vars:
            raise InputError(
                f"no variable is called {hints.column!r}", f"name one of: {', '.join(timed)}", "column"
            )
        return str(hints.column)
    rain = [n for n in timed if data[n].attrs.get("standard_name") in RAIN_NAMES]
    rain = rain or [n for n in timed if looks_like_rain(n)]
    rain = rain or [n for n in timed if looks_like_rain(str(data[n].attrs.get("long_name", "")))]
    if not rain and len(timed) == 1:
        notes.append(f"{timed[0]!r}, the only variable with a time, was taken for the rain")
        return timed[0]
    if len(rain) == 1:
        return rain[0]
    if not timed:
        raise InputError("no variable has a time axis", "give a file with rain by day")
    problem = "more than one variable may be the rain" if rain else "no variable is plainly the rain"
    raise InputError(f"{problem}: {', '.join((rain or timed)[:12])}", "say which with column=", "column")


def day_stamps(
    data: xr.Dataset, time: xr.DataArray, notes: list[str]
) -> tuple[np.ndarray, np.ndarray | None]:
    """Return the stamps and, where there are bounds, when each interval begins.

    Parameters
    ----------
    data : Dataset
        The file.
    time : DataArray
        Its time coordinate, in any calendar.
    notes : list of str
        Assumptions, added to in place.

    Returns
    -------
    tuple of ndarray
        datetime64[s], by the date on the wall; None in second place without usable bounds.

    Raises
    ------
    InputError
        If the calendar has days that the year has not, or the times have no unit.
    """
    stamp = _plain(time, notes)
    bounds = time.attrs.get("bounds") or time.encoding.get("bounds")
    if bounds not in data.variables:
        return stamp, None
    edges = data[bounds]
    edges = _plain(edges, []) if not np.issubdtype(edges.dtype, np.number) else None
    if edges is None or edges.shape != (len(stamp), 2):
        return stamp, None
    begins, length = edges[:, 0], (edges[:, 1] - edges[:, 0]).astype(np.int64)
    if (length <= 0).any():
        return stamp, None
    if np.median(length) >= 0.75 * 86400:
        # a day from 09:00 to 09:00 bears the date on which most of it lies
        begins = begins + (length // 2).astype("timedelta64[s]")
        clock = str(edges[0, 0])[11:16]
        if clock != "00:00":
            notes.append(f"the days run from {clock} by their bounds and were given the date of their middle")
    return stamp, begins


def _plain(time: xr.DataArray, notes: list[str]) -> np.ndarray:
    """Return times as datetime64[s] by their date on the wall, whatever their calendar."""
    values = np.asarray(time.values)
    if np.issubdtype(values.dtype, np.datetime64):
        stamp = np.atleast_1d(values.astype("datetime64[s]"))
    elif values.dtype == object and values.size and hasattr(values.flat[0], "calendar"):
        calendar = values.flat[0].calendar
        if calendar in ("360_day", "all_leap", "366_day"):
            raise InputError(
                f"the calendar {calendar!r} has days that the year does not",
                "convert the file to the standard calendar first, and say in the study how",
                "time",
            )
        texts = [t.strftime("%Y-%m-%dT%H:%M:%S") for t in values.flat]
        stamp = np.array(texts, dtype="datetime64[s]").reshape(values.shape)
        if calendar in ("noleap", "365_day"):
            notes.append("the calendar has no 29 February; those days are unknown, not dry")
        elif calendar == "julian":
            notes.append("the dates of the Julian calendar were taken as they stand")
    else:
        raise InputError(
            "the times have no unit such as 'days since 1990-01-01'", "give the time its unit", "time"
        )
    if np.isnat(stamp).any():
        raise InputError("some times are missing", "repair the time axis", "time")
    years = stamp.astype("datetime64[Y]").astype(np.int64) + 1970
    if years.size and not (1600 <= years.min() and years.max() <= 2200):
        raise InputError(
            f"the years run from {years.min()} to {years.max()}", "repair the unit of time", "time"
        )
    return stamp


def _interval(data: xr.Dataset, time: xr.DataArray, begins: np.ndarray | None) -> float:
    stamp = _plain(time, [])
    if not len(stamp):
        raise InputError("the file has no times in it", "check that this is the file meant")
    return usual_step(stamp)


def _clean(raw: np.ndarray, unit, step: float, notes: list[str]) -> tuple[np.ndarray, np.ndarray]:
    """Turn values to mm; fill values that were not declared and packing dust are named."""
    raw = np.where(np.isfinite(raw), raw, np.nan)
    coded = np.isin(np.round(raw, 2), list(NEGATIVE_CODES))
    if coded.any():
        notes.append(f"{plural(int(coded.sum()), 'value')} with an undeclared missing code set to unknown")
    values = unit.mm(np.where(coded, np.nan, raw), step)
    dust = (values < 0) & (values > -PACKING_DUST.value)
    if dust.any():
        notes.append(f"{plural(int(dust.sum()), 'value')} a hair below zero (packing) set to 0")
    values = np.where(dust, 0.0, values)
    return values, np.where(np.isnan(values), Flag.MISSING, Flag.MEASURED).astype(np.int8)


def _refuse_piled(stamp: np.ndarray, values: np.ndarray, step: float) -> None:
    """Refuse sub-daily values that pile up from midnight: summing them counts rain many times over."""
    day = (stamp - np.timedelta64(int(step), "s")).astype("datetime64[D]")
    within = np.diff(day) == np.timedelta64(0)
    rises = np.diff(values)[within]
    wet = np.unique(day[1:][within][values[1:][within] > 0])
    if (
        len(wet) >= 3
        and (rises[~np.isnan(rises)] >= -1e-6).all()
        and (np.diff(values)[~within] < -1e-6).any()
    ):
        raise InputError(
            "the values pile up through each day (accumulated from midnight)",
            "keep the stamp 00:00, which holds the total of the day before, or take differences first",
        )
