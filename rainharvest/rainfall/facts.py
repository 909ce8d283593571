"""A record as its panel and pictures take it: read and checked once, filled as often as a setting moves."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
import xarray as xr

from rainharvest.core.errors import InputError
from rainharvest.core.quantities import attributes
from rainharvest.rainfall.check import accept_findings, check_rain
from rainharvest.rainfall.fill_skill import FILLINGS, fill_skill
from rainharvest.rainfall.flags import as_record
from rainharvest.rainfall.record import read_as_far_as_needed

SKILLS = (
    "wet_agreement",
    "total_error",
    "wet_share_error",
    "spell_error",
    "longest_spell_error",
    "reliability_error",
)

DEMO_STEMS = {
    "rain in winter": "winter_rain",
    "monsoon": "monsoon",
    "two rainy seasons": "two_rainy_seasons",
    "semi-arid": "semi_arid",
    "rain all year": "temperate_all_year",
}

SHOWN_YEARS = 30  # [year] as many as make a normal; a panel fills no more, so that it follows the hand


@dataclass(frozen=True)
class CheckedRecord:
    """A record that was read and checked, ready to be filled."""

    read: xr.DataArray  # [mm/day] The rain as read
    neighbours: tuple[xr.DataArray, ...]  # [mm/day] Its neighbours as read
    findings: pd.DataFrame  # What ``check_rain`` doubts
    recent: xr.DataArray  # [mm/day] The last years of the rain, less what cannot be right
    recent_neighbours: tuple[xr.DataArray, ...]  # [mm/day] The neighbours over the same days


def demo_files(folder: str | os.PathLike) -> dict[str, list[Path]]:
    """Return the invented demo records: each climate's gauge and its neighbours.

    Parameters
    ----------
    folder : str or path
        Where ``rainharvest.rainfall.invented.write_records`` wrote them.

    Returns
    -------
    dict of str to list of Path
        By the climate's name, the file of the gauge to study and then those of its neighbours.

    Raises
    ------
    InputError
        If the folder holds none of them.

    Examples
    --------
    >>> folder = Path(tempfile.mkdtemp())
    >>> for name in ("monsoon_b.csv", "monsoon.csv", "notes.csv"):
    ...     (folder / name).touch()
    >>> {climate: [file.name for file in files] for climate, files in demo_files(folder).items()}
    {'monsoon': ['monsoon.csv', 'monsoon_b.csv']}
    """
    folder = Path(folder)
    found = {
        words: [folder / f"{stem}.csv", *sorted(folder.glob(f"{stem}_*.csv"))]
        for words, stem in DEMO_STEMS.items()
        if (folder / f"{stem}.csv").is_file()
    }
    if not found:
        remedy = f"run python -m rainharvest.rainfall.invented {folder.as_posix()}"
        raise InputError("no demo record is there", remedy, file=folder.as_posix())
    return found


def checked_record(
    files: Sequence[str | os.PathLike],
    hints: Mapping[str, object] | None = None,
    years: int = SHOWN_YEARS,
) -> CheckedRecord:
    """Read and check a record and its neighbours, and take out what cannot be right.

    Parameters
    ----------
    files : sequence of path
        The site's file, then its neighbours'.
    hints : mapping, optional
        Arguments of ``read_rain``, each used only where a file leaves that doubt.
    years : int [year]
        How many of the last years are kept to be filled.

    Returns
    -------
    CheckedRecord

    Raises
    ------
    InputError
        If a file cannot be read or leaves a doubt.
    """
    settled = {k: v for k, v in (hints or {}).items() if v is not None}
    read, *others = (as_record(read_as_far_as_needed(file, settled)) for file in files)
    findings = check_rain(read, others or None)
    sound = accept_findings(read, findings[(findings["severity"] == "wrong") & (findings["flag"] != "")])
    days = sound.indexes["time"]
    first = days[-1] - pd.DateOffset(years=years) + pd.Timedelta(days=1)
    near = [one.sel(time=slice(first, None)) for one in others]
    return CheckedRecord(
        read, tuple(others), findings, sound.sel(time=slice(first, None)), tuple(n for n in near if n.size)
    )


def checked_upload(name: str, content: bytes, hints: Mapping[str, object] | None = None) -> CheckedRecord:
    r"""Read and check a file that came as bytes, as an upload does.

    >>> lines = ["date,rain_mm"] + [f"2001-01-{day:02d},{day % 3}" for day in range(1, 32)]
    >>> float(checked_upload("mine.csv", "\n".join(lines).encode()).read.sum())
    31.0
    """
    plain = Path(name.replace("\\", "/")).name or "upload"
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / plain
        try:
            path.write_bytes(content)
        except (OSError, ValueError):
            raise InputError("the file's name cannot be used", "rename the file", file=plain) from None
        try:
            return checked_record([path], hints)
        except InputError as error:
            raise InputError(error.problem, error.remedy, error.place, plain) from None


def hidden_days_skill(
    record: CheckedRecord, hidden_share: float, simulate: Callable[..., xr.Dataset], members: int = 5
) -> xr.Dataset:
    """Return the skill of filling a share of the record's own known days, hidden once.

    Parameters
    ----------
    record : CheckedRecord
        The record.
    hidden_share : float [1]
        Share of the known days that is hidden.
    simulate : callable
        The balance for the reference tank: `rainharvest.simulate`.
    members : int [1]
        Versions a fill.

    Returns
    -------
    Dataset
        As `rainharvest.rainfall.fill_skill.fill_skill`; NaN with ``attrs["left_out"]`` saying why where the
        record is too short to hide days of.
    """
    try:
        return fill_skill(
            record.recent,
            record.recent_neighbours or None,
            hidden_share,
            simulate=simulate,
            repeats=1,
            members=members,
        )
    except InputError as error:
        return xr.Dataset(
            {name: ("way_filled", [np.nan, np.nan], attributes(name)) for name in SKILLS},
            coords={"way_filled": list(FILLINGS)},
            attrs={"share": hidden_share, "left_out": str(error)},
        )
