"""The report's section on what tanks cost and save."""

from __future__ import annotations

import numpy as np
import pandas as pd
import xarray as xr

from rainharvest.reader import large_volume, number
from rainharvest.study.report import money_words
from rainharvest.study.report.blocks import WIDE, Block, Paragraph, Section, Table, picture
from rainharvest.study.report.fixed_words import CAPTIONS, COSTS_HEAD, OFFER_HEAD, TITLES
from rainharvest.study.report.size import picked
from rainharvest.study.run import Worked
from rainharvest.study.sizing_costs import cost_of_sizes
from rainharvest.study.sizing_figure_words import front_words, terms_words
from rainharvest.study.sizing_words import option_for
from rainharvest.study.words import litres, percent

SIZES_SHOWN, OFFERS_SHOWN = 12, 10


def cost_of_described(worked: Worked) -> pd.Series | None:
    """Return what the tank described costs: between the sizes of the curve, or by itself beyond them.

    Parameters
    ----------
    worked : Worked
        The study that was run.

    Returns
    -------
    Series or None
        ``capital``, ``annual``, ``per_kilolitre``, ``net_present_value`` in the study's currency; None where
        the study gives no prices.
    """
    group = worked.groups.get("sizing", xr.Dataset())
    if "annual" not in group:
        return None
    size, tried = float(worked.done.described), group.capacity.values
    at, sizes = np.log(size), np.log(tried)
    names = ("capital", "annual", "per_kilolitre", "net_present_value")
    if (
        not tried[0] <= size <= tried[-1]
    ):  # the price is its own; the yield of the largest size holds beyond it
        yearly = np.interp([size], tried, worked.done.yearly_yield.median("member").values)
        along = xr.DataArray(yearly, {"capacity": [size]}, ("capacity",))
        own = cost_of_sizes(worked.study, worked.record, worked.flows, [size], along).isel(capacity=0)
        return pd.Series({name: float(own[name]) for name in names})
    return pd.Series({name: float(np.interp(at, sizes, group[name].values)) for name in names})


def costs_section(worked: Worked) -> Section | None:
    """Return what each size costs and saves, and what can be bought.

    Parameters
    ----------
    worked : Worked
        The study that was run.

    Returns
    -------
    Section or None
        None where the study gives no prices.
    """
    group = worked.groups.get("sizing", xr.Dataset())
    blocks: list[Block] = []
    if "annual" in group:
        blocks += [
            Paragraph(money_words.prices_said(worked.study)),
            Paragraph(terms_words(group)),
            _sizes(group),
        ]
    if "option_annual" in group:
        blocks += _offers(worked, group)
    return Section("costs", TITLES["costs"], tuple(blocks)) if blocks else None


def _sizes(group: xr.Dataset) -> Table:
    volume, unit = large_volume()
    part = group.isel(capacity=picked(group.sizes["capacity"], SIZES_SHOWN))
    rows = tuple(
        (
            litres(float(one.capacity)),
            number(float(one.capital), 2),
            number(float(one.annual), 2),
            number(float(one.per_kilolitre) * volume / 1000, 2),
            litres(float(one.mains_saved)),
            number(float(one.net_present_value), 2),
            money_words.payback_said(float(one.payback)),
        )
        for one in (part.isel(capacity=i) for i in range(part.sizes["capacity"]))
    )
    head = tuple(text.format(currency=group.attrs["currency"], volume=unit) for text in COSTS_HEAD)
    return Table(CAPTIONS["costs"], head, rows, frozenset(range(7)))


def _offers(worked: Worked, group: xr.Dataset) -> list[Block]:
    from rainharvest.plots.sizing_costs import front_figure

    target = worked.study.target
    marked = option_for(group, float(worked.done.described))
    good = np.flatnonzero(group.option_efficient.values.astype(bool))
    if marked is not None:  # those about the tank described
        near = np.argsort(abs(np.log(group.option_capacity.values[good] / float(worked.done.described))))
        good = np.sort(np.union1d(good[near[:OFFERS_SHOWN]], [marked]))
    rows = tuple(
        (
            str(one.option.item()),
            litres(float(one.option_capacity)),
            percent(float(one.option_reliability)),
            number(float(one.option_capital), 2),
            number(float(one.option_annual), 2),
            number(float(one.option_net_present_value), 2),
        )
        for one in (group.isel(option=int(i)) for i in good[: OFFERS_SHOWN + 1])
    )
    head = tuple(text.format(currency=group.attrs["currency"]) for text in OFFER_HEAD)
    words = money_words.front_caption(group, marked)
    drawn = front_figure(group, target.measure, target.reliability, marked)
    return [
        picture("front", drawn, words, scale=WIDE),
        Paragraph(front_words(group)),
        Table(CAPTIONS["offers"], head, rows, frozenset(range(1, 6))),
    ]
