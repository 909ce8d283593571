"""The report's sections on site works, parts and upkeep, and what each use must pass through."""

from __future__ import annotations

import math

from rainharvest.reader import number
from rainharvest.study.report import works_words
from rainharvest.study.report.blocks import Block, Paragraph, Section, Subheading, Table
from rainharvest.study.report.fixed_words import (
    CAPTIONS,
    CHECKS_HEAD,
    MONTHS,
    NONE,
    PARTS_HEAD,
    TITLES,
    TREATMENT_HEAD,
    UPKEEP_HEAD,
)
from rainharvest.study.run import Worked
from rainharvest.study.siteworks import siteworks_of
from rainharvest.study.siteworks_words import (
    mains_words,
    parts_words,
    siteworks_said,
    treatment_words,
)


def siteworks_section(worked: Worked) -> Section:
    """Return base, gauge, overflow and delivery.

    Parameters
    ----------
    worked : Worked
        The study that was run.

    Returns
    -------
    Section
        A heading and a paragraph each, and the levels and distances that were checked.
    """
    works = siteworks_of(worked)
    elsewhere = {mains_words(works), treatment_words(works), parts_words(works)}
    blocks: list[Block] = []
    for head, words in siteworks_said(works):
        if words not in elsewhere:
            blocks += [Subheading(head), Paragraph(words)]
    rows = tuple((row.check, row.found, row.asked, row.fits) for row in works.checks.itertuples())
    blocks.append(Table(CAPTIONS["checks"], CHECKS_HEAD, rows))
    return Section("siteworks", TITLES["siteworks"], tuple(blocks))


def treatment_blocks(worked: Worked) -> list[Block]:
    """Return how the mains enter and what each use must pass through.

    Parameters
    ----------
    worked : Worked
        The study that was run.

    Returns
    -------
    list of Block
        Sentences and a table.
    """
    works = siteworks_of(worked)
    rows = tuple(
        (row.use, row.quality, works_words.steps_said(row.steps)) for row in works.treatment.itertuples()
    )
    return [
        Paragraph(mains_words(works)),
        Paragraph(treatment_words(works)),
        Table(CAPTIONS["treatment"], TREATMENT_HEAD, rows),
    ]


def parts_section(worked: Worked) -> Section:
    """Return the list of parts.

    Parameters
    ----------
    worked : Worked
        The study that was run.

    Returns
    -------
    Section
        A table; prices where the study file gives them.
    """
    works = siteworks_of(worked)
    priced = bool(works.parts.cost.notna().any())
    rows = tuple(
        (
            row.part,
            number(row.quantity, 3),
            row.counted,
            row.what_for,
            *((NONE if math.isnan(row.cost) else number(row.cost, 3),) if priced else ()),
        )
        for row in works.parts.itertuples()
    )
    head = PARTS_HEAD if priced else PARTS_HEAD[:-1]
    table = Table(CAPTIONS["parts"], head, rows, frozenset({1, 4}) if priced else frozenset({1}))
    return Section("parts", TITLES["parts"], (Paragraph(parts_words(works)), table))


def upkeep_section(worked: Worked) -> Section:
    """Return who does what when.

    Parameters
    ----------
    worked : Worked
        The study that was run.

    Returns
    -------
    Section
        A table, a task a row.
    """
    upkeep = siteworks_of(worked).upkeep
    rows = []
    for _, row in upkeep.iterrows():
        months = [words for month, words in MONTHS.items() if row[month]]
        rows.append((row.task, works_words.when_said(months, int(row.every)), row["mind"], row.source))
    table = Table(CAPTIONS["upkeep"], UPKEEP_HEAD, tuple(rows), widths=(0.4, 0.16, 0.14, 0.3))
    return Section("upkeep", TITLES["upkeep"], (Paragraph(works_words.UPKEEP), table))
