"""What the pictures of a record show, in a sentence each."""

from __future__ import annotations

import calendar
from html import escape

import numpy as np
import xarray as xr

from rainharvest.rainfall.flags import Flag
from rainharvest.rainfall.picture import CheckedRecord
from rainharvest.rainfall.read_days import plural
from rainharvest.rainfall.spi import spi_class


def _percent(share, sign: str = "") -> str:
    return f"{100 * float(share):{sign}.0f} %"


def record_words(record: CheckedRecord, filled: xr.DataArray) -> str:
    """Say whose record it is, what was doubted and what was filled.

    Parameters
    ----------
    record : CheckedRecord
        The record.
    filled : DataArray [mm/day]
        Its filled versions.

    Returns
    -------
    str
        A sentence or two, safe to be put on a page.
    """
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
    """Say how far the years differ, and how far the filled versions do.

    Parameters
    ----------
    annual : DataArray [mm]
        On ``member`` and ``year``.

    Returns
    -------
    str
        One or two sentences.
    """
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
    """Say how well hidden days were filled.

    Parameters
    ----------
    skill : Dataset
        As `rainharvest.rainfall.picture.hidden_days_skill`.

    Returns
    -------
    str
        One or two sentences.
    """
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
    """Say in which months it rains.

    Parameters
    ----------
    description : Dataset
        As `rainharvest.rainfall.describe.describe_rain`.

    Returns
    -------
    str
        One sentence.
    """
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
    """Say how long the dry spells are.

    Parameters
    ----------
    description : Dataset
        As `rainharvest.rainfall.describe.describe_rain`.

    Returns
    -------
    str
        One sentence.
    """
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
    """Say when the driest time was.

    Parameters
    ----------
    spi : DataArray [1]
        The index on ``month``.
    scale : int [1]
        How many months it looks back.

    Returns
    -------
    str
        One sentence.
    """
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
    """Say whether the record kept its relation to its neighbours.

    Parameters
    ----------
    mass : Dataset
        As `rainharvest.rainfall.check_years.double_mass`.

    Returns
    -------
    str
        One sentence.
    """
    overall = float(mass.here[-1] / mass.there[-1])
    half = mass.sizes["year"] // 2
    early = float(mass.here[half - 1] / mass.there[half - 1])
    late = float((mass.here[-1] - mass.here[half - 1]) / (mass.there[-1] - mass.there[half - 1]))
    return (
        f"Over all years the gauge has {overall:.2f} times its neighbours' rain: {early:.2f} in the first half, "
        f"{late:.2f} in the second. A bend that lasts marks a change at one of the gauges."
    )


def return_levels_words(levels: xr.Dataset, years: float) -> str:
    """Say which rain to expect once in ten years.

    Parameters
    ----------
    levels : Dataset
        ``return_level`` and its interval on ``return_period``.
    years : float [year]
        Years of the record.

    Returns
    -------
    str
        One sentence.
    """
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
