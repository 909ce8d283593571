"""Gridded daily rain, or many sites: opened without being read, and checked before anything is computed."""

from __future__ import annotations

import glob
import math
import os
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pandas as pd
import xarray as xr

from rainharvest.climates.statistics import months_of
from rainharvest.climates.tiles import Grid, read_raw, source_chunk
from rainharvest.core.errors import InputError, require
from rainharvest.core.quantities import QUANTITIES
from rainharvest.rainfall.read_columns import Unit, check_mean, given_unit, in_mm, parse_unit
from rainharvest.rainfall.read_days import refuse_piled
from rainharvest.rainfall.read_grid import axis, day_stamps, open_netcdf, rain_variable
from rainharvest.rainfall.read_rows import Hints
from rainharvest.rainfall.read_values import LIMITS, plural

DAY = 86400


class Piece(NamedTuple):
    """The rain of one file, or in memory."""

    file: Path | None
    data: xr.Dataset
    time: xr.DataArray
    rain: xr.DataArray


def common_unit(pieces: Sequence[Piece], hints: Hints, notes: list[str]) -> Unit:
    """Return the one unit of all pieces."""
    given = given_unit(hints.units)
    if given:
        notes.append(f"rain was read in {given.text}, as asked")
        return given
    units = []
    for piece in pieces:
        text = str(piece.rain.attrs.get("units", ""))
        unit = parse_unit(text)
        said = f"says {text!r}, which is no unit of rain" if text else "states no unit"
        remedy = "say units='mm/day' (or 'kg m-2 s-1', ...)"
        require(unit, f"{piece.rain.name!r} {said}", remedy, "units", piece.file)
        units.append(unit)
        require(
            (unit.factor, unit.per) == (units[0].factor, units[0].per),
            f"its unit is {unit.text}, that of {pieces[0].file} is {units[0].text}",
            "convert the files to one unit first",
            "units",
            piece.file,
        )
    return units[0]


def days_of(pieces: Sequence[Piece], notes: list[str]) -> dict[str, object]:
    """Return what the grid says of its days; one that is not whole at an end is left out."""
    dates, calendars, readings = [], set(), set()
    for file, data, time, rain in pieces:
        try:
            stamps, begins = day_stamps(data, time, notes)
            moments = stamps if begins is None else begins
            step = _step(moments)
            if begins is None and step == DAY:
                notes.append("no time bounds: each value was taken for the day of its date")
            elif step < DAY:
                ends = begins is None and rain.name == "tp"
                moments = moments - np.timedelta64(int(step), "s") if ends else moments
                when = "ends" if ends else "begins"
                notes.append(
                    f"readings {step / 3600:g} h apart were summed to days by the clock of the file, "
                    f"each taken for the time that {when} at its stamp"
                )
            readings.add(round(DAY / step))
            calendars.add(getattr(time.values.flat[0], "calendar", "standard"))
            dates.append(moments.astype("datetime64[D]"))
        except InputError as error:
            raise error.at(file) if file is not None else error from None
    for found, words in ((calendars, "calendars"), (readings, "steps of time")):
        remedy = "give files that are alike"
        require(len(found) == 1, f"the files have {len(found)} {words}", remedy, "time", pieces[-1].file)
    calendar, each = calendars.pop(), readings.pop()
    together = np.concatenate(dates)
    days = np.arange(together.min(), together.max() + 1)
    count = np.bincount((together - days[0]).astype(np.int64), minlength=days.size)
    for day in days[count > each][:1]:
        file = [piece.file for piece, own in zip(pieces, dates, strict=True) if day in own][-1]
        raise InputError(f"{day} stands twice", "give each day once: files must not overlap", "time", file)
    whole = np.flatnonzero(count == each)
    remedy = "give at least a year of daily rain"
    require(whole.size, "no day is whole", remedy, "time", pieces[0].file)
    days, count = days[whole[0] : whole[-1] + 1], count[whole[0] : whole[-1] + 1]
    index = pd.DatetimeIndex(days.astype("datetime64[ns]"), name="time")
    lacking = months_of(index, calendar)[0] == 12
    absent = index[(count < each) & ~lacking]
    for day in absent[:1]:
        raise InputError(
            f"{absent.size} days are not in the files, the first {day.date()}",
            "give files that follow one another without a gap",
            "time",
            pieces[-1].file,
        )
    require(days.size >= 365, f"only {days.size} days", remedy, "time", pieces[0].file)
    places = tuple((d - days[0]).astype(np.int64) for d in dates)  # of a day that is cut off: outside
    return {"days": index, "places": places, "calendar": calendar, "readings": each}


