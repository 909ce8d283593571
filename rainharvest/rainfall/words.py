"""The record in words."""

from __future__ import annotations

import calendar
import textwrap
from collections.abc import Sequence
from html import escape
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
import xarray as xr

from rainharvest.core.errors import InputError
from rainharvest.core.reader import date, measure, number, percent
from rainharvest.rainfall.check_neighbours import beside_gauge
from rainharvest.rainfall.climatology import spi_class
from rainharvest.rainfall.flags import MEANINGS, Flag
from rainharvest.rainfall.read_values import plural

if TYPE_CHECKING:
    from rainharvest.rainfall.facts import CheckedRecord


MOST_FINDINGS = 12

"""Findings shown in words; the table holds them all."""


def summary(
    rain: xr.DataArray,
    neighbours: Sequence[xr.DataArray],
    findings: pd.DataFrame,
    filled: xr.DataArray,
    description: xr.Dataset,
) -> str:
    """Return a readable summary of a record."""
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


def _percent(share, sign: str = "") -> str:
    return f"{100 * float(share):{sign}.0f} %"


def record_words(record: CheckedRecord, filled: xr.DataArray) -> str:
    """Say whose record it is, what was doubted and what was filled."""
    attrs = filled.attrs
    doubts = record.findings["severity"].value_counts()
    kinds = {
        "wrong": ("finding that cannot be right", "findings that cannot be right"),
        "suspect": ("doubtful finding", ""),
        "note": ("note", ""),
    }
    said = [plural(int(doubts[kind]), *nouns) for kind, nouns in kinds.items() if kind in doubts]
    days = filled.indexes["time"]
    name = attrs.get("site") or attrs.get("source_file", "the record")
    out = (
        f"<b>{escape(str(name))}</b>, {days[0]:%Y-%m-%d} to {days[-1]:%Y-%m-%d}: "
        f"{plural(attrs['days_filled'], 'day')} filled from neighbours, {attrs['days_resampled']:,} resampled, "
        f"{attrs['days_spread']:,} spread from totals over several days, "
        f"<b>{attrs['days_left']:,} left unknown</b>. "
        f"The checks of the whole record say: {', '.join(said) or 'nothing to doubt'}."
    )
    if attrs["years_to_leave_out"]:
        out += f" Years to leave out of headline figures: {attrs['years_to_leave_out']}."
    return out


def annual_words(annual: xr.DataArray) -> str:
    """Say how far the years differ, and how far the filled versions do."""
    whole = annual.isel(year=np.flatnonzero(annual.notnull().all("member").values))
    if whole.sizes["year"] == 0:
        return "No year is whole, so no year has a total."
    middle = whole.median("member")
    apart = whole.max("member") - whole.min("member")
    widest = int(apart.values.argmax())
    driest = int(middle.values.argmin())
    out = (
        f"{plural(whole.sizes['year'], 'year')} of {annual.sizes['year']} have a total. The driest, "
        f"{int(whole.year[driest])}, has {_percent(middle[driest] / middle.mean())} of the mean year's rain."
    )
    if whole.sizes["member"] > 1 and float(apart[widest]) > 0.5:
        out += (
            f" The {whole.sizes['member']} versions differ most in {int(whole.year[widest])}: by "
            f"{float(apart[widest]):.0f} mm, which is how much nobody knows of that year."
        )
    return out


def skill_words(skill: xr.Dataset) -> str:
    """Say how well hidden days were filled."""
    if skill.attrs.get("left_out"):
        return f"No test on hidden days: {escape(skill.attrs['left_out'])}."
    ours, plain = skill.isel(way_filled=0), skill.isel(way_filled=1)
    return (
        f"{_percent(skill.attrs['share'])} of the known days were hidden and filled: "
        f"<b>{_percent(ours.wet_agreement)}</b> of them came out rightly wet or dry "
        f"({_percent(plain.wet_agreement)} with the mean of the season). The longest dry spell is off by "
        f"{_percent(ours.longest_spell_error, '+')} ({_percent(plain.longest_spell_error, '+')})."
    )


