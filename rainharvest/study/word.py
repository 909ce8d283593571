"""The report as a Word document, on a template whose styles a consultant can change."""

from __future__ import annotations

import io
import math
import os
import zipfile
from collections.abc import Sequence
from copy import deepcopy
from itertools import pairwise
from pathlib import Path

import docx
from docx.document import Document
from docx.enum.text import WD_ALIGN_PARAGRAPH, WD_TAB_ALIGNMENT, WD_TAB_LEADER
from docx.oxml import OxmlElement
from docx.oxml.ns import qn
from docx.shared import Mm
from docx.table import Table
from docx.text.paragraph import Paragraph

from rainharvest.core.blocks import (
    Block,
    Bullets,
    Caution,
    Facts,
    Listing,
    Picture,
    Report,
    Section,
    Subheading,
)
from rainharvest.core.blocks import Paragraph as ParagraphBlock
from rainharvest.core.blocks import Table as TableBlock
from rainharvest.core.errors import InputError


def element(tag: str, text: str | None = None, **attributes: str):
    """Return an element of WordprocessingML."""
    out = OxmlElement(f"w:{tag}")
    for name, value in attributes.items():
        out.set(qn(f"w:{name}"), value)
    if text is not None:
        out.text = text
        out.set(qn("xml:space"), "preserve")
    return out


def field(paragraph: Paragraph, instruction: str, shown: str) -> None:
    """Add a field with the text that stands there until it is updated."""
    begin, between, end = (element("fldChar", fldCharType=kind) for kind in ("begin", "separate", "end"))
    for part in (begin, element("instrText", f" {instruction} "), between, None, end):
        run = paragraph.add_run(shown if part is None else "")
        if part is not None:
            run._r.append(part)


def counted(paragraph: Paragraph, kind: str, number: int, caption: str, above: bool = False) -> None:
    """Write a caption whose number Word counts."""
    paragraph.add_run(f"{kind} ").bold = True
    field(paragraph, f"SEQ {kind} \\* ARABIC", str(number))
    for run in paragraph.runs:
        run.bold = True
    paragraph.add_run(f". {caption}")
    paragraph.paragraph_format.keep_with_next = above


def bookmark(heading: Paragraph, key: str) -> None:
    """Mark a heading so that links find it."""
    number = str(sum(1 for _ in heading._p.getroottree().iter("{*}bookmarkStart")) + 1)
    run = heading.runs[0]._r
    run.addprevious(element("bookmarkStart", id=number, name=key))
    run.addnext(element("bookmarkEnd", id=number))


def link(paragraph: Paragraph, key: str, text: str) -> None:
    """Add a link to a heading of the same document."""
    outer = element("hyperlink", anchor=key, history="1")
    run = paragraph.add_run(text)._r
    paragraph._p.append(outer)
    outer.append(run)


def add_text(document: Document, text: str, style: str) -> Paragraph:
    """Add a paragraph in a style: told of it, python-docx would seek the default among all styles, each time anew."""
    paragraph = document.add_paragraph(text)
    paragraph._p.style = document.styles[style].style_id
    return paragraph


def contents_list(document: Document, sections: list[tuple[str, str]]) -> None:
    """Add the list of contents: a link a line, with the page as a reference that is worked out when it is shown."""
    page = document.sections[0]
    right = page.page_width - page.left_margin - page.right_margin
    for key, title in sections:
        line = add_text(document, "", "toc 1")
        line.paragraph_format.tab_stops.add_tab_stop(right, WD_TAB_ALIGNMENT.RIGHT, WD_TAB_LEADER.DOTS)
        link(line, key, title)
        line.add_run("\t")
        field(line, f"PAGEREF {key} \\h", "")


PAPERS = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}

"""Width and height in mm."""


def opened(template: str | os.PathLike) -> Document:
    """Return a Word document that is there."""
    try:
        return docx.Document(os.fspath(template))
    except Exception:  # what is no Word document fails in many ways
        problem, remedy = "it is not a Word document", "save the template as .docx"
        raise InputError(problem, remedy, "report.template", template) from None


def prepared_document(report: Report) -> Document:
    """Return an empty document with the styles, the paper and the page numbers of a template in place.

    A firm's own template keeps its header, logo, paper and styles; only the styles that it lacks are added from ours.
    """
    ours = docx.Document(str(Path(__file__).with_name("template.docx")))
    document = ours
    if not report.template:
        page = document.sections[0]
        page.page_width, page.page_height = (Mm(size) for size in PAPERS[report.paper])
    else:
        document = opened(report.template)
        known = {style.name for style in document.styles}
        for style in ours.styles:
            if style.name not in known:
                document.styles.element.append(deepcopy(style.element))
    properties = document.core_properties
    properties.title, properties.author, properties.comments = report.title, "", ""
    # The template's own date would be taken for the report's; a clock would make each copy differ.
    for stamp in list(properties._element):
        if stamp.tag.endswith(("}created", "}modified", "}lastModifiedBy", "}revision")):
            properties._element.remove(stamp)
    return document


LETTER, PADDING, TEXT_WIDTH = 2.0, 2.5, 166.0

"""Width in mm of a letter of the widest type that may stand in, of what a column keeps free, and of a table."""


