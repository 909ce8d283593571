"""The report's sections on site works, parts and upkeep, and what each use must pass through."""

from __future__ import annotations

import math

from rainharvest.reader import in_units, number
from rainharvest.study.cautions import CAUTIONS
from rainharvest.study.report import decision_words, works_words
from rainharvest.study.report.blocks import (
    WIDE,
    Block,
    Caution,
    Paragraph,
    Section,
    Subheading,
    Table,
    picture,
)
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
from rainharvest.study.report.works_words import reader_units
from rainharvest.study.run import Worked
from rainharvest.study.siteworks import siteworks_of
from rainharvest.study.siteworks_water_words import mains_words, soakaway_words, storms_words
from rainharvest.study.siteworks_words import (
    gauge_words,
    parts_words,
    siteworks_said,
    tank_words,
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
    from rainharvest.plots.siteworks import tank_figure
    from rainharvest.plots.siteworks_levels import gauge_figure
    from rainharvest.plots.siteworks_water import soakaway_figure, storms_figure

    works = siteworks_of(worked)
    drawn = {
        tank_words(works): ("tank", tank_figure(works)),
        gauge_words(works): ("gauge", gauge_figure(works)),
    }
    if works.soakaway is not None:
        drawn[soakaway_words(works)] = ("soakaway", soakaway_figure(works.soakaway))
    if works.storms is not None and works.storms.sizes["storm"]:
        drawn[storms_words(works)] = ("storms", storms_figure(works.storms))
    elsewhere = {mains_words(works), treatment_words(works), parts_words(works)}
    blocks: list[Block] = []
    for head, words in siteworks_said(works):
        if words not in elsewhere:
            blocks += [Subheading(head), Paragraph(words)]
            if words in drawn:
                name, figure = drawn[words]
                blocks.append(picture(name, figure, CAPTIONS[name], words, WIDE))
    rows = tuple(
        (row.check, reader_units(row.found), reader_units(row.asked), row.fits)
        for row in works.checks.itertuples()
    )
    blocks.append(Table(CAPTIONS["checks"], CHECKS_HEAD, rows))
    return Section("siteworks", TITLES["siteworks"], tuple(blocks))


def supply_section(worked: Worked) -> Section:
    """Return arrangement, treatment and cautions.

    Parameters
    ----------
    worked : Worked
        The study that was run.

    Returns
    -------
    Section
        Sentences and every caution.
    """
    said = [Paragraph(text) for text in decision_words.arrangement_said(worked.study, worked.done)]
    cautions = [Caution(caution.title, caution.text) for caution in CAUTIONS.values()]
    return Section("supply", TITLES["supply"], (*said, *treatment_blocks(worked), *cautions))


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
            *_counted(row.quantity, row.counted),
            reader_units(row.what_for),
            *((NONE if math.isnan(row.cost) else number(row.cost, 3),) if priced else ()),
        )
        for row in works.parts.itertuples()
    )
    head = PARTS_HEAD if priced else PARTS_HEAD[:-1]
    table = Table(CAPTIONS["parts"], head, rows, frozenset({1, 4}) if priced else frozenset({1}))
    return Section("parts", TITLES["parts"], (Paragraph(parts_words(works)), table))


def _counted(quantity: float, unit: str) -> tuple[str, str]:
    value, shown = in_units(quantity, unit)
    return number(value, 3), shown


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
