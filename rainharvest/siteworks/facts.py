"""The site works of a study, from what its file says of the site and what the simulation gave."""

from __future__ import annotations

import os
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
import xarray as xr
from pydantic import ValidationError

from rainharvest.catchment.drainage import PeakOverflow, daily_overflow, peak_overflow
from rainharvest.catchment.facts import study_water
from rainharvest.catchment.hydraulics import GRAVITY, Levels, run_levels
from rainharvest.catchment.tables import Catchment, Conveyance
from rainharvest.core.errors import InputError
from rainharvest.core.mistakes import found_by_pydantic
from rainharvest.core.quantities import attributes
from rainharvest.demand.uses import may_serve, treatment_class
from rainharvest.rainfall.climatology import return_levels
from rainharvest.siteworks.base import Base, Vessel, base_of, gauge_table, vessel_of
from rainharvest.siteworks.delivery import (
    Duty,
    Rise,
    Tap,
    below_the_tap,
    curve_through,
    drawdown,
    dry_running_level,
    duty_point,
    head_wanted,
    pump_curve,
    pump_duty,
    seconds_to_fill,
    starts_an_hour,
    tap_flow,
    tap_height_needed,
    tap_pressure,
    vessel_needed,
)
from rainharvest.siteworks.overflow import (
    OverflowPipe,
    biggest_storms,
    infiltration_rate,
    overflow_pipe,
    size_soakaway,
    storm_depths,
    stuck_valve_flow,
)
from rainharvest.siteworks.tables import HEIGHT, RETURN_PERIOD, PumpPlan, SiteWorks
from rainharvest.siteworks.treatment import samples_to_take, treatment_of_uses
from rainharvest.siteworks.upkeep import (
    Distances,
    check_list,
    price_parts,
    site_parts,
    siting_checks,
    upkeep_calendar,
)
from rainharvest.sizing.smallest import smallest_tank
from rainharvest.storage.facts import Flows, balance_settings
from rainharvest.storage.simulate import simulate
from rainharvest.study.file import Study
from rainharvest.study.stages import Worked
from rainharvest.study.variant import Prepared, prepare

CUT_OUT_SHARE, CUT_IN_SHARE = 0.95, 0.8

"""Own choices where no pressures are given: the pump stops at so much of its pressure at no flow, and starts at the
pressure that the highest tap wants or, if that is lower, at so much of the pressure at which it stops."""

POINTS = 41


@dataclass(frozen=True)
class PumpWorks:
    """A pump at work on the site."""

    rise: Rise  # The way up
    duty: Duty  # Its duty
    # Whether its curve is that of a pump that was chosen; else of one that passes through the duty wanted
    chosen: bool
    curves: xr.Dataset  # On ``flow``: ``pump_head`` and ``system_head`` [m]
    cut_in: float  # [kPa] Pressures at which it starts and stops
    cut_out: float  # [kPa] Pressures at which it starts and stops
    vessel_volume: float  # [L] Pressure vessel that is there, or the one that it needs
    starts: float  # [1/h] Most often that it starts
    stop_level: float  # [m] Level of the dry-running switch above the floor of the tank
    stop_litres: float  # [L] Water between the outlet and that level, which is not pumped


