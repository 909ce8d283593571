"""The short ways held to account: the tank that each recommends, put through the daily balance."""

from __future__ import annotations

import numpy as np
import xarray as xr

from rainharvest.catchment.parts import Catchment
from rainharvest.errors import InputError
from rainharvest.names import attributes
from rainharvest.sizing.sequent_peak import sequent_peak
from rainharvest.sizing.shortcuts import (
    FIVE_PER_CENT,
    SIX_PER_CENT,
    dry_season_tank,
    mass_curve_tank,
    mean_dry_period,
    melbourne_tank,
    monthly_balance_tank,
    share_rule_tank,
)
from rainharvest.sizing.smallest import Measure, smallest_tank
from rainharvest.sizing.trade_off import DAYS_A_YEAR
from rainharvest.storage.simulate import simulate

SIMULATED = "daily simulation"
RULES = {"yield after spillage": 0.0, "between": 0.5, "yield before spillage": 1.0}
"""Rules of spillage and their theta."""


def rule_yield(catchment: Catchment, annual_rain: float) -> float:
    """Return a year's yield as the per cent rules take it: area x coefficient x rain x filter efficiency.

    Parameters
    ----------
    catchment : Catchment
        Roofs and filter.
    annual_rain : float [mm/year]
        Mean rain of a year.

    Returns
    -------
    float [L/year]
        Neither wetting, first flush nor gutters are in it.

    Examples
    --------
    >>> from rainharvest.catchment.roofs import Roof
    >>> hall = Catchment(roofs=(Roof(area=100, runoff_coefficient=0.9),), filter_efficiency=0.9)
    >>> round(rule_yield(hall, 700))
    56700
    """
    roofs = sum(roof.area * roof.runoff_coefficient for roof in catchment.roofs)
    return roofs * annual_rain * catchment.filter_efficiency


def shortcut_sizes(
    rain: xr.DataArray,
    inflow: xr.DataArray,
    demand: xr.DataArray,
    catchment: Catchment,
    *,
    year_start_month: int = 1,
    melbourne: float | None = None,
) -> dict[str, float]:
    """Return the usable size that each short way recommends on one record.

    Parameters
    ----------
    rain : DataArray [mm/day]
        One daily record without gaps.
    inflow : DataArray [L/day]
        Water at the tank inlet from it.
    demand : DataArray [L/day]
        Water asked of the tank.
    catchment : Catchment
        Roofs and filter, for the per cent rules.
    year_start_month : int [1]
        First month of the hydrological year, for the dry period.
    melbourne : float [1], optional
        Reliability for the regression of Melbourne (0.85, 0.90 or 0.95), where the site lies there.

    Returns
    -------
    dict of str to float [L]
        Infinite where a way finds no size, because more is asked than comes in.

    Raises
    ------
    InputError
        As the ways themselves.
    """
    years = rain.sizes["time"] / DAYS_A_YEAR
    a_year, asked = float(rain.sum()) / years, float(demand.sum()) / years
    brought = rule_yield(catchment, a_year)
    sizes = {
        "dry-season demand": dry_season_tank(float(demand.mean()), mean_dry_period(rain, year_start_month)),
        "5 per cent rule": share_rule_tank(brought, asked, FIVE_PER_CENT.value),
        "6 per cent rule": share_rule_tank(brought, asked, SIX_PER_CENT.value),
        "monthly balance": monthly_balance_tank(inflow, demand),
        "mass curve": mass_curve_tank(inflow, demand),
        "sequent peak": sequent_peak(inflow.values, demand.values),
    }
    if melbourne is not None:
        area = sum(roof.area for roof in catchment.roofs)
        sizes["regression for Melbourne"] = melbourne_tank(area, a_year, asked, melbourne)
    return sizes


def judge_shortcuts(
    sizes: dict[str, float],
    inflow: xr.DataArray,
    demand: xr.DataArray,
    target: float,
    *,
    measure: Measure = "volume_reliability",
    shares: dict[str, object] | None = None,
    **settings,
) -> xr.Dataset:
    """Return what the tank of each short way would really have done, beside the one found by simulation.

    Parameters
    ----------
    sizes : dict of str to float [L]
        As `shortcut_sizes`.
    inflow : DataArray [L/day]
        Water at the tank inlet, one record.
    demand : DataArray [L/day]
        Water asked of the tank.
    target : float [1]
        Reliability that the simulated tank must reach.
    measure : str
        "volume_reliability" or "time_reliability".
    shares : dict, optional
        Settings of `rainharvest.simulate` that grow with the tank.
    **settings
        As `rainharvest.simulate`.

    Returns
    -------
    Dataset
        On ``way``, the daily simulation first: ``size_by_way`` [L] (NaN where a way finds none),
        ``volume_reliability``, ``time_reliability``, ``failed_a_year``, ``longest_failure``.

    Raises
    ------
    InputError
        As `rainharvest.sizing.smallest.smallest_tank`.
    """
    found = smallest_tank(inflow, demand, target, measure=measure, shares=shares, **settings).capacity
    table = {SIMULATED: found} | sizes
    size = np.array([v if np.isfinite(v) else np.nan for v in table.values()])
    run = np.where(np.isnan(size), 0.0, size)
    along = xr.DataArray(run, {"way": list(table)}, ("way",))
    grown = {name: share * along for name, share in (shares or {}).items()}
    done = simulate(inflow, demand, along, **settings, **grown)
    done["failed_a_year"] = done.days_failed / (float(done.days_in_year.sum()) / DAYS_A_YEAR)
    out = xr.Dataset({"size_by_way": ("way", size)}, {"way": list(table)})
    for name in ("volume_reliability", "time_reliability", "failed_a_year", "longest_failure"):
        out[name] = done[name].where(~np.isnan(out.size_by_way))
    for name in (*out.data_vars, "way"):
        out[name].attrs = attributes(name)
    out.attrs = {"target": target, "measure": measure}
    return out


