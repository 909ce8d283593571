"""The short ways to size a tank, and what the daily balance makes of each."""

from __future__ import annotations

import numpy as np
import pandas as pd
import xarray as xr

from rainharvest.catchment.tables import Catchment
from rainharvest.core.defaults import defaults_of, rows_of
from rainharvest.core.errors import require
from rainharvest.core.quantities import DAYS_A_YEAR, attributes
from rainharvest.rainfall.flags import runs
from rainharvest.rainfall.read_grid import distance
from rainharvest.sizing.smallest import Measure, sequent_peak, smallest_tank, storage_deficit
from rainharvest.storage.simulate import simulate

DEFAULTS = defaults_of("sizing")
FIVE_PER_CENT, SIX_PER_CENT = DEFAULTS["five_per_cent"], DEFAULTS["six_per_cent"]

WAYS = rows_of("sizing", "fixed")["ways"]
"""The short ways by their names in words; the first is the daily simulation."""

RULES: dict[str, float] = rows_of("sizing", "fixed")["rules"]
"""Rules of spillage and their theta."""

MELBOURNE = (-37.81, 144.96)

"""Latitude and longitude of the place for which the regression was made."""

MELBOURNE_REACH = 100.0

"""How far from it the regression is used, in km (own choice)."""

REGRESSION = {0.85: (0.08, 5.58), 0.90: (0.15, 5.16), 0.95: (0.29, 4.85)}


def dry_season_tank(daily_demand: float, dry_days: float) -> float:
    """Return the tank that carries the demand through the dry period.

    T = C n days: what is asked in a day times the days of the longest dry period of a mean year. It knows
    nothing of the roof: where rain is short, no dry season decides.

    University of Warwick, Development Technology Unit, Sizing the DRWH system, method 1.

    Six people at 20 L a day, 25 days:

    >>> dry_season_tank(6 * 20, 25)
    3000.0
    """
    return float(daily_demand) * float(dry_days)


def share_rule_tank(yield_a_year: float, demand_a_year: float, share: float = FIVE_PER_CENT.value) -> float:
    """Return a stated share of a year's yield or demand, whichever is less.

    It knows no seasons: 5 per cent is 18 days of supply whether the dry season lasts 10 days or 200.

    100 m2, coefficient 0.9, 700 mm, filter 0.9; three people at 50 L a day (own example):

    >>> share_rule_tank(100 * 0.9 * 700 * 0.9, 3 * 50 * 365)
    2737.5
    """
    return float(share) * min(float(yield_a_year), float(demand_a_year))


def monthly_balance_tank(inflow, demand) -> float:
    """Return the tank that carries the mean year through its dry months.

    The mean inflow and demand of each calendar month are balanced over two years on end; the largest
    deficit is the size. Every year is taken for the mean year: no dry year is in it.

    Common practice, no source.
    """
    inflow, demand = _calendar_months(inflow, "inflow"), _calendar_months(demand, "demand")
    if demand.sum() > inflow.sum() * (1 + 1e-12):
        return float("inf")
    return float(storage_deficit(np.tile(inflow, 2), np.tile(demand, 2)).max())


def mass_curve_tank(inflow, demand) -> float:
    """Return the tank that never fails on the months of the record, full at its beginning.

    The largest running deficit of the record's monthly totals, once through (Rippl). Nothing is said of
    how reliable that is beyond the record, nor of days within a month.

    Rippl 1883; worked in Davis, Water and Wastewater Engineering, 2010, Example 2-3.
    """
    inflow, demand = _months(inflow).sum(), _months(demand).sum()
    return float(storage_deficit(inflow.to_numpy(), demand.to_numpy()).max())


def melbourne_tank(area: float, annual_rain: float, demand_a_year: float, reliability: float) -> float:
    """Return the tank of a regression on daily simulations with the rain of Melbourne.

    x = D / (A R), y = a e^(b x), C = y A^1.5 in kilolitres over square metres, with a and b for a
    reliability of 85, 90 and 95 per cent. It holds for Melbourne's rain and nowhere else.

    Khastagir and Jayasuriya 2010, Journal of Hydrology, as quoted in an example by A. Ladson, which rounds
    to 1.5 kL:

    >>> round(melbourne_tank(200, 700, 3 * 16 * 365, 0.95))
    1505
    """
    a, b = REGRESSION[reliability]
    # In the source y = C / A^1.5 with C in kilolitres and A in square metres, times 1,000.
    return float(a * np.exp(b * demand_a_year / (area * annual_rain)) / 1000 * area**1.5 * 1000)


def near_melbourne(latitude: float | None, longitude: float | None) -> bool:
    """Return whether a site is near enough to Melbourne for `melbourne_tank`.

    >>> near_melbourne(-37.7, 145.1), near_melbourne(-33.4, 4.9), near_melbourne(None, None)
    (True, False, False)
    """
    known = latitude is not None and longitude is not None
    return known and bool(distance(latitude, longitude, MELBOURNE) <= MELBOURNE_REACH)


