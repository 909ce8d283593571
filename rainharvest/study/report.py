"""The report of a study: its sections in order, as page and as Word document."""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping
from pathlib import Path

from rainharvest.catchment.section import catchment_section
from rainharvest.core.blocks import Report, Section, lettered, numbered
from rainharvest.core.outputs import whole_files
from rainharvest.core.reader import reading
from rainharvest.core.text import templates
from rainharvest.demand.section import demand_section
from rainharvest.drought.section import bad_years_section, drought_section
from rainharvest.rainfall.section import record_section
from rainharvest.siteworks.section import parts_section, siteworks_section, treatment_blocks, upkeep_section
from rainharvest.sizing.section import costs_section, size_section, sizes_section
from rainharvest.storage.section import cautions_section, supply_section
from rainharvest.study.file import reader_of
from rainharvest.study.section import (
    FIXED,
    SAY,
    answer_section,
    approval_section,
    assumptions_section,
    options_section,
    reproduce_section,
    site_section,
)
from rainharvest.study.stages import StudyResults
from rainharvest.study.word import report_document


def report_page(report: Report) -> str:
    """Return the report as one HTML page that needs no other file."""
    page = templates(Path(__file__).parent, autoescape=True).get_template("page.html.j2")
    return page.render(report=report).strip() + "\n"


PAPER = {"metric": "A4", "us": "Letter"}

"""Paper of the Word document; the page fits both."""


def _supply_section(results: StudyResults) -> Section:
    demand = results.flows.demand
    return supply_section(results.study.arrangement, results.done, demand, treatment_blocks(results))


CLIENT = (answer_section, size_section, drought_section, parts_section, cautions_section, approval_section)

"""The client's part: the answer, why and how sure, droughts, what to build, cautions, who answers for it."""

ANNEXES = (
    site_section,
    record_section,
    catchment_section,
    demand_section,
    sizes_section,
    options_section,
    bad_years_section,
    _supply_section,
    siteworks_section,
    costs_section,
    upkeep_section,
    assumptions_section,
    reproduce_section,
)

"""For the reviewing engineer, in their order; one that has nothing to say of a study returns None."""

EARLY = """record_section catchment_section demand_section options_section bad_years_section drought_section""".split()

"""Those that take of the stages after the decision the drought and the options alone."""


OF_RAIN = ("record_section", "catchment_section")

"""Those that a mains reserve does without: no rain enters it."""

MAKERS = {make.__name__: make for make in (*CLIENT, *ANNEXES)}


def sections_of(results: StudyResults, names: Iterable[str]) -> dict[str, Section | None]:
    """Return some of the sections, by the names of their makers, in the reader's units."""
    left_out = OF_RAIN if results.study.arrangement.kind == "mains reserve" else ()
    with reading(reader_of(results.study)):
        return {name: None if name in left_out else MAKERS[name](results) for name in names}


def study_report(results: StudyResults, made: Mapping[str, Section | None] | None = None) -> Report:
    """Return the report of a study, in the reader's units.

    Parameters
    ----------
    results : StudyResults
        As `rainharvest.study.run.study_results`.
    made : dict of Section, optional
        Sections that were made before, as `sections_of`.

    Returns
    -------
    Report
        Its sections; ``report["answer"]`` shows itself in a notebook.
    """
    study, made = results.study, made or {}
    made = made | sections_of(results, [name for name in MAKERS if name not in made])
    with reading(reader_of(study)):
        parts = [
            [one for make in part if (one := made[make.__name__]) is not None] for part in (CLIENT, ANNEXES)
        ]
        sections = numbered((*parts[0], *lettered(parts[1])))
        issue = SAY.issued(study.report)
    heading = tuple(
        text for text in (study.site.name, study.report.client, study.report.author, issue) if text
    )
    warning = FIXED["invented"] if study.site.invented else ""
    template = str(results.folder / study.report.template) if study.report.template else ""
    return Report(study.title, heading, warning, PAPER[study.units], sections, template)


def save_report(report: Report, folder: str | os.PathLike) -> None:
    """Write a report as ``report.html`` and ``report.docx``, both or neither.

    Parameters
    ----------
    report : Report
        As `study_report`.
    folder : str or path
        Where they are written.

    Raises
    ------
    InputError
        If the folder cannot be written.
    """
    with whole_files(folder) as scratch:
        report_files(report, scratch)


def report_files(report: Report, folder: Path) -> None:
    """Write the two files of a report into a folder that is there."""
    (folder / "report.html").write_text(report_page(report), encoding="utf-8", newline="\n")
    (folder / "report.docx").write_bytes(report_document(report))
