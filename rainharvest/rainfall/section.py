"""The report's section on the record, and the page that a record has of its own."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import numpy as np

from rainharvest.core.blocks import WIDE, Block, Bullets, Paragraph, Report, Section, Table, numbered, picture
from rainharvest.core.defaults import rows_of
from rainharvest.core.reader import date, depths, measure, number, percent
from rainharvest.rainfall import facts, figures
from rainharvest.rainfall.describe import one_version, version_totals
from rainharvest.rainfall.flags import MEANINGS, Flag
from rainharvest.rainfall.summary import described, sources

if TYPE_CHECKING:
    from rainharvest.rainfall.record import RainRecord

FINDINGS_SHOWN, HEAVIEST_SHOWN = 12, 10
SAY, WORDS = facts.SAY, rows_of("rainfall", "section")


def record_section(results) -> Section:
    """Return the record, the origin of its days, its years and its faults, of a study that was run."""
    return Section("record", WORDS["title"], _blocks(results.record, results.done, FINDINGS_SHOWN))


def _blocks(record, done, most: int | None = None) -> tuple[Block, ...]:
    annual = version_totals(record.filled, record.year_start_month)
    flags, used, years = done.flag.values, facts.used_facts(done), facts.whole_years(annual)
    changes = facts.changes_facts(record.findings, annual)
    origins = []
    for name, words in WORDS["origins"].items():
        there = flags == Flag[name.upper()]
        if there.any():
            origins.append((words, number(int(there.sum())), percent(float(there.mean()))))
    rows = [
        (f.severity, SAY.span(date(f.first_day), date(f.last_day)), depths(f.reason), depths(f.action))
        for f in record.findings.head(most or len(record.findings)).itertuples()
    ]
    said = [SAY.used(used)]
    if done.attrs["years_mostly_filled"]:
        said.append(SAY.mostly_filled(done.attrs["years_mostly_filled"], study=most is not None))
    if done.attrs["years_estimated"]:
        said.append(SAY.partly_filled(done.attrs["years_estimated"]))
    if done.attrs["left_out"]:
        said.append(done.attrs["left_out"] + ".")
    if years["whole"] < 2:
        said.append(SAY.one_year(years["whole"]))
    head, widths = tuple(WORDS["origins_head"]), (0.6, 0.2, 0.2)
    day_by_day = figures.origin_figure(record.filled)
    year_by_year = figures.annual_figure(annual, changes=changes)
    caption = " ".join(filter(None, [SAY.annual_caption(years), SAY.changes_caption(changes)]))
    blocks: list[Block] = [
        *map(Paragraph, said),
        Table(WORDS["origins_caption"], head, tuple(origins), frozenset({1, 2}), widths),
        picture("origin", day_by_day, SAY.origins_caption(facts.origins_facts(flags)), scale=WIDE),
        picture("annual", year_by_year, caption),
        Paragraph(SAY.findings(facts.findings_facts(record.findings, len(rows)))),
    ]
    if rows:
        head, widths = tuple(WORDS["findings_head"]), (0.11, 0.19, 0.45, 0.25)
        blocks.append(Table(WORDS["findings_caption"], head, tuple(rows), widths=widths))
    if used["assumptions"]:
        blocks.append(Paragraph(SAY.assumed(used["assumptions"])))
    return tuple(blocks)


def record_report(record: RainRecord) -> Report:
    """Return a record on a page of its own, fit to send to the met office or the client."""
    found, done, title = record.description, facts.own_facts(record), WORDS["titles"]
    heaviest = figures.return_levels_figure(found, float(done.attrs["measured_years"]))
    pictures = {
        "months": (figures.monthly_figure(found), SAY.months(facts.months_facts(found))),
        "spells": (figures.spells_figure(found), SAY.spells(facts.spells_facts(found))),
        "heavy": (heaviest, SAY.return_levels(found.sel(return_period=10), done.attrs["measured_years"])),
    }
    shown = {  # the panels' sentences, without their bold type
        name: picture(name, figure, re.sub("<[^>]+>", "", words), scale=WIDE)
        for name, (figure, words) in pictures.items()
    }
    first = one_version(record.filled).to_series().dropna()
    top = first.sort_values(ascending=False, kind="stable").head(HEAVIEST_SHOWN)
    origin = dict(zip(first.index, record.filled["flag"].sel(time=first.index).values, strict=True))
    rows = [(date(day), measure(rain, "mm", 3), MEANINGS[Flag(origin[day])]) for day, rain in top.items()]
    days = Table(WORDS["heaviest_caption"], tuple(WORDS["heaviest_head"]), tuple(rows), frozenset({1}))
    sections = (
        Section("record", WORDS["title"], _blocks(record, done)),
        Section("rain", title["rain"], (Bullets(tuple(described(found))), shown["months"], shown["spells"])),
        Section("heavy", title["heavy"], (days, shown["heavy"])),
        Section("files", title["files"], (Bullets(tuple(sources((record.read, *record.neighbours)))),)),
    )
    name = str(record.read.attrs.get("site") or done.attrs["rain_file"])
    span = SAY.span(date(np.datetime64(found.month.values[0])), date(record.filled.indexes["time"][-1]))
    warning = WORDS["invented"] if "invented" in name.lower() else ""
    return Report(SAY.page_title(name), (span,), warning, "A4", numbered(sections))
