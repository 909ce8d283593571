"""What the tank's overflow must pass, and how much it passes day by day: for the site works.

Every tank is full on some day when the storm comes. The overflow is sized as if it always were.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import xarray as xr

from rainharvest.catchment.conveyance import Conveyance, other_kind
from rainharvest.catchment.drainage import design_flow
from rainharvest.catchment.hydraulics import pipe_capacity
from rainharvest.catchment.parts import Catchment
from rainharvest.catchment.standing import quantiles_of
from rainharvest.errors import InputError


@dataclass(frozen=True)
class PeakOverflow:
    """The rate that the overflow of a full tank must pass.

    Parameters
    ----------
    flow : float [L/s]
        What arrives, and so must leave: the least of the three below.
    roofs : float [L/s]
        What the roofs shed in the design storm, runoff coefficient 1.
    gutters : float [L/s]
        What the gutters pass of it; infinite without limits.
    pipe : float [L/s]
        Most that the run of pipe can bring, see `most_through_pipe`; infinite without a run.
    """

    flow: float
    roofs: float
    gutters: float
    pipe: float

    @property
    def governed_by(self) -> str:
        """Say which of the three sets the rate."""
        return min(
            (("roofs", self.roofs), ("gutters", self.gutters), ("pipe", self.pipe)), key=lambda p: p[1]
        )[0]


def peak_overflow(catchment: Catchment, design_intensity: float) -> PeakOverflow:
    """Return the peak rate that the overflow must pass when the tank is full.

    No loss is taken off: the roof is wet, the first flush full, the filter clean.

    Parameters
    ----------
    catchment : Catchment
        Roofs and run of pipe.
    design_intensity : float [mm/h]
        Rain of the design storm over a few minutes.

    Returns
    -------
    PeakOverflow
        The rate and what governs it. What gutters or pipe cannot pass does not reach the tank, but falls
        beside the building: it needs a way off too.

    Raises
    ------
    InputError
        If the intensity is below zero.

    Examples
    --------
    >>> from rainharvest.catchment.roofs import Roof
    >>> peak = peak_overflow(Catchment(roofs=(Roof(area=100), Roof(area=80))), design_intensity=90)
    >>> peak.flow, peak.governed_by
    (4.5, 'roofs')
    """
    shed = [design_flow(roof.area, design_intensity) for roof in catchment.roofs]
    limited = [
        flow if roof.gutter_capacity is None else min(flow, roof.gutter_capacity)
        for flow, roof in zip(shed, catchment.roofs, strict=True)
    ]
    pipe = np.inf if catchment.conveyance is None else most_through_pipe(catchment.conveyance)
    roofs, gutters = sum(shed), sum(limited)
    return PeakOverflow(flow=min(gutters, pipe), roofs=roofs, gutters=gutters, pipe=pipe)


def most_through_pipe(conveyance: Conveyance) -> float:
    """Return the most that a run can bring to the tank, backed up to the gutter outlet.

    A dry run is sized part full, but in a storm beyond that it fills and is driven by the whole head, like a
    wet one: the overflow must pass that flow, although the yield does not count on it.

    Parameters
    ----------
    conveyance : Conveyance
        A run of either kind.

    Returns
    -------
    float [L/s]
        Never less than `rainharvest.catchment.hydraulics.pipe_capacity`; zero where the run cannot work.

    Examples
    --------
    >>> dry = Conveyance(kind="dry", run=20, bore=100, outlet_level=3.0, inlet_level=2.0)
    >>> pipe_capacity(dry), most_through_pipe(dry)
    (4.67, 9.92)
    """
    passes = pipe_capacity(conveyance)
    if conveyance.kind == "wet" or passes == 0:
        return passes
    full = other_kind(conveyance, low_level=min(conveyance.inlet_level, conveyance.outlet_level))
    return max(passes, pipe_capacity(full))


def daily_overflow(overflow: xr.DataArray, quantiles: tuple[float, ...] = (0.5, 0.9, 0.99)) -> xr.Dataset:
    """Return the distribution of daily overflow.

    Give the spill of a simulated tank, or the inflow itself for a tank that is always full.

    Parameters
    ----------
    overflow : DataArray [L/day]
        What leaves by the overflow each day, on ``time``.
    quantiles : tuple of float [1]
        Quantiles wanted of the days with overflow.

    Returns
    -------
    Dataset
        Without ``time``: ``days_a_year`` with overflow, ``volume_a_year`` (L), ``largest`` (L/day) and
        ``largest_day``; and on ``quantile`` the ``overflow_of_day`` (L/day) of days with overflow.

    Raises
    ------
    InputError
        If it has gaps, values below zero or no time.

    Examples
    --------
    >>> import pandas as pd
    >>> time = pd.date_range("2001-01-01", periods=4)
    >>> spill = xr.DataArray([0.0, 500.0, 0.0, 100.0], dims="time", coords={"time": time})
    >>> out = daily_overflow(spill)
    >>> float(out.largest), str(out.largest_day.values)[:10]
    (500.0, '2001-01-02')
    """
    if "time" not in overflow.dims:
        raise InputError("the overflow has no time", "give a DataArray on time", "overflow")
    if not bool((overflow >= 0).all()):
        raise InputError(
            "the overflow has gaps or values below zero", "give the spill of a full simulation", "overflow"
        )
    years = overflow.sizes["time"] / 365.25
    spills = overflow.where(overflow > 1e-6)
    out = xr.Dataset(
        {
            "days_a_year": spills.notnull().sum("time") / years,
            "volume_a_year": overflow.sum("time") / years,
            "largest": overflow.max("time"),
            "largest_day": overflow.idxmax("time").where(overflow.max("time") > 0),
            "overflow_of_day": quantiles_of(spills, quantiles),
        }
    )
    for name, unit, words in (
        ("days_a_year", "day/year", "Days with overflow"),
        ("volume_a_year", "L/year", "Overflow a year"),
        ("largest", "L/day", "Largest overflow in a day"),
        ("largest_day", None, "Day of the largest overflow"),
        ("overflow_of_day", "L/day", "Overflow on a day that has any"),
    ):
        out[name].attrs = {"long_name": words} | ({"units": unit} if unit else {})
    return out
