"""The [drought] table of the study file, with the climates that it names."""

from __future__ import annotations

import xarray as xr
from pydantic import Field, field_validator, model_validator

from rainharvest.core.defaults import Default, defaults_of, rows_of
from rainharvest.core.errors import InputError, require
from rainharvest.core.tables import Table, quantity

DEFAULTS = defaults_of("drought")
WORDS = rows_of("drought", "words")
STAGE_SHARES = (DEFAULTS["stage_1"].value, DEFAULTS["stage_2"].value)


class Change(Table):
    """What becomes of one season's rain."""

    months: tuple[int, ...] = quantity("1", tuple(range(1, 13)))
    """The months of the season; all twelve by default."""

    amount: float = quantity("1", 1.0, gt=0, le=10)
    """Factor on the season's total."""

    frequency: float = quantity("1", 1.0, gt=0, le=10)
    """Factor on the share of its days that are wet."""

    intensity: float = quantity("1", 1.0, gt=0, le=10)
    """Factor on how unevenly the wet days share the total: on the coefficient of variation (standard
    deviation over mean) of their depths. Above 1, more of it falls on few heavy days."""

    @field_validator("months")
    @classmethod
    def _are_months(cls, months: tuple[int, ...]) -> tuple[int, ...]:
        once = months and len(set(months)) == len(months) and set(months) <= set(range(1, 13))
        require(once, f"months {list(months)}", "give each month once, from 1 to 12")
        return months

    @property
    def none(self) -> bool:
        """Whether nothing changes."""
        return self.amount == self.frequency == self.intensity == 1


class Scenario(Table):
    """A climate to try the tank under: the user's own factors, from the user's own source.

    >>> Scenario(name="drier", source="reader's own", change=[Change(amount=0.9)]).change[0].frequency
    1.0
    """

    name: str = Field(min_length=1, max_length=60, examples=["drier winters"])
    """What it is called."""

    source: str = Field(min_length=1, max_length=300, examples=["national projections, low case"])
    """Where the factors come from: they are printed with it."""

    change: tuple[Change, ...] = ()
    """One for each season that changes; no month in two."""

    trend_to: int | None = quantity("1", None, ge=1800, le=2300, examples=[2050])
    """Calendar year to which the trend of the record's yearly rain is carried forward; not carried if left
    out."""

    @model_validator(mode="after")
    def _months_once(self):
        months = [month for one in self.change for month in one.months]
        once = len(set(months)) == len(months)
        require(once, "a month stands in two changes", "give each month to one season")
        return self


class Drought(Table):
    """What a study asks about its bad years."""

    may_fail: float = quantity("1", DEFAULTS["failing_years"], ge=0, lt=1)
    """Share of the years in which essential uses may fail on a day."""

    stage_shares: tuple[float, ...] = quantity("1", STAGE_SHARES, min_length=1, max_length=3)
    """Share of what can wait that each stage of rationing serves, falling."""

    essential_share: float = quantity("1", DEFAULTS["essential_share"], gt=0, le=1)
    """Share of every use that counts as essential where no use is marked so."""

    help_days: int = quantity("day", DEFAULTS["help_days"], ge=1, le=180)
    """Days from a call for help until water comes."""

    scenario: tuple[Scenario, ...] = Field((), max_length=8)
    """Climates to try the tank under, with the user's own factors and their source."""

    @field_validator("stage_shares")
    @classmethod
    def _falling(cls, shares: tuple[float, ...]) -> tuple[float, ...]:
        falling = list(shares) == sorted(set(shares), reverse=True) and all(0 <= s < 1 for s in shares)
        require(
            falling, f"stages that serve {list(shares)}", "give falling shares from 0 to below 1: [0.5, 0.0]"
        )
        return shares

    @model_validator(mode="after")
    def _names_once(self):
        names = [one.name for one in self.scenario]
        for name in dict.fromkeys(n for n in names if names.count(n) > 1):
            raise InputError(f'two scenarios bear the name "{name}"', "give each its own name")
        return self


_KEYS = {"failing_years": "may_fail", "stage_1": "stage_shares", "stage_2": "stage_shares"}
_OF_YEARS = ("dry_share", "index_months")


def drought_defaults(drought: Drought, found: xr.Dataset) -> dict[str, Default]:
    """Return the defaults that a drought group's dry years and plan rest on, in the words of the report's list.

    >>> list(drought_defaults(Drought(), xr.Dataset({"dry_by_rain": 1})))
    ['Share of the years called dry', 'Months of the precipitation index']
    """
    own = drought.model_fields_set | ({"essential_share"} if found.attrs.get("essential_marked") else set())
    return {
        WORDS["defaults"][name]: default
        for name, default in DEFAULTS.items()
        if _KEYS.get(name, name) not in own
        and ("dry_by_rain" if name in _OF_YEARS else "stage_level") in found
    }
