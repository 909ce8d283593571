"""The site works of a study: everything that is drawn, said and listed of the tank on its site."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
import pandas as pd
import xarray as xr

from rainharvest.catchment.drainage import PeakOverflow, daily_overflow, design_flow, peak_overflow
from rainharvest.catchment.hydraulics import (
    STANDING_LIMIT,
    Levels,
    level_margin,
    run_levels,
    static_pressure,
)
from rainharvest.catchment.tables import TRADE_SIZES, Catchment, Conveyance, concerns_of, with_full_tank
from rainharvest.core.errors import InputError
from rainharvest.demand.uses import may_serve, treatment_class
from rainharvest.siteworks.base import (
    CODE,
    Base,
    Flotation,
    Vessel,
    Wind,
    base_of,
    flotation_of,
    gauge_table,
    tank_height,
    vessel_of,
    wind_on,
)
from rainharvest.siteworks.delivery import PumpWorks, Tap, below_the_tap, pump_works, tap_gauge
from rainharvest.siteworks.overflow import (
    OverflowPipe,
    biggest_storms,
    infiltration_rate,
    overflow_pipe,
    size_soakaway,
    storm_depths,
    stuck_valve_flow,
)
from rainharvest.siteworks.tables import DEFAULTS, SiteWorks
from rainharvest.siteworks.treatment import (
    DISINFECTED,
    DOUBTFUL,
    ChlorinePlan,
    air_gap,
    chlorine_plan,
    samples_to_take,
    there_of,
    treatment_of_uses,
)
from rainharvest.siteworks.upkeep import (
    check_list,
    price_parts,
    site_parts,
    siting_checks,
    upkeep_calendar,
)
from rainharvest.sizing.tables import PUMP_ENERGY

REACH = 1.5

"""[m] above the ground at which a hand still turns a tap without a step (common practice, no source)."""


LEVELS = 25

"""Of the gauge."""


PRESSURE_CLASSES = (250.0, 400.0, 600.0, 1000.0, 1600.0, 2500.0)

"""Of pipe (PN 2.5 to PN 25), kPa: the series of ISO 161-1, from memory, not verified."""


QUANTILES = (0.5, 0.9, 0.99)

"""Of the overflow of a day."""


@dataclass(frozen=True)
class Given:
    """What the site works take from the rest of the study."""

    nominal: float  # [L] Nominal size of the tank
    dead_share: float  # [1] Share of it below the outlet
    freeboard_share: float  # [1] Share of it above the overflow
    mean_demand: float  # [L/day] What is drawn on a mean day
    arrangement: str  # As `Arrangement.serves_as`
    qualities: dict[str, str]  # Quality that each thing that draws water needs, by its name
    catchment: Catchment | None  # Roofs and run of pipe; None where no rain enters
    daily: xr.Dataset | None  # ``inflow``, ``spilled_daily``, ``stored`` on ``time``; None likewise
    ten_year_day: float  # [mm/day] As heavy a day as comes once in ten years
    prices: dict[str, float] = field(default_factory=dict)  # Of a piece, where costs or a catalogue give them
    elevation: float | None = None  # [m] Of the site above the sea; None where nobody said
    units: str = "metric"  # Of the study: trade sizes go by them
    demands: dict[str, float] = field(default_factory=dict)  # [L/day] What each use draws on a mean day
    rains_begin: int = 1  # [1] Month in which the rains of the record begin
    change_over: bool = False  # Whether the mains feed the fixtures past the tank when it is empty

    @property
    def float_valve(self) -> bool:
        """Whether the mains enter the tank."""
        return not self.arrangement.startswith("rain only") and not self.change_over

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
    wind: Wind  # One tank in the wind
    flotation: Flotation | None  # One empty tank in wet ground; None where it stands on the ground
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

    defaults = DEFAULTS  # Of the stage, by name
    standing_limit = STANDING_LIMIT.value  # [day] Standing water older than this is too old
    code = CODE  # Where presumed bearing values come from
    measured_energy = PUMP_ENERGY.value  # [kW h/m3] Of pumps at work

    @cached_property
    def served(self) -> list[str]:
        """Qualities of water that the tank may serve."""
        return [
            quality for quality in self.given.qualities.values() if may_serve(self.given.arrangement, quality)
        ]

    @cached_property
    def there(self) -> set[str]:
        """What there is: by these names the rows of parts, treatment, upkeep and lists say where they count."""
        given, run = self.given, self.given.conveyance
        classes = {treatment_class(quality, given.arrangement) for quality in self.served}
        there = there_of(classes, given.arrangement, self.site.disinfect)
        there |= {given.arrangement, f"{run.kind if run else 'no'} run"}
        there |= {"in the ground" if self.site.buried else "on the ground"}
        things = {"roof": given.catchment, "pump": self.pump, "suction": self.pump and self.pump.suction}
        things |= {"submersible pump": self.submerged, "surface pump": self.pump and not self.submerged}
        things |= {"float valve": given.float_valve, "change-over valve": given.change_over}
        things |= {"linked": self.vessel.tanks > 1, "stand": self.base.stand}
        things |= {"first flush": given.catchment and given.catchment.first_flush}
        return there | {name for name, thing in things.items() if thing}

    @property
    def submerged(self) -> bool:
        """Whether the pump stands in the water: that of a tank in the ground, where no level is given for it."""
        return self.pump is not None and self.site.buried > 0 and self.site.pump.pump_level is None

    @property
    def flow(self) -> float:
        """Peak flow, for which what treats the water is sized [L/s]."""
        return self.pump.duty.flow if self.pump else float(self.gauge.tap_flow[-1])

    @cached_property
    def chlorine(self) -> ChlorinePlan | None:
        """Dose and contact, where chlorine is used: of the water that is disinfected, and of no other."""
        return chlorine_plan(self.flow, self.disinfected) if "chlorine" in self.there else None

    @property
    def disinfected(self) -> float:
        """What the uses whose water is disinfected draw on a mean day [L/day]."""
        table = self.treatment[self.treatment["class"].isin(DISINFECTED) & self.treatment.served]
        return sum(self.given.demands.get(use, 0.0) for use in table.use)

    @cached_property
    def treatment(self) -> pd.DataFrame:
        """As `rainharvest.siteworks.treatment.treatment_of_uses`."""
        given = self.given
        return treatment_of_uses(given.qualities, given.arrangement, self.flow, self.site.disinfect)

    @cached_property
    def tests(self) -> pd.DataFrame:
        """As `rainharvest.siteworks.treatment.samples_to_take`."""
        return samples_to_take(self.served, self.given.arrangement, self.site.disinfect)

    @cached_property
    def checks(self) -> pd.DataFrame:
        """As `rainharvest.siteworks.upkeep.siting_checks`."""
        return siting_checks(self.vessel, self.site, self.levels, self.given.catchment is not None)

    @cached_property
    def upkeep(self) -> pd.DataFrame:
        """As `rainharvest.siteworks.upkeep.upkeep_calendar`."""
        return upkeep_calendar(self.there, self.site.wet_month or self.given.rains_begin)

    @cached_property
    def parts(self) -> pd.DataFrame:
        """As `rainharvest.siteworks.upkeep.price_parts`."""
        return price_parts(site_parts(self), self.site.prices | self.given.prices)

    @property
    def ticks(self) -> tuple[str, ...]:
        """What to tick off before anybody digs."""
        return check_list(self.there)

    @property
    def handover(self) -> tuple[str, ...]:
        """What to do on the day of installing and handing over."""
        return check_list(self.there, "handover")

    @property
    def floor_height(self) -> float:
        """Floor of the tank above the ground; below zero in the ground [m]."""
        return self.tap.floor_height

    @property
    def marks(self) -> dict[str, float]:
        """Levels above the floor of the tank [m], from the top down: of the drawing and of the table."""
        vessel, floor, run = self.vessel, self.floor_height, self.levels
        out = {"top of the tank": vessel.height, "overflow": vessel.overflow_mark}
        out |= {"outlet": vessel.outlet_mark, "ground": -floor}
        out |= {} if self.tap_dry else {"tap": self.tap.tap_level}
        if self.pump:
            out |= {"highest tap": self.site.pump.highest_tap - floor, "pump stops": self.pump.stop_level}
            level = self.site.pump.pump_level
            out |= {} if level is None else {"pump": level - floor}
        if run:
            out |= {"gutter outlet": run.conveyance.outlet_level, "tank inlet": run.conveyance.inlet_level}
        if run and run.conveyance.kind == "wet":
            out["low point of the run"] = run.conveyance.low_level
            out["water in the run after rain"] = run.full[0][1]
            out["water in the run in the design storm"] = min(run.margin_to, run.conveyance.outlet_level)
        return dict(sorted(out.items(), key=lambda mark: -mark[1]))

    @property
    def inlet_over_top(self) -> float:
        """How far the run lets go of the water above the top of the tank; below zero inside it [m]."""
        return self.levels.conveyance.inlet_level - self.vessel.height

    @property
    def heads(self) -> tuple[float, float] | None:
        """Head that a wet run needs in the design storm, and the head that there is [m]."""
        run = self.levels
        if run is None or run.conveyance.kind != "wet":
            return None
        there = level_margin(run.conveyance)
        return there - run.margin, there

    @property
    def pressures(self) -> tuple[float, float] | None:
        """Pressure on the lowest joint of a wet run after rain, and backed up to the gutter in a storm [kPa]."""
        run = self.given.conveyance
        return (static_pressure(run), static_pressure(run, True)) if run and run.kind == "wet" else None

    @property
    def pressure_class(self) -> float:
        """Least class of pipe that bears the higher of them [kPa]; NaN where no class of the list does."""
        return next((one for one in PRESSURE_CLASSES if one >= max(self.pressures)), np.nan)

    @property
    def out_of_reach(self) -> float:
        """Water that the study counts as drawn though it stands below the tap, and no pump lifts it [L]."""
        return 0.0 if self.pump or self.below_tap < 1 else self.below_tap

    @property
    def tap_dry(self) -> bool:
        """Whether no water reaches the tap by its own weight, even from a full tank."""
        return self.tap.tap_level >= self.vessel.overflow_mark

    @property
    def held_by_water(self) -> bool:
        """Whether water alone can hold a tank in the gust of the site."""
        return self.wind.holds_with <= self.vessel.nominal / self.vessel.tanks

    @property
    def presses_harder(self) -> bool:
        """Whether the base presses harder than the ground may be asked to bear."""
        return self.base.ground_pressure > self.base.bearing * (1 + 1e-9)

    @property
    def raise_for_bucket(self) -> float:
        """How much higher the tap must be for the bucket to stand under it [m]."""
        needed = self.site.bucket_height + DEFAULTS["bucket_clearance"].value
        return max(needed - self.tap.tap_height, 0.0)

    @property
    def bucket_fits(self) -> bool:
        """Whether the bucket stands under the tap."""
        return self.raise_for_bucket <= 1e-9

    @property
    def tap_beyond_hand(self) -> bool:
        """Whether the tap's mouth is higher than a hand reaches without a step."""
        return self.tap.tap_height > REACH

    @property
    def half_litres(self) -> float:
        """Water to draw with the gauge half way between outlet and overflow [L]."""
        return self.vessel.above_outlet(self.vessel.middle)

    @property
    def half_days(self) -> float:
        """How long that lasts [day]."""
        return self.half_litres / self.given.mean_demand

    @property
    def half_seconds(self) -> float:
        """How long a bucket takes half way between the tap, or the outlet, and the overflow [s]."""
        level = (max(self.vessel.outlet_mark, self.tap.tap_level) + self.vessel.overflow_mark) / 2
        return float(self.gauge.seconds_to_fill.sel(water_level=level, method="nearest"))

    @property
    def stuck_flow(self) -> float:
        """What a float valve that sticks open lets in [L/s]."""
        return stuck_valve_flow(self.site.mains_bore)

    @property
    def overflow_needed(self) -> float:
        """What the overflows of all the tanks must pass together [L/s]."""
        if self.peak is None:
            return self.stuck_flow
        return self.peak.flow + (self.stuck_flow if self.given.float_valve else 0.0)

    @property
    def onward(self) -> float:
        """What the pipes between the tanks carry in the design storm: the run enters one of them [L/s]."""
        return self.peak.flow * (self.vessel.tanks - 1) / self.vessel.tanks

    @property
    def gutters_spill(self) -> bool:
        """Whether the roofs shed more than reaches the tank."""
        return self.peak.roofs > self.peak.flow * 1.001  # a thousandth more is no more

    @property
    def narrow_gutters(self) -> list[tuple[str, float, float]]:
        """Roofs whose gutter passes less than they shed in the design storm, with both flows [L/s]."""
        roofs, storm = self.given.catchment.roofs if self.peak else (), self.site.design_intensity
        limited = [roof for roof in roofs if roof.gutter_capacity is not None]
        flows = [(roof.name, roof.gutter_capacity, design_flow(roof.area, storm)) for roof in limited]
        return [(name, passes, sheds) for name, passes, sheds in flows if sheds > passes * 1.001]

    @property
    def has_storms(self) -> bool:
        """Whether a storm reached the tank."""
        return self.storms is not None and self.storms.sizes["storm"] > 0

    @property
    def storms_met(self) -> dict[str, float]:
        """How full the biggest storms found the tank, and what share of them it kept."""
        full = self.storms.full_before.values
        spilled, brought = float(self.storms.storm_spilled.sum()), float(self.storms.storm_inflow.sum())
        return {
            "count": len(full),
            "emptiest": float(full.min()),
            "fullest": float(full.max()),
            "nearly_full": int((full > 0.9).sum()),
            "kept": 1 - spilled / brought,
        }

    def air_gap(self, rule: str = "elsewhere") -> float:
        """Return the air gap under the mains inlet by a rule [mm]."""
        return air_gap(self.site.mains_bore, rule=rule)

    @property
    def misfits(self) -> pd.DataFrame:
        """Levels and distances that do not fit."""
        return self.checks[self.checks.fits == "no"]

    @property
    def other_misfits(self) -> list[str]:
        """Those that neither the run's level or head says, nor shade, without which it can be built."""
        return list(self.misfits.drop(index=["run", "shade"], errors="ignore").check)

    @property
    def to_measure(self) -> list[str]:
        """Levels and distances that nobody has measured."""
        return list(self.checks[self.checks.fits == "measure it"].check)

    @property
    def trains(self) -> dict[str, list[str]]:
        """Uses that the tank serves, by the steps that their water passes through."""
        served = self.treatment[self.treatment.served]
        return {steps: list(uses) for steps, uses in served.groupby("steps", sort=False).use}

    @property
    def lamp_is_last(self) -> bool:
        """Whether light is the last that some of the water passes."""
        return any(steps.endswith("ultraviolet lamp") for steps in self.trains)

    @property
    def filtered(self) -> bool:
        """Whether some of the water is filtered and disinfected."""
        return "filtered and disinfected" in set(self.treatment["class"][self.treatment.served])

    @property
    def stood_water_is_drunk(self) -> bool:
        """Whether what stood in a wet run comes to water that somebody drinks, filtered and disinfected."""
        run = self.given.conveyance
        return run is not None and run.kind == "wet" and self.filtered

    @property
    def doubtful_roofs(self) -> dict[str, list[str]]:
        """Roofs whose water carries what no step of its treatment settles, with what it is."""
        roofs = self.given.catchment.roofs if self.given.catchment else ()
        found = {roof.name: [c for c in concerns_of(roof) if c in DOUBTFUL] for roof in roofs}
        return {name: concerns for name, concerns in found.items() if concerns}

    @property
    def not_served(self) -> list[str]:
        """Uses that this tank may not serve."""
        return list(self.treatment[~self.treatment.served].use)

    @property
    def unpriced(self) -> int:
        """How many kinds of parts have no price."""
        return int(self.parts.cost.isna().sum())

    @property
    def parts_cost(self) -> float:
        """What the parts cost that have a price, in the study's currency."""
        return float(self.parts.cost.sum())


