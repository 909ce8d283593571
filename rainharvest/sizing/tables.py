"""The tables of the study file on the tank-size decision: target, ranges, catalogue, prices."""

from __future__ import annotations

from itertools import pairwise
from typing import Literal

import numpy as np
from pydantic import Field, field_validator, model_validator

from rainharvest.core.defaults import Default, defaults_of
from rainharvest.core.errors import InputError, require
from rainharvest.core.tables import Table, file_name, quantity
from rainharvest.sizing.smallest import TARGETS


class Target(Table):
    """What the tank must reach."""

    reliability: float = Field(0.9, gt=0, le=1)
    """Share of the water, or of the days, that the tank must supply; 0.9 by own choice."""

    measure: Literal["volume_reliability", "time_reliability"] = "volume_reliability"
    """Whether the share is of the volume or of the days."""


def real_rate(nominal_rate: float, inflation: float) -> float:
    """Return the real rate that a nominal rate and inflation leave (Fisher relation).

    1 + i = (1 + r)(1 + f), r the real and i the nominal rate, f inflation. The difference i - f is close to
    r only where both are small.

    Fisher, The Theory of Interest, 1930 (from memory, not verified).

    >>> round(real_rate(0.08, 0.05), 5)
    0.02857
    """
    rate = (1.0 + nominal_rate) / (1.0 + inflation) - 1.0
    problem = f"a nominal rate of {nominal_rate:g} below inflation of {inflation:g}"
    require(rate >= -1e-12, problem, "give a nominal rate no lower than inflation", "rate")
    return max(rate, 0.0)


DEFAULTS = defaults_of("sizing")
PUMP_ENERGY, BILLING_MONTHS, LIFE, RATE = (
    DEFAULTS[name] for name in ("pump_energy", "billing_months", "life", "rate")
)


class Part(Table):
    """One part of the system, with a life of its own.

    >>> Part(name="pump", fixed=420, upkeep=15, life=10).price(20_000)
    420.0
    """

    name: str = Field(min_length=1, max_length=80, examples=["pump"])
    """For example "base", "gutters", "pipes", "pump", "treatment"."""

    fixed: float = Field(0.0, ge=0, examples=[420])
    """Price whatever the size of the tank."""

    per_litre: float = quantity("currency/L", 0.0, ge=0)
    """Price for each litre of nominal tank size."""

    upkeep: float = Field(0.0, ge=0)
    """Paid every year."""

    per_kilolitre: float = quantity("currency/kL", 0.0, ge=0)
    """Paid for each kilolitre delivered: filters, lamps, disinfectant."""

    life: float | None = quantity("year", None, gt=0, le=200, examples=[10])
    """After how long it is bought again; the years of the study if not given."""

    def price(self, nominal):
        """Return what the part costs with a tank of that nominal size [L]."""
        return self.fixed + self.per_litre * nominal


class Block(Table):
    """One block of a tariff."""

    up_to: float | None = quantity("kL", None, gt=0, examples=[15])
    """Volume in a billing period up to which it reaches; the last block has none."""

    price: float = quantity("currency/kL", ge=0, examples=[2.4])
    """Price of a kilolitre within it."""


