"""The report's section on the record."""

from __future__ import annotations

from rainharvest.core.blocks import WIDE, Block, Paragraph, Section, Table, picture
from rainharvest.core.defaults import rows_of
from rainharvest.core.reader import date, number, percent
from rainharvest.rainfall.describe import version_totals
from rainharvest.rainfall.facts import SAY, findings_facts, origins_facts, used_facts, whole_years
from rainharvest.rainfall.figures import annual_figure, origin_figure
from rainharvest.rainfall.flags import Flag

FINDINGS_SHOWN = 12
WORDS = rows_of("rainfall", "section")


def record_section(results) -> Section:
    """Return the record, the origin of its days, its years and its faults, of a study that was run."""
    record, done = results.record, results.done
    annual = version_totals(record.filled, record.year_start_month)
    flags, used = done.flag.values, used_facts(done)
    origins = []
    for name, words in WORDS["origins"].items():
        there = flags == Flag[name.upper()]
        if there.any():
            origins.append((words, number(int(there.sum())), percent(float(there.mean()))))
    shown = record.findings.head(FINDINGS_SHOWN)
    rows = [
        (f.severity, SAY.span(date(f.first_day), date(f.last_day)), f.reason, f.action)
        for f in shown.itertuples()
    ]
    said = [SAY.used(used)]
    if done.attrs["years_mostly_filled"]:
        said.append(SAY.mostly_filled(done.attrs["years_mostly_filled"]))
    if done.attrs["years_estimated"]:
        said.append(SAY.partly_filled(done.attrs["years_estimated"]))
    if done.attrs["left_out"]:
        said.append(done.attrs["left_out"] + ".")
    head, widths = tuple(WORDS["origins_head"]), (0.6, 0.2, 0.2)
    blocks: list[Block] = [
        *map(Paragraph, said),
        Table(WORDS["origins_caption"], head, tuple(origins), frozenset({1, 2}), widths),
        picture(
            "origin", origin_figure(record.filled), SAY.origins_caption(origins_facts(flags)), scale=WIDE
        ),
        picture("annual", annual_figure(annual), SAY.annual_caption(whole_years(annual))),
        Paragraph(SAY.findings(findings_facts(record.findings, len(rows)))),
    ]
    if rows:
        head, widths = tuple(WORDS["findings_head"]), (0.11, 0.19, 0.45, 0.25)
        blocks.append(Table(WORDS["findings_caption"], head, tuple(rows), widths=widths))
    if used["assumptions"]:
        blocks.append(Paragraph(SAY.assumed(used["assumptions"])))
    return Section("record", WORDS["title"], tuple(blocks))
