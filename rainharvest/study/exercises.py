"""Exercises that check themselves: the right answer is computed from the study, never stored."""

from __future__ import annotations

import numpy as np
import xarray as xr

from rainharvest.study.words import litres, percent

NEAR = 0.1
"""How far off, as a share, an answer read off a figure may be."""


def says(right: bool, why: str) -> None:
    """Print whether an answer is right, and why.

    Parameters
    ----------
    right : bool
        Whether it is.
    why : str
        The reason, or where to look again.
    """
    print(("Right. " if right else "Not yet. ") + why)


def _middle(values: xr.DataArray) -> xr.DataArray:
    return values.median("member") if "member" in values.dims else values


def check_size(done: xr.Dataset, target: float, yours_kilolitres: float) -> None:
    """Check a tank size read off the trade-off curve.

    Parameters
    ----------
    done : Dataset
        As `rainharvest.study.run.run_study`.
    target : float [1]
        The reliability asked for.
    yours_kilolitres : float
        The reader's answer in kilolitres.
    """
    curve = _middle(done[done.attrs["measure"]])
    if float(curve.max()) < target:
        says(False, f"No size of the curve reaches {percent(target)}.")
        return
    size = float(np.interp(target, np.maximum.accumulate(curve.values), done.capacity.values))
    right = abs(1000 * yours_kilolitres - size) <= NEAR * size
    says(
        right,
        f"The curve crosses {percent(target)} near {litres(size)}." if right else "Read the curve again.",
    )


def check_share(done: xr.Dataset, capacity_kilolitres: float, yours_percent: float) -> None:
    """Check a reliability read off the trade-off curve.

    Parameters
    ----------
    done : Dataset
        As `rainharvest.study.run.run_study`.
    capacity_kilolitres : float
        Usable tank size in kilolitres.
    yours_percent : float
        The reader's answer in per cent.
    """
    curve = _middle(done.volume_reliability)
    share = float(np.interp(1000 * capacity_kilolitres, done.capacity.values, curve.values))
    right = abs(yours_percent - 100 * share) <= 3
    says(
        right,
        f"It supplies {percent(share)}." if right else "Move the tank slider to that size and read the mark.",
    )


def check_worst_year(done: xr.Dataset, yours: int) -> None:
    """Check the year in which the tank described fails on most days.

    Parameters
    ----------
    done : Dataset
        As `rainharvest.study.run.run_study`.
    yours : int
        The reader's answer.
    """
    failed = _middle(done.described_failed_by_year).values
    worst = set(done.year.values[failed == failed.max()].tolist())
    right = yours in worst
    says(
        right,
        f"{int(failed.max())} days failed." if right else "Look for the tallest bar of the second figure.",
    )
