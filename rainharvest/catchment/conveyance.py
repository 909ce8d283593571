"""The run of pipe between gutter outlet and tank inlet, dry or wet: what it is, and where it lies.

Levels are metres above the base on which the tank stands.
"""

from __future__ import annotations

from typing import Literal

from pydantic import BaseModel, ConfigDict, Field, field_validator, model_validator

from rainharvest.sources import Default

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

    Parameters
    ----------
    kind : str
        "dry" or "wet".
    run : float [m]
        Level length of pipe between the downpipes and the tank.
    bore : float [mm]
        Inside diameter, the same all along.
    outlet_level : float [m]
        Lowest gutter outlet, or lowest opening that could overflow, above the base of the tank.
    inlet_level : float [m]
        Where the pipe lets go of the water at the tank, above the base of the tank.
    downpipes : int [1]
        Vertical pipes that feed the run.
    filter_drop : float [m]
        Level lost across a filter on the way.
    roughness : float [mm]
        Colebrook roughness of the pipe in service.
    fittings : dict of str to int
        How many of each fitting of `FITTINGS`; each is charged at the full flow.
    low_level : float [m]
        Wet: axis of the buried run, relative to the base of the tank; negative is below it.
    bleed : float [L/day]
        Wet: what the low-point bleed lets out.
    emptied_after : float [day], optional
        Wet: dry days in a row after which somebody empties the run; never if not given.
    fall : float [m/m]
        Dry: fall at which the run is laid.
    filling : float [1]
        Dry: depth of water over bore at which the run counts as full.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    kind: Literal["dry", "wet"]
    run: float = Field(ge=0, le=5000, description="level length of pipe [m]")
    bore: float = Field(ge=0, le=1000, description="inside diameter [mm]")
    outlet_level: float = Field(ge=-50, le=500, description="gutter outlet above the base of the tank [m]")
    inlet_level: float = Field(ge=-50, le=500, description="tank inlet above the base of the tank [m]")
    downpipes: int = Field(1, ge=1, le=100, description="vertical pipes that feed the run [1]")
    filter_drop: float = Field(0.0, ge=0, le=5, description="level lost across a filter [m]")
    roughness: float = Field(ROUGHNESS.value, ge=0, le=10, description="Colebrook roughness [mm]")
    fittings: dict[str, int] = Field(
        default_factory=lambda: {"entrance": 1, "bend 90": 3}, description="how many of each fitting [1]"
    )
    low_level: float = Field(-0.5, ge=-50, le=500, description="axis of the buried run [m]")
    bleed: float = Field(0.0, ge=0, le=1e5, description="what the low-point bleed lets out [L/day]")
    emptied_after: float | None = Field(
        None, ge=1, le=3650, description="dry days before it is emptied [day]"
    )
    fall: float = Field(FALL.value, gt=0, le=1, description="fall at which the run is laid [m/m]")
    filling: float = Field(FILLING.value, gt=0, le=1, description="depth over bore counted as full [1]")

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

    Parameters
    ----------
    conveyance : Conveyance
        The run as it is.
    **changes
        Fields that the other run has otherwise, such as ``low_level`` or ``bleed``.

    Returns
    -------
    Conveyance
        Dry if it was wet, wet if it was dry; what only one kind has takes its default.

    Examples
    --------
    >>> dry = Conveyance(kind="dry", run=20, bore=100, outlet_level=3.0, inlet_level=2.0)
    >>> other_kind(dry, bleed=50.0).bleed
    50.0
    """
    kept = conveyance.model_dump(exclude={"kind", *WET_ONLY, *DRY_ONLY})
    return Conveyance(kind="wet" if conveyance.kind == "dry" else "dry", **(kept | changes))
