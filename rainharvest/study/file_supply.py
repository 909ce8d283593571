"""Tables of the study file: how rain and mains supply the building, and the weather that gardens feel."""

from __future__ import annotations

from typing import Literal

from pydantic import BaseModel, ConfigDict, Field, field_validator, model_validator

from rainharvest.demand.periods import check_rule, weekday
from rainharvest.errors import InputError


class Spells(BaseModel):
    """Random interruptions of the mains, as `rainharvest.demand.mains.mains_in_spells` makes them.

    Parameters
    ----------
    spell_length : float [day]
        Mean length of a spell without mains.
    interruptions_a_year : float [1/year]
        Mean number of spells a year.
    seed : int [1]
        The number that makes them repeatable.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    spell_length: float = Field(gt=0, le=3650, allow_inf_nan=False)
    interruptions_a_year: float = Field(gt=0, le=2000, allow_inf_nan=False)
    seed: int = Field(0, ge=0)

    @model_validator(mode="after")
    def _leave_some_supply(self):
        if self.spell_length * self.interruptions_a_year >= 365.25:
            raise InputError(
                f"{self.interruptions_a_year:g} spells of {self.spell_length:g} days fill more than the year",
                "give fewer or shorter ones",
            )
        return self


class Arrangement(BaseModel):
    """How rain and mains supply the building; levels are shares of the usable size.

    The mains are on but for the days of ``mains_off``, the hours that ``mains_hours`` takes from a day of the
    week, and the random ``spells``; where several are given they all hold.

    Parameters
    ----------
    kind : str
        "rain only", "combined" or "mains reserve".
    change_over : bool
        Combined: feed the fixtures from the mains when the tank is empty, instead of a top-up.
    top_up_trigger, top_up_level : float
        Combined: shares of the tank at which the mains valve opens and shuts.
    top_up_rate : float [L/day], optional
        Most mains water in a day; unlimited by default.
    mains_off : list of str
        Rules for the days without mains (see `rainharvest.demand.periods.check_rule`).
    mains_hours : dict of str to float [h]
        Hours of supply by day of the week; all day where a day is not named.
    spells : Spells, optional
        Random interruptions.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    kind: Literal["rain only", "combined", "mains reserve"] = "rain only"
    change_over: bool = False
    top_up_trigger: float = Field(0.1, ge=0, le=1)
    top_up_level: float = Field(0.2, ge=0, le=1)
    top_up_rate: float | None = Field(None, ge=0)
    mains_off: tuple[str, ...] = ()
    mains_hours: dict[str, float] = Field(default_factory=dict)
    spells: Spells | None = None

    @field_validator("mains_off")
    @classmethod
    def _known_rules(cls, rules: tuple[str, ...]) -> tuple[str, ...]:
        return tuple(check_rule(rule) for rule in rules)

    @field_validator("mains_hours")
    @classmethod
    def _known_hours(cls, hours: dict[str, float]) -> dict[str, float]:
        for name, value in hours.items():
            if not 0 <= value <= 24:
                raise InputError(f"{value:g} hours on {name}", "give hours between 0 and 24")
        return {weekday(name): value for name, value in hours.items()}

    @model_validator(mode="after")
    def _makes_sense(self):
        if self.kind == "mains reserve" and not (self.mains_off or self.mains_hours or self.spells):
            raise InputError(
                "a mains reserve has nothing to ride out",
                'give mains_off, the days without mains, such as ["sat", "sun"], or mains_hours, or spells',
            )
        if self.kind != "combined" and self.change_over:
            raise InputError(
                f'change_over has no meaning for "{self.kind}"', 'leave it out, or set kind = "combined"'
            )
        return self


class Weather(BaseModel):
    """The weather that gardens and pools feel, beside the rain.

    Parameters
    ----------
    evapotranspiration : 12 floats [mm/day]
        Mean reference evapotranspiration of each month, January first.
    source : str
        Where the twelve means come from.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    evapotranspiration: tuple[float, ...] = Field(min_length=12, max_length=12)
    source: str = "given by the user"

    @field_validator("evapotranspiration")
    @classmethod
    def _a_day(cls, monthly: tuple[float, ...]) -> tuple[float, ...]:
        if not all(0 <= mean <= 25 for mean in monthly):
            raise InputError(
                "a month's mean is below 0 or above 25 mm a day", "give means a day, not totals of the month"
            )
        return monthly
