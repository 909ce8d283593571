"""The labelled edge of the balance: named series and settings in, a Dataset of measures out."""

from __future__ import annotations

import math
import re
from concurrent.futures import ThreadPoolExecutor
from functools import lru_cache

import numpy as np
import pandas as pd
import xarray as xr

import rainharvest
from rainharvest.core.compiled import compiling_notice
from rainharvest.core.errors import InputError, require
from rainharvest.core.quantities import attributes
from rainharvest.storage.balance import BY_YEAR, DAILY, LANES, TOTALS, UNLIMITED, Axes, balance


def common_time(**series) -> pd.Index:
    """Return the days that all labelled series share, or numbers where none is labelled."""
    labelled: dict[str, pd.Index] = {}
    lengths: dict[str, int] = {}
    for name, values in series.items():
        if isinstance(values, pd.Series):
            labelled[name] = values.index
        elif isinstance(values, xr.DataArray):
            if "time" in values.indexes:
                labelled[name] = values.indexes["time"]
            elif "time" in values.dims:
                lengths[name] = values.sizes["time"]
        elif values is not None and np.ndim(values) > 0:
            lengths[name] = len(values)
    if not labelled:
        require(lengths, "no series says how many days there are", "give inflow as a series", "inflow")
        name, size = next(iter(lengths.items()))
        require(size, "the series holds no day", "give at least one day", name)
        return pd.RangeIndex(size, name="time")
    first, index = next(iter(labelled.items()))
    for name, other in labelled.items():
        if other is not index and not other.equals(index):
            raise InputError(
                f"{name} covers {_span(other)} and {first} covers {_span(index)}",
                "cut both to the same days",
                name,
            )
    require(index.size, "the series holds no day", "give at least one day", first)
    zone = getattr(index[0], "tzinfo", None)
    require(zone is None, f"the days have the time zone {zone}", "take it off: tz_localize(None)", first)
    if isinstance(index, pd.DatetimeIndex | xr.CFTimeIndex):
        days = index.to_numpy()
        odd = np.flatnonzero(days[1:] - days[:-1] != np.timedelta64(1, "D"))
        if odd.size:
            gap = f"the day after {str(index[odd[0]])[:10]} is not in the index"
            raise InputError(gap, "give one value a day, in order", first)
    return index.rename("time")


def _span(index: pd.Index) -> str:
    """Return the days covered, in words."""
    if index.size == 0:
        return "no day"
    return f"{index.size} days from {str(index[0])[:10]} to {str(index[-1])[:10]}"


# "mm/day" too: rain times an area keeps what it said of itself
_IN_LITRES = re.compile(r"|1|(l|lit(re|er)s?|mm|kg)(\s*(/|per|\s)\s*(d|day|h|hour)(-1)?)?", re.IGNORECASE)


def refuse_other_units(**given) -> None:
    """Refuse what says that it is in another unit than litres."""
    for name, values in given.items():
        said = str(getattr(values, "attrs", {}).get("units", "")).strip()
        problem = f'it is said to be in "{said}"'
        require(_IN_LITRES.fullmatch(said), problem, "give litres, and litres a day where it flows", name)


def as_numbers(name: str, values) -> np.ndarray:
    """Return floats, NaN where masked or missing; text, dates, and yes or no are no numbers."""
    if isinstance(values, np.ma.MaskedArray):
        values = np.where(np.ma.getmaskarray(values), None, values.data)
    elif isinstance(values, pd.Series) and values.dtype != np.float64 and values.hasnans:
        values = values.astype(object).where(values.notna(), None)
    plain = np.asarray(values)
    kind = plain.dtype.kind
    try:
        if (
            kind in "iuf"
            or kind == "O"
            and not any(isinstance(v, str | bytes | bool | np.bool_) for v in plain.flat)
        ):
            return np.require(plain, float, "CAW")  # for arrays of another kind it would be compiled anew
    except (TypeError, ValueError, OverflowError):
        pass
    raise InputError(f"{values!r} is not a number", "give a number", name)


