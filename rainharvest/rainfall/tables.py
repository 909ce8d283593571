"""The [rain] table of the study file."""

from __future__ import annotations

from pydantic import Field

from rainharvest.core.tables import Table, file_name


class Rain(Table):
    """The rain files and how they are read and filled.

    ``column``, ``units``, ``day_first``, ``at`` and ``blank_is_zero`` are what `rainharvest.read_rain` asks for
    where a file leaves doubt; each is used only for a file that does, and refused where none does and the record's own
    file says otherwise.
    """

    file: str = file_name(min_length=1, examples=["records/my_gauge.csv"])
    """The station's record."""

    neighbours: tuple[str, ...] = file_name((), examples=[["records/its_neighbour.csv"]])
    """Records of stations near it."""

    column: str | None = Field(None, examples=["rain_mm"])
    """Name of the column of rain, where a file leaves doubt."""

    units: str | None = Field(None, examples=["mm"])
    """Unit of the rain, where a file leaves doubt."""

    day_first: bool | None = Field(None, examples=[True])
    """Whether 03/04/2020 is the third of April, where a file leaves doubt."""

    at: tuple[float, float] | str | None = Field(None, examples=[[-33.42, 4.85]])
    """Latitude and longitude in a gridded file, or the station or sheet in a file with several."""

    blank_is_zero: bool | None = Field(None, examples=[True])
    """Whether a blank means no rain, where a file leaves doubt."""

    gaps_end_in_totals: bool | None = Field(None, examples=[True])
    """Whether the reading after a gap of a month or less is the total of the gap's days too; worked out from
    the readings where not given."""

    members: int = Field(20, ge=1, le=200)
    """Equally likely filled versions of the record; 20 by own choice."""

    seed: int = Field(0, ge=0)
    """The number that makes the filling repeatable."""

    year_start_month: int | None = Field(None, ge=1, le=12, examples=[7])
    """First month of the hydrological year; the one after the driest three months in a row if not given."""
