"""What each tank size buys: the trade-off curve, found by simulating every size."""

from __future__ import annotations

import numpy as np
import xarray as xr

from rainharvest.errors import InputError
from rainharvest.names import attributes
from rainharvest.storage.simulate import simulate

DAYS_A_YEAR = 365.25


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
    years = float(done.days_in_year.sum()) / DAYS_A_YEAR
    done["yearly_yield"] = (done.delivered / years).assign_attrs(attributes("yearly_yield"))
    whole = done.days_in_year >= 365
    if bool(whole.any()):
        quantile = done.yield_by_year.sel(year=whole).quantile([0.1, 0.5, 0.9], dim="year")
        done["yield_quantile"] = quantile.assign_attrs(attributes("yield_quantile"))
    asked = done.demand_total.where(done.demand_total > 0, np.inf)
    done["share_of_demand"] = (done.delivered / asked).assign_attrs(attributes("share_of_demand"))
    done["failed_a_year"] = (done.days_failed / years).assign_attrs(attributes("failed_a_year"))
    total = done.inflow_total.where(done.inflow_total > 0, np.inf)
    done["spilled_share"] = (done.spilled / total).assign_attrs(attributes("spilled_share"))
    if done.sizes.get("capacity", 1) > 1:
        # The gain from a size to the next stands at the smaller of the two; the last has none.
        here, following = done.yearly_yield, done.yearly_yield.shift(capacity=-1)
        step = done.capacity.shift(capacity=-1) - done.capacity
        done["marginal_yield"] = ((following - here) / step).assign_attrs(attributes("marginal_yield"))
    done.capacity.attrs = attributes("capacity")
    return done
