"""What each tank size buys: the trade-off curve, its maps over roof and demand, its knee."""

from __future__ import annotations

import os
from collections.abc import Sequence

import numpy as np
import pandas as pd
import xarray as xr

from rainharvest.catchment.chain import ROWS, run_lanes
from rainharvest.catchment.intensity import Intensity, Rain, read_daily
from rainharvest.catchment.tables import DRYING, INTENSITY, Catchment, Roof
from rainharvest.core.errors import require
from rainharvest.core.quantities import DAYS_A_YEAR, attributes
from rainharvest.core.quantities import along as labels
from rainharvest.storage.simulate import simulate

THREADS = os.cpu_count() or 1

"""On which many sizes or versions are simulated at once; results do not depend on them."""

ENOUGH = 1 - 1e-12

"""Of a target: rounding must not make it out of reach."""

QUANTILES = (0.1, 0.5, 0.9)

"""The dry, the middling and the wet year of ``yield_quantile``."""


def sizes_to_try(demand, count: int = 60, least_days: float = 0.5, most_days: float = 365.0) -> np.ndarray:
    """Return tank sizes from a fraction of a day's demand to a year's, closer together where they are small.

    >>> sizes_to_try(np.full(10, 100.0), count=5)
    array([   50.,   260.,  1400.,  7000., 36000.])
    """
    mean = float(np.mean(np.asarray(demand, dtype=float)))
    require(mean > 0, "nothing is asked of the tank", "give a demand above zero", "demand")
    raw = np.geomspace(least_days * mean, most_days * mean, count)
    power = 10.0 ** (np.floor(np.log10(raw)) - 1)
    return np.unique(np.maximum(np.round(raw / power) * power, 1.0))


def trade_off(inflow, demand, capacity, **settings) -> xr.Dataset:
    """Simulate every size, with every roof or demand where there are several, and derive what the decision rests on.

    >>> curve = trade_off([0, 3, 8, 0, 2, 0, 0], 2.0, [2.0, 5.0])
    >>> curve.delivered.values
    array([5., 7.])
    """
    done = simulate(inflow, demand, capacity, **settings)
    years = float(done.days_in_year.values.sum()) / DAYS_A_YEAR
    # Variables, all put in at once: with sliders the labelling would take longer than the simulation.
    yearly = done.delivered.variable / years
    more = {
        "yearly_yield": yearly,
        "share_of_demand": done.delivered.variable / _above_zero(done.demand_total.variable),
        "failed_a_year": done.days_failed.variable / years,
        "spilled_share": done.spilled.variable / _above_zero(done.inflow_total.variable),
    }
    coords = {}
    if (done.days_in_year.values >= 365).any():
        more["yield_quantile"] = yield_quantile(done)
        coords["quantile"] = ("quantile", list(QUANTILES))
    if done.sizes.get("capacity", 1) > 1:
        # The gain from a size to the next stands at the smaller of the two; the last has none.
        step = xr.Variable(("capacity",), np.append(np.diff(done.capacity.values), np.nan))
        more["marginal_yield"] = (yearly.shift(capacity=-1) - yearly) / step
    for name, variable in more.items():
        variable.attrs = attributes(name)
    done = done.assign(more).assign_coords(coords)
    done.capacity.attrs = attributes("capacity")
    return done


def _above_zero(total: xr.Variable) -> xr.Variable:
    """Return a total to divide by: shares of nothing are zero."""
    return total.where(total > 0, np.inf)


def yield_quantile(done: xr.Dataset) -> xr.Variable:
    """Return the yields of a dry, a middling and a wet year, among the whole years of a simulation."""
    by_year = done.yield_by_year.variable.transpose(..., "year")
    whole = by_year.values[..., whole_years(done.days_in_year.values)]
    return xr.Variable(("quantile", *by_year.dims[:-1]), np.quantile(whole, QUANTILES, axis=-1))


def whole_years(days_in_year: np.ndarray) -> np.ndarray:
    """Return which hydrological years the record covers from end to end.

    >>> whole_years(np.array([120, 365, 366, 40]))
    array([1, 2])
    """
    return np.flatnonzero(days_in_year >= 365)


def along_sizes(sizes) -> xr.DataArray:
    """Return tank sizes as they are simulated together, on ``capacity``."""
    return xr.DataArray(sizes, {"capacity": sizes}, ("capacity",))


def scaled_catchment(
    catchment: Catchment,
    *,
    area: float = 1.0,
    runoff_coefficient: float = 1.0,
    losses: float = 1.0,
    filter_efficiency: float = 1.0,
) -> Catchment:
    """Return the same catchment with some of its numbers multiplied.

    >>> from rainharvest.catchment.tables import Roof
    >>> site = Catchment(roofs=(Roof(area=100, runoff_coefficient=0.95),), first_flush=0.5)
    >>> more = scaled_catchment(site, runoff_coefficient=1.1, losses=2.0)
    >>> more.roofs[0].runoff_coefficient, more.first_flush
    (1.0, 1.0)
    """

    def scaled(roof: Roof) -> Roof:
        share = min(roof.runoff_coefficient * runoff_coefficient, 1.0)
        changes = {"area": roof.area * area, "runoff_coefficient": share, "wetting": roof.wetting * losses}
        return roof.model_copy(update=changes)

    passed = min(catchment.filter_efficiency * filter_efficiency, 1.0)
    changes = {"first_flush": catchment.first_flush * losses, "filter_efficiency": passed}
    return catchment.model_copy(update={"roofs": tuple(map(scaled, catchment.roofs)), **changes})


