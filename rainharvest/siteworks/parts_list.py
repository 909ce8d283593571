"""The list of parts: quantities from the site, no brands, the user's own prices."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from difflib import get_close_matches

import pandas as pd

from rainharvest.catchment.conveyance import FITTINGS, Conveyance
from rainharvest.catchment.hydraulics import total_length
from rainharvest.errors import InputError
from rainharvest.siteworks.backflow import air_gap
from rainharvest.siteworks.base import Base
from rainharvest.siteworks.gravity import Tap
from rainharvest.siteworks.overflow_pipe import OverflowPipe
from rainharvest.siteworks.vessel import Vessel


@dataclass(frozen=True)
class Part:
    """One part.

    Parameters
    ----------
    part : str
        What it is, by kind and size; the key under which its price is given.
    quantity : float
        How much of it.
    counted : str
        What is counted: "piece", "m", "m2", "m3".
    what_for : str
        Its size and duty.
    """

    part: str
    quantity: float
    counted: str
    what_for: str = ""


PART_NAMES: tuple[str, ...] = (
    "pipe",
    *(f"pipe {name}" for name in FITTINGS if name != "entrance"),
    "low-point valve",
    "leaf screen",
    "first-flush diverter",
    "tank",
    "concrete",
    "reinforcing mesh",
    "stand",
    "link between tanks",
    "gauge",
    "float valve",
    "overflow pipe",
    "overflow screen",
    "clean stone",
    "filter cloth",
    "tap",
    "tap pipe",
    "pump",
    "pressure vessel",
    "filter housing",
    "ultraviolet lamp",
    "chlorine doser and contact tank",
    "sample tap",
    "warning sign",
)
"""Every part that a site can have, in the order of the water."""


def price_parts(parts: list[Part], prices: Mapping[str, float]) -> pd.DataFrame:
    """Return the list of parts with what each costs.

    Parameters
    ----------
    parts : list of Part
        The parts.
    prices : mapping of str to float
        Price of one piece, metre, square metre or cubic metre by the part's name, in the study's currency;
        nothing is assumed for a part without one.

    Returns
    -------
    DataFrame
        ``part``, ``quantity``, ``counted``, ``what_for``, ``price`` and ``cost``, NaN where no price is given.

    Raises
    ------
    InputError
        If a price is below zero, or is given for what is no part; a price for a part that this site does not
        need is not used.

    Examples
    --------
    >>> table = price_parts([Part("tap", 2, "piece")], {"tap": 15.0})
    >>> table.cost.tolist()
    [30.0]
    """
    for name, price in prices.items():
        if name not in PART_NAMES:
            near = get_close_matches(name, PART_NAMES, 1)
            raise InputError(
                f'no part is called "{name}"',
                f"did you mean {near[0]}?" if near else f"use one of {', '.join(PART_NAMES)}",
                f"prices.{name}",
            )
        if not 0 <= price < math.inf:
            raise InputError(f"a price of {price:g}", "give zero or more", f"prices.{name}")
    rows = [
        {
            "part": part.part,
            "quantity": part.quantity,
            "counted": part.counted,
            "what_for": part.what_for,
            "price": prices.get(part.part, math.nan),
            "cost": part.quantity * prices.get(part.part, math.nan),
        }
        for part in parts
        if part.quantity > 0
    ]
    return pd.DataFrame(rows)


def site_parts(
    vessel: Vessel,
    base: Base,
    *,
    overflow: OverflowPipe | None = None,
    overflow_run: float = 0.0,
    soakaway: tuple[float, float, float] | None = None,
    conveyance: Conveyance | None = None,
    roofs: int = 0,
    flush_litres: float = 0.0,
    tap: Tap | None = None,
    motor_size: float | None = None,
    vessel_volume: float | None = None,
    mains_bore: float | None = None,
    disinfect: str | None = None,
) -> list[Part]:
    """Return the parts of a site, by kind and size.

    Parameters
    ----------
    vessel : Vessel
        The tank.
    base : Base
        What one tank stands on.
    overflow : OverflowPipe, optional
        The overflow of one tank.
    overflow_run : float [m]
        Length of each of its pipes.
    soakaway : tuple of float, optional
        Its length, width and depth, m.
    conveyance : Conveyance, optional
        The run from the roof.
    roofs : int [1]
        Roofs that are connected.
    flush_litres : float [L]
        First flush turned away, of all roofs.
    tap : Tap, optional
        A tap at the tank.
    motor_size : float [W], optional
        Rating of the pump's motor, where there is a pump.
    vessel_volume : float [L], optional
        Its pressure vessel.
    mains_bore : float [mm], optional
        Bore of the mains inlet, where the mains enter the tank.
    disinfect : str, optional
        "ultraviolet", "chlorine" or "both", where any use asks for it.

    Returns
    -------
    list of Part
        In the order of the water; what is not there is left out.

    Examples
    --------
    >>> from rainharvest.siteworks.base import base_of
    >>> from rainharvest.siteworks.vessel import vessel_of
    >>> tank = vessel_of(10_000)
    >>> [part.part for part in site_parts(tank, base_of(tank))]
    ['tank', 'concrete', 'reinforcing mesh', 'gauge', 'overflow screen', 'warning sign']
    """
    number, out = vessel.tanks, []
    each = vessel.nominal / number
    shape = {
        "upright": "upright, round",
        "horizontal": "on its side, in cradles",
        "rectangular": "rectangular",
    }
    if conveyance is not None:
        out.append(
            Part("pipe", total_length(conveyance), "m", f"{conveyance.bore:g} mm bore, {conveyance.kind} run")
        )
        out += [
            Part(f"pipe {name}", count, "piece", f"{conveyance.bore:g} mm")
            for name, count in conveyance.fittings.items()
            if name != "entrance"
        ]
        if conveyance.kind == "wet":
            out.append(Part("low-point valve", 1, "piece", "to flush and to drain the run"))
    if roofs:
        out.append(Part("leaf screen", roofs, "piece", "one at each roof's downpipe, more if it has more"))
    if flush_litres > 0:
        out.append(
            Part("first-flush diverter", roofs, "piece", f"{flush_litres:,.0f} L in all, by roof area")
        )
    out.append(
        Part(
            "tank",
            number,
            "piece",
            f"{each:,.0f} L, {shape[vessel.form]}, {vessel.height:.2f} m high, opaque",
        )
    )
    out.append(Part("concrete", number * base.slab_area * base.slab_thickness, "m3", "slab under each tank"))
    out.append(
        Part("reinforcing mesh", number * base.slab_area if base.slab_thickness else 0.0, "m2", "in the slab")
    )
    if base.stand > 0:
        out.append(Part("stand", number, "piece", f"{base.stand:g} m high, to an engineer's design"))
    if number > 1:
        out.append(Part("link between tanks", number - 1, "piece", "at the floor, with a valve each"))
    out.append(Part("gauge", 1, "piece", f"0 to {vessel.height:.2f} m, marked at outlet and overflow"))
    if mains_bore is not None:
        out.append(
            Part(
                "float valve",
                1,
                "piece",
                f"{mains_bore:g} mm, above an air gap of {air_gap(mains_bore):g} mm",
            )
        )
    if overflow is not None:
        out.append(
            Part(
                "overflow pipe",
                number * overflow.pipes * overflow_run,
                "m",
                f"{overflow.overflow_bore:g} mm bore",
            )
        )
    out.append(
        Part("overflow screen", number * (overflow.pipes if overflow else 1), "piece", "mesh of about 1 mm")
    )
    if soakaway is not None:
        length, width, depth = soakaway
        out.append(Part("clean stone", length * width * depth, "m3", "fill of the soakaway"))
        walls = 2 * (length + width) * depth + 2 * length * width
        out.append(Part("filter cloth", walls if length else 0.0, "m2", "round the fill, without laps"))
    if tap is not None:
        out.append(Part("tap", 1, "piece", f"{tap.tap_bore:g} mm, lockable, labelled"))
        out.append(Part("tap pipe", tap.tap_run, "m", f"{tap.tap_bore:g} mm bore"))
    if motor_size is not None:
        size = "by an engineer" if math.isnan(motor_size) else f"{motor_size / 1000:g} kW"
        out.append(Part("pump", 1, "piece", f"motor {size}, dry-running switch, earth-leakage switch"))
    if vessel_volume is not None:
        out.append(Part("pressure vessel", 1, "piece", f"{vessel_volume:,.0f} L"))
    if disinfect is not None:
        out.append(Part("filter housing", 3, "piece", "20 and 5 micrometres, carbon"))
        if disinfect in ("ultraviolet", "both"):
            out.append(Part("ultraviolet lamp", 1, "piece", "40 mJ/cm2 at the peak flow, with an alarm"))
        if disinfect in ("chlorine", "both"):
            out.append(Part("chlorine doser and contact tank", 1, "piece", "30 minutes at the peak flow"))
        out.append(Part("sample tap", 1, "piece", "after the disinfection"))
    out.append(Part("warning sign", 1, "piece", "not for drinking, confined space, keep locked"))
    return [part for part in out if part.quantity > 0]
