"""A record in plain text, for who has no page: what was read, doubted and filled, and what rain it holds."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

import numpy as np
import pandas as pd
import xarray as xr

from rainharvest.core.errors import InputError
from rainharvest.core.text import texts_of
from rainharvest.rainfall.check_neighbours import compare_with_gauge
from rainharvest.rainfall.flags import MEANINGS, Flag

SAY = texts_of("rainfall")
MOST_FINDINGS = 12  # shown in words; the table holds them all


def summary(
    rain: xr.DataArray,
    neighbours: Sequence[xr.DataArray],
    findings: pd.DataFrame,
    filled: xr.DataArray,
    description: xr.Dataset,
) -> str:
    """Return a readable summary of a record."""
    parts = {
        "Read": sources((rain, *neighbours)),
        "Assumed in reading": parts_of(rain.attrs.get("assumptions", "")),
        "Doubted": _doubted(findings),
        "Beside the gauge": _gridded(rain, neighbours),
        "Filled": _filled(rain, filled),
        "The rain, by the first version": described(description),
    }
    return "\n\n".join(_part(title, lines) for title, lines in parts.items() if lines) + "\n"


def _part(title: str, lines: Sequence[str]) -> str:
    wrapped = [textwrap.fill(line, 100, initial_indent="  - ", subsequent_indent="    ") for line in lines]
    return "\n".join([title, *wrapped])


def parts_of(text: str, mark: str = "; ") -> list[str]:
    """Return the parts that an attribute holds, joined by a mark."""
    return [part for part in text.split(mark) if part]


def sources(records: Sequence[xr.DataArray]) -> list[str]:
    """Return which files were read, what they hold, and their digests."""
    return [SAY.read(_read(one)) for one in records]


def _read(rain: xr.DataArray) -> dict[str, object]:
    days = rain.indexes["time"]
    return {
        "attrs": rain.attrs,
        "placed": {"latitude", "longitude"} <= set(rain.attrs),
        "first": days[0],
        "last": days[-1],
        "days": len(days),
        "known": int(rain.notnull().sum()),
        "inside": int((rain["flag"] == Flag.IN_TOTAL).sum()),
    }


def _doubted(findings: pd.DataFrame) -> list[str]:
    lines = [SAY.doubted(row) for row in findings.head(MOST_FINDINGS).itertuples()] or ["nothing"]
    more = len(findings) - MOST_FINDINGS
    return [*lines, SAY.more_findings(more)] if more > 0 else lines


def _gridded(rain: xr.DataArray, neighbours: Sequence[xr.DataArray]) -> list[str]:
    """Return what to mind about each neighbour that looks like a grid or a model."""
    lines = []
    for other in neighbours:
        try:
            found = compare_with_gauge(rain, other)
        except InputError:  # too few days in common, which the fill says of its neighbours
            continue
        if found["looks_gridded"].values[1]:
            file, days = other.attrs["source_file"], int(found["common_days"])
            lines.append(SAY.gridded(file, days, found.attrs["warnings"]))
    return lines


def _filled(rain: xr.DataArray, filled: xr.DataArray) -> list[str]:
    attrs = filled.attrs
    origin = pd.Series(filled["flag"].values).value_counts(sort=False).sort_index()
    donors = pd.Series(filled["donor"].values[filled["flag"] == Flag.FILLED])
    donors = donors.value_counts(sort=False).sort_index()
    made = bool(np.isin(filled["flag"], [Flag.FILLED, Flag.RESAMPLED, Flag.SPREAD]).any())
    lines = [SAY.versions(attrs) if made else SAY.nothing_filled(attrs["days_left"])]
    lines.append(SAY.origin({MEANINGS[Flag(f)]: n for f, n in origin.items()}))
    if len(donors):
        lines.append(SAY.filled_from(dict(donors.items())))
    for key in ("gaps_left", "years_estimated", "years_to_leave_out"):
        if attrs[key]:
            lines.append(SAY.left(key, attrs[key]))
    earlier = parts_of(rain.attrs.get("assumptions", ""))
    return lines + [note for note in parts_of(attrs["assumptions"]) if note not in earlier]


def described(found: xr.Dataset) -> list[str]:
    """Return what rain a record holds, and what so short a one cannot tell."""
    lines = []
    whole = int(found["annual_total"].notnull().sum())
    one = {
        name: float(found[name]) for name in ("annual_mean", "annual_cv", "trend", "trend_low", "trend_high")
    }
    if whole:
        driest = zip(found["driest_year"].values[:3], found["driest_total"].values[:3], strict=True)
        lines.append(SAY.mean_year(one, whole, found.attrs["year_start_month"]))
        lines.append(SAY.driest_years([(int(year), total) for year, total in driest]))
        lines.append(SAY.wet_days(float(found["wet_days"].mean()), found.attrs["wet_day"]))
    if found.sizes.get("spell", 0):
        place = int(np.argmax(found["dry_spell"].values))
        start = str(found["spell_start"].values[place])[:10]
        lines.append(SAY.longest_spell(int(found["dry_spell"][place]), start))
    largest = float(found["largest_day"].max())
    if np.isfinite(largest):
        lines.append(SAY.largest_day(largest))
    if np.isfinite(one["trend"]):
        lines.append(SAY.trend(one, float(found["trend_chance"])))
    if whole < 2:
        lines.append(SAY.one_year(whole))
    if found.attrs["left_out"]:
        lines.append(SAY.not_had(found.attrs["left_out"]))
    return lines
