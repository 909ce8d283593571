"""The site, the record and the demand in the report's sentences."""

from __future__ import annotations

import numpy as np
import pandas as pd
import xarray as xr

from rainharvest.rainfall.flags import Flag
from rainharvest.reader import date, marks, measure, number
from rainharvest.study.file import Study
from rainharvest.study.words import days, litres, percent

KINDS = {
    "rain only": "Rain only: the tank serves what needs no drinking quality, and nothing backs it up.",
    "combined": "Combined: rain first, mains water as backup, the whole behind treatment.",
    "mains reserve": "Mains reserve: the tank is kept full from the mains and rides out their interruptions.",
}


def place(study: Study) -> str:
    """Return where the building stands.

    Parameters
    ----------
    study : Study
        The study.

    Returns
    -------
    str
        Name, latitude, longitude and elevation, as far as they are given; the site's note.
    """
    site, at = study.site, []
    if site.latitude is not None and site.longitude is not None:
        at.append(marks(f"{abs(site.latitude):.2f}") + f"° {'N' if site.latitude >= 0 else 'S'}")
        at.append(marks(f"{abs(site.longitude):.2f}") + f"° {'E' if site.longitude >= 0 else 'W'}")
    if site.elevation is not None:
        at.append(f"{measure(site.elevation, 'm')} above the sea")
    where = f" ({'; '.join(at)})" if at else ""
    return f"{site.name}{where}. {site.note}".strip()


def asked(study: Study, done: xr.Dataset) -> list[str]:
    """Return what was asked of the study.

    Parameters
    ----------
    study : Study
        The study.
    done : Dataset
        As `rainharvest.study.run.run_study`.

    Returns
    -------
    list of str
        A sentence each.
    """
    reach = percent(study.target.reliability)
    aim = (
        f"supplies {reach} of the water asked for"
        if study.target.measure == "volume_reliability"
        else f"supplies everything asked for on {reach} of all days"
    )
    out = [f"Asked: the smallest tank that {aim}."]
    if study.tank.chosen:
        nominal, usable = litres(study.tank.chosen), litres(study.tank.usable_share * study.tank.chosen)
        out.append(
            f"The study describes a tank of {nominal} nominal size, {usable} usable, as its file says."
        )
    if done.attrs["not_served"]:
        out.append(f"Not served, since rain alone is not fit to drink: {done.attrs['not_served']}.")
    if study.rationing:
        stages = ", ".join(
            f"below {percent(stage.level)} of the tank they keep {percent(stage.share)}"
            for stage in study.rationing
        )
        out.append(f"Uses that can wait are rationed: {stages}.")
    return out


def record_read(done: xr.Dataset) -> list[str]:
    """Return what was read and what of it is used.

    Parameters
    ----------
    done : Dataset
        As `rainharvest.study.run.run_study`.

    Returns
    -------
    list of str
        A sentence or two each.
    """
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
    """Return what the picture of the days' origin shows.

    Parameters
    ----------
    flags : ndarray
        The flag of each day.

    Returns
    -------
    str
        One sentence.
    """
    own = np.isin(flags, [int(f) for f in (Flag.MEASURED, Flag.TRACE, Flag.SUSPECT, Flag.TOTAL)])
    return (
        f"Where each day's rain comes from, a row a year: {percent(float(own.mean()))} of the days used were "
        f"measured, {number(int((~own).sum()))} were filled or spread."
    )


def annual_caption(annual: xr.DataArray) -> str:
    """Return what the picture of the years shows.

    Parameters
    ----------
    annual : DataArray [mm]
        On ``member`` and ``year``; NaN for a year that is not whole.

    Returns
    -------
    str
        One or two sentences.
    """
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
    """Return how many findings there are and which are shown.

    Parameters
    ----------
    findings : DataFrame
        As `rainharvest.check_rain`.
    shown : int
        How many rows the table has.

    Returns
    -------
    str
        One or two sentences.
    """
    if not len(findings):
        return "Checking the record found nothing to doubt."
    count = findings.severity.value_counts()
    words = {"wrong": "cannot be right", "suspect": "doubtful", "note": "worth knowing"}
    said = ", ".join(f"{int(count[kind])} {text}" for kind, text in words.items() if kind in count)
    out = f"Checking the record found: {said}. What cannot be right was taken out before filling."
    return out if shown >= len(findings) else f"{out} The table shows the first {shown}."


def days_said(first: str, last: str) -> str:
    """Return a stretch of days for a narrow column: a date is never broken over two lines.

    Parameters
    ----------
    first, last : str
        In the reader's form.

    Returns
    -------
    str
        One date, or two.

    Examples
    --------
    >>> days_said("1.2.2001", "1.2.2001"), days_said("1.2.2001", "3.2.2001")
    ('1.2.2001', '1.2.2001 – 3.2.2001')
    """
    text = first if first == last else f"{first} – {last}"
    return text.replace("-", "\N{NON-BREAKING HYPHEN}")


def told(done: xr.Dataset) -> list[str]:
    """Return what was assumed when the record was read and filled.

    Parameters
    ----------
    done : Dataset
        As `rainharvest.study.run.run_study`.

    Returns
    -------
    list of str
        One sentence, or none.
    """
    said = (done.attrs[key].rstrip(".") for key in ("reading", "filling"))
    text = "; ".join(dict.fromkeys(part for one in said for part in one.split("; ") if part))
    return [f"Reading and filling the record: {text}."] if text else []


def demand_said(done: xr.Dataset) -> str:
    """Return how much is asked for in a year and on the heaviest day.

    Parameters
    ----------
    done : Dataset
        As `rainharvest.study.run.run_study`.

    Returns
    -------
    str
        One sentence.
    """
    total = done.demand.sum("use")
    worked = float((total > 0).mean()) * 365.25
    return (
        f"{litres(float(total.mean()) * 365.25)} a year, drawn on {days(worked)} of it; "
        f"{litres(float(total.max()))} on the heaviest day."
    )
