"""How rain and mains supply a building: three arrangements, all of them settings of the one balance."""

from __future__ import annotations

import numpy as np
import xarray as xr

from rainharvest.demand.fit_for_use import SOURCES, Arrangement
from rainharvest.errors import InputError
from rainharvest.names import attributes
from rainharvest.storage.settings import as_setting, check_range
from rainharvest.storage.simulate import simulate


def arrangement_settings(
    kind: Arrangement,
    capacity,
    *,
    mains_on=None,
    change_over: bool = False,
    trigger_share=0.1,
    level_share=0.2,
    top_up_rate=None,
    start_share=0.0,
) -> dict[str, object]:
    """Return the settings of the balance that an arrangement stands for.

    Parameters
    ----------
    kind : str
        "mains reserve": no rain, always kept full while the mains are on. "rain only": no mains.
        "combined": rain first, mains behind it.
    capacity : float, list or DataArray [L]
        Usable tank size, of which the levels are shares.
    mains_on : DataArray [1], optional
        Share of each day on which the mains supply (`rainharvest.demand.mains`); always by default.
    change_over : bool, optional
        Combined only: feed the fixtures straight from the mains when the tank is empty, instead of a
        top-up into the tank.
    trigger_share, level_share : float or DataArray [1], optional
        Combined only: shares of the capacity at which the mains valve opens and shuts.
    top_up_rate : float [L/day], optional
        Most mains water in a day; unlimited by default.
    start_share : float [1], optional
        Share that is full on the first morning; a mains reserve is always full.

    Returns
    -------
    dict
        Keyword arguments of `rainharvest.simulate`. A mains reserve is to be given no inflow.

    Raises
    ------
    InputError
        If the arrangement is unknown, the size is negative, or a share is not between 0 and 1.

    Examples
    --------
    >>> arrangement_settings("combined", 5000.0, trigger_share=0.2, level_share=0.4)
    {'start': 0.0, 'top_up_trigger': 1000.0, 'top_up_level': 2000.0}
    >>> arrangement_settings("rain only", 5000.0)
    {'start': 0.0}
    """
    if kind not in SOURCES:
        raise InputError(f'no arrangement is called "{kind}"', f"choose one of {', '.join(SOURCES)}", "kind")
    if change_over and kind != "combined":
        raise InputError(f'a change-over valve has no meaning for "{kind}"', "leave it out", "change_over")
    shares = {"trigger_share": trigger_share, "level_share": level_share, "start_share": start_share}
    for name, share in shares.items():
        values = np.asarray(share, dtype=float)
        if not ((values >= 0) & (values <= 1)).all():
            wrong = values[~((values >= 0) & (values <= 1))].flat[0]
            raise InputError(f"{wrong:g} is not a share of the tank", "give a number between 0 and 1", name)
    capacity = _sizes(capacity)
    out: dict[str, object] = {"start": start_share * capacity}
    if kind == "rain only":
        return out
    if mains_on is not None:
        out["mains_on"] = mains_on
    if top_up_rate is not None:
        out["top_up_rate"] = top_up_rate
    if kind == "mains reserve":
        full = 1.0 * capacity
        return out | {"top_up_trigger": full, "top_up_level": full, "start": full}
    if change_over:
        return out | {"change_over": True}
    return out | {"top_up_trigger": trigger_share * capacity, "top_up_level": level_share * capacity}


def compare_arrangements(
    inflow,
    demand,
    capacity,
    *,
    rain_serves=None,
    mains_on=None,
    trigger_share: float = 0.1,
    level_share: float = 0.2,
    top_up_rate=None,
    **settings,
) -> xr.Dataset:
    """Simulate the arrangements side by side on the same record.

    Parameters
    ----------
    inflow : DataArray [L/day]
        Rain water at the tank inlet.
    demand : DataArray [L/day]
        What the whole building asks for.
    capacity : float, list or DataArray [L]
        Usable tank size.
    rain_serves : DataArray [L/day], optional
        The part of the demand that rain alone may serve; all of it by default.
    mains_on : DataArray [1], optional
        Share of each day on which the mains supply; always by default.
    trigger_share, level_share : float [1], optional
        Shares of the capacity between which the top-up of the combined arrangement works.
    top_up_rate : float [L/day], optional
        Most mains water in a day; unlimited by default.
    **settings
        Further settings of `rainharvest.simulate` (trace, year_start_month, theta, ...).

    Returns
    -------
    Dataset
        As `rainharvest.simulate`, with dimension ``arrangement``: "mains reserve", "rain only",
        "combined (top-up)", "combined (change-over)".

    Raises
    ------
    InputError
        As `rainharvest.simulate`.

    Examples
    --------
    >>> import pandas as pd
    >>> days = pd.date_range("2024-01-01", periods=30)
    >>> rain, asked = (xr.DataArray(v, {"time": days}, ("time",)) for v in ([90.0] + [0.0] * 29, [10.0] * 30))
    >>> done = compare_arrangements(rain, asked, 50.0).isel(capacity=0)
    >>> done.unmet.values.astype(int), (done.topped_up + done.changed_over).values.astype(int)
    (array([  0, 250,   0,   0]), array([300,   0, 260, 250]))
    """
    rain_serves = demand if rain_serves is None else rain_serves
    plans = {
        "mains reserve": dict(kind="mains reserve"),
        "rain only": dict(kind="rain only"),
        "combined (top-up)": dict(kind="combined", trigger_share=trigger_share, level_share=level_share),
        "combined (change-over)": dict(kind="combined", change_over=True),
    }
    # A valve shut for good is the same as none, and gives every arrangement the dimensions of the mains.
    shut = {"top_up_trigger": 0.0, "top_up_level": 0.0, "top_up_rate": 0.0, "mains_on": mains_on}
    done = []
    for plan in plans.values():
        own, rain = plan["kind"] == "mains reserve", plan["kind"] == "rain only"
        chosen = arrangement_settings(**plan, capacity=capacity, mains_on=mains_on, top_up_rate=top_up_rate)
        done.append(
            simulate(
                xr.zeros_like(inflow) if own else inflow,
                rain_serves if rain else demand,
                capacity,
                **(chosen | (shut if rain else {}) | settings),
            )
        )
    names = xr.DataArray(list(plans), dims="arrangement", attrs=attributes("arrangement"))
    # The days of the years are those of the record, whatever the arrangement.
    shared = done[0].days_in_year
    out = xr.concat([one.drop_vars("days_in_year") for one in done], "arrangement", data_vars="all")
    return out.assign(days_in_year=shared).assign_coords(arrangement=names)