def _step(stamps: np.ndarray) -> float:
    """Return the step of the times [s]; months and times that do not rise or do not divide the day are refused."""
    if stamps.size < 2:
        return DAY
    steps = np.diff(stamps.astype("datetime64[s]")).astype(np.int64)
    for stamp in stamps[1:][steps <= 0][:1]:
        problem = f"the times do not rise at {str(stamp)[:10]}"
        raise InputError(problem, "sort the file by time, each day once", "time")
    step = float(np.median(steps))
    if step >= 28 * DAY:
        what = "monthly" if step <= 31 * DAY else "yearly" if step > 300 * DAY else "totals over many days"
        raise InputError(f"the rain is {what}", "give daily rain; totals cannot be undone", "time")
    divides = step <= DAY and DAY % step == 0
    require(divides, f"the steps are {step / DAY:g} days", "give rain by the day, or by the hour", "time")
    return step


def open_grid(
    source,
    *,
    column: str | None = None,
    units: str | None = None,
    mask: str | xr.DataArray | None = None,
    region: Sequence[float] | None = None,
) -> Grid:
    """Open daily rain at many places without reading it, and refuse what cannot be used.

    >>> days = pd.date_range("2001-01-01", periods=400)
    >>> rain = xr.DataArray(
    ...     np.ones((400, 2)), {"time": days, "site": ["a", "b"]}, ("time", "site"), attrs={"units": "mm/day"}
    ... )
    >>> open_grid(rain).space
    {'site': 2}
    """
    notes: list[str] = []
    hints = Hints(column=column, units=units)
    pieces = [_piece(data, hints, notes, file) for file, data in _open(source)]
    pieces.sort(key=lambda piece: str(piece.time.values.flat[0]))
    data, rain = pieces[0].data, pieces[0].rain
    for piece in pieces[1:]:
        _same_places(rain, piece)
    unit = common_unit(pieces, hints, notes)
    days = days_of(pieces, notes)
    if unit.per in ("hour", "minute") and days["readings"] == 1:
        notes.append(f"{unit.text} was taken for the mean rate of each day")
    scale = max(abs(float(piece.rain.encoding.get("scale_factor", 0.0) or 0.0)) for piece in pieces)
    space = {str(d): n for d, n in rain.sizes.items() if d != "time"}
    grid = Grid(
        pieces=tuple(piece.rain for piece in pieces),
        space=space,
        coords=_coords(data, rain, space),
        unit=unit,
        **days,
        dust=max(LIMITS["packing_dust"].value, float(unit.mm(np.array(1.001 * scale)))),
        mask=_mask(data, mask, space),
        mean_intensity=_hardness(data, space),
        files=tuple(piece.file for piece in pieces if piece.file is not None),
        notes=tuple(dict.fromkeys(notes)),
        invented="invented" in " ".join(map(str, data.attrs.values())).lower(),
    )
    return grid if region is None else within(grid, region)


def _open(source) -> list[tuple[object, xr.Dataset]]:
    """Return each file with its lazy Dataset; rain in memory has no file."""
    if isinstance(source, xr.DataArray):
        return [(None, source.to_dataset(name=source.name or "rain"))]
    if isinstance(source, xr.Dataset):
        return [(None, source)]
    given = [source] if isinstance(source, str | os.PathLike) else list(source)
    files: list[Path] = []
    for one in map(str, given):
        found = [one] if os.path.exists(one) else sorted(glob.glob(one))
        if not found:
            raise InputError("no such file or folder", "check the path or the pattern", "grid", one)
        files += [Path(file).absolute() for file in found]  # a worker of a cluster may stand elsewhere
    return [(file, _open_one(file)) for file in files]


