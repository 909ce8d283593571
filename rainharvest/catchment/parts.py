"""The catchment as a whole: roofs, first flush, filter and run of pipe, with the defaults in between."""

from __future__ import annotations

import numpy as np
from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from rainharvest.catchment.conveyance import Conveyance
from rainharvest.catchment.hydraulics import pipe_capacity
from rainharvest.catchment.intensity import CLIMATES
from rainharvest.catchment.roofs import Roof
from rainharvest.errors import InputError
from rainharvest.sources import Default

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
    """Roofs, the run of pipe and what stands between them.

    Parameters
    ----------
    roofs : tuple of Roof
        At least one.
    conveyance : Conveyance, optional
        The run of pipe; without one, nothing is lost between the downpipes and the tank.
    first_flush : float [mm]
        Depth of runoff turned away at the start of an event, on each roof's plan area.
    first_flush_bleed : float [L/day]
        What the bleed of each roof's first-flush space lets out.
    first_flush_reset : float [day], optional
        Dry days in a row after which the space is empty again; never if None.
    filter_efficiency : float [1]
        Share of the flow that a screen or filter lets through.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    roofs: tuple[Roof, ...] = Field(min_length=1)
    conveyance: Conveyance | None = None
    first_flush: float = Field(FIRST_FLUSH.value, ge=0, le=100, description="depth turned away [mm]")
    first_flush_bleed: float = Field(FIRST_FLUSH_BLEED.value, ge=0, le=1e5, description="bleed [L/day]")
    first_flush_reset: float | None = Field(
        FIRST_FLUSH_RESET.value, ge=1, le=3650, description="dry days [day]"
    )
    filter_efficiency: float = Field(FILTER_EFFICIENCY.value, ge=0, le=1, description="share passed [1]")

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

    Parameters
    ----------
    **parts
        Fields of `Catchment`.

    Returns
    -------
    Catchment
        The catchment.

    Raises
    ------
    InputError
        If a part is outside its limits; the place is the name of the part.

    Examples
    --------
    >>> make_catchment(roofs=(Roof(area=100),), first_flush=-1.0)  # doctest: +ELLIPSIS
    Traceback (most recent call last):
    rainharvest.errors.InputError: first_flush: -1.0 is not possible: input should be greater than ...
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


def gutter_limits(catchment: Catchment) -> np.ndarray:
    """Return the rain above which each roof's gutter overflows, mm/h."""
    limits = [
        np.inf
        if roof.gutter_capacity is None or not roof.runoff_coefficient
        else roof.gutter_capacity * 3600 / (roof.runoff_coefficient * roof.area)
        for roof in catchment.roofs
    ]
    return np.array(limits)


def pipe_limit(catchment: Catchment) -> float:
    """Return the rain above which the run backs up, mm/h, the gutters passing no more than they can.

    Solves e sum(min(c, c_i) k_i A_i) = Q for c: filter efficiency e, gutter limits c_i, pipe capacity Q.
    """
    if catchment.conveyance is None:
        return np.inf
    wanted = pipe_capacity(catchment.conveyance) * 3600
    weights = np.array([r.runoff_coefficient * r.area for r in catchment.roofs]) * catchment.filter_efficiency
    limits = gutter_limits(catchment)
    order = np.argsort(limits)
    passed_before, weight_left = 0.0, float(weights.sum())
    for i in order:
        if not np.isfinite(limits[i]) or passed_before + weight_left * limits[i] > wanted:
            break
        passed_before += weights[i] * limits[i]
        weight_left -= weights[i]
    # What is left of the weights once every limit is reached is rounding, and a limit too high to matter.
    return (
        (wanted - passed_before) / weight_left if weight_left > 1e-12 * max(weights.sum(), 1e-9) else np.inf
    )