def _sizes(capacity):
    """Return tank sizes of which shares can be taken: a number as it is, a list with its dimension."""
    sizes = as_setting("capacity", capacity, alone="capacity")
    check_range("capacity", sizes, 0.0, np.inf)
    return float(capacity) if np.ndim(capacity) == 0 else sizes


def careless_set_level(
    inflow, demand, capacity, level_shares, *, trigger_share: float = 0.1, mains_on=None, **settings
) -> xr.Dataset:
    """Return what each set level of the top-up costs: mains water that then spills when it rains.

    spilled_mains = spilled(with top-up) - spilled(same tank without): the mains water took the room of
    rain that came after it.

    Parameters
    ----------
    inflow, demand : DataArray [L/day]
        Rain water at the inlet, water asked for.
    capacity : float [L]
        Usable tank size.
    level_shares : list of float [1]
        Set levels to try, shares of the capacity.
    trigger_share : float [1], optional
        Share of the capacity at which the valve opens; at the set level where that is lower.
    mains_on : DataArray [1], optional
        Share of each day on which the mains supply; always by default.
    **settings
        Further settings of `rainharvest.simulate` (top_up_rate, theta, ...).

    Returns
    -------
    Dataset
        The measures of `rainharvest.simulate` on ``level_share``, and ``spilled_mains`` [L].

    Raises
    ------
    InputError
        As `rainharvest.simulate`.

    Examples
    --------
    >>> careless_set_level([0, 0, 40, 0], 10.0, 50.0, [0.2, 1.0]).spilled_mains.values.astype(int)
    array([ 0, 30])
    """
    levels = xr.DataArray([float(v) for v in level_shares], dims="level_share")
    levels = levels.assign_coords(level_share=("level_share", levels.values, attributes("level_share")))
    plan = arrangement_settings(
        "combined",
        capacity,
        mains_on=mains_on,
        trigger_share=xr.where(levels < trigger_share, levels, trigger_share),
        level_share=levels,
    )
    with_mains = simulate(inflow, demand, capacity, **(plan | settings)).isel(capacity=0, drop=True)
    alone = {k: v for k, v in settings.items() if k != "top_up_rate"}
    without = simulate(inflow, demand, capacity, **alone).isel(capacity=0, drop=True)
    spilled = (with_mains.spilled - without.spilled).assign_attrs(attributes("spilled_mains"))
    return with_mains.assign(spilled_mains=spilled)


def per_year(done: xr.Dataset) -> xr.Dataset:
    """Return what a simulation comes to in a mean year.

    Rain used is the inflow less what spilled and what is left of it at the end; mains bought is what was
    topped up or changed over.

    Parameters
    ----------
    done : Dataset
        As `rainharvest.simulate`, `compare_arrangements` or `careless_set_level` returns it.

    Returns
    -------
    Dataset
        ``failed_a_year`` [day/year], ``mains_a_year`` and ``rain_used_a_year`` [L/year], and
        ``spilled_mains_a_year`` [L/year] where it is known.

    Examples
    --------
    >>> year = per_year(simulate([30.0] * 365, 20.0, 100.0))
    >>> round(float(year.failed_a_year[0]), 4), round(float(year.rain_used_a_year[0]))
    (1.0007, 7285)
    """
    years = float(done.days_in_year.sum()) / 365.25
    used = done.inflow_total - done.spilled - (done.stored_end - done.stored_start)
    values = {
        "failed_a_year": done.days_failed,
        "mains_a_year": done.topped_up + done.changed_over,
        "rain_used_a_year": used.where(done.inflow_total > 0, 0.0).clip(0.0),
    }
    if "spilled_mains" in done:
        values["spilled_mains_a_year"] = done.spilled_mains
    return xr.Dataset({name: (v / years).assign_attrs(attributes(name)) for name, v in values.items()})
