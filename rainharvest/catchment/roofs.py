"""The roofs: what each surface is, what it yields, and what to be careful about."""

from __future__ import annotations

from typing import Literal

from pydantic import BaseModel, ConfigDict, Field, model_validator

from rainharvest.catchment.concerns import Concern
from rainharvest.errors import InputError
from rainharvest.sources import Default

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

    Parameters
    ----------
    name : str
        What the study calls it.
    area : float [m2]
        Plan area: seen from above, eaves included; the slope does not change it.
    material : str
        A key of `COEFFICIENTS`.
    runoff_coefficient : float [1], optional
        Share of the rain, after wetting, that leaves the roof.
    wetting : float [mm], optional
        Depth that a dry roof holds before any runs off.
    gutter_capacity : float [L/s], optional
        Most that its gutter, outlet and downpipe pass; no limit if not given.
    outlet_level : float [m], optional
        Level of its gutter outlet above the base of the tank.
    pipe_to_add : float [m], optional
        Length of gutter and pipe to be added in order to connect it.
    concerns : tuple of str
        Keys of `rainharvest.catchment.concerns.CAUTIONS` that apply.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    name: str = "roof"
    area: float = Field(gt=0, le=1e6, description="plan area [m2]")
    material: Material = "metal"
    runoff_coefficient: float | None = Field(None, ge=0, le=1, description="share that leaves the roof [1]")
    wetting: float | None = Field(None, ge=0, le=20, description="depth a dry roof holds [mm]")
    gutter_capacity: float | None = Field(
        None, ge=0, le=1000, description="most that the gutter passes [L/s]"
    )
    outlet_level: float | None = Field(None, ge=-50, le=500, description="gutter outlet above tank base [m]")
    pipe_to_add: float | None = Field(None, ge=0, le=10000, description="gutter and pipe to be added [m]")
    concerns: tuple[Concern, ...] = Field((), description="what to be careful about, see roof_cautions")

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


def plan_area(
    roof_length: float, roof_width: float, eaves: float = 0.0, eaves_at_ends: float | None = None
) -> float:
    """Return the plan area of a rectangular roof from the walls and the eaves.

    area = (roof_length + 2 eaves_at_ends) x (roof_width + 2 eaves), measured level: the slope does not change it.

    Parameters
    ----------
    roof_length : float [m]
        Outside of the walls, along the ridge.
    roof_width : float [m]
        Outside of the walls, across the ridge.
    eaves : float [m]
        Level overhang on the two long sides.
    eaves_at_ends : float [m], optional
        Level overhang at the two ends; that of the long sides if not given.

    Returns
    -------
    float [m2]
        Plan area.

    Raises
    ------
    InputError
        If a length is not above zero or an overhang is below zero.

    Examples
    --------
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

    Parameters
    ----------
    roof : Roof
        The roof.

    Returns
    -------
    dict of str to Default
        The defaults of the material that the roof's own values equal, by field.

    Examples
    --------
    >>> sorted(roof_defaults(Roof(area=100, runoff_coefficient=0.77)))
    ['wetting']
    """
    tables = {"runoff_coefficient": COEFFICIENTS, "wetting": WETTING}
    return {
        key: table[roof.material]
        for key, table in tables.items()
        if getattr(roof, key) == table[roof.material].value
    }
