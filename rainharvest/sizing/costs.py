"""Costs and savings over the years: present worth, bills with and without the tank, the efficient front."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import xarray as xr

from rainharvest.core.errors import require
from rainharvest.core.quantities import attributes
from rainharvest.sizing.tables import Costs, Part, bill
from rainharvest.sizing.trade_off import along_sizes
from rainharvest.storage.arrangements import ride_out
from rainharvest.storage.simulate import as_series, common_time, simulate


def present_worth_factor(rate: float, life: float, growth: float = 0.0) -> float:
    """Return the present worth of a payment made at the end of each year (P/A).

    P/A = (1 - ((1 + g) / (1 + i))^n) / (i - g), and n / (1 + i) where i = g. The payment is one unit at the
    end of the first year and grows by g from each year to the next; with g = 0 it is the (P/A, i, n) of
    the tables.

    >>> round(present_worth_factor(0.035, 20), 4)
    14.2124
    >>> present_worth_factor(0.0, 20), round(present_worth_factor(0.04, 20, growth=0.04), 4)
    (20.0, 19.2308)
    """
    if rate == growth:
        return float(life) / (1.0 + rate)
    # Written with expm1 and log1p: rate and growth may differ by next to nothing.
    return -math.expm1(life * math.log1p((growth - rate) / (1.0 + rate))) / (rate - growth)


def bought_a_year(costs: Costs, mains_a_year: float) -> float:
    """Return what mains water [L/year] costs at a tariff without blocks, spread evenly over the years as it grows.

    >>> bought_a_year(Costs(tariff=2.4), 10_000.0)
    24.0
    """
    years = costs.real_rate, costs.life
    grown = present_worth_factor(*years, costs.tariff_growth) / present_worth_factor(*years)
    return mains_a_year / 1000 * costs.tariff * grown


def replacement_years(part_life: float, life: int) -> np.ndarray:
    """Return the years at whose end a part is bought again.

    >>> replacement_years(8, 25), replacement_years(25, 25)
    (array([ 8., 16., 24.]), array([], dtype=float64))
    """
    return np.arange(1, int(np.ceil(life / part_life - 1e-9))) * float(part_life)


PIECE = 64

"""Sizes traced together: one block of lanes, so that memory does not grow with the number of sizes."""


def drawn_by_period(inflow, demand, capacity, months: int, **settings) -> xr.DataArray:
    """Return the water drawn from each tank in each billing period, less the mains water stored in it."""
    first, edges = _periods(pd.DatetimeIndex(inflow["time"].values), months)
    sizes = np.atleast_1d(np.asarray(capacity, dtype=float))
    rows = []
    for begin in range(0, sizes.size, PIECE):
        part = slice(begin, begin + PIECE)
        along = along_sizes(sizes[part])
        own = {
            k: v.isel(capacity=part) if isinstance(v, xr.DataArray) and "capacity" in v.dims else v
            for k, v in settings.items()
        }
        done = simulate(inflow, demand, along, **own, trace=True)
        drawn = (done.drawn_daily - done.mains_stored_daily).transpose("capacity", "time")
        rows.append(_sums(drawn.values, edges))
    coords = {"capacity": ("capacity", sizes, attributes("capacity")), "period": ("period", first)}
    name = "drawn_in_period"
    return xr.DataArray(np.concatenate(rows), coords, ("capacity", "period"), name, attributes(name))


def saved_bills(costs: Costs, drawn: xr.DataArray, demand: xr.DataArray) -> xr.DataArray:
    """Return what the tank takes off the water bill in a mean year.

    For each billing period, the bill for all that the building uses less the bill for what the tank leaves;
    the tank so saves the dearest kilolitres first.
    """
    time = pd.DatetimeIndex(demand["time"].values)
    _, edges = _periods(time, costs.billing_months)
    per_day = np.asarray(demand.transpose("time").values, dtype=float) + costs.other_use
    used = _sums(per_day, edges) / 1000
    left = np.maximum(used - drawn.transpose("capacity", "period").values / 1000, 0.0)
    saved = bill(costs.blocks, used) - bill(costs.blocks, left)
    a_year = saved.mean(axis=1) * 12 / costs.billing_months
    attrs = attributes("saved_bill", units=costs.currency)
    return xr.DataArray(a_year, {"capacity": drawn.capacity}, ("capacity",), "saved_bill", attrs)


def _periods(time: pd.DatetimeIndex, months: int) -> tuple[np.ndarray, np.ndarray]:
    """Return the first day of each whole billing period, and where each begins in the record, then its end."""
    starts = np.flatnonzero((time.day == 1) & ((time.month - 1) % months == 0))
    if starts.size and time[-1].is_month_end and time[-1].month % months == 0:
        starts = np.append(starts, time.size)
    problem = f"no whole billing period of {months} months in {time[0].date()} to {time[-1].date()}"
    require(starts.size > 1, problem, "give a longer record, or shorter periods", "billing_months")
    return time.values[starts[:-1]], starts


def _sums(values: np.ndarray, edges: np.ndarray) -> np.ndarray:
    """Return the sums between edges, along the last axis."""
    return np.add.reduceat(values[..., : edges[-1]], edges[:-1], axis=-1)


SPELLS = (1.0, 2.0, 3.0, 5.0, 7.0, 14.0)

"""Interruptions of the mains looked at, in days."""


def efficient(cost, worth) -> np.ndarray:
    """Return which choices are on the efficient front: nothing is at least as good and costs less.

    A choice is off the front if another costs no more and is worth no less, one of the two strictly.

    >>> efficient([10, 20, 25, 30], [0.5, 0.8, 0.7, 0.9])
    array([ True,  True, False,  True])
    """
    cost, worth = np.asarray(cost, dtype=float), np.asarray(worth, dtype=float)
    no_dearer, no_worse = cost[:, None] <= cost, worth[:, None] >= worth
    betters = no_dearer & no_worse & ~(no_dearer.T & no_worse.T)
    return ~betters.any(axis=0)


def full_days(demand, capacity) -> xr.DataArray:
    """Return how long a full tank lasts from the worst morning, without rain or mains.

    >>> full_days([100.0, 300.0, 100.0, 100.0], [400.0]).values
    array([2.])
    """
    lasts = ride_out(demand, capacity).min("time")
    return lasts.rename("full_days").assign_attrs(attributes("full_days"))


def days_of_supply(stored, demand, spells=SPELLS) -> xr.DataArray:
    """Return on what share of mornings the store alone lasts through an interruption.

    The morning's store is that of the evening before; it lasts x days if the demand of the next x days is no
    more than it holds.

    >>> days_of_supply([250.0, 150.0, 50.0, 250.0, 250.0], 100.0, spells=[1, 2]).values.round(4)
    array([0.75  , 0.3333])
    """
    time = common_time(stored=stored, demand=demand)
    held = as_series("stored", stored, time).values
    sums = np.concatenate([[0.0], np.cumsum(as_series("demand", demand, time).values)])
    shares = []
    for days in spells:
        whole = days == int(days) and 1 <= days < held.size
        problem = f"an interruption of {days:g} days"
        require(whole, problem, "give whole days, fewer than the record has", "spells")
        n = int(days)
        ahead = sums[1 + n :] - sums[1 : held.size + 1 - n]
        shares.append(float((ahead <= held[: held.size - n] * (1 + 1e-12)).mean()))
    coords = {"ride_out": ("ride_out", np.asarray(spells, dtype=float), attributes("ride_out"))}
    return xr.DataArray(shares, coords, ("ride_out",), "in_hand", attributes("in_hand"))


def life_cycle(costs: Costs, nominal, yearly_yield, *, saved_bill=None, tank_price=None) -> xr.Dataset:
    """Return what tanks cost and save over the years of the study.

    Everything is money of today: amounts grow only by their growth above inflation, and are discounted at
    the real rate. The capital is paid at the beginning, everything else at the ends of the years; year t
    pays (1 + g)^(t - 1) of today's tariff. A part is bought again whenever its life is over, at today's
    price. With P the present worth of capital, replacements and running costs less the residual value,

        cost a year = P / (P/A),   cost a kilolitre = P / (kilolitres a year x P/A),
        net present value = present worth of the bills saved - P.

    A capital of 5,000,000 and 150,000 a year, 3.5 %, 20 years: present worth 7,131,860.50 (solved problem):

    >>> done = life_cycle(Costs(fixed=5_000_000, upkeep=150_000, life=20, rate=0.035), 0.0, 0.0)
    >>> round(float(done.capital + done.running), 2)
    7131860.5
    """
    given = {"nominal": nominal, "yearly_yield": yearly_yield}
    given |= {"saved_bill": saved_bill, "tank_price": tank_price}
    given = {name: xr.DataArray(value) for name, value in given.items() if value is not None}
    arrays = xr.broadcast(*(array.astype(float).reset_coords(drop=True) for array in given.values()))
    done = cost_measures(costs, **{name: a.values for name, a in zip(given, arrays, strict=True)})
    data = arrays[0].to_dataset(name="capital")
    for name, of_size in done.items():
        data[name] = (arrays[0].dims, of_size, money_attributes(name, costs.currency))
    data.attrs = {
        "currency": costs.currency,
        "life": costs.life,
        "real_rate": costs.real_rate,
        "rate_kind": costs.rate_kind,
        "residual_value": costs.residual,
    }
    return data


def money_attributes(name: str, currency: str) -> dict[str, object]:
    """Return the attributes of a variable, with the currency where it is money: where no unit is stated."""
    return {"units": currency} | attributes(name)


def cost_measures(
    costs: Costs, nominal, yearly_yield, saved_bill=None, tank_price=None
) -> dict[str, np.ndarray]:
    """Return what `life_cycle` does as plain arrays, unchecked: for sliders."""
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
