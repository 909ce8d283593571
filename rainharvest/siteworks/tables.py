"""The [site_works] table of the study file, with the defaults of the stage."""

from __future__ import annotations

import math
from difflib import get_close_matches
from typing import Literal

from pydantic import Field, field_validator, model_validator

from rainharvest.catchment.tables import FITTINGS
from rainharvest.core.defaults import defaults_of, rows_of
from rainharvest.core.errors import require
from rainharvest.core.tables import Table, quantity

DEFAULTS = defaults_of("siteworks")

FITTING_NAMES = tuple(f"pipe {name}" for name in FITTINGS if name != "entrance")

PART_NAMES = tuple(
    name
    for row in rows_of("siteworks", "parts")["part"]
    for name in (FITTING_NAMES if row == "pipe fitting" else (row,))
)

"""Every part that a site can have, in the order of the water: what may be priced."""


class TrialPit(Table):
    """A trial pit, filled and left to drain at least three times on the same or on following days."""

    pit_length: float = quantity("m", gt=0, le=20, examples=[1.0])
    """Length of the pit."""

    pit_width: float = quantity("m", gt=0, le=20, examples=[0.75])
    """Width of the pit."""

    pit_depth: float = quantity("m", gt=0, le=10, examples=[1.0])
    """Depth of the water at the start, the effective depth."""

    minutes: tuple[float, ...] = quantity("min", min_length=1, max_length=20, examples=[[48, 52, 55]])
    """Time from three quarters full to one quarter full, of each filling."""

    @property
    def complete(self) -> bool:
        """Whether it was filled three times, as the method asks."""
        return len(self.minutes) >= 3


