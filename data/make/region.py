"""Invented grids of daily rain with gradients of amount and season: for demonstrations, tests and benchmarks.

``python data/make/region.py data/region/rain.nc`` remakes the demo file, byte for byte.
Nothing in them is taken from a record; the place lies in open sea on purpose.
"""

from __future__ import annotations

import math
import os
import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pandas as pd
import xarray as xr

from rainharvest.core.outputs import whole_files
from rainharvest.core.quantities import attributes

SOUTH, WEST, STEP = -18.0, -12.0, 0.25  # open sea of the South Atlantic, a thousand kilometres from any coast

LATTICE = 0.1  # [mm]

# The title that the kept file bears, with the name of this module when it was made.
TITLE = "INVENTED daily rain of a region that does not exist, from rainharvest.climates.invented_grid"


def invent_grid(
    rows: int = 10, columns: int = 12, years: int = 30, seed: int = 0, first_year: int = 1995
) -> xr.Dataset:
    """Invent daily rain over a region with gradients, and how hard it rains.

    From west to east the mean rain falls from about 1,400 to 300 mm a year and the storms grow deeper and rarer;
    from south to north rain that falls all year becomes one rainy season. Each day's weather is one normal number
    over the region plus one of the cell, so that neighbours are alike; it settles whether it rains (a chain of wet
    and dry days) and how much (Weibull depths), as ``rain.py`` does for gauges.
    A slow variation from year to year makes dry years follow one another. The seaward corner is masked.
    """
    days = pd.date_range(f"{first_year}-01-01", f"{first_year + years - 1}-12-31")
    rain = np.empty((days.size, rows, columns), dtype=np.float32)
    for row, values in enumerate(_rows(rows, columns, days, seed)):
        rain[:, row] = values
    fixed = _places(rows, columns)
    rain[:, fixed.land.values == 0] = np.nan
    fixed.coords["time"] = ("time", days, {"long_name": "Day", "standard_name": "time"})
    fixed["rain"] = (("time", "latitude", "longitude"), rain, attributes("rain"))
    fixed.attrs = {"title": f"{TITLE}, seed {seed}", "Conventions": "CF-1.11"}
    return fixed


