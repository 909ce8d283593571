"""A study's gauge outlook, from any date and reading, and how honest it would have been."""

from __future__ import annotations

import numpy as np
import xarray as xr

from rainharvest.drought.honest import reliability, score_record
from rainharvest.drought.outlook import level_chances, outlook
from rainharvest.drought.windows import Windows, cut_windows
from rainharvest.errors import InputError
from rainharvest.names import attributes
from rainharvest.study.drought_basis import Basis, simulated

SCORED = (1, 4, 7, 10)
"""Months on whose first day the outlook is scored."""
LOOK = 365
"""Days that an outlook looks ahead."""
READINGS = 10
"""Gauge readings from which the chance of running dry is told."""
WITHIN = (60, 120, 365)
"""Times [day] within which it is told."""


def windows_from(basis: Basis, month: int, day: int) -> Windows:
    """Return every year of the study's record from a date on.

    Parameters
    ----------
    basis : Basis
        The study.
    month, day : int [1]
        The date.

    Returns
    -------
    Windows

    Raises
    ------
    InputError
        If there is no such date or the record is too short.
    """
    return cut_windows(basis.flows, month, day, LOOK)


def looked_ahead(basis: Basis, windows: Windows, start: float, cut: float = 0.0) -> xr.Dataset:
    """Return the outlook from a reading, with what the reader would cut and with each stage.

    Parameters
    ----------
    basis : Basis
        The study.
    windows : Windows
        As `windows_from`.
    start : float [L]
        What the gauge shows.
    cut : float [1]
        Share of what can wait that is cut from today on.

    Returns
    -------
    Dataset
        As `rainharvest.drought.outlook.outlook`, the plan "yours" first; and ``level_chance`` [1] on
        ``gauge`` and ``within``, with what is cut.

    Raises
    ------
    InputError
        If the reading does not fit the tank or the share lies outside 0 to 1.
    """
    if not 0 <= cut <= 1:
        raise InputError(f"a cut of {cut:g}", "give a share from 0 to 1", "cut")
    found = outlook(windows, basis.capacity, start, {"yours": 1 - cut} | keeps_of(basis), theta=basis.theta)
    levels = np.linspace(basis.capacity / READINGS, basis.capacity, READINGS)
    chance = level_chances(windows, basis.capacity, levels, 1 - cut, ends=WITHIN, theta=basis.theta)
    found["level_chance"] = chance.rename(lead="within")
    return found.assign_attrs(cut=float(cut))


def outlook_of(basis: Basis) -> xr.Dataset:
    """Return the outlook from the first of the month in which the tank mostly stands highest.

    Parameters
    ----------
    basis : Basis
        The study.

    Returns
    -------
    Dataset
        As `rainharvest.drought.outlook.outlook`, for a year; attributes ``outlook_month``, ``outlook_day``.

    Raises
    ------
    InputError
        If the record is too short.
    """
    stored = simulated(basis, trace=True).stored
    first = stored.time.dt.day == 1
    mornings = stored.shift(time=1).where(first, drop=True).isel(time=slice(12, None))
    if not mornings.sizes["time"]:
        raise InputError("the record ends within its first year", "give a longer record", "inflow")
    usual = mornings.groupby("time.month").median()
    month = int(usual.month[int(usual.values.argmax())])
    found = outlook(
        windows_from(basis, month, 1), basis.capacity, float(usual.max()), keeps_of(basis), theta=basis.theta
    )
    return found.assign_attrs(outlook_month=month, outlook_day=1)


def keeps_of(basis: Basis) -> dict[str, float]:
    """Return the plans of an outlook: nothing cut, then each stage kept from today on.

    Parameters
    ----------
    basis : Basis
        The study.

    Returns
    -------
    dict of str to float [1]
        Share of what can wait that is served, by the plan's name.
    """
    return {"all uses": 1.0} | {f"stage {k + 1}": share for k, share in enumerate(basis.asks.stage_shares)}


def honesty_of(basis: Basis, capacity: float | None = None) -> xr.Dataset:
    """Return how outlooks on this record would have fared, each year foretold from the others.

    Parameters
    ----------
    basis : Basis
        The study.
    capacity : float [L], optional
        Usable tank size; the study's if not given.

    Returns
    -------
    Dataset
        As `rainharvest.drought.honest.reliability`, over four dates and all leads, the gauge as the simulated
        tank stood; ``band_share`` [1] on ``score_lead``, the share of outcomes inside the 80 percent band.

    Raises
    ------
    InputError
        If the record is too short.
    """
    size = basis.capacity if capacity is None else capacity
    stored = simulated(basis, capacity=[size], trace=True).stored.isel(capacity=0).values
    scored = xr.concat(
        [score_record(basis.flows, size, m, 1, stored, theta=basis.theta) for m in SCORED],
        "date",
        join="outer",
        fill_value={"below_band": False, "above_band": False, "said_dry": np.nan, "went_dry": False},
    )
    known = scored.said_dry.notnull()
    said, went = (scored[n].values[known.values] for n in ("said_dry", "went_dry"))
    found = reliability(xr.DataArray(said), xr.DataArray(went))
    inside = ~(scored.below_band | scored.above_band)
    share = inside.where(known).mean(("date", "year"))
    found["band_share"] = ("score_lead", share.values, attributes("band_share"))
    return found.assign_coords(score_lead=("score_lead", scored.lead.values, attributes("lead")))