def climatology_words(description: xr.Dataset) -> str:
    """Say in which months it rains."""
    mean = description.month_mean
    if not bool(mean.notnull().all()):
        return "Not every month of the year has a whole month in the record."
    wettest = int(mean.values.argmax())
    return (
        f"The wettest month is {calendar.month_name[wettest + 1]} ({float(mean[wettest]):.0f} mm), the driest "
        f"{calendar.month_name[int(description.driest_month)]} ({float(mean.min()):.0f} mm); a hydrological "
        f"year that keeps the dry season whole begins in "
        f"{calendar.month_name[int(description.suggested_start)]}."
    )


def spells_words(description: xr.Dataset) -> str:
    """Say how long the dry spells are."""
    if description.sizes.get("spell", 0) == 0:
        return "The record has no dry spell."
    longest = int(description.dry_spell.values.argmax())
    often = description.spell_days.values[description.spells_a_year.values >= 1]
    start = str(description.spell_start.values[longest])[:10]
    return (
        f"With a wet day from {description.attrs['wet_day']:g} mm, a dry spell of "
        f"{int(often.max(initial=0))} days or more comes once a year; the longest began on {start} and "
        f"lasted <b>{int(description.dry_spell[longest])} days</b>."
    )


def spi_words(spi: xr.DataArray, scale: int) -> str:
    """Say when the driest time was."""
    known = spi.dropna("month")
    if known.sizes["month"] == 0:
        return "The record is too short for the index: it wants ten years or more of whole months."
    worst = known.isel(month=int(known.values.argmin()))
    dry = float((known <= -1).mean())
    return (
        f"Looking back over {plural(scale, 'month')}, the driest time ended in "
        f"{str(worst.month.values)[:7]} ({float(worst):.1f}, {spi_class(float(worst))}); "
        f"{_percent(dry)} of the months are dry (-1 or less)."
    )


def double_mass_words(mass: xr.Dataset) -> str:
    """Say whether the record kept its relation to its neighbours."""
    overall = float(mass.here[-1] / mass.there[-1])
    half = mass.sizes["year"] // 2
    early = float(mass.here[half - 1] / mass.there[half - 1])
    late = float((mass.here[-1] - mass.here[half - 1]) / (mass.there[-1] - mass.there[half - 1]))
    return (
        f"Over all years the gauge has {overall:.2f} times its neighbours' rain: {early:.2f} in the first half, "
        f"{late:.2f} in the second. A bend that lasts marks a change at one of the gauges."
    )


def return_levels_words(levels: xr.Dataset, years: float) -> str:
    """Say which rain to expect once in ten years."""
    if not bool(levels.return_level.notnull().any()):
        return "The record has too few heavy days to say."
    ten = levels.sel(return_period=10)
    return (
        f"Once in ten years a day brings <b>{float(ten.return_level):.0f} mm</b> or more (between "
        f"{float(ten.return_level_low):.0f} and {float(ten.return_level_high):.0f} mm). Beyond the "
        f"{years:.0f} years of the record the line is extrapolated. Gutters are sized by minutes, not by days."
    )


def answer(record: CheckedRecord, filled: xr.DataArray, description: xr.Dataset) -> None:
    """Print the record in four plain lines.

    Parameters
    ----------
    record : CheckedRecord
        The record.
    filled : DataArray [mm/day]
        Its filled versions.
    description : Dataset
        What ``describe_rain`` says of the first version.
    """
    flag = record.recent["flag"].values
    unknown = np.isin(flag, [Flag.MISSING, Flag.REJECTED]).sum()
    print(
        f"{record.read.attrs.get('site', 'The gauge')}: {record.read.sizes['time']:,} days read, "
        f"{len(record.findings)} findings."
    )
    print(
        f"Last {description.sizes['year']} years: {unknown} days unknown, {filled.attrs['days_left']} after "
        f"filling from {len(record.recent_neighbours)} neighbours."
    )
    print(
        f"First version: mean year {float(description.annual_mean):.0f} mm; driest "
        f"{int(description.driest_year[0])} with {float(description.driest_total[0]):.0f} mm."
    )
    print(f"Longest dry spell {int(description.dry_spell.max())} days.")


