"""A default number and where it comes from: the report prints every one that a study used."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Kind = Literal["standard", "handbook", "open data", "common practice", "from memory", "own choice"]


@dataclass(frozen=True)
class Default:
    """One default value with its unit and its source.

    Parameters
    ----------
    value : float
        The number.
    unit : str
        Its unit, UDUNITS spelling ("1" for a ratio).
    source : str
        Author, title, year and place of the table or clause; for common practice, "no source".
    kind : str
        "standard", "handbook", "open data", "common practice", "from memory" (a published value that
        nobody here has read in the original: check your edition) or "own choice".
    low, high : float, optional
        The published range, where there is one.
    """

    value: float
    unit: str
    source: str
    kind: Kind
    low: float | None = None
    high: float | None = None
