"""Exercises on a record that check themselves: the right answer is computed from the record, never stored."""

from __future__ import annotations

import numpy as np
import xarray as xr

from rainharvest.rainfall.fill import fill_gaps
from rainharvest.rainfall.picture import CheckedRecord


def _says(right: bool, why: str) -> None:
    print(("Right. " if right else "Not yet. ") + why)


def check_left(record: CheckedRecord, longest_gap: int, yours: int) -> None:
    """Check how many days stay unknown where long gaps are not filled.

    Parameters
    ----------
    record : CheckedRecord
        As `rainharvest.rainfall.picture.checked_record`.
    longest_gap : int [day]
        The longest gap that is filled.
    yours : int
        The reader's answer in days.
    """
    left = fill_gaps(
        record.recent,
        record.recent_neighbours or None,
        longest_gap=longest_gap,
        longest_alone=min(longest_gap, 92),
    ).attrs["days_left"]
    right = yours == left
    _says(
        right,
        f"{left:,} days stay unknown."
        if right
        else "Set the slider of the longest gap and read the sentence.",
    )


def check_longest_spell(description: xr.Dataset, yours: int) -> None:
    """Check the length of the longest dry spell.

    Parameters
    ----------
    description : Dataset
        As `rainharvest.rainfall.describe.describe_rain`.
    yours : int
        The reader's answer in days.
    """
    longest = int(np.max(description.dry_spell.values, initial=0))
    right = abs(yours - longest) <= 0.05 * longest
    _says(right, f"It lasts {longest} days." if right else "Look at the end of the line of dry spells.")


def check_rightly_wet(skill: xr.Dataset, yours_percent: float) -> None:
    """Check how many hidden days a fill gets rightly wet or dry.

    Parameters
    ----------
    skill : Dataset
        As `rainharvest.rainfall.picture.hidden_days_skill`.
    yours_percent : float
        The reader's answer in per cent.
    """
    share = 100 * float(skill.wet_agreement[0])
    right = abs(yours_percent - share) <= 2
    _says(
        right,
        f"{share:.0f} % of them are rightly wet or dry."
        if right
        else "Set the slider of the hidden days and read the sentence under the last figure of the first panel.",
    )
