"""The gauge outlook: from today's reading, every year of the record run once more, and how good such outlooks are."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
import xarray as xr

from rainharvest.core.compiled import compiling_notice
from rainharvest.core.errors import require
from rainharvest.core.quantities import along, attributes, variables
from rainharvest.drought.tables import DEFAULTS
from rainharvest.storage.balance import BY_YEAR, DAILY, LANES, TOTALS, UNLIMITED, balance
from rainharvest.storage.simulate import as_series, common_time

BANDS = (0.1, 0.25, 0.5, 0.75, 0.9)
"""Shares of the years below each line of the fan: between the outer two lie 80 percent."""

CONFIDENCES = (0.5, 0.8, 0.95)

EVERY = 3  # [day] between the points of the fan: a year in some 120

LEADS = (7, 14, 30, 60, 90, 120, 180)  # [day] at which outlooks are compared with what happened

BINS = (0.0, 0.05, 0.15, 0.25, 0.35, 0.45, 0.55, 0.65, 0.75, 0.85, 0.95, 1.0)

AHEAD = (30, 60, 90, 120, 180, 270, 364)  # [day] how far a plan may look

STEPS = 20  # the gauge is read in twentieths of the tank

FEW = 8  # blocks below which a second thread does not pay (own choice)

STORED, UNMET = DAILY.index("stored"), DAILY.index("unmet")

DAYS_FAILED = BY_YEAR.index("days_failed")


@dataclass(frozen=True)
class Flows:
    """What the windows are cut from: a whole record."""

    inflow: np.ndarray  # [L/day] (member, day): water at the inlet
    demand: np.ndarray  # [L/day]
    essential: np.ndarray  # [L/day] The part of the demand that is never cut
    first: np.datetime64  # [D] The record's first day


@dataclass(frozen=True)
class Windows:
    """The same days of every year: a row a day, a column a year and member."""

    inflow: np.ndarray  # [L/day] Water at the inlet
    demand: np.ndarray  # [L/day]
    essential: np.ndarray  # [L/day] The part of the demand that is never cut
    year: np.ndarray  # The calendar year in which each column begins
    members: int  # Columns to a year, side by side


@dataclass(frozen=True)
class Settings:
    """What the runs through the windows differ in: a row a setting, a column a stage of rationing."""

    start: np.ndarray  # [L] Stored on the first morning
    level: np.ndarray  # [L] Below which a stage holds; zero is never reached from above
    share: np.ndarray  # [1] Of the demand that can wait, what the stage serves


def as_flows(inflow, demand, essential=None) -> Flows:
    """Return checked series as plain arrays, once for many outlooks."""
    given = {"inflow": inflow, "demand": demand, "essential": essential}
    time = common_time(**given)
    dated = np.issubdtype(time.dtype, np.datetime64)
    require(dated, "the days carry no dates", "give series on dated days", "inflow")
    water, demand, essential = (as_series(n, 0.0 if v is None else v, time) for n, v in given.items())
    plain = set(water.dims) <= {"member", "time"} and demand.ndim == essential.ndim == 1
    require(plain, "there are more dimensions than member and time", "choose one of each", "inflow")
    for name, series in zip(given, (water, demand, essential), strict=True):
        require((series.values >= 0).all(), "a day is below zero", "give litres a day, zero or more", name)
    part = (essential.values <= demand.values * (1 + 1e-12)).all()
    require(part, "the essential demand exceeds the demand", "essential is a part of demand", "essential")
    first = time.values[0].astype("datetime64[D]")
    return Flows(np.atleast_2d(water.values), demand.values, essential.values, first)


def first_member(flows: Flows, days: slice = slice(None)) -> Flows:
    """Return the first filled version alone, on these days of the record."""
    first = flows.first + (days.start or 0)
    return Flows(flows.inflow[:1, days], flows.demand[days], flows.essential[days], first)


def cut_windows(flows: Flows, month: int, day: int, days: int) -> Windows:
    """Return the days from a date on, of every year that the record holds whole.

    >>> import pandas as pd
    >>> rain = pd.Series(1.0, pd.date_range("2001-01-01", "2004-12-31"))
    >>> cut_windows(as_flows(rain, 1.0), 11, 15, 60).year
    array([2001, 2002, 2003])
    """
    longest = (31, 29, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)
    is_date = month in range(1, 13) and 1 <= day <= longest[month - 1]
    require(is_date, f"there is no day {day} of month {month}", "give a date of the year", "date")
    length = flows.inflow.shape[1]
    require(1 <= days <= length, f"an outlook of {days} days", f"give 1 to {length}", "days")
    years = 1970 + flows.first.astype("datetime64[Y]").astype(int) - 1 + np.arange(length // 365 + 3)
    start = begins(flows, years, month, day)
    whole = (start >= 0) & (start + days <= length)
    require(
        np.count_nonzero(whole) >= 2,
        f"the record holds fewer than 2 whole stretches of {days} days from that date",
        "give a longer record or a shorter outlook",
        "days",
    )
    start, years = start[whole], years[whole]
    at = start[:, None] + np.arange(days)
    members = flows.inflow.shape[0]
    water = flows.inflow[:, at].transpose(2, 1, 0).reshape(days, -1)
    demand, essential = (np.repeat(s[at].T, members, axis=1) for s in (flows.demand, flows.essential))
    return Windows(water, demand, essential, np.repeat(years, members), members)


def begins(flows: Flows, years, month: int, day: int) -> np.ndarray:
    """Return on which day of the record a date falls in each of several years."""
    months = (np.asarray(years) - 1970) * 12 + month - 1
    dates = months.astype("datetime64[M]").astype("datetime64[D]") + (day - 1)
    return (dates - flows.first).astype(int)


def kept_throughout(start: np.ndarray, share: np.ndarray) -> Settings:
    """Return settings in which a share of what can wait is served whatever the gauge shows."""
    return Settings(start, np.full((start.size, 1), UNLIMITED), share[:, None])


def run_windows(
    windows: Windows, capacity: float, settings: Settings, theta: float = 0.0, edges=None
) -> np.ndarray:
    """Run every setting through every window and count the failed days of each part of the window."""
    edges = np.array([0, windows.inflow.shape[0]] if edges is None else edges, dtype=np.int64)
    failed = np.empty((settings.start.size, edges.size - 1, windows.year.size))

    def take(row: int, columns: slice, demand, by_part, daily) -> None:
        failed[row, :, columns] = by_part[DAYS_FAILED]

    _run(windows, capacity, settings, theta, edges, False, take)
    return failed


def trace_windows(
    windows: Windows, capacity: float, settings: Settings, theta: float = 0.0
) -> tuple[np.ndarray, np.ndarray]:
    """Run every setting through every window; return the store of each evening and the days that it lasted."""
    days, columns = windows.inflow.shape
    stored = np.empty((settings.start.size, days, columns), dtype=np.float32)
    lasts = np.empty((settings.start.size, columns), dtype=np.int64)

    def take(row: int, columns: slice, demand, by_part, daily) -> None:
        stored[row, :, columns] = daily[STORED]
        short = daily[UNMET] > 1e-9 * demand
        lasts[row, columns] = np.where(short.any(axis=0), short.argmax(axis=0), days)

    _run(windows, capacity, settings, theta, np.array([0, days], dtype=np.int64), True, take)
    return stored, lasts


def _run(
    windows: Windows, capacity: float, settings: Settings, theta: float, edges, trace: bool, take: Callable
) -> None:
    """Run the windows by blocks of columns and hand each setting's results of a block to ``take``.

    In two threads where there is enough to do: a slider waits.
    """
    days, columns = windows.inflow.shape
    require(capacity > 0, f"a tank of {capacity:g} L", "give a size above zero", "capacity")
    require(
        (settings.start >= 0).all() and (settings.start <= capacity * (1 + 1e-12)).all(),
        "the gauge shows more than the tank holds, or less than nothing",
        f"give a level from 0 to {capacity:g} L",
        "start",
    )

    def part(blocks: range) -> None:
        for first in blocks:
            own = slice(first, min(first + LANES, columns))
            given = (windows.inflow, windows.demand, windows.essential)
            flows = [np.ascontiguousarray(series[:, own]) for series in given]
            lanes = own.stop - first
            total, by_part = np.empty((len(TOTALS), lanes)), np.empty((len(BY_YEAR), edges.size - 1, lanes))
            daily = np.zeros((len(DAILY), days, lanes)) if trace else None
            tank = np.full((2, lanes), capacity)
            spill = np.full(lanes, theta) if theta else None
            for row, start in enumerate(settings.start):
                tank[1] = start
                rules = (np.repeat(rule[row][:, None], lanes, 1) for rule in (settings.level, settings.share))
                balance(*flows, None, tank, spill, *rules, None, edges, total, by_part, daily)
                take(row, own, flows[1], by_part, daily)

    blocks = range(0, columns, LANES)
    with compiling_notice("the daily balance"):
        part(blocks[:1])
        rest = blocks[1:]
        if len(rest) < FEW:
            part(rest)
        else:
            with ThreadPoolExecutor(2) as pool:
                list(pool.map(part, (rest[::2], rest[1::2])))


def at_rank(ordered: np.ndarray, share: float, members: int) -> np.ndarray:
    """Return the value that a share of the years stays below, from values in rising order.

    Of n years, each in as many members, the value wanted has rank share x (n + 1) among the years: only then
    does the band between two shares hold the next year as often as it says.

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

    Hirsch (1978), Risk analyses for a water-supply system (position analysis), from memory. The gauge counts
    as the only thing known today: where a dry spell carries on from one season to the next, a low reading in
    a dry year means more than it says here.

    >>> import pandas as pd
    >>> from rainharvest.drought.outlook import as_flows, cut_windows
    >>> days = pd.date_range("2001-01-01", "2010-12-31")
    >>> windows = cut_windows(as_flows(pd.Series(0.0, days), 10.0, 2.0), 6, 1, 30)
    >>> found = outlook(windows, 500.0, 100.0, {"all": 1.0, "essential": 0.0})
    >>> found.supply_days.sel(confidence=0.8).values
    array([10., 30.])
    """
    require(keeps, "no plan is given", "give at least one", "keeps")
    shares = np.array(list(keeps.values()), dtype=float)
    inside = ((shares >= 0) & (shares <= 1)).all()
    require(inside, "a share lies outside 0 to 1", "give the share that is still served", "keeps")
    settings = kept_throughout(np.full(shares.size, float(start)), shares)
    stored, lasts = trace_windows(windows, capacity, settings, theta)
    days = stored.shape[1]
    lead = np.unique(np.append(np.arange(every, days + 1, every), days))
    fan = np.sort(stored[0][lead - 1], axis=1)
    ordered = np.sort(lasts, axis=1)
    size = ordered.shape[1]
    dry = np.array([np.searchsorted(row, lead, side="left") for row in ordered]) / size
    surely = [np.floor(at_rank(ordered.astype(float), 1 - c, windows.members) + 1e-9) for c in CONFIDENCES]
    out = variables(("band", "lead"), {"stored_band": [at_rank(fan, b, windows.members) for b in BANDS]})
    out |= variables(("plan", "lead"), {"dry_chance": dry})
    out |= variables(("plan", "confidence"), {"supply_days": np.array(surely).T})
    out |= variables("plan", {"never_dry": (lasts == days).mean(axis=1)})
    coords = along(band=list(BANDS), lead=lead, plan=list(keeps), confidence=list(CONFIDENCES))
    years = {"years": size // windows.members, "members": windows.members}
    return xr.Dataset(out, coords).assign_attrs(years, start=float(start), capacity=float(capacity))


def level_chances(
    windows: Windows, capacity: float, levels, share: float = 1.0, *, ends, theta: float = 0.0
) -> xr.DataArray:
    """Return the chance of running dry from each of several gauge readings, within each of several times."""
    levels, ends = np.asarray(levels, dtype=float), np.asarray(ends, dtype=np.int64)
    rising = ends[0] >= 1 and (np.diff(ends) > 0).all() and ends[-1] <= windows.inflow.shape[0]
    require(rising, "the times do not rise within the outlook", "give rising days", "ends")
    settings = kept_throughout(levels, np.full(levels.size, float(share)))
    chance = _dry_by(run_windows(windows, capacity, settings, theta, [0, *ends]))
    return xr.DataArray(
        chance, along(gauge=levels, lead=ends), ("gauge", "lead"), attrs=attributes("dry_chance")
    )


def _dry_by(failed: np.ndarray) -> np.ndarray:
    """Return the share of the years in which a day failed by the end of each part of the window."""
    return (np.cumsum(failed, axis=1) > 0).mean(axis=2)


def stated(stored: np.ndarray, lasts: np.ndarray, leads: np.ndarray, members: int) -> tuple[np.ndarray, ...]:
    """Return the ends of the band and the chance of running dry, on (setting, lead)."""
    ordered = np.sort(stored[:, leads - 1], axis=2)
    low, high = at_rank(ordered, BANDS[0], members), at_rank(ordered, BANDS[-1], members)
    return low, high, (lasts[:, None, :] < leads[:, None]).mean(axis=2)


def scored(year, leads, capacity: float, low, high, chance, store, dry) -> xr.Dataset:
    """Compare what outlooks stated with the store and the failures that came, on (year, lead).

    Where the band's edge is an empty or a full tank, an outcome on the edge is inside. Such bands hold more
    than they say, and cannot hold less.
    """
    slack = 1e-6 * capacity  # single precision
    out = {
        "below_band": store < low - slack,
        "above_band": store > high + slack,
        "said_dry": chance,
        "went_dry": dry,
    }
    return xr.Dataset(variables(("year", "lead"), out), along(year=year, lead=leads))


def score_record(
    flows: Flows,
    capacity: float,
    month: int,
    day: int,
    start,
    leads: Sequence[int] = LEADS,
    theta: float = 0.0,
) -> xr.Dataset:
    """Score outlooks on a record, each year held out and foretold from the others."""
    leads = np.asarray(leads, dtype=int)
    days = int(leads.max())
    windows = cut_windows(first_member(flows), month, day, days)
    at = begins(flows, windows.year, month, day)
    start = np.asarray(start, dtype=float)
    reading = np.full(at.size, start) if start.ndim == 0 else start[np.maximum(at - 1, 0)]
    # Every year from every year's reading in one go; a year's own column is the outcome, and it and those that
    # share a day with it are no part of what was known.
    stored, lasts = trace_windows(windows, capacity, kept_throughout(reading, np.ones(at.size)), theta)
    apart = np.abs(at[:, None] - at) >= days
    enough = (np.count_nonzero(apart, axis=1) >= 2).all()
    require(enough, "fewer than 2 years are left to foretell one from", "give a longer record", "inflow")
    known = [
        stated(stored[[k]][..., others], lasts[[k]][:, others], leads, 1) for k, others in enumerate(apart)
    ]
    low, high, chance = (np.concatenate(rows) for rows in zip(*known, strict=True))
    own = np.arange(at.size)
    store = stored[own, :, own][:, leads - 1]
    return scored(windows.year, leads, capacity, low, high, chance, store, lasts[own, own][:, None] < leads)


def reliability(said: xr.DataArray, went: xr.DataArray, bins: Sequence[float] = BINS) -> xr.Dataset:
    """Compare stated chances with how often the thing happened.

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
        low, high = max(mean - spread, 0.0), min(mean + spread, 1.0)
        rows.append((mean, happened[here].mean(), low, high, here.sum()))
    names = ("said_chance", "seen_share", "seen_low", "seen_high", "forecasts")
    out = variables("chance_class", dict(zip(names, np.array(rows).T, strict=True)))
    return xr.Dataset(out, along(chance_class=np.arange(1, len(rows) + 1)))