def _open_one(file: Path) -> xr.Dataset:
    try:
        if file.is_dir():
            return xr.open_zarr(file, chunks=None, decode_timedelta=False)
        return open_netcdf(os.fspath(file))
    except InputError as error:
        raise error.at(file) from None
    except Exception as error:  # a damaged file can raise anything out of the libraries
        short = " ".join(str(error).split())[:160] or type(error).__name__
        problem = f"it is damaged, or neither netCDF nor Zarr ({short})"
        raise InputError(problem, "fetch or export it again", file=file) from None


def _piece(data: xr.Dataset, hints: Hints, notes: list[str], file: Path | None) -> Piece:
    """Return the rain of one file, its dimension of time by this name."""
    try:
        name = rain_variable(data, hints, notes)
        rain = data[name]
        time = axis(data, rain, "time")
        require(time is not None, f"{name!r} has no time axis", "give daily rain with its dates", name)
        moments = data[time]
        remedy = "give rain with a dimension of time"
        require(moments.ndim == 1, "the time is a single moment", remedy, time)
    except InputError as error:
        raise error.at(file) from None
    named = rain.rename({moments.dims[0]: "time"}).drop_vars("time", errors="ignore")
    return Piece(file, data, moments, named)


def _same_places(rain: xr.DataArray, piece: Piece) -> None:
    """Refuse a piece whose places are not those of the first."""
    ours, theirs = ({d: n for d, n in one.sizes.items() if d != "time"} for one in (rain, piece.rain))
    both = [d for d in ours if d in rain.coords and d in piece.rain.coords]
    require(
        ours == theirs and all(np.array_equal(rain[d].values, piece.rain[d].values) for d in both),
        f"its places are {theirs}, where the first file has {ours}, or lie elsewhere",
        "give files of one grid",
        file=piece.file,
    )


def _coords(data: xr.Dataset, rain: xr.DataArray, space: dict[str, int]) -> dict[str, xr.Variable]:
    """Return the coordinates of the places, latitude and longitude by their standard names."""
    found: dict[str, xr.Variable] = {}
    for role in ("latitude", "longitude"):
        name = axis(data, rain, role)
        if name is not None and set(data[name].dims) <= set(space):
            attrs = {"units": QUANTITIES[role].unit, "standard_name": role}
            found[name] = xr.Variable(data[name].dims, data[name].values.astype(float), attrs)
    further = {d: rain[d].variable.to_base_variable() for d in space if d in rain.coords and d not in found}
    return found | further


def _mask(data: xr.Dataset, mask, space: dict[str, int]) -> xr.DataArray | None:
    """Return which places are worked on, where a mask is given."""
    if mask is None:
        return None
    if isinstance(mask, str):
        require(
            mask in data.variables, f"no variable is called {mask!r}", "name a variable of the file", "mask"
        )
        mask = data[mask].squeeze(drop=True)
    require(
        set(mask.dims) <= set(space) and all(mask.sizes[d] == space[d] for d in mask.dims),
        f"the mask has {dict(mask.sizes)}, the rain {space}",
        "give a mask on the grid of the rain",
        "mask",
    )
    return _on_grid(mask, space).fillna(0) > 0


def _hardness(data: xr.Dataset, space: dict[str, int]) -> xr.DataArray | None:
    """Return the mean wet-hour intensity of each place, where the file has it, with its ``variation``."""
    hard = data.get("mean_intensity")
    if hard is None or not set(hard.dims) <= set(space):
        return None
    mean, more = _on_grid(in_mm(hard, "mean_intensity", "hour"), space), hard.coords.get("variation")
    return mean if more is None else mean.assign_coords(variation=_on_grid(more, space))


def _on_grid(values: xr.DataArray, space: dict[str, int]) -> xr.DataArray:
    """Return values on every dimension of the places, in their order."""
    whole = values.variable.to_base_variable().set_dims(space).transpose(*space).values
    return xr.DataArray(np.asarray(whole, dtype=float), dims=tuple(space))


