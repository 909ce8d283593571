"""Roofs, conveyance and losses: the tables of the study file on the catchment, with their defaults."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Literal

from pydantic import Field, ValidationError, ValidationInfo, field_validator, model_validator

from rainharvest.catchment.intensity import CLIMATES, Intensity, intensity_of_file
from rainharvest.core.defaults import Default, defaults_of, rows_of
from rainharvest.core.errors import InputError, require
from rainharvest.core.tables import Table, quantity

DEFAULTS = defaults_of("catchment")

FIRST_FLUSH, FIRST_FLUSH_BLEED = DEFAULTS["first_flush"], DEFAULTS["first_flush_bleed"]
FIRST_FLUSH_RESET, FILTER_EFFICIENCY = DEFAULTS["first_flush_reset"], DEFAULTS["filter_efficiency"]
DRYING, ROUGHNESS, FALL, FILLING = (DEFAULTS[key] for key in ("drying", "roughness", "fall", "filling"))

COEFFICIENTS: dict[str, Default] = DEFAULTS["runoff_coefficient"]
"""Runoff coefficient by roof material, with the published range."""

WETTING: dict[str, Default] = DEFAULTS["wetting"]
"""Depth that a dry roof holds before any runs off, by roof material."""

BY_MATERIAL = {"runoff_coefficient": COEFFICIENTS, "wetting": WETTING}

FITTINGS: dict[str, Default] = DEFAULTS["fitting"]
"""Loss of a fitting in velocity heads."""

INTENSITY = CLIMATES["humid mid-latitude"]


class Cautions(Table):
    """The rows of cautions.toml."""

    concern: dict[str, str]  # What each concern about a roof asks for
    material: dict[str, tuple[str, ...]]  # Concerns that a material raises by itself
    work: dict[str, str]  # What to mind when the work is done


CAUTIONS = Cautions(**rows_of("catchment", "cautions"))


def concerns_of(roof: Roof) -> list[str]:
    """Return the concerns about one roof: those that its material raises and those that the study names."""
    return list(dict.fromkeys((*CAUTIONS.material.get(roof.material, ()), *roof.concerns)))


def roof_cautions(roof: Roof) -> list[str]:
    """Return the cautions for one roof: those that its material raises and those that the study names.

    >>> from rainharvest.catchment.tables import Roof
    >>> [c.split(":")[0] for c in roof_cautions(Roof(area=80, material="fibre cement", concerns=["moss"]))]
    ['asbestos cement', 'moss']
    """
    return [f"{name}: {CAUTIONS.concern[name]}" for name in concerns_of(roof)]


class Roof(Table):
    """One roof surface that drains to the tank.

    A runoff coefficient or wetting that is not given is the default of the material. Published
    coefficients are shares of a year's rain and already hold the wetting in part: set ``wetting`` to zero
    to work with the coefficient alone.
    """

    name: str = Field("roof", examples=["classroom block"])
    """What the study calls it."""

    area: float = quantity("m2", gt=0, le=1e6, likely=(1, 20000), examples=[420])
    """Plan area: seen from above, eaves included; the slope does not change it."""

    material: Literal[tuple(COEFFICIENTS)] = "metal"
    """What it is covered with; its runoff coefficient and wetting follow."""

    runoff_coefficient: float | None = quantity("1", None, ge=0, le=1, examples=[0.9])
    """Share of the rain, after wetting, that leaves the roof; the material's if not given."""

    wetting: float | None = quantity("mm", None, ge=0, le=20, examples=[0.25])
    """Depth that a dry roof holds before any runs off; the material's if not given."""

    gutter_capacity: float | None = quantity("L/s", None, gt=0, le=1000, likely=(0.05, 200), examples=[3.5])
    """Most that its gutter, outlet and downpipe pass; no limit if not given."""

    outlet_level: float | None = quantity("m", None, ge=-50, le=500, likely=(-20, 60), examples=[3.4])
    """Level of its gutter outlet above the base of the tank."""

    pipe_to_add: float | None = quantity("m", None, ge=0, le=10000, examples=[12])
    """Length of gutter and pipe to be added in order to connect it."""

    concerns: tuple[Literal[tuple(CAUTIONS.concern)], ...] = Field((), examples=[["moss"]])
    """What is known of it that the water may bear: each brings its caution."""

    @model_validator(mode="after")
    def _fill_defaults(self):
        """Put the material's defaults in place, so that a Roof always says what it works with."""
        for key, table in BY_MATERIAL.items():
            if getattr(self, key) is None:
                self.__dict__[key] = table[self.material].value
                self.model_fields_set.discard(key)
        return self


def scaled_roofs(roofs: Sequence[Roof], area: float) -> tuple[Roof, ...]:
    """Return roofs made larger or smaller alike, to a total plan area [m2]."""
    own = sum(roof.area for roof in roofs)
    return tuple(roof.model_copy(update={"area": roof.area * area / own}) for roof in roofs)


