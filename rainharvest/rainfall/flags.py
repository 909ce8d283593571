"""The origin of each day of a rain record: one flag a day, the same from reader to report."""

from __future__ import annotations

from enum import IntEnum

import numpy as np


class Flag(IntEnum):
    """Where a day's rain comes from."""

    MEASURED = 0
    TRACE = 1  # too little to measure; counted as 0 mm
    MISSING = 2  # no value in the file, or no row for the day
    SUSPECT = 3  # measured, doubted by a finding that the user accepted; the value is kept
    REJECTED = 4  # a value the source or a finding declares wrong; removed, the day is NaN
    TOTAL = 5  # the value is a total over several days ending on this one (see total_days)
    IN_TOTAL = 6  # the day's rain is inside a later multi-day total; the day is NaN
    SPREAD = 7  # a share of a multi-day total, spread over its days
    FILLED = 8  # filled from a neighbour (coordinate ``donor`` says which)
    RESAMPLED = 9  # filled by resampling days of the same season


MEANINGS = {flag: flag.name.lower() for flag in Flag}


def flag_attributes() -> dict[str, object]:
    """Return the CF attributes (``flag_values``, ``flag_meanings``) of the ``flag`` coordinate."""
    return {
        "long_name": "Origin of the day",
        "flag_values": np.array([int(f) for f in Flag], dtype="int8"),
        "flag_meanings": " ".join(MEANINGS.values()),
    }
