"""The daily step of a study held to account, where hourly or finer rain near the site is given."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import xarray as xr

from rainharvest.catchment.finer import collect_finer
from rainharvest.errors import InputError
from rainharvest.rainfall.read_subdaily import read_subdaily
from rainharvest.rainfall.spells import runs
from rainharvest.sizing.shortcuts_judged import daily_step
from rainharvest.study.file import Study
from rainharvest.study.flows import Flows

LEAST_DAYS = 300
"""Days in a row without a missing step that the comparison asks for (own choice: most of a year)."""


def step_of_study(study: Study, flows: Flows, done: xr.Dataset, folder: Path) -> xr.Dataset:
    """Return how far the daily step is off, with the study's roofs and its mean demand.

    Parameters
    ----------
    study : Study
        The study.
    flows : Flows
        What enters the balance.
    done : Dataset
        As `rainharvest.study.run.run_study`.
    folder : Path
        The folder of the study file.

    Returns
    -------
    Dataset
        As `rainharvest.sizing.shortcuts_judged.daily_step`, ``rule_reliability`` renamed to
        ``step_rule_reliability``; empty where the study names no finer rain.

    Raises
    ------
    InputError
        If the finer rain cannot be used.
    """
    if not study.sizing.finer_rain:
        return xr.Dataset()
    path = folder / study.sizing.finer_rain
    rain = longest_whole_days(read_subdaily(path, units=study.sizing.finer_units))
    if rain.sizes["time"] == 0 or np.unique(rain.time.dt.floor("D").values).size < LEAST_DAYS:
        raise InputError(
            f"fewer than {LEAST_DAYS} days in a row have all their readings",
            "give a longer record of finer rain, or leave it out",
            "sizing.finer_rain",
            path,
        )
    given = study.losses.model_dump(exclude={"intensity"}, exclude_none=True)
    inflow = collect_finer(rain, study.roof, study.conveyance, **given).inflow
    demand = float(flows.asked.sum("use").mean())
    out = daily_step(rain, inflow, demand, done.capacity.values, draw_hours=study.sizing.draw_hours)
    days = inflow.sizes["time"]
    return out.rename(rule_reliability="step_rule_reliability").assign_attrs(finer_days=days)


def longest_whole_days(rain_step: xr.DataArray) -> xr.DataArray:
    """Return the longest run of whole days of sub-daily rain without a missing step, as a rate.

    Parameters
    ----------
    rain_step : DataArray [mm]
        As `rainharvest.rainfall.read_subdaily.read_subdaily`.

    Returns
    -------
    DataArray [mm/h]
        On an even ``time``.

    Raises
    ------
    InputError
        If the step does not divide a day, or is longer than an hour.
    """
    step = float(rain_step.attrs["step_seconds"])
    if step > 3600 or 86400 % step:
        raise InputError(
            f"readings every {step:g} s", "give readings of an hour or less that divide the day", "finer_rain"
        )
    per_day = int(86400 / step)
    stamp = rain_step.time.values.astype("datetime64[s]")
    first = stamp[0].astype("datetime64[D]").astype("datetime64[s]")
    place = ((stamp - first).astype(np.int64) // int(step)).astype(np.int64)
    days = int(place[-1] // per_day) + 1
    depth = np.full(days * per_day, np.nan)
    depth[place] = rain_step.values
    whole = np.isfinite(depth.reshape(days, per_day)).all(axis=1)
    first_day, last_day = max(zip(*runs(whole), strict=True), key=lambda r: r[1] - r[0], default=(0, -1))
    part = slice(first_day * per_day, (last_day + 1) * per_day)
    time = first + (np.arange(days * per_day) * int(step)).astype("timedelta64[s]")
    rate = depth[part] * 3600 / step
    return xr.DataArray(
        rate, {"time": time[part].astype("datetime64[ns]")}, ("time",), attrs={"units": "mm/h"}
    )