def dry_chances(flows: Flows, capacity: float, serve: tuple[float, ...], theta: float) -> np.ndarray:
    """Return the chance of running dry from the first of each month, on (month, share, reading, days ahead)."""
    start = np.arange(STEPS + 1) / STEPS * capacity
    settings = kept_throughout(np.tile(start, len(serve)), np.repeat(serve, start.size))
    cuts = (cut_windows(first_member(flows), month, 1, AHEAD[-1]) for month in range(1, 13))
    dry = [_dry_by(run_windows(cut, capacity, settings, theta, [0, *AHEAD])) for cut in cuts]
    return np.reshape(dry, (12, len(serve), start.size, len(AHEAD)))


def help_levels(flows: Flows, capacity: float, serve: float, help_days: int, theta: float) -> np.ndarray:
    """Return below which share of the tank not even the strictest stage is sure to last until help comes.

    The gauge is read all through the month: of four days of it, the most anxious counts.
    """
    require(
        1 <= help_days <= 180, f"help that takes {help_days} days", "give from 1 to 180 days", "help_days"
    )
    reading = np.arange(STEPS + 1) / STEPS
    settings = kept_throughout(reading * capacity, np.full(reading.size, serve))
    out = np.zeros((12, 4))
    for month in range(12):
        for k, day in enumerate((1, 8, 15, 22)):
            windows = cut_windows(first_member(flows), month + 1, day, help_days)
            dry = _dry_by(run_windows(windows, capacity, settings, theta)).T
            out[month, k] = lowest_sure(dry, DEFAULTS["help_risk"].value, reading)[0]
    return out.max(axis=1)


def lowest_sure(chance: np.ndarray, risk: float, reading: np.ndarray) -> np.ndarray:
    """Return the lowest reading from which the chance of running dry is no more than a risk.

    Where not even a full tank is sure, the level lies a step above full: the stage then always holds.

    >>> lowest_sure(np.array([[0.9, 0.4, 0.1], [1.0, 1.0, 1.0]]), 0.4, np.array([0.0, 0.5, 1.0]))
    array([0.5 , 1.05])
    """
    sure = chance <= risk + 1e-12
    above = np.where(sure.any(axis=-1), sure.argmax(axis=-1), reading.size)
    return np.append(reading, 1 + 1 / STEPS)[above]
