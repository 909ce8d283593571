"""What each use must pass through: filters, chlorine, ultraviolet light, and the air gap of the mains."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from rainharvest.catchment.hydraulics import section
from rainharvest.core.defaults import rows_of
from rainharvest.core.errors import InputError, require
from rainharvest.demand.uses import Arrangement, may_serve, treatment_class
from rainharvest.siteworks.tables import DEFAULTS

RULES = {"United Kingdom": DEFAULTS["air_gap_least"], "elsewhere": DEFAULTS["air_gap_least_elsewhere"]}

"""Least gap by practice; where none is known, the larger one is safe."""

OF_TREATMENT = DEFAULTS["treatment"]

SOURCES = rows_of("siteworks", "sources") | {name: default.source for name, default in OF_TREATMENT.items()}

"""What stands in braces in the sources of treatment.toml and upkeep.toml."""

WAYS_TO_DISINFECT = ("ultraviolet", "chlorine", "both")

_TABLES = rows_of("siteworks", "disinfection")

_CYST_PH = _TABLES["cyst"]["acidity"]

UV_LOGS, UV_DOSES = _TABLES["ultraviolet"]["logs"], _TABLES["ultraviolet"]["doses"]

"""Dose for so many logs, mJ/cm2, by organism."""


_ROWS = rows_of("siteworks", "treatment")

DISINFECTED = ("filtered and disinfected", "kept fresh")

"""Classes of water that get chlorine or light."""


DOUBTFUL = frozenset(_ROWS["doubtful"])

"""Concerns about a roof that no step of treatment settles."""


def rows_there(rows: Iterable[Mapping], there: set[str], **facts: object) -> Iterator[dict]:
    """Yield the rows of a table of data of whose ``where`` all is there, facts and sources in their braces."""
    for row in rows:
        if there.issuperset(row.get("where", ())):
            own = {k: v.format(**facts) for k, v in row.items() if isinstance(v, str) and k != "source"}
            yield row | own | {"source": row.get("source", "{none}").format(**SOURCES)}


def air_gap(*bores: float, rule: str = "elsewhere") -> float:
    """Return the air gap under the mains inlets of a tank: the larger of the least gap and twice the bores.

    >>> air_gap(20, rule="United Kingdom"), air_gap(20, 20, rule="United Kingdom"), air_gap(10)
    (40.0, 80.0, 25.0)
    """
    return max(RULES[rule].value, 2.0 * sum(bores))


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
        Source: disinfection.toml.

    Raises
    ------
    InputError
        If the organism is not in the tables, or the water is outside them.

    Examples
    --------
    >>> chlorine_ct("Giardia", 19, 7.2, 1.2), chlorine_ct("viruses", 10, 7.5)
    (92.0, 6.0)
    """
    require(
        organism in ("viruses", "Giardia"),
        f'no table for "{organism}"',
        "choose viruses or Giardia; chlorine does not kill Cryptosporidium in a practical time: use ultraviolet "
        "light or a filter that holds it back",
        "organism",
    )
    coldest = _TABLES["temperatures"][0]
    colder = f"water at {temperature:g} degrees is colder than the table"
    require(temperature >= coldest, colder, "warm it, or boil it", "temperature")
    _require_residual(free_chlorine)
    column = int(np.searchsorted(_TABLES["temperatures"], temperature, side="right")) - 1
    outside = f"pH {acidity:g} is outside the table"
    if organism == "viruses":
        row = next((row["ct"] for row in _TABLES["virus"] if acidity <= row["acidity"]), None)
        require(row and acidity >= 6, outside, "bring it to between 6 and 10", "acidity")
        return float(row[column])
    require(5.0 <= acidity <= _CYST_PH[-1], outside, "bring it to between 5 and 9", "acidity")
    found = next((one for one in _TABLES["cyst"]["table"] if free_chlorine <= one["free_chlorine"]), None)
    if found is None:  # more chlorine asks for a larger product: the table's last row would be too little
        raise InputError(
            f"{free_chlorine:g} mg/L of free chlorine is above the table",
            f"reckon with {_TABLES['cyst']['table'][-1]['free_chlorine']:g} mg/L",
            "free_chlorine",
        )
    return float(found["ct"][column][int(np.searchsorted(_CYST_PH, acidity))])


def _require_residual(free_chlorine: float) -> None:
    """Refuse water in which no chlorine is left."""
    require(free_chlorine > 0, "no free chlorine is left", "give a residual above zero", "free_chlorine")


def contact_minutes(
    ct: float,
    free_chlorine: float = OF_TREATMENT["residual"].value,
    least: float = OF_TREATMENT["contact"].value,
) -> float:
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
    _require_residual(free_chlorine)
    return max(ct / free_chlorine, least)


def contact_volume(flow: float, minutes: float, baffling: float = OF_TREATMENT["baffling"].value) -> float:
    """Return the contact tank that gives nearly all of the water its time: V = Q t / B.

    >>> contact_volume(flow=0.3, minutes=30, baffling=0.3)
    1800.0
    """
    return flow * minutes * 60 / baffling


@dataclass(frozen=True)
class ChlorinePlan:
    """Dose of chlorine, and what holds the water while it works."""

    flow: float  # [L/s] Peak flow
    minutes: float  # [min] Contact time
    residual: float  # [mg/L] Free chlorine at the end
    dose: float  # [mg/L] What is put in: the residual and what the water uses up
    chlorine: float  # [g/day] Chlorine that a mean day takes
    contact_tank: float  # [L] Contact tank at the default baffling
    baffled_tank: float  # [L] The same with superior baffling
    contact_pipe: float  # [m] A coil of pipe instead, in which every drop stays as long as the other
    contact_bore: float  # [mm] Its bore


