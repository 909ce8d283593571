"""The curve and its band while a slider moves: what was drawn is kept, only the balance runs again."""

from __future__ import annotations

import numpy as np
import xarray as xr

from rainharvest.errors import InputError
from rainharvest.names import attributes
from rainharvest.sizing.band import BOUNDS
from rainharvest.sizing.smallest import Measure
from rainharvest.sizing.trade_off import trade_off
from rainharvest.sizing.uncertainty import Drawn
from rainharvest.storage.balance import LANES
from rainharvest.storage.simulate import simulate


def quick_curve(
    drawn: Drawn,
    record: Drawn,
    capacity,
    *,
    inflow_factor: float = 1.0,
    demand_factor: float = 1.0,
    measure: Measure = "volume_reliability",
    threads: int = 2,
) -> xr.Dataset:
    """Return the curve of the record and the band of the draws, with more or less inflow and demand.

    Every size is simulated on the record's first filling. The draws are simulated at 64 of the sizes, one
    block of lanes, and the band is read between them. Roofs that all grow alike, or another runoff
    coefficient, multiply the inflow; what a gutter, a pipe or a first flush of fixed volume then loses
    more or less is left out, so work the flows out again before deciding.

    Parameters
    ----------
    drawn : Drawn
        A few draws, say 10, made once by `rainharvest.sizing.uncertainty.draw_flows`.
    record : Drawn
        The record as it stands.
    capacity : array_like [L]
        Usable tank sizes, rising.
    inflow_factor : float [1]
        Multiple of the inflow.
    demand_factor : float [1]
        Multiple of the demand.
    measure : str
        Which reliability the band is of.
    threads : int [1]
        Blocks of tanks simulated side by side.

    Returns
    -------
    Dataset
        What `rainharvest.sizing.trade_off.trade_off` returns, and on ``capacity`` ``reliability``, the measure
        asked for, ``reliability_low``, ``reliability_middle`` and ``reliability_high``. With fewer than 19
        draws the bounds are the lowest and the highest draw: of ten, 9 in 11 to hold the truth, not 9 in 10.

    Raises
    ------
    InputError
        If a factor is below zero, or as `rainharvest.simulate`.
    """
    for name, value in (("inflow_factor", inflow_factor), ("demand_factor", demand_factor)):
        if not 0 <= value < np.inf:
            raise InputError(f"{value!r} is not possible", "give zero or more", name)
    sizes = np.asarray(capacity, dtype=float)
    few = sizes
    if sizes.size > LANES:
        few = sizes[np.unique(np.round(np.linspace(0, sizes.size - 1, LANES)).astype(int))]

    def asked(of: Drawn, some) -> tuple[xr.DataArray, xr.DataArray]:
        inflow = of.inflow.isel(draw=some) * inflow_factor
        demand = of.demand.isel(draw=some) if "draw" in of.demand.dims else of.demand
        return inflow, demand * demand_factor

    def settings(of: Drawn, along: np.ndarray, some) -> dict[str, object]:
        grown = xr.DataArray(along, {"capacity": along}, ("capacity",))
        out = {name: share * grown for name, share in of.case.shares.items()}
        for name, value in of.settings.items():
            if isinstance(value, xr.DataArray) and "draw" in value.dims:
                value = value.isel(draw=some)
            out[name] = value * demand_factor if name == "essential" else value
        return out | {"threads": threads}

    inflow, demand = asked(record, 0)
    out = trade_off(inflow.drop_vars("draw"), demand, sizes, **settings(record, sizes, 0))
    all_of = slice(None)
    draws = simulate(*asked(drawn, all_of), few, **settings(drawn, few, all_of))[measure]
    bounds = np.quantile(
        draws.transpose("draw", "capacity").values, list(BOUNDS.values()), axis=0, method="weibull"
    )
    more = {"reliability": out[measure].variable.copy(deep=False)}
    more |= {
        f"reliability_{bound}": xr.Variable(("capacity",), np.interp(sizes, few, values))
        for bound, values in zip(BOUNDS, bounds, strict=True)
    }
    for name, variable in more.items():
        variable.attrs = attributes(name)
    out = out.assign(more)
    out.attrs["measure"] = measure
    return out
