"""What each use of each source must pass through, what that must be sized for, and what is tested how often."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import pandas as pd

from rainharvest.demand.fit_for_use import Arrangement, may_serve, treatment_class
from rainharvest.errors import InputError
from rainharvest.siteworks.defaults import NO_SOURCE
from rainharvest.siteworks.disinfection import (
    BAFFLING,
    CONTACT,
    RESIDUAL,
    UV_DOSE,
    contact_volume,
    uv_logs,
)

ENHEALTH = "enHealth 2010 (Australia), Guidance on use of rainwater tanks, section 6"
AUTHORITY = "the local health authority's rules govern"

WAYS_TO_DISINFECT = ("ultraviolet", "chlorine", "both")

_SCREENS = ("leaf screen and inlet mesh", "the design storm's flow with half of the mesh clogged")
_FLUSH = ("first-flush diversion", "the depth turned away, on each roof")
_COVER = ("covered, dark, screened tank", "no light, no opening wider than a mosquito (about 1 mm)")
_COARSE = ("sediment filter, 20 micrometres", "the peak flow at the pressure that is left")
_FINE = ("sediment filter, 5 micrometres", "the peak flow; light must pass the water after it")
_CARBON = ("activated carbon", "the maker's contact time at the peak flow; taste, smell, some chemicals")
_TURN = ("turnover within days", "the disinfectant that came with the mains decays")
_DOSE = ("dosing of chlorine", "the residual at the tap after the water stood")


def treatment_train(
    quality: str, arrangement: Arrangement, flow: float, disinfect: str = "ultraviolet"
) -> pd.DataFrame:
    """Return the steps from roof or mains to tap for one quality of use, in the order of the water.

    Parameters
    ----------
    quality : str
        A key of `rainharvest.demand.kinds.QUALITIES`.
    arrangement : str
        "mains reserve", "rain only" or "combined".
    flow : float [L/s]
        Peak flow at the tap, which filters and lamp are sized for.
    disinfect : str
        "ultraviolet", "chlorine" or "both".

    Returns
    -------
    DataFrame
        A row a step: ``step``, ``sized_for``, ``source``.

    Raises
    ------
    InputError
        If a word is unknown, or the flow is below zero.

    Notes
    -----
    Common practice, no source, but for the doses and times, which name theirs.

    Examples
    --------
    >>> treatment_train("flushing", "rain only", 0.3).step.tolist()
    ['leaf screen and inlet mesh', 'first-flush diversion', 'covered, dark, screened tank']
    >>> treatment_train("drinking", "combined", 0.3).step.iloc[-1]
    'ultraviolet lamp'
    """
    if disinfect not in WAYS_TO_DISINFECT:
        raise InputError(
            f'no way to disinfect is called "{disinfect}"',
            f"choose one of {', '.join(WAYS_TO_DISINFECT)}",
            "disinfect",
        )
    if not flow >= 0:
        raise InputError(f"a flow of {flow:g} L/s", "give zero or more", "flow")
    needed = treatment_class(quality, arrangement)
    before = [] if arrangement == "mains reserve" else [_SCREENS, _FLUSH]
    steps = [(*step, NO_SOURCE) for step in [*before, _COVER]]
    if needed == "kept fresh":
        steps += [(*_TURN, NO_SOURCE), (*_DOSE, RESIDUAL.source)]
    if needed == "filtered and disinfected":
        steps += [(*step, NO_SOURCE) for step in (_COARSE, _FINE, _CARBON)]
        if disinfect in ("ultraviolet", "both"):
            steps.append(
                (
                    "ultraviolet lamp",
                    f"{UV_DOSE.value:g} mJ/cm2 at {flow:.2f} L/s at the end of the lamp's life, with an alarm: in the "
                    f"table that is {uv_logs('Giardia', UV_DOSE.value):g} log of Giardia and Cryptosporidium and "
                    f"{uv_logs('viruses', UV_DOSE.value):g} log of the hardiest viruses",
                    UV_DOSE.source,
                )
            )
        if disinfect in ("chlorine", "both"):
            steps.append(
                (
                    "chlorine and contact tank",
                    f"{RESIDUAL.value:g} mg/L left after {CONTACT.value:g} minutes at {flow:.2f} L/s: a tank of "
                    f"{contact_volume(flow, CONTACT.value):,.0f} L, baffling factor {BAFFLING.value:g}; colder "
                    "water or cysts ask for longer",
                    RESIDUAL.source,
                )
            )
    return pd.DataFrame(steps, columns=["step", "sized_for", "source"])


def treatment_of_uses(
    qualities: Mapping[str, str], arrangement: Arrangement, flow: float, disinfect: str = "ultraviolet"
) -> pd.DataFrame:
    """Return the treatment of each use in one line.

    Parameters
    ----------
    qualities : mapping of str to str
        Quality that each use needs, by its name.
    arrangement : str
        "mains reserve", "rain only" or "combined".
    flow : float [L/s]
        Peak flow at the taps.
    disinfect : str
        "ultraviolet", "chlorine" or "both".

    Returns
    -------
    DataFrame
        ``use``, ``quality``, ``class``, ``served``, ``steps`` (joined by arrows).

    Raises
    ------
    InputError
        If there is no use, or a word is unknown.

    Examples
    --------
    >>> treatment_of_uses({"toilets": "flushing"}, "rain only", 0.3).served.tolist()
    [True]
    """
    if not qualities:
        raise InputError("there is no use", "give at least one", "use")
    rows = []
    for use, quality in qualities.items():
        served = may_serve(arrangement, quality)
        train = treatment_train(quality, arrangement, flow, disinfect)
        rows.append(
            {
                "use": use,
                "quality": quality,
                "class": treatment_class(quality, arrangement),
                "served": served,
                "steps": " > ".join(train.step) if served else "from the mains, not from this tank",
            }
        )
    return pd.DataFrame(rows)


def samples_to_take(
    qualities: Iterable[str], arrangement: Arrangement, disinfect: str = "ultraviolet"
) -> pd.DataFrame:
    """Return what to test, how often, whose rules govern.

    Parameters
    ----------
    qualities : iterable of str
        Qualities of the uses that are served.
    arrangement : str
        "mains reserve", "rain only" or "combined".
    disinfect : str
        "ultraviolet", "chlorine" or "both".

    Returns
    -------
    DataFrame
        ``test``, ``how_often``, ``rules``. Common practice, no source, where no other is named.

    Raises
    ------
    InputError
        If a word is unknown.

    Examples
    --------
    >>> samples_to_take(["flushing"], "rain only").test.tolist()
    ['look and smell', 'dye test for cross-connection']
    """
    if disinfect not in WAYS_TO_DISINFECT:
        raise InputError(
            f'no way to disinfect is called "{disinfect}"',
            f"choose one of {', '.join(WAYS_TO_DISINFECT)}",
            "disinfect",
        )
    needed = {treatment_class(quality, arrangement) for quality in qualities}
    rows = [("look and smell", "every month", f"{ENHEALTH}: inspection by eye rather than by laboratory")]
    if arrangement != "mains reserve":
        rows.append(
            (
                "dye test for cross-connection",
                "when it is finished, then yearly",
                "the plumbing authority's rules govern",
            )
        )
    chlorine = "kept fresh" in needed or ("filtered and disinfected" in needed and disinfect != "ultraviolet")
    if chlorine:
        rows.append(("free chlorine and pH at the furthest tap", "every day of use", RESIDUAL.source))
    if "filtered and disinfected" in needed and disinfect != "chlorine":
        rows.append(
            (
                "lamp alarm and hours, light through the water",
                "every week",
                f"the maker's manual; {NO_SOURCE}",
            )
        )
    if needed & {"kept fresh", "filtered and disinfected"}:
        rows += [
            ("E. coli in 100 mL, none to be found", "before first use, then every three months", AUTHORITY),
            ("turbidity, below 1 NTU before disinfection", "every week by meter or tube", AUTHORITY),
        ]
    if "filtered and disinfected" in needed:
        rows.append(
            (
                "lead, copper, zinc; what the roof and its neighbours may shed",
                "before first use, then yearly",
                AUTHORITY,
            )
        )
    return pd.DataFrame(rows, columns=["test", "how_often", "rules"])
