"""The report's sections on site works, parts and upkeep, and what each use must pass through."""

from __future__ import annotations

import math

from rainharvest.core.blocks import WIDE, Block, Caution, Paragraph, Section, Subheading, Table, picture
from rainharvest.core.defaults import CAUTIONS
from rainharvest.core.reader import in_units, number
from rainharvest.siteworks.facts import siteworks_of
from rainharvest.siteworks.words import (
    UPKEEP,
    gauge_words,
    mains_words,
    parts_words,
    reader_units,
    siteworks_said,
    soakaway_words,
    steps_said,
    storms_words,
    tank_words,
    treatment_words,
    when_said,
)
from rainharvest.sizing.section import arrangement_said
from rainharvest.study.stages import Worked
from rainharvest.study.words import (
    CAPTIONS,
    CHECKS_HEAD,
    MONTHS,
    NONE,
    PARTS_HEAD,
    TITLES,
    TREATMENT_HEAD,
    UPKEEP_HEAD,
)


def siteworks_section(worked: Worked) -> Section:
    """Return base, gauge, overflow and delivery."""
    from rainharvest.siteworks.figures import gauge_figure, tank_figure
    from rainharvest.siteworks.figures_water import soakaway_figure, storms_figure

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
    """Return arrangement, treatment and cautions."""
    said = [Paragraph(text) for text in arrangement_said(worked.study, worked.done)]
    cautions = [Caution(caution.title, caution.text) for caution in CAUTIONS.values()]
    return Section("supply", TITLES["supply"], (*said, *treatment_blocks(worked), *cautions))


def treatment_blocks(worked: Worked) -> list[Block]:
    """Return how the mains enter and what each use must pass through."""
    works = siteworks_of(worked)
    rows = tuple((row.use, row.quality, steps_said(row.steps)) for row in works.treatment.itertuples())
    return [
        Paragraph(mains_words(works)),
        Paragraph(treatment_words(works)),
        Table(CAPTIONS["treatment"], TREATMENT_HEAD, rows),
    ]


def parts_section(worked: Worked) -> Section:
    """Return the list of parts."""
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
    """Return who does what when."""
    upkeep = siteworks_of(worked).upkeep
    rows = []
    for _, row in upkeep.iterrows():
        months = [words for month, words in MONTHS.items() if row[month]]
        rows.append((row.task, when_said(months, int(row.every)), row["mind"], row.source))
    table = Table(CAPTIONS["upkeep"], UPKEEP_HEAD, tuple(rows), widths=(0.4, 0.16, 0.14, 0.3))
    return Section("upkeep", TITLES["upkeep"], (Paragraph(UPKEEP), table))
