"""Exercises that check themselves: the right answer is computed from the study, never stored."""

from __future__ import annotations

import numpy as np
import xarray as xr

from rainharvest.core.board import says
from rainharvest.core.reader import days, litres, percent
from rainharvest.study.stages import StudyResults

NEAR = 0.1

"""How far off, as a share, an answer read off a figure may be."""


def _middle(values: xr.DataArray) -> xr.DataArray:
    return values.median("member") if "member" in values.dims else values


def check_size(done: xr.Dataset, target: float, yours_kilolitres: float | None) -> None:
    """Check a tank size read off the trade-off curve.

    Parameters
    ----------
    done : Dataset
        As `rainharvest.study.run.run_study`.
    target : float [1]
        The reliability asked for.
    yours_kilolitres : float, optional
        The reader's answer in kilolitres; None asks for the right one.
    """
    curve = _middle(done[done.attrs["measure"]])
    if float(curve.max()) < target:
        says(
            yours_kilolitres, False, f"No size of the curve reaches {percent(target)}.", "No size reaches it."
        )
        return
    size = float(np.interp(target, np.maximum.accumulate(curve.values), done.capacity.values))
    right = yours_kilolitres is not None and abs(1000 * yours_kilolitres - size) <= NEAR * size
    says(
        yours_kilolitres,
        right,
        f"The curve crosses {percent(target)} near {litres(size)}.",
        "Read the curve again.",
    )


def check_share(done: xr.Dataset, capacity_kilolitres: float, yours_percent: float | None) -> None:
    """Check a reliability read off the trade-off curve.

    Parameters
    ----------
    done : Dataset
        As `rainharvest.study.run.run_study`.
    capacity_kilolitres : float
        Usable tank size in kilolitres.
    yours_percent : float, optional
        The reader's answer in per cent; None asks for the right one.
    """
    curve = _middle(done.volume_reliability)
    share = float(np.interp(1000 * capacity_kilolitres, done.capacity.values, curve.values))
    right = yours_percent is not None and abs(yours_percent - 100 * share) <= 3
    says(
        yours_percent,
        right,
        f"It supplies {percent(share)}.",
        "Move the tank slider to that size and read the mark.",
    )


def check_worst_year(done: xr.Dataset, yours: int | None) -> None:
    """Check the year in which the tank described fails on most days.

    Parameters
    ----------
    done : Dataset
        As `rainharvest.study.run.run_study`.
    yours : int, optional
        The reader's answer; None asks for the right one.
    """
    failed = _middle(done.described_failed_by_year).values
    worst = done.year.values[failed == failed.max()].tolist()
    years = " and ".join(str(year) for year in worst)
    says(
        yours,
        yours in worst,
        f"{years}: {int(failed.max())} days failed.",
        "Look for the tallest bar of the second figure.",
    )


def check_days_short(results: StudyResults, *, yours_days: float | None) -> None:
    """Check on how many days the tank described fails in its worst year.

    Parameters
    ----------
    results : StudyResults
        The study that was run.
    yours_days : float or None [day]
        The reader's answer.
    """
    done = results.done
    whole = (done.days_in_year >= 365).values
    failed = done.described_failed_by_year.median("member")[whole]
    worst = int(failed.values.argmax())
    count = float(failed[worst])
    says(
        yours_days,
        yours_days is not None and abs(yours_days - count) <= 1,
        f"It fails on {days(count)} in {int(failed.year[worst])}.",
        "Look under the first section's question on a drought.",
    )


def check_reaches_the_tank(results: StudyResults, *, yours_percent: float | None) -> None:
    """Check what share of the rain on the roofs reaches the tank.

    Parameters
    ----------
    results : StudyResults
        The study that was run.
    yours_percent : float or None
        The reader's answer in per cent.
    """
    share = float(results.done.inflow.mean() / results.done.mean_rain_on_roof)
    says(
        yours_percent,
        yours_percent is not None and abs(yours_percent - 100 * share) <= 1,
        f"{percent(share)} of the rain on the roofs reaches the tank.",
        "The last row of the table of where the rain goes has it.",
    )


def check_thirstiest_option(results: StudyResults, *, yours_option: str | None) -> None:
    """Check which option needs the largest tank to reach the target, of those that can.

    Parameters
    ----------
    results : StudyResults
        The study that was run, with options.
    yours_option : str or None
        The reader's answer: the option's name.
    """
    options = results.groups["options"]
    sizes = np.where(np.isfinite(options.recommended_nominal), options.recommended_nominal, -np.inf)
    name = str(options.study_option.values[int(np.argmax(sizes))])
    says(
        yours_option,
        yours_option is not None and yours_option.strip().lower() == name.lower(),
        f"It is: {name}.",
        "Compare the second column of the table of options.",
    )
