"""The gauge outlook: from today's reading, every year of the record run once more."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import xarray as xr

from rainharvest.drought.lanes import Settings, run_windows, trace_windows
from rainharvest.drought.windows import Windows
from rainharvest.errors import InputError
from rainharvest.names import attributes
from rainharvest.storage.balance import UNLIMITED

BANDS = (0.1, 0.25, 0.5, 0.75, 0.9)
"""Shares of the years below each line of the fan: between the outer two lie 80 percent."""
CONFIDENCES = (0.5, 0.8, 0.95)
EVERY = 3  # [day] between the points of the fan: a year in some 120


def at_rank(ordered: np.ndarray, share: float, members: int) -> np.ndarray:
    """Return the value that a share of the years stays below, from values in rising order.

    Of n years, each in as many members, the value wanted has rank share x (n + 1) among the years: only then
    does the band between two shares hold the next year as often as it says.

    Parameters
    ----------
    ordered : ndarray
        Rising along the last axis: years x members.
    share : float [1]
        The share.
    members : int
        Members to a year.

    Returns
    -------
    ndarray
        Interpolated between neighbours; the lowest or highest where the rank lies outside.

    Examples
    --------
    >>> float(at_rank(np.arange(1.0, 10.0), 0.1, 1))
    1.0
    """
    size = ordered.shape[-1]
    place = np.clip(share * (size / members + 1) * members - (members + 1) / 2, 0, size - 1)
    low = int(place)
    high = min(low + 1, size - 1)
    return ordered[..., low] + (place - low) * (ordered[..., high] - ordered[..., low])


def outlook(
    windows: Windows,
    capacity: float,
    start: float,
    keeps: Mapping[str, float],
    *,
    theta: float = 0.0,
    every: int = EVERY,
) -> xr.Dataset:
    """Say what the tank may hold from today on, and how likely it is to run dry.

    Each year of the record, in each filled version, is run from today's date and reading (position analysis).
    What the years did stands for what the coming one may do, each alike.

    Parameters
    ----------
    windows : Windows
        The days from today's date on, of every year.
    capacity : float [L]
        Usable tank size.
    start : float [L]
        What the gauge shows today.
    keeps : mapping of str to float [1]
        By the name of a plan, the share of what can wait that is served from today on; 1 cuts nothing. The
        fan is that of the first.
    theta : float [1]
        As in `rainharvest.simulate`.
    every : int [day]
        Days between the points of the fan.

    Returns
    -------
    Dataset
        On ``band`` and ``lead``: ``stored_band`` [L]; on ``plan`` and ``lead``: ``dry_chance`` [1], the share
        of the years in which what was asked could not all be supplied by then; on ``plan`` and
        ``confidence``: ``supply_days`` [day], for how long at least it lasts in that share of the years (no
        longer than the outlook looks); on ``plan``: ``never_dry`` [1].

    Raises
    ------
    InputError
        If the reading does not fit the tank, or a share lies outside 0 to 1.

    Notes
    -----
    Hirsch (1978), Risk analyses for a water-supply system (position analysis), from memory. The gauge counts
    as the only thing known today: where a dry spell carries on from one season to the next, a low reading in
    a dry year means more than it says here.

    Examples
    --------
    >>> import pandas as pd
    >>> from rainharvest.drought.windows import as_flows, cut_windows
    >>> days = pd.date_range("2001-01-01", "2010-12-31")
    >>> windows = cut_windows(as_flows(pd.Series(0.0, days), 10.0, 2.0), 6, 1, 30)
    >>> found = outlook(windows, 500.0, 100.0, {"all": 1.0, "essential": 0.0})
    >>> found.supply_days.sel(confidence=0.8).values
    array([10., 30.])
    """
    if not keeps:
        raise InputError("no plan is given", "give at least one", "keeps")
    shares = np.array(list(keeps.values()), dtype=float)
    if not ((shares >= 0) & (shares <= 1)).all():
        raise InputError("a share lies outside 0 to 1", "give the share that is still served", "keeps")
    settings = kept_throughout(np.full(shares.size, float(start)), shares)
    stored, lasts = trace_windows(windows, capacity, settings, theta)
    days = stored.shape[1]
    lead = np.unique(np.append(np.arange(every, days + 1, every), days))
    fan = np.sort(stored[0][lead - 1], axis=1)
    ordered = np.sort(lasts, axis=1)
    size = ordered.shape[1]
    dry = np.array([np.searchsorted(row, lead, side="left") for row in ordered]) / size
    surely = [np.floor(at_rank(ordered.astype(float), 1 - c, windows.members) + 1e-9) for c in CONFIDENCES]
    out = {
        "stored_band": (("band", "lead"), [at_rank(fan, b, windows.members) for b in BANDS]),
        "dry_chance": (("plan", "lead"), dry),
        "supply_days": (("plan", "confidence"), np.array(surely).T),
        "never_dry": ("plan", (lasts == days).mean(axis=1)),
    }
    coords = {
        "band": ("band", list(BANDS), attributes("band")),
        "lead": ("lead", lead, attributes("lead")),
        "plan": ("plan", list(keeps), attributes("plan")),
        "confidence": ("confidence", list(CONFIDENCES), attributes("confidence")),
    }
    named = {name: (dims, values, attributes(name)) for name, (dims, values) in out.items()}
    return xr.Dataset(named, coords).assign_attrs(
        years=size // windows.members, members=windows.members, start=float(start), capacity=float(capacity)
    )


def kept_throughout(start: np.ndarray, share: np.ndarray) -> Settings:
    """Return settings in which a share of what can wait is served whatever the gauge shows.

    Parameters
    ----------
    start : ndarray [L]
        Stored on the first morning, a value a setting.
    share : ndarray [1]
        Share served, a value a setting.

    Returns
    -------
    Settings
    """
    return Settings(start, np.full((start.size, 1), UNLIMITED), share[:, None])


def level_chances(
    windows: Windows, capacity: float, levels, share: float = 1.0, *, ends, theta: float = 0.0
) -> xr.DataArray:
    """Return the chance of running dry from each of several gauge readings, within each of several times.

    Parameters
    ----------
    windows : Windows
        The days from a date on, of every year.
    capacity : float [L]
        Usable tank size.
    levels : sequence of float [L]
        Gauge readings.
    share : float [1]
        Share of what can wait that is served.
    ends : sequence of int [day]
        The times, rising, none longer than the windows.
    theta : float [1]
        As in `rainharvest.simulate`.

    Returns
    -------
    DataArray [1]
        On ``gauge`` and ``lead``.

    Raises
    ------
    InputError
        If a reading does not fit the tank, or the times do not rise within the windows.
    """
    levels, ends = np.asarray(levels, dtype=float), np.asarray(ends, dtype=np.int64)
    if ends[0] < 1 or (np.diff(ends) <= 0).any() or ends[-1] > windows.inflow.shape[0]:
        raise InputError("the times do not rise within the outlook", "give rising days", "ends")
    edges = np.concatenate([[0], ends])
    failed = run_windows(
        windows, capacity, kept_throughout(levels, np.full(levels.size, float(share))), theta, edges
    )
    chance = (np.cumsum(failed, axis=1) > 0).mean(axis=2)
    coords = {"gauge": ("gauge", levels, attributes("gauge")), "lead": ("lead", ends, attributes("lead"))}
    return xr.DataArray(chance, coords, ("gauge", "lead"), attrs=attributes("dry_chance"))