def _places(rows: int, columns: int) -> xr.Dataset:
    """Return what is fixed: the places, which of them are land, how hard it rains there."""
    north, east = (np.arange(n) / max(n - 1, 1) for n in (rows, columns))
    land = np.ones((rows, columns), dtype=np.int8)
    if rows > 4 and columns > 4:
        land[: rows // 5, : columns // 5] = 0
    hard = np.round(1.0 + 2.0 * (0.5 * north[:, None] + 0.5 * east[None, :]), 2)
    flat = ("latitude", "longitude")
    return xr.Dataset(
        {
            "mean_intensity": (flat, hard, attributes("mean_intensity")),
            "land": (flat, land, {"long_name": "1 on land, 0 at sea"}),
        },
        {
            "latitude": ("latitude", SOUTH + STEP * np.arange(rows), attributes("latitude")),
            "longitude": ("longitude", WEST + STEP * np.arange(columns), attributes("longitude")),
        },
    )


def _rows(rows: int, columns: int, days: pd.DatetimeIndex, seed: int) -> Iterator[np.ndarray]:
    """Give the rain of each row of cells, shape (days, columns): memory grows with a row, not with the grid."""
    from scipy.special import ndtr, ndtri

    weather = ndtri(np.random.default_rng([seed, 0]).random(days.size))
    slow = np.zeros(days.year[-1] - days.year[0] + 1)
    shocks = ndtri(np.random.default_rng([seed, 1]).random(slow.size))
    for k in range(slow.size):
        slow[k] = (0.6 * slow[k - 1] if k else 0.0) + 0.8 * shocks[k]
    slow = slow[days.year - days.year[0]]
    angle = 2 * np.pi * (days.dayofyear.to_numpy() - 1) / 365.25
    east = np.arange(columns) / max(columns - 1, 1)
    for row in range(rows):
        north = row / max(rows - 1, 1)
        own = ndtri(np.random.default_rng([seed, 2, row]).random((days.size, columns)))
        uniform = ndtr(math.sqrt(0.7) * weather[:, None] + math.sqrt(0.3) * own)
        # seasons: even in the south, one wet season around January in the north
        season = np.exp(1.6 * north * np.cos(angle)) / np.i0(1.6 * north)
        share = np.clip((0.36 - 0.24 * east)[None, :] * season[:, None], 0.002, 0.85)
        share = 1 / (1 + (1 / share - 1) * np.exp(-0.18 * slow[:, None]))
        depth = (10.5 - 3.5 * east)[None, :] * np.exp(0.08 * slow)[:, None] * (0.9 + 0.3 * north)
        yield _depths(uniform, share, depth)


def _depths(uniform: np.ndarray, share: np.ndarray, depth: np.ndarray) -> np.ndarray:
    """Return depths of a chain of wet and dry days; a day between both chances is as the day before."""
    persistence, shape = 0.3, 0.75
    after_dry, after_wet = share * (1 - persistence), share + persistence * (1 - share)
    decided = (uniform < after_dry) | (uniform >= after_wet)
    decided[0] = True
    step = np.arange(uniform.shape[0])[:, None]
    last = np.maximum.accumulate(np.where(decided, step, 0), axis=0)
    wet = np.take_along_axis(uniform < after_dry, last, axis=0)
    before = np.vstack([np.zeros((1, uniform.shape[1]), bool), wet[:-1]])
    left = np.where(wet, uniform / np.where(before, after_wet, after_dry), 1.0)
    amount = depth / math.gamma(1 + 1 / shape) * (-np.log(np.maximum(left, 1e-12))) ** (1 / shape)
    return np.round(np.round(amount / LATTICE) * LATTICE, 1)


def write_grid(path: str | os.PathLike, rows: int = 10, columns: int = 12, **given: int) -> None:
    """Write an invented grid: a netCDF file, or a Zarr folder, which is written row by row and may be large."""
    path = Path(path)
    if path.suffix == ".zarr":
        _write_zarr(path, rows, columns, given)
        return
    grid = invent_grid(rows, columns, **given)
    packed = {
        "dtype": "int16",
        "scale_factor": 0.1,
        "_FillValue": -32768,
        "zlib": True,
        "complevel": 9,
        "shuffle": True,
        "chunksizes": (grid.sizes["time"], min(rows, 5), min(columns, 6)),
    }
    with whole_files(path.parent) as scratch:
        grid.to_netcdf(
            scratch / path.name,
            engine="netcdf4",
            encoding={"rain": packed, "time": {"units": "days since 2000-01-01", "dtype": "int32"}},
        )


def _write_zarr(path: Path, rows: int, columns: int, given: dict) -> None:
    """Write all but the rain, then the rain a row of cells at a time."""
    import zarr

    small = invent_grid(1, 1, **given)
    days = small.indexes["time"]
    fixed = _places(rows, columns)
    fixed.coords["time"] = small.time
    fixed.attrs = small.attrs
    fixed.to_zarr(path, mode="w-", zarr_format=2, consolidated=False)
    array = zarr.open_group(path, mode="r+").create_array(
        "rain",
        shape=(rows, columns, days.size),
        chunks=(1, min(columns, 32), days.size),
        dtype="f4",
        fill_value=np.nan,
        attributes={"_ARRAY_DIMENSIONS": ["latitude", "longitude", "time"]} | attributes("rain"),
    )
    sea = fixed.land.values == 0
    for row, values in enumerate(_rows(rows, columns, days, given.get("seed", 0))):
        values = values.T.astype(np.float32)
        values[sea[row]] = np.nan
        array[row] = values
    zarr.consolidate_metadata(path, zarr_format=2)


if __name__ == "__main__":
    if len(sys.argv) != 2 or sys.argv[1].startswith("-"):
        sys.exit("usage: python data/make/region.py FILE.nc")
    write_grid(sys.argv[1])
