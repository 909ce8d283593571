"""The tank and its supply in words."""

from __future__ import annotations

import numpy as np
import xarray as xr

from rainharvest.core.reader import date, days, litres, percent


def storage_words(worst: xr.Dataset) -> str:
    """Return what the worst stretch shows, in a sentence."""
    first, last = (date(t) for t in worst.time.values[[0, -1]])
    short = float(worst.unmet_daily.sum())
    return (
        f"From {first} to {last} the tank is {litres(short)} short."
        if short
        else f"Nothing is short from {first} to {last}."
    )


def arrangements_words(done: xr.Dataset) -> str:
    """Return how the arrangements compare."""
    failed = {
        str(a): float(v) for a, v in zip(done.arrangement.values, done.failed_a_year.values, strict=True)
    }
    mains = done.mains_a_year
    bought = float(mains.sel(arrangement="mains reserve"))
    saved = 1 - float(mains.sel(arrangement="combined (top-up)")) / bought if bought > 0 else 0.0
    left_out = done.attrs["not_served"]
    text = (
        f"With {done.attrs['interruptions_a_year']:g} interruptions a year of {days(done.attrs['spell_length'])} on "
        f"average, the mains reserve is short on {days(failed['mains reserve'])} a year, the combined tank with "
        f"top-up on {days(failed['combined (top-up)'])}, with a change-over valve on "
        f"{days(failed['combined (change-over)'])}; the combined tank buys {percent(max(saved, 0.0))} less mains water "
        f"than the reserve. Rain only is short on {days(failed['rain only'])} a year"
    )
    return text + (f" and does not serve {left_out.replace('; ', ', ')}." if left_out else ".")


def set_level_words(done: xr.Dataset) -> str:
    """Return what the set level of the top-up costs."""
    at, chosen = done.level_share.values, done.attrs["level_share"]
    spilled = float(np.interp(chosen, at, done.level_spilled_mains_a_year.values))
    failed = float(np.interp(chosen, at, done.level_failed_a_year.values))
    full = float(done.level_spilled_mains_a_year[-1])
    return (
        f"A top-up set at {percent(chosen)} of the tank makes {litres(spilled)} of mains water a year spill when it "
        f"rains, and leaves {days(failed)} a year short. Set at the brim it would spill {litres(full)} and leave "
        f"{days(float(done.level_failed_a_year[-1]))} short."
    )


def reserve_words(reserves: xr.DataArray, ride_out: float, capacity: float) -> str:
    """Return what a reserve must hold, and whether the tank does."""
    needed = float(np.interp(ride_out, reserves.ride_out.values, reserves.values))
    lasts = float(np.interp(capacity, reserves.values, reserves.ride_out.values))
    more = "more than " if capacity > float(reserves[-1]) else ""
    return (
        f"To ride out {days(ride_out)} without mains whenever they come, a full reserve must hold {litres(needed)}. "
        f"This tank, kept full, rides out {more}{days(lasts)}."
    )


KINDS = {
    "rain only": "Rain only: the tank serves what needs no drinking quality, and nothing backs it up.",
    "combined": "Combined: rain first, mains water as backup, the whole behind treatment.",
    "mains reserve": "Mains reserve: the tank is kept full from the mains and rides out their interruptions.",
}