def levels_below(run: Conveyance, rise: float) -> dict[str, float]:
    """Return the levels of a run that do not rise with the tank and its inlet, above its raised floor."""
    stay = ("outlet_level", "low_level") if run.kind == "wet" else ("outlet_level",)
    return {name: round(getattr(run, name) - rise, 6) for name in stay}


def on_stand(given: Given, rise: float) -> Given:
    """Return what the study gives with its tank raised: the building stays, its gutter so much less above the floor."""
    run = given.conveyance
    if run is None or not rise:
        return given
    run = run.model_copy(update=levels_below(run, rise))
    return replace(given, catchment=given.catchment.model_copy(update={"conveyance": run}))


def plan_siteworks(site: SiteWorks, given: Given) -> Works:
    """Return the site works of a study, a mistake in them named by its place in the study file."""
    try:
        return _planned(site, given)
    except InputError as error:
        place = f"site_works.{error.place}" if error.place else "site_works"
        raise InputError(error.problem, error.remedy, place, error.file or None) from None


def _planned(site: SiteWorks, given: Given) -> Works:
    vessel = vessel_of(
        given.nominal,
        site.form,
        tank_height(site, given.conveyance and given.conveyance.inlet_level, given.nominal, given.units),
        tank_width=site.tank_width,
        tanks=site.tanks,
        dead_share=given.dead_share,
        freeboard_share=given.freeboard_share,
    )
    if given.conveyance is not None and site.height is not None:
        run = with_full_tank(given.conveyance, vessel.overflow_mark)
        given = replace(given, catchment=given.catchment.model_copy(update={"conveyance": run}))
    base = base_of(vessel, site)
    floor, run, daily = site.floor_height, given.conveyance, given.daily
    height = floor + vessel.outlet_mark if site.tap_height is None else site.tap_height
    if site.buried and site.tap_height is None:  # where a bucket stands under it, on the ground
        height = max(height, site.bucket_height + DEFAULTS["bucket_clearance"].value)
    tap = Tap(height, floor, site.tap_run, site.tap_bore)
    pumped = site.buried and site.pump and tap.tap_level >= vessel.overflow_mark
    below = vessel.capacity if pumped else below_the_tap(vessel, tap)
    pump = pump_works(site.pump, vessel, floor, given.elevation)
    flotation = flotation_of(site, vessel, base)
    gauge = tap_gauge(gauge_table(vessel, given.mean_demand, LEVELS), tap, site.bucket)
    peak, overflow, overflow_answer = _overflow(site, given, vessel)
    soakaway, soakaway_answer = _soakaway(site, given)
    return Works(
        site=site,
        given=given,
        vessel=vessel,
        base=base,
        wind=wind_on(vessel, base.empty_mass, site.gust),
        flotation=flotation,
        tap=tap,
        below_tap=below,
        gauge=gauge,
        levels=run_levels(run, peak.gutters) if run else None,  # it never sees what runs over the gutters
        peak=peak,
        overflow=overflow,
        overflow_answer=overflow_answer,
        spills=None if daily is None else daily_overflow(daily.spilled_daily, QUANTILES),
        soakaway=soakaway,
        soakaway_answer=soakaway_answer,
        storms=None if daily is None else biggest_storms(daily, vessel.capacity),
        pump=pump,
    )


