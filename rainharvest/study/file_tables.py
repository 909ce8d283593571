"""Tables of the study file: the site, its rain, what stands between roof and tank, the aim, prices, the report."""

from __future__ import annotations

from typing import Literal

from pydantic import BaseModel, ConfigDict, Field, field_validator

from rainharvest.catchment.intensity import CLIMATES, Intensity
from rainharvest.catchment.parts import INTENSITY
from rainharvest.errors import InputError
from rainharvest.reader import Dates, Numbers


class Table(BaseModel):
    """A table of the study file: frozen, and without a key that it does not know."""

    model_config = ConfigDict(frozen=True, extra="forbid")


class Site(Table):
    """Where the building stands.

    Parameters
    ----------
    elevation : float [m]
        Height above the sea.
    """

    name: str = Field(min_length=1, max_length=120)
    latitude: float | None = Field(None, ge=-90, le=90)
    longitude: float | None = Field(None, ge=-180, le=360)
    elevation: float | None = Field(None, ge=-450, le=9000)
    invented: bool = False
    note: str = ""


class Rain(Table):
    """The rain files and how they are read and filled.

    ``column``, ``units``, ``day_first``, ``at`` and ``blank_is_zero`` are what `rainharvest.read_rain` asks for
    where a file leaves doubt; each is used only for a file that does.
    """

    file: str = Field(min_length=1)
    neighbours: tuple[str, ...] = ()
    column: str | None = None
    units: str | None = None
    day_first: bool | None = None
    at: tuple[float, float] | str | None = None
    blank_is_zero: bool | None = None
    members: int = Field(20, ge=1, le=200)
    seed: int = Field(0, ge=0)
    year_start_month: int | None = Field(None, ge=1, le=12)


class Losses(Table):
    """What stands between roof and tank; what is left out takes the catchment's defaults.

    ``intensity`` says how hard it rains, which matters where a gutter or pipe has a limit: the name of a climate of
    `rainharvest.catchment.intensity.CLIMATES`, or a table with what hourly rain of the place gave.

    Parameters
    ----------
    first_flush : float [mm]
        Depth of runoff turned away at the start of an event.
    first_flush_bleed : float [L/day]
        What the bleed of each roof's first-flush space lets out.
    """

    first_flush: float | None = Field(None, ge=0, le=100)
    first_flush_bleed: float | None = Field(None, ge=0, le=1e5)
    first_flush_reset: float | None = Field(None, ge=1, le=3650)
    filter_efficiency: float | None = Field(None, ge=0, le=1)
    intensity: Intensity = INTENSITY

    @field_validator("intensity", mode="before")
    @classmethod
    def _by_name(cls, value: object) -> object:
        if not isinstance(value, str):
            return value
        if value not in CLIMATES:
            raise InputError(f'no climate is called "{value}"', f"choose one of {', '.join(CLIMATES)}")
        return CLIMATES[value]


class Rationing(Table):
    """One stage of rationing: below a share of the usable size, non-essential uses keep a share."""

    level: float = Field(gt=0, le=1)
    share: float = Field(ge=0, le=1)


class Target(Table):
    """What the tank must reach."""

    reliability: float = Field(0.9, gt=0, le=1)
    measure: Literal["volume_reliability", "time_reliability"] = "volume_reliability"


class Report(Table):
    """For whom the report is, and in what form they read numbers and dates (see `rainharvest.reader`)."""

    client: str = ""
    author: str = ""
    note: str = ""
    numbers: Numbers = "1,234.5"
    dates: Dates | None = None
