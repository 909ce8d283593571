"""The report as a Word document that a consultant puts on a letterhead and edits: styles, real tables, fields."""

from __future__ import annotations

import io
import zipfile
from typing import TYPE_CHECKING

from rainharvest.study.report.blocks import (
    Block,
    Bullets,
    Caution,
    Facts,
    Listing,
    Paragraph,
    Picture,
    Report,
    Section,
    Subheading,
    Table,
)
from rainharvest.study.report.fixed_words import CAUTION, CONTENTS, FIGURE, LANGUAGE, TABLE
from rainharvest.study.report.word_parts import bookmark, contents_list, counted, describe, link
from rainharvest.study.report.word_styles import PAPERS, prepared_document
from rainharvest.study.report.word_tables import add_table, spread

if TYPE_CHECKING:
    from docx.document import Document


def report_document(report: Report) -> bytes:
    """Return the report as a Word document.

    Headings, captions, cautions, tables and listings have a style each, so that a consultant changes the look
    in one place. The list of contents, the numbers of figures, tables and pages are fields.

    Parameters
    ----------
    report : Report
        As `rainharvest.study.report.make.study_report` makes it.

    Returns
    -------
    bytes
        A .docx file: the same bytes for the same report.
    """
    from docx.shared import Mm

    document = prepared_document(report, LANGUAGE)
    width = PAPERS[report.paper][0] - 2 * PAPERS["margin"][0]
    document.add_paragraph(report.title, "Title")
    if report.heading:
        document.add_paragraph(" · ".join(report.heading), "Subtitle")
    if report.warning:
        document.add_paragraph(report.warning, "Warning")
    first, *others = report.sections
    _add(document, first, Mm(width))
    document.add_paragraph(CONTENTS, "Contents heading")
    contents_list(document, [(section.key, section.title) for section in report.sections])
    for section in others:
        _add(document, section, Mm(width))
    return _fixed(document)


def _add(document: Document, section: Section, width: int) -> None:
    """Add a section: its heading, which links find, and its blocks."""
    bookmark(document.add_heading(section.title, 1), section.key)
    for block in section.blocks:
        _add_block(document, block, width)


def _add_block(document: Document, block: Block, width: int) -> None:
    match block:
        case Paragraph(text, kind):
            document.add_paragraph(
                text, {"text": "Body Text", "answer": "Answer", "warning": "Warning"}[kind]
            )
        case Subheading(text):
            document.add_heading(text, 2)
        case Bullets(items):
            for item in items:
                document.add_paragraph(item, "List Bullet")
        case Caution(title, text):
            paragraph = document.add_paragraph(style="Caution")
            paragraph.add_run(f"{CAUTION}: {title}. ").bold = True
            paragraph.add_run(text)
        case Listing(text):
            style = document.styles["Listing"].style_id
            for line in text.splitlines():
                document.add_paragraph(line)._p.style = style
        case Facts(rows):
            table = add_table(document, [(row.question, row.answer) for row in rows], (0.24, 0.76), width)
            for row, fact in zip(table.rows, rows, strict=True):
                paragraph = row.cells[0].paragraphs[0]
                text = paragraph.text
                paragraph.clear()
                link(paragraph, fact.section, text)
        case Table():
            counted(document.add_paragraph(style="Caption"), TABLE, block.number, block.caption, above=True)
            widths = block.widths or spread(block.head, block.rows)
            add_table(document, [block.head, *block.rows], widths, width, block.numbers, True, block.short)
            document.add_paragraph(style="After table")
        case Picture():
            paragraph = document.add_paragraph(style="Picture")
            shape = paragraph.add_run().add_picture(io.BytesIO(block.png), width)
            describe(shape, block.name, block.words)
            counted(document.add_paragraph(style="Caption"), FIGURE, block.number, block.caption)


def _fixed(document: Document) -> bytes:
    """Return the document as bytes that do not depend on the clock."""
    saved, out = io.BytesIO(), io.BytesIO()
    document.save(saved)
    with zipfile.ZipFile(saved) as read, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as written:
        for name in read.namelist():
            written.writestr(
                zipfile.ZipInfo(name, (1980, 1, 1, 0, 0, 0)), read.read(name), zipfile.ZIP_DEFLATED
            )
    return out.getvalue()