def _overflow(
    site: SiteWorks, given: Given, vessel: Vessel
) -> tuple[PeakOverflow | None, OverflowPipe | None, str]:
    """Return what the overflow must pass, the overflow, and why there is none."""
    peak, run, top = None, given.conveyance, vessel.height
    if given.catchment is None:  # the valve stands in one tank: its overflow passes it all
        flow, inlet = stuck_valve_flow(site.mains_bore), site.mains_bore
    else:
        peak = peak_overflow(given.catchment, site.design_intensity)
        flow, inlet = peak.flow / vessel.tanks, run.bore if run else 0.0
        if given.float_valve:  # the valve of one tank may stick open as well
            flow += stuck_valve_flow(site.mains_bore)
        if run is not None and vessel.overflow_mark < run.inlet_level < top:
            top = run.inlet_level
    try:
        return peak, overflow_pipe(flow, top - vessel.overflow_mark, inlet, TRADE_SIZES[given.units]), ""
    except InputError as error:
        return peak, None, f"{error.problem}; {error.remedy}"


def _soakaway(site: SiteWorks, given: Given) -> tuple[xr.Dataset | None, str]:
    """Return the soakaway that takes all the roofs' rain, and why there is none."""
    if given.catchment is None:
        return None, "no roof feeds the tank"
    if site.trial_pit is None:
        return None, (
            "nobody has dug a trial pit: fill one three times, time it from three quarters to one quarter full, and "
            "give trial_pit"
        )
    minutes, depths = site.storm_minutes, site.storm_depths
    if minutes is None:
        table = storm_depths(site.design_intensity, given.ten_year_day)
        minutes, depths = table.storm_minutes.values, table.values
    try:
        rate = infiltration_rate(site.trial_pit)
        done = size_soakaway(
            sum(roof.area for roof in given.catchment.roofs),
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
