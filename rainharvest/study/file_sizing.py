"""The tables of the study file on the tank-size decision: how it is decided, and which tanks can be bought."""

from __future__ import annotations

from pydantic import Field, field_validator, model_validator

from rainharvest.errors import InputError
from rainharvest.sizing.ladder import TARGETS
from rainharvest.study.file_tables import Table

Pair = tuple[float, float]


class Ranges(Table):
    """How far an input may be from what the study says: low and high factors on it, as the study judges."""

    runoff_coefficient: Pair | None = None
    losses: Pair | None = None
    filter_efficiency: Pair | None = None
    demand: Pair | None = None

    @field_validator("*")
    @classmethod
    def _rises(cls, pair: Pair | None) -> Pair | None:
        if pair is not None and not 0 <= pair[0] <= 1 <= pair[1] <= 10:
            raise InputError(
                f"factors from {pair[0]:g} to {pair[1]:g}", "give a low factor up to 1 and a high one from 1"
            )
        return pair


class Sizing(Table):
    """How the size is decided.

    Parameters
    ----------
    targets : list of float
        Reliabilities whose smallest sizes are listed.
    draws : int
        Equally likely versions of everything uncertain that are simulated; 100 by own choice, as many as the
        band was tested with (`tests/sizing/test_band_covers.py`).
    seed : int
        Makes them repeatable.
    block_years : int, optional
        Years that are drawn together, so that droughts of several years stay whole.
    ranges : Ranges
        How far coefficient, losses, filter and demand may be off.
    finer_rain : str
        A file of hourly or finer rain near the site, to hold the daily step to account.
    finer_units : str, optional
        Its unit, where the file leaves doubt.
    draw_hours : pair of float
        Hours of the day between which water is drawn, for that comparison; 7 to 19 by own choice.
    """

    targets: tuple[float, ...] = Field(TARGETS, min_length=1, max_length=12)
    draws: int = Field(100, ge=20, le=5000)
    seed: int = Field(0, ge=0)
    block_years: int | None = Field(None, ge=1, le=30)
    ranges: Ranges = Ranges()
    finer_rain: str = ""
    finer_units: str | None = None
    draw_hours: Pair = (7.0, 19.0)

    @field_validator("targets")
    @classmethod
    def _are_shares(cls, targets: tuple[float, ...]) -> tuple[float, ...]:
        for target in targets:
            if not 0 < target <= 1:
                raise InputError(f"{target:g} is no reliability to reach", "give shares above 0 and up to 1")
        return tuple(sorted(set(targets)))

    @model_validator(mode="after")
    def _hours_rise(self):
        begin, end = self.draw_hours
        if not 0 <= begin < end <= 24:
            raise InputError(
                f"water is drawn from {begin:g} h to {end:g} h", "give two hours of one day, rising"
            )
        return self


class Catalogue(Table):
    """Which tanks can be bought and what fits on the site.

    Parameters
    ----------
    file : str
        A CSV file of tanks, from the folder of the study file.
    most_linked : int
        Most tanks that may be linked to one store.
    link_price : float
        Price of joining one more tank.
    most_height : float [m], optional
        Tallest tank that fits.
    most_footprint : float [m2], optional
        Plan area that there is for the tanks.
    """

    file: str = Field(min_length=1)
    most_linked: int = Field(4, ge=1, le=10)
    link_price: float = Field(0.0, ge=0)
    most_height: float | None = Field(None, gt=0, le=50)
    most_footprint: float | None = Field(None, gt=0, le=1e5)
