"""A rain record as the checks and the fill take it: one day a row, every day with the flag of its origin."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass, fields
from enum import IntEnum
from typing import Literal

import numpy as np
import pandas as pd
import xarray as xr

from rainharvest.core.defaults import rows_of
from rainharvest.core.quantities import attributes
from rainharvest.rainfall.refusals import refusal, refuse_unless


class Flag(IntEnum):
    """Where a day's rain comes from."""

    MEASURED = 0
    TRACE = 1  # too little to measure; counted as 0 mm
    MISSING = 2  # no value in the file, or no row for the day
    SUSPECT = 3  # measured, doubted by a finding that the user accepted; the value is kept
    REJECTED = 4  # a value the source or a finding declares wrong; removed, the day is NaN
    TOTAL = 5  # the value is a total over several days ending on this one (see total_days)
    IN_TOTAL = 6  # the day's rain is inside a later multi-day total; the day is NaN
    SPREAD = 7  # a share of a multi-day total, spread over its days
    FILLED = 8  # filled from a neighbour (coordinate ``donor`` says which)
    RESAMPLED = 9  # filled by resampling days of the same season


MEANINGS = {flag: flag.name.lower() for flag in Flag}


def flag_attributes() -> dict[str, object]:
    """Return the CF attributes (``flag_values``, ``flag_meanings``) of the ``flag`` coordinate."""
    return {
        "long_name": "Origin of the day",
        "flag_values": np.array([int(f) for f in Flag], dtype="int8"),
        "flag_meanings": " ".join(MEANINGS.values()),
    }


def as_record(rain: xr.DataArray | pd.Series, place: str = "rain") -> xr.DataArray:
    """Return rain on a gap-free daily index with the coordinates ``flag`` and ``total_days``.

    A day without a row becomes a missing day, never a dry one. Where the coordinates are absent, a day
    with a value counts as measured and a day without as missing.

    >>> days = pd.to_datetime(["2001-01-01", "2001-01-03"])
    >>> record = as_record(pd.Series([1.0, 2.0], days))
    >>> record.values, record["flag"].values
    (array([ 1., nan,  2.]), array([0, 2, 0], dtype=int8))
    """
    from rainharvest.rainfall.read_columns import in_mm  # reads with the flags of this file

    if isinstance(rain, pd.Series):
        dated = isinstance(rain.index, pd.DatetimeIndex)
        refuse_unless(dated, "undated_series", place=place)
        index = rain.index.tz_localize(None).rename("time")
        rain = xr.DataArray(rain.to_numpy(), dims="time", coords={"time": index}, name=rain.name)
    found = f"dimensions {rain.dims}" if isinstance(rain, xr.DataArray) else type(rain).__name__
    single = isinstance(rain, xr.DataArray) and rain.dims == ("time",)
    refuse_unless(single, "not_one_record", found=found, place=place)
    rain = in_mm(rain, place)
    index = rain.indexes.get("time")
    refuse_unless(isinstance(index, pd.DatetimeIndex), "no_calendar", place=place)
    refuse_unless(len(index), "empty_record", place=place)
    refuse_unless(not index.hasnans, "day_without_date", place=place)
    for stamp in index[index != index.normalize()]:
        raise refusal("no_whole_day", stamp=stamp, place=place)
    for day in index[index.duplicated()].date:
        raise refusal("day_twice", day=day, place=place)
    try:
        values = rain.to_numpy().astype("float64")
    except (TypeError, ValueError):
        raise refusal("no_numbers", place=place) from None
    for day in index[np.isinf(values)].date:
        raise refusal("infinite_day", day=day, place=place)
    unknown = np.isnan(values)
    flag = np.asarray(rain.coords.get("flag", np.where(unknown, Flag.MISSING, Flag.MEASURED)))
    total_days = np.asarray(rain.coords.get("total_days", np.where(unknown, 0, 1)))
    if "total_days" not in rain.coords:
        for day in index[flag == Flag.TOTAL].date:
            raise refusal("total_of_unsaid_days", day=day, place=place)
    full = pd.date_range(index.min(), index.max(), freq="D", name="time", unit=index.unit)
    span = {"first": full[0].date(), "last": full[-1].date()}
    refuse_unless(len(full) <= 36_525 + 10 * len(index), "long_span", **span, place=place)
    frame = pd.DataFrame({"rain": values, "flag": flag, "total_days": total_days}, index=index).reindex(full)
    return xr.DataArray(
        frame["rain"].to_numpy(),
        dims="time",
        coords={
            "time": full,
            "flag": ("time", frame["flag"].fillna(Flag.MISSING).to_numpy("int8"), flag_attributes()),
            "total_days": ("time", frame["total_days"].fillna(0).to_numpy("int16")),
        },
        name=rain.name,
        attrs=attributes("rain") | rain.attrs | _place_of(rain),
    )


def _place_of(rain: xr.DataArray) -> dict[str, object]:
    """Return the site's name and position where they stand as coordinates, as in one site of several."""
    names = ("site", "latitude", "longitude", "elevation")
    return {name: rain[name].item() for name in names if name in rain.coords and rain[name].ndim == 0}


@dataclass(frozen=True)
class Neighbour:
    """A neighbouring record laid on the target's days."""

    name: str  # Its name in the ``donor`` coordinate
    values: np.ndarray  # [mm/day] Its sound one-day values on the target's days, NaN elsewhere
    attrs: Mapping[str, object]  # Its attributes: latitude, longitude, elevation where known


