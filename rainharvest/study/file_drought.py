"""The drought table of the study file: what may fail, what each stage serves, climates to try."""

from __future__ import annotations

from pydantic import Field, field_validator, model_validator

from rainharvest.drought.change import Scenario
from rainharvest.drought.defaults import ESSENTIAL_SHARE, FAILING_YEARS, HELP_DAYS, STAGE_SHARES
from rainharvest.errors import InputError
from rainharvest.study.file_tables import Table


class Drought(Table):
    """What a study asks about its bad years.

    Parameters
    ----------
    may_fail : float [1]
        Share of the years in which essential uses may fail on a day.
    stage_shares : list of float [1]
        Share of what can wait that each stage of rationing serves, falling.
    essential_share : float [1]
        Share of every use that counts as essential where no use is marked so.
    help_days : int [day]
        Days from a call for help until water comes.
    scenario : list of Scenario
        Climates to try the tank under, with the user's own factors and their source.
    """

    may_fail: float = Field(FAILING_YEARS.value, ge=0, lt=1)
    stage_shares: tuple[float, ...] = Field(tuple(s.value for s in STAGE_SHARES), min_length=1, max_length=3)
    essential_share: float = Field(ESSENTIAL_SHARE.value, gt=0, le=1)
    help_days: int = Field(int(HELP_DAYS.value), ge=1, le=180)
    scenario: tuple[Scenario, ...] = Field((), max_length=8)

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
