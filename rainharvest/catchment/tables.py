"""Roofs, conveyance and losses: the tables of the study file on the catchment, with their defaults."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError, field_validator, model_validator

from rainharvest.catchment.intensity import CLIMATES, Intensity
from rainharvest.core.defaults import Default
from rainharvest.core.errors import InputError
from rainharvest.core.tables import Table, quantity

Concern = Literal[
    "lead flashing",
    "lead paint",
    "asbestos cement",
    "treated timber",
    "copper or zinc",
    "bitumen",
    "moss",
    "trees overhead",
    "birds",
    "chimney",
    "aerials",
]


CAUTIONS: dict[str, str] = {
    "lead flashing": "Lead dissolves in rain, which is soft and slightly acid. Do not drink from this roof "
    "until the flashing is replaced or coated and the water is tested for lead.",
    "lead paint": "Old paint can hold lead. Do not drink from this roof; have the paint tested, and have it "
    "removed by people who are equipped for it, with the tank disconnected.",
    "asbestos cement": "Sheets laid before the ban in your country may hold asbestos. Do not cut, drill, "
    "scrub or blast them; have them sampled by a licensed firm; leave intact ones alone or have them replaced.",
    "treated timber": "Shingles and decks treated with arsenic, chromium, copper or creosote leach. Do not "
    "drink from this roof.",
    "copper or zinc": "Bare copper or zinc, or much of it in gutters, raises the metal in the water; test it "
    "before anyone drinks it, and keep it from fish and seedlings.",
    "bitumen": "Bitumen and felt colour and taint the water and, when new, leach; not for drinking without a "
    "test.",
    "moss": "Moss and lichen hold the rain back and shed fines that fill the first-flush space and the "
    "filter. Do not treat them with biocide while the tank is connected.",
    "trees overhead": "Leaves block gutters, feed bacteria and bring animals onto the roof. Cut branches back "
    "and clean the gutters often; never from the roof's edge without fall protection.",
    "birds": "Droppings carry pathogens. Anyone who drinks this water needs it disinfected.",
    "chimney": "Soot and tar settle on the roof; not for drinking near a wood or oil fire without a test.",
    "aerials": "Perches for birds: move them off this roof where possible.",
}

"""What each concern asks for. Common practice, no source; local health rules govern."""


OF_MATERIAL: dict[str, tuple[str, ...]] = {
    "metal": ("copper or zinc",),
    "fibre cement": ("asbestos cement",),
    "membrane": ("bitumen",),
    "gravel": ("bitumen",),
    "green": ("moss",),
    "thatch": ("birds",),
}

"""Concerns that a material raises by itself, until it is known that they do not apply."""


def roof_cautions(roof: Roof) -> list[str]:
    """Return the cautions for one roof: those that its material raises and those that the study names.

    >>> from rainharvest.catchment.tables import Roof
    >>> [c.split(":")[0] for c in roof_cautions(Roof(area=80, material="fibre cement", concerns=["moss"]))]
    ['asbestos cement', 'moss']
    """
    names = dict.fromkeys((*OF_MATERIAL.get(roof.material, ()), *roof.concerns))
    return [f"{name}: {CAUTIONS[name]}" for name in names]


WORK_CAUTIONS: tuple[str, ...] = (
    "Roof work: falls kill. Nobody goes onto a roof or a ladder for this study without fall protection and "
    "training; fragile sheets and rooflights do not bear a person.",
    "Excavation: a trench for a wet run can collapse or hit cables and gas. Have services located, shore or "
    "batter anything that a person enters, and let nobody enter it alone.",
    "Pressure: every joint of a wet run below the inlet stands under pressure for good. Use pressure joints, "
    "test before backfilling, and drain the run before opening it.",
    "Standing water: screen both ends of a wet run against mosquitoes, flush it, protect it from frost, and "
    "do not drink what has stood in it.",
    "Lead: old flashings, paint and joints can make the water unfit to drink; have it tested.",
    "Local rules govern: roof drainage, plumbing, backflow and the discharge of overflow are regulated. This "
    "study replaces no permit and no licensed trade.",
)

"""Cautions for the work itself. Common practice, no source."""


_EN = "EN 16941-1:2018, yield coefficients; range with BS 8515, DIN 1989-1 and UN-HABITAT; check your edition"

_OWN = (
    "own choice; on metal, about 100 wet days a year then lose the 24 mm a year of enHealth, Guidance on use "
    "of rainwater tanks (2010), Appendix B"
)


def _coefficient(value: float, low: float, high: float, source: str = _EN) -> Default:
    return Default(value, "1", source, "from memory", low, high)


def _wetting(value: float) -> Default:
    return Default(value, "mm", _OWN, "own choice", 0.0, 4 * value)


COEFFICIENTS: dict[str, Default] = {
    "metal": _coefficient(0.90, 0.80, 0.95),
    "tile": _coefficient(0.85, 0.60, 0.90, _EN + "; low end Gould and Nissen-Petersen"),
    "concrete": _coefficient(0.80, 0.60, 0.80, _EN + "; low end Gould and Nissen-Petersen"),
    "fibre cement": Default(
        0.80, "1", "taken as flat concrete, no source of its own", "own choice", 0.6, 0.9
    ),
    "plastic": Default(
        0.90,
        "1",
        "sloping smooth roofs above 0.90: Farreny et al., Water Research 45 (2011) 3245, abstract",
        "handbook",
        0.80,
        0.95,
    ),
    "membrane": _coefficient(0.80, 0.60, 0.80),
    "gravel": _coefficient(0.62, 0.60, 0.70, "flat gravel roof 0.62: Farreny et al. 2011, abstract; " + _EN),
    "green": _coefficient(0.40, 0.30, 0.60),
    "thatch": _coefficient(0.20, 0.10, 0.30, "Gould and Nissen-Petersen 1999"),
}

"""Runoff coefficient by roof material, with the published range. Annual shares, wetting included."""


WETTING: dict[str, Default] = {
    "metal": _wetting(0.25),
    "tile": _wetting(0.5),
    "concrete": _wetting(0.5),
    "fibre cement": _wetting(0.5),
    "plastic": _wetting(0.25),
    "membrane": _wetting(0.5),
    "gravel": _wetting(1.0),
    "green": _wetting(2.0),
    "thatch": _wetting(1.0),
}

"""Depth that a dry roof holds before any runs off, by roof material."""


Material = Literal[
    "metal", "tile", "concrete", "fibre cement", "plastic", "membrane", "gravel", "green", "thatch"
]


class Roof(BaseModel):
    """One roof surface that drains to the tank.

    A runoff coefficient or wetting that is not given is the default of the material. Published
    coefficients are shares of a year's rain and already hold the wetting in part: set ``wetting`` to zero
    to work with the coefficient alone.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    name: str = Field("roof", description="What the study calls it.")
    area: float = quantity(
        "m2",
        "Plan area: seen from above, eaves included; the slope does not change it.",
        gt=0,
        le=1e6,
        likely=(1, 20000),
    )
    material: Material = Field("metal", description="A key of `COEFFICIENTS`.")
    runoff_coefficient: float | None = quantity(
        "1", "Share of the rain, after wetting, that leaves the roof.", None, ge=0, le=1
    )
    wetting: float | None = quantity(
        "mm", "Depth that a dry roof holds before any runs off.", None, ge=0, le=20
    )
    gutter_capacity: float | None = quantity(
        "L/s",
        "Most that its gutter, outlet and downpipe pass; no limit if not given.",
        None,
        ge=0,
        le=1000,
        likely=(0.05, 200),
    )
    outlet_level: float | None = quantity(
        "m", "Level of its gutter outlet above the base of the tank.", None, ge=-50, le=500, likely=(-20, 60)
    )
    pipe_to_add: float | None = quantity(
        "m", "Length of gutter and pipe to be added in order to connect it.", None, ge=0, le=10000
    )
    concerns: tuple[Concern, ...] = Field(
        (), description="Keys of `rainharvest.catchment.tables.CAUTIONS` that apply."
    )

    @model_validator(mode="before")
    @classmethod
    def _fill_defaults(cls, data):
        """Put the material's defaults in place, so that a Roof always says what it works with."""
        if isinstance(data, dict):
            data = dict(data)
            material = data.get("material", "metal")
            if isinstance(material, str) and material in COEFFICIENTS:
                for key, table in (("runoff_coefficient", COEFFICIENTS), ("wetting", WETTING)):
                    if data.get(key) is None:
                        data[key] = table[material].value
        return data


