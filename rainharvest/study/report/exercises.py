"""Exercises on what a report says that check themselves: the right answer is computed, never stored."""

from __future__ import annotations

import numpy as np

from rainharvest.exercises import says
from rainharvest.study.run import Worked
from rainharvest.study.words import days, percent


def check_worst_year(worked: Worked, *, yours_days: float | None) -> None:
    """Check on how many days the tank described fails in its worst year.

    Parameters
    ----------
    worked : Worked
        The study that was run.
    yours_days : float or None [day]
        The reader's answer.
    """
    done = worked.done
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


def check_reaches_the_tank(worked: Worked, *, yours_percent: float | None) -> None:
    """Check what share of the rain on the roofs reaches the tank.

    Parameters
    ----------
    worked : Worked
        The study that was run.
    yours_percent : float or None
        The reader's answer in per cent.
    """
    share = float(worked.done.inflow.mean() / worked.done.mean_rain_on_roof)
    says(
        yours_percent,
        yours_percent is not None and abs(yours_percent - 100 * share) <= 1,
        f"{percent(share)} of the rain on the roofs reaches the tank.",
        "The last row of the table of where the rain goes has it.",
    )


def check_thirstiest_option(worked: Worked, *, yours_option: str | None) -> None:
    """Check which option needs the largest tank to reach the target, of those that can.

    Parameters
    ----------
    worked : Worked
        The study that was run, with options.
    yours_option : str or None
        The reader's answer: the option's name.
    """
    options = worked.groups["options"]
    sizes = np.where(np.isfinite(options.recommended_nominal), options.recommended_nominal, -np.inf)
    name = str(options.study_option.values[int(np.argmax(sizes))])
    says(
        yours_option,
        yours_option is not None and yours_option.strip().lower() == name.lower(),
        f"It is: {name}.",
        "Compare the second column of the table of options.",
    )
