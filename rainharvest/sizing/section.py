"""The report's sections on the tank size, how sure it is and what it costs; the same sentences for whoever asks."""

from __future__ import annotations

import textwrap

import numpy as np
import xarray as xr

from rainharvest.core.blocks import WIDE, Block, Paragraph, Section, Table, picture, table_of
from rainharvest.core.defaults import rows_of
from rainharvest.core.reader import large_volume, litres, number, percent
from rainharvest.core.text import texts_of
from rainharvest.sizing.facts_printed import (
    break_facts,
    certainty,
    decision,
    front_facts,
    headline_facts,
    maps_at,
    offer,
    offered,
    shortcut_facts,
    unknowns,
)

SAY = texts_of("sizing")

FIXED = rows_of("sizing", "fixed")

SIZES_SHOWN = 12

OFFERS_SHOWN = 10


def headline(done: xr.Dataset) -> str:
    """Return the answer of a study in a sentence or two."""
    return SAY.headline(headline_facts(done))


def confidence(done: xr.Dataset) -> str:
    """Return how far the record carries the answer, in a sentence."""
    said = SAY.confidence(headline_facts(done)), SAY.since_break(break_facts(done))
    return " ".join(filter(None, said))


def tell(done: xr.Dataset, width: int = 100) -> None:
    """Print the answer of a study and how far the record carries it, broken into lines.

    Parameters
    ----------
    done : Dataset
        As `rainharvest.study.stages.run_study`.
    width : int
        Characters on a line.
    """
    for text in (headline(done), confidence(done)):
        print(textwrap.fill(text, width))


def recommendation(group: xr.Dataset) -> list[str]:
    """Return the recommendation: what, why, what would change it, how sure."""
    facts = decision(group)
    if not facts.rain:
        return [SAY.chosen(facts)]
    parts = (SAY.chosen(facts), SAY.why(facts), SAY.change(facts), SAY.sure(facts))
    return [part for part in parts if part]


def tell_recommendation(group: xr.Dataset, width: int = 100) -> None:
    """Print the recommendation, broken into lines.

    Parameters
    ----------
    group : Dataset
        As `rainharvest.sizing.facts_costs.sizing_group`.
    width : int
        Characters on a line.
    """
    print("\n\n".join(textwrap.fill(text, width) for text in recommendation(group)))


def size_section(results) -> Section:
    """Return the tank-size decision: why this one, and how sure."""
    group = results.groups.get("sizing")
    blocks: list[Block] = []
    if group is not None:
        said = recommendation(group)[:3]  # how sure is said on the first page
        blocks += [Paragraph(text) for text in said]
        blocks += _band(group)
    return Section("size", FIXED["titles"]["size"], tuple(blocks))


def sizes_section(results) -> Section:
    """Return the sizes tried, and what is not known for sure."""
    done, group, facts = results.done, results.groups.get("sizing"), headline_facts(results.done)
    blocks: list[Block] = [Paragraph(SAY.sizes(facts)), _sizes_table(done), Paragraph(SAY.spread(facts))]
    if group is not None:
        blocks += _uncertainty(results, group)
    return Section("sizes", FIXED["titles"]["sizes"], tuple(blocks))


def _sizes_table(done: xr.Dataset) -> Table:
    forms = {
        "nominal": litres,
        "volume_reliability": percent,
        "time_reliability": percent,
        "yearly_yield": litres,
        "failed_a_year": whole,
        "longest_failure": lambda value: whole(value) if np.isfinite(value) else FIXED["throughout"],
    }
    part = done.isel(capacity=picked(done.sizes["capacity"], SIZES_SHOWN)).reset_coords("nominal")
    part = part[list(forms)].median("member")
    # A tank that supplies no day in full has one failure, as long as the record.
    part["longest_failure"] = part.longest_failure.where(part.time_reliability > 0, np.inf)
    return _table("sizes", part, {"capacity": litres} | forms)


def whole(value: float) -> str:
    """Return a count in words."""
    return number(round(value))


def _table(name: str, part: xr.Dataset, forms: dict, **units: str) -> Table:
    """Return a table of this room under its fixed words."""
    head = [FIXED["heads"][name][column].format(**units) for column in forms]
    return table_of(FIXED["captions"][name], head, part, forms)


