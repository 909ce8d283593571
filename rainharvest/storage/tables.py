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
        "L", None, min_length=2, likely=(0, 100000000), examples=[[10000, 20000, 40000]]
    )
    """Nominal sizes to try; a spread from half a day's demand to a year's if not given."""

    chosen: float | None = quantity("L", None, gt=0, le=1e9, likely=(0, 10000000), examples=[25000])
    """Nominal size that is decided on, with a catalogue the cheapest tanks on offer that hold it; if not
    given, the smallest that reaches the target."""

    dead_share: float = quantity("1", DEFAULTS["dead_share"], ge=0, le=0.9)
    """Share of the nominal size below the outlet."""

    freeboard_share: float = quantity("1", DEFAULTS["freeboard_share"], ge=0, le=0.9)
    """Share of the nominal size above the overflow."""

    start_share: float = quantity("1", 0.0, ge=0, le=1)
    """Share of the usable size that is full on the first morning."""

    theta: float = quantity("1", 0.0, ge=0, le=1)
    """0 for yield after spillage, 1 for yield before spillage."""

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
        return round(1.0 - self.dead_share - self.freeboard_share, 12)  # 0.9, not 0.8999999999999999

    def usable(self, nominal: float) -> float:
        """Return the usable volume of a nominal size."""
        return nominal * self.usable_share


class Spells(Table):
    """Random interruptions of the mains, as `rainharvest.demand.mains.mains_in_spells` makes them."""

    spell_length: float = quantity("day", gt=0, le=3650, examples=[3])
    """Mean length of a spell without mains."""

    interruptions_a_year: float = quantity("1/year", gt=0, le=2000, examples=[6])
    """Mean number of spells a year."""

    seed: int = quantity("1", 0, ge=0)
    """The number that makes them repeatable."""

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

    kind: Literal["rain only", "combined", "mains reserve"] = "rain only"
    """What fills the tank and stands behind it."""

    treated: bool = False
    """Rain only, no mains: filtered and disinfected, it may serve drinking and washing too."""

    change_over: bool = False
    """Combined: feed the fixtures from the mains when the tank is empty, instead of a top-up."""

    top_up_trigger: float = Field(0.1, ge=0, le=1)
    """Combined: share of the tank at which the mains valve opens."""

    top_up_level: float = Field(0.2, ge=0, le=1)
    """Combined: share of the tank at which the mains valve shuts."""

    top_up_rate: float | None = quantity("L/day", None, ge=0, examples=[9000])
    """Most mains water in a day; unlimited by default."""

    mains_off: Rules = Field((), examples=[["sun"]])
    """Days without mains: days of the week, dates, or spans by rule."""

    mains_hours: dict[str, float] = quantity(
        "h",
        schema={"additionalProperties": {"type": "number", "minimum": 0, "maximum": 24}},
        default_factory=dict,
        examples=[{"sat": 12}],
    )
    """Hours of supply by day of the week; all day where a day is not named."""

    spells: Spells | None = None
    """Random interruptions."""

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
        for name, none in (("mains_off", "[]"), ("top_up_rate", "0")):
            require(
                self.kind != "rain only" or not getattr(self, name),
                f'{name} has no meaning for "{self.kind}": the mains never reach that tank',
                f'leave it out (in an option: {name} = {none}), or set kind = "combined"',
            )
        require(
            self.kind != "combined" or self.change_over or self.top_up_trigger <= self.top_up_level,
            f"the mains valve opens at {self.top_up_trigger:g} of the tank and shuts at {self.top_up_level:g}",
            "let top_up_level be no lower than top_up_trigger",
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

    level: float = Field(gt=0, le=1, examples=[0.4])
    """Share of the usable size below which the stage holds."""

    share: float = Field(ge=0, le=1, examples=[0.3])
    """Share of the uses that can wait which is still served."""
