"""The default numbers that a catchment works with, each with its source, for the report."""

from __future__ import annotations

import numpy as np

from rainharvest.catchment.conveyance import FALL, FILLING, FITTINGS, ROUGHNESS
from rainharvest.catchment.friction import VISCOSITY
from rainharvest.catchment.intensity import Intensity
from rainharvest.catchment.parts import (
    DRYING,
    FILTER_EFFICIENCY,
    FIRST_FLUSH,
    FIRST_FLUSH_BLEED,
    FIRST_FLUSH_RESET,
    INTENSITY,
    Catchment,
    gutter_limits,
)
from rainharvest.catchment.roofs import roof_defaults
from rainharvest.names import QUANTITIES
from rainharvest.sources import Default


def catchment_defaults(
    catchment: Catchment, drying: float | object = DRYING.value, intensity: Intensity = INTENSITY
) -> dict[str, Default]:
    """Return the defaults that a catchment works with, in words, in the order of the chain.

    Parameters
    ----------
    catchment : Catchment
        Roofs, first flush, filter and run of pipe.
    drying : float or DataArray [mm/day]
        What `rainharvest.catchment.collect.collect` was told.
    intensity : Intensity
        What `rainharvest.catchment.collect.collect` was told; counts only where a gutter or pipe has a
        limit.

    Returns
    -------
    dict of str to Default
        Only numbers that equal their default; the user's own are not in it.

    Examples
    --------
    >>> from rainharvest.catchment.roofs import Roof
    >>> site = Catchment(roofs=(Roof(name="hall", area=100, wetting=0),), first_flush=1.0)
    >>> list(catchment_defaults(site))[:2]
    ['hall: runoff coefficient', 'Drying of the roof']
    """
    used: dict[str, Default] = {}
    for roof in catchment.roofs:
        used |= {f"{roof.name}: {QUANTITIES[k].long_name.lower()}": v for k, v in roof_defaults(roof).items()}
    given = {
        "drying": (drying, DRYING),
        "first_flush": (catchment.first_flush, FIRST_FLUSH),
        "first_flush_bleed": (catchment.first_flush_bleed, FIRST_FLUSH_BLEED),
        "first_flush_reset": (catchment.first_flush_reset, FIRST_FLUSH_RESET),
        "filter_efficiency": (catchment.filter_efficiency, FILTER_EFFICIENCY),
    }
    run = catchment.conveyance
    if run is not None:
        given["roughness"] = (run.roughness, ROUGHNESS)
        if run.kind == "dry":
            given |= {"fall": (run.fall, FALL), "filling": (run.filling, FILLING)}
    for name, (value, default) in given.items():
        if np.ndim(value) == 0 and value == default.value:
            used[QUANTITIES[name].long_name] = default
    if run is not None:
        used[QUANTITIES["viscosity"].long_name] = VISCOSITY
        if run.kind == "wet":
            used |= {
                f"Loss of {name} (velocity heads)": FITTINGS[name] for name, n in run.fittings.items() if n
            }
    limited = run is not None or np.isfinite(gutter_limits(catchment)).any()
    if limited and intensity.kind not in ("given", "estimated"):
        for name in ("mean_intensity", "variation", "depth_growth"):
            q = QUANTITIES[name]
            used[q.long_name] = Default(getattr(intensity, name), q.unit, intensity.source, intensity.kind)
    return used
