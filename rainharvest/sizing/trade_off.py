"""What each tank size buys: the trade-off curve, found by simulating every size."""

from __future__ import annotations

import numpy as np
import xarray as xr

from rainharvest.errors import InputError
from rainharvest.names import attributes
from rainharvest.storage.simulate import simulate

DAYS_A_YEAR = 365.25
YEARS_TOLD = (0.1, 0.5, 0.9)
"""The dry, the middling and the wet year of ``yield_quantile``."""


def sizes_to_try(demand, count: int = 60, least_days: float = 0.5, most_days: float = 365.0) -> np.ndarray:
    """Return tank sizes from a fraction of a day's demand to a year's, closer together where they are small.

    Parameters
    ----------
    demand : array_like [L/day]
        Water asked of the tank.
    count : int
        About how many sizes.
    least_days, most_days : float [day]
        Smallest and largest size, in days of mean demand.

    Returns
    -------
    ndarray [L]
        Rising sizes, each a round number of two figures.

    Raises
    ------
    InputError
        If nothing is asked.

    Examples
    --------
    >>> sizes_to_try(np.full(10, 100.0), count=5)
    array([   50.,   260.,  1400.,  7000., 36000.])
    """
    mean = float(np.mean(np.asarray(demand, dtype=float)))
    if not mean > 0:
        raise InputError("nothing is asked of the tank", "give a demand above zero", "demand")
    raw = np.geomspace(least_days * mean, most_days * mean, count)
    power = 10.0 ** (np.floor(np.log10(raw)) - 1)
    return np.unique(np.maximum(np.round(raw / power) * power, 1.0))


def trade_off(inflow, demand, capacity, **settings) -> xr.Dataset:
    """Simulate every size and derive what the decision rests on.

    Parameters
    ----------
    inflow : array_like [L/day]
        Water at the tank inlet.
    demand : array_like [L/day]
        Water asked of the tank.
    capacity : array_like [L]
        Usable tank sizes.
    **settings
        As `rainharvest.simulate`.

    Returns
    -------
    Dataset
        What `rainharvest.simulate` returns and, on ``capacity``: ``share_of_demand`` (what was delivered of
        all that was asked, before rationing), ``yearly_yield`` (L/year),
        ``yield_quantile`` (L/year, the 10th, 50th and 90th percentile year, whole years only),
        ``failed_a_year`` (day/year), ``spilled_share`` and ``marginal_yield`` (L a year for one more litre
        of storage, from each size to the next).

    Raises
    ------
    InputError
        As `rainharvest.simulate`; also if the sizes do not rise.

    Examples
    --------
    >>> curve = trade_off([0, 3, 8, 0, 2, 0, 0], 2.0, [2.0, 5.0])
    >>> curve.delivered.values
    array([5., 7.])
    """
    sizes = np.asarray(capacity, dtype=float)
    if sizes.ndim == 1 and (np.diff(sizes) <= 0).any():
        raise InputError("the tank sizes do not rise", "give each size once, smallest first", "capacity")
    done = simulate(inflow, demand, capacity, **settings)
    years = float(done.days_in_year.values.sum()) / DAYS_A_YEAR
    # Variables, all put in at once: with sliders the labelling would take longer than the simulation.
    delivered, demand_total, inflow_total = (
        done[name].variable for name in ("delivered", "demand_total", "inflow_total")
    )
    yearly = delivered / years
    more = {
        "yearly_yield": yearly,
        "share_of_demand": delivered / demand_total.where(demand_total > 0, np.inf),
        "failed_a_year": done.days_failed.variable / years,
        "spilled_share": done.spilled.variable / inflow_total.where(inflow_total > 0, np.inf),
    }
    whole = np.flatnonzero(done.days_in_year.values >= 365)
    coords = {}
    if whole.size:
        by_year = done.yield_by_year.variable
        by_year = by_year.transpose(..., "year")
        told = np.quantile(by_year.values[..., whole], YEARS_TOLD, axis=-1)
        more["yield_quantile"] = xr.Variable(("quantile", *by_year.dims[:-1]), told)
        coords["quantile"] = ("quantile", list(YEARS_TOLD))
    if done.sizes.get("capacity", 1) > 1:
        # The gain from a size to the next stands at the smaller of the two; the last has none.
        step = xr.Variable(("capacity",), np.append(np.diff(done.capacity.values), np.nan))
        more["marginal_yield"] = (yearly.shift(capacity=-1) - yearly) / step
    for name, variable in more.items():
        variable.attrs = attributes(name)
    done = done.assign(more).assign_coords(coords)
    done.capacity.attrs = attributes("capacity")
    return done
