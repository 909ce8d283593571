"""Chlorine and ultraviolet light: how long, how much, by published tables. A study, never a permit to drink."""

from __future__ import annotations

import math

import numpy as np

from rainharvest.errors import InputError
from rainharvest.siteworks.disinfection_tables import (
    CYST_CT,
    CYST_PH,
    LOGS,
    TEMPERATURES,
    UV_DOSES,
    VIRUS_CT,
)
from rainharvest.sources import Default

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
        Source: `rainharvest.siteworks.disinfection_tables`.

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

    Parameters
    ----------
    flow : float [L/s]
        Peak flow through it.
    minutes : float [min]
        Contact time.
    baffling : float [1]
        Share of the mean time that nine tenths of the water really stay: 0.1 in an open tank.

    Returns
    -------
    float [L]
        Volume, at its lowest level.

    Raises
    ------
    InputError
        If the baffling is not above 0 and up to 1, or another value is below zero.

    Examples
    --------
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

    Parameters
    ----------
    volume : float [L]
        Water.
    chlorine : float [mg/L]
        Chlorine wanted at once; the demand of the water takes part of it.
    strength : float [1]
        Available chlorine of the liquid, grams in a millilitre (0.125 for 12.5 %); it weakens with age.

    Returns
    -------
    float [mL]
        Liquid.

    Raises
    ------
    InputError
        If the strength is not between 0 and 1.

    Examples
    --------
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

    Parameters
    ----------
    organism : str
        "Cryptosporidium", "Giardia" or "viruses".
    logs : float [1]
        2 is 99 %, 4 is 99.99 %; the table's next higher step counts.

    Returns
    -------
    float [mJ/cm2]
        Dose validated for credit; 1 mJ/cm2 is 10 J/m2. Source: `rainharvest.siteworks.disinfection_tables`.

    Raises
    ------
    InputError
        If the table does not have it.

    Examples
    --------
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
