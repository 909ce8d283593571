"""The [site_works] table of the study file, with the defaults of the stage."""

from __future__ import annotations

from typing import Literal

from pydantic import BaseModel, ConfigDict, Field, model_validator

from rainharvest.core.defaults import Default
from rainharvest.core.errors import InputError
from rainharvest.core.tables import Table, quantity

NO_SOURCE = "common practice, no source"


WATER = Default(1000.0, "kg/m3", "density of fresh water, rounded up", "handbook")

CONCRETE = Default(
    2400.0, "kg/m3", "reinforced concrete, handbook value, from memory", "from memory", 2300, 2500
)

EMPTY_SHARE = Default(
    0.03,
    "1",
    "own choice: a plastic tank weighs about 3 % of its water, a steel one about as much; a concrete tank far more",
    "own choice",
    0.02,
    0.6,
)

SLAB_THICKNESS = Default(0.10, "m", NO_SOURCE, "common practice", 0.10, 0.15)

SLAB_MARGIN = Default(0.10, "m", NO_SOURCE, "common practice", 0.10, 0.30)

HEIGHT_OVER_WIDTH = Default(
    1.5, "1", "own choice: beyond this height over width a tank that stands empty is tied down", "own choice"
)

HEIGHT = Default(2.0, "m", "own choice: a tank that a person can look into from a step", "own choice")

GROUND = "clay"

"""Own choice: the class with the least presumed value, until somebody has dug and looked."""


DESIGN_INTENSITY = Default(
    75.0,
    "mm/h",
    "practice of the United Kingdom, 0.021 L/s on each m2, Approved Document H Table 2 as seen in a handbook "
    "extract; national rules say which",
    "handbook",
)

SHORTEST_STORM = Default(
    5.0, "min", "own choice: the time over which the design intensity is taken to last", "own choice"
)

DAY_TO_24_HOURS = Default(
    1.13,
    "1",
    "Hershfield 1961, United States Weather Bureau Technical Paper 40: the greatest 24 hours over the fixed day; "
    "from memory, not verified",
    "from memory",
)

RETURN_PERIOD = Default(
    10.0,
    "year",
    "storm of the worked soakaway to BRE Digest 365 (10-year); local rules may ask for more",
    "handbook",
)

VOIDS = Default(
    0.30,
    "1",
    "fill of the worked soakaway to BRE Digest 365, public calculation sheet of 14 May 2008",
    "handbook",
)

HALF_EMPTY_LIMIT = Default(
    24.0,
    "h",
    "BRE Digest 365, as quoted in a public calculation and by a county's drainage guidance",
    "handbook",
)

SOAKAWAY_DISTANCE = Default(
    5.0, "m", "BRE Digest 365 and Approved Document H, as quoted in a public calculation", "handbook"
)

LEAST_INFILTRATION = Default(
    1e-6,
    "m/s",
    "two English councils' guidance on BRE Digest 365 tests: slower ground is unsuitable",
    "handbook",
)

GROUNDWATER_CLEAR = Default(
    1.0, "m", "English county guidance: base of the soakaway above the highest groundwater", "handbook"
)

OVERFLOW_ORIFICE = Default(
    0.6,
    "1",
    "discharge coefficient of a sharp-edged hole, textbook value, from memory",
    "from memory",
    0.59,
    0.65,
)

MAINS_SPEED = Default(
    3.0,
    "m/s",
    "own choice: water in the mains inlet while its float valve sticks open; a bucket timed under the open valve "
    "gives the real flow",
    "own choice",
)


BUCKET = Default(20.0, "L", "own choice: the jerry can of relief work", "own choice", 10, 25)

BUCKET_HEIGHT = Default(0.40, "m", "own choice: height of a 20 L jerry can, rounded up", "own choice")

BUCKET_CLEARANCE = Default(0.05, "m", "own choice: so that it can be tipped in and out", "own choice")

TAP_BORE = Default(20.0, "mm", NO_SOURCE, "common practice", 15, 25)

PIPE_ROUGHNESS = Default(
    0.007, "mm", "smooth plastic pipe, textbook value, from memory", "from memory", 0.0015, 0.03
)

TAP_SEATS = Default(
    340.0,
    "1",
    "a tap taken as a globe valve, Crane TP-410: K = 340 f_T, computed by the library fluids; taps differ, the "
    "maker's figure governs",
    "handbook",
)


PUMP_EFFICIENCY = Default(
    0.4, "1", "own choice: small centrifugal pumps near their best point", "own choice", 0.25, 0.65
)

MOTOR_EFFICIENCY = Default(
    0.7, "1", "own choice: single-phase motors below a kilowatt", "own choice", 0.5, 0.85
)

SHUT_OFF_SHARE = Default(
    1.33,
    "1",
    "own choice: head at no flow over head at the duty wanted, a flat to middling curve",
    "own choice",
)

MOTOR_MARGIN = Default(1.25, "1", NO_SOURCE, "common practice", 1.1, 1.5)

STARTS = Default(
    12.0,
    "1/h",
    "300 starts in 24 hours for motors below 1 horsepower, Water Well Journal (tank selection), as quoted there; "
    "evenly spread that is 12.5 an hour; the maker's figure governs",
    "handbook",
    6,
    30,
)

FIXTURE_PRESSURE = Default(
    55.0, "kPa", "most fixtures, 8 lbf/in2, public table of fixture requirements", "handbook", 28, 170
)

