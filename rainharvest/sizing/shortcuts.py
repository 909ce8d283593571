"""The short ways to size a tank, and what the daily balance makes of each."""

from __future__ import annotations

import numpy as np
import pandas as pd
import xarray as xr

from rainharvest.catchment.tables import Catchment
from rainharvest.core.defaults import Default
from rainharvest.core.errors import InputError
from rainharvest.core.quantities import attributes
from rainharvest.rainfall.read_grid import distance
from rainharvest.sizing.smallest import Measure, sequent_peak, smallest_tank, storage_deficit
from rainharvest.sizing.trade_off import DAYS_A_YEAR
from rainharvest.storage.simulate import simulate

FIVE_PER_CENT = Default(
    0.05,
    "1",
    "BS 8515:2009, the intermediate way, and EN 16941-1:2018, from memory, not verified; the same form in the Toronto "
    "and Region Conservation Authority's design guide",
    "from memory",
)

SIX_PER_CENT = Default(
    0.06, "1", "DIN 1989-1:2002 (21 of 365 days, rounded up), from memory, not verified", "from memory"
)

MELBOURNE = (-37.81, 144.96)

"""Latitude and longitude of the place for which the regression was made."""

MELBOURNE_REACH = 100.0

"""How far from it the regression is used, in km (own choice)."""

_REGRESSION = {0.85: (0.08, 5.58), 0.90: (0.15, 5.16), 0.95: (0.29, 4.85)}


def dry_season_tank(daily_demand: float, dry_days: float) -> float:
    """Return the tank that carries the demand through the dry period.

    T = C n days: what is asked in a day times the days of the longest dry period of a mean year. It knows
    nothing of the roof: where rain is short, no dry season decides.

    University of Warwick, Development Technology Unit, Sizing the DRWH system, method 1.

    Six people at 20 L a day, 25 days:

    >>> dry_season_tank(6 * 20, 25)
    3000.0
    """
    _zero_or_more(daily_demand=daily_demand, dry_days=dry_days)
    return float(daily_demand) * float(dry_days)


def share_rule_tank(yield_a_year: float, demand_a_year: float, share: float = FIVE_PER_CENT.value) -> float:
    """Return a stated share of a year's yield or demand, whichever is less.

    It knows no seasons: 5 per cent is 18 days of supply whether the dry season lasts 10 days or 200.

    100 m2, coefficient 0.9, 700 mm, filter 0.9; three people at 50 L a day (own example):

    >>> share_rule_tank(100 * 0.9 * 700 * 0.9, 3 * 50 * 365)
    2737.5
    """
    _zero_or_more(yield_a_year=yield_a_year, demand_a_year=demand_a_year, share=share)
    return float(share) * min(float(yield_a_year), float(demand_a_year))


def monthly_balance_tank(inflow, demand) -> float:
    """Return the tank that carries the mean year through its dry months.

    The mean inflow and demand of each calendar month are balanced over two years on end; the largest
    deficit is the size. Every year is taken for the mean year: no dry year is in it.

    Common practice, no source.
    """
    brought, asked = (_calendar_months(x, n) for x, n in ((inflow, "inflow"), (demand, "demand")))
    if asked.sum() > brought.sum() * (1 + 1e-12):
        return float("inf")
    return float(storage_deficit(np.tile(brought, 2), np.tile(asked, 2)).max())


def mass_curve_tank(inflow, demand) -> float:
    """Return the tank that never fails on the months of the record, full at its beginning.

    The largest running deficit of the record's monthly totals, once through (Rippl). Nothing is said of
    how reliable that is beyond the record, nor of days within a month.

    Rippl 1883; worked in Davis, Water and Wastewater Engineering, 2010, Example 2-3.
    """
    brought, asked = (_months(x, n) for x, n in ((inflow, "inflow"), (demand, "demand")))
    return float(storage_deficit(brought.to_numpy(), asked.to_numpy()).max())


def melbourne_tank(area: float, annual_rain: float, demand_a_year: float, reliability: float) -> float:
    """Return the tank of a regression on daily simulations with the rain of Melbourne.

    x = D / (A R), y = a e^(b x), C = y A^1.5 in kilolitres over square metres, with a and b for a
    reliability of 85, 90 and 95 per cent. It holds for Melbourne's rain and nowhere else.

    Khastagir and Jayasuriya 2010, Journal of Hydrology, as quoted in an example by A. Ladson, which rounds
    to 1.5 kL:

    >>> round(melbourne_tank(200, 700, 3 * 16 * 365, 0.95))
    1505
    """
    if reliability not in _REGRESSION:
        raise InputError(f"a reliability of {reliability:g}", "give 0.85, 0.90 or 0.95", "reliability")
    for name, value in (("area", area), ("annual_rain", annual_rain), ("demand_a_year", demand_a_year)):
        if not value > 0:
            raise InputError(f"{value:g} is not possible", "give it above zero", name)
    a, b = _REGRESSION[reliability]
    # In the source y = C / A^1.5 with C in kilolitres and A in square metres, times 1,000.
    return float(a * np.exp(b * demand_a_year / (area * annual_rain)) / 1000 * area**1.5 * 1000)


def near_melbourne(latitude: float | None, longitude: float | None) -> bool:
    """Return whether a site is near enough to Melbourne for `melbourne_tank`.

    >>> near_melbourne(-37.7, 145.1), near_melbourne(-33.4, 4.9), near_melbourne(None, None)
    (True, False, False)
    """
    if latitude is None or longitude is None:
        return False
    return bool(distance(latitude, longitude, MELBOURNE) <= MELBOURNE_REACH)


def mean_dry_period(rain: xr.DataArray, year_start_month: int = 1, wet_day: float = 1.0) -> float:
    """Return the longest dry spell of a year, mean over the whole years of the record."""
    from rainharvest.rainfall.describe import describe_rain

    longest = describe_rain(rain, wet_day, year_start_month).longest_dry_spell.values.astype(float)
    longest = longest[np.isfinite(longest)]
    if not longest.size:
        raise InputError("the record holds no whole year", "give a longer record", "rain")
    return float(longest.mean())


def _zero_or_more(**values: float) -> None:
    for name, value in values.items():
        if not value >= 0:
            raise InputError(f"{value:g} is not possible", "give zero or more", name)


def _months(series, name: str) -> pd.Series:
    """Return the totals of the months of a record; those cut by its ends as they are."""
    given = series.to_series() if isinstance(series, xr.DataArray) else series
    if not isinstance(given, pd.Series) or not isinstance(given.index, pd.DatetimeIndex):
        raise InputError("the days bear no dates", "give a series on dated days", name)
    return given.resample("MS").sum()


def _calendar_months(series, name: str) -> np.ndarray:
    """Return the mean total of each calendar month, from whole months."""
    totals = _months(series, name)
    given = series.to_series() if isinstance(series, xr.DataArray) else series
    whole = given.resample("MS").count() == totals.index.days_in_month
    by_month = totals[whole.to_numpy()].groupby(totals.index[whole.to_numpy()].month).mean()
    if by_month.size < 12:
        raise InputError("not every month of the year is in the record", "give a year or more", name)
    return by_month.to_numpy()


SIMULATED = "daily simulation"

RULES = {"yield after spillage": 0.0, "between": 0.5, "yield before spillage": 1.0}

"""Rules of spillage and their theta."""


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
    """Return what the tank of each short way would really have done, beside the one found by simulation."""
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
