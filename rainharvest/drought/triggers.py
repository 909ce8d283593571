"""From which gauge reading what is served lasts, in all but a share of the years: where stages begin."""

from __future__ import annotations

import numpy as np

from rainharvest.drought.defaults import HELP_RISK
from rainharvest.drought.lanes import run_windows
from rainharvest.drought.outlook import kept_throughout
from rainharvest.drought.windows import Flows, cut_windows
from rainharvest.errors import InputError

AHEAD = (30, 60, 90, 120, 180, 270, 364)  # [day] how far a plan may look
STEPS = 20  # the gauge is read in twentieths of the tank


def dry_chances(flows: Flows, capacity: float, serve: tuple[float, ...], theta: float) -> np.ndarray:
    """Return the chance of running dry from the first of each month.

    Parameters
    ----------
    flows : Flows
        The record; its first member.
    capacity : float [L]
        Usable tank size.
    serve : tuple of float [1]
        Shares of what can wait that are served.
    theta : float [1]
        As in `rainharvest.simulate`.

    Returns
    -------
    ndarray [1]
        On (month, what is served, reading, within): readings in twentieths of the tank, times as `AHEAD`.
    """
    one = Flows(flows.inflow[:1], flows.demand, flows.essential, flows.first)
    start = np.arange(STEPS + 1) / STEPS * capacity
    settings = kept_throughout(np.tile(start, len(serve)), np.repeat(serve, start.size))
    out = np.empty((12, len(serve), start.size, len(AHEAD)))
    for month in range(12):
        cut = cut_windows(one, month + 1, 1, AHEAD[-1])
        failed = run_windows(cut, capacity, settings, theta, np.array([0, *AHEAD]))
        dry = (np.cumsum(failed, axis=1) > 0).mean(axis=2)
        out[month] = dry.reshape(len(serve), start.size, -1)
    return out


def help_levels(flows: Flows, capacity: float, serve: float, help_days: int, theta: float) -> np.ndarray:
    """Return below which share of the tank not even the strictest stage is sure to last until help comes.

    The gauge is read all through the month: of four days of it, the most anxious counts.

    Parameters
    ----------
    flows : Flows
        The record; its first member.
    capacity : float [L]
        Usable tank size.
    serve : float [1]
        Share of what can wait that the strictest stage serves.
    help_days : int [day]
        How long help takes to come.
    theta : float [1]
        As in `rainharvest.simulate`.

    Returns
    -------
    ndarray [1]
        From January.

    Raises
    ------
    InputError
        If help takes no time or half a year.
    """
    if not 1 <= help_days <= 180:
        raise InputError(f"help that takes {help_days} days", "give from 1 to 180 days", "help_days")
    one = Flows(flows.inflow[:1], flows.demand, flows.essential, flows.first)
    reading = np.arange(STEPS + 1) / STEPS
    settings = kept_throughout(reading * capacity, np.full(reading.size, serve))
    out = np.zeros(12)
    for month in range(12):
        for day in (1, 8, 15, 22):
            failed = run_windows(cut_windows(one, month + 1, day, help_days), capacity, settings, theta)
            dry = (failed[:, 0] > 0).mean(axis=1)
            out[month] = max(out[month], float(lowest_sure(dry[None], HELP_RISK.value, reading)[0]))
    return out


def lowest_sure(chance: np.ndarray, risk: float, reading: np.ndarray) -> np.ndarray:
    """Return the lowest reading from which the chance of running dry is no more than a risk.

    Where not even a full tank is sure, the level lies a step above full: the stage then always holds.

    Parameters
    ----------
    chance : ndarray [1]
        Chances of running dry, the reading last.
    risk : float [1]
        The chance taken.
    reading : ndarray [1]
        Readings, rising, as shares of the tank.

    Returns
    -------
    ndarray [1]
        A reading for each.

    Examples
    --------
    >>> lowest_sure(np.array([[0.9, 0.4, 0.1], [1.0, 1.0, 1.0]]), 0.4, np.array([0.0, 0.5, 1.0]))
    array([0.5 , 1.05])
    """
    sure = chance <= risk + 1e-12
    above = np.where(sure.any(axis=-1), sure.argmax(axis=-1), reading.size)
    return np.append(reading, 1 + 1 / STEPS)[above]