def mean_dry_period(rain: xr.DataArray, year_start_month: int = 1, wet_day: float = 1.0) -> float:
    """Return the longest dry spell of a year, mean over the whole years of the record."""
    from rainharvest.rainfall.describe import describe_rain

    longest = describe_rain(rain, wet_day, year_start_month).longest_dry_spell.values.astype(float)
    longest = longest[np.isfinite(longest)]
    require(longest.size, "the record holds no whole year", "give a longer record", "rain")
    return float(longest.mean())


def _months(series: xr.DataArray):
    """Return the months of a record; those cut by its ends as they are."""
    return series.to_series().resample("MS")


def _calendar_months(series: xr.DataArray, name: str) -> np.ndarray:
    """Return the mean total of each calendar month, from whole months."""
    months = _months(series)
    totals = months.sum()
    totals = totals[(months.count() == totals.index.days_in_month).to_numpy()]
    by_month = totals.groupby(totals.index.month).mean()
    sound = by_month.size == 12
    require(sound, "not every month of the year is in the record", "give a year or more", name)
    return by_month.to_numpy()


def rule_yield(catchment: Catchment, annual_rain: float) -> float:
    """Return a year's yield as the per cent rules take it: area x coefficient x rain x filter efficiency.

    >>> from rainharvest.catchment.tables import Roof
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
    """Return the usable size that each short way recommends on one record."""
    years = rain.sizes["time"] / DAYS_A_YEAR
    rain_a_year, demand_a_year = float(rain.sum()) / years, float(demand.sum()) / years
    yield_a_year = rule_yield(catchment, rain_a_year)
    sizes = {
        "dry_season": dry_season_tank(float(demand.mean()), mean_dry_period(rain, year_start_month)),
        "five_per_cent": share_rule_tank(yield_a_year, demand_a_year, FIVE_PER_CENT.value),
        "six_per_cent": share_rule_tank(yield_a_year, demand_a_year, SIX_PER_CENT.value),
        "monthly_balance": monthly_balance_tank(inflow, demand),
        "mass_curve": mass_curve_tank(inflow, demand),
        "sequent_peak": sequent_peak(inflow.values, demand.values),
    }
    if melbourne is not None:
        area = sum(roof.area for roof in catchment.roofs)
        sizes["melbourne"] = melbourne_tank(area, rain_a_year, demand_a_year, melbourne)
    return {WAYS[name]: size for name, size in sizes.items()}


def simulate_shortcuts(
    sizes: dict[str, float],
    inflow: xr.DataArray,
    demand: xr.DataArray,
    target: float,
    *,
    measure: Measure = "volume_reliability",
    shares: dict[str, object] | None = None,
    **settings,
) -> xr.Dataset:
    """Return what the tank of each short way would really have done, beside the one found by simulation."""
    found = smallest_tank(inflow, demand, target, measure=measure, shares=shares, **settings).capacity
    table = {WAYS["simulated"]: found} | sizes
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
    """
    days = np.unique(rain_rate["time"].dt.floor("D").values)
    per_day = rain_rate.sizes["time"] // days.size
    begin, end = draw_hours
    hour = np.arange(per_day) * 24 / per_day
    drawn = ((hour >= begin) & (hour < end)).astype(float)
    problem = f"drawing from {begin:g} h to {end:g} h"
    require(drawn.any(), problem, "give two hours of one day, rising", "draw_hours")
    fell = np.asarray(rain_rate.values, dtype=float).reshape(days.size, per_day)
    total = fell.sum(axis=1, keepdims=True)
    spread = np.divide(fell, total, out=np.full_like(fell, 1 / per_day), where=total > 0)
    daily = np.broadcast_to(np.asarray(demand, dtype=float), days.shape)
    fine_inflow = (spread * inflow.values[:, None]).ravel()
    fine_demand = (daily[:, None] * drawn / drawn.sum()).ravel()
    finer = simulate(fine_inflow, fine_demand, capacity).volume_reliability.rename("finer_reliability")
    out = rules_of_spillage(inflow.values, np.ascontiguousarray(daily), capacity)
    out["finer_reliability"] = finer.assign_attrs(attributes("finer_reliability"))
    out["step_error"] = (out.rule_reliability - finer).assign_attrs(attributes("step_error"))
    return out


def longest_whole_days(rain_step: xr.DataArray) -> xr.DataArray:
    """Return the longest run of whole days of sub-daily rain without a missing step, as a rate."""
    step = float(rain_step.attrs["step_seconds"])
    even = step <= 3600 and not 86400 % step
    remedy = "give readings of an hour or less that divide the day"
    require(even, f"readings every {step:g} s", remedy, "finer_rain")
    readings = rain_step.to_series()
    days = readings.index.normalize()
    every = pd.date_range(days[0], days[-1] + pd.Timedelta(days=1), freq=f"{step:g}s", inclusive="left")
    depth = readings.reindex(every)
    whole = depth.notna().groupby(every.normalize()).all().to_numpy()
    first, last = max(zip(*runs(whole), strict=True), key=lambda r: r[1] - r[0], default=(0, -1))
    per_day = int(86400 / step)
    rate = depth.iloc[first * per_day : (last + 1) * per_day] * 3600 / step
    return xr.DataArray(rate.to_numpy(), {"time": rate.index}, ("time",), attrs={"units": "mm/h"})