def _band(group: xr.Dataset) -> list[Block]:
    from rainharvest.sizing.figures import band_figure

    if "reliability_low" not in group:
        return []
    return [
        picture(
            "band", band_figure(group), SAY.band_caption(group.attrs["draws"], certainty(group)), scale=WIDE
        )
    ]


def _uncertainty(results, group: xr.Dataset) -> list[Block]:
    from rainharvest.sizing.figures import maps_figure, unknowns_figure

    tank = float(results.done.described)
    out: list[Block] = []
    if "response_low" in group:
        drawn = unknowns_figure(group, tank)
        out.append(picture("unknowns", drawn, SAY.unknowns(unknowns(group)), scale=WIDE))
    # the maps end with the sizes tried
    inside = float(group.capacity[0]) <= tank <= float(group.capacity[-1])
    if "reliability_by_area" in group and inside:
        out.append(picture("maps", maps_figure(group, tank), SAY.maps(maps_at(group, tank)), scale=WIDE))
    if "size_by_way" in group:
        out.append(Paragraph(SAY.shortcuts_in_report(shortcut_facts(group))))
    return out


def picked(count: int, shown: int) -> np.ndarray:
    """Return which of so many rows are shown: the ends, and others evenly between.

    >>> picked(9, 3), picked(2, 3)
    (array([0, 4, 8]), array([0, 1]))
    """
    return np.unique(np.linspace(0, count - 1, shown).round().astype(int))


def costs_section(results) -> Section | None:
    """Return what each size costs and saves, and what can be bought."""
    group = results.groups.get("sizing", xr.Dataset())
    blocks: list[Block] = []
    if results.study.costs is not None:
        by_size = "annual" in group
        told = (group.attrs["beside_costs"], by_size, group.attrs["saves"])
        blocks.append(Paragraph(SAY.prices(results.study.costs, *told)))
        blocks.append(Paragraph(SAY.terms(group.attrs)))
        blocks += [_costs_table(group)] if by_size else []
    if "option_annual" in group:
        blocks += _offers(results, group)
    return Section("costs", FIXED["titles"]["costs"], tuple(blocks)) if blocks else None


def money(value: float) -> str:
    """Return a yearly or a total amount of money in words."""
    return number(value, 2)


def capital(value: float) -> str:
    """Return what is paid once in words."""
    return number(value, 3)  # as the bill on the first page


def _costs_table(group: xr.Dataset) -> Table:
    volume, unit = large_volume()
    forms = {
        "capacity": litres,
        "capital": capital,
        "annual": money,
        "per_kilolitre": lambda value: money(value * volume / 1000),
        "mains_saved": litres,
        "net_present_value": money,
        "payback": SAY.payback,
    }
    part = group.isel(capacity=picked(group.sizes["capacity"], SIZES_SHOWN))
    without = {"as if": ("mains_saved",), "no mains": ("mains_saved", "payback")}
    for name in without.get(group.attrs["saves"], ()):  # no mains water, or none that has a price
        del forms[name]
    return _table("costs", part, forms, currency=group.attrs["currency"], volume=unit)


def _offers(results, group: xr.Dataset) -> list[Block]:
    from rainharvest.sizing.figures import front_figure

    size, marked = float(results.done.described), group.attrs.get("decided_option")
    good = np.flatnonzero(group.option_efficient.values.astype(bool))
    away = abs(np.log(group.option_capacity.values / size))  # those about the tank described
    near = good[np.argsort(away[good])[:OFFERS_SHOWN]]
    shown = group.isel(option=np.union1d(near, [away.argmin() if marked is None else marked]))
    shown = shown.assign_coords(option=[offered(name) for name in shown.option.values])
    forms = {
        "option": str,
        "option_capacity": litres,
        "option_reliability": percent,
        "option_capital": capital,
        "option_annual": money,
        "option_net_present_value": money,
    }
    if group.attrs["saves"] == "no mains":  # only costs
        del forms["option_net_present_value"]
    table = _table("offers", shown, forms, currency=group.attrs["currency"])
    words = SAY.front_caption(group.sizes["option"], None if marked is None else offer(group, marked))
    drawn = front_figure(group, marked)
    return [picture("front", drawn, words, scale=WIDE), Paragraph(SAY.front(front_facts(group))), table]
