"""What a check says: one finding, with its days, its reason in words and a suggested action."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd

from rainharvest.rainfall import spells

Severity = Literal["wrong", "suspect", "note"]
SEVERITIES: tuple[Severity, ...] = ("wrong", "suspect", "note")


@dataclass(frozen=True)
class Finding:
    """One finding about a rain record.

    Parameters
    ----------
    check : str
        The check that found it.
    severity : {"wrong", "suspect", "note"}
        Cannot be right; doubtful; worth knowing.
    first, last : Timestamp
        The days it is about.
    days : int [day]
        How many days it is about.
    reason : str
        Why, in words with the numbers.
    action : str
        What may be done.
    flag : {"rejected", "suspect", "total", ""}
        What accepting it sets on its days; empty where it is about the record, not about days.
    """

    check: str
    severity: Severity
    first: pd.Timestamp
    last: pd.Timestamp
    days: int
    reason: str
    action: str
    flag: str = ""


def runs(mask: np.ndarray) -> list[tuple[int, int]]:
    """Return (first, last) of each run of true days."""
    return list(zip(*(ends.tolist() for ends in spells.runs(mask)), strict=True))


def day(stamp: pd.Timestamp) -> str:
    """Return a date as the reasons write it."""
    return f"{stamp:%Y-%m-%d}"


def many(count: int, thing: str) -> str:
    """Return a count with its noun.

    Examples
    --------
    >>> many(1, "day"), many(3, "day")
    ('1 day', '3 days')
    """
    return f"{count} {thing}{'' if count == 1 else 's'}"
