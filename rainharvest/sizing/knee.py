"""The knee of the trade-off curve: where one more litre of tank begins to bring less than it did on average."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import xarray as xr

from rainharvest.errors import InputError

NEAR_CEILING = 0.99
"""Share of the largest yield at which the curve counts as flat (own choice)."""


@dataclass(frozen=True)
class Knee:
    """The knee of a trade-off curve.

    Parameters
    ----------
    capacity : float [L]
        Size at the knee, one of the curve's sizes.
    yearly_yield : float [L/year]
        What it yields in a mean year.
    yield_share : float [1]
        That, as a share of what the largest tank of the curve yields.
    marginal_yield : float [L/year/L]
        Litres a year for one more litre of tank, from this size to the next.
    ceiling_capacity : float [L]
        Smallest size that yields 99 % of the largest yield: the end of the chord.
    ceiling_yield : float [L/year]
        Yield of the largest tank of the curve.
    """

    capacity: float
    yearly_yield: float
    yield_share: float
    marginal_yield: float
    ceiling_capacity: float
    ceiling_yield: float


def find_knee(curve: xr.Dataset) -> Knee:
    """Find the knee of a curve of yearly yield over tank size.

    With x the size and y the yield, both as shares of the end of the chord, it is where y - x is largest.
    The chord runs from no tank and no yield to the smallest size of the curve that brings 99 % of the
    largest yield. The curve must go on to sizes where it is flat: one that still rises at its end has its
    ceiling, and so its knee, too low.

    Parameters
    ----------
    curve : Dataset
        What `rainharvest.sizing.trade_off.trade_off` returns, on ``capacity`` alone.

    Returns
    -------
    Knee
        The size among those of the curve.

    Raises
    ------
    InputError
        If the curve has further dimensions, fewer than three sizes, or yields nothing.

    Notes
    -----
    Satopää, Albrecht, Irwin and Raghavan 2011, Finding a "kneedle" in a haystack (from memory, not
    verified). A threshold on the marginal yield would be as good and easier to say, but it needs a number
    that only prices can give; this needs none.

    Examples
    --------
    >>> size = np.array([1.0, 2.0, 3.0, 4.0, 8.0])
    >>> curve = xr.Dataset({"yearly_yield": ("capacity", [50.0, 90.0, 97.0, 99.0, 100.0])}, {"capacity": size})
    >>> knee = find_knee(curve)
    >>> knee.capacity, knee.ceiling_capacity, knee.marginal_yield
    (2.0, 4.0, 7.0)
    """
    if curve.yearly_yield.dims != ("capacity",) or curve.sizes["capacity"] < 3:
        raise InputError(
            "a knee needs one curve of three sizes or more", "give trade_off of one record", "curve"
        )
    size, yearly = curve.capacity.values.astype(float), curve.yearly_yield.values.astype(float)
    ceiling = float(yearly.max())
    if not ceiling > 0:
        raise InputError("no tank yields anything", "check the inflow and the demand", "curve")
    end = int(np.argmax(yearly >= NEAR_CEILING * ceiling))
    above = yearly[: end + 1] / yearly[end] - size[: end + 1] / size[end]
    at = int(np.argmax(above))
    following = min(at + 1, size.size - 1)
    step = size[following] - size[at]
    return Knee(
        capacity=float(size[at]),
        yearly_yield=float(yearly[at]),
        yield_share=float(yearly[at] / ceiling),
        marginal_yield=float((yearly[following] - yearly[at]) / step) if step else 0.0,
        ceiling_capacity=float(size[end]),
        ceiling_yield=ceiling,
    )
