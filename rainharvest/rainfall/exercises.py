"""Exercises on a record that check themselves: the right answer is computed from the record, never stored."""

from __future__ import annotations

import numpy as np
import xarray as xr

from rainharvest.core.exercise import says
from rainharvest.rainfall.facts import CheckedRecord, fill_recent


def check_left(record: CheckedRecord, longest_gap: int, yours: int | None) -> None:
    """Check how many days stay unknown where long gaps are not filled.

    Parameters
    ----------
    record : CheckedRecord
        As `rainharvest.rainfall.facts.checked_record`.
    longest_gap : int [day]
        The longest gap that is filled.
    yours : int, optional
        The reader's answer in days; ``...`` asks for the right one.
    """
    left = fill_recent(record, longest_gap=longest_gap).attrs["days_left"]
    hint = (
        "Set the slider of the longest gap in the first panel and read the sentence under its first figure."
    )
    says(yours, left, f"{left:,} days stay unknown.", hint, near=0)


def check_longest_spell(description: xr.Dataset, yours: int | None) -> None:
    """Check the length of the longest dry spell.

    Parameters
    ----------
    description : Dataset
        As `rainharvest.rainfall.describe.describe_rain`.
    yours : int, optional
        The reader's answer in days; ``...`` asks for the right one.
    """
    longest = int(np.max(description.dry_spell.values, initial=0))
    hint = "Set the rain of a wet day in the second panel and read the sentence under the dry spells."
    says(yours, longest, f"It lasts {longest} days.", hint, near=0.05)


def check_rightly_wet(skill: xr.Dataset, yours_percent: float | None) -> None:
    """Check how many hidden days a fill gets rightly wet or dry.

    Parameters
    ----------
    skill : Dataset
        As `rainharvest.rainfall.facts.hidden_days_skill`.
    yours_percent : float, optional
        The reader's answer in per cent; ``...`` asks for the right one.
    """
    share = 100 * float(skill.wet_agreement[0])
    hint = "Set the slider of the hidden days and read the sentence under the last figure of the first panel."
    says(yours_percent, share, f"{share:.0f} % of them are rightly wet or dry.", hint, near=0, least=2)
