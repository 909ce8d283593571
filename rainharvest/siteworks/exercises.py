"""Exercises on the site works that check themselves: the right answer is computed, never stored."""

from __future__ import annotations

from rainharvest.core.exercise import says
from rainharvest.core.reader import litres
from rainharvest.siteworks.base import base_of, vessel_of
from rainharvest.siteworks.panel import Ready, site_given, site_variant
from rainharvest.siteworks.tables import SiteWorks
from rainharvest.siteworks.works import Works


def check_pressure(works: Works, height: float, yours_kilopascals: float | None) -> None:
    """Check the pressure of a tank of the same volume and another height on the ground.

    Parameters
    ----------
    works : Works
        As `rainharvest.siteworks.panel.site_variant`.
    height : float [m]
        The other height.
    yours_kilopascals : float, optional
        The reader's answer; ``...`` asks for the right one.
    """
    site, given = works.site, works.given
    vessel = vessel_of(given.nominal, site.form, height, tank_width=site.tank_width, tanks=site.tanks)
    slab = {"slab_thickness": site.slab_thickness, "slab_margin": site.slab_margin}
    pressure = base_of(vessel, SiteWorks(ground="bedrock", **slab)).ground_pressure
    why = "each metre of water presses with 9.81 kPa, whatever the volume; tank and slab add a little"
    hint = "A metre of water presses with 9.81 kPa. Add the slab: 24 kPa for each metre of concrete."
    says(yours_kilopascals, pressure, f"{pressure:.0f} kPa: {why}.", hint)


def check_freeboard(ready: Ready, yours_percent: float | None) -> None:
    """Check the least room above the overflow, whole per cent, with which one overflow pipe a tank is enough.

    Parameters
    ----------
    ready : Ready
        As `rainharvest.siteworks.panel.prepare_siteworks`.
    yours_percent : float, optional
        The reader's answer; ``...`` asks for the right one.
    """
    hint = "Move the room at the top until the drawing names one pipe."
    for percent in range(1, 51):
        works = site_variant(ready, site_given(ready, freeboard_share=percent / 100))
        if works.overflow is None or works.overflow.pipes > 1:
            continue
        passes = f"With {percent} % one pipe a tank, of {works.overflow.overflow_bore:g} mm, passes the storm"
        answer = f"{passes}; {litres(works.vessel.capacity)} are left to use."
        return says(yours_percent, percent, answer, hint, near=0)
    says(yours_percent, None, "One pipe is not enough up to half of the tank.", hint)


def check_soakaway(ready: Ready, pit_minutes: float, yours_metres: float | None) -> None:
    """Check the length of the soakaway for another time in the trial pit.

    Parameters
    ----------
    ready : Ready
        As `rainharvest.siteworks.panel.prepare_siteworks`.
    pit_minutes : float [min]
        Time from three quarters to one quarter full.
    yours_metres : float, optional
        The reader's answer; ``...`` asks for the right one.
    """
    pit = ready.site.trial_pit
    works = site_variant(ready, trial_pit=pit and pit.model_dump() | {"minutes": (pit_minutes,) * 3})
    if works.soakaway is None:
        says(yours_metres, 0, f"There is none: {works.soakaway_answer}.", "Is there one at all?")
        return
    length = float(works.soakaway.soakaway_length)
    hint = "Move the slider of the trial pit and read the length under the figure."
    says(yours_metres, length, f"{length:.1f} m.", hint)
