"""Exercises on the site works that check themselves: the right answer is computed, never stored."""

from __future__ import annotations

from rainharvest.study.exercises import NEAR, says
from rainharvest.study.siteworks_things import Works
from rainharvest.study.siteworks_variant import Ready, site_given, site_variant
from rainharvest.study.words import litres


def check_pressure(works: Works, height: float, yours_kilopascals: float) -> None:
    """Check the pressure of a tank of the same volume and another height on the ground.

    Parameters
    ----------
    works : Works
        As `rainharvest.study.siteworks_variant.site_variant`.
    height : float [m]
        The other height.
    yours_kilopascals : float
        The reader's answer.
    """
    from rainharvest.siteworks.base import base_of
    from rainharvest.siteworks.vessel import vessel_of

    site, given = works.site, works.given
    vessel = vessel_of(given.nominal, site.form, height, tank_width=site.tank_width, tanks=site.tanks)
    right = base_of(
        vessel,
        site.ground,
        slab_thickness=site.slab_thickness,
        slab_margin=site.slab_margin,
        stand=site.stand,
    ).ground_pressure
    good = abs(yours_kilopascals - right) <= NEAR * right
    says(
        good,
        f"{right:.0f} kPa: each metre of water presses with 9.81 kPa, whatever the volume; tank and slab add a little."
        if good
        else "A metre of water presses with 9.81 kPa. Add the slab, 24 kPa for each metre of concrete.",
    )


def check_freeboard(ready: Ready, yours_percent: float) -> None:
    """Check the least room above the overflow, whole per cent, with which one overflow pipe a tank is enough.

    Parameters
    ----------
    ready : Ready
        As `rainharvest.study.siteworks_variant.prepare_siteworks`.
    yours_percent : float
        The reader's answer.
    """
    for percent in range(1, 51):
        works = site_variant(ready, site_given(ready, freeboard_share=percent / 100))
        if works.overflow is not None and works.overflow.pipes == 1:
            right = abs(yours_percent - percent) < 1
            says(
                right,
                f"With {percent} % one pipe a tank, of {works.overflow.overflow_bore:g} mm, passes the storm, and there are "
                f"{litres(works.vessel.capacity)} to use."
                if right
                else "Move the room above the overflow until the drawing names one pipe.",
            )
            return
    says(False, "One pipe is never enough up to half of the tank.")


def check_soakaway(ready: Ready, pit_minutes: float, yours_metres: float) -> None:
    """Check the length of the soakaway for another time in the trial pit.

    Parameters
    ----------
    ready : Ready
        As `rainharvest.study.siteworks_variant.prepare_siteworks`.
    pit_minutes : float [min]
        Time from three quarters to one quarter full.
    yours_metres : float
        The reader's answer.
    """
    pit = ready.prepared.study.site_works.trial_pit
    if pit is None:
        says(False, "The study has no trial pit.")
        return
    works = site_variant(ready, trial_pit=pit.model_dump() | {"minutes": (pit_minutes,) * 3})
    if works.soakaway is None:
        says(yours_metres <= 0, f"There is none: {works.soakaway_answer}.")
        return
    length = float(works.soakaway.soakaway_length)
    right = abs(yours_metres - length) <= NEAR * length
    says(
        right,
        f"{length:.1f} m."
        if right
        else "Move the slider of the trial pit and read the first sentence's length.",
    )
