"""Exercises that check themselves: the right answer is computed from the study, never stored."""

from __future__ import annotations

import numpy as np
import xarray as xr

from rainharvest.core.exercise import left_out, says
from rainharvest.core.reader import aim, days, litres, percent
from rainharvest.study.stages import StudyResults


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
        The reader's answer in kilolitres; ``...`` asks for the right one.
    """
    curve = _middle(done[done.attrs["measure"]])
    if float(curve.max()) < target:
        says(yours_kilolitres, None, f"No size of the curve reaches {aim(target)}.", "Look at its end.")
        return
    size = float(np.interp(target, np.maximum.accumulate(curve.values), done.capacity.values))
    hint = f"Move the tank slider until the sentence under the curve says {aim(target)}."
    says(yours_kilolitres, size / 1000, f"The curve crosses {aim(target)} near {litres(size)}.", hint)


def check_share(done: xr.Dataset, capacity_kilolitres: float, yours_percent: float | None) -> None:
    """Check a reliability read off the trade-off curve.

    Parameters
    ----------
    done : Dataset
        As `rainharvest.study.run.run_study`.
    capacity_kilolitres : float
        Usable tank size in kilolitres.
    yours_percent : float, optional
        The reader's answer in per cent; ``...`` asks for the right one.
    """
    curve = _middle(done.volume_reliability)
    share = float(np.interp(1000 * capacity_kilolitres, done.capacity.values, curve.values))
    hint = "Move the tank slider to that size and read the mark."
    says(yours_percent, 100 * share, f"It supplies {percent(share)}.", hint, near=0, least=3)


def check_worst_year(done: xr.Dataset, yours: int | None) -> None:
    """Check the year in which the tank described fails on most days.

    Parameters
    ----------
    done : Dataset
        As `rainharvest.study.run.run_study`.
    yours : int, optional
        The reader's answer; ``...`` asks for the right one.
    """
    failed = _middle(done.described_failed_by_year).values
    worst = done.year.values[failed == failed.max()].tolist()
    years = " and ".join(str(year) for year in worst)
    by_year = zip(done.year.values, failed, strict=True)
    tank = litres(float(done.described))  # the panel may stand at another
    among = {
        int(year): f"in {year} the tank of {tank} failed on {days(float(count))}" for year, count in by_year
    }
    hint = f"Put the tank slider to {tank} and look for the tallest bar of the second figure."
    says(yours, set(worst), f"{years}: {int(failed.max())} days failed.", hint, among=among)


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
    hint = "Look under the first section's question on a drought."
    says(yours_days, count, f"It fails on {days(count)} in {int(failed.year[worst])}.", hint, near=0, least=1)


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
    hint = "The last row of the table of where the rain goes, in the annex on roofs and conveyance, has it."
    answer = f"{percent(share)} of the rain on the roofs reaches the tank."
    says(yours_percent, 100 * share, answer, hint, near=0, least=1)


def check_thirstiest_option(results: StudyResults, *, yours_option: str | None) -> None:
    """Check which option needs the largest tank to reach the target, of those that can.

    Parameters
    ----------
    results : StudyResults
        The study that was run, with options.
    yours_option : str or None
        The reader's answer: the option's name.
    """
    if "options" not in results.groups:
        return left_out("options to compare")
    options = results.groups["options"]
    sizes = np.where(np.isfinite(options.recommended_nominal), options.recommended_nominal, -np.inf)
    among = {
        str(one): f"{one} needs {litres(float(size))} nominal"
        if np.isfinite(size)
        else f"{one} cannot reach it"
        for one, size in zip(options.study_option.values, sizes, strict=True)
    }
    name = str(options.study_option.values[int(np.argmax(sizes))])
    says(
        yours_option,
        {name},
        f"It is: {name}.",
        "Compare the second column of the table of options, in the annex on them.",
        among=among,
    )