class PumpPlan(Table):
    """A pump, where the taps stand too high for the water's own weight."""

    highest_tap: float = quantity("m", ge=-50, le=200, examples=[2.6])
    """Highest tap above the ground on which the tank's base stands."""

    pressure: float = quantity("kPa", DEFAULTS["fixture_pressure"], ge=0, le=1000)
    """Pressure wanted at that tap."""

    flow: float = quantity("L/s", DEFAULTS["fixture_flow"], gt=0, le=100)
    """Flow wanted with as many taps open as are open at once."""

    pump_level: float | None = quantity("m", None, ge=-50, le=50, examples=[0.3])
    """Axis of a pump that stands above the water, over the ground."""

    suction_length: float = quantity("m", 5.0, ge=0, le=200)
    """Pipe from the water to a pump that stands above it."""

    npsh_required: float | None = quantity("m", None, gt=0, le=20, examples=[2.5])
    """Net positive suction head that its maker asks for."""

    pipe_length: float = quantity("m", 20.0, ge=0, le=5000)
    """Straight pipe from the pump to that tap."""

    pipe_bore: float = quantity("mm", 25.0, gt=0, le=500)
    """Inside diameter of that pipe."""

    shut_off_head: float | None = quantity("m", None, gt=0, le=500, examples=[30])
    """Head of the chosen pump at no flow; with ``most_flow``."""

    most_flow: float | None = quantity("L/s", None, gt=0, le=1000, examples=[1.2])
    """Flow of the chosen pump at no head."""

    pump_efficiency: float = quantity("1", DEFAULTS["pump_efficiency"], gt=0, le=1)
    """Efficiency of the pump at its duty."""

    motor_efficiency: float = quantity("1", DEFAULTS["motor_efficiency"], gt=0, le=1)
    """Efficiency of the motor."""

    cut_in: float | None = quantity("kPa", None, ge=0, le=1500, examples=[150])
    """Pressure at the pump at which it starts."""

    cut_out: float | None = quantity("kPa", None, gt=0, le=2000, examples=[250])
    """Pressure at the pump at which it stops."""

    vessel_volume: float | None = quantity("L", None, gt=0, le=10_000, examples=[100])
    """Pressure vessel that is there; without one, the one needed is worked out."""

    most_starts: float = quantity("1/h", DEFAULTS["starts"], gt=0, le=200)
    """Starts an hour that the motor bears."""

    @property
    def suction_pipe(self) -> float:
        """Pipe on the suction side of a pump that stands above the water [m]."""
        return 0.0 if self.pump_level is None else self.suction_length

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

    form: Literal["upright", "horizontal", "rectangular"] = "upright"
    """Shape of a tank."""

    tanks: int = quantity("1", 1, ge=1, le=100)
    """How many alike tanks make up the size, without a catalogue."""

    height: float | None = quantity("m", None, gt=0, le=50, examples=[2.2])
    """Inside height of a tank, the diameter of one on its side; a catalogue's own where the study has one;
    else as the inlet allows, 2 m (7 ft in a US file) at most and 1.5 times the width, if not given."""

    tank_width: float | None = quantity("m", None, gt=0, le=200, examples=[2.0])
    """Width of a rectangular tank."""

    empty_mass: float | None = quantity("kg", None, ge=0, le=1e6, examples=[350])
    """Mass of one empty tank."""

    ground: Literal[
        "bedrock", "layered rock", "gravel", "sand", "clay", "expansive clay", "fill", "peat", "unknown"
    ] = "clay"
    """What the tank stands on."""

    bearing: float | None = quantity("kPa", None, gt=0, le=10_000, examples=[100])
    """Bearing pressure that an engineer allows."""

    slab_thickness: float = quantity("m", DEFAULTS["slab_thickness"], ge=0, le=2)
    """Thickness of the concrete; zero for a prepared bed."""

    slab_margin: float = quantity("m", DEFAULTS["slab_margin"], ge=0, le=5)
    """How far the slab reaches beyond the tank."""

    stand: float = quantity("m", 0.0, ge=0, le=30)
    """Height of a stand on the slab."""

    buried: float = quantity("m", 0.0, ge=0, le=20)
    """Depth of the tank's floor below the ground; zero for one that stands on it."""

    groundwater: float | None = quantity("m", None, ge=0, le=100, examples=[1.8])
    """Highest groundwater below the ground, as measured; at the surface if not given."""

    anchor_mass: float = quantity("kg", 0.0, ge=0, le=1e6)
    """Concrete tied to each tank in the ground beside its slab."""

    gust: float | None = quantity("m/s of wind", None, gt=0, le=120, likely=(10, 90), examples=[40])
    """Hardest gust that the local code reckons with at the site."""

    tap_height: float | None = quantity("m", None, le=100, examples=[0.5])
    """Mouth of the tap above the ground; at the level of the outlet if not given."""

    tap_run: float = quantity("m", 0.0, ge=0, le=1000)
    """Pipe to the tap; zero for a tap in the wall of the tank."""

    tap_bore: float = quantity("mm", DEFAULTS["tap_bore"], gt=0, le=200)
    """Inside diameter of the tap and its pipe."""

    bucket: float = quantity("L", DEFAULTS["bucket"], gt=0, le=1000)
    """Volume of the bucket that is filled."""

    bucket_height: float = quantity("m", DEFAULTS["bucket_height"], gt=0, le=2)
    """Height of the bucket."""

    overflow_to: Literal["soakaway", "garden", "drain", "watercourse"] = "soakaway"
    """Where the surplus goes."""

    overflow_run: float = quantity("m", 6.0, ge=0, le=1000)
    """Length of the overflow pipe."""

    overflow_end: float | None = quantity("m", None, ge=-50, le=50, examples=[-0.4])
    """Level at which the overflow's water is let go, over the ground at the tank; below it is negative."""

    design_intensity: float = quantity("mm/h", DEFAULTS["design_intensity"], gt=0, le=1000)
    """Rain of the design storm."""

    storm_minutes: tuple[float, ...] | None = quantity(
        "min", None, min_length=1, max_length=100, examples=[[10, 30, 60]]
    )
    """Durations of the storms that the local rules name; with ``storm_depths``."""

    storm_depths: tuple[float, ...] | None = quantity(
        "mm", None, min_length=1, max_length=100, examples=[[18, 28, 35]]
    )
    """Depths of those storms."""

    trial_pit: TrialPit | None = None
    """What was measured in a trial pit."""

    soakaway_width: float = quantity("m", 1.0, gt=0, le=50)
    """Width of the soakaway; its length is worked out."""

    soakaway_depth: float = quantity("m", 1.5, gt=0, le=10)
    """Depth of the soakaway."""

    voids: float = quantity("1", DEFAULTS["voids"], gt=0, le=1)
    """Share of the soakaway that water can fill."""

    building_distance: float | None = quantity("m", None, ge=0, le=10_000, examples=[1.5])
    """Distance from the tank to the nearest building, as measured."""

    boundary_distance: float | None = quantity("m", None, ge=0, le=10_000, examples=[4])
    """Distance from the tank to the boundary, as measured."""

    soakaway_distance: float | None = quantity("m", None, ge=0, le=10_000, examples=[7])
    """Distance from the soakaway to the nearest building, as measured."""

    opening: float | None = quantity("m", None, gt=0, le=1000, examples=[3.0])
    """Narrowest opening on the way to the site, as measured."""

    shaded: bool | None = Field(None, examples=[True])
    """Whether the tank stands in the shade at noon."""

    disinfect: Literal["ultraviolet", "chlorine", "both"] = "ultraviolet"
    """How what must be disinfected is."""

    mains_bore: float = quantity("mm", 20.0, gt=0, le=300)
    """Bore of the mains inlet, for its air gap."""

    wet_month: int | None = quantity("1", None, ge=1, le=12, examples=[10])
    """Month in which the rains begin; by the record if not given, the first after its three driest that brings a
    twelfth of the rain; January without rain."""

    pump: PumpPlan | None = None
    """The pump; without one the water comes by its own weight."""

    prices: dict[str, float] = Field(
        default_factory=dict,
        examples=[{"tank": 3100, "pump": 420}],
        json_schema_extra={"propertyNames": {"enum": [*PART_NAMES]}},
    )
    """Price of each part by its name on the list of parts."""

    @property
    def floor_height(self) -> float:
        """Floor of the tank above the ground; below zero in the ground [m]."""
        return -self.buried if self.buried else self.slab_thickness + self.stand

    def bought(self, tanks: int, height: float) -> SiteWorks:
        """Return the site with tanks from a catalogue, which knows how many of what height they are."""
        known = {"form": "upright", "tanks": tanks, "height": height, "tank_width": None}
        return self.model_copy(update=known)

    @field_validator("prices")
    @classmethod
    def _of_parts(cls, prices: dict[str, float]) -> dict[str, float]:
        for name, price in prices.items():
            near = get_close_matches(name, PART_NAMES, 1)
            remedy = f"did you mean {near[0]}?" if near else f"use one of {', '.join(PART_NAMES)}"
            require(name in PART_NAMES, f'no part is called "{name}"', remedy)
            require(0 <= price < math.inf, f"a price of {price:g} for {name}", "give zero or more")
        return prices

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
        both = self.stand > 0 and self.buried > 0
        require(not both, "a tank in the ground has no stand", "give stand or buried, not both", "stand")
        return self