def pump_works(plan: PumpPlan | None, vessel: Vessel, floor_height: float) -> PumpWorks | None:
    """Return the pump of a site."""
    if plan is None:
        return None
    stop = dry_running_level(vessel)
    rise = Rise(plan.highest_tap - floor_height - stop, plan.pressure, plan.pipe_length, plan.pipe_bore)
    chosen = plan.shut_off_head is not None
    shut_off, most = (plan.shut_off_head, plan.most_flow) if chosen else curve_through(rise, plan.flow)
    curve = pump_curve(shut_off, most)
    flow, head = duty_point(curve, lambda q: head_wanted(rise, q), most)
    duty = pump_duty(flow, head, plan.pump_efficiency, plan.motor_efficiency)
    start, end = plan.cut_in, plan.cut_out
    if start is None or end is None:
        end = CUT_OUT_SHARE * shut_off * GRAVITY
        start = min(rise.static_head * GRAVITY, CUT_IN_SHARE * end)
    elif chosen and end >= shut_off * GRAVITY:  # with the tank low it gives no more than that
        raise InputError(
            f"the pump stops at {end:g} kPa and gives {shut_off * GRAVITY:.0f} kPa at no flow: it never stops",
            "lower cut_out, or choose a pump with a higher head",
            "pump.cut_out",
        )
    size = plan.vessel_volume or vessel_needed(flow, start, end, plan.most_starts)
    flows = np.linspace(0.0, most, POINTS)
    return PumpWorks(
        rise,
        duty,
        chosen,
        xr.Dataset(
            {
                "pump_head": ("flow", curve(flows), attributes("pump_head")),
                "system_head": ("flow", [head_wanted(rise, q) for q in flows], attributes("system_head")),
            },
            coords={"flow": ("flow", flows, attributes("flow"))},
        ),
        start,
        end,
        size,
        starts_an_hour(flow, drawdown(size, start, end)),
        stop,
        float(vessel.volume(stop) - vessel.volume(vessel.outlet_mark)),
    )


@dataclass(frozen=True)
class Given:
    """What the site works take from the rest of the study."""

    nominal: float  # [L] Nominal size of the tank
    dead_share: float  # [1] Shares of it below the outlet and above the overflow
    freeboard_share: float  # [1] Shares of it below the outlet and above the overflow
    mean_demand: float  # [L/day] What is drawn on a mean day
    arrangement: str  # "mains reserve", "rain only" or "combined"
    qualities: dict[str, str]  # Quality that each thing that draws water needs, by its name
    catchment: Catchment | None  # Roofs and run of pipe; None without a roof
    # ``inflow``, ``spilled_daily``, ``stored`` on ``time``; None where no rain enters
    daily: xr.Dataset | None
    ten_year_day: float  # [mm/day] As heavy a day as comes once in ten years

    @property
    def conveyance(self) -> Conveyance | None:
        """The run of pipe, where there is one."""
        return None if self.catchment is None else self.catchment.conveyance


@dataclass(frozen=True)
class Works:
    """The site works: everything that is drawn, said and listed."""

    site: SiteWorks  # What was asked
    given: Given  # What the study gave
    vessel: Vessel  # The tank
    base: Base  # What one tank stands on
    tap: Tap  # The tap that is fed by the water's own weight
    below_tap: float  # [L] Water above the outlet that does not reach it
    gauge: xr.Dataset  # On ``water_level``: litres, days, and pressure, flow and filling time at the tap
    levels: Levels | None  # Where the run from the roof lies in the design storm; None where there is none
    peak: PeakOverflow | None  # What the overflow must pass; None where no roof feeds the tank
    overflow: OverflowPipe | None  # The overflow; None where it cannot be made, see ``overflow_answer``
    overflow_answer: str  # Why not, in plain words; empty where it can
    spills: xr.Dataset | None  # As `rainharvest.catchment.drainage.daily_overflow`
    soakaway: xr.Dataset | None  # As `rainharvest.siteworks.overflow.size_soakaway`
    soakaway_answer: str  # Why not, in plain words; empty where it can
    storms: xr.Dataset | None  # As `rainharvest.siteworks.overflow.biggest_storms`
    pump: PumpWorks | None  # The pump, where there is one
    checks: pd.DataFrame  # Tables of the rooms of their names
    treatment: pd.DataFrame  # Tables of the rooms of their names
    tests: pd.DataFrame  # Tables of the rooms of their names
    upkeep: pd.DataFrame  # Tables of the rooms of their names
    parts: pd.DataFrame  # Tables of the rooms of their names
    ticks: tuple[str, ...]  # The check list

    @property
    def floor_height(self) -> float:
        """Floor of the tank above the ground [m]."""
        return self.tap.floor_height

    @property
    def peak_flow(self) -> float:
        """Most that the taps are given at once [L/s]."""
        return self.pump.duty.flow if self.pump else float(self.gauge.tap_flow[-1])

    @property
    def raise_for_bucket(self) -> float:
        """How much higher the tap must be for the bucket to stand under it [m]."""
        return max(tap_height_needed(self.site.bucket_height) - self.tap.tap_height, 0.0)