def sound_values(record: xr.DataArray) -> np.ndarray:
    """Return the day's rain [mm/day] where it is a one-day value in no doubt, NaN elsewhere."""
    certain = record["flag"].isin([Flag.MEASURED, Flag.TRACE])
    return record.where(certain & (record["total_days"] <= 1) & (record >= 0)).to_numpy()


def as_neighbours(
    neighbours: xr.DataArray | Iterable[xr.DataArray | pd.Series] | None, record: xr.DataArray
) -> list[Neighbour]:
    """Return the neighbours on the record's days, each with a name of its own."""
    if neighbours is None:
        return []
    if isinstance(neighbours, xr.DataArray) and "site" in neighbours.dims:
        names = neighbours["site"].to_numpy() if "site" in neighbours.coords else range(1, 1000)
        parts = [neighbours.isel(site=i) for i in range(neighbours.sizes["site"])]
        neighbours = [part.rename(str(name)) for part, name in zip(parts, names, strict=False)]
    elif isinstance(neighbours, xr.DataArray | pd.Series):
        neighbours = [neighbours]
    out: list[Neighbour] = []
    for number, item in enumerate(neighbours, 1):
        other = as_record(item, f"neighbours[{number - 1}]")
        name = str(other.attrs.get("site") or "") or str(other.name or "")
        if name in ("", "rain") or name in [n.name for n in out]:
            name = f"{name or 'neighbour'} {number}"
        values = pd.Series(sound_values(other), other.indexes["time"]).reindex(record.indexes["time"])
        out.append(Neighbour(name, values.to_numpy(), other.attrs))
    return out


def require_count(name: str, value: object, least: int) -> None:
    """Refuse a setting that is no whole number, or too small a one."""
    counted = isinstance(value, int | np.integer) and not isinstance(value, bool) and value >= least
    refuse_unless(counted, "no_count", name=name, value=value, least=least)


def runs(condition: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return the first and the last position of each unbroken run of True.

    >>> runs(np.array([True, True, False, True]))
    (array([0, 3]), array([1, 3]))
    """
    edges = np.flatnonzero(np.diff(np.concatenate(([False], condition, [False])).astype(np.int8)))
    return edges[::2], edges[1::2] - 1


def spans(condition: np.ndarray) -> list[tuple[int, int]]:
    """Return (first, last) of each unbroken run of True.

    >>> spans(np.array([True, True, False, True]))
    [(0, 1), (3, 3)]
    """
    return list(zip(*(ends.tolist() for ends in runs(condition)), strict=True))


def alike(values: np.ndarray) -> list[tuple[int, int]]:
    """Return (first, last) of each stretch of equal values.

    >>> alike(np.array([2.0, 2.0, 5.0]))
    [(0, 1), (2, 2)]
    """
    edges = np.flatnonzero(np.concatenate([[True], values[1:] != values[:-1], [True]])).tolist()
    return [(a, b - 1) for a, b in zip(edges[:-1], edges[1:], strict=True)]


def plural(count: int, one: str = "day", many: str = "") -> str:
    """Return a count with its noun.

    >>> plural(1), plural(3, "value")
    ('1 day', '3 values')
    """
    return f"{count} {one if count == 1 else many or one + 's'}"


Severity = Literal["wrong", "suspect", "note"]
SEVERITIES: tuple[Severity, ...] = ("wrong", "suspect", "note")


KINDS = rows_of("rainfall", "findings")


@dataclass(frozen=True)
class Finding:
    """One finding about a rain record: its fields are the columns of the table of findings."""

    check: str  # The check that finds it
    severity: Severity  # Cannot be right; doubtful; worth knowing
    first_day: pd.Timestamp  # The days it is about
    last_day: pd.Timestamp
    days: int  # [day] How many days it is about
    reason: str  # Why, with the numbers of the case
    action: str  # What may be done
    flag: str  # What accepting it sets on its days; empty where it is about the record, not about days


def finding(kind: str, first: pd.Timestamp, last: pd.Timestamp, days: int, **facts: object) -> Finding:
    """Return a finding of a kind, its reason and action with the facts of the case."""
    row = {"check": kind.replace("_", " "), "flag": ""} | KINDS[kind]
    always = {"days": days, "count": plural(days), "are": "is" if days == 1 else "are"}
    facts = always | {"first": first, "last": last} | facts
    said = {part: row[part].format(**facts) for part in ("reason", "action")}
    return Finding(first_day=first, last_day=last, days=days, **row | said)


def finding_at(kind: str, days: pd.DatetimeIndex, first: int, last: int, **facts: object) -> Finding:
    """Return a finding about the days between two positions, both counted."""
    return finding(kind, days[first], days[last], int(last - first + 1), **facts)


COLUMNS = [one.name for one in fields(Finding)]


def table_of(findings: list[Finding]) -> pd.DataFrame:
    """Return findings as a table, worst first."""
    return worst_first(pd.DataFrame([asdict(one) for one in findings], columns=COLUMNS))


def worst_first(table: pd.DataFrame) -> pd.DataFrame:
    """Return a table of findings ordered by severity, then by the days concerned."""
    rank = table.assign(severity=table["severity"].map(SEVERITIES.index), days=-table["days"])
    order = rank.sort_values(["severity", "days", "first_day", "check"], kind="stable").index
    return table.loc[order].reset_index(drop=True)


def noted(attrs: Mapping[str, object], said: Iterable[str]) -> str:
    """Return what was assumed of a record so far, and what is now."""
    return "; ".join(filter(None, [attrs.get("assumptions", ""), *said]))
