"""The report's sections on site works, parts and upkeep, and what each use must pass through."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Sequence

from rainharvest.core.blocks import WIDE, Block, Bullets, Paragraph, Section, Subheading, Table, picture
from rainharvest.core.defaults import rows_of
from rainharvest.core.reader import MONTHS, MONTHS_SHORT, in_units, measure, number
from rainharvest.core.text import texts_of
from rainharvest.siteworks.facts import bill_of, siteworks_of
from rainharvest.siteworks.works import Works
from rainharvest.sizing.facts_costs import savings

SAY, FIXED = texts_of("siteworks"), rows_of("siteworks", "section")


SAID = {head: getattr(SAY, macro) for macro, head in FIXED["heads"].items()}

"""What is said of a site, by heading, in the order of the report."""

OTHER_SECTIONS = ("mains", "treatment", "parts")

"""Said in other sections of the report."""


def siteworks_said(works: Works) -> list[tuple[str, str]]:
    """Return all that is said of a site."""
    absent = {FIXED["heads"][name] for name in _absent(works)}
    return [(head, say(works)) for head, say in SAID.items() if head not in absent]


def _absent(works: Works) -> set[str]:
    """Return the headings under which there is nothing to say, by their macros."""
    there = {
        "pump": works.pump is not None,
        "ground": works.flotation is not None,
        "soakaway": works.peak is not None and works.site.overflow_to == "soakaway",
        **dict.fromkeys(("spills", "storms"), works.peak is not None),
    }
    return {name for name, known in there.items() if not known}


def tell_site(works: Works, heads: Sequence[str] = tuple(SAID), width: int = 100) -> None:
    """Print what is said of a site, broken into lines.

    Parameters
    ----------
    works : Works
        As `rainharvest.siteworks.facts.siteworks_of`.
    heads : sequence of str
        Which of the headings of `SAID`.
    width : int
        Characters on a line.
    """
    for head in heads:
        print(textwrap.fill(f"{head}. {SAID[head](works)}", width), end="\n\n")


def siteworks_section(results) -> Section:
    """Return base, gauge, overflow and delivery of a study that was run."""
    from rainharvest.siteworks.figures import (
        gauge_figure,
        run_figure,
        soakaway_figure,
        storms_figure,
        tank_figure,
    )

    works, words = siteworks_of(results), FIXED["siteworks"]
    draw = {"tank": lambda: tank_figure(works), "gauge": lambda: gauge_figure(works)}
    if works.levels is not None:
        draw["levels"] = lambda: run_figure(works)
    if works.soakaway is not None:
        draw["soakaway"] = lambda: soakaway_figure(works.soakaway)
    if works.has_storms:
        draw["storms"] = lambda: storms_figure(works.storms)
    blocks: list[Block] = []
    for name, head in FIXED["heads"].items():
        if name in (*OTHER_SECTIONS, *_absent(works)):
            continue
        said = SAID[head](works)
        blocks += [Subheading(head), Paragraph(said)]
        if name in draw:
            shown = "run" if name == "levels" else name  # the catchment's section has levels of its own
            blocks.append(picture(shown, draw[name](), words[shown], said, WIDE))
        if name == "levels":
            blocks.append(_levels(works))
    blocks += [Subheading(words["digging"]), Bullets(works.ticks)]
    blocks += [Subheading(words["handover"]), Bullets(works.handover)]
    return Section("siteworks", words["title"], tuple(blocks))


def _levels(works: Works) -> Table:
    words = FIXED["siteworks"]
    rows = tuple(
        (name, measure(level, "m", 3), measure(level + works.floor_height, "m", 3))
        for name, level in works.marks.items()
    )
    return Table(words["levels"], tuple(words["level_head"]), rows, frozenset({1, 2}))


def _checks(works: Works) -> Table:
    words = FIXED["siteworks"]
    rows = tuple((row.check, row.found, row.asked, row.fits) for row in works.checks.itertuples())
    return Table(words["checks"], tuple(words["head"]), rows)


def treatment_blocks(results) -> list[Block]:
    """Return how the mains enter and what each use must pass through, of a study that was run."""
    works, words = siteworks_of(results), FIXED["treatment"]
    rows = tuple((row.use, row.quality, SAY.steps(row.steps)) for row in works.treatment.itertuples())
    return [
        Paragraph(SAY.mains(works)),
        Paragraph(SAY.treatment(works)),
        Table(words["caption"], tuple(words["head"]), rows),
    ]


def parts_section(results) -> Section:
    """Return what to build: the list of parts with their prices, levels and distances on the site."""
    works, words = siteworks_of(results), FIXED["parts"]
    priced = works.unpriced < len(works.parts)
    rows = []
    for row in works.parts.itertuples():
        quantity, unit = in_units(row.quantity, row.counted)
        cells = (row.part, number(quantity, 3), unit, row.what_for)
        cost = words["unpriced"] if math.isnan(row.cost) else number(row.cost, 3)
        rows.append((*cells, cost) if priced else cells)
    head = tuple(words["head"]) if priced else tuple(words["head"][:-1])
    table = Table(words["caption"], head, tuple(rows), frozenset({1, 4}) if priced else frozenset({1}))
    bill = bill_of(results, works)
    said = Paragraph(SAY.parts(works, bill))
    return Section("parts", words["title"], (said, table, _checks(works)))


def bill_said(results) -> list[str]:
    """Return what the whole costs, of a study that was run, and what it costs a year."""
    bill = bill_of(results, siteworks_of(results))
    if bill is None:
        return [FIXED["parts"]["no_prices"]]
    yearly = [] if math.isnan(bill.annual) else [SAY.bill_a_year(bill, savings(results.study))]
    return [SAY.bill(bill), *yearly]


def upkeep_section(results) -> Section:
    """Return who does what when, of a study that was run."""
    upkeep, words = siteworks_of(results).upkeep, FIXED["upkeep"]
    rows = []
    for row in upkeep.to_dict("records"):
        months = [month for month, short in zip(MONTHS, MONTHS_SHORT, strict=True) if row[short]]
        rows.append((row["task"], SAY.when(months, row["every"]), row["mind"], row["source"]))
    table = Table(words["caption"], tuple(words["head"]), tuple(rows), widths=(0.4, 0.16, 0.14, 0.3))
    return Section("upkeep", words["title"], (Paragraph(words["text"]), table))