class Costs(Table):
    """Prices of today, in one currency that is only a label: nothing is converted.

    ``fixed``, ``per_litre`` and ``upkeep`` are what lasts as long as the study; ``part`` holds what has a
    life of its own. Where a catalogue prices the tank, its price takes the place of ``per_litre``.

    >>> Costs(rate=0.08, rate_kind="nominal", inflation=0.05).real_rate
    0.0285714
    """

    currency: str = Field("money", min_length=1, max_length=12)
    """The label of every price; nothing is converted."""

    fixed: float = Field(0.0, ge=0)
    """Price of the system whatever the size of the tank."""

    per_litre: float = quantity("currency/L", 0.0, ge=0)
    """Price for each litre of nominal tank size."""

    upkeep: float = Field(0.0, ge=0)
    """Paid every year whatever the size."""

    part: tuple[Part, ...] = Field((), max_length=50)
    """Parts with a life of their own."""

    tariff: float = quantity("currency/kL", 0.0, ge=0)
    """Price of a kilolitre of mains water, where it has no blocks."""

    block: tuple[Block, ...] = Field((), max_length=20)
    """The tariff in blocks, from the first kilolitre up; instead of ``tariff``."""

    billing_months: Literal[1, 2, 3, 4, 6, 12] = quantity("month", int(BILLING_MONTHS.value))
    """Months that a bill covers; matters only with blocks."""

    other_use: float = quantity("L/day", 0.0, ge=0)
    """Mains water that the building uses beside what the tank is asked for: it fills the lower blocks."""

    tariff_growth: float = quantity("1/year", 0.0, gt=-0.5, le=0.5)
    """Yearly growth of the tariff above inflation."""

    energy_price: float = Field(0.0, ge=0)
    """Price of a kilowatt-hour."""

    energy_growth: float = quantity("1/year", 0.0, gt=-0.5, le=0.5)
    """Yearly growth of that price above inflation."""

    pump_energy: float = quantity("kW h/m3", PUMP_ENERGY, ge=0, le=50)
    """Energy for pumping; 0 where water runs by gravity."""

    life: int = quantity("year", int(LIFE.value), ge=1, le=100)
    """Years of the study."""

    rate: float = quantity("1/year", RATE, ge=0, le=0.5)
    """Discount rate."""

    rate_kind: Literal["real", "nominal"] = "real"
    """Whether the rate is above inflation or holds it; a nominal one is made real (Fisher relation)."""

    inflation: float | None = quantity("1/year", None, gt=-0.5, le=10, examples=[0.05])
    """Needed where the rate is nominal."""

    residual: Literal["none", "straight line"] = "none"
    """What is left at the end: nothing, or each part's price times the share of its life that is left."""

    @model_validator(mode="after")
    def _makes_sense(self):
        nominal, given = self.rate_kind == "nominal", self.inflation is not None
        require(
            given or not nominal,
            "a nominal rate says nothing without inflation",
            "give inflation",
            "inflation",
        )
        problem = "a real rate is already above inflation"
        require(nominal or not given, problem, 'leave inflation out, or set rate_kind = "nominal"')
        if nominal:
            real_rate(self.rate, self.inflation)
        require(
            not (self.block and self.tariff), "the tariff is given twice", "give tariff or block, not both"
        )
        tops = [block.up_to for block in self.block]
        require(
            not tops or (None not in tops[:-1] and tops[-1] is None),
            "each block but the last reaches up to something",
            "give up_to in each block but the last, and none in the last",
        )
        rising = all(a < b for a, b in pairwise(tops[:-1]))
        require(rising, "the blocks do not rise", "give them from the smallest up_to to the largest")
        names = [part.name for part in self.part]
        for name in names:
            require(names.count(name) == 1, f'two parts bear the name "{name}"', "give each its own name")
        return self

    @property
    def real_rate(self) -> float:
        """The discount rate in money of today [1/year]."""
        return self.rate if self.rate_kind == "real" else real_rate(self.rate, self.inflation)

    @property
    def blocks(self) -> tuple[Block, ...]:
        """The tariff as blocks, one where it is a single price."""
        return self.block or (Block(price=self.tariff),)

    @property
    def parts(self) -> tuple[Part, ...]:
        """Every part, the first being what lasts as long as the study."""
        lasting = Part(name="tank", fixed=self.fixed, per_litre=self.per_litre, upkeep=self.upkeep)
        return (lasting, *self.part)


def bill(blocks: tuple[Block, ...], kilolitres) -> np.ndarray:
    """Return the bill for what is used in one billing period.

    >>> blocks = (Block(up_to=10, price=1.0), Block(price=3.0))
    >>> bill(blocks, [4.0, 10.0, 12.0])
    array([ 4., 10., 16.])
    """
    used = np.asarray(kilolitres, dtype=float)
    total, bottom = np.zeros_like(used), 0.0
    for block in blocks:
        top = np.inf if block.up_to is None else block.up_to
        total = total + block.price * np.clip(used - bottom, 0.0, top - bottom)
        bottom = top
    return total


