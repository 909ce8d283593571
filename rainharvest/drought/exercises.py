"""Exercises on the bad years that check themselves: the right answer is computed, never stored."""

from __future__ import annotations

import ipywidgets as widgets
import xarray as xr

from rainharvest.core.board import predict
from rainharvest.core.controls import choice
from rainharvest.core.exercise import left_out, says
from rainharvest.core.reader import MONTHS, MONTHS_SHORT, days, litres
from rainharvest.drought.basis import Basis
from rainharvest.drought.facts import dry_year_facts, failing_months
from rainharvest.drought.facts_outlook import outlook_from, windows_from
from rainharvest.drought.section import SAY


def guess_month(basis: Basis) -> widgets.VBox:
    """Return the guess at the month in which the tank fails on most days.

    Parameters
    ----------
    basis : Basis
        As `rainharvest.drought.panel.prepare_drought`.

    Returns
    -------
    VBox
        A list of months; then the guesses beside the month that it is.
    """

    def found() -> tuple[str, str]:
        failed = failing_months(basis)
        month = int(failed.argmax())
        return MONTHS_SHORT[month], SAY.failing_months(failed, month)

    months = choice("Month", list(MONTHS_SHORT), MONTHS_SHORT[0], "The month that you expect to be the worst")
    return predict("month", SAY.guess_month(), months, found)


def check_hidden_drought(years: xr.Dataset, yours_year: int | None) -> None:
    """Check a year in which the tank ran short although the year's rain was not among the lowest.

    Parameters
    ----------
    years : Dataset
        As `rainharvest.drought.facts.years_of`.
    yours_year : int
        The reader's answer; ``...`` asks for the right one.
    """
    hidden = dry_year_facts(years)["hidden"]
    some, none = (
        f"Such years are {SAY.listed(hidden)}.",
        "There is none on this record: dry by rain holds all.",
    )
    hint = "Look for a year in full colour in the lowest row and pale in the uppermost."
    among = {
        int(year): f"in {year} the tank was "
        + ("among the shortest, but so was the rain among the lowest" if short else "not among the shortest")
        for year, short in zip(years.year.values, years.dry_by_tank.values, strict=True)
    }
    says(yours_year, set(hidden), some if hidden else none, hint, among=among)


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
        The reader's answer; ``...`` asks for the right one.
    """
    if 1000 * gauge_kilolitres > basis.capacity:
        return left_out(f"a tank of {litres(1000 * gauge_kilolitres)} or more")
    found = outlook_from(basis, windows_from(basis, month, day), 1000 * gauge_kilolitres)
    lasts = float(found.supply_days.sel(plan="yours", confidence=0.8))
    reading = f"From {litres(1000 * gauge_kilolitres)} on {day} {MONTHS[month - 1]}"
    answer = f"{reading} it lasts at least {days(lasts)} in 8 of 10 years."
    hint = "Set the date and the gauge in the outlook panel and read the sentence under the fan."
    says(yours_days, lasts, answer, hint, least=3)


def check_card(plan: xr.Dataset, month: int, gauge_percent: float, yours_stage: int | None) -> None:
    """Check what the card says to do.

    Parameters
    ----------
    plan : Dataset
        As `rainharvest.drought.facts_outlook.plan_of`.
    month : int [1]
        The month.
    gauge_percent : float
        What the gauge shows, in per cent of the tank.
    yours_stage : int
        The reader's answer: 0 as usual, else the stage; ``...`` asks for the right one.
    """
    level = plan.stage_level.sel(calendar_month=month).values
    stage = int((gauge_percent / 100 < level - 1e-9).sum())
    what = "as usual" if stage == 0 else f"stage {stage}"
    answer = f"In {MONTHS[month - 1]} a gauge at {gauge_percent:g} % means {what}."
    hint = "Find the month's column on the card and go up to the reading."
    says(yours_stage, stage, answer, hint, near=0)
