"""Whether the outlook is honest: what it said of years it had not seen, against what they did."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import xarray as xr

from rainharvest.drought.lanes import trace_windows
from rainharvest.drought.outlook import BANDS, at_rank, kept_throughout
from rainharvest.drought.windows import Flows, Windows, begins, cut_windows
from rainharvest.errors import InputError
from rainharvest.names import attributes

LEADS = (7, 14, 30, 60, 90, 120, 180)  # [day]
BINS = (0.0, 0.05, 0.15, 0.25, 0.35, 0.45, 0.55, 0.65, 0.75, 0.85, 0.95, 1.0)


def score(
    known: Windows, outcome: Windows, capacity: float, start, leads: Sequence[int] = LEADS, theta: float = 0.0
) -> xr.Dataset:
    """Compare outlooks made from some years with what other years did.

    Parameters
    ----------
    known : Windows
        The years from which each outlook is made.
    outcome : Windows
        The years that are foretold, none of them among the others.
    capacity : float [L]
        Usable tank size.
    start : array_like [L]
        The gauge reading from which each outcome began; one for all, or a value a year.
    leads : sequence of int [day]
        How far ahead.
    theta : float [1]
        As in `rainharvest.simulate`.

    Returns
    -------
    Dataset
        On ``year`` (of the outcomes) and ``lead``: ``below_band`` and ``above_band``, whether the store ended
        below or above the band between the 10th and 90th percentile; ``said_dry`` [1], the chance given of
        running dry by then; ``went_dry``, whether it did.

    Raises
    ------
    InputError
        If a lead is longer than the windows.

    Notes
    -----
    Where the band's edge is an empty or a full tank, an outcome on the edge is inside. Such bands hold more
    than they say, and cannot hold less.
    """
    leads = np.asarray(leads, dtype=int)
    if leads.min() < 1 or leads.max() > min(known.inflow.shape[0], outcome.inflow.shape[0]):
        raise InputError("a lead is longer than the outlook", "give longer windows", "leads")
    start = np.broadcast_to(np.asarray(start, dtype=float), outcome.year.shape)
    said = trace_windows(known, capacity, kept_throughout(start, np.ones(start.size)), theta)
    low, high, chance = _said(*said, leads, known.members)
    held, lasts = _own(outcome, capacity, start, theta)
    store = held[:, leads - 1]
    went = lasts[:, None] < leads
    return _scored(outcome.year, leads, capacity, low, high, chance, store, went)


def _scored(year, leads, capacity: float, low, high, chance, store, went) -> xr.Dataset:
    slack = 1e-6 * capacity  # single precision
    out = {
        "below_band": store < low - slack,
        "above_band": store > high + slack,
        "said_dry": chance,
        "went_dry": went,
    }
    coords = {"year": ("year", year, attributes("year")), "lead": ("lead", leads, attributes("lead"))}
    return xr.Dataset({n: (("year", "lead"), v, attributes(n)) for n, v in out.items()}, coords)


def _said(stored, lasts, leads, members):
    """Return the ends of the band and the chance of running dry, on (outcome, lead)."""
    ordered = np.sort(stored[:, leads - 1], axis=2)
    low, high = at_rank(ordered, BANDS[0], members), at_rank(ordered, BANDS[-1], members)
    return low, high, (lasts[:, None, :] < leads[:, None]).mean(axis=2)


def _own(outcome: Windows, capacity: float, start, theta):
    """Run each outcome from its own reading: its column of a setting of its own."""
    held = np.empty((outcome.year.size, outcome.inflow.shape[0]))
    lasts = np.empty(outcome.year.size, dtype=int)
    for k in range(outcome.year.size):
        one = Windows(
            outcome.inflow[:, k : k + 1],
            outcome.demand[:, k : k + 1],
            outcome.essential[:, k : k + 1],
            outcome.year[k : k + 1],
            1,
        )
        stored, last = trace_windows(one, capacity, kept_throughout(start[k : k + 1], np.ones(1)), theta)
        held[k], lasts[k] = stored[0, :, 0], last[0, 0]
    return held, lasts


def score_record(
    flows: Flows,
    capacity: float,
    month: int,
    day: int,
    start,
    leads: Sequence[int] = LEADS,
    theta: float = 0.0,
) -> xr.Dataset:
    """Score outlooks on a record, each year foretold from the others.

    Parameters
    ----------
    flows : Flows
        The record.
    capacity : float [L]
        Usable tank size.
    month, day : int [1]
        The date of the outlooks.
    start : DataArray, Series or float [L]
        What the gauge showed: one value, or what was stored on each evening of the record, of which the
        evening before the date is taken.
    leads : sequence of int [day]
        How far ahead.
    theta : float [1]
        As in `rainharvest.simulate`.

    Returns
    -------
    Dataset
        As `score`, in the first member, on the record's whole years.

    Raises
    ------
    InputError
        If the record is too short.
    """
    leads = np.asarray(leads, dtype=int)
    days = int(leads.max())
    one = Flows(flows.inflow[:1], flows.demand, flows.essential, flows.first)
    whole = cut_windows(one, month, day, days)
    at = begins(flows, whole.year, month, day)
    if np.ndim(start) == 0:
        reading = np.full(at.size, float(start))
    else:
        reading = np.asarray(start, dtype=float)[np.maximum(at - 1, 0)]
    # Every year from every year's reading in one go; a year's own column is the outcome, and it and those that
    # share a day with it are no part of what was known.
    stored, lasts = trace_windows(whole, capacity, kept_throughout(reading, np.ones(at.size)), theta)
    apart = np.abs(at[:, None] - at) >= days
    if (np.count_nonzero(apart, axis=1) < 2).any():
        raise InputError("fewer than 2 years are left to foretell one from", "give a longer record", "inflow")
    low, high, said, own, went = [], [], [], [], []
    for k, others in enumerate(apart):
        bounds = _said(stored[k : k + 1][..., others], lasts[k : k + 1, others], leads, 1)
        for rows, value in zip((low, high, said), bounds, strict=True):
            rows.append(value[0])
        own.append(stored[k, leads - 1, k])
        went.append(lasts[k, k] < leads)
    return _scored(whole.year, leads, capacity, *(np.array(rows) for rows in (low, high, said, own, went)))


def reliability(said: xr.DataArray, went: xr.DataArray, bins: Sequence[float] = BINS) -> xr.Dataset:
    """Compare stated chances with how often the thing happened.

    Parameters
    ----------
    said : DataArray [1]
        Stated chances.
    went : DataArray of bool
        Whether it happened, on the same dimensions.
    bins : sequence of float [1]
        Edges of the classes of chance.

    Returns
    -------
    Dataset
        On ``chance_class``: ``said_chance`` [1], the mean stated; ``seen_share`` [1]; ``seen_low`` and
        ``seen_high`` [1], between which the share lies 19 times in 20 if the statements are right (normal
        approximation of the binomial law, events counted as independent); ``forecasts``, how many. Classes
        without any are left out.

    Examples
    --------
    >>> said = xr.DataArray([0.0, 0.0, 0.5, 0.5], dims="year")
    >>> found = reliability(said, xr.DataArray([False, False, True, False], dims="year"))
    >>> found.said_chance.values, found.seen_share.values
    (array([0. , 0.5]), array([0. , 0.5]))
    """
    chance, happened = np.asarray(said, float).ravel(), np.asarray(went, bool).ravel()
    bins = np.asarray(bins, dtype=float)
    place = np.clip(np.searchsorted(bins, chance, side="right") - 1, 0, bins.size - 2)
    rows = []
    for k in np.unique(place):
        here = place == k
        mean = chance[here].mean()
        spread = 1.96 * np.sqrt((chance[here] * (1 - chance[here])).sum()) / here.sum()
        rows.append(
            (mean, happened[here].mean(), max(mean - spread, 0.0), min(mean + spread, 1.0), here.sum())
        )
    table = np.array(rows).T
    names = ("said_chance", "seen_share", "seen_low", "seen_high", "forecasts")
    return xr.Dataset(
        {n: ("chance_class", v, attributes(n)) for n, v in zip(names, table, strict=True)},
        coords={
            "chance_class": ("chance_class", np.arange(1, table.shape[1] + 1), attributes("chance_class"))
        },
    )