def costs_defaults(costs: Costs) -> dict[str, Default]:
    """Return the defaults that these prices rest on, in words.

    >>> list(costs_defaults(Costs(life=25, energy_price=0.3)))
    ['Discount rate', 'Energy for pumping']
    """
    rows = (
        ("life", True, "Years over which costs are reckoned", LIFE),
        ("rate", True, "Discount rate", RATE),
        ("pump_energy", costs.energy_price > 0, "Energy for pumping", PUMP_ENERGY),
        ("billing_months", bool(costs.block), "Months of a water bill", BILLING_MONTHS),
    )
    given = costs.model_fields_set
    return {words: default for name, counts, words, default in rows if counts and name not in given}


Pair = tuple[float, float]


class Ranges(Table):
    """How far an input may be from what the study says: low and high factors on it, as the study judges."""

    runoff_coefficient: Pair | None = Field(None, examples=[[0.9, 1.05]])
    """Low and high factor on every runoff coefficient."""

    losses: Pair | None = Field(None, examples=[[0.5, 2.0]])
    """Low and high factor on wetting and first flush."""

    filter_efficiency: Pair | None = Field(None, examples=[[0.9, 1.1]])
    """Low and high factor on the filter's share."""

    demand: Pair | None = Field(None, examples=[[0.8, 1.2]])
    """Low and high factor on the demand."""

    @field_validator("*")
    @classmethod
    def _rises(cls, pair: Pair | None) -> Pair | None:
        if pair is not None and not 0 <= pair[0] <= 1 <= pair[1] <= 10:
            problem = f"factors from {pair[0]:g} to {pair[1]:g}"
            raise InputError(problem, "give a low factor up to 1 and a high one from 1")
        return pair


class Sizing(Table):
    """How the size is decided."""

    targets: tuple[float, ...] = Field(TARGETS, min_length=1, max_length=12)
    """Reliabilities whose smallest sizes are listed."""

    draws: int = Field(100, ge=20, le=5000)
    """Equally likely versions of everything uncertain that are simulated; 100 by own choice."""

    seed: int = Field(0, ge=0)
    """Makes them repeatable."""

    block_years: int | None = Field(None, ge=1, le=30, examples=[3])
    """Years that are drawn together, so that droughts of several years stay whole."""

    ranges: Ranges = Ranges()
    """How far coefficient, losses, filter and demand may be off."""

    finer_rain: str = file_name("", examples=["hours/my_gauge.csv"])
    """A file of hourly or finer rain near the site, to hold the daily step to account."""

    finer_units: str | None = Field(None, examples=["mm"])
    """Its unit, where the file leaves doubt."""

    draw_hours: Pair = (7.0, 19.0)
    """Hours of the day between which water is drawn, for that comparison; 7 to 19 by own choice."""

    @field_validator("targets")
    @classmethod
    def _are_shares(cls, targets: tuple[float, ...]) -> tuple[float, ...]:
        for target in targets:
            require(
                0 < target <= 1, f"{target:g} is no reliability to reach", "give shares above 0 and up to 1"
            )
        return tuple(sorted(set(targets)))

    @model_validator(mode="after")
    def _hours_rise(self):
        begin, end = self.draw_hours
        problem = f"water is drawn from {begin:g} h to {end:g} h"
        require(0 <= begin < end <= 24, problem, "give two hours of one day, rising")
        return self


class Catalogue(Table):
    """Which tanks can be bought and what fits on the site."""

    file: str = file_name(min_length=1, examples=["catalogues/tanks.csv"])
    """A CSV file of tanks, from the folder of the study file."""

    most_linked: int = Field(4, ge=1, le=10)
    """Most tanks that may be linked to one store."""

    link_price: float = Field(0.0, ge=0)
    """Price of joining one more tank."""

    most_height: float | None = quantity("m", None, gt=0, le=50, examples=[2.2])
    """Tallest tank that fits."""

    most_footprint: float | None = quantity("m2", None, gt=0, le=1e5, examples=[20])
    """Plan area that there is for the tanks."""