def spread(head: Sequence[str], rows: Sequence[Sequence[str]]) -> tuple[float, ...]:
    """Return the share of the width that each column should take.

    A column gets its longest word; what is left is shared out by the square root of what the longest cell
    holds beyond that, so that long texts wrap and short ones do not.

    >>> [round(s, 2) for s in spread(("a", "b"), [("xx", "some longer text of many words")])]
    [0.14, 0.86]
    """
    columns = [[head[i], *(row[i] for row in rows)] for i in range(len(head))]
    least = [
        LETTER * max((len(word) for cell in cells for word in cell.split()), default=1) + PADDING
        for cells in columns
    ]
    more = [
        1.0 + math.sqrt(max(LETTER * max(map(len, cells)) - word, 0.0))
        for cells, word in zip(columns, least, strict=True)
    ]
    free = TEXT_WIDTH - sum(least)
    wide = least if free < 0 else [w + free * m / sum(more) for w, m in zip(least, more, strict=True)]
    return tuple(w / sum(wide) for w in wide)


def add_table(
    document: Document,
    rows: Sequence[Sequence[str]],
    widths: Sequence[float],
    width: int,
    numbers: frozenset[int] = frozenset(),
    head: bool = False,
    whole: bool = True,
) -> Table:
    """Add a table that prints well."""
    style = document.styles["Table text"].style_id
    table = document.add_table(len(rows), len(rows[0]), "Report table")
    table.autofit = False
    look = table._tbl.tblPr.find("{*}tblLook")
    if look is not None:
        table._tbl.tblPr.remove(look)
    table._tbl.tblPr.append(
        element("tblLook", firstRow=str(int(head)), firstColumn="1", noHBand="1", noVBand="1")
    )
    sizes = [int(width * share) for share in widths]
    for grid, size in zip(table._tbl.tblGrid.gridCol_lst, sizes, strict=True):
        grid.w = size
    for number, (line, texts) in enumerate(zip(table._tbl.tr_lst, rows, strict=True)):
        first, last = head and number == 0, number == len(rows) - 1
        line.get_or_add_trPr().extend(map(element, ("cantSplit", "tblHeader")[: 1 + first]))
        for column, (cell, text) in enumerate(zip(line.tc_lst, texts, strict=True)):
            cell.width = sizes[column]
            cell.p_lst[0].style = style  # looked up once: python-docx seeks a style among all, each time
            paragraph = Paragraph(cell.p_lst[0], table)
            paragraph.add_run(text).bold = first or column == 0 or None
            if column in numbers:
                paragraph.alignment = WD_ALIGN_PARAGRAPH.RIGHT
            # The heading row never stands alone, nor does the last row.
            if not last and (whole or number < 2 or number == len(rows) - 2):
                paragraph.paragraph_format.keep_with_next = True
    return table


def report_document(report: Report) -> bytes:
    """Return the report as a Word document.

    Headings, captions, cautions, tables and listings have a style each, so that a consultant changes the look in one
    place: a template of their own (`[report] template`), or ours. Contents and numbers are fields.
    """
    document = prepared_document(report)
    page = document.sections[0]
    width = page.page_width - page.left_margin - page.right_margin
    add_text(document, report.title, "Title")
    if report.heading:
        add_text(document, " · ".join(report.heading), "Subtitle")
    if report.warning:
        add_text(document, report.warning, "Warning")
    _add(document, report.sections[0], width)
    add_text(document, "Contents", "Contents heading")
    contents_list(document, [(section.key, section.title) for section in report.sections])
    for before, section in pairwise(report.sections):
        _add(document, section, width, new_page=section.annex and not before.annex)
    return _fixed(document)


def _add(document: Document, section: Section, width: int, new_page: bool = False) -> None:
    """Add a section: its heading, which links find, and its blocks."""
    heading = add_text(document, section.title, "Heading 1")
    heading.paragraph_format.page_break_before = new_page or None
    bookmark(heading, section.key)
    for block in section.blocks:
        _add_block(document, block, width)


def _add_block(document: Document, block: Block, width: int) -> None:
    match block:
        case ParagraphBlock(text, kind):
            add_text(document, text, {"text": "Body Text", "answer": "Answer", "warning": "Warning"}[kind])
        case Subheading(text):
            add_text(document, text, "Heading 2")
        case Bullets(items):
            for item in items:
                add_text(document, item, "List Bullet")
        case Caution(title, text):
            paragraph = add_text(document, "", "Caution")
            paragraph.add_run(f"Caution: {title}. ").bold = True
            paragraph.add_run(text)
        case Listing(text):
            for line in text.splitlines():
                add_text(document, line, "Listing")
        case Facts(rows):
            table = add_table(document, [(row.question, row.answer) for row in rows], (0.24, 0.76), width)
            for row, fact in zip(table.rows, rows, strict=True):
                paragraph = row.cells[0].paragraphs[0]
                text = paragraph.text
                paragraph.clear()
                link(paragraph, fact.section, text)
        case TableBlock():
            counted(add_text(document, "", "Caption"), "Table", block.number, block.caption, above=True)
            widths = block.widths or spread(block.head, block.rows)
            add_table(document, [block.head, *block.rows], widths, width, block.numbers, True, block.short)
            add_text(document, "", "After table")
        case Picture():
            paragraph = add_text(document, "", "Picture")
            shown = paragraph.add_run().add_picture(io.BytesIO(block.png), width)._inline.docPr
            shown.set("name", block.name)
            shown.set("descr", block.words)  # for who cannot see it
            counted(add_text(document, "", "Caption"), "Figure", block.number, block.caption)


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
