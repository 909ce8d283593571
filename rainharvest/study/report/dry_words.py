"""The dry years and the caretaker's card in the report's sentences."""

from __future__ import annotations

import xarray as xr

from rainharvest.reader import date
from rainharvest.study.supply_words import MONTHS
from rainharvest.study.words import days, litres, percent


def failed_caption(done: xr.Dataset) -> str:
    """Return what the picture of the failed days shows.

    Parameters
    ----------
    done : Dataset
        As `rainharvest.study.run.run_study`.

    Returns
    -------
    str
        One sentence.
    """
    whole = (done.days_in_year >= 365).values
    failed = done.described_failed_by_year.median("member").values[whole]
    return (
        f"Failed days by hydrological year: none in {int((failed == 0).sum())} of {failed.size} whole years, "
        f"{days(float(failed.max(initial=0)))} in the worst."
    )


def storage_caption(worst: xr.Dataset) -> str:
    """Return what the picture of the worst two years shows.

    Parameters
    ----------
    worst : Dataset
        As `rainharvest.study.worst_years.worst_two_years`.

    Returns
    -------
    str
        One sentence.
    """
    first, last = (date(day) for day in worst.time.values[[0, -1]])
    short = float(worst.unmet_daily.sum())
    return (
        f"Water stored from {first} to {last}, the two years with the largest shortfall: "
        f"{litres(short) if short else 'nothing'} short."
    )


def left_out_said(why: str) -> str:
    """Return what of the drought stage could not be had.

    Parameters
    ----------
    why : str
        The reasons.

    Returns
    -------
    str
        One sentence.
    """
    return f"Not shown here: {why}."


def card_said(plan: xr.Dataset, actions: list[str]) -> list[str]:
    """Return the caretaker's card as text, for who cannot see it.

    Parameters
    ----------
    plan : Dataset
        As `rainharvest.study.drought_plan.plan_dataset`.
    actions : list of str
        What to do, in the order of the card.

    Returns
    -------
    list of str
        What to do, and below which levels of the gauge by month.
    """
    levels = [*plan.stage_level.values, plan.help_level.values]
    out = [actions[0]]
    for what, level in zip(actions[1:], levels, strict=True):
        by_month = ", ".join(
            f"{month} {percent(min(share, 1.0))}"
            for month, share in zip(MONTHS, level, strict=True)
            if share > 0
        )
        out.append(f"{what} Below these levels of the gauge: {by_month or 'in no month'}.")
    return out


def fan_caption(month: int, day: int, words: str) -> str:
    """Return from which day the outlook is, and what it shows.

    Parameters
    ----------
    month, day : int
        Of the day it begins.
    words : str
        What it shows.

    Returns
    -------
    str
        A few sentences.
    """
    return f"An outlook from {day} {MONTHS[month - 1]}, when the tank mostly stands highest. {words}"
