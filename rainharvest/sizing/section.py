"""The report's sections on the tank size, how sure it is and what it costs."""

from __future__ import annotations

import numpy as np
import pandas as pd
import xarray as xr

from rainharvest.core.blocks import WIDE, Block, Paragraph, Section, Table, picture
from rainharvest.core.reader import large_volume, litres, number, percent
from rainharvest.sizing.facts import cost_of_sizes
from rainharvest.sizing.figure_words import (
    front_caption,
    front_words,
    maps_words,
    payback_said,
    prices_said,
    shortcuts_words,
    terms_words,
    unknowns_words,
)
from rainharvest.sizing.words import (
    band_caption,
    option_for,
    recommendation,
    shortcuts_said,
    sizes_said,
    spread_said,
)
from rainharvest.study.stages import Worked
from rainharvest.study.words import CAPTIONS, COSTS_HEAD, OFFER_HEAD, SIZES_HEAD, TITLES

SIZES_SHOWN = 12

MEASURES = ("volume_reliability", "time_reliability", "yearly_yield", "failed_a_year", "longest_failure")


def size_section(worked: Worked) -> Section:
    """Return the tank-size decision with its uncertainty."""
    done, group = worked.done, worked.groups.get("sizing")
    blocks: list[Block] = []
    if group is not None:
        blocks += [Paragraph(text) for text in recommendation(group)]
        blocks += _uncertainty(worked)
    pick = picked(done.sizes["capacity"], SIZES_SHOWN)
    part = done.isel(capacity=pick)[list(MEASURES)].median("member")
    rows = tuple(
        (
            litres(size),
            litres(float(done.nominal[pick[i]])),
            percent(float(part.volume_reliability[i])),
            percent(float(part.time_reliability[i])),
            litres(float(part.yearly_yield[i])),
            number(round(float(part.failed_a_year[i]))),
            number(round(float(part.longest_failure[i]))),
        )
        for i, size in enumerate(part.capacity.values)
    )
    blocks += [
        Paragraph(sizes_said(done)),
        Table(CAPTIONS["sizes"], SIZES_HEAD, rows, frozenset(range(7))),
        Paragraph(spread_said(done)),
    ]
    return Section("size", TITLES["size"], tuple(blocks))


def _uncertainty(worked: Worked) -> list[Block]:
    from rainharvest.sizing.figures import band_figure, maps_figure, unknowns_figure
    from rainharvest.sizing.uncertainty import RANGE_WORDS

    group, study = worked.groups["sizing"], worked.study
    measure, tank = study.target.measure, float(worked.done.described)
    out: list[Block] = []
    if "reliability_low" in group:
        drawn = band_figure(group, measure, study.target.reliability)
        out.append(picture("band", drawn, band_caption(group), scale=WIDE))
    if "response_low" in group:
        drawn = unknowns_figure(group, RANGE_WORDS, measure, tank)
        out.append(picture("unknowns", drawn, unknowns_words(group), scale=WIDE))
    if "reliability_by_area" in group and study.roof:
        area = sum(roof.area for roof in study.roof)
        drawn = maps_figure(group, tank, area, measure)
        out.append(picture("maps", drawn, maps_words(group, tank), scale=WIDE))
    if "size_by_way" in group:
        out.append(Paragraph(shortcuts_said(shortcuts_words(group))))
    return out


def picked(count: int, shown: int) -> np.ndarray:
    """Return which of so many rows are shown: the ends, and others evenly between.

    >>> picked(9, 3), picked(2, 3)
    (array([0, 4, 8]), array([0, 1]))
    """
    return np.unique(np.linspace(0, count - 1, shown).round().astype(int))


OFFERS_SHOWN = 10


def cost_of_described(worked: Worked) -> pd.Series | None:
    """Return what the tank described costs: between the sizes of the curve, or by itself beyond them."""
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
    """Return what each size costs and saves, and what can be bought."""
    group = worked.groups.get("sizing", xr.Dataset())
    blocks: list[Block] = []
    if "annual" in group:
        blocks += [
            Paragraph(prices_said(worked.study)),
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
            payback_said(float(one.payback)),
        )
        for one in (part.isel(capacity=i) for i in range(part.sizes["capacity"]))
    )
    head = tuple(text.format(currency=group.attrs["currency"], volume=unit) for text in COSTS_HEAD)
    return Table(CAPTIONS["costs"], head, rows, frozenset(range(7)))


def _offers(worked: Worked, group: xr.Dataset) -> list[Block]:
    from rainharvest.sizing.figures_costs import front_figure

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
    words = front_caption(group, marked)
    drawn = front_figure(group, target.measure, target.reliability, marked)
    return [
        picture("front", drawn, words, scale=WIDE),
        Paragraph(front_words(group)),
        Table(CAPTIONS["offers"], head, rows, frozenset(range(1, 6))),
    ]
