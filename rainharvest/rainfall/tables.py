"""The [rain] table of the study file."""

from __future__ import annotations

from pydantic import Field

from rainharvest.core.tables import Table, file_name


class Rain(Table):
    """The rain files and how they are read and filled.

    ``column``, ``units``, ``day_first``, ``at`` and ``blank_is_zero`` are what `rainharvest.read_rain` asks for
    where a file leaves doubt; each is used only for a file that does.
    """

    file: str = file_name("The station's record.", min_length=1)
    neighbours: tuple[str, ...] = file_name("Records of stations near it.", ())
    column: str | None = None
    units: str | None = None
    day_first: bool | None = None
    at: tuple[float, float] | str | None = None
    blank_is_zero: bool | None = None
    members: int = Field(20, ge=1, le=200)
    seed: int = Field(0, ge=0)
    year_start_month: int | None = Field(None, ge=1, le=12)
