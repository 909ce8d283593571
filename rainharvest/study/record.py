"""The study's record: its rain files read, checked, filled, and cut to the days that can be used."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
import xarray as xr

from rainharvest.errors import InputError
from rainharvest.study.file import Rain


@dataclass(frozen=True)
class StudyRecord:
    """What the study knows of its rain.

    Parameters
    ----------
    raw : DataArray [mm/day]
        The record as read.
    filled : DataArray [mm/day]
        (member, time): equally likely versions, over the longest stretch without a day left open.
    findings : DataFrame
        What checking found.
    year_start_month : int [1]
        First month of the hydrological year.
    left_out : str
        Which days are not used, and why; empty if all are.
    """

    raw: xr.DataArray
    filled: xr.DataArray
    findings: pd.DataFrame
    year_start_month: int
    left_out: str


def study_record(rain: Rain, folder: Path) -> StudyRecord:
    """Read, check and fill the study's rain.

    Findings marked wrong are taken out before filling; those marked suspect are reported and kept.

    Parameters
    ----------
    rain : Rain
        The study's ``[rain]`` table.
    folder : Path
        The folder of the study file, from which its paths are meant.

    Returns
    -------
    StudyRecord
        The record.

    Raises
    ------
    InputError
        If a file is missing or cannot be read, or no year is left to simulate.
    """
    from rainharvest.rainfall.check import accept_findings, check_rain
    from rainharvest.rainfall.describe import describe_rain
    from rainharvest.rainfall.fill import fill_gaps
    from rainharvest.rainfall.record import read_as_far_as_needed

    hints = rain.model_dump(
        include={"column", "units", "day_first", "at", "blank_is_zero"}, exclude_none=True
    )
    raw = read_as_far_as_needed(folder / rain.file, hints)
    neighbours = [read_as_far_as_needed(folder / other, hints) for other in rain.neighbours]
    findings = check_rain(raw, neighbours or None)
    sound = accept_findings(raw, findings[findings.severity == "wrong"]) if len(findings) else raw
    filled = fill_gaps(sound, neighbours or None, members=rain.members, seed=rain.seed)
    filled, left_out = longest_stretch(filled)
    if filled.sizes["time"] < 365:
        raise InputError(
            f"only {filled.sizes['time']} days in a row can be used",
            "add neighbours, or a longer record",
            "rain.file",
            folder / rain.file,
        )
    month = rain.year_start_month or int(describe_rain(filled.isel(member=0)).suggested_start) or 1
    return StudyRecord(raw, filled, findings, month, left_out)


def longest_stretch(filled: xr.DataArray) -> tuple[xr.DataArray, str]:
    """Return the longest run of days that have a value in every member, and what was left out.

    Years that do not follow one another are not spliced: the store of one would be handed to the other.

    Parameters
    ----------
    filled : DataArray [mm/day]
        (member, time), with NaN where a gap was too long to fill.

    Returns
    -------
    tuple of DataArray and str
        The stretch; what was left out, in words.
    """
    known = filled.notnull().all("member").values
    if known.all():
        return filled, ""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], known, [False]]).astype(int)))
    if edges.size == 0:
        return filled.isel(time=slice(0, 0)), "no day is known"
    begin, end = max(zip(edges[::2], edges[1::2], strict=True), key=lambda run: run[1] - run[0])
    stretch = filled.isel(time=slice(begin, end))
    first, last = (str(t)[:10] for t in stretch.time.values[[0, -1]])
    for name in (
        "years_estimated",
        "years_to_leave_out",
    ):  # of the whole record: those of the stretch are kept
        years = [year for year in stretch.attrs.get(name, "").split(", ") if first[:4] <= year <= last[:4]]
        stretch = stretch.assign_attrs({name: ", ".join(years)})
    words = (
        f"{int((~known).sum())} days lie in gaps too long to fill; the study uses the longest stretch "
        f"without one, {first} to {last}, and leaves out {int(known.size - (end - begin))} days"
    )
    return stretch, words