def scaled_roofs(roofs: Sequence[Roof], area: float) -> tuple[Roof, ...]:
    """Return roofs made larger or smaller alike, to a total plan area [m2]."""
    own = sum(roof.area for roof in roofs)
    return tuple(roof.model_copy(update={"area": roof.area * area / own}) for roof in roofs)


def plan_area(
    roof_length: float, roof_width: float, eaves: float = 0.0, eaves_at_ends: float | None = None
) -> float:
    """Return the plan area of a rectangular roof from the walls and the eaves.

    area = (roof_length + 2 eaves_at_ends) x (roof_width + 2 eaves), measured level: the slope does not change it.

    >>> plan_area(12.0, 8.0, eaves=0.5)
    117.0
    """
    ends = eaves if eaves_at_ends is None else eaves_at_ends
    for name, value, least in (
        ("roof_length", roof_length, 1e-9),
        ("roof_width", roof_width, 1e-9),
        ("eaves", eaves, 0),
        ("eaves_at_ends", ends, 0),
    ):
        if not value >= least:
            raise InputError(
                f"{value} m is not possible", "give a length above zero, eaves of zero or more", name
            )
    return (roof_length + 2 * ends) * (roof_width + 2 * eaves)


def roof_defaults(roof: Roof) -> dict[str, Default]:
    """Return the defaults that this roof works with, for the report.

    >>> sorted(roof_defaults(Roof(area=100, runoff_coefficient=0.77)))
    ['wetting']
    """
    tables = {"runoff_coefficient": COEFFICIENTS, "wetting": WETTING}
    return {
        key: table[roof.material]
        for key, table in tables.items()
        if getattr(roof, key) == table[roof.material].value
    }


