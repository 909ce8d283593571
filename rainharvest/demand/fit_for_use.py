"""Fit for use: what each use needs of each source, and what must never be done."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Literal

import pandas as pd

from rainharvest.demand.kinds import QUALITIES
from rainharvest.demand.uses import Use
from rainharvest.errors import InputError

Arrangement = Literal["mains reserve", "rain only", "combined"]

SOURCES: dict[Arrangement, str] = {
    "mains reserve": "stored mains water",
    "rain only": "rain",
    "combined": "rain and mains water in one tank",
}
"""What the tank holds in each arrangement. Once rain is in it, all of it is treated as rain."""

CLASSES: dict[str, str] = {
    "as stored": "a clean, covered, screened tank that is turned over within days",
    "kept fresh": (
        "a clean, covered tank that is turned over within days; its disinfectant decays, so measure it "
        "and disinfect again where it is gone"
    ),
    "screened": "leaf screens, first-flush diversion and a covered tank",
    "filtered and disinfected": (
        "first-flush diversion, sediment filtration and disinfection, with testing and a named keeper"
    ),
}
"""Treatment classes, from the least to the most. Common practice, no source: local rules govern."""

_OF_RAIN = {
    "drinking": "filtered and disinfected",
    "washing": "filtered and disinfected",
    "flushing": "screened",
    "outdoor": "screened",
    "livestock": "screened",
}

POTABLE = (
    "Water for drinking, cooking or washing needs treatment, testing and the consent of the local health "
    "authority, whose rules govern."
)
NEVER_CROSSED = (
    "Mains and rain are never cross-connected: an air gap or an approved backflow device stands between "
    "them, and taps with rain water say that it is not for drinking."
)


def treatment_class(quality: str, arrangement: Arrangement) -> str:
    """Return the treatment class that a use of this quality needs in this arrangement.

    Parameters
    ----------
    quality : str
        One of `rainharvest.demand.kinds.QUALITIES`.
    arrangement : str
        "mains reserve", "rain only" or "combined".

    Returns
    -------
    str
        A key of `CLASSES`.

    Raises
    ------
    InputError
        If the quality or the arrangement is unknown.

    Notes
    -----
    Common practice, no source.

    Examples
    --------
    >>> treatment_class("flushing", "rain only"), treatment_class("drinking", "combined")
    ('screened', 'filtered and disinfected')
    """
    if quality not in QUALITIES:
        raise InputError(
            f'no quality is called "{quality}"', f"choose one of {', '.join(QUALITIES)}", "quality"
        )
    if arrangement not in SOURCES:
        raise InputError(
            f'no arrangement is called "{arrangement}"', f"choose one of {', '.join(SOURCES)}", "arrangement"
        )
    if arrangement == "mains reserve":
        return "kept fresh" if quality in ("drinking", "washing") else "as stored"
    return _OF_RAIN[quality]


def may_serve(arrangement: Arrangement, quality: str) -> bool:
    """Return whether an arrangement may serve a use that needs this quality.

    Rain only serves what needs no drinking quality; the other two serve everything, the combined
    arrangement through adequate filtration and disinfection.

    Parameters
    ----------
    arrangement : str
        "mains reserve", "rain only" or "combined".
    quality : str
        One of `rainharvest.demand.kinds.QUALITIES`.

    Returns
    -------
    bool
        Whether it may.

    Raises
    ------
    InputError
        If the quality or the arrangement is unknown.

    Examples
    --------
    >>> may_serve("rain only", "drinking"), may_serve("rain only", "livestock"), may_serve("combined", "drinking")
    (False, True, True)
    """
    needed = treatment_class(quality, arrangement)
    return arrangement != "rain only" or needed != "filtered and disinfected"


def fit_for_use(uses: Iterable[Use], arrangement: Arrangement) -> pd.DataFrame:
    """Return, for each use, the treatment that its source needs and what to mind.

    Parameters
    ----------
    uses : iterable of Use
        The uses.
    arrangement : str
        "mains reserve", "rain only" or "combined".

    Returns
    -------
    DataFrame
        A row a use: ``use``, ``needs`` (the quality), ``source``, ``served``, ``class``, ``treatment`` and
        ``mind``.

    Raises
    ------
    InputError
        If there is no use or the arrangement is unknown.

    Examples
    --------
    >>> uses = [Use(name="ward", kind="inpatient", people=8), Use(name="wc", kind="dual_flush", people=8)]
    >>> fit_for_use(uses, "rain only")[["use", "served", "class"]]
        use  served                     class
    0  ward   False  filtered and disinfected
    1    wc    True                  screened
    """
    uses = list(uses)
    if not uses:
        raise InputError("there is no use", "give at least one", "use")
    rows = []
    for use in uses:
        needed = treatment_class(use.quality, arrangement)
        mind = POTABLE if use.quality in ("drinking", "washing") else ""
        if arrangement != "mains reserve":
            mind = f"{mind} {NEVER_CROSSED}".strip()
        rows.append(
            {
                "use": use.name,
                "needs": QUALITIES[use.quality],
                "source": SOURCES[arrangement],
                "served": may_serve(arrangement, use.quality),
                "class": needed,
                "treatment": CLASSES[needed],
                "mind": mind,
            }
        )
    return pd.DataFrame(rows)
