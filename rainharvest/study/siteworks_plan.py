"""The site works of a study, worked out from what its file says of the site and what the simulation gave."""

from __future__ import annotations

import numpy as np
import xarray as xr

from rainharvest.catchment.levels import run_levels
from rainharvest.catchment.overflow import PeakOverflow, daily_overflow, peak_overflow
from rainharvest.demand.fit_for_use import may_serve, treatment_class
from rainharvest.errors import InputError
from rainharvest.names import attributes
from rainharvest.siteworks.base import base_of
from rainharvest.siteworks.defaults import HEIGHT
from rainharvest.siteworks.gauge import gauge_table
from rainharvest.siteworks.gravity import (
    Tap,
    below_the_tap,
    seconds_to_fill,
    tap_flow,
    tap_pressure,
)
from rainharvest.siteworks.overflow_pipe import OverflowPipe, overflow_pipe, stuck_valve_flow
from rainharvest.siteworks.parts_list import price_parts, site_parts
from rainharvest.siteworks.siting import Distances, check_list, siting_checks
from rainharvest.siteworks.soakaway import infiltration_rate, size_soakaway
from rainharvest.siteworks.storms import biggest_storms, storm_depths
from rainharvest.siteworks.treatment import samples_to_take, treatment_of_uses
from rainharvest.siteworks.upkeep import upkeep_calendar
from rainharvest.siteworks.vessel import Vessel, vessel_of
from rainharvest.study.file_siteworks import SiteWorks
from rainharvest.study.siteworks_pump import pump_works
from rainharvest.study.siteworks_things import Given, Works

QUANTILES = (0.5, 0.9, 0.99)
LEVELS = 25


def tank_height(site: SiteWorks, given: Given) -> float:
    """Return the height of the tank: as given, else 2 m, or less where the inlet stands lower.

    Parameters
    ----------
    site : SiteWorks
        What was asked.
    given : Given
        What the study gave.

    Returns
    -------
    float [m]
        Height.
    """
    if site.height is not None:
        return site.height
    run = given.conveyance
    if run is None or run.inlet_level <= 0.3:
        return HEIGHT.value
    return min(HEIGHT.value, run.inlet_level)


def plan_siteworks(site: SiteWorks, given: Given) -> Works:
    """Return the site works of a study.

    Parameters
    ----------
    site : SiteWorks
        What was asked.
    given : Given
        What the study gave.

    Returns
    -------
    Works
        All of them.

    Raises
    ------
    InputError
        If a setting is impossible: a tap under the base or above the overflow, a pump without a lift, a price
        for what is not on the list. What cannot be made on this site (an overflow, a soakaway) is not an
        error: its answer says why.
    """
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