QUANTILES = (0.5, 0.9, 0.99)

LEVELS = 25


def tank_height(site: SiteWorks, given: Given) -> float:
    """Return the height of the tank: as given, else 2 m, or less where the inlet stands lower."""
    if site.height is not None:
        return site.height
    run = given.conveyance
    if run is None or run.inlet_level <= 0.3:
        return HEIGHT.value
    return min(HEIGHT.value, run.inlet_level)


def plan_siteworks(site: SiteWorks, given: Given) -> Works:
    """Return the site works of a study."""
    vessel = vessel_of(
        given.nominal,
        site.form,
        tank_height(site, given),
        tank_width=site.tank_width,
        tanks=site.tanks,
        dead_share=given.dead_share,
        freeboard_share=given.freeboard_share,
    )
    base = base_of(
        vessel,
        site.ground,
        bearing=site.bearing,
        empty_mass=site.empty_mass,
        slab_thickness=site.slab_thickness,
        slab_margin=site.slab_margin,
        stand=site.stand,
    )
    floor = site.slab_thickness + site.stand
    at_outlet = floor + vessel.outlet_mark
    tap = Tap(at_outlet if site.tap_height is None else site.tap_height, floor, site.tap_run, site.tap_bore)
    under = below_the_tap(vessel, tap)
    pump = pump_works(site.pump, vessel, floor)
    gauge = _with_the_tap(gauge_table(vessel, given.mean_demand, LEVELS), tap, site)
    flow = pump.duty.flow if pump else float(gauge.tap_flow[-1])
    peak, overflow, overflow_answer = _overflow(site, given, vessel)
    soakaway, soakaway_answer = _soakaway(site, given)
    rain = given.daily is not None
    served = [quality for quality in given.qualities.values() if may_serve(given.arrangement, quality)]
    classes = {treatment_class(quality, given.arrangement) for quality in served}
    disinfect = site.disinfect if "filtered and disinfected" in classes else None
    kind = given.conveyance.kind if given.conveyance else "none"
    has = {
        "roof": given.catchment is not None,
        "wet run": kind == "wet",
        "pump": pump is not None,
        "lamp": disinfect in ("ultraviolet", "both"),
        "chlorine": disinfect in ("chlorine", "both") or "kept fresh" in classes,
        "filters": disinfect is not None,
        "mains": given.arrangement != "rain only",
    }
    dug = soakaway is not None and site.overflow_to == "soakaway"
    roofs = given.catchment.roofs if given.catchment else ()
    parts = site_parts(
        vessel,
        base,
        overflow=overflow,
        overflow_run=site.overflow_run,
        soakaway=(float(soakaway.soakaway_length), site.soakaway_width, site.soakaway_depth) if dug else None,
        conveyance=given.conveyance,
        roofs=len(roofs),
        flush_litres=given.catchment.first_flush * sum(roof.area for roof in roofs) if roofs else 0.0,
        tap=tap,
        motor_size=pump.duty.motor_size if pump else None,
        vessel_volume=pump.vessel_volume if pump else None,
        mains_bore=site.mains_bore if has["mains"] else None,
        disinfect=disinfect,
    )
    return Works(
        site=site,
        given=given,
        vessel=vessel,
        base=base,
        tap=tap,
        below_tap=under,
        gauge=gauge,
        levels=run_levels(given.conveyance, peak.roofs) if given.conveyance and peak else None,
        peak=peak,
        overflow=overflow,
        overflow_answer=overflow_answer,
        spills=daily_overflow(given.daily.spilled_daily, QUANTILES) if rain else None,
        soakaway=soakaway,
        soakaway_answer=soakaway_answer,
        storms=biggest_storms(given.daily, vessel.capacity) if rain else None,
        pump=pump,
        checks=siting_checks(
            vessel,
            floor,
            given.conveyance,
            peak.roofs if peak else 0.0,
            distances=Distances(
                site.building_distance,
                site.boundary_distance,
                site.soakaway_distance,
                site.opening,
                site.shaded,
            ),
            overflow_to=site.overflow_to if given.catchment else "",
        ),
        treatment=treatment_of_uses(given.qualities, given.arrangement, flow, site.disinfect),
        tests=samples_to_take(served, given.arrangement, site.disinfect),
        upkeep=upkeep_calendar({name for name, there in has.items() if there}, site.wet_month),
        parts=price_parts(parts, site.prices),
        ticks=check_list(given.arrangement, kind, pump is not None),
    )


