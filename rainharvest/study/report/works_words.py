"""Upkeep and treatment in the report's words."""

from __future__ import annotations

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
