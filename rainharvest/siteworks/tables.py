"""The [site_works] table of the study file, with the defaults of the stage."""

from __future__ import annotations

from typing import Literal

from pydantic import BaseModel, ConfigDict, Field, model_validator

from rainharvest.core.defaults import Default
from rainharvest.core.errors import InputError
from rainharvest.core.tables import Table

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
    """A trial pit, filled and left to drain at least three times on the same or on following days.

    Parameters
    ----------
    pit_length, pit_width : float [m]
        Sides of the pit.
    pit_depth : float [m]
        Depth of the water at the start, the effective depth.
    minutes : tuple of float [min]
        Time from three quarters full to one quarter full, of each filling.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    pit_length: float = Field(gt=0, le=20, description="length of the pit [m]")
    pit_width: float = Field(gt=0, le=20, description="width of the pit [m]")
    pit_depth: float = Field(gt=0, le=10, description="water at the start [m]")
    minutes: tuple[float, ...] = Field(min_length=1, max_length=20, description="from 75 to 25 % full [min]")

    @property
    def complete(self) -> bool:
        """Whether it was filled three times, as the method asks."""
        return len(self.minutes) >= 3


class PumpPlan(Table):
    """A pump, where the taps stand too high for the water's own weight.

    Parameters
    ----------
    highest_tap : float [m]
        Highest tap above the ground on which the tank's base stands.
    pressure : float [kPa]
        Wanted there.
    flow : float [L/s]
        Wanted with as many taps open as are open at once.
    pipe_length : float [m]
        Straight pipe from the pump to that tap.
    pipe_bore : float [mm]
        Its inside diameter.
    shut_off_head : float [m], optional
        Head of the chosen pump at no flow; with ``most_flow``.
    most_flow : float [L/s], optional
        Flow of the chosen pump at no head.
    pump_efficiency, motor_efficiency : float [1]
        Of the pump at its duty and of the motor.
    cut_in, cut_out : float [kPa], optional
        Pressures at the pump at which it starts and stops.
    vessel_volume : float [L], optional
        Pressure vessel that is there; without one, the one needed is worked out.
    most_starts : float [1/h]
        Starts an hour that the motor bears.
    """

    highest_tap: float = Field(ge=-50, le=200)
    pressure: float = Field(FIXTURE_PRESSURE.value, ge=0, le=1000)
    flow: float = Field(FIXTURE_FLOW.value, gt=0, le=100)
    pipe_length: float = Field(20.0, ge=0, le=5000)
    pipe_bore: float = Field(25.0, gt=0, le=500)
    shut_off_head: float | None = Field(None, gt=0, le=500)
    most_flow: float | None = Field(None, gt=0, le=1000)
    pump_efficiency: float = Field(PUMP_EFFICIENCY.value, gt=0, le=1)
    motor_efficiency: float = Field(MOTOR_EFFICIENCY.value, gt=0, le=1)
    cut_in: float | None = Field(None, ge=0, le=1500)
    cut_out: float | None = Field(None, gt=0, le=2000)
    vessel_volume: float | None = Field(None, gt=0, le=10_000)
    most_starts: float = Field(STARTS.value, gt=0, le=200)

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
    """Ground, tank, tap, overflow and treatment of a site; everything may be left out.

    Parameters
    ----------
    form : str
        Shape of the tank: "upright", "horizontal" or "rectangular".
    tanks : int [1]
        How many alike.
    height : float [m], optional
        Inside height of a tank, the diameter of one on its side; as the inlet allows, 2 m at most, if not given.
    tank_width : float [m], optional
        Width of a rectangular tank.
    empty_mass : float [kg], optional
        Mass of one empty tank.
    ground : str
        A key of `rainharvest.siteworks.base.GROUNDS`.
    bearing : float [kPa], optional
        What an engineer allows.
    slab_thickness, slab_margin : float [m]
        Of the concrete; a thickness of zero is a prepared bed.
    stand : float [m]
        Height of a stand on it.
    tap_height : float [m], optional
        Mouth of the tap above the ground; at the level of the outlet if not given.
    tap_run : float [m]
        Pipe to the tap; zero for a tap in the wall of the tank.
    tap_bore : float [mm]
        Its inside diameter.
    bucket : float [L]
        What is filled.
    bucket_height : float [m]
        How high that is.
    overflow_to : str
        "soakaway", "garden", "drain" or "watercourse".
    overflow_run : float [m]
        Length of the overflow pipe.
    design_intensity : float [mm/h]
        Rain of the design storm.
    storm_minutes : list of float [min], optional
        Durations of the storms that the local rules name; with ``storm_depths``.
    storm_depths : list of float [mm], optional
        Their depths.
    trial_pit : TrialPit, optional
        What was measured in a trial pit.
    soakaway_width, soakaway_depth : float [m]
        Of the soakaway; its length is worked out.
    voids : float [1]
        Share of it that water can fill.
    building_distance, boundary_distance, soakaway_distance, opening : float [m], optional
        What was measured, as `rainharvest.siteworks.upkeep.Distances`.
    shaded : bool, optional
        Whether the tank stands in the shade at noon.
    disinfect : str
        "ultraviolet", "chlorine" or "both", for what must be disinfected.
    mains_bore : float [mm]
        Bore of the mains inlet, for its air gap.
    wet_month : int [1]
        Month in which the rains begin.
    pump : PumpPlan, optional
        The pump; without one the water comes by its own weight.
    prices : dict of str to float
        Price of each part by its name on the list of parts.
    """

    form: Literal["upright", "horizontal", "rectangular"] = "upright"
    tanks: int = Field(1, ge=1, le=100)
    height: float | None = Field(None, gt=0, le=50)
    tank_width: float | None = Field(None, gt=0, le=200)
    empty_mass: float | None = Field(None, ge=0, le=1e6)
    ground: Literal[
        "bedrock", "layered rock", "gravel", "sand", "clay", "expansive clay", "fill", "peat", "unknown"
    ] = GROUND
    bearing: float | None = Field(None, gt=0, le=10_000)
    slab_thickness: float = Field(SLAB_THICKNESS.value, ge=0, le=2)
    slab_margin: float = Field(SLAB_MARGIN.value, ge=0, le=5)
    stand: float = Field(0.0, ge=0, le=30)
    tap_height: float | None = Field(None, le=100)
    tap_run: float = Field(0.0, ge=0, le=1000)
    tap_bore: float = Field(TAP_BORE.value, gt=0, le=200)
    bucket: float = Field(BUCKET.value, gt=0, le=1000)
    bucket_height: float = Field(BUCKET_HEIGHT.value, gt=0, le=2)
    overflow_to: Literal["soakaway", "garden", "drain", "watercourse"] = "soakaway"
    overflow_run: float = Field(6.0, ge=0, le=1000)
    design_intensity: float = Field(DESIGN_INTENSITY.value, gt=0, le=1000)
    storm_minutes: tuple[float, ...] | None = Field(None, min_length=1, max_length=100)
    storm_depths: tuple[float, ...] | None = Field(None, min_length=1, max_length=100)
    trial_pit: TrialPit | None = None
    soakaway_width: float = Field(1.0, gt=0, le=50)
    soakaway_depth: float = Field(1.5, gt=0, le=10)
    voids: float = Field(VOIDS.value, gt=0, le=1)
    building_distance: float | None = Field(None, ge=0, le=10_000)
    boundary_distance: float | None = Field(None, ge=0, le=10_000)
    soakaway_distance: float | None = Field(None, ge=0, le=10_000)
    opening: float | None = Field(None, gt=0, le=1000)
    shaded: bool | None = None
    disinfect: Literal["ultraviolet", "chlorine", "both"] = "ultraviolet"
    mains_bore: float = Field(20.0, gt=0, le=300)
    wet_month: int = Field(1, ge=1, le=12)
    pump: PumpPlan | None = None
    prices: dict[str, float] = Field(default_factory=dict)

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