_LOSS = "handbook value for turbulent flow; fittings differ, check the maker's figure"


FITTINGS: dict[str, Default] = {
    "entrance": Default(0.5, "1", _LOSS, "from memory", 0.04, 0.6),
    "bend 90": Default(0.9, "1", _LOSS, "from memory", 0.3, 1.2),
    "bend 45": Default(0.4, "1", _LOSS, "from memory", 0.15, 0.5),
    "tee through": Default(0.6, "1", _LOSS, "from memory", 0.1, 0.9),
    "tee branch": Default(1.8, "1", _LOSS, "from memory", 1.0, 2.0),
    "gate valve": Default(0.2, "1", _LOSS, "from memory", 0.1, 0.3),
    "flap valve": Default(2.5, "1", _LOSS, "from memory", 1.0, 3.0),
    "screen": Default(
        1.0, "1", "clean mesh of about half open area; a clogged one passes nothing", "own choice", 0.3, 5
    ),
}

"""Loss of a fitting in velocity heads, V^2 / 2g. The velocity head at the exit is counted apart."""


ROUGHNESS = Default(
    1.0,
    "mm",
    "EN 12056-3:2000, Table C.1 (drains, kb = 1.0 mm), as transcribed in a public source file",
    "standard",
)

FALL = Default(0.01, "m/m", "common practice, no source", "common practice", 0.005, 0.025)

FILLING = Default(0.7, "1", "EN 12056-3:2000, Table C.1 (drains at 70 % depth), as transcribed", "standard")


WET_ONLY = ("low_level", "bleed", "emptied_after")

DRY_ONLY = ("fall", "filling")


