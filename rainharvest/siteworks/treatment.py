"""What each use must pass through: filters, chlorine, ultraviolet light, and the air gap of the mains."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping

import numpy as np
import pandas as pd

from rainharvest.core.defaults import Default
from rainharvest.core.errors import InputError
from rainharvest.demand.uses import Arrangement, may_serve, treatment_class
from rainharvest.siteworks.tables import AIR_GAP_LEAST, AIR_GAP_LEAST_ELSEWHERE, NO_SOURCE

RULES = {"United Kingdom": AIR_GAP_LEAST, "elsewhere": AIR_GAP_LEAST_ELSEWHERE}

"""Least gap by practice; where none is known, the larger one is safe."""


def air_gap(*bores: float, rule: str = "elsewhere") -> float:
    """Return the air gap under the mains inlets of a tank: the larger of the least gap and twice the bores.

    >>> air_gap(20, rule="United Kingdom"), air_gap(20, 20, rule="United Kingdom"), air_gap(10)
    (40.0, 80.0, 25.0)
    """
    if rule not in RULES:
        raise InputError(f'no rule is called "{rule}"', f"choose one of {', '.join(RULES)}", "rule")
    if not bores or not all(bore > 0 for bore in bores):
        raise InputError("an inlet without a bore", "give the bore of each inlet, above zero", "bores")
    return max(RULES[rule].value, 2.0 * sum(bores))


_EPA = (
    "United States Environmental Protection Agency, Disinfection Profiling and Benchmarking, EPA 815-R-20-003, June "
    "2020"
)

CHLORINE_SOURCE = f"{_EPA}, Tables B-1 and B-2, as transcribed in a public source file"

UV_SOURCE = (
    "United States Environmental Protection Agency, Ultraviolet Disinfection Guidance Manual, table of doses, as "
    "quoted on a public training page"
)

TEMPERATURES = (0.5, 5.0, 10.0, 15.0, 20.0, 25.0)

"""Columns of the tables, degrees Celsius: the next colder one counts."""

VIRUS_CT = {9.0: (12, 8, 6, 4, 3, 2), 10.0: (90, 60, 45, 30, 22, 15)}

"""Chlorine times minutes for 4 log of viruses, mg min/L, by the highest pH and by temperature (Table B-2)."""

CYST_PH = (6.0, 6.5, 7.0, 7.5, 8.0, 8.5, 9.0)

CYST_CT: dict[float, tuple[tuple[int, ...], ...]] = {
    0.4: (
        (137, 163, 195, 237, 277, 329, 390),
        (97, 117, 139, 166, 198, 236, 279),
        (73, 88, 104, 125, 149, 177, 209),
        (49, 59, 70, 83, 99, 118, 140),
        (36, 44, 52, 62, 74, 89, 105),
        (24, 29, 35, 42, 50, 59, 70),
    ),
    0.6: (
        (141, 168, 200, 239, 286, 342, 407),
        (100, 120, 143, 171, 204, 244, 291),
        (75, 90, 107, 128, 153, 183, 218),
        (50, 60, 72, 86, 102, 122, 146),
        (38, 45, 54, 64, 77, 92, 109),
        (25, 30, 36, 43, 51, 61, 73),
    ),
    1.0: (
        (148, 176, 210, 253, 304, 365, 437),
        (105, 125, 149, 179, 216, 260, 312),
        (79, 94, 112, 134, 162, 195, 234),
        (53, 63, 75, 90, 108, 130, 156),
        (39, 47, 56, 67, 81, 98, 117),
        (26, 31, 37, 45, 54, 65, 78),
    ),
    1.2: (
        (152, 180, 215, 259, 313, 376, 451),
        (107, 127, 152, 183, 221, 267, 320),
        (80, 95, 114, 137, 166, 200, 240),
        (54, 64, 76, 92, 111, 134, 160),
        (40, 48, 57, 69, 83, 100, 120),
        (27, 32, 38, 46, 55, 67, 80),
    ),
    2.0: (
        (165, 197, 236, 286, 346, 417, 500),
        (116, 138, 165, 200, 243, 294, 353),
        (87, 104, 124, 150, 182, 221, 265),
        (58, 69, 83, 100, 122, 147, 177),
        (44, 52, 62, 75, 91, 110, 132),
        (29, 35, 41, 50, 61, 74, 88),
    ),
    3.0: (
        (181, 217, 261, 316, 382, 460, 552),
        (126, 151, 182, 221, 268, 324, 389),
        (95, 113, 137, 166, 201, 243, 292),
        (63, 76, 91, 111, 134, 162, 195),
        (47, 57, 68, 83, 101, 122, 146),
        (32, 38, 46, 55, 67, 81, 97),
    ),
}

"""Chlorine times minutes for 3 log of Giardia cysts, mg min/L, by free chlorine, temperature and pH (rows of
Table B-1: some of its concentrations; the next higher one counts, which asks for more)."""


LOGS = (0.5, 1.0, 1.5, 2.0, 2.5, 3.0, 3.5, 4.0)

UV_DOSES: dict[str, tuple[float, ...]] = {
    "Cryptosporidium": (1.6, 2.5, 3.9, 5.8, 8.5, 12, 15, 22),
    "Giardia": (1.5, 2.1, 3.0, 5.2, 7.7, 11, 15, 22),
    "viruses": (39, 58, 79, 100, 121, 143, 163, 186),
}

"""Dose for so many logs (`LOGS`), mJ/cm2."""


RESIDUAL = Default(
    0.5,
    "mg/L",
    "World Health Organization: free chlorine of at least 0.5 mg/L after 30 minutes of contact at pH below 8, as "
    "quoted in the design guidelines of a public-health organisation",
    "handbook",
    0.2,
    5.0,
)

CONTACT = Default(30.0, "min", RESIDUAL.source, "handbook")

BAFFLING = Default(
    0.3,
    "1",
    "poor baffling; the same agency's guidance, from memory: 0.1 unbaffled, 0.3 poor, 0.5 average, 0.7 superior",
    "from memory",
    0.1,
    1.0,
)

UV_DOSE = Default(
    40.0,
    "mJ/cm2",
    "NSF/ANSI 55, Class A, at the alarm set point, as quoted in a trade journal of June 2002",
    "standard",
)


def chlorine_ct(organism: str, temperature: float, acidity: float, free_chlorine: float = 1.0) -> float:
    """Return the product of free chlorine and contact time that a table asks for.

    The table's next colder temperature, next higher pH and next higher chlorine count.

    Parameters
    ----------
    organism : str
        "viruses" (4 log, 99.99 %) or "Giardia" (3 log, 99.9 %).
    temperature : float
        Of the water, degrees Celsius, at its coldest.
    acidity : float [1]
        Its pH, at its highest.
    free_chlorine : float [mg/L]
        Free chlorine at the end of the contact; counts for Giardia only.

    Returns
    -------
    float [mg min/L]
        Free chlorine at the end times minutes. Cryptosporidium is not killed by chlorine in any practical time.
        Source: `rainharvest.siteworks.treatment`.

    Raises
    ------
    InputError
        If the organism is not in the tables, or the water is outside them.

    Examples
    --------
    >>> chlorine_ct("Giardia", 19, 7.2, 1.2), chlorine_ct("viruses", 10, 7.5)
    (92.0, 6.0)
    """
    if organism not in ("viruses", "Giardia"):
        raise InputError(
            f'no table for "{organism}"',
            "choose viruses or Giardia; chlorine does not kill Cryptosporidium in a practical time: use ultraviolet "
            "light or a filter that holds it back",
            "organism",
        )
    if not temperature >= TEMPERATURES[0]:
        raise InputError(
            f"water at {temperature:g} degrees is colder than the table", "warm it, or boil it", "temperature"
        )
    if not free_chlorine > 0:
        raise InputError("no free chlorine is left", "give a residual above zero", "free_chlorine")
    column = int(np.searchsorted(TEMPERATURES, temperature, side="right")) - 1
    if organism == "viruses":
        row = next((values for top, values in VIRUS_CT.items() if acidity <= top), None)
        if row is None or acidity < 6:
            raise InputError(
                f"pH {acidity:g} is outside the table", "bring it to between 6 and 10", "acidity"
            )
        return float(row[column])
    if not CYST_PH[0] <= acidity <= CYST_PH[-1] and not 5.0 <= acidity < 6.0:
        raise InputError(f"pH {acidity:g} is outside the table", "bring it to between 5 and 9", "acidity")
    chlorine = next((value for value in CYST_CT if free_chlorine <= value), None)
    if chlorine is None:  # more chlorine asks for a larger product: the table's last row would be too little
        raise InputError(
            f"{free_chlorine:g} mg/L of free chlorine is above the table",
            f"reckon with {max(CYST_CT):g} mg/L",
            "free_chlorine",
        )
    return float(CYST_CT[chlorine][column][int(np.searchsorted(CYST_PH, acidity))])


def contact_minutes(ct: float, free_chlorine: float = RESIDUAL.value, least: float = CONTACT.value) -> float:
    """Return how long the water must stay with the chlorine: CT / C, and no less than a rule asks.

    Parameters
    ----------
    ct : float [mg min/L]
        As `chlorine_ct`.
    free_chlorine : float [mg/L]
        Free chlorine at the end.
    least : float [min]
        Least contact time; 30 minutes by the World Health Organization.

    Returns
    -------
    float [min]
        Time.

    Raises
    ------
    InputError
        If no chlorine is left.

    Examples
    --------
    >>> contact_minutes(92, 1.2), contact_minutes(6, 0.5)
    (76.7, 30.0)
    """
    if not free_chlorine > 0:
        raise InputError("no free chlorine is left", "give a residual above zero", "free_chlorine")
    return max(ct / free_chlorine, least)


def contact_volume(flow: float, minutes: float, baffling: float = BAFFLING.value) -> float:
    """Return the contact tank that gives nearly all of the water its time: V = Q t / B.

    >>> contact_volume(flow=0.3, minutes=30, baffling=0.3)
    1800.0
    """
    if not 0 < baffling <= 1:
        raise InputError(f"{baffling:g} is not possible", "give a factor above 0 and up to 1", "baffling")
    if not (flow >= 0 and minutes >= 0):
        raise InputError("a flow or a time below zero", "give zero or more", "flow")
    return flow * minutes * 60 / baffling


def chlorine_product(volume: float, chlorine: float, strength: float) -> float:
    """Return how much liquid chlorine brings a volume of water to a dose: V c / strength.

    >>> chlorine_product(volume=1000, chlorine=5, strength=0.125)
    40.0
    """
    if not 0 < strength <= 1:
        raise InputError(
            f"a strength of {strength:g}", "give a share above 0 and up to 1, such as 0.05", "strength"
        )
    if not (volume >= 0 and chlorine >= 0):
        raise InputError("a volume or a dose below zero", "give zero or more", "chlorine")
    return volume * chlorine / 1000 / strength


def uv_dose(organism: str, logs: float) -> float:
    """Return the ultraviolet dose that inactivates an organism by so many logs.

    >>> uv_dose("Cryptosporidium", 4), uv_dose("viruses", 4)
    (22.0, 186.0)
    """
    if organism not in UV_DOSES:
        raise InputError(f'no dose for "{organism}"', f"choose one of {', '.join(UV_DOSES)}", "organism")
    if not 0 < logs <= LOGS[-1]:
        raise InputError(f"{logs:g} logs", "give more than 0 and up to 4", "logs")
    return float(UV_DOSES[organism][int(np.searchsorted(LOGS, logs))])


def uv_logs(organism: str, dose: float) -> float:
    """Return the logs that a dose is worth in the table.

    Parameters
    ----------
    organism : str
        "Cryptosporidium", "Giardia" or "viruses".
    dose : float [mJ/cm2]
        Dose delivered at the end of the lamp's life.

    Returns
    -------
    float [1]
        The table's highest step whose dose is no more than that; zero below the first.

    Raises
    ------
    InputError
        If the table does not have it.

    Examples
    --------
    >>> uv_logs("Giardia", 40), uv_logs("viruses", 40)
    (4.0, 0.5)
    """
    uv_dose(organism, 1.0)
    if not (0 <= dose < math.inf):
        raise InputError(f"a dose of {dose:g} mJ/cm2", "give zero or more", "dose")
    steps = int(np.searchsorted(UV_DOSES[organism], dose, side="right"))
    return LOGS[steps - 1] if steps else 0.0


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
        A key of `rainharvest.demand.tables.QUALITIES`.
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
