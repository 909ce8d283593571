"""The [site_works] table of the study file, with the defaults of the stage."""

from __future__ import annotations

from typing import Literal

from pydantic import Field, model_validator

from rainharvest.core.defaults import Default, defaults_of
from rainharvest.core.errors import require
from rainharvest.core.quantities import QUANTITIES
from rainharvest.core.tables import Table, quantity

DEFAULTS = defaults_of("siteworks")

ONLY_WITH = {
    "pump": ("pump_", "motor_", "shut_off_", "starts", "fixture_", "cut_out_"),
    "trial pit": (
        "voids",
        "half_empty_",
        "least_infiltration",
        "shortest_storm",
        "day_to_24_hours",
        "return_period",
    ),
    "mains": ("air_gap_", "mains_"),
    "rain": ("design_intensity", "soakaway_", "groundwater_"),
}

"""Beginnings of the names of defaults that count only where there is a pump, a trial pit, mains, or rain."""


class TrialPit(Table):
    """A trial pit, filled and left to drain at least three times on the same or on following days."""

    pit_length: float = quantity("m", "Sides of the pit.", gt=0, le=20)
    pit_width: float = quantity("m", "Sides of the pit.", gt=0, le=20)
    pit_depth: float = quantity("m", "Depth of the water at the start, the effective depth.", gt=0, le=10)
    minutes: tuple[float, ...] = quantity(
        "min",
        "Time from three quarters full to one quarter full, of each filling.",
        min_length=1,
        max_length=20,
    )

    @property
    def complete(self) -> bool:
        """Whether it was filled three times, as the method asks."""
        return len(self.minutes) >= 3


class PumpPlan(Table):
    """A pump, where the taps stand too high for the water's own weight."""

    highest_tap: float = quantity(
        "m", "Highest tap above the ground on which the tank's base stands.", ge=-50, le=200
    )
    pressure: float = quantity("kPa", "Wanted there.", DEFAULTS["fixture_pressure"], ge=0, le=1000)
    flow: float = quantity(
        "L/s", "Wanted with as many taps open as are open at once.", DEFAULTS["fixture_flow"], gt=0, le=100
    )
    pipe_length: float = quantity("m", "Straight pipe from the pump to that tap.", 20.0, ge=0, le=5000)
    pipe_bore: float = quantity("mm", "Its inside diameter.", 25.0, gt=0, le=500)
    shut_off_head: float | None = quantity(
        "m", "Head of the chosen pump at no flow; with ``most_flow``.", None, gt=0, le=500
    )
    most_flow: float | None = quantity("L/s", "Flow of the chosen pump at no head.", None, gt=0, le=1000)
    pump_efficiency: float = quantity(
        "1", "Of the pump at its duty and of the motor.", DEFAULTS["pump_efficiency"], gt=0, le=1
    )
    motor_efficiency: float = quantity(
        "1", "Of the pump at its duty and of the motor.", DEFAULTS["motor_efficiency"], gt=0, le=1
    )
    cut_in: float | None = quantity(
        "kPa", "Pressures at the pump at which it starts and stops.", None, ge=0, le=1500
    )
    cut_out: float | None = quantity(
        "kPa", "Pressures at the pump at which it starts and stops.", None, gt=0, le=2000
    )
    vessel_volume: float | None = quantity(
        "L",
        "Pressure vessel that is there; without one, the one needed is worked out.",
        None,
        gt=0,
        le=10_000,
    )
    most_starts: float = quantity(
        "1/h", "Starts an hour that the motor bears.", DEFAULTS["starts"], gt=0, le=200
    )

    @model_validator(mode="after")
    def _pairs(self):
        for one, other in (("shut_off_head", "most_flow"), ("cut_in", "cut_out")):
            both = (getattr(self, one) is None) == (getattr(self, other) is None)
            require(both, f"{one} and {other} come together", "give both, or neither")
        require(
            self.cut_in is None or self.cut_in < self.cut_out,
            f"the pump stops at {self.cut_out or 0:g} kPa, below its start at {self.cut_in or 0:g}",
            "give a cut_out above the cut_in",
        )
        return self