def rules_of_spillage(inflow: xr.DataArray, demand: xr.DataArray, capacity, **settings) -> xr.Dataset:
    """Return the volume reliability of each size by the three rules of spillage.

    Which rule a daily step takes matters where a day's rain or demand is large beside the tank; at a fine
    step the rules agree, so their spread shows what the daily step leaves undecided.

    Parameters
    ----------
    inflow : DataArray [L/day]
        Water at the tank inlet.
    demand : DataArray [L/day]
        Water asked of the tank.
    capacity : array_like [L]
        Usable sizes.
    **settings
        As `rainharvest.simulate`, without ``theta``.

    Returns
    -------
    Dataset
        ``rule_reliability`` on (rule, capacity).

    Raises
    ------
    InputError
        As `rainharvest.simulate`.

    Examples
    --------
    >>> done = rules_of_spillage([0, 3, 8, 0, 2, 0, 0], 2.0, [5.0])
    >>> done.rule_reliability.values.ravel()
    array([0.5       , 0.67857143, 0.78571429])
    """
    theta = xr.DataArray(list(RULES.values()), {"rule": list(RULES)}, ("rule",))
    done = simulate(inflow, demand, capacity, theta=theta, **settings).volume_reliability
    done = done.transpose("rule", "capacity").rename("rule_reliability")
    return done.assign_attrs(attributes("rule_reliability")).to_dataset()


def daily_step(
    rain_rate: xr.DataArray,
    inflow: xr.DataArray,
    demand,
    capacity,
    *,
    draw_hours: tuple[float, float] = (7.0, 19.0),
) -> xr.Dataset:
    """Return what the balance at the step of sub-daily rain gives, and how far the daily step is off it.

    Both have the same water on each day: within the day the inflow comes as the rain fell, and the demand
    is drawn evenly between two hours. What differs is the step alone, and the rule of spillage with it.

    Parameters
    ----------
    rain_rate : DataArray [mm/h]
        Rain on an even ``time``, each step stamped by its start; an hour or less.
    inflow : DataArray [L/day]
        Water at the tank inlet by day, from the same rain (`rainharvest.catchment.finer.collect_finer`).
    demand : float or DataArray [L/day]
        Water asked of the tank.
    capacity : array_like [L]
        Usable sizes.
    draw_hours : pair of float [h]
        Hours of the day between which water is drawn; 7 to 19 by own choice.

    Returns
    -------
    Dataset
        On ``capacity``: ``finer_reliability`` (yield after spillage at the fine step); on (rule, capacity):
        ``rule_reliability`` at the daily step and ``step_error``, its difference from the finer one.

    Raises
    ------
    InputError
        If the days of rain and inflow differ, or the hours make no sense.
    """
    day = rain_rate["time"].dt.floor("D")
    days = np.unique(day.values)
    if not np.array_equal(days, inflow["time"].values.astype(days.dtype)):
        raise InputError("rain and inflow do not cover the same days", "take both from one rain", "inflow")
    per_day = rain_rate.sizes["time"] // days.size
    if per_day * days.size != rain_rate.sizes["time"] or per_day < 24:
        raise InputError("the rain is not in even steps of an hour or less", "give hourly rain", "rain_rate")
    begin, end = draw_hours
    hour = np.arange(per_day) * 24 / per_day
    drawn = ((hour >= begin) & (hour < end)).astype(float)
    if not drawn.any() or not 0 <= begin < end <= 24:
        raise InputError(
            f"drawing from {begin:g} h to {end:g} h", "give two hours of one day, rising", "draw_hours"
        )
    fell = np.asarray(rain_rate.values, dtype=float).reshape(days.size, per_day)
    total = fell.sum(axis=1, keepdims=True)
    spread = np.divide(fell, total, out=np.full_like(fell, 1 / per_day), where=total > 0)
    asked = np.broadcast_to(np.asarray(demand, dtype=float), days.shape)
    fine_inflow = (spread * inflow.values[:, None]).ravel()
    fine_demand = (asked[:, None] * drawn / drawn.sum()).ravel()
    finer = simulate(fine_inflow, fine_demand, capacity).volume_reliability.rename("finer_reliability")
    out = rules_of_spillage(inflow.values, np.ascontiguousarray(asked), capacity)
    out["finer_reliability"] = finer.assign_attrs(attributes("finer_reliability"))
    out["step_error"] = (out.rule_reliability - finer).assign_attrs(attributes("step_error"))
    return out
