"""The report of a study: its sections in order, as page and as Word document."""

from __future__ import annotations

import os
from pathlib import Path

from rainharvest.outputs import whole_files
from rainharvest.reader import reading
from rainharvest.study.file import reader_of
from rainharvest.study.report.back import assumptions_section, reproduce_section
from rainharvest.study.report.blocks import Report, numbered
from rainharvest.study.report.choices import options_section
from rainharvest.study.report.dry import drought_section
from rainharvest.study.report.fixed_words import INVENTED
from rainharvest.study.report.front import answer_section, demand_section, record_section, site_section
from rainharvest.study.report.money import costs_section
from rainharvest.study.report.page import report_page
from rainharvest.study.report.size import size_section
from rainharvest.study.report.water import catchment_section
from rainharvest.study.report.word import report_document
from rainharvest.study.report.works import parts_section, siteworks_section, supply_section, upkeep_section
from rainharvest.study.run import Worked

PAPER = {"metric": "A4", "us": "Letter"}
"""Paper of the Word document; the page fits both."""
SECTIONS = (
    answer_section,
    site_section,
    record_section,
    catchment_section,
    demand_section,
    size_section,
    options_section,
    drought_section,
    supply_section,
    siteworks_section,
    costs_section,
    parts_section,
    upkeep_section,
    assumptions_section,
    reproduce_section,
)
"""In the order of the report; one that has nothing to say of a study returns None."""


def study_report(worked: Worked) -> Report:
    """Return the report of a study, in the reader's units.

    Parameters
    ----------
    worked : Worked
        As `rainharvest.study.run.work_study`.

    Returns
    -------
    Report
        Its sections; ``report["answer"]`` shows itself in a notebook.
    """
    study = worked.study
    with reading(reader_of(study)):
        sections = numbered(tuple(s for s in (make(worked) for make in SECTIONS) if s is not None))
    heading = tuple(text for text in (study.site.name, study.report.client, study.report.author) if text)
    warning = INVENTED if study.site.invented else ""
    return Report(study.title, heading, warning, PAPER[study.units], sections)


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
    """Write the two files of a report into a folder that is there.

    Parameters
    ----------
    report : Report
        As `study_report`.
    folder : Path
        Where they are written.
    """
    (folder / "report.html").write_text(report_page(report), encoding="utf-8", newline="\n")
    (folder / "report.docx").write_bytes(report_document(report))
