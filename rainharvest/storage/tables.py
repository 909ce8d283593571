"""The tables of the study file on the tank and how rain and mains supply the building."""

from __future__ import annotations

from itertools import pairwise
from typing import Literal

from pydantic import Field, field_validator, model_validator

from rainharvest.core.defaults import defaults_of
from rainharvest.core.errors import require
from rainharvest.core.tables import Table, quantity
from rainharvest.demand.periods import Rules, weekday

DEFAULTS = defaults_of("storage")


class Tank(Table):
    """What of a tank's nominal size can be used, and how the study runs it.

    >>> Tank(dead_share=0.1, freeboard_share=0.1).usable(10_000.0)
    8000.0
    """

    sizes: tuple[float, ...] | None = quantity(
        "L",
        "Nominal sizes to try; a spread from half a day's demand to a year's if not given.",
        None,
        min_length=2,
        likely=(0, 100000000),
        examples=[[10000, 20000, 40000]],
    )
    chosen: float | None = quantity(
        "L",
        "Nominal size that is decided on, with a catalogue the cheapest tanks on offer that hold it; if not given, the "
        "smallest that reaches the target.",
        None,
        gt=0,
        le=1e9,
        likely=(0, 10000000),
        examples=[25000],
    )
    dead_share: float = quantity(
        "1", "Share of the nominal size below the outlet.", DEFAULTS["dead_share"], ge=0, le=0.9
    )
    freeboard_share: float = quantity(
        "1", "Share of the nominal size above the overflow.", DEFAULTS["freeboard_share"], ge=0, le=0.9
    )
    start_share: float = quantity(
        "1", "Share of the usable size that is full on the first morning.", 0.0, ge=0, le=1
    )
    theta: float = quantity("1", "0 for yield after spillage, 1 for yield before spillage.", 0.0, ge=0, le=1)

    @model_validator(mode="after")
    def _leaves_something(self):
        require(
            self.dead_share + self.freeboard_share < 1,
            "dead_share and freeboard_share leave nothing to use",
            "make them add up to less than 1",
        )
        rising = not self.sizes or all(b > a for a, b in pairwise((0, *self.sizes)))
        require(rising, "sizes must rise from above zero", "give each size once, smallest first")
        return self

    @property
    def usable_share(self) -> float:
        """Share of the nominal size between outlet and overflow."""
        return 1.0 - self.dead_share - self.freeboard_share

    def usable(self, nominal: float) -> float:
        """Return the usable volume of a nominal size."""
        return nominal * self.usable_share


class Spells(Table):
    """Random interruptions of the mains, as `rainharvest.demand.mains.mains_in_spells` makes them."""

    spell_length: float = quantity(
        "day", "Mean length of a spell without mains.", gt=0, le=3650, allow_inf_nan=False, examples=[3]
    )
    interruptions_a_year: float = quantity(
        "1/year", "Mean number of spells a year.", gt=0, le=2000, allow_inf_nan=False, examples=[6]
    )
    seed: int = quantity("1", "The number that makes them repeatable.", 0, ge=0)

    @model_validator(mode="after")
    def _leave_some_supply(self):
        require(
            self.spell_length * self.interruptions_a_year < 365.25,
            f"{self.interruptions_a_year:g} spells of {self.spell_length:g} days fill more than the year",
            "give fewer or shorter ones",
        )
        return self


class Arrangement(Table):
    """How rain and mains supply the building; levels are shares of the usable size.

    The mains are on but for the days of ``mains_off``, the hours that ``mains_hours`` takes from a day of the
    week, and the random ``spells``; where several are given they all hold.
    """

    kind: Literal["rain only", "combined", "mains reserve"] = Field(
        "rain only", description="What fills the tank and stands behind it."
    )
    treated: bool = Field(
        False,
        description="Rain only, no mains: filtered and disinfected, it may serve drinking and washing too.",
    )
    change_over: bool = Field(
        False,
        description="Combined: feed the fixtures from the mains when the tank is empty, instead of a top-up.",
    )
    top_up_trigger: float = Field(
        0.1, ge=0, le=1, description="Combined: share of the tank at which the mains valve opens."
    )
    top_up_level: float = Field(
        0.2, ge=0, le=1, description="Combined: share of the tank at which the mains valve shuts."
    )
    top_up_rate: float | None = quantity(
        "L/day", "Most mains water in a day; unlimited by default.", None, ge=0, examples=[9000]
    )
    mains_off: Rules = Field(
        (), description="Days without mains: days of the week, dates, or spans by rule.", examples=[["sun"]]
    )
    mains_hours: dict[str, float] = quantity(
        "h",
        "Hours of supply by day of the week; all day where a day is not named.",
        schema={"additionalProperties": {"type": "number", "minimum": 0, "maximum": 24}},
        default_factory=dict,
        examples=[{"sat": 12}],
    )
    spells: Spells | None = Field(None, description="Random interruptions.")

    @field_validator("mains_hours")
    @classmethod
    def _known_hours(cls, hours: dict[str, float]) -> dict[str, float]:
        for name, value in hours.items():
            require(0 <= value <= 24, f"{value:g} hours on {name}", "give hours between 0 and 24")
        return {weekday(name): value for name, value in hours.items()}

    @model_validator(mode="after")
    def _makes_sense(self):
        require(
            self.kind != "mains reserve" or self.mains_off or self.mains_hours or self.spells,
            "a mains reserve has nothing to ride out",
            'give mains_off, the days without mains, such as ["sat", "sun"], or mains_hours, or spells',
        )
        require(
            self.kind == "combined" or not self.change_over,
            f'change_over has no meaning for "{self.kind}"',
            'leave it out, or set kind = "combined"',
        )
        require(
            self.kind == "rain only" or not self.treated,
            f'treated has no meaning for "{self.kind}"',
            "leave it out: what is drunk is treated there in any case",
        )
        return self

    @property
    def serves_as(self) -> str:
        """What decides which uses the tank may serve: the kind, and whether rain alone is treated."""
        return f"{self.kind}, treated" if self.treated else self.kind


class Rationing(Table):
    """One stage of rationing: below a share of the usable size, non-essential uses keep a share."""

    level: float = Field(
        gt=0, le=1, description="Share of the usable size below which the stage holds.", examples=[0.4]
    )
    share: float = Field(
        ge=0, le=1, description="Share of the uses that can wait which is still served.", examples=[0.3]
    )
