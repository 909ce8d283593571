"""What a wet run costs: pressure on its joints, velocity too low to clean it, water that stands in it."""

from __future__ import annotations

import warnings

import numpy as np
import xarray as xr
from numba import njit

from rainharvest.catchment.conveyance import Conveyance
from rainharvest.catchment.friction import GRAVITY, section
from rainharvest.names import attributes
from rainharvest.sources import Default

SELF_CLEANSING = Default(
    0.7, "m/s", "guideline of EN 752 for drains, once a day; check your edition", "from memory", 0.6, 1.0
)
STANDING_LIMIT = Default(
    7.0,
    "day",
    "in warm weather some mosquitoes grow from egg to adult in about a week; a flushing interval, not a "
    "safety limit",
    "from memory",
    5.0,
    14.0,
)
DENSITY = 1000.0


def static_pressure(conveyance: Conveyance, backed_up: bool = False) -> float:
    """Return the pressure on the lowest joint: rho g (inlet level - low level).

    Parameters
    ----------
    conveyance : Conveyance
        A run of either kind; a dry one is under no pressure.
    backed_up : bool
        Whether the run stands full to the gutter outlet, as in a storm or with the inlet shut.

    Returns
    -------
    float [kPa]
        9.81 kPa for each metre of water.

    Examples
    --------
    >>> static_pressure(Conveyance(kind="wet", run=60, bore=100, outlet_level=3.0, inlet_level=2.4))
    28.4
    """
    if conveyance.kind == "dry":
        return 0.0
    top = max(conveyance.outlet_level, conveyance.inlet_level) if backed_up else conveyance.inlet_level
    return DENSITY * GRAVITY * (top - conveyance.low_level) / 1000


def full_velocity(conveyance: Conveyance, flow: float) -> float:
    """Return the velocity in a full pipe, to hold against `SELF_CLEANSING`.

    Parameters
    ----------
    conveyance : Conveyance
        A run with a bore above zero.
    flow : float [L/s]
        Flow at the tank inlet.

    Returns
    -------
    float [m/s]
        Velocity.

    Examples
    --------
    >>> full_velocity(Conveyance(kind="wet", run=60, bore=100, outlet_level=3.0, inlet_level=2.4), 4.0)
    0.509
    """
    return flow / 1000 / section(conveyance.bore)


@njit(cache=True, nogil=True, error_model="numpy")
def _count_standing(inflow, held, drained, small, stood):
    """Fill in, for each day and series, for how many days on end the water has stood."""
    for t in range(held.shape[0]):
        for i in range(held.shape[1]):
            before = held[t - 1, i] if t > 0 else 0.0
            entered = inflow[t, i] + held[t, i] - before + drained[t, i]
            if held[t, i] > small[i] and entered <= small[i]:
                stood[t, i] = (stood[t - 1, i] if t > 0 else 0) + 1


def standing_days(water: xr.Dataset) -> xr.DataArray:
    """Return, for each day, how many days the water in the pipe has stood unrenewed.

    A day counts where the pipe holds water at its end and none entered it during the day.

    Parameters
    ----------
    water : Dataset
        What `rainharvest.catchment.collect.collect` returns.

    Returns
    -------
    DataArray [day]
        Days in a row, up to and with this one; zero where the pipe is empty or was renewed.

    Examples
    --------
    >>> import pandas as pd
    >>> from rainharvest.catchment.collect import collect
    >>> from rainharvest.catchment.roofs import Roof
    >>> rain = pd.Series([9.0, 0, 0, 9.0, 0], index=pd.date_range("2001-01-01", periods=5))
    >>> wet = Conveyance(kind="wet", run=60, bore=100, outlet_level=3.0, inlet_level=2.4)
    >>> standing_days(collect(rain, Roof(area=200), wet)).values
    array([0, 1, 2, 0, 1])
    """
    held = water.held.sel(store="pipe", drop=True).transpose("time", ...)
    drained = water.lost.sel(loss="held in pipe", drop=True).transpose(*held.dims)
    inflow = water.inflow.transpose(*held.dims)
    small = 1e-9 * np.maximum(held.max("time"), 1.0)  # a series at a time: its neighbours do not matter
    days = held.sizes["time"]
    flat = [
        np.ascontiguousarray(array.values, dtype=float).reshape(days, -1) for array in (inflow, held, drained)
    ]
    stood = np.zeros(flat[0].shape, dtype=np.int64)
    _count_standing(*flat, np.atleast_1d(small.values).reshape(-1), stood)
    out = held.copy(data=stood.reshape(held.shape)).rename("standing")
    out.attrs = attributes("standing")
    return out


def standing_spells(water: xr.Dataset, standing_limit: float = STANDING_LIMIT.value) -> xr.Dataset:
    """Return how long water stands in a wet run: the spells, the longest, those beyond a limit.

    Parameters
    ----------
    water : Dataset
        What `rainharvest.catchment.collect.collect` returns.
    standing_limit : float [day]
        A spell longer than this counts as too long.

    Returns
    -------
    Dataset
        On the dimensions of the rain other than time: ``longest`` (days), ``spells``, ``spells_beyond``,
        ``share`` of days on which water stands; and on ``quantile`` the length of a spell (days).

    Examples
    --------
    >>> import pandas as pd
    >>> from rainharvest.catchment.collect import collect
    >>> from rainharvest.catchment.roofs import Roof
    >>> rain = pd.Series([9.0, 0, 0, 9.0, 0], index=pd.date_range("2001-01-01", periods=5))
    >>> wet = Conveyance(kind="wet", run=60, bore=100, outlet_level=3.0, inlet_level=2.4)
    >>> spells = standing_spells(collect(rain, Roof(area=200), wet), standing_limit=1)
    >>> int(spells.longest), int(spells.spells), int(spells.spells_beyond)
    (2, 2, 1)
    """
    stood = standing_days(water)
    ends = stood.where((stood > 0) & (stood.shift(time=-1, fill_value=0) == 0))
    out = xr.Dataset(
        {
            "longest": stood.max("time"),
            "spells": (ends > 0).sum("time"),
            "spells_beyond": (ends > standing_limit).sum("time"),
            "share": (stood > 0).mean("time"),
            "length_of_spell": quantiles_of(ends, (0.1, 0.5, 0.9, 0.99)),
        },
        attrs={"standing_limit": standing_limit},
    )
    for name, unit, words in (
        ("longest", "day", "Longest spell of standing water"),
        ("spells", "1", "Spells of standing water"),
        ("spells_beyond", "1", f"Spells longer than {standing_limit:g} days"),
        ("share", "1", "Share of days on which water stands"),
        ("length_of_spell", "day", "Length of a spell"),
    ):
        out[name].attrs = {"units": unit, "long_name": words}
    return out


def quantiles_of(values: xr.DataArray, quantiles: tuple[float, ...]) -> xr.DataArray:
    """Return quantiles over time of the values that are there; zero where there are none.

    Parameters
    ----------
    values : DataArray
        On ``time``; NaN where there is nothing to count.
    quantiles : tuple of float [1]
        Quantiles wanted.

    Returns
    -------
    DataArray
        On ``quantile`` instead of ``time``.
    """
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", "All-NaN", RuntimeWarning)
        return values.quantile(list(quantiles), "time", skipna=True).fillna(0.0)