FIXTURE_FLOW = Default(0.3, "L/s", "own choice: two or three taps open at once", "own choice", 0.1, 1.0)

CUT_OUT_SUBMERGENCE = Default(
    0.10, "m", "own choice: water over the intake at which the pump must stop", "own choice", 0.05, 0.3
)

MOTOR_SIZES = (0.25, 0.37, 0.55, 0.75, 1.1, 1.5, 2.2, 3.0, 4.0, 5.5, 7.5, 11.0, 15.0)

"""Preferred ratings of motors, kW: IEC 60072, from memory, not verified."""


AIR_GAP_LEAST = Default(
    20.0,
    "mm",
    "Water Regulations guidance, United Kingdom: the larger of 20 mm and twice the bore",
    "standard",
)

AIR_GAP_LEAST_ELSEWHERE = Default(
    25.0, "mm", "Plumbing Africa, June 2019, p. 37: the larger of 25 mm and twice the bore", "handbook"
)


class TrialPit(BaseModel):
    """A trial pit, filled and left to drain at least three times on the same or on following days."""

    model_config = ConfigDict(frozen=True, extra="forbid")

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
    pressure: float = quantity("kPa", "Wanted there.", FIXTURE_PRESSURE, ge=0, le=1000)
    flow: float = quantity(
        "L/s", "Wanted with as many taps open as are open at once.", FIXTURE_FLOW, gt=0, le=100
    )
    pipe_length: float = quantity("m", "Straight pipe from the pump to that tap.", 20.0, ge=0, le=5000)
    pipe_bore: float = quantity("mm", "Its inside diameter.", 25.0, gt=0, le=500)
    shut_off_head: float | None = quantity(
        "m", "Head of the chosen pump at no flow; with ``most_flow``.", None, gt=0, le=500
    )
    most_flow: float | None = quantity("L/s", "Flow of the chosen pump at no head.", None, gt=0, le=1000)
    pump_efficiency: float = quantity(
        "1", "Of the pump at its duty and of the motor.", PUMP_EFFICIENCY, gt=0, le=1
    )
    motor_efficiency: float = quantity(
        "1", "Of the pump at its duty and of the motor.", MOTOR_EFFICIENCY, gt=0, le=1
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
    most_starts: float = quantity("1/h", "Starts an hour that the motor bears.", STARTS, gt=0, le=200)

    @model_validator(mode="after")
    def _pairs(self):
        for one, other in (("shut_off_head", "most_flow"), ("cut_in", "cut_out")):
            if (getattr(self, one) is None) != (getattr(self, other) is None):
                raise InputError(f"{one} and {other} come together", "give both, or neither")
        if self.cut_in is not None and not self.cut_in < self.cut_out:
            raise InputError(
                f"the pump stops at {self.cut_out:g} kPa, below its start at {self.cut_in:g}",
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
    ] = Field(GROUND, description="A key of `rainharvest.siteworks.base.GROUNDS`.")
    bearing: float | None = quantity("kPa", "What an engineer allows.", None, gt=0, le=10_000)
    slab_thickness: float = quantity(
        "m", "Of the concrete; a thickness of zero is a prepared bed.", SLAB_THICKNESS, ge=0, le=2
    )
    slab_margin: float = quantity(
        "m", "Of the concrete; a thickness of zero is a prepared bed.", SLAB_MARGIN, ge=0, le=5
    )
    stand: float = quantity("m", "Height of a stand on it.", 0.0, ge=0, le=30)
    tap_height: float | None = quantity(
        "m", "Mouth of the tap above the ground; at the level of the outlet if not given.", None, le=100
    )
    tap_run: float = quantity(
        "m", "Pipe to the tap; zero for a tap in the wall of the tank.", 0.0, ge=0, le=1000
    )
    tap_bore: float = quantity("mm", "Its inside diameter.", TAP_BORE, gt=0, le=200)
    bucket: float = quantity("L", "What is filled.", BUCKET, gt=0, le=1000)
    bucket_height: float = quantity("m", "How high that is.", BUCKET_HEIGHT, gt=0, le=2)
    overflow_to: Literal["soakaway", "garden", "drain", "watercourse"] = Field(
        "soakaway", description='"soakaway", "garden", "drain" or "watercourse".'
    )
    overflow_run: float = quantity("m", "Length of the overflow pipe.", 6.0, ge=0, le=1000)
    design_intensity: float = quantity("mm/h", "Rain of the design storm.", DESIGN_INTENSITY, gt=0, le=1000)
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
    voids: float = quantity("1", "Share of it that water can fill.", VOIDS, gt=0, le=1)
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
        if (self.storm_minutes is None) != (self.storm_depths is None):
            raise InputError("storm_minutes and storm_depths come together", "give both, or neither")
        if self.storm_minutes and len(self.storm_minutes) != len(self.storm_depths):
            raise InputError(
                f"{len(self.storm_minutes)} durations and {len(self.storm_depths)} depths of storms",
                "give one depth for each duration",
            )
        if self.tank_width is not None and self.form != "rectangular":
            raise InputError(
                f"tank_width has no meaning for an {self.form} tank"
                if self.form == "upright"
                else f"tank_width has no meaning for a {self.form} tank",
                'leave it out, or set form = "rectangular"',
            )
        return self