class Conveyance(BaseModel):
    """One run of pipe from the gutter outlets to the tank inlet.

    A dry run falls all the way and empties after rain. A wet run goes down, underground, and up to the
    inlet, and stays full below the level of the inlet.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    kind: Literal["dry", "wet"] = Field(description='"dry" or "wet".')
    run: float = quantity(
        "m", "Level length of pipe between the downpipes and the tank.", ge=0, le=5000, likely=(0, 1000)
    )
    bore: float = quantity("mm", "Inside diameter, the same all along.", ge=0, le=1000, likely=(20, 600))
    outlet_level: float = quantity(
        "m",
        "Lowest gutter outlet, or lowest opening that could overflow, above the base of the tank.",
        ge=-50,
        le=500,
        likely=(-20, 60),
    )
    inlet_level: float = quantity(
        "m",
        "Where the pipe lets go of the water at the tank, above the base of the tank.",
        ge=-50,
        le=500,
        likely=(-20, 60),
    )
    downpipes: int = quantity("1", "Vertical pipes that feed the run.", 1, ge=1, le=100)
    filter_drop: float = quantity(
        "m", "Level lost across a filter on the way.", 0.0, ge=0, le=5, likely=(0, 2)
    )
    roughness: float = quantity("mm", "Colebrook roughness of the pipe in service.", ROUGHNESS, ge=0, le=10)
    fittings: dict[str, int] = quantity(
        "1",
        "How many of each fitting of `FITTINGS`; each is charged at the full flow.",
        default_factory=lambda: {"entrance": 1, "bend 90": 3},
    )
    low_level: float = quantity(
        "m",
        "Wet: axis of the buried run, relative to the base of the tank; negative is below it.",
        -0.5,
        ge=-50,
        le=500,
    )
    bleed: float = quantity("L/day", "Wet: what the low-point bleed lets out.", 0.0, ge=0, le=1e5)
    emptied_after: float | None = quantity(
        "day",
        "Wet: dry days in a row after which somebody empties the run; never if not given.",
        None,
        ge=1,
        le=3650,
    )
    fall: float = quantity("m/m", "Dry: fall at which the run is laid.", FALL, gt=0, le=1)
    filling: float = quantity(
        "1", "Dry: depth of water over bore at which the run counts as full.", FILLING, gt=0, le=1
    )

    @field_validator("fittings")
    @classmethod
    def _known_fittings(cls, fittings: dict[str, int]) -> dict[str, int]:
        for name, count in fittings.items():
            if name not in FITTINGS:
                raise ValueError(
                    f"no fitting is called {name!r}; use one of {', '.join(map(repr, FITTINGS))}"
                )
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


def other_kind(conveyance: Conveyance, **changes: object) -> Conveyance:
    """Return the run of the other kind between the same two points, for comparison.

    >>> dry = Conveyance(kind="dry", run=20, bore=100, outlet_level=3.0, inlet_level=2.0)
    >>> other_kind(dry, bleed=50.0).bleed
    50.0
    """
    kept = conveyance.model_dump(exclude={"kind", *WET_ONLY, *DRY_ONLY})
    return Conveyance(kind="wet" if conveyance.kind == "dry" else "dry", **(kept | changes))


FIRST_FLUSH = Default(
    0.41,
    "mm",
    "Texas Manual on Rainwater Harvesting, 3rd ed. 2005, ch. 2: least 10 US gal per 1,000 ft2; published "
    "depths run from 0.1 mm (enHealth 2010) to 27 mm (Osawa and Martins, IAHR 2024)",
    "from memory",
    0.1,
    27.0,
)

FIRST_FLUSH_BLEED = Default(
    0.0, "L/day", "own choice: the space is emptied by the rule of dry days", "own choice"
)

FIRST_FLUSH_RESET = Default(3.0, "day", "own choice; no published rule was found", "own choice", 1.0, 14.0)

FILTER_EFFICIENCY = Default(
    0.9,
    "1",
    "default of the 5 % rule, Toronto and Region Conservation Authority, LID wiki (form of BS 8515:2009)",
    "handbook",
    0.8,
    1.0,
)

DRYING = Default(3.0, "mm/day", "own choice: a wet film is gone within a day", "own choice", 1.0, 8.0)

INTENSITY = CLIMATES["humid mid-latitude"]


class Catchment(BaseModel):
    """Roofs, the run of pipe and what stands between them."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    roofs: tuple[Roof, ...] = Field(min_length=1, description="At least one.")
    conveyance: Conveyance | None = Field(
        None, description="The run of pipe; without one, nothing is lost between the downpipes and the tank."
    )
    first_flush: float = quantity(
        "mm",
        "Depth of runoff turned away at the start of an event, on each roof's plan area.",
        FIRST_FLUSH,
        ge=0,
        le=100,
    )
    first_flush_bleed: float = quantity(
        "L/day", "What the bleed of each roof's first-flush space lets out.", FIRST_FLUSH_BLEED, ge=0, le=1e5
    )
    first_flush_reset: float | None = quantity(
        "day",
        "Dry days in a row after which the space is empty again; never if None.",
        FIRST_FLUSH_RESET,
        ge=1,
        le=3650,
    )
    filter_efficiency: float = quantity(
        "1", "Share of the flow that a screen or filter lets through.", FILTER_EFFICIENCY, ge=0, le=1
    )

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
        place = ".".join(map(str, first["loc"])) or "catchment"
        message = first["msg"].removeprefix("Value error, ")
        if not first["loc"]:
            raise InputError(message.split("; ")[0], "; ".join(message.split("; ")[1:]), place) from None
        raise InputError(
            f"{first['input']!r} is not possible: {message[0].lower()}{message[1:]}",
            "give a value within the limits",
            place,
        ) from None


class Losses(Table):
    """What stands between roof and tank; what is left out takes the catchment's defaults.

    ``intensity`` says how hard it rains, which matters where a gutter or pipe has a limit: the name of a climate of
    `rainharvest.catchment.intensity.CLIMATES`, or a table with what hourly rain of the place gave.
    """

    first_flush: float | None = quantity(
        "mm", "Depth of runoff turned away at the start of an event.", None, ge=0, le=100, likely=(0, 30)
    )
    first_flush_bleed: float | None = quantity(
        "L/day", "What the bleed of each roof's first-flush space lets out.", None, ge=0, le=1e5
    )
    first_flush_reset: float | None = Field(None, ge=1, le=3650)
    filter_efficiency: float | None = Field(None, ge=0, le=1)
    intensity: Intensity = INTENSITY

    @field_validator("intensity", mode="before")
    @classmethod
    def _by_name(cls, value: object) -> object:
        if not isinstance(value, str):
            return value
        if value not in CLIMATES:
            raise InputError(f'no climate is called "{value}"', f"choose one of {', '.join(CLIMATES)}")
        return CLIMATES[value]
