"""The site works of a study: its group of the results, and the same site varied for sliders."""

from __future__ import annotations

import numpy as np
import xarray as xr

from rainharvest.errors import InputError
from rainharvest.names import attributes
from rainharvest.rainfall.extremes import return_levels
from rainharvest.siteworks.defaults import RETURN_PERIOD
from rainharvest.study.file import Study
from rainharvest.study.file_siteworks import SiteWorks
from rainharvest.study.run import Worked
from rainharvest.study.siteworks_plan import plan_siteworks
from rainharvest.study.siteworks_things import Given, Works


def siteworks_of(worked: Worked) -> Works:
    """Return the site works of a study that has been run.

    Parameters
    ----------
    worked : Worked
        As `rainharvest.study.run.work_study`.

    Returns
    -------
    Works
        For the tank described.

    Raises
    ------
    InputError
        If a setting of the site works is impossible; its place begins with "site_works".
    """
    study, done = worked.study, worked.done
    rain = study.arrangement.kind != "mains reserve"
    asked = worked.flows.asked
    given = Given(
        nominal=float(done.described_nominal),
        dead_share=study.tank.dead_share,
        freeboard_share=study.tank.freeboard_share,
        mean_demand=max(float(asked.sum("use").mean()), 1e-9),
        arrangement=study.arrangement.kind,
        qualities=qualities_of(study),
        catchment=study.catchment if rain and study.roof else None,
        daily=done[["inflow", "spilled_daily", "stored"]].reset_coords(drop=True) if rain else None,
        ten_year_day=ten_year_day(worked.record.filled.isel(member=0, drop=True)) if rain else 0.0,
    )
    return planned(study.site_works, given)


def planned(site: SiteWorks, given: Given) -> Works:
    """Return the site works, a mistake in them named by its place in the study file.

    Parameters
    ----------
    site : SiteWorks
        What was asked.
    given : Given
        What the study gave.

    Returns
    -------
    Works
        As `rainharvest.study.siteworks_plan.plan_siteworks`.

    Raises
    ------
    InputError
        If a setting is impossible.
    """
    try:
        return plan_siteworks(site, given)
    except InputError as error:
        place = f"site_works.{error.place}" if error.place else "site_works"
        raise InputError(error.problem, error.remedy, place, error.file or None) from None


def qualities_of(study: Study) -> dict[str, str]:
    """Return the quality that each thing that draws water needs.

    Parameters
    ----------
    study : Study
        The study.

    Returns
    -------
    dict of str to str
        By the name of the use, garden or pool.
    """
    out = {use.name: use.quality for use in study.use}
    return out | {thing.name: "outdoor" for thing in (*study.garden, *study.pool)}


def ten_year_day(rain: xr.DataArray) -> float:
    """Return a day as heavy as comes once in ten years; the heaviest of a record too short to say.

    Parameters
    ----------
    rain : DataArray [mm/day]
        One record.

    Returns
    -------
    float [mm/day]
        As `rainharvest.rainfall.extremes.return_levels`; at least 1.
    """
    try:
        level = float(return_levels(rain, return_period=[RETURN_PERIOD.value]).return_level[0])
    except InputError:
        level = float(rain.max())
    return max(level, 1.0)


def siteworks_group(worked: Worked) -> xr.Dataset:
    """Return the site works as a group of the results.

    Parameters
    ----------
    worked : Worked
        As `rainharvest.study.run.work_study`.

    Returns
    -------
    Dataset
        As `works_dataset`.

    Raises
    ------
    InputError
        If a setting of the site works is impossible.
    """
    return works_dataset(siteworks_of(worked))


def works_dataset(works: Works) -> xr.Dataset:
    """Return the numbers of the site works, labelled.

    Parameters
    ----------
    works : Works
        As `siteworks_of`.

    Returns
    -------
    Dataset
        The gauge on ``water_level``, storms of the soakaway on ``storm_minutes``, the biggest storms of the
        record on ``storm``, the list of parts on ``part``, upkeep on ``task``; single values beside. What a
        site does not have is left out. Attributes: warnings, answers, the way of the overflow.
    """
    vessel, base = works.vessel, works.base
    single = {
        "height": vessel.height,
        "tank_length": vessel.tank_length,
        "tank_width": vessel.tank_width,
        "tanks": vessel.tanks,
        "footprint": vessel.plan_area,
        "outlet_mark": vessel.outlet_mark,
        "overflow_mark": vessel.overflow_mark,
        "mass_full": base.mass_full,
        "ground_pressure": base.ground_pressure,
        "bearing": np.nan if base.bearing is None else base.bearing,
        "slab_area": base.slab_area,
        "floor_height": works.floor_height,
        "tap_height": works.tap.tap_height,
        "below_tap": works.below_tap,
    }
    out = works.gauge.copy()
    if works.peak is not None:
        single["peak"] = works.peak.flow
    if works.overflow is not None:
        single |= {
            "overflow_bore": works.overflow.overflow_bore,
            "overflow_pipes": works.overflow.pipes * vessel.tanks,
        }
    if works.spills is not None:
        single |= {
            "overflow_days": float(works.spills.days_a_year),
            "overflow_a_year": float(works.spills.volume_a_year),
            "largest_overflow": float(works.spills.largest),
        }
        out["overflow_of_day"] = works.spills.overflow_of_day.assign_attrs(attributes("overflow_of_day"))
        out["quantile"].attrs = {"units": "1", "long_name": "Share of the days with overflow"}
    if works.soakaway is not None:
        out = out.merge(works.soakaway.drop_attrs(deep=False))
        single["infiltration"] = works.soakaway.attrs["infiltration"]
    if works.storms is not None:
        out = out.merge(works.storms)
    if works.pump is not None:
        pump = works.pump
        single |= {
            "duty_flow": pump.duty.flow,
            "duty_head": pump.duty.duty_head,
            "electric_power": pump.duty.electric_power,
            "motor_size": pump.duty.motor_size,
            "pump_energy": pump.duty.pump_energy,
            "vessel_volume": pump.vessel_volume,
            "starts": pump.starts,
            "stop_level": pump.stop_level,
        }
    out = out.assign({name: ((), value, attributes(name)) for name, value in single.items()})
    parts, tasks = works.parts, works.upkeep
    out = out.assign_coords(part=("part", parts.part.to_numpy(str), attributes("part")))
    out = out.assign_coords(task=("task", tasks.task.to_numpy(str), attributes("task")))
    out["quantity"] = ("part", parts.quantity.to_numpy(float), attributes("quantity"))
    out["counted"] = ("part", parts.counted.to_numpy(str), attributes("counted"))
    out["cost"] = ("part", parts.cost.to_numpy(float), attributes("cost"))
    out["interval_months"] = ("task", tasks.every.to_numpy(float), attributes("interval_months"))
    out.attrs = {
        "form": vessel.form,
        "ground": works.site.ground,
        "engineer": "yes" if base.engineer else "no",
        "warnings": "; ".join(base.warnings),
        "overflow_to": works.site.overflow_to,
        "overflow_answer": works.overflow_answer,
        "soakaway_answer": works.soakaway_answer,
        "not_fitting": "; ".join(works.checks[works.checks.fits == "no"].check),
        "to_measure": "; ".join(works.checks[works.checks.fits == "measure it"].check),
    }
    return out