def roof_defaults(roof: Roof) -> dict[str, Default]:
    """Return the defaults that this roof works with, for the report.

    >>> sorted(roof_defaults(Roof(area=100, runoff_coefficient=0.77)))
    ['wetting']
    """
    of_material = {key: table[roof.material] for key, table in BY_MATERIAL.items()}
    return {key: default for key, default in of_material.items() if key not in roof.model_fields_set}


TRADE_SIZES = {
    "metric": (32.0, 40.0, 50.0, 65.0, 80.0, 100.0, 125.0, 150.0, 200.0, 250.0, 300.0),
    "us": tuple(25.4 * inches for inches in (1.25, 1.5, 2, 2.5, 3, 4, 5, 6, 8, 10, 12)),
}
"""Sizes in which pipe is sold, by the units of a study, mm; common practice, no source. Here they stand for the inside
diameter: check that of the pipe that is bought."""

WET_ONLY = ("low_level", "bleed", "emptied_after")

DRY_ONLY = ("fall", "filling")


class Conveyance(Table):
    """One run of pipe from the gutter outlets to the tank inlet.

    A dry run falls all the way and empties after rain. A wet run goes down, underground, and up to the
    inlet, and stays full below the level of the inlet.
    """

    kind: Literal["dry", "wet"]
    """Whether the run falls all the way and empties after rain, or stays full."""

    run: float = quantity("m", ge=0, le=5000, likely=(0, 1000), examples=[18])
    """Level length of pipe between the downpipes and the tank."""

    bore: float = quantity("mm", ge=0, le=1000, likely=(20, 600), examples=[100])
    """Inside diameter, the same all along."""

    outlet_level: float = quantity("m", ge=-50, le=500, likely=(-20, 60), examples=[3.4])
    """Lowest gutter outlet, or lowest opening that could overflow, above the base of the tank."""

    inlet_level: float = quantity("m", ge=-50, le=500, likely=(-20, 60), examples=[2.3])
    """Where the pipe lets go of the water at the tank, above the base of the tank."""

    tank_water_level: float | None = quantity("m", None, ge=-50, le=500, examples=[2.1])
    """Wet: water in the full tank above its base; above the inlet, it drowns it. A study takes its tank's
    overflow."""

    downpipes: int = quantity("1", 1, ge=1, le=100)
    """Vertical pipes that feed the run."""

    filter_drop: float = quantity("m", 0.0, ge=0, le=5, likely=(0, 2))
    """Level lost across a filter on the way."""

    roughness: float = quantity("mm", ROUGHNESS, ge=0, le=10)
    """Colebrook roughness of the pipe in service."""

    fittings: dict[str, int] = quantity(
        "1",
        schema={"propertyNames": {"enum": [*FITTINGS]}},
        examples=[{"bend 90": 3}],
        default_factory=lambda: {"entrance": 1, "bend 90": 3},
    )
    """How many of each fitting; each is charged at the full flow."""

    low_level: float = quantity("m", -0.5, ge=-50, le=500)
    """Wet: axis of the buried run, relative to the base of the tank; negative is below it."""

    bleed: float = quantity("L/day", 0.0, ge=0, le=1e5)
    """Wet: what the low-point bleed lets out."""

    emptied_after: float | None = quantity("day", None, ge=1, le=3650, examples=[3])
    """Wet: dry days in a row after which somebody empties the run; never if not given."""

    fall: float = quantity("m/m", FALL, gt=0, le=1)
    """Dry: fall at which the run is laid."""

    filling: float = quantity("1", FILLING, gt=0, le=1)
    """Dry: depth of water over bore at which the run counts as full."""

    @property
    def discharge_level(self) -> float:
        """Level that a wet run must rise to: its inlet, or the water in the full tank where that stands higher [m]."""
        water = self.inlet_level if self.tank_water_level is None else self.tank_water_level
        return max(self.inlet_level, water) if self.kind == "wet" else self.inlet_level

    @field_validator("fittings")
    @classmethod
    def _known_fittings(cls, fittings: dict[str, int]) -> dict[str, int]:
        for name, count in fittings.items():
            if name not in FITTINGS:
                known = ", ".join(map(repr, FITTINGS))
                raise ValueError(f"no fitting is called {name!r}; use one of {known}")
            if count < 0:
                raise ValueError(f"{count} of {name!r} is not possible; give zero or more")
        return fittings

    @model_validator(mode="after")
    def _fits_its_kind(self):
        foreign = WET_ONLY if self.kind == "dry" else DRY_ONLY
        for key in foreign:
            if key in self.model_fields_set:
                raise ValueError(f"{key} has no meaning for a {self.kind} run; leave it out")
        if self.kind == "wet" and self.low_level > min(self.inlet_level, self.outlet_level):
            raise ValueError(
                f"low_level {self.low_level:g} m is above the inlet or the outlet; "
                "a wet run passes below both, otherwise it is dry"
            )
        return self


