"""A study as a case whose tank is to be sized: what is known of it, and how far it may be off."""

from __future__ import annotations

import numpy as np
import xarray as xr

from rainharvest.sizing.ranges import input_ranges
from rainharvest.sizing.resample import BLOCK_YEARS
from rainharvest.sizing.uncertainty import Case
from rainharvest.study.file import Study
from rainharvest.study.flows import Flows, balance_settings
from rainharvest.study.record import StudyRecord

GROWN = ("start", "ration_level", "top_up_trigger", "top_up_level")
"""Settings of the balance that are shares of the tank."""


def settings_and_shares(study: Study, flows: Flows) -> tuple[dict[str, object], dict[str, object]]:
    """Return the settings of the balance on rain alone: those that are the same for each size, and shares of it.

    Parameters
    ----------
    study : Study
        The study.
    flows : Flows
        What enters the balance.

    Returns
    -------
    tuple of dict and dict
        Arguments of `rainharvest.simulate`.
    """
    sample = balance_settings(study, flows, 1.0, mains=study.arrangement.kind == "mains reserve")
    shares = {name: sample.pop(name) for name in GROWN if name in sample}
    return sample, shares


def case_of(study: Study, record: StudyRecord, flows: Flows) -> Case:
    """Return a study as a case with the ranges of what is not known for sure.

    Parameters
    ----------
    study : Study
        The study, with a roof.
    record : StudyRecord
        Its rain.
    flows : Flows
        What enters the balance.

    Returns
    -------
    Case
        On rain alone, whatever mains water backs the tank up.
    """
    settings, shares = settings_and_shares(study, flows)
    asked = flows.asked
    weather = {thing.name for thing in (*study.garden, *study.pool)}
    follows = np.array([str(name) in weather for name in asked.use.values])
    given = {name: pair for name, pair in study.sizing.ranges.model_dump().items() if pair is not None}
    served = tuple(use for use in study.use if use.name in set(asked.use.values))
    by_calendar = asked.isel(use=np.flatnonzero(~follows))
    return Case(
        record.filled.reset_coords(drop=True),
        study.catchment,
        _total(by_calendar),
        ranges=input_ranges(study.catchment, served, by_calendar, given),
        weather_demand=_total(asked.isel(use=np.flatnonzero(follows))) if follows.any() else None,
        essential=settings.pop("essential", None),
        settings=settings,
        shares=shares,
        year_start_month=record.year_start_month,
        block_years=study.sizing.block_years or int(BLOCK_YEARS.value),
        intensity=study.losses.intensity,
    )


def _total(asked: xr.DataArray) -> xr.DataArray:
    return asked.sum("use").reset_coords(drop=True)
