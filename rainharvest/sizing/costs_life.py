"""Costs and savings over the years: net present value, payback, cost a year and a kilolitre."""

from __future__ import annotations

import math

import numpy as np
import xarray as xr

from rainharvest.errors import InputError
from rainharvest.names import attributes
from rainharvest.sizing.costs import present_worth_factor, replacement_years
from rainharvest.sizing.costs_prices import Costs, Part

MONEY = (
    "capital",
    "replacements",
    "running",
    "residual",
    "saved_bill",
    "net_present_value",
    "annual",
    "per_kilolitre",
)
"""Variables in the currency of the study."""


def life_cycle(costs: Costs, nominal, yearly_yield, *, saved_bill=None, tank_price=None) -> xr.Dataset:
    """Return what tanks cost and save over the years of the study.

    Everything is money of today: amounts grow only by their growth above inflation, and are discounted at
    the real rate. The capital is paid at the beginning, everything else at the ends of the years; year t
    pays (1 + g)^(t - 1) of today's tariff. A part is bought again whenever its life is over, at today's
    price. With P the present worth of capital, replacements and running costs less the residual value,

        cost a year = P / (P/A),   cost a kilolitre = P / (kilolitres a year x P/A),
        net present value = present worth of the bills saved - P.

    Parameters
    ----------
    costs : Costs
        Prices of today.
    nominal : float, array or DataArray [L]
        Nominal tank size.
    yearly_yield : float, array or DataArray [L/year]
        Water that the tank yields in a mean year; all of it is taken for mains water saved.
    saved_bill : float, array or DataArray, optional
        Taken off the water bill in the first year, where the tariff has blocks
        (`rainharvest.sizing.costs_bills.saved_bills`); the yield at the one tariff if not given.
    tank_price : float, array or DataArray, optional
        Price of the tank from a catalogue, in place of ``per_litre``.

    Returns
    -------
    Dataset
        ``capital``, ``replacements``, ``running``, ``residual`` (present worths), ``saved_bill`` (first
        year), ``net_present_value``, ``annual``, ``per_kilolitre`` (infinite where nothing is delivered),
        ``payback`` and ``payback_plain`` [year] (infinite where it never pays), ``energy`` [kW h/year];
        the currency is their unit. Attributes state the rate, its kind and the residual value.

    Raises
    ------
    InputError
        If a size, yield or saving is missing or below zero, or the tariff has blocks and ``saved_bill`` is
        not given.

    Examples
    --------
    A capital of 5,000,000 and 150,000 a year, 3.5 %, 20 years: present worth 7,131,860.50 (solved problem):

    >>> done = life_cycle(Costs(fixed=5_000_000, upkeep=150_000, life=20, rate=0.035), 0.0, 0.0)
    >>> round(float(done.capital + done.running), 2)
    7131860.5
    """
    if saved_bill is None and costs.block:
        raise InputError("a tariff in blocks needs the volumes of each bill", "give saved_bill", "saved_bill")
    given = {"nominal": nominal, "yearly_yield": yearly_yield}
    given |= {} if saved_bill is None else {"saved_bill": saved_bill}
    given |= {} if tank_price is None else {"tank_price": tank_price}
    arrays = xr.broadcast(*(_labelled(value, name) for name, value in given.items()))
    values = {name: array.values for name, array in zip(given, arrays, strict=True)}
    done = cost_measures(costs, **values)
    data = arrays[0].to_dataset(name="capital")
    for name, of_size in done.items():
        more = {"units": costs.currency} if name in MONEY else {}
        data[name] = (arrays[0].dims, of_size, attributes(name) | more)
    data.attrs = {
        "currency": costs.currency,
        "life": costs.life,
        "real_rate": costs.real_rate,
        "rate_kind": costs.rate_kind,
        "residual_value": costs.residual,
    }
    return data