def run_of_kind(conveyance: Conveyance, kind: str, **changes: object) -> Conveyance:
    """Return the dry or the wet run between the same two points, for comparison.

    Every key that means something for that kind is the given run's; the rest are defaults, but that a wet run is
    laid no higher than its ends.

    >>> dry = Conveyance(kind="dry", run=20, bore=100, outlet_level=3.0, inlet_level=2.0, roughness=0.3)
    >>> run_of_kind(dry, "wet", bleed=50.0).roughness
    0.3
    """
    foreign = WET_ONLY if kind == "dry" else DRY_ONLY
    foreign = foreign if kind == conveyance.kind else (*WET_ONLY, *DRY_ONLY)
    kept = conveyance.model_dump(exclude={"kind", *foreign}) | changes
    if kind == "wet" and conveyance.kind == "dry":
        usual = Conveyance.model_fields["low_level"].default
        kept = {"low_level": min(usual, kept["inlet_level"], kept["outlet_level"])} | kept
    return Conveyance(kind=kind, **kept)


def with_full_tank(conveyance: Conveyance, overflow_mark: float) -> Conveyance:
    """Return the run of pipe to a tank whose water rises to its overflow [m above the base]."""
    return conveyance.model_copy(update={"tank_water_level": overflow_mark})


class BetweenRoofAndTank(Table):
    """What the water passes on its way, beside gutters and pipe."""

    first_flush: float = quantity("mm", FIRST_FLUSH, likely=(0, 30), ge=0, le=100)
    """Depth of runoff turned away at the start of an event, on each roof's plan area."""

    first_flush_bleed: float = quantity("L/day", FIRST_FLUSH_BLEED, ge=0, le=1e5)
    """What the bleed of each roof's first-flush space lets out."""

    first_flush_reset: float | None = quantity("day", FIRST_FLUSH_RESET, ge=1, le=3650)
    """Dry days in a row after which the space is empty again; never if None."""

    filter_efficiency: float = quantity("1", FILTER_EFFICIENCY, ge=0, le=1)
    """Share of the flow that a screen or filter lets through."""


class Catchment(BetweenRoofAndTank):
    """Roofs, the run of pipe and what stands between them."""

    roofs: tuple[Roof, ...] = Field(min_length=1)
    """At least one."""

    conveyance: Conveyance | None = None
    """The run of pipe; without one, nothing is lost between the downpipes and the tank."""

    @model_validator(mode="after")
    def _outlets_above_the_run(self):
        for roof in self.roofs:
            level = roof.outlet_level
            if self.conveyance is not None and level is not None and level < self.conveyance.outlet_level:
                raise ValueError(
                    f"roof {roof.name!r} has its outlet at {level:g} m, below the run's outlet_level of "
                    f"{self.conveyance.outlet_level:g} m; the lowest outlet governs: "
                    f"set the run's outlet_level to {level:g}"
                )
        return self


def make_catchment(**parts: object) -> Catchment:
    """Build a Catchment, and say in the words of the project what is wrong with its parts.

    >>> make_catchment(roofs=(Roof(area=100),), first_flush=-1.0)  # doctest: +ELLIPSIS
    Traceback (most recent call last):
    rainharvest.core.errors.InputError: first_flush: -1.0 is not possible: input should be greater than ...
    """
    try:
        return Catchment(**parts)
    except ValidationError as error:
        first = error.errors()[0]
        place, message = ".".join(map(str, first["loc"])), first["msg"].removeprefix("Value error, ")
        if not place:
            problem, _, remedy = message.partition("; ")
            raise InputError(problem, remedy, "catchment") from None
        problem = f"{first['input']!r} is not possible: {message[0].lower()}{message[1:]}"
        raise InputError(problem, "give a value within the limits", place) from None


class HourlyRain(Table):
    """Hourly or finer rain near the site, from which to estimate how hard it rains."""

    hourly_rain: str = Field(examples=["hours/my_gauge.csv"])
    """The file."""

    units: str | None = Field(None, examples=["mm"])
    """Its unit, where the file leaves doubt."""


class Losses(BetweenRoofAndTank):
    """What stands between roof and tank, and how hard it rains."""

    intensity: Intensity = Field(INTENSITY, examples=["humid mid-latitude"])
    """How hard it rains, which matters where a gutter or pipe has a limit: the name of a climate, a table
    with its numbers, or a file of hourly rain to estimate them from."""

    @field_validator(
        "intensity", mode="before", json_schema_input_type=Literal[tuple(CLIMATES)] | HourlyRain | Intensity
    )
    @classmethod
    def _by_name_or_from_hourly_rain(cls, value: object, info: ValidationInfo) -> object:
        if isinstance(value, dict) and {"hourly_rain"} <= set(value) <= {"hourly_rain", "units"}:
            folder = Path((info.context or {}).get("folder", ""))  # of the study file
            return intensity_of_file(folder / value["hourly_rain"], value.get("units"))
        if not isinstance(value, str):
            return value
        require(value in CLIMATES, f'no climate is called "{value}"', f"choose one of {', '.join(CLIMATES)}")
        return CLIMATES[value]