def record_read(done: xr.Dataset) -> list[str]:
    """Return what was read and what of it is used."""
    mean = float(done.rain.sum()) / (done.sizes["time"] / 365.25)
    first, last = (date(day) for day in done.time.values[[0, -1]])
    versions = done.sizes["member"]
    one = "in one version" if versions == 1 else f"in {versions} equally likely versions"
    out = [
        f"{done.attrs['rain_file']} holds {number(done.attrs['days_read'])} days, of which "
        f"{number(done.attrs['days_missing'])} have no reading of their own. Used: {first} to {last}, "
        f"{measure(mean, 'mm', 3)} a year on average once filled, {one}."
    ]
    if done.attrs["years_mostly_filled"]:
        out.append(
            f"More than a fifth of these years is filled: {done.attrs['years_mostly_filled']}. They stay in the "
            "simulation, so that the store is carried through them; take no figure of one of them for measured."
        )
    if done.attrs["years_estimated"]:
        out.append(f"More than a tenth of these years is filled: {done.attrs['years_estimated']}.")
    return [*out, *([done.attrs["left_out"] + "."] if done.attrs["left_out"] else [])]


def origins_caption(flags: np.ndarray) -> str:
    """Return what the picture of the days' origin shows."""
    own = np.isin(flags, [int(f) for f in (Flag.MEASURED, Flag.TRACE, Flag.SUSPECT, Flag.TOTAL)])
    return (
        f"Where each day's rain comes from, a row a year: {percent(float(own.mean()))} of the days used were "
        f"measured, {number(int((~own).sum()))} were filled or spread."
    )


def annual_caption(annual: xr.DataArray) -> str:
    """Return what the picture of the years shows."""
    whole = annual.isel(year=np.flatnonzero(annual.notnull().all("member").values))
    if whole.sizes["year"] == 0:
        return "No year of the record is whole."
    middle = whole.median("member")
    driest = int(middle.values.argmin())
    apart = float((whole.max("member") - whole.min("member")).max())
    out = (
        f"Rain of each hydrological year. The driest of {whole.sizes['year']}, {int(whole.year[driest])}, has "
        f"{percent(float(middle[driest] / middle.mean()))} of the mean."
    )
    return out + (f" The filled versions differ by {measure(apart, 'mm', 2)} at most." if apart > 0.5 else "")


def findings_said(findings: pd.DataFrame, shown: int) -> str:
    """Return how many findings there are and which are shown."""
    if not len(findings):
        return "Checking the record found nothing to doubt."
    count = findings.severity.value_counts()
    words = {"wrong": "cannot be right", "suspect": "doubtful", "note": "worth knowing"}
    said = ", ".join(f"{int(count[kind])} {text}" for kind, text in words.items() if kind in count)
    out = f"Checking the record found: {said}. What cannot be right was taken out before filling."
    return out if shown >= len(findings) else f"{out} The table shows the first {shown}."


def days_said(first: str, last: str) -> str:
    """Return a stretch of days for a narrow column: a date is never broken over two lines.

    >>> days_said("1.2.2001", "1.2.2001"), days_said("1.2.2001", "3.2.2001")
    ('1.2.2001', '1.2.2001 – 3.2.2001')
    """
    text = first if first == last else f"{first} – {last}"
    return text.replace("-", "\N{NON-BREAKING HYPHEN}")


def told(done: xr.Dataset) -> list[str]:
    """Return what was assumed when the record was read and filled."""
    said = (done.attrs[key].rstrip(".") for key in ("reading", "filling"))
    text = "; ".join(dict.fromkeys(part for one in said for part in one.split("; ") if part))
    return [f"Reading and filling the record: {text}."] if text else []