def _labelled(value, name: str) -> xr.DataArray:
    """Return a value as a DataArray of sound numbers."""
    array = value if isinstance(value, xr.DataArray) else xr.DataArray(value)
    if array.dims and str(array.dims[0]).startswith("dim_"):
        array = array.rename(dim_0="capacity")
    array = array.astype(float).reset_coords(drop=True)
    if not bool((array.values >= 0).all()):
        raise InputError("a value is missing or below zero", "give zero or more for each size", name)
    return array


def cost_measures(
    costs: Costs, nominal, yearly_yield, saved_bill=None, tank_price=None
) -> dict[str, np.ndarray]:
    """Return what `life_cycle` does as plain arrays, unchecked: for sliders.

    Parameters
    ----------
    costs : Costs
        Prices of today.
    nominal : ndarray [L]
        Nominal tank sizes.
    yearly_yield : ndarray [L/year]
        What each yields, of the same shape.
    saved_bill, tank_price : ndarray, optional
        As `life_cycle`.

    Returns
    -------
    dict of str to ndarray
        By name, of that shape.
    """
    kilolitres = yearly_yield / 1000
    saved = kilolitres * costs.tariff if saved_bill is None else saved_bill
    rate, life = costs.real_rate, costs.life
    even = present_worth_factor(rate, life)
    capital, again, residual = (np.zeros(nominal.shape) for _ in range(3))
    bought = np.zeros((life + 1, *nominal.shape))
    for number, part in enumerate(costs.parts):
        price = part.price(nominal)
        if number == 0 and tank_price is not None:  # the first part is the tank itself
            price = part.fixed + tank_price
        capital = capital + price
        for year in replacement_years(part.life or life, life):
            again = again + price / (1 + rate) ** year
            end = math.ceil(year)  # the flows stand at the ends of years
            bought[end] += price * (1 + rate) ** (end - year)
        residual = residual + price * _left(costs, part) / (1 + rate) ** life
    energy = kilolitres * costs.pump_energy
    steady = sum(p.upkeep for p in costs.parts) + kilolitres * sum(p.per_kilolitre for p in costs.parts)
    powered = energy * costs.energy_price
    running = steady * even + powered * present_worth_factor(rate, life, costs.energy_growth)
    spent = capital + again + running - residual
    years = np.arange(life).reshape(-1, *[1] * nominal.ndim)
    flow = saved * (1 + costs.tariff_growth) ** years - steady - powered * (1 + costs.energy_growth) ** years
    flow = np.concatenate([-capital[None], flow - bought[1:]])
    fading = (1 + rate) ** -np.arange(life + 1.0).reshape(-1, *[1] * nominal.ndim)
    with np.errstate(divide="ignore", invalid="ignore"):
        each = np.where(kilolitres > 0, spent / (kilolitres * even), np.inf)
    return {
        "capital": capital,
        "replacements": again,
        "running": running,
        "residual": residual,
        "saved_bill": saved,
        "net_present_value": saved * present_worth_factor(rate, life, costs.tariff_growth) - spent,
        "annual": spent / even,
        "per_kilolitre": each,
        "payback": _payback(flow * fading),
        "payback_plain": _payback(flow),
        "energy": energy,
    }


def _left(costs: Costs, part: Part) -> float:
    """Return the share of a part's price that is left at the end of the years."""
    if costs.residual == "none" or part.life is None:
        return 0.0
    bought = replacement_years(part.life, costs.life)
    age = costs.life - (bought[-1] if bought.size else 0.0)
    return max(0.0, 1.0 - age / part.life)


def _payback(flow: np.ndarray) -> np.ndarray:
    """Return after how many years the sum of the flows is no longer below zero, for good."""
    total = np.cumsum(flow, axis=0)
    below = total < -1e-9 * np.abs(flow[0])
    end = total.shape[0] - 1
    last = end - np.argmax(below[::-1], axis=0)  # the last year after which it is still below
    at = np.minimum(last, end - 1)
    here, following = (np.take_along_axis(total, (at + k)[None], 0)[0] for k in (0, 1))
    with np.errstate(divide="ignore", invalid="ignore"):
        part = np.where(following > here, -here / (following - here), 0.0)
    return np.where(~below.any(axis=0), 0.0, np.where(last == end, np.inf, at + part))
