"""The record in words: what was read, what is doubted, what was filled, what rain it is."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

import numpy as np
import pandas as pd
import xarray as xr

from rainharvest.errors import InputError
from rainharvest.rainfall.beside import beside_gauge
from rainharvest.rainfall.flags import MEANINGS, Flag
from rainharvest.rainfall.read_days import plural

MOST_FINDINGS = 12
"""Findings shown in words; the table holds them all."""


def summary(
    rain: xr.DataArray,
    neighbours: Sequence[xr.DataArray],
    findings: pd.DataFrame,
    filled: xr.DataArray,
    description: xr.Dataset,
) -> str:
    """Return a readable summary of a record.

    Parameters
    ----------
    rain : DataArray [mm/day]
        The rain as read.
    neighbours : sequence of DataArray [mm/day]
        The neighbours as read.
    findings : DataFrame
        What was doubted, with a column ``accepted``.
    filled : DataArray [mm/day]
        The filled versions.
    description : Dataset
        What ``describe_rain`` says of the first version.

    Returns
    -------
    str
        Lines of text.
    """
    parts = [
        ("Read", [_read(rain), *(_read(other) for other in neighbours)]),
        ("Assumed in reading", _sentences(rain.attrs.get("assumptions", ""))),
        ("Doubted", _doubted(findings)),
        ("Beside the gauge", _beside(rain, neighbours)),
        ("Filled", _filled(rain, filled)),
        ("The rain, by the first version", _described(description)),
    ]
    return "\n\n".join(_part(title, lines) for title, lines in parts if lines) + "\n"


def _part(title: str, lines: Sequence[str]) -> str:
    wrapped = [textwrap.fill(line, 100, initial_indent="  - ", subsequent_indent="    ") for line in lines]
    return "\n".join([title, *wrapped])


def _sentences(text: str) -> list[str]:
    return [part for part in text.split("; ") if part]


def _read(rain: xr.DataArray) -> str:
    days = rain.indexes["time"]
    known = int(rain.notnull().sum())
    name = rain.attrs.get("site")
    where = ""
    if {"latitude", "longitude"} <= set(rain.attrs):
        where = f" at {rain.attrs['latitude']:g}, {rain.attrs['longitude']:g}"
    inside = int((rain["flag"] == Flag.IN_TOTAL).sum())
    return (
        f"{rain.attrs['source_file']}{f' ({name})' if name else ''}{where}: {days[0]:%Y-%m-%d} to "
        f"{days[-1]:%Y-%m-%d}, {plural(len(days))}, {known} with a value"
        f"{f', {inside} inside totals over several days' if inside else ''}; "
        f"sha256 {rain.attrs['sha256'][:12]}"
    )


def _doubted(findings: pd.DataFrame) -> list[str]:
    if findings.empty:
        return ["nothing"]
    lines = []
    for row in findings.head(MOST_FINDINGS).itertuples():
        span = f"{row.first_day:%Y-%m-%d}"
        span += f" to {row.last_day:%Y-%m-%d}" if row.last_day > row.first_day else ""
        done = "accepted" if row.accepted else f"to do: {row.action}"
        lines.append(f"{row.severity}, {row.check}, {span}: {row.reason} [{done}]")
    if len(findings) > MOST_FINDINGS:
        lines.append(f"and {len(findings) - MOST_FINDINGS} more: see findings.csv")
    return lines


def _beside(rain: xr.DataArray, neighbours: Sequence[xr.DataArray]) -> list[str]:
    """Return what to mind about each neighbour that looks like a grid or a model."""
    lines = []
    for other in neighbours:
        try:
            found = beside_gauge(rain, other)
        except InputError:  # too few days in common, which the fill says of its neighbours
            continue
        if found["looks_gridded"].values[1]:
            lines.append(
                f"{other.attrs['source_file']}, over {int(found['common_days'])} days in common: "
                f"{found.attrs['warnings']}"
            )
    return lines


def _filled(rain: xr.DataArray, filled: xr.DataArray) -> list[str]:
    attrs = filled.attrs
    flags, counts = np.unique(filled["flag"].values, return_counts=True)
    origin = ", ".join(f"{MEANINGS[Flag(f)]} {n}" for f, n in zip(flags, counts, strict=True))
    lines = [
        f"{plural(attrs['members'], 'version')}, seed {attrs['seed']}, method {attrs['method']}",
        f"origin of the days: {origin}",
    ]
    donors, used = np.unique(filled["donor"].values[filled["flag"] == Flag.FILLED], return_counts=True)
    if len(donors):
        lines.append("filled from " + ", ".join(f"{d} ({n})" for d, n in zip(donors, used, strict=True)))
    if attrs["gaps_left"]:
        lines.append(f"gaps left unknown: {attrs['gaps_left']}")
    for key, words in (
        ("years_estimated", "years of which more than a tenth was missing"),
        ("years_to_leave_out", "years to leave out of headline figures"),
    ):
        if attrs[key]:
            lines.append(f"{words}: {attrs[key]}")
    earlier = set(_sentences(rain.attrs.get("assumptions", "")))
    return lines + [said for said in _sentences(attrs["assumptions"]) if said not in earlier]


def _described(found: xr.Dataset) -> list[str]:
    lines = []
    whole = int(found["annual_total"].notnull().sum())
    month = found.attrs["year_start_month"]
    if whole:
        lines.append(
            f"{float(found['annual_mean']):.0f} mm a year on average over {plural(whole, 'whole year')} "
            f"(from month {month}), varying by {float(found['annual_cv']):.0%}"
            if whole > 1
            else f"{float(found['annual_mean']):.0f} mm in the one whole year (from month {month})"
        )
        driest = ", ".join(
            f"{int(y)} ({t:.0f} mm)"
            for y, t in zip(found["driest_year"].values[:3], found["driest_total"].values[:3], strict=True)
        )
        lines.append(f"driest years: {driest}")
        wet = float(found["wet_days"].mean())
        lines.append(f"{wet:.0f} days a year with {found.attrs['wet_day']:g} mm or more")
    if found.sizes.get("spell", 0):
        place = int(np.argmax(found["dry_spell"].values))
        start = str(found["spell_start"].values[place])[:10]
        lines.append(f"longest dry spell: {plural(int(found['dry_spell'][place]))} from {start}")
    largest = float(found["largest_day"].max())
    if np.isfinite(largest):
        lines.append(f"largest day: {largest:g} mm")
    if np.isfinite(float(found["trend"])):
        lines.append(
            f"trend {float(found['trend']):+.1f} mm a year each year "
            f"({float(found['trend_low']):+.1f} to {float(found['trend_high']):+.1f}); "
            f" so strong a trend comes "
            f"by chance {float(found['trend_chance']):.0%} of the time"
        )
    if found.attrs["left_out"]:
        lines.append(f"could not be had: {found.attrs['left_out']}")
    return lines
