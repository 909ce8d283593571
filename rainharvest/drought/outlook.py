"""The gauge outlook: from today's reading, every year of the record run once more, and its honesty."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
import xarray as xr

from rainharvest.core.compiled import compiling_notice
from rainharvest.core.errors import InputError
from rainharvest.core.quantities import attributes
from rainharvest.drought.tables import HELP_RISK
from rainharvest.storage.balance import BY_YEAR, DAILY, LANES, TOTALS, UNLIMITED, balance
from rainharvest.storage.simulate import as_series, common_time


@dataclass(frozen=True)
class Windows:
    """The same days of every year, a column a year and member."""

    inflow: np.ndarray  # [L/day] Water at the inlet, water asked for, and the part of it that is never cut
    demand: np.ndarray  # [L/day] Water at the inlet, water asked for, and the part of it that is never cut
    essential: np.ndarray  # [L/day] Water at the inlet, water asked for, and the part of it that is never cut
    year: np.ndarray  # The calendar year in which each column begins
    members: int  # Columns to a year, side by side


@dataclass(frozen=True)
class Flows:
    """What the windows are cut from: a whole record."""

    inflow: np.ndarray  # [L/day] Water at the inlet in each filled version
    demand: np.ndarray  # [L/day] Water asked for, and the part of it that is never cut
    essential: np.ndarray  # [L/day] Water asked for, and the part of it that is never cut
    first: np.datetime64  # [D] The record's first day


def as_flows(inflow, demand, essential=None) -> Flows:
    """Return checked series as plain arrays, once for many outlooks."""
    time = common_time(inflow=inflow, demand=demand, essential=essential)
    if not np.issubdtype(time.dtype, np.datetime64):
        raise InputError("the days carry no dates", "give series on dated days", "inflow")
    water = as_series("inflow", inflow, time)
    asked = as_series("demand", demand, time)
    kept = as_series("essential", 0.0 if essential is None else essential, time)
    if set(water.dims) - {"member", "time"} or asked.ndim > 1 or kept.ndim > 1:
        raise InputError("there are more dimensions than member and time", "choose one of each", "inflow")
    for name, series in (("inflow", water), ("demand", asked), ("essential", kept)):
        if (series.values < 0).any():
            raise InputError("a day is below zero", "give litres a day, zero or more", name)
    if (kept.values > asked.values * (1 + 1e-12)).any():
        raise InputError(
            "the essential demand exceeds the demand", "essential is a part of demand", "essential"
        )
    first = time.values[0].astype("datetime64[D]")
    return Flows(np.atleast_2d(water.values), asked.values, kept.values, first)


def cut_windows(flows: Flows, month: int, day: int, days: int) -> Windows:
    """Return the days from a date on, of every year that the record holds whole.

    >>> import pandas as pd
    >>> rain = pd.Series(1.0, pd.date_range("2001-01-01", "2004-12-31"))
    >>> cut_windows(as_flows(rain, 1.0), 11, 15, 60).year
    array([2001, 2002, 2003])
    """
    if (
        month not in range(1, 13)
        or not 1 <= day <= (31, 29, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)[month - 1]
    ):
        raise InputError(f"there is no day {day} of month {month}", "give a date of the year", "date")
    length = flows.inflow.shape[1]
    if not 1 <= days <= length:
        raise InputError(f"an outlook of {days} days", f"give 1 to {length}", "days")
    years = np.arange(flows.first.astype("datetime64[Y]").astype(int) + 1970 - 1, 10_000)
    years = years[: length // 365 + 3]
    start = begins(flows, years, month, day)
    whole = (start >= 0) & (start + days <= length)
    if np.count_nonzero(whole) < 2:
        raise InputError(
            f"the record holds fewer than 2 whole stretches of {days} days from that date",
            "give a longer record or a shorter outlook",
            "days",
        )
    start, years = start[whole], years[whole]
    at = start[:, None] + np.arange(days)
    members = flows.inflow.shape[0]
    water = flows.inflow[:, at].transpose(2, 1, 0).reshape(days, -1)
    asked, kept = (np.repeat(series[at].T, members, axis=1) for series in (flows.demand, flows.essential))
    return Windows(water, asked, kept, np.repeat(years, members), members)


def begins(flows: Flows, years, month: int, day: int) -> np.ndarray:
    """Return on which day of the record a date falls in each of several years."""
    months = (np.asarray(years) - 1970) * 12 + month - 1
    dates = months.astype("datetime64[M]").astype("datetime64[D]") + (day - 1)
    return (dates - flows.first).astype(int)


STORED, DRAWN, UNMET = DAILY.index("stored"), DAILY.index("drawn"), DAILY.index("unmet")

DAYS_FAILED = BY_YEAR.index("days_failed")

FEW = 8  # blocks below which a second thread does not pay (own choice)


@dataclass(frozen=True)
class Settings:
    """What the lanes differ in: a row a setting."""

    start: np.ndarray  # [L] Stored on the first morning
    # Rationing levels [L] and shares of the non-essential demand served below them; a level of zero is never
    # reached from above
    level: np.ndarray
    # Rationing levels [L] and shares of the non-essential demand served below them; a level of zero is never
    # reached from above
    share: np.ndarray


def run_windows(
    windows: Windows, capacity: float, settings: Settings, theta: float = 0.0, edges=None
) -> np.ndarray:
    """Run every setting through every window and count the failed days of each part of the window."""
    days = windows.inflow.shape[0]
    edges = np.array([0, days] if edges is None else edges, dtype=np.int64)
    failed = np.empty((settings.start.size, edges.size - 1, windows.year.size))

    def part(columns: range) -> None:
        for row, begin, end, _, by_part, _ in _blocks(
            windows, capacity, settings, theta, edges, columns, False
        ):
            failed[row, :, begin:end] = by_part[DAYS_FAILED, :, : end - begin]

    _side_by_side(part, windows.year.size)
    return failed


def trace_windows(
    windows: Windows, capacity: float, settings: Settings, theta: float = 0.0
) -> tuple[np.ndarray, np.ndarray]:
    """Run every setting through every window and keep the store of each evening."""
    days = windows.inflow.shape[0]
    stored = np.empty((settings.start.size, days, windows.year.size), dtype=np.float32)
    lasts = np.empty((settings.start.size, windows.year.size), dtype=np.int64)
    edges = np.array([0, days], dtype=np.int64)

    def part(columns: range) -> None:
        for row, begin, end, asked, _, daily in _blocks(
            windows, capacity, settings, theta, edges, columns, True
        ):
            stored[row, :, begin:end] = daily[STORED, :, : end - begin]
            short = daily[UNMET, :, : end - begin] > 1e-9 * asked[:, : end - begin]
            lasts[row, begin:end] = np.where(short.any(axis=0), short.argmax(axis=0), days)

    _side_by_side(part, windows.year.size)
    return stored, lasts


def _side_by_side(part: Callable[[range], None], columns: int) -> None:
    """Work the blocks of columns in two threads where there is enough to do: a slider waits."""
    blocks = range(0, columns, LANES)
    with compiling_notice("the daily balance"):
        part(blocks[:1])
        rest = blocks[1:]
        if len(rest) < FEW:
            part(rest)
        else:
            with ThreadPoolExecutor(2) as pool:
                list(pool.map(part, (rest[::2], rest[1::2])))


def _blocks(
    windows: Windows, capacity: float, settings: Settings, theta: float, edges, blocks: range, trace: bool
):
    """Yield the results of each block of lanes; the arrays are used again for the next."""
    days, columns = windows.inflow.shape
    if not capacity > 0:
        raise InputError(f"a tank of {capacity:g} L", "give a size above zero", "capacity")
    if (settings.start < 0).any() or (settings.start > capacity * (1 + 1e-12)).any():
        raise InputError(
            "the gauge shows more than the tank holds, or less than nothing",
            f"give a level from 0 to {capacity:g} L",
            "start",
        )
    total = np.empty((len(TOTALS), LANES))
    by_part = np.empty((len(BY_YEAR), edges.size - 1, LANES))
    daily = np.zeros((len(DAILY), days, LANES)) if trace else None
    tank = np.empty((3, LANES))
    tank[0], tank[1] = capacity, theta
    for begin in blocks:
        end = min(begin + LANES, columns)
        lanes = np.minimum(np.arange(begin, begin + LANES), end - 1)  # a short block repeats its last
        flows = [
            np.ascontiguousarray(series[:, begin:end] if end - begin == LANES else series[:, lanes])
            for series in (windows.inflow, windows.demand, windows.essential)
        ]
        for row in range(settings.start.size):
            tank[2] = settings.start[row]
            level, share = (
                np.repeat(rule[row][:, None], LANES, axis=1) for rule in (settings.level, settings.share)
            )
            balance(*flows, None, tank, level, share, None, edges, total, by_part, daily)
            yield row, begin, end, flows[1], by_part, daily


BANDS = (0.1, 0.25, 0.5, 0.75, 0.9)

"""Shares of the years below each line of the fan: between the outer two lie 80 percent."""

CONFIDENCES = (0.5, 0.8, 0.95)

EVERY = 3  # [day] between the points of the fan: a year in some 120


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
    """Return settings in which a share of what can wait is served whatever the gauge shows."""
    return Settings(start, np.full((start.size, 1), UNLIMITED), share[:, None])


def level_chances(
    windows: Windows, capacity: float, levels, share: float = 1.0, *, ends, theta: float = 0.0
) -> xr.DataArray:
    """Return the chance of running dry from each of several gauge readings, within each of several times."""
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


LEADS = (7, 14, 30, 60, 90, 120, 180)  # [day]

BINS = (0.0, 0.05, 0.15, 0.25, 0.35, 0.45, 0.55, 0.65, 0.75, 0.85, 0.95, 1.0)


def score(
    known: Windows, outcome: Windows, capacity: float, start, leads: Sequence[int] = LEADS, theta: float = 0.0
) -> xr.Dataset:
    """Compare outlooks made from some years with what other years did.

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
    """Score outlooks on a record, each year foretold from the others."""
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


