"""What the study rests on, in the report's words."""

from __future__ import annotations

ASSUMED = (
    "Every default value that this study rests on, with its source. What the study file gives itself is not here. "
    '"From memory" marks a published value that was not read in the original: check your edition.'
)
EACH = "{use}: drawn by each"
DEAD = "Share of the tank below the outlet"
FREEBOARD = "Share of the tank above the overflow"
FILE = "The study file, with which anyone who has the rain files can run the study again:"


def range_said(low: str | None, high: str | None) -> str:
    """Return the published range of a value.

    Parameters
    ----------
    low, high : str or None
        Its ends, in the reader's form.

    Returns
    -------
    str
        Empty where none is published.

    Examples
    --------
    >>> range_said("1", "8"), range_said("1", None), range_said(None, None)
    ('1 to 8', 'from 1', '')
    """
    if low is None:
        return "" if high is None else f"up to {high}"
    return f"from {low}" if high is None else f"{low} to {high}"
