"""The upkeep calendar: who looks at what, how often, and where that interval comes from."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from rainharvest.errors import InputError
from rainharvest.siteworks.defaults import NO_SOURCE
from rainharvest.siteworks.treatment import ENHEALTH

NOTICE = "an Australian health district's public notice"
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


@dataclass(frozen=True)
class Task:
    """One task of upkeep.

    Parameters
    ----------
    task : str
        What is done.
    months : int
        Every so many months.
    source : str
        Where the interval comes from.
    where : tuple of str
        Parts that must be there: "roof", "wet run", "pump", "lamp", "chlorine", "filters", "mains"; all of them.
    mind : str
        The caution of that task: a key of `rainharvest.study.cautions.CAUTIONS`.
    """

    task: str
    months: int
    source: str
    where: tuple[str, ...] = ()
    mind: str = ""


TASKS: tuple[Task, ...] = (
    Task("empty the first-flush space and clear it of debris; again after each storm", 1, NOTICE, ("roof",)),
    Task("read the gauge, look at the water, smell it, write both down", 1, NO_SOURCE),
    Task("flush the low point of the wet run", 1, NO_SOURCE, ("wet run",)),
    Task("look at roof and gutters from a safe stand, and clean them", 6, ENHEALTH, ("roof",), "roof work"),
    Task("clean and mend leaf screens, inlet mesh and overflow mesh", 6, ENHEALTH, (), "mosquitoes"),
    Task(
        "look into the tank from outside for animals, larvae, green growth; close what let them in",
        6,
        ENHEALTH,
        (),
        "confined space",
    ),
    Task("look at tank, lid, base and pipes for cracks, holes and movement", 6, ENHEALTH, (), "weight"),
    Task("cut branches back from the roof", 6, NOTICE, ("roof",), "roof work"),
    Task("pour water into the overflow and watch it go where it should", 6, NO_SOURCE, (), "overflow"),
    Task(
        "change the cartridges of the sediment and carbon filters, sooner if the pressure falls",
        6,
        NO_SOURCE,
        ("filters",),
    ),
    Task(
        "run the pump dry-running switch, the earth-leakage switch and the starts an hour",
        12,
        NO_SOURCE,
        ("pump",),
        "electricity",
    ),
    Task(
        "change the ultraviolet lamp, clean its sleeve",
        12,
        f"about 9,000 hours of lamp life; {NO_SOURCE}",
        ("lamp",),
        "electricity",
    ),
    Task("test the strength of the chlorine in store", 3, NO_SOURCE, ("chlorine",)),
    Task(
        "test the backflow device or measure the air gap; dye test for cross-connection",
        12,
        NO_SOURCE,
        ("mains",),
        "backflow",
    ),
    Task(
        "measure the sludge on the floor; where it covers the floor, have it taken out",
        24,
        f"{NOTICE}: at least every 2 to 3 years",
        (),
        "confined space",
    ),
)
"""Every task, the most frequent first within its kind. An interval is a beginning: shorten it by what is found."""


def upkeep_tasks(parts: set[str]) -> tuple[Task, ...]:
    """Return the tasks of a site with these parts.

    Parameters
    ----------
    parts : set of str
        Of "roof", "wet run", "pump", "lamp", "chlorine", "filters", "mains".

    Returns
    -------
    tuple of Task
        In the order of `TASKS`.

    Examples
    --------
    >>> len(upkeep_tasks(set())), len(upkeep_tasks({"pump"}))
    (6, 7)
    """
    return tuple(task for task in TASKS if set(task.where) <= parts)


def upkeep_calendar(parts: set[str], wet_month: int = 1) -> pd.DataFrame:
    """Return a year of upkeep: an x in each month in which a task falls due.

    Tasks of more than a month fall due in the month before the rains and every so many months after; tasks
    of more than a year in the first year.

    Parameters
    ----------
    parts : set of str
        As `upkeep_tasks`.
    wet_month : int
        Month in which the rains begin, 1 to 12: gutters and screens are cleaned before it.

    Returns
    -------
    DataFrame
        A row a task, a column a month, and ``every`` (months), ``source``, ``mind``.

    Raises
    ------
    InputError
        If there is no such month.

    Examples
    --------
    >>> year = upkeep_calendar({"roof"}, wet_month=5)
    >>> row = year[year.task.str.startswith("look at roof")].iloc[0]
    >>> [month for month in MONTHS if row[month]]
    ['Apr', 'Oct']
    """
    if wet_month not in range(1, 13):
        raise InputError(f"{wet_month} is no month", "give one of 1 to 12", "wet_month")
    rows = []
    for task in upkeep_tasks(parts):
        due = {(wet_month - 2 + k) % 12 for k in range(0, 12, task.months)}
        row = {"task": task.task} | {month: "x" if n in due else "" for n, month in enumerate(MONTHS)}
        rows.append(row | {"every": task.months, "source": task.source, "mind": task.mind})
    return pd.DataFrame(rows)