def _with_the_tap(gauge: xr.Dataset, tap: Tap, site: SiteWorks) -> xr.Dataset:
    """Return the gauge with pressure, flow and filling time at the tap."""
    levels = gauge.water_level.values
    reached = np.where(levels >= gauge.attrs["outlet_mark"], levels, 0.0)  # nothing leaves below the outlet
    flows = [tap_flow(tap, level) if level else 0.0 for level in reached]
    pressures = [tap_pressure(tap, level) if level else 0.0 for level in reached]
    seconds = [seconds_to_fill(flow, site.bucket) for flow in flows]
    return gauge.assign(
        tap_pressure=("water_level", pressures, attributes("tap_pressure")),
        tap_flow=("water_level", flows, attributes("tap_flow")),
        seconds_to_fill=("water_level", seconds, attributes("seconds_to_fill")),
    )


def _overflow(
    site: SiteWorks, given: Given, vessel: Vessel
) -> tuple[PeakOverflow | None, OverflowPipe | None, str]:
    """Return what the overflow must pass, the overflow, and why there is none."""
    peak, run, top = None, given.conveyance, vessel.height
    if (
        given.catchment is None or given.daily is None
    ):  # the valve stands in one tank: its overflow passes it all
        flow, inlet = stuck_valve_flow(site.mains_bore), site.mains_bore
    else:
        peak = peak_overflow(given.catchment, site.design_intensity)
        flow, inlet = peak.flow / vessel.tanks, run.bore if run else 0.0
        if run is not None and vessel.overflow_mark < run.inlet_level < top:
            top = run.inlet_level
    try:
        pipe = overflow_pipe(flow, top - vessel.overflow_mark, inlet_bore=inlet)
    except InputError as error:
        return peak, None, f"{error.problem}; {error.remedy}"
    return peak, pipe, ""


def _soakaway(site: SiteWorks, given: Given) -> tuple[xr.Dataset | None, str]:
    """Return the soakaway that takes all the roofs' rain, and why there is none."""
    if given.catchment is None or given.daily is None:
        return None, "no roof feeds the tank"
    if site.trial_pit is None:
        return None, (
            "nobody has dug a trial pit: fill one three times, time it from three quarters to one quarter full, and "
            "give trial_pit"
        )
    if site.storm_minutes is not None:
        minutes, depths = site.storm_minutes, site.storm_depths
    else:
        table = storm_depths(site.design_intensity, given.ten_year_day)
        minutes, depths = table.storm_minutes.values, table.values
    drained = sum(roof.area for roof in given.catchment.roofs)
    try:
        rate = infiltration_rate(site.trial_pit)
        done = size_soakaway(
            drained,
            rate,
            minutes,
            depths,
            soakaway_width=site.soakaway_width,
            soakaway_depth=site.soakaway_depth,
            voids=site.voids,
        )
    except InputError as error:
        return None, f"{error.problem}; {error.remedy}"
    return done.assign_attrs(done.attrs | {"infiltration": rate}), ""


def siteworks_of(worked: Worked) -> Works:
    """Return the site works of a study that has been run."""
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
    """Return the site works, a mistake in them named by its place in the study file."""
    try:
        return plan_siteworks(site, given)
    except InputError as error:
        place = f"site_works.{error.place}" if error.place else "site_works"
        raise InputError(error.problem, error.remedy, place, error.file or None) from None


def qualities_of(study: Study) -> dict[str, str]:
    """Return the quality that each thing that draws water needs."""
    out = {use.name: use.quality for use in study.use}
    return out | {thing.name: "outdoor" for thing in (*study.garden, *study.pool)}


def ten_year_day(rain: xr.DataArray) -> float:
    """Return a day as heavy as comes once in ten years; the heaviest of a record too short to say."""
    try:
        level = float(return_levels(rain, return_period=[RETURN_PERIOD.value]).return_level[0])
    except InputError:
        level = float(rain.max())
    return max(level, 1.0)