AHEAD = (30, 60, 90, 120, 180, 270, 364)  # [day] how far a plan may look

STEPS = 20  # the gauge is read in twentieths of the tank


def dry_chances(flows: Flows, capacity: float, serve: tuple[float, ...], theta: float) -> np.ndarray:
    """Return the chance of running dry from the first of each month."""
    one = Flows(flows.inflow[:1], flows.demand, flows.essential, flows.first)
    start = np.arange(STEPS + 1) / STEPS * capacity
    settings = kept_throughout(np.tile(start, len(serve)), np.repeat(serve, start.size))
    out = np.empty((12, len(serve), start.size, len(AHEAD)))
    for month in range(12):
        cut = cut_windows(one, month + 1, 1, AHEAD[-1])
        failed = run_windows(cut, capacity, settings, theta, np.array([0, *AHEAD]))
        dry = (np.cumsum(failed, axis=1) > 0).mean(axis=2)
        out[month] = dry.reshape(len(serve), start.size, -1)
    return out


def help_levels(flows: Flows, capacity: float, serve: float, help_days: int, theta: float) -> np.ndarray:
    """Return below which share of the tank not even the strictest stage is sure to last until help comes.

    The gauge is read all through the month: of four days of it, the most anxious counts.
    """
    if not 1 <= help_days <= 180:
        raise InputError(f"help that takes {help_days} days", "give from 1 to 180 days", "help_days")
    one = Flows(flows.inflow[:1], flows.demand, flows.essential, flows.first)
    reading = np.arange(STEPS + 1) / STEPS
    settings = kept_throughout(reading * capacity, np.full(reading.size, serve))
    out = np.zeros(12)
    for month in range(12):
        for day in (1, 8, 15, 22):
            failed = run_windows(cut_windows(one, month + 1, day, help_days), capacity, settings, theta)
            dry = (failed[:, 0] > 0).mean(axis=1)
            out[month] = max(out[month], float(lowest_sure(dry[None], HELP_RISK.value, reading)[0]))
    return out


def lowest_sure(chance: np.ndarray, risk: float, reading: np.ndarray) -> np.ndarray:
    """Return the lowest reading from which the chance of running dry is no more than a risk.

    Where not even a full tank is sure, the level lies a step above full: the stage then always holds.

    >>> lowest_sure(np.array([[0.9, 0.4, 0.1], [1.0, 1.0, 1.0]]), 0.4, np.array([0.0, 0.5, 1.0]))
    array([0.5 , 1.05])
    """
    sure = chance <= risk + 1e-12
    above = np.where(sure.any(axis=-1), sure.argmax(axis=-1), reading.size)
    return np.append(reading, 1 + 1 / STEPS)[above]
