"""The study file of many climates: one building, and a grid or a list of places to put it to."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Literal

from pydantic import Field, ValidationError, model_validator

from rainharvest.catchment.hydraulics import STANDING_LIMIT
from rainharvest.catchment.intensity import CLIMATES
from rainharvest.catchment.tables import Catchment, Conveyance, Losses, Roof
from rainharvest.core.errors import InputError, require
from rainharvest.core.mistakes import StudyFileError, found_by_pydantic, read_toml
from rainharvest.core.tables import Table, quantity
from rainharvest.demand.tables import Calendar, Use
from rainharvest.demand.uses import may_serve
from rainharvest.sizing.tables import Target
from rainharvest.storage.tables import Tank

Files = str | tuple[str, ...]


class GridFile(Table):
    """Gridded daily rain: ``file`` is a file, a Zarr folder, a pattern or a list; ``region`` is S, N, W, E.

    ``column``, ``units``, ``mask`` and ``region`` are what `rainharvest.climates.grid.open_grid` asks for.
    """

    file: Files = Field(examples=["rain_*.nc"])
    """A file, a Zarr folder, a pattern, or a list of them."""

    column: str | None = Field(None, examples=["pr"])
    """Name of the variable or column of rain, where a file leaves doubt."""

    units: str | None = Field(None, examples=["mm/day"])
    """Unit of the rain, where a file leaves doubt."""

    mask: str | None = Field(None, examples=["land"])
    """Name of the variable that says which cells count."""

    region: tuple[float, float, float, float] | None = Field(None, examples=[[-35.0, -30.0, 2.0, 8.0]])
    """The edges south, north, west and east."""


class Place(Table):
    """One place of a list: its rain file, neighbours to fill it from, where it lies and how hard it rains there."""

    name: str = Field(min_length=1, max_length=60, examples=["Hilltown"])
    """What the place is called."""

    file: str = Field(min_length=1, examples=["records/hilltown.csv"])
    """Its rain file."""

    column: str | None = Field(None, examples=["pr"])
    """Name of the variable or column of rain, where a file leaves doubt."""

    units: str | None = Field(None, examples=["mm/day"])
    """Unit of the rain, where a file leaves doubt."""

    site: str | None = Field(None, examples=["Hilltown"])
    """Name of its site, in a file of many."""

    neighbours: tuple[str, ...] = Field((), examples=[["records/near.csv"]])
    """Rain files near it, to fill it from."""

    latitude: float | None = quantity("°", None, ge=-90, le=90, examples=[-33.4])
    """Where it lies, south below zero; in a grid, which cell."""

    longitude: float | None = quantity("°", None, ge=-180, le=360, examples=[4.9])
    """Where it lies, west below zero or up to 360."""

    hardness: Literal[*CLIMATES] | None = Field(None, examples=["monsoon"])
    """How hard it rains there; left out, as in ``[losses]``, and where that is silent by the latitude."""

    @model_validator(mode="after")
    def _both_or_neither(self):
        both = (self.latitude is None) == (self.longitude is None)
        require(both, "one of latitude and longitude is missing", "give both, or leave both out", "latitude")
        return self


class Model(Table):
    """A climate model in two periods, whose change is laid on the records of the places."""

    name: str = Field(min_length=1, max_length=60, examples=["model A, 2050"])
    """What it is called."""

    historical: Files = Field(examples=["a/pr_hist_*.nc"])
    """Its daily rain of the past: a file, a pattern, or a list."""

    future: Files = Field(examples=["a/pr_2036-2065_*.nc"])
    """Its daily rain of the period asked about, likewise."""

    column: str | None = Field(None, examples=["pr"])
    """Name of the variable or column of rain, where a file leaves doubt."""

    units: str | None = Field(None, examples=["kg m-2 s-1"])
    """Unit of the rain, where a file leaves doubt."""


class Region(Table):
    """A study over many climates, as its file states it."""

    title: str = Field(min_length=1, max_length=160, examples=["One school in four climates"])
    """What the study is called."""

    grid: GridFile | None = None
    """Gridded rain, instead of places."""

    place: tuple[Place, ...] = Field((), max_length=500)
    """The places of a list."""

    model: tuple[Model, ...] = Field((), max_length=100)
    """Climate models whose change is laid on the records of the places."""

    common_period: bool = False
    """Whether places are cut to the days that all share; each has its own record otherwise."""

    roof: tuple[Roof, ...] = Field(min_length=1, max_length=100)
    """The roofs of the building."""

    conveyance: dict[str, Conveyance] = Field(default_factory=dict)
    """Runs of pipe to compare, each a table with a name."""

    losses: Losses = Losses()
    """What stands between roof and tank."""

    calendar: Calendar = Calendar()
    """The days on which the building is used."""

    use: tuple[Use, ...] = Field(min_length=1, max_length=200)
    """The uses of water."""

    tank: Tank = Tank()
    """The tank and the sizes to try."""

    arrangements: tuple[Literal["rain only", "combined"], ...] = Field(("rain only",), min_length=1)
    """Which arrangements to compare."""

    target: Target = Target()
    """What the tank must reach."""

    best_bore: bool = True
    """Whether each place is also given the bore that suits it."""

    standing_limit: float = quantity("day", STANDING_LIMIT, gt=0, le=365)
    """Standing water older than this counts as too old."""

    year_start_month: int = Field(1, ge=1, le=12)
    """First month of the hydrological year."""

    @model_validator(mode="after")
    def _fits_together(self):
        if (self.grid is None) == (not self.place):
            raise InputError("the rain is given twice or not at all", "give [grid], or [[place]] tables")
        for what, rows in (("places", self.place), ("models", self.model)):
            names = [row.name for row in rows]
            for name in dict.fromkeys(name for name in names if names.count(name) > 1):
                raise InputError(f'two {what} bear the name "{name}"', "give each its own name")
        known = not self.model or (self.place and all(one.latitude is not None for one in self.place))
        remedy = "give [[place]] tables with latitude and longitude, or leave [[model]] out"
        require(
            known, "a model's change is laid on the records of places that are on the map", remedy, "model"
        )
        grows = bool(self.place) and self.calendar.growth != 0 and not self.common_period
        require(
            not grows,
            "the demand grows from year to year, and each place has years of its own",
            "set common_period = true, or leave growth out",
            "calendar.growth",
        )
        for use in self.use:
            for kind in self.arrangements:
                if not may_serve(kind, use.quality):
                    raise InputError(
                        f'"{use.name}" needs drinking quality, which {kind} may not serve',
                        'leave it out, or set arrangements = ["combined"] (with treatment)',
                    )
        self.catchments  # noqa: B018 - says what does not fit between roofs and conveyance
        return self

    @property
    def catchments(self) -> dict[str, Catchment]:
        """The roofs with each run of pipe, by its name; without any, the roofs alone."""
        given = self.losses.model_dump(exclude={"intensity"}, exclude_none=True)
        runs = self.conveyance or {"no run of pipe": None}
        return {name: Catchment(roofs=self.roof, conveyance=run, **given) for name, run in runs.items()}


def read_region(path: str | os.PathLike) -> tuple[Region, str]:
    """Read the study file of many climates."""
    path = Path(path)
    data, text = read_toml(path)
    try:
        return Region.model_validate(data, context={"folder": path.parent}), text
    except ValidationError as error:
        raise StudyFileError([m.error(path) for m in found_by_pydantic(error, Region, data)]) from None
