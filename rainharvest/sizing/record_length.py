"""Whether a record is long enough for what is decided on it."""

from __future__ import annotations

from dataclasses import dataclass

from rainharvest.errors import InputError
from rainharvest.sources import Default

LEAST_RECORD = Default(
    10.0,
    "year",
    "training material on rainwater: ten years ideally, longer where droughts are common (text seen, no title)",
    "handbook",
)
"""Below this a record indicates and settles nothing."""
FAIR_RECORD = Default(
    20.0,
    "year",
    "common practice, no source: from here on with the band beside the answer",
    "common practice",
)
"""Below this a record serves to compare, not to decide."""
FULL_RECORD = Default(
    30.0, "year", "the period of a climatological normal (World Meteorological Organization)", "from memory"
)
"""From here on a record is as long as is asked for."""
CARRY_RECORD = Default(
    50.0,
    "year",
    "common practice, no source: for storage that carries water from one year to the next, or a failure once "
    "in decades",
    "common practice",
)
"""Asked for where the tank carries water over from year to year."""


@dataclass(frozen=True)
class RecordLength:
    """How far a record carries a decision.

    Parameters
    ----------
    years : float [year]
        Length of the record used.
    level : str
        "indicative", "screening", "fair" or "full".
    wanted : Default
        The next length that guidance asks for; for a full record, the one that it meets.
    """

    years: float
    level: str
    wanted: Default

    @property
    def short(self) -> bool:
        """Whether the record is shorter than guidance asks for."""
        return self.level != "full"


def record_length(years: float, *, carries_over: bool = False) -> RecordLength:
    """Say how far a record of this length carries a decision.

    Parameters
    ----------
    years : float [year]
        Years of the record that are used.
    carries_over : bool
        Whether the tank carries water from one year to the next (or must not fail once in decades), for
        which more is asked.

    Returns
    -------
    RecordLength
        Its level, and the length that guidance asks for.

    Raises
    ------
    InputError
        If the length is below zero.

    Examples
    --------
    >>> record_length(12.5).level, record_length(12.5).wanted.value, record_length(41).short
    ('screening', 20.0, False)
    >>> record_length(41, carries_over=True).wanted.value
    50.0
    """
    if not years >= 0:
        raise InputError(f"a record of {years} years", "give its length in years", "years")
    full = CARRY_RECORD if carries_over else FULL_RECORD
    for level, wanted in (("indicative", LEAST_RECORD), ("screening", FAIR_RECORD), ("fair", full)):
        if years < wanted.value:
            return RecordLength(years, level, wanted)
    return RecordLength(years, "full", full)
