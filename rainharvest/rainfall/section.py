"""The report's section on the record."""

from __future__ import annotations

from rainharvest.core.blocks import WIDE, Paragraph, Section, Table, picture
from rainharvest.core.reader import date, number, percent
from rainharvest.rainfall.words import (
    annual_caption,
    days_said,
    findings_said,
    origins_caption,
    record_read,
    told,
)
from rainharvest.study.stages import Worked
from rainharvest.study.words import CAPTIONS, FINDINGS_HEAD, ORIGINS, RECORD_HEAD, TITLES

FINDINGS_SHOWN = 12


def record_section(worked: Worked) -> Section:
    """Return the record, the origin of its days, its years and its faults."""
    from rainharvest.rainfall.describe import version_totals
    from rainharvest.rainfall.figures import annual_figure, origin_figure

    record, done = worked.record, worked.done
    annual = version_totals(record.filled, record.year_start_month)
    flags = done.flag.values
    origins = [
        (words, number(int((flags == int(flag)).sum())), percent(float((flags == int(flag)).mean())))
        for flag, words in ORIGINS.items()
        if (flags == int(flag)).any()
    ]
    rows = [
        (
            str(f.severity),
            days_said(date(f.first_day), date(f.last_day)),
            str(f.reason),
            str(f.action),
        )
        for f in record.findings.head(FINDINGS_SHOWN).itertuples()
    ]
    blocks = [Paragraph(text) for text in record_read(done)]
    blocks += [
        Table(CAPTIONS["origins"], RECORD_HEAD, tuple(origins), frozenset({1, 2}), (0.6, 0.2, 0.2)),
        picture("origin", origin_figure(record.filled), origins_caption(flags), scale=WIDE),
        picture("annual", annual_figure(annual), annual_caption(annual)),
        Paragraph(findings_said(record.findings, len(rows))),
    ]
    if rows:
        blocks.append(
            Table(CAPTIONS["findings"], FINDINGS_HEAD, tuple(rows), widths=(0.11, 0.19, 0.45, 0.25))
        )
    blocks += [Paragraph(text) for text in told(done)]
    return Section("record", TITLES["record"], tuple(blocks))
