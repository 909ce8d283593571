"""Costs and savings over the years: net present value, payback, cost a year and a kilolitre."""

from __future__ import annotations

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
    nominal, amount = _labelled(nominal, "nominal"), _labelled(yearly_yield, "yearly_yield")
    if saved_bill is None:
        if costs.block:
            raise InputError(
                "a tariff in blocks needs the volumes of each bill", "give saved_bill", "saved_bill"
            )
        saved_bill = amount / 1000 * costs.tariff
    saved_bill = _labelled(saved_bill, "saved_bill")
    rate, life = costs.real_rate, costs.life
    even = present_worth_factor(rate, life)
    energy = amount / 1000 * costs.pump_energy

    capital, replacements, residual = xr.zeros_like(nominal), xr.zeros_like(nominal), xr.zeros_like(nominal)
    spent = [xr.zeros_like(nominal)] * (life + 1)
    for number, part in enumerate(costs.parts):
        price = part.price(nominal)
        if number == 0 and tank_price is not None:  # the first part is the tank itself
            price = part.fixed + _labelled(tank_price, "tank_price")
        capital = capital + price
        for year in replacement_years(part.life or life, life):
            replacements = replacements + price / (1 + rate) ** year
            at = int(np.ceil(year))
            spent[at] = spent[at] + price * (1 + rate) ** (at - year)
        residual = residual + price * _left(costs, part) / (1 + rate) ** life
    steady = sum(p.upkeep for p in costs.parts) + amount / 1000 * sum(p.per_kilolitre for p in costs.parts)
    powered = energy * costs.energy_price
    running = steady * even + powered * present_worth_factor(rate, life, costs.energy_growth)
    worth = saved_bill * present_worth_factor(rate, life, costs.tariff_growth)
    whole = capital + replacements + running - residual
    with np.errstate(divide="ignore", invalid="ignore"):
        each = xr.where(amount > 0, whole / (amount / 1000 * even), np.inf)
    out = {
        "capital": capital,
        "replacements": replacements,
        "running": running,
        "residual": residual,
        "saved_bill": saved_bill,
        "net_present_value": worth - whole,
        "annual": whole / even,
        "per_kilolitre": each,
        "energy": energy,
    }
    flow = [-capital]
    for year in range(1, life + 1):
        saved = saved_bill * (1 + costs.tariff_growth) ** (year - 1)
        paid = steady + powered * (1 + costs.energy_growth) ** (year - 1)
        flow.append(saved - paid - spent[year])
    for name, discount in (("payback", rate), ("payback_plain", 0.0)):
        out[name] = _payback([amount / (1 + discount) ** year for year, amount in enumerate(flow)])
    data = xr.Dataset(out)
    for name in data.data_vars:
        data[name].attrs = attributes(name) | ({"units": costs.currency} if name in MONEY else {})
    data.attrs = {
        "currency": costs.currency,
        "life": life,
        "real_rate": rate,
        "rate_kind": costs.rate_kind,
        "residual_value": costs.residual,
    }
    return data


def _labelled(value, name: str) -> xr.DataArray:
    """Return a value as a DataArray of sound numbers."""
    array = value if isinstance(value, xr.DataArray) else xr.DataArray(value)
    if array.dims and array.dims[0].startswith("dim_"):
        array = array.rename(dim_0="capacity")
    array = array.astype(float).reset_coords(drop=True)
    if not bool((array >= 0).all()):
        raise InputError("a value is missing or below zero", "give zero or more for each size", name)
    return array


def _left(costs: Costs, part: Part) -> float:
    """Return the share of a part's price that is left at the end of the years."""
    if costs.residual == "none" or part.life is None:
        return 0.0
    bought = replacement_years(part.life, costs.life)
    age = costs.life - (bought[-1] if bought.size else 0.0)
    return max(0.0, 1.0 - age / part.life)


def _payback(flow: list[xr.DataArray]) -> xr.DataArray:
    """Return after how many years the sum of the flows is no longer below zero, for good."""
    total = xr.concat(xr.broadcast(*flow), "year", coords="minimal").cumsum("year")
    values = total.transpose("year", ...).values
    below = values < -1e-9 * np.abs(values[0])
    last = values.shape[0] - 1 - np.argmax(below[::-1], axis=0)  # last year in which it is still below
    ever = below.any(axis=0)
    at = np.minimum(last, values.shape[0] - 2)
    here, following = (np.take_along_axis(values, (at + k)[None], 0)[0] for k in (0, 1))
    with np.errstate(divide="ignore", invalid="ignore"):
        part = np.where(following > here, -here / (following - here), 0.0)
    years = np.where(~ever, 0.0, np.where(last == values.shape[0] - 1, np.inf, at + part))
    return xr.DataArray(years, dims=total.transpose("year", ...).dims[1:])
