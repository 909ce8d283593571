"""The report's section on the tank size and how sure it is."""

from __future__ import annotations

import numpy as np

from rainharvest.reader import number
from rainharvest.study.report import decision_words
from rainharvest.study.report.blocks import WIDE, Block, Paragraph, Section, Table, picture
from rainharvest.study.report.fixed_words import CAPTIONS, SIZES_HEAD, TITLES
from rainharvest.study.run import Worked
from rainharvest.study.sizing_figure_words import maps_words, shortcuts_words, unknowns_words
from rainharvest.study.sizing_recommendation import recommendation
from rainharvest.study.words import litres, percent

SIZES_SHOWN = 12
MEASURES = ("volume_reliability", "time_reliability", "yearly_yield", "failed_a_year", "longest_failure")


def size_section(worked: Worked) -> Section:
    """Return the tank-size decision with its uncertainty.

    Parameters
    ----------
    worked : Worked
        The study that was run.

    Returns
    -------
    Section
        What, why, what would change it, how sure; the sizes compared; what the record's gaps leave open.
    """
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
        Paragraph(decision_words.sizes_said(done)),
        Table(CAPTIONS["sizes"], SIZES_HEAD, rows, frozenset(range(7))),
        Paragraph(decision_words.spread_said(done)),
    ]
    return Section("size", TITLES["size"], tuple(blocks))


def _uncertainty(worked: Worked) -> list[Block]:
    from rainharvest.plots.sizing_certainty import band_figure, unknowns_figure
    from rainharvest.plots.sizing_maps import maps_figure
    from rainharvest.sizing.ranges import RANGE_WORDS

    group, study = worked.groups["sizing"], worked.study
    measure, tank = study.target.measure, float(worked.done.described)
    out: list[Block] = []
    if "reliability_low" in group:
        drawn = band_figure(group, measure, study.target.reliability)
        out.append(picture("band", drawn, decision_words.band_caption(group), scale=WIDE))
    if "response_low" in group:
        drawn = unknowns_figure(group, RANGE_WORDS, measure, tank)
        out.append(picture("unknowns", drawn, unknowns_words(group), scale=WIDE))
    if "reliability_by_area" in group and study.roof:
        area = sum(roof.area for roof in study.roof)
        drawn = maps_figure(group, tank, area, measure)
        out.append(picture("maps", drawn, maps_words(group, tank), scale=WIDE))
    if "size_by_way" in group:
        out.append(Paragraph(decision_words.shortcuts_said(shortcuts_words(group))))
    return out


def picked(count: int, shown: int) -> np.ndarray:
    """Return which of so many rows are shown: the ends, and others evenly between.

    Parameters
    ----------
    count, shown : int
        Rows there are and rows to show.

    Returns
    -------
    ndarray
        Places, rising.

    Examples
    --------
    >>> picked(9, 3), picked(2, 3)
    (array([0, 4, 8]), array([0, 1]))
    """
    return np.unique(np.linspace(0, count - 1, shown).round().astype(int))