def within(grid: Grid, region: Sequence[float]) -> Grid:
    """Return the part of a grid between two parallels and two meridians."""
    lat, lon = grid.on_the_map()
    try:
        south, north, west, east = (float(x) for x in region)
    except (TypeError, ValueError):
        raise InputError(f"{region!r} is no region", "give south, north, west, east", "region") from None
    problem = "latitude and longitude are not the grid's axes"
    require(lat.dims != lon.dims, problem, "give a mask instead", "region")
    rows = np.flatnonzero((lat.values >= south) & (lat.values <= north))
    turn = (lon.values - west) % 360
    columns = np.flatnonzero(turn <= (east - west) % 360 if east - west < 360 else turn >= 0)
    said = f"{south:g} to {north:g}, {west:g} to {east:g}"
    remedy = "give south, north, west and east edges within the grid"
    require(rows.size and columns.size, f"no place of the grid lies in {said}", remedy, "region")
    crossing = (np.diff(columns) != 1).any()
    require(not crossing, "the region crosses the edge of the grid", "turn the longitudes first", "region")
    cut = {lat.dims[0]: slice(rows[0], rows[-1] + 1), lon.dims[0]: slice(columns[0], columns[-1] + 1)}
    part = {d: len(range(n)[cut[d]]) if d in cut else n for d, n in grid.space.items()}
    return replace(
        grid,
        pieces=tuple(piece.isel(cut) for piece in grid.pieces),
        space=part,
        coords={n: v.isel({d: cut[d] for d in v.dims if d in cut}) for n, v in grid.coords.items()},
        mask=None if grid.mask is None else grid.mask.isel(cut),
        mean_intensity=None if grid.mean_intensity is None else grid.mean_intensity.isel(cut),
        notes=(*grid.notes, f"region {said}: {plural(math.prod(part.values()), 'place')}"),
    )


PILED = 60

"""Days of readings that are looked at for values that pile up from midnight."""

DAYS, SAMPLED_PLACES = 5, 64

"""As many days of the whole grid, or as many places over all days, whichever decodes less."""


def check_sample(grid: Grid) -> None:
    """Look at a part of the rain and refuse what is plainly not daily rain."""
    file = grid.files[0] if grid.files else None
    known = _known(grid, _some_places(grid)) if source_chunk(grid)["time"] > 366 else np.empty(0)
    if not known.size:  # also where the places looked at all lie at sea
        known = _known(grid, _some_days(grid))
    problem = "no place has a value on the days looked at"
    require(known.size, problem, "check the file and its mask", file=file)
    below = float((known < -grid.dust).mean())
    problem = f"{100 * below:.0f} % of the values looked at are below zero"
    require(below <= 0.01, problem, "check that the variable is rain, and how it is packed", file=file)
    check_mean(float(np.mean(known)), file)
    if grid.readings > 1:
        first = grid.pieces[0].variable.isel(time=slice(0, PILED * grid.readings))
        values = first.transpose(*grid.space, "time").values.reshape(-1, first.sizes["time"])
        wettest = values[np.nansum(values, axis=1).argmax()]
        step = 86400 // grid.readings
        refuse_piled(step * np.arange(wettest.size), wettest, step)


def _known(grid: Grid, raw: np.ndarray) -> np.ndarray:
    """Return values in mm/day, without those that stand for a missing one."""
    values = grid.unit.mm(raw)
    return values[np.isfinite(values) & (values > -90 * grid.unit.mm(np.array(1.0)))]


def _some_days(grid: Grid) -> np.ndarray:
    """Return the rain of a few days at all places, as the files have it."""
    days = np.linspace(1, grid.days.size - 2, DAYS).astype(int)
    sample = [read_raw(grid, {"time": slice(t, t + 1)})[..., 0] for t in days]
    return np.concatenate([day.ravel() if grid.mask is None else day[grid.mask.values] for day in sample])


def _some_places(grid: Grid) -> np.ndarray:
    """Return the rain of some places over all days, as the files have it."""
    wanted = np.arange(grid.cells) if grid.mask is None else np.flatnonzero(grid.mask.values)
    if not wanted.size:
        return np.empty(0)
    some = wanted[np.linspace(0, wanted.size - 1, min(SAMPLED_PLACES, wanted.size)).astype(int)]
    at = np.unravel_index(some, tuple(grid.space.values()))
    places = [dict(zip(grid.space, one, strict=True)) for one in zip(*at, strict=True)]
    return np.concatenate(
        [read_raw(grid, {d: slice(i, i + 1) for d, i in one.items()}).ravel() for one in places]
    )
