"""The site-works table of the study file: what was measured on the site and chosen for it."""

from __future__ import annotations

from typing import Literal

from pydantic import Field, model_validator

from rainharvest.errors import InputError
from rainharvest.siteworks.defaults import (
    BUCKET,
    BUCKET_HEIGHT,
    DESIGN_INTENSITY,
    FIXTURE_FLOW,
    FIXTURE_PRESSURE,
    GROUND,
    MOTOR_EFFICIENCY,
    PUMP_EFFICIENCY,
    SLAB_MARGIN,
    SLAB_THICKNESS,
    STARTS,
    TAP_BORE,
    VOIDS,
)
from rainharvest.siteworks.soakaway import TrialPit
from rainharvest.study.file_tables import Table


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
        A key of `rainharvest.siteworks.ground.GROUNDS`.
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
        What was measured, as `rainharvest.siteworks.siting.Distances`.
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