class SiteWorks(Table):
    """Ground, tank, tap, overflow and treatment of a site; everything may be left out."""

    form: Literal["upright", "horizontal", "rectangular"] = Field(
        "upright", description='Shape of the tank: "upright", "horizontal" or "rectangular".'
    )
    tanks: int = quantity("1", "How many alike.", 1, ge=1, le=100)
    height: float | None = quantity(
        "m",
        "Inside height of a tank, the diameter of one on its side; as the inlet allows, 2 m at most, if not given.",
        None,
        gt=0,
        le=50,
    )
    tank_width: float | None = quantity("m", "Width of a rectangular tank.", None, gt=0, le=200)
    empty_mass: float | None = quantity("kg", "Mass of one empty tank.", None, ge=0, le=1e6)
    ground: Literal[
        "bedrock", "layered rock", "gravel", "sand", "clay", "expansive clay", "fill", "peat", "unknown"
    ] = Field("clay", description="A key of `rainharvest.siteworks.base.GROUNDS`.")
    bearing: float | None = quantity("kPa", "What an engineer allows.", None, gt=0, le=10_000)
    slab_thickness: float = quantity(
        "m", "Of the concrete; a thickness of zero is a prepared bed.", DEFAULTS["slab_thickness"], ge=0, le=2
    )
    slab_margin: float = quantity(
        "m", "Of the concrete; a thickness of zero is a prepared bed.", DEFAULTS["slab_margin"], ge=0, le=5
    )
    stand: float = quantity("m", "Height of a stand on it.", 0.0, ge=0, le=30)
    tap_height: float | None = quantity(
        "m", "Mouth of the tap above the ground; at the level of the outlet if not given.", None, le=100
    )
    tap_run: float = quantity(
        "m", "Pipe to the tap; zero for a tap in the wall of the tank.", 0.0, ge=0, le=1000
    )
    tap_bore: float = quantity("mm", "Its inside diameter.", DEFAULTS["tap_bore"], gt=0, le=200)
    bucket: float = quantity("L", "What is filled.", DEFAULTS["bucket"], gt=0, le=1000)
    bucket_height: float = quantity("m", "How high that is.", DEFAULTS["bucket_height"], gt=0, le=2)
    overflow_to: Literal["soakaway", "garden", "drain", "watercourse"] = Field(
        "soakaway", description='"soakaway", "garden", "drain" or "watercourse".'
    )
    overflow_run: float = quantity("m", "Length of the overflow pipe.", 6.0, ge=0, le=1000)
    design_intensity: float = quantity(
        "mm/h", "Rain of the design storm.", DEFAULTS["design_intensity"], gt=0, le=1000
    )
    storm_minutes: tuple[float, ...] | None = quantity(
        "min",
        "Durations of the storms that the local rules name; with ``storm_depths``.",
        None,
        min_length=1,
        max_length=100,
    )
    storm_depths: tuple[float, ...] | None = quantity(
        "mm", "Their depths.", None, min_length=1, max_length=100
    )
    trial_pit: TrialPit | None = Field(None, description="What was measured in a trial pit.")
    soakaway_width: float = quantity("m", "Of the soakaway; its length is worked out.", 1.0, gt=0, le=50)
    soakaway_depth: float = quantity("m", "Of the soakaway; its length is worked out.", 1.5, gt=0, le=10)
    voids: float = quantity("1", "Share of it that water can fill.", DEFAULTS["voids"], gt=0, le=1)
    building_distance: float | None = quantity(
        "m", "What was measured, as `rainharvest.siteworks.upkeep.Distances`.", None, ge=0, le=10_000
    )
    boundary_distance: float | None = quantity(
        "m", "What was measured, as `rainharvest.siteworks.upkeep.Distances`.", None, ge=0, le=10_000
    )
    soakaway_distance: float | None = quantity(
        "m", "What was measured, as `rainharvest.siteworks.upkeep.Distances`.", None, ge=0, le=10_000
    )
    opening: float | None = quantity(
        "m", "What was measured, as `rainharvest.siteworks.upkeep.Distances`.", None, gt=0, le=1000
    )
    shaded: bool | None = Field(None, description="Whether the tank stands in the shade at noon.")
    disinfect: Literal["ultraviolet", "chlorine", "both"] = Field(
        "ultraviolet", description='"ultraviolet", "chlorine" or "both", for what must be disinfected.'
    )
    mains_bore: float = quantity("mm", "Bore of the mains inlet, for its air gap.", 20.0, gt=0, le=300)
    wet_month: int = quantity("1", "Month in which the rains begin.", 1, ge=1, le=12)
    pump: PumpPlan | None = Field(
        None, description="The pump; without one the water comes by its own weight."
    )
    prices: dict[str, float] = Field(
        default_factory=dict, description="Price of each part by its name on the list of parts."
    )

    @model_validator(mode="after")
    def _fits_together(self):
        minutes, depths = self.storm_minutes, self.storm_depths
        both = (minutes is None) == (depths is None)
        require(both, "storm_minutes and storm_depths come together", "give both, or neither")
        require(
            len(minutes or ()) == len(depths or ()),
            f"{len(minutes or ())} durations and {len(depths or ())} depths of storms",
            "give one depth for each duration",
        )
        require(
            self.tank_width is None or self.form == "rectangular",
            f"tank_width has no meaning for a{'n' if self.form == 'upright' else ''} {self.form} tank",
            'leave it out, or set form = "rectangular"',
        )
        return self


def siteworks_defaults(site: SiteWorks, arrangement: str) -> dict[str, Default]:
    """Return the defaults of the site works that count for a site, in words.

    >>> list(siteworks_defaults(SiteWorks(), "rain only"))[:2]
    ['Water', 'Density of concrete']
    """
    there = {
        "pump": site.pump,
        "trial pit": site.trial_pit,
        "mains": arrangement != "rain only",
        "rain": arrangement != "mains reserve",
    }
    missing = tuple(name for what, names in ONLY_WITH.items() if not there[what] for name in names)
    used = {}
    for name, default in DEFAULTS.items():
        if not isinstance(default, Default) or name.startswith(missing):
            continue
        if getattr(site, name, None) in (None, default.value):
            words = QUANTITIES[name].long_name if name in QUANTITIES else name.replace("_", " ").capitalize()
            used[words] = default
    return used
