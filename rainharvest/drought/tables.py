"""The [drought] table of the study file, with the defaults of the stage."""

from __future__ import annotations

from pydantic import Field, field_validator, model_validator

from rainharvest.core.defaults import Default
from rainharvest.core.errors import InputError
from rainharvest.core.tables import Table, quantity
from rainharvest.drought.change import Scenario

FAILING_YEARS = Default(
    0.05,
    "1",
    "own choice: essential uses may fail in one year of twenty; ask those who depend on them",
    "own choice",
)

STAGE_SHARES = (
    Default(0.5, "1", "own choice: the first stage serves half of what can wait", "own choice"),
    Default(0.0, "1", "own choice: the second stage serves only what is essential", "own choice"),
)

ESSENTIAL_SHARE = Default(
    0.5, "1", "own choice: where no use is marked essential, half of every use is kept", "own choice"
)

HELP_DAYS = Default(
    14, "day", "own choice: a fortnight to order and bring water; ask who would bring it", "own choice"
)

HELP_RISK = Default(
    0.05,
    "1",
    "own choice: help is called while the tank still lasts until it comes, 19 times in 20",
    "own choice",
)

DRY_SHARE = Default(
    1 / 6,
    "1",
    "own choice, near the 16 % of a standard normal law at -1 or below",
    "own choice",
)

INDEX_MONTHS = Default(6, "1", "own choice: about a dry season", "own choice")


def drought_defaults() -> dict[str, Default]:
    """Return the defaults of the drought stage, for the report's list.

    >>> drought_defaults()["share of years that essential uses may fail"].value
    0.05
    """
    return {
        "share of years that essential uses may fail": FAILING_YEARS,
        "share of what can wait served in stage 1": STAGE_SHARES[0],
        "share of what can wait served in stage 2": STAGE_SHARES[1],
        "share of every use kept where none is marked essential": ESSENTIAL_SHARE,
        "time that help takes": HELP_DAYS,
        "chance of running dry before help comes that is taken": HELP_RISK,
        "share of the years called dry": DRY_SHARE,
        "months of the precipitation index": INDEX_MONTHS,
    }


class Drought(Table):
    """What a study asks about its bad years."""

    may_fail: float = quantity(
        "1", "Share of the years in which essential uses may fail on a day.", FAILING_YEARS, ge=0, lt=1
    )
    stage_shares: tuple[float, ...] = quantity(
        "1",
        "Share of what can wait that each stage of rationing serves, falling.",
        tuple(s.value for s in STAGE_SHARES),
        min_length=1,
        max_length=3,
    )
    essential_share: float = quantity(
        "1",
        "Share of every use that counts as essential where no use is marked so.",
        ESSENTIAL_SHARE,
        gt=0,
        le=1,
    )
    help_days: int = quantity(
        "day", "Days from a call for help until water comes.", int(HELP_DAYS.value), ge=1, le=180
    )
    scenario: tuple[Scenario, ...] = Field(
        (),
        max_length=8,
        description="Climates to try the tank under, with the user's own factors and their source.",
    )

    @field_validator("stage_shares")
    @classmethod
    def _falling(cls, shares: tuple[float, ...]) -> tuple[float, ...]:
        if not all(0 <= s < 1 for s in shares) or list(shares) != sorted(set(shares), reverse=True):
            raise InputError(
                f"stages that serve {list(shares)}", "give falling shares from 0 to below 1: [0.5, 0.0]"
            )
        return shares

    @model_validator(mode="after")
    def _names_once(self):
        names = [one.name for one in self.scenario]
        for name in dict.fromkeys(n for n in names if names.count(n) > 1):
            raise InputError(f'two scenarios bear the name "{name}"', "give each its own name")
        return self
