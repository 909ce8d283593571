"""Upkeep and treatment in the report's words."""

from __future__ import annotations

import re

from rainharvest.reader import gallons, measure

_MEASURE = re.compile(r"(?<![\w.])(\d[\d,]*(?:\.\d+)?) (mm|m|L|kg|kPa)\b")

UPKEEP = (
    "Somebody named does this and writes it down. Where a task says what to mind, the caution of that name stands "
    "under arrangement, treatment and cautions."
)


def when_said(months: list[str], every: int) -> str:
    """Return when a task is due.

    Parameters
    ----------
    months : list of str
        Months in which it falls.
    every : int [month]
        Months from one time to the next.

    Returns
    -------
    str
        A few words.

    Examples
    --------
    >>> when_said(["May", "November"], 6), when_said(["November"], 24)
    ('May, November', 'November, every 2 years')
    """
    if every == 1:
        return "every month"
    named = ", ".join(months)
    return f"{named}, every {every // 12} years" if every > 12 else named


def steps_said(steps: str) -> str:
    """Return the steps of a treatment in the order of the water.

    Parameters
    ----------
    steps : str
        Steps with " > " between them.

    Returns
    -------
    str
        Words.

    Examples
    --------
    >>> steps_said("leaf screen > covered tank")
    'leaf screen, then covered tank'
    """
    return steps.replace(" > ", ", then ")


def reader_units(text: str) -> str:
    """Return a short text of the site works with its measures in the reader's units.

    Parameters
    ----------
    text : str
        Metric, such as "100 mm bore".

    Returns
    -------
    str
        The same for a metric reader.

    Examples
    --------
    >>> from rainharvest.reader import US, reading
    >>> with reading(US):
    ...     reader_units("238 L in all")
    '63 gal in all'
    """
    if not gallons():
        return text
    return _MEASURE.sub(lambda found: measure(float(found[1].replace(",", "")), found[2], 2), text)