def as_series(name: str, values, time: pd.Index) -> xr.DataArray:
    """Return a series as a DataArray whose last dimension is ``time``."""
    if isinstance(values, xr.DataArray) and "time" in values.dims:
        turned = values.variable.transpose(..., "time")
        labels = {d: values.coords[d].variable for d in turned.dims[:-1] if d in values.coords}
        array = xr.DataArray(as_numbers(name, turned.values), labels, turned.dims)
    elif isinstance(values, xr.DataArray):
        array = values.reset_coords(drop=True).copy(data=as_numbers(name, values.values))
        array = array.expand_dims(time=time.size, axis=-1)
        array = array.copy(data=np.ascontiguousarray(array.values))
    else:
        plain = as_numbers(name, values)
        nameless = "an array of more than one dimension has no names for them"
        require(plain.ndim < 2, nameless, "give a DataArray with named dimensions", name)
        array = xr.DataArray(np.full(time.size, float(plain)) if plain.ndim == 0 else plain, dims="time")
    size = array.sizes["time"]
    require(size == time.size, f"{name} has {size} days, not {time.size}", "give one value a day", name)
    if not np.isfinite([array.values.min(), array.values.max()]).all():
        unknown = ~np.isfinite(array.values).reshape(-1, time.size).all(axis=0)
        first = str(time.values[np.argmax(unknown)])[:10]
        raise InputError(
            f"{int(unknown.sum())} days have no value, the first on {first}",
            "fill the gaps (fill_gaps) or leave those years out",
            name,
        )
    return array


def as_setting(name: str, value, alone: str | None = None) -> xr.DataArray:
    """Return a setting as a DataArray."""
    plain = as_numbers(name, value.values if isinstance(value, xr.DataArray) else value).copy()
    if isinstance(value, xr.DataArray):
        array = value.copy(data=plain)
    else:
        plain = np.atleast_1d(plain) if alone else plain
        named = plain.ndim <= (1 if alone else 0)
        require(named, "a list without a named dimension", "give a DataArray that names its dimension", name)
        array = xr.DataArray(plain, dims=(alone,) if alone else ())
    require(
        "time" not in array.dims, "it varies from day to day", "give one value for the whole record", name
    )
    require(not np.isnan(array.values).any(), "it holds a missing value", "give a number for each", name)
    require(array.size, "it is empty", "give at least one value", name)
    return array


def check_range(name: str, values: xr.DataArray, low: float, high: float) -> None:
    """Refuse values outside a range, naming the first."""
    values = values.values
    if values.min() < low or values.max() > high:
        worst = values[(values < low) | (values > high)].flat[0]
        span = f"at least {low:g}" if math.isinf(high) else f"from {low:g} to {high:g}"
        raise InputError(f"{worst:g} is out of range", f"give {name} {span}", name)


