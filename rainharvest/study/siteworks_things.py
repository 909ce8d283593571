"""What the site works are worked out from, and what they come to."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd
import xarray as xr

from rainharvest.catchment.conveyance import Conveyance
from rainharvest.catchment.levels import Levels
from rainharvest.catchment.overflow import PeakOverflow
from rainharvest.catchment.parts import Catchment
from rainharvest.siteworks.base import Base
from rainharvest.siteworks.gravity import Tap, tap_height_needed
from rainharvest.siteworks.overflow_pipe import OverflowPipe
from rainharvest.siteworks.vessel import Vessel
from rainharvest.study.file_siteworks import SiteWorks
from rainharvest.study.siteworks_pump import PumpWorks


@dataclass(frozen=True)
class Given:
    """What the site works take from the rest of the study.

    Parameters
    ----------
    nominal : float [L]
        Nominal size of the tank.
    dead_share, freeboard_share : float [1]
        Shares of it below the outlet and above the overflow.
    mean_demand : float [L/day]
        What is drawn on a mean day.
    arrangement : str
        "mains reserve", "rain only" or "combined".
    qualities : dict of str to str
        Quality that each thing that draws water needs, by its name.
    catchment : Catchment or None
        Roofs and run of pipe; None without a roof.
    daily : Dataset or None
        ``inflow``, ``spilled_daily``, ``stored`` on ``time``; None where no rain enters.
    ten_year_day : float [mm/day]
        As heavy a day as comes once in ten years.
    """

    nominal: float
    dead_share: float
    freeboard_share: float
    mean_demand: float
    arrangement: str
    qualities: dict[str, str]
    catchment: Catchment | None
    daily: xr.Dataset | None
    ten_year_day: float

    @property
    def conveyance(self) -> Conveyance | None:
        """The run of pipe, where there is one."""
        return None if self.catchment is None else self.catchment.conveyance


@dataclass(frozen=True)
class Works:
    """The site works: everything that is drawn, said and listed.

    Parameters
    ----------
    site : SiteWorks
        What was asked.
    given : Given
        What the study gave.
    vessel : Vessel
        The tank.
    base : Base
        What one tank stands on.
    tap : Tap
        The tap that is fed by the water's own weight.
    below_tap : float [L]
        Water above the outlet that does not reach it.
    gauge : Dataset
        On ``water_level``: litres, days, and pressure, flow and filling time at the tap.
    levels : Levels or None
        Where the run from the roof lies in the design storm; None where there is none.
    peak : PeakOverflow or None
        What the overflow must pass; None where no roof feeds the tank.
    overflow : OverflowPipe or None
        The overflow; None where it cannot be made, see ``overflow_answer``.
    overflow_answer, soakaway_answer : str
        Why not, in plain words; empty where it can.
    spills : Dataset or None
        As `rainharvest.catchment.overflow.daily_overflow`.
    soakaway : Dataset or None
        As `rainharvest.siteworks.soakaway.size_soakaway`.
    storms : Dataset or None
        As `rainharvest.siteworks.storms.biggest_storms`.
    pump : PumpWorks or None
        The pump, where there is one.
    checks, treatment, tests, upkeep, parts : DataFrame
        Tables of the rooms of their names.
    ticks : tuple of str
        The check list.
    """

    site: SiteWorks
    given: Given
    vessel: Vessel
    base: Base
    tap: Tap
    below_tap: float
    gauge: xr.Dataset
    levels: Levels | None
    peak: PeakOverflow | None
    overflow: OverflowPipe | None
    overflow_answer: str
    spills: xr.Dataset | None
    soakaway: xr.Dataset | None
    soakaway_answer: str
    storms: xr.Dataset | None
    pump: PumpWorks | None
    checks: pd.DataFrame
    treatment: pd.DataFrame
    tests: pd.DataFrame
    upkeep: pd.DataFrame
    parts: pd.DataFrame
    ticks: tuple[str, ...]

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