def tank_inflows(
    rain: Rain, sites: list[Catchment], intensity: Intensity, series: Sequence[int] | None = None
) -> np.ndarray:
    """Return the water at the tank inlet of several catchments on one record, or each on its own, (catchment, step)."""
    _, rows = run_lanes(rain, sites, DRYING.value, intensity, (ROWS.index("inflow"),), series)
    return np.ascontiguousarray(rows[0].T)


def inflow_by_area(
    rain: xr.DataArray | pd.Series,
    catchment: Catchment,
    areas: np.ndarray,
    intensity: Intensity = INTENSITY,
) -> xr.DataArray:
    """Return the water at the tank inlet for roofs of several sizes, all roofs growing alike.

    >>> from rainharvest.catchment.tables import Roof
    >>> rain = pd.Series([10.0, 0.0, 4.0], index=pd.date_range("2001-01-01", periods=3))
    >>> hall = Catchment(roofs=(Roof(area=100, runoff_coefficient=0.9, wetting=0),), first_flush=0)
    >>> inflow_by_area(rain, hall, np.array([50, 100])).values
    array([[405.,   0., 162.],
           [810.,   0., 324.]])
    """
    steps = read_daily(rain)
    own = sum(roof.area for roof in catchment.roofs)
    sites = [scaled_catchment(catchment, area=a / own) for a in areas]
    rows = tank_inflows(steps, sites, intensity)
    coords = labels(area=areas) | {"time": steps.array["time"].variable}
    return xr.DataArray(rows, coords, ("area", "time"), "inflow", attributes("inflow"))


def demand_by_factor(demand: xr.DataArray, factors: Sequence[float]) -> xr.DataArray:
    """Return the demand multiplied by each of several factors.

    >>> demand_by_factor(xr.DataArray([100.0, 80.0], dims="time"), [0.5, 2]).values
    array([[ 50.,  40.],
           [200., 160.]])
    """
    factors = np.asarray(factors, dtype=float)
    along = xr.DataArray(factors, labels(demand_factor=factors), ("demand_factor",))
    return (along * demand.reset_coords(drop=True)).assign_attrs(attributes("demand")).rename("demand")


AREAS = (0.25, 0.5, 0.75, 1.0, 1.25, 1.5, 2.0, 3.0)

"""Roof areas of the map, multiples of the study's."""

DEMANDS = (0.25, 0.5, 0.75, 1.0, 1.25, 1.5, 2.0, 3.0)

"""Demands of the map, multiples of the study's."""

NEAR_CEILING = 0.99

"""Share of the largest yield at which the curve counts as flat (own choice)."""


def flat_size(curve: xr.Dataset) -> float:
    """Return the smallest size [L] of a curve of yearly yield that brings 99 % of the largest yield.

    >>> size = np.array([1.0, 2.0, 3.0, 4.0, 8.0])
    >>> curve = xr.Dataset({"yearly_yield": ("capacity", [50.0, 90.0, 97.0, 99.0, 100.0])}, {"capacity": size})
    >>> flat_size(curve)
    4.0
    """
    yearly = curve.yearly_yield.values
    return float(curve.capacity[int(np.argmax(yearly >= NEAR_CEILING * yearly.max()))])


def find_knee(curve: xr.Dataset) -> float:
    """Return the size [L] at the knee of a curve of yearly yield over tank size.

    With x the size and y the yield, both as shares of the end of the chord, it is where y - x is largest.
    The chord runs from no tank and no yield to the smallest size of the curve that brings 99 % of the
    largest yield. The curve must go on to sizes where it is flat: one that still rises at its end has its
    ceiling, and so its knee, too low.

    Satopää, Albrecht, Irwin and Raghavan 2011, Finding a "kneedle" in a haystack (from memory, not
    verified). A threshold on the marginal yield would be as good and easier to say, but it needs a number
    that only prices can give; this needs none.

    >>> size = np.array([1.0, 2.0, 3.0, 4.0, 8.0])
    >>> curve = xr.Dataset({"yearly_yield": ("capacity", [50.0, 90.0, 97.0, 99.0, 100.0])}, {"capacity": size})
    >>> find_knee(curve)
    2.0
    """
    one = curve.yearly_yield.dims == ("capacity",) and curve.sizes["capacity"] >= 3
    require(one, "a knee needs one curve of three sizes or more", "give trade_off of one record", "curve")
    size, yearly = curve.capacity.values.astype(float), curve.yearly_yield.values.astype(float)
    ceiling = float(yearly.max())
    require(ceiling > 0, "no tank yields anything", "check the inflow and the demand", "curve")
    end = int(np.searchsorted(size, flat_size(curve)))
    above = yearly[: end + 1] / yearly[end] - size[: end + 1] / size[end]
    return float(size[int(np.argmax(above))])
