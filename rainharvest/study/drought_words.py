"""What a study's bad years are like and what to do in them, in sentences."""

from __future__ import annotations

import numpy as np
import xarray as xr

from rainharvest.reader import date, measure, number
from rainharvest.study.supply_words import MONTHS
from rainharvest.study.words import days, litres, percent, rounded


def listed(names) -> str:
    """Return names in a sentence.

    Parameters
    ----------
    names : iterable
        What is listed.

    Returns
    -------
    str
        For example "1977, 1981 and 2003".

    Examples
    --------
    >>> listed([1977, 1981, 2003]), listed(["March"])
    ('1977, 1981 and 2003', 'March')
    """
    names = [str(n) for n in names]
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}" if names else "none"


def _year(value: float) -> str:
    return f"{value:.0f}"


def dry_years_words(found: xr.Dataset) -> str:
    """Return which years were dry, and how far the three ways agree.

    Parameters
    ----------
    found : Dataset
        As `rainharvest.study.drought_plan.years_of`.

    Returns
    -------
    str
        Plain text.
    """
    rain, index, tank = (found[f"dry_by_{way}"].values.astype(bool) for way in ("rain", "index", "tank"))
    every, year = rain & index & tank, found.year.values
    missed = tank & ~rain
    text = (
        f"Of {year.size} hydrological years from {MONTHS[found.attrs['year_start_month'] - 1]}, each way calls "
        f"{int(rain.sum())} dry. "
    )
    text += (
        f"All three agree on {listed(year[every])}. "
        if every.any()
        else "There is no year on which all three agree. "
    )
    if missed.any():
        text += (
            f"In {listed(year[missed])} the tank ran short although the year's rain was not among the lowest: "
            "when it fell mattered more than how much."
        )
    elif not tank.any():
        text += "The tank ran short in none."
    return text.strip()


def driest_runs_words(found: xr.Dataset) -> str:
    """Return how rare the driest years on end are.

    Parameters
    ----------
    found : Dataset
        As `rainharvest.drought.dry_years.driest_runs`.

    Returns
    -------
    str
        Plain text.
    """
    parts = []
    for k, span in enumerate(found.span.values):
        middle, low, high = (
            number(float(found[f"run_return_period{end}"][k]), 2) for end in ("", "_low", "_high")
        )
        begin = found.driest_run_start.values[k]
        when = _year(begin) if span == 1 else f"{_year(begin)} to {_year(begin + span - 1)}"
        what = "driest year" if span == 1 else f"driest {span} years on end"
        parts.append(
            f"The {what}, {when}, had {measure(float(found.driest_run_total[k]), 'mm', 2)}"
            f"{'' if span == 1 else ' a year'}: about once in {middle} years, and anything between once in {low} and "
            f"once in {high} is possible."
        )
    return " ".join(parts)


def spells_words(found: xr.Dataset) -> str:
    """Return how long dry spells last, and when they begin.

    Parameters
    ----------
    found : Dataset
        As `rainharvest.study.drought.spells_of`.

    Returns
    -------
    str
        Plain text.
    """
    at = found.sel(return_period=10)
    by_month = found.spells_by_month.values
    most = np.argsort(-by_month, kind="stable")[:2]
    season = listed(MONTHS[m] for m in sorted(most) if by_month[m] > 0)
    return (
        f"The longest dry spell on record is {days(float(found.longest_dry_spell.max()))}. In ten years expect one of "
        f"{days(rounded(float(at.longest_expected)))}, and in 8 of 10 such stretches between "
        f"{days(rounded(float(at.longest_low)))} and {days(rounded(float(at.longest_high)))}. Those of "
        f"{days(found.attrs['long_spell'])} or more begin mostly in {season}."
    )


def failures_words(found: xr.Dataset) -> str:
    """Return resilience and vulnerability.

    Parameters
    ----------
    found : Dataset
        As `rainharvest.study.drought.failures_of`.

    Returns
    -------
    str
        Plain text.
    """
    events = float(found.failure_events.median())
    if events == 0:
        return "The tank does not fail on this record: there is no failure to recover from."
    resilience = float(found.resilience.median())
    return (
        f"On a failed day the chance that the next one is supplied is {percent(resilience)} (resilience): a failure "
        f"lasts {days(rounded(float(found.mean_failure.median())))} on average, days without demand passed over. "
        f"The worst day of a failure is short by {percent(float(found.vulnerability_share.median()))} of a mean day's "
        "demand, averaged over the failures (vulnerability)."
    )


def through_words(found: xr.Dataset, own: float) -> str:
    """Return what the worst sequence did to the tank, and what other sizes would have made of it.

    Parameters
    ----------
    found : Dataset
        As `rainharvest.study.drought.through_of`.
    own : float [L]
        The study's usable tank size.

    Returns
    -------
    str
        Plain text.
    """
    sizes = found.through_capacity.values
    k = int(np.argmin(abs(sizes - own)))
    mine = found.isel(through_capacity=k)
    begin, end = (date(np.datetime64(found.attrs[f"worst_{which}"])) for which in ("from", "to"))
    cut = "" if found.attrs["worst_is_whole"] else " The record cuts this sequence: it may have been longer."
    if not float(mine.drawdown_days_short):
        return f"The tank never runs short. Its lowest stretch lasts from {begin} to {end}.{cut}"
    text = (
        f"The worst sequence lasts from {begin} to {end}. Without an overflow "
        f"the tank held out for {days(float(mine.drawdown_first_short))}; then it was short on "
        f"{days(float(mine.drawdown_days_short))}, {days(float(mine.drawdown_longest_short))} with demand on end, "
        f"{litres(float(mine.drawdown_short))} in all; it overflowed again {days(float(mine.drawdown_recovery))} after "
        "the last of them."
    )
    if k + 1 < sizes.size:
        more = found.isel(through_capacity=-1)
        short = float(more.drawdown_days_short)
        text += f" A tank of {litres(float(sizes[-1]))} is short on {days(short)} of its own worst sequence."
    return text + cut