def siteworks_group(worked: Worked) -> xr.Dataset:
    """Return the site works as a group of the results."""
    return works_dataset(siteworks_of(worked))


def works_dataset(works: Works) -> xr.Dataset:
    """Return the numbers of the site works, labelled."""
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


@dataclass(frozen=True)
class Ready:
    """A study's site with what does not change from one slider's move to the next."""

    prepared: Prepared  # The study on its first filled version
    nominal: float  # [L] Nominal size at which the tank stands at first
    ten_year_day: float  # [mm/day] Of its record


def prepare_siteworks(path: str | os.PathLike, nominal: float | None = None) -> Ready:
    """Read a study once, for many variants of its site.

    Parameters
    ----------
    path : str or path
        The study file.
    nominal : float [L], optional
        Nominal size at first; the study's chosen one, else the smallest that reaches its target.

    Returns
    -------
    Ready
        To be given to `site_variant`.

    Raises
    ------
    InputError
        If the study cannot be run, or has no roof.
    """
    prepared = prepare(path)
    study = prepared.study
    size = nominal or study.tank.chosen
    if size is None:
        inflow = study_water(study, prepared.record).inflow.isel(member=0)
        target = study.target
        found = smallest_tank(inflow, prepared.asked.sum("use"), target.reliability, measure=target.measure)
        size = found.capacity / study.tank.usable_share
    if not 0 < size < np.inf:
        size = float(prepared.sizes[prepared.sizes.size // 2]) / study.tank.usable_share
    return Ready(prepared, float(size), ten_year_day(prepared.record.filled.isel(member=0, drop=True)))


def site_given(
    ready: Ready,
    nominal: float | None = None,
    area: float | None = None,
    freeboard_share: float | None = None,
) -> Given:
    """Simulate a study with another tank or other roofs, for its site works."""
    prepared = ready.prepared
    study, size = prepared.study, ready.nominal if nominal is None else nominal
    if not 0 < size < np.inf:
        raise InputError(f"a tank of {size:g} L", "give a size above zero", "nominal")
    if area is not None:
        roofs = tuple(r.model_copy(update={"area": r.area * area / prepared.area}) for r in study.roof)
        study = study.model_copy(update={"roof": roofs})
    if freeboard_share is not None:
        tank = type(study.tank)(**(study.tank.model_dump() | {"freeboard_share": freeboard_share}))
        study = study.model_copy(update={"tank": tank})
    inflow = study_water(study, prepared.record).inflow.isel(member=0)
    flows = Flows(inflow.to_dataset(name="inflow"), prepared.asked, ())
    usable = study.tank.usable(size)
    asked = prepared.asked.sum("use")
    daily = simulate(inflow, asked, usable, **balance_settings(study, flows, usable), trace=True)
    daily = daily.isel(capacity=0, drop=True)[["stored", "spilled_daily"]].assign(inflow=inflow)
    return Given(
        nominal=size,
        dead_share=study.tank.dead_share,
        freeboard_share=study.tank.freeboard_share,
        mean_demand=float(asked.mean()),
        arrangement=study.arrangement.kind,
        qualities=qualities_of(study),
        catchment=study.catchment,
        daily=daily.reset_coords(drop=True),
        ten_year_day=ready.ten_year_day,
    )


def site_variant(ready: Ready, given: Given | None = None, **changes: object) -> Works:
    """Return the site works of a study with another site.

    Parameters
    ----------
    ready : Ready
        As `prepare_siteworks`.
    given : Given, optional
        As `site_given`; for the tank and the roofs of the study if not given.
    **changes
        Fields of `rainharvest.siteworks.tables.SiteWorks` that are otherwise.

    Returns
    -------
    Works
        All of them.

    Raises
    ------
    InputError
        If a setting is impossible.
    """
    own = ready.prepared.study.site_works
    try:
        site = SiteWorks.model_validate(own.model_dump() | changes)
    except ValidationError as error:
        first = found_by_pydantic(error, SiteWorks, changes)[0]
        raise replace(first, loc=("site_works", *first.loc)).error(None) from None
    return planned(site, given or site_given(ready))
