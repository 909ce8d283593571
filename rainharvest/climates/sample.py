"""A look at a part of the rain before anything is computed: what is plainly no daily rain is refused."""

from __future__ import annotations

import numpy as np

from rainharvest.climates.grid import Grid
from rainharvest.climates.read import read_raw
from rainharvest.climates.tiles import source_chunk
from rainharvest.errors import InputError

DAYS, PLACES = 5, 64
"""As many days of the whole grid, or as many places over all days, whichever decodes less."""


def check_sample(grid: Grid) -> None:
    """Look at a part of the rain and refuse what is plainly not daily rain.

    Parameters
    ----------
    grid : Grid
        The grid.

    Raises
    ------
    InputError
        If no place has a value, most values are below zero, or the rain is beyond what falls anywhere.
    """
    values = grid.unit.mm(_some_places(grid) if source_chunk(grid)["time"] > 366 else _some_days(grid))
    file = grid.files[0] if grid.files else None
    known = values[np.isfinite(values) & (values > -90 * grid.unit.mm(np.array(1.0)))]
    if not known.size:  # the places looked at may all lie at sea
        values = grid.unit.mm(_some_days(grid))
        known = values[np.isfinite(values) & (values > -90 * grid.unit.mm(np.array(1.0)))]
    if not known.size:
        raise InputError(
            "no place has a value on the days looked at", "check the file and its mask", file=file
        )
    if (known < -grid.dust).mean() > 0.01:
        raise InputError(
            f"{100 * (known < -grid.dust).mean():.0f} % of the values looked at are below zero",
            "check that the variable is rain, and how it is packed",
            file=file,
        )
    if float(np.mean(known)) > 100.0:
        raise InputError(
            f"the mean of what was looked at is {float(np.mean(known)):,.0f} mm a day, which falls nowhere",
            "check the unit of the rain, and give units= if the file is wrong",
            "units",
            file,
        )


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
    some = wanted[np.linspace(0, wanted.size - 1, min(PLACES, wanted.size)).astype(int)]
    at = np.unravel_index(some, tuple(grid.space.values()))
    places = [dict(zip(grid.space, one, strict=True)) for one in zip(*at, strict=True)]
    return np.concatenate(
        [read_raw(grid, {d: slice(i, i + 1) for d, i in one.items()}).ravel() for one in places]
    )
