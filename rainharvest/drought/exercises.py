"""Exercises on the bad years that check themselves: the right answer is computed, never stored."""

from __future__ import annotations

import xarray as xr

from rainharvest.core.board import says
from rainharvest.core.reader import days, litres
from rainharvest.demand.words import MONTHS
from rainharvest.drought.basis import Basis
from rainharvest.drought.facts import looked_ahead, windows_from
from rainharvest.drought.words import listed
from rainharvest.study.exercises import NEAR


def check_hidden_drought(years: xr.Dataset, yours_year: int | None) -> None:
    """Check a year in which the tank ran short although the year's rain was not among the lowest.

    Parameters
    ----------
    years : Dataset
        As `rainharvest.drought.facts.years_of`.
    yours_year : int
        The reader's answer; None tells the right one.
    """
    hidden = years.year.values[years.dry_by_tank.values & ~years.dry_by_rain.values]
    right = yours_year is not None and yours_year in hidden
    says(
        yours_year,
        right,
        f"Such years are {listed(hidden)}."
        if hidden.size
        else "There is none on this record: dry by rain holds all.",
        "Look for a year that is dark in the lowest row and pale in the uppermost.",
    )


def check_supply_days(
    basis: Basis, month: int, day: int, gauge_kilolitres: float, yours_days: float | None
) -> None:
    """Check for how long the water lasts in 8 of 10 years.

    Parameters
    ----------
    basis : Basis
        The study.
    month, day : int [1]
        Today.
    gauge_kilolitres : float
        What the gauge shows, in kilolitres.
    yours_days : float
        The reader's answer; None tells the right one.
    """
    found = looked_ahead(basis, windows_from(basis, month, day), 1000 * gauge_kilolitres)
    lasts = float(found.supply_days.sel(plan="yours", confidence=0.8))
    right = yours_days is not None and abs(yours_days - lasts) <= max(NEAR * lasts, 3.0)
    says(
        yours_days,
        right,
        f"From {litres(1000 * gauge_kilolitres)} on {day} {MONTHS[month - 1]} it lasts at least {days(lasts)} in 8 of "
        "10 years.",
        "Set the date and the gauge in the outlook panel and read the sentence under the fan.",
    )


def check_card(plan: xr.Dataset, month: int, gauge_percent: float, yours_stage: int | None) -> None:
    """Check what the card says to do.

    Parameters
    ----------
    plan : Dataset
        As `rainharvest.drought.facts.plan_dataset`.
    month : int [1]
        The month.
    gauge_percent : float
        What the gauge shows, in per cent of the tank.
    yours_stage : int
        The reader's answer: 0 as usual, else the stage; None tells the right one.
    """
    level = plan.stage_level.sel(calendar_month=month).values
    stage = int((gauge_percent / 100 < level - 1e-9).sum())
    what = "as usual" if stage == 0 else f"stage {stage}"
    says(
        yours_stage,
        yours_stage == stage,
        f"In {MONTHS[month - 1]} a gauge at {gauge_percent:g} % means {what}.",
        "Find the month's column on the card and go up to the reading.",
    )
