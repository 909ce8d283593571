"""Dry spells: how long the days without rain run on, and how often."""

from __future__ import annotations

import numpy as np
import pandas as pd
import xarray as xr

from rainharvest.names import attributes
from rainharvest.rainfall.fill_input import as_record
from rainharvest.rainfall.totals import daily_amounts


def dry_spells(rain: xr.DataArray | pd.Series, wet_day: float = 1.0) -> xr.Dataset:
    """Find every run of consecutive days that each had less rain than a wet day has.

    A day whose own rain is unknown ends a spell. A spell that touches such a day, or an end of the record,
    may have been longer than it is seen to be: it is marked as cut.

    Parameters
    ----------
    rain : DataArray or Series [mm/day]
        One daily record.
    wet_day : float [mm/day]
        A day with at least this much rain is wet. Services use 0, 0.1, 0.2 or 1 mm: the longest dry spell
        depends on it.

    Returns
    -------
    Dataset
        On ``spell``, in order of time: ``dry_spell`` [day], ``spell_start`` (its first day) and
        ``spell_cut``.

    Raises
    ------
    InputError
        If the record is not daily rain on one dimension.

    Examples
    --------
    >>> days = pd.date_range("2001-01-01", periods=8)
    >>> found = dry_spells(pd.Series([0, 0, 5.0, 0.4, 0, 0, 2.0, 0], days))
    >>> found.dry_spell.values, found.spell_cut.values
    (array([2, 3, 1]), array([ True, False,  True]))
    """
    record = as_record(rain)
    amount = daily_amounts(record)
    dry = amount < wet_day  # False where unknown
    first, last = runs(dry)
    beside = np.isnan(np.concatenate(([np.nan], amount, [np.nan])))
    return xr.Dataset(
        {
            "dry_spell": ("spell", last - first + 1, attributes("dry_spell")),
            "spell_start": ("spell", record["time"].values[first], attributes("spell_start")),
            "spell_cut": ("spell", beside[first] | beside[last + 2], attributes("spell_cut")),
        },
        coords={"spell": ("spell", np.arange(1, len(first) + 1), attributes("spell"))},
    )


def runs(condition: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return the first and the last position of each unbroken run of True.

    Parameters
    ----------
    condition : ndarray of bool
        One value a day.

    Returns
    -------
    tuple of ndarray
        The first and the last positions.

    Examples
    --------
    >>> runs(np.array([True, True, False, True]))
    (array([0, 3]), array([1, 3]))
    """
    edges = np.flatnonzero(np.diff(np.concatenate(([False], condition, [False])).astype(np.int8)))
    return edges[::2], edges[1::2] - 1