def year_edges(
    time: pd.Index | xr.DataArray, year_start_month: int
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return where each hydrological year begins, its name and its days."""
    month = year_start_month in range(1, 13) and not isinstance(year_start_month, bool)
    require(month, f"{year_start_month!r} is no month", "give a month from 1 to 12", "year_start_month")
    if np.issubdtype(time.dtype, np.datetime64):
        first = int(time.values[0].astype("datetime64[D]").astype(np.int64))
        return _edges_of_days(first, time.size, year_start_month)
    if np.issubdtype(time.dtype, np.integer):
        return _edges(np.arange(time.size) // 365)
    return _edges(np.array([day.year - (day.month < year_start_month) for day in time.values]))


@lru_cache(maxsize=64)
def _edges_of_days(first: int, size: int, year_start_month: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return the edges for days that follow one another from a first one (kept: sliders ask again and again)."""
    months = np.arange(first, first + size).astype("datetime64[D]").astype("datetime64[M]").astype(np.int64)
    return _edges(1970 + months // 12 - (months % 12 + 1 < year_start_month))


def _edges(name: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return where each year begins, its name and its days, from the name of every day's year."""
    first = np.flatnonzero(np.diff(name, prepend=name[0] - 1))
    edges = np.append(first, name.size).astype(np.int64)
    return edges, name[first], np.diff(edges)


FEW, MANY = 16, 64

"""With fewer tanks than the one to each of more series than the other, lanes of several series share a block."""


def simulate(
    inflow,
    demand,
    capacity,
    *,
    essential=None,
    theta=0.0,
    start=0.0,
    ration_level=None,
    ration_share=None,
    top_up_trigger=None,
    top_up_level=None,
    top_up_rate=None,
    change_over=False,
    mains_on=None,
    year_start_month: int = 1,
    trace: bool = False,
    threads: int = 1,
) -> xr.Dataset:
    """Simulate the tank day by day and measure what it did.

    The order of operations within a day is written in `rainharvest.storage.balance.balance`. Every
    argument may carry further labelled dimensions (member, roof, arrangement, ...): they broadcast by
    name. The mass balance closes for every tank: inflow_total + stored_start + topped_up equals
    delivered + spilled + stored_end, and demand_total equals delivered + changed_over + unmet +
    rationed.

    Parameters
    ----------
    inflow : array_like [L/day]
        Water at the tank inlet: a DataArray with ``time``, a pandas Series, or a 1-D array of days.
    demand : array_like or float [L/day]
        Water asked of the tank, likewise; one number serves for every day.
    capacity : array_like or float [L]
        Usable tank size: one number, a 1-D array, or a DataArray.
    essential : array_like or float [L/day], optional
        The part of the demand that rationing does not cut; 0 by default.
    theta : float or DataArray [1], optional
        0 (default) draws before the day's rain is in (yield after spillage), 1 after it (yield before
        spillage).
    start : float or DataArray [L], optional
        Water stored on the first morning; 0 by default, which errs on the safe side.
    ration_level : float, list or DataArray [L], optional
        Stored water below which non-essential uses are cut; a list gives several stages.
    ration_share : float, list or DataArray [1], optional
        Share of the non-essential demand still served below that level; as many as levels.
    top_up_trigger : float or DataArray [L], optional
        Stored water at or below which the mains valve opens.
    top_up_level : float or DataArray [L], optional
        Stored water at which the valve closes; no higher than the tank holds.
    top_up_rate : float or DataArray [L/day], optional
        Most mains water in a day; unlimited by default; 0 shuts the valve for good.
    change_over : bool or DataArray of bool, optional
        Feed the fixtures straight from the mains when the tank is empty, instead of a top-up.
    mains_on : array_like or float [1], optional
        Share of each day on which the mains supply water; 1 by default.
    year_start_month : int [1], optional
        First month of the hydrological year, for the yearly measures.
    trace : bool, optional
        Add the daily values ``stored``, ``drawn_daily``, ... on ``time``.
    threads : int, optional
        Blocks of tanks simulated side by side.

    Returns
    -------
    Dataset
        On ``capacity`` and any further dimension: ``delivered``, ``spilled``, ``unmet``, ``rationed``,
        ``topped_up``, ``changed_over``, ``stored_start``, ``stored_end``, ``days_failed``, ``days_met``,
        ``days_rationed``, ``failure_events``, ``longest_failure``, ``worst_shortfall``,
        ``volume_reliability``, ``time_reliability``; on ``year`` as well ``yield_by_year``,
        ``mains_by_year``, ``failed_by_year``; ``inflow_total`` and ``demand_total``.

    Raises
    ------
    InputError
        If a series has missing or negative days or says that it is in another unit, series do not cover the same
        days, or a setting is out of its range.

    Notes
    -----
    Days without labels are numbered from 0 and their years are blocks of 365 days.

    Examples
    --------
    The hand case of seven days, 5 L tank, 2 L a day:

    >>> done = simulate([0, 3, 8, 0, 2, 0, 0], 2.0, 5.0)
    >>> float(done.delivered[0]), float(done.spilled[0]), float(done.days_failed[0])
    (7.0, 6.0, 4.0)
    """
    require(
        isinstance(trace, bool | np.bool_),
        f"{trace!r} is neither True nor False",
        "give True or False",
        "trace",
    )
    several = isinstance(threads, int | np.integer) and threads >= 1
    require(several, f"{threads!r} is no number of threads", "give a whole number from 1", "threads")
    refuse_other_units(
        inflow=inflow,
        demand=demand,
        essential=essential,
        capacity=capacity,
        start=start,
        top_up_rate=top_up_rate,
    )
    time = common_time(inflow=inflow, demand=demand, essential=essential, mains_on=mains_on)
    series = {"inflow": as_series("inflow", inflow, time), "demand": as_series("demand", demand, time)}
    settings = {
        "capacity": as_setting("capacity", capacity, alone="capacity"),
        "theta": as_setting("theta", theta),
        "start": as_setting("start", start),
    }
    rationing = ration_level is not None or ration_share is not None
    if rationing:
        for name, value in (("ration_level", ration_level), ("ration_share", ration_share)):
            half = f"rationing needs a level and a share, and {name} is missing"
            require(value is not None, half, f"give {name} too", name)
        series["essential"] = as_series("essential", 0.0 if essential is None else essential, time)
        settings["ration_level"] = as_setting("ration_level", ration_level, alone="stage")
        settings["ration_share"] = as_setting("ration_share", ration_share, alone="stage")
    switched = change_over if isinstance(change_over, xr.DataArray) else xr.DataArray(change_over)
    said = f"{switched.values.reshape(-1)[:1].tolist()} is neither True nor False"
    require(switched.dtype == bool, said, "give True or False", "change_over")
    valve = top_up_trigger is not None or top_up_level is not None or bool(switched.values.any())
    if valve:
        series["mains_on"] = as_series("mains_on", 1.0 if mains_on is None else mains_on, time)
        settings |= _valve(switched, top_up_trigger, top_up_level, top_up_rate)
    else:
        no_valve = "a rate is set but no top-up", "give top_up_trigger and top_up_level"
        require(top_up_rate is None, *no_valve, "top_up_rate")

    axes = Axes(series, settings)
    _check(axes)
    years, year_names, days_in_year = year_edges(time, year_start_month)
    totals, yearly, daily = _run(axes, years, time.size, rationing, valve, trace, threads)
    out = _measures(axes, totals, yearly, daily, time, year_names, days_in_year)
    out.attrs = {
        "title": "Daily balance of a rainwater tank",
        "rainharvest_version": rainharvest.__version__,
        "year_start_month": year_start_month,
    }
    for key in ("sha256", "source_file", "seed"):
        if key in getattr(inflow, "attrs", {}):
            out.attrs[key] = inflow.attrs[key]
    return out


def _valve(switched, trigger, level, rate) -> dict[str, xr.DataArray]:
    """Return the settings of the mains valve; a change-over valve is one that stores nothing."""
    levels = {"top_up_trigger": trigger, "top_up_level": level}
    if bool(switched.values.all()):
        require(
            trigger is None and level is None,
            "a change-over valve and a top-up are both set",
            "choose one: leave change_over or top_up_* out",
            "change_over",
        )
    else:
        for name, value in levels.items():
            half = "a top-up needs a trigger and a set level"
            require(value is not None, half, f"give {name} too", name)
    stored = {name: as_setting(name, 0.0 if value is None else value) for name, value in levels.items()}
    return {name: value.where(~switched, 0.0) for name, value in stored.items()} | {
        "top_up_rate": as_setting("top_up_rate", UNLIMITED if rate is None else rate),
        "change_over": switched.astype(float),
    }


_SHARES = ("theta", "ration_share", "mains_on")


def _check(axes: Axes) -> None:
    """Refuse what is out of range, naming the argument."""
    for name, values in axes.all.items():
        check_range(name, values, 0.0, 1.0 if name in _SHARES else np.inf)
    start, capacity = axes.lane_values("start", "capacity")
    over = "more water at the start than the tank holds", "give start no larger than capacity"
    require((start <= capacity).all(), *over, "start")
    if "essential" in axes.series:
        part = axes.series["essential"] <= axes.series["demand"] * (1 + 1e-12)
        over = "the essential demand exceeds the demand", "essential is a part of demand"
        require(part.all(), *over, "essential")


def _run(axes: Axes, years, days: int, rationing: bool, valve: bool, trace: bool, threads: int):
    """Hand the lanes to the compiled balance, block by block."""
    lanes = axes.lanes
    tank, theta = axes.lane_values("capacity", "start"), axes.lane_values("theta")[0]
    theta = theta if theta.any() else None
    level = share = mains = None
    if rationing:
        level, share = axes.stage_values("ration_level"), axes.stage_values("ration_share")
    if valve:
        mains = axes.lane_values("top_up_trigger", "top_up_level", "top_up_rate")
        mains[1] = np.minimum(mains[1], tank[0])
    settings = (tank, theta, level, share, mains)
    totals = np.empty((len(TOTALS), lanes))
    yearly = np.empty((len(BY_YEAR), years.size - 1, lanes))
    daily = np.zeros((len(DAILY), days, lanes)) if trace else None

    def block(first_and_end: tuple[int, int]) -> None:
        first, end = first_and_end
        lanes = np.arange(first, end)
        flows = [
            axes.lane_series(n, lanes) if n in axes.series else None
            for n in ("inflow", "demand", "essential", "mains_on")
        ]
        if any(f is not None and f.ndim == 2 for f in flows):  # a series a lane: then all are
            flows = [f if f is None or f.ndim == 2 else np.repeat(f[:, None], lanes.size, 1) for f in flows]
        # ``take`` gives one order in memory where indexing gives two: half as many forms to compile.
        given = (None if values is None else values.take(lanes, axis=-1) for values in settings)
        # A block that holds all lanes fills the results themselves.
        filled = [
            v if v is None else np.ascontiguousarray(v[..., first:end]) for v in (totals, yearly, daily)
        ]
        balance(*flows, *given, years, *filled)
        for values, part in zip((totals, yearly, daily), filled, strict=True):
            if part is not None and part.base is not values:
                values[..., first:end] = part

    blocks = axes.blocks(LANES, FEW, MANY)
    with compiling_notice("the daily balance"):
        block(blocks[0])
        if threads > 1 and len(blocks) > 2:
            with ThreadPoolExecutor(threads) as pool:
                list(pool.map(block, blocks[1:]))
        else:
            for other in blocks[1:]:
                block(other)
    return totals, yearly, daily


def _measures(axes: Axes, totals, yearly, daily, time, year_names, days_in_year) -> xr.Dataset:
    """Name the totals and derive the measures that follow from them."""
    row = dict(zip(TOTALS, totals, strict=True))
    year = {name: yearly[i].T for i, name in enumerate(BY_YEAR)}
    through = 1.0 - axes.lane_values("change_over")[0] if "change_over" in axes.all else np.ones(axes.lanes)
    total = axes.over_days("demand", lambda days: days.sum(axis=-1))
    asked = axes.over_days("demand", lambda days: (days > 0).sum(axis=-1))
    short = row["unmet"] + row["rationed"]
    measures = {
        "delivered": row["drawn"] + through * row["mains_served"],
        "spilled": row["spilled"],
        "unmet": row["unmet"],
        "rationed": row["rationed"],
        "topped_up": through * (row["mains_stored"] + row["mains_served"]),
        "changed_over": (1.0 - through) * row["mains_served"],
        "stored_start": axes.lane_values("start")[0],
        "stored_end": row["stored_end"],
        "days_failed": row["days_failed"],
        "days_met": asked - row["days_failed"],
        "days_rationed": row["days_rationed"],
        "failure_events": row["failure_events"],
        "longest_failure": row["longest_failure"],
        "worst_shortfall": row["worst_shortfall"],
        # Nothing asked is nothing failed.
        "volume_reliability": 1.0 - short / np.where(total > 0, total, np.inf),
        "time_reliability": 1.0 - row["days_failed"] / np.maximum(asked, 1),
    }
    by_year = {
        "yield_by_year": year["drawn"] + through[:, None] * year["mains_served"],
        "mains_by_year": year["mains_stored"] + year["mains_served"],
        "failed_by_year": year["days_failed"],
    }
    out = {name: (*axes.shaped(values), attributes(name)) for name, values in measures.items()}
    out |= {name: (*axes.shaped(values, "year"), attributes(name)) for name, values in by_year.items()}
    if daily is not None:
        for i, name in enumerate(DAILY):
            shown = name if name == "stored" else f"{name}_daily"
            out[shown] = (*axes.shaped(daily[i].T, "time"), attributes(shown))
    for name in ("inflow", "demand"):
        series = axes.series[name]
        out[f"{name}_total"] = (series.dims[:-1], series.values.sum(axis=-1), attributes(f"{name}_total"))
    out["days_in_year"] = ("year", days_in_year, attributes("days_in_year"))
    coords = {name: (name, label.values, label.attrs) for name, label in axes.coords.items()}
    coords["year"] = ("year", year_names, attributes("year"))
    if daily is not None:
        coords["time"] = time
    if "capacity" in coords:
        coords["capacity"] = ("capacity", axes.coords["capacity"].values, attributes("capacity"))
    return xr.Dataset(out, coords)