def chlorine_plan(flow: float, mean_demand: float) -> ChlorinePlan:
    """Return the dose and the contact volume for a peak flow [L/s] and a mean demand [L/day].

    By hand at 0.8 L/s: 0.8 x 30 x 60 = 1,440 L; over 0.3 that is 4,800 L, over 0.7 it is 2,057 L, and in a pipe of
    100 mm 1,440 / 7.854 = 183 m. The dose is 0.5 + 1.5 mg/L: 2 g a day for 1,000 L.

    >>> plan = chlorine_plan(0.8, 1000.0)
    >>> round(plan.contact_tank), round(plan.baffled_tank), round(plan.contact_pipe), plan.dose, plan.chlorine
    (4800, 2057, 183, 2.0, 2.0)
    """
    sizes = {name: default.value for name, default in OF_TREATMENT.items()}
    minutes, residual, bore = sizes["contact"], sizes["residual"], sizes["contact_bore"]
    dose = residual + sizes["chlorine_demand"]
    return ChlorinePlan(
        flow=flow,
        minutes=minutes,
        residual=residual,
        dose=dose,
        chlorine=dose * mean_demand / 1000,
        contact_tank=contact_volume(flow, minutes),
        baffled_tank=contact_volume(flow, minutes, sizes["baffling_superior"]),
        contact_pipe=contact_volume(flow, minutes, 1.0) / (1000 * section(bore)),
        contact_bore=bore,
    )


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
    known = f"choose one of {', '.join(UV_DOSES)}"
    require(organism in UV_DOSES, f'no dose for "{organism}"', known, "organism")
    require(0 <= dose < math.inf, f"a dose of {dose:g} mJ/cm2", "give zero or more", "dose")
    steps = int(np.searchsorted(UV_DOSES[organism], dose, side="right"))
    return UV_LOGS[steps - 1] if steps else 0.0


def there_of(classes: Iterable[str], arrangement: Arrangement, disinfect: str) -> set[str]:
    """Return what there is to treat water: by these names the rows of treatment and upkeep say where they count."""
    require(
        disinfect in WAYS_TO_DISINFECT,
        f'no way to disinfect is called "{disinfect}"',
        f"choose one of {', '.join(WAYS_TO_DISINFECT)}",
        "disinfect",
    )
    filters, fresh = "filtered and disinfected" in classes, "kept fresh" in classes
    has = {
        "rain": arrangement != "mains reserve",
        "mains": not arrangement.startswith("rain only"),
        "kept fresh": fresh,
        "filters": filters,
        "lamp": filters and disinfect != "chlorine",
        "chlorine": fresh or (filters and disinfect != "ultraviolet"),
        "disinfected": fresh or filters,
        "not for drinking": arrangement != "mains reserve" and not filters,
    }
    return {name for name, there in has.items() if there}


def treatment_train(
    quality: str, arrangement: Arrangement, flow: float, disinfect: str = "ultraviolet"
) -> pd.DataFrame:
    """Return the steps from roof or mains to tap for one quality of use, in the order of the water.

    Parameters
    ----------
    quality : str
        A key of `rainharvest.demand.tables.QUALITIES`.
    arrangement : str
        "mains reserve", "rain only", "rain only, treated" or "combined".
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
    there = there_of({treatment_class(quality, arrangement)}, arrangement, disinfect)
    require(flow >= 0, f"a flow of {flow:g} L/s", "give zero or more", "flow")
    sizes = {name: default.value for name, default in OF_TREATMENT.items()}
    sizes |= {"flow": flow, "contact_tank": contact_volume(flow, sizes["contact"])}
    sizes |= {"cyst_logs": uv_logs("Giardia", sizes["uv_dose"])}
    sizes |= {"virus_logs": uv_logs("viruses", sizes["uv_dose"])}
    rows = rows_there(_ROWS["step"], there, **sizes)
    return pd.DataFrame(rows)[["step", "sized_for", "source"]]


def treatment_of_uses(
    qualities: Mapping[str, str], arrangement: Arrangement, flow: float, disinfect: str = "ultraviolet"
) -> pd.DataFrame:
    """Return the treatment of each use in one line.

    >>> treatment_of_uses({"toilets": "flushing"}, "rain only", 0.3).served.tolist()
    [True]
    """
    rows = []
    for use, quality in qualities.items():
        served = may_serve(arrangement, quality)
        train = treatment_train(quality, arrangement, flow, disinfect)
        steps = " > ".join(train.step) if served else "not from this tank"
        rows.append((use, quality, treatment_class(quality, arrangement), served, steps))
    return pd.DataFrame(rows, columns=["use", "quality", "class", "served", "steps"])


def samples_to_take(
    qualities: Iterable[str], arrangement: Arrangement, disinfect: str = "ultraviolet"
) -> pd.DataFrame:
    """Return what to test, how often, whose rules govern.

    >>> samples_to_take(["flushing"], "rain only").test.tolist()
    ['look and smell', 'dye test for cross-connection']
    """
    there = there_of({treatment_class(one, arrangement) for one in qualities}, arrangement, disinfect)
    tests = pd.DataFrame(rows_there(_ROWS["test"], there))
    return tests.rename(columns={"source": "rules"})[["test", "how_often", "rules"]]
