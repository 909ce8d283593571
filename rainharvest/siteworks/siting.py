"""Where the tank may stand: the levels from roof to tap, the distances, and what to look at on the site."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from rainharvest.catchment.conveyance import Conveyance
from rainharvest.catchment.levels import run_levels
from rainharvest.errors import InputError
from rainharvest.siteworks.defaults import SOAKAWAY_DISTANCE
from rainharvest.siteworks.vessel import Vessel

ARRANGEMENT_LIST: dict[str, tuple[str, ...]] = {
    "mains reserve": (
        "the mains enter above the overflow through an air gap or an approved device, put in by a licensed plumber",
        "the float valve closes below the overflow, and its warning pipe ends where somebody sees it run",
        "the water passes through the tank and does not stand beside it: inlet and outlet at opposite ends",
        "whoever ties the reserve in can drain it, and bypass it while it is cleaned",
    ),
    "rain only": (
        "no pipe joins the tank to the mains, not even through a valve",
        "each tap says that its water is not for drinking, in words and by a picture",
        "the pipes have their own colour or tape from the tank to the last tap",
    ),
    "combined": (
        "the mains enter the tank above the overflow through an air gap, put in by a licensed plumber",
        "all water of the tank counts as rain: filters and disinfection stand between the tank and every tap",
        "a device against backflow stands at the meter where the rules ask for one",
        "a sample tap stands after the disinfection",
    ),
}
"""What to see to in each arrangement. Common practice, no source: local rules govern."""

CONVEYANCE_LIST: dict[str, tuple[str, ...]] = {
    "dry": (
        "the pipe falls all the way and has no sag where water would stand",
        "its brackets hold it full of water, though it never should be",
        "the filter or leaf screen can be reached from the ground or from a safe stand",
    ),
    "wet": (
        "the gutter outlets are the lowest opening, and stand above the tank inlet by the head that the storm needs",
        "every joint below the inlet is a pressure joint and was tested before it was buried",
        "the low point has a valve or a bleed that somebody can reach, with a place for its water to run",
        "both ends are screened against mosquitoes; the pipe lies below frost and clear of cables and roots",
    ),
    "none": ("the downpipe ends in the tank: its screen can be reached and cleaned",),
}
"""What to see to of each conveyance. Common practice, no source: local rules govern."""

SITE_LIST: tuple[str, ...] = (
    "the ground is natural, level, drained and dug into: not fill, peat or clay that swells",
    "a lorry or four people can bring the tank to its place, and somebody can take it away again",
    "shade keeps the water cool, but no branches hang over the roof that feeds it",
    "the boundary, the neighbour's wall and the drains are as far off as the local rules ask",
    "no wall, septic tank, soakaway or slope stands within the depth to which the base presses",
    "the lid can be reached and locked; no child can climb to it",
    "a person can walk round the tank to look for leaks",
    "cables overhead and underground were looked for before anybody digs or lifts",
)
"""What to look at on every site. Common practice, no source."""


@dataclass(frozen=True)
class Distances:
    """What was measured on the site, from the edge of the tank; None where nobody has.

    Parameters
    ----------
    building_distance : float [m], optional
        To the nearest building.
    boundary_distance : float [m], optional
        To the boundary.
    soakaway_distance : float [m], optional
        From the soakaway to the nearest building or boundary.
    opening : float [m], optional
        Narrowest opening on the way in.
    shaded : bool, optional
        Whether it stands in the shade at noon.
    """

    building_distance: float | None = None
    boundary_distance: float | None = None
    soakaway_distance: float | None = None
    opening: float | None = None
    shaded: bool | None = None


def check_list(arrangement: str, conveyance: str, pump: bool = False) -> tuple[str, ...]:
    """Return what to tick off on the site.

    Parameters
    ----------
    arrangement : str
        A key of `ARRANGEMENT_LIST`.
    conveyance : str
        "dry", "wet" or "none".
    pump : bool
        Whether there is a pump.

    Returns
    -------
    tuple of str
        Sentences.

    Raises
    ------
    InputError
        If a word is unknown.

    Examples
    --------
    >>> len(check_list("rain only", "dry")), len(check_list("combined", "wet", pump=True))
    (14, 18)
    """
    for name, value, known in (
        ("arrangement", arrangement, ARRANGEMENT_LIST),
        ("conveyance", conveyance, CONVEYANCE_LIST),
    ):
        if value not in known:
            raise InputError(f'"{value}" is not known', f"choose one of {', '.join(known)}", name)
    more = (
        "the pump stands dry, shaded, bolted down, above any flood, with an earth-leakage switch of its own",
        "it stops before it runs dry, and somebody has tried that",
    )
    return (*SITE_LIST, *CONVEYANCE_LIST[conveyance], *ARRANGEMENT_LIST[arrangement], *(more if pump else ()))


def siting_checks(
    vessel: Vessel,
    floor_height: float,
    conveyance: Conveyance | None,
    flow: float,
    *,
    distances: Distances,
    overflow_to: str = "soakaway",
) -> pd.DataFrame:
    """Return the levels and distances of a site, each against what it must be.

    Parameters
    ----------
    vessel : Vessel
        The tank.
    floor_height : float [m]
        Floor of the tank above the ground.
    conveyance : Conveyance, optional
        The run from the roof; its levels are above the floor of the tank.
    flow : float [L/s]
        Flow of the design storm.
    distances : Distances
        What was measured.
    overflow_to : str
        Where the surplus goes; empty where no roof feeds the tank.

    Returns
    -------
    DataFrame
        ``check``, ``found``, ``asked``, ``fits``: "yes", "no", or "measure it" where nobody has.

    Examples
    --------
    >>> from rainharvest.siteworks.vessel import vessel_of
    >>> run = Conveyance(kind="dry", run=10, bore=100, outlet_level=3.0, inlet_level=2.1)
    >>> table = siting_checks(vessel_of(10_000), 0.1, run, 2.0, distances=Distances(soakaway_distance=6))
    >>> table.fits.tolist()
    ['yes', 'yes', 'measure it', 'measure it', 'yes', 'measure it', 'measure it']
    """
    rows: list[tuple[str, str, str, str]] = []

    def add(check: str, found: str, asked: str, fits: bool | None) -> None:
        rows.append((check, found, asked, "measure it" if fits is None else "yes" if fits else "no"))

    if conveyance is not None:
        levels = run_levels(conveyance, flow)
        words = "level left over the fall" if conveyance.kind == "dry" else "head left in the design storm"
        add(
            f"{conveyance.kind} run from the gutter to the tank",
            levels.answer or f"{levels.margin:.2f} m of {words}",
            "0 m or more",
            not levels.answer and levels.margin >= 0,
        )
        gap = conveyance.inlet_level - vessel.overflow_mark
        add(
            "inlet above the overflow",
            f"{gap:.2f} m",
            "above 0 m, or a full tank backs up into the run",
            gap > 0,
        )
    near = distances.building_distance
    add(
        "tank clear of the nearest building",
        "not measured" if near is None else f"{near:g} m",
        "room to walk round it (0.6 m, own choice); its base must not press on a footing",
        None if near is None else near >= 0.6,
    )
    boundary = distances.boundary_distance
    add(
        "tank clear of the boundary",
        "not measured" if boundary is None else f"{boundary:g} m",
        "what the local rules ask",
        None if boundary is None else boundary > 0,
    )
    if overflow_to == "soakaway":
        far = distances.soakaway_distance
        add(
            "soakaway clear of buildings and boundary",
            "not measured" if far is None else f"{far:g} m",
            f"{SOAKAWAY_DISTANCE.value:g} m or more ({SOAKAWAY_DISTANCE.source})",
            None if far is None else far >= SOAKAWAY_DISTANCE.value,
        )
    size = min(vessel.tank_width, vessel.tank_length, vessel.height)
    opening = distances.opening
    add(
        "way in for the tank",
        "not measured" if opening is None else f"{opening:g} m",
        f"more than {size:.1f} m, the least side of one tank, unless it is built on the spot",
        None if opening is None else opening > size,
    )
    add(
        "shade at noon",
        "not looked at" if distances.shaded is None else "yes" if distances.shaded else "no",
        "shade, or a light colour and an opaque wall",
        distances.shaded,
    )
    return pd.DataFrame(rows, columns=["check", "found", "asked", "fits"])
