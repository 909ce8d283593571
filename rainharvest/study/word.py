"""What Word has and python-docx has no call for: fields, bookmarks, links within the document, words of a picture."""

from __future__ import annotations

import io
import math
import zipfile
from collections.abc import Sequence
from typing import TYPE_CHECKING

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
from rainharvest.study.words import CAUTION, CONTENTS, FIGURE, LANGUAGE, PAGE, TABLE

if TYPE_CHECKING:
    from docx.document import Document
    from docx.shape import InlineShape
    from docx.table import Table
    from docx.text.paragraph import Paragraph


def element(tag: str, text: str | None = None, **attributes: str):
    """Return an element of WordprocessingML."""
    from docx.oxml import OxmlElement
    from docx.oxml.ns import qn

    out = OxmlElement(f"w:{tag}")
    for name, value in attributes.items():
        out.set(qn(f"w:{name}"), value)
    if text is not None:
        out.text = text
        out.set(qn("xml:space"), "preserve")
    return out


def field(paragraph: Paragraph, instruction: str, shown: str) -> None:
    """Add a field with the text that stands there until it is updated."""
    paragraph.add_run()._r.append(element("fldChar", fldCharType="begin"))
    paragraph.add_run()._r.append(element("instrText", f" {instruction} "))
    paragraph.add_run()._r.append(element("fldChar", fldCharType="separate"))
    paragraph.add_run(shown)
    paragraph.add_run()._r.append(element("fldChar", fldCharType="end"))


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


def contents_list(document: Document, sections: list[tuple[str, str]]) -> None:
    """Add the list of contents: a field that Word updates, filled with links so that it is never empty."""
    paragraphs = [document.add_paragraph(style="toc 1") for _ in sections]
    begin = paragraphs[0]
    begin.add_run()._r.append(element("fldChar", fldCharType="begin"))
    begin.add_run()._r.append(element("instrText", ' TOC \\o "1-1" \\h \\z \\u '))
    begin.add_run()._r.append(element("fldChar", fldCharType="separate"))
    for paragraph, (key, title) in zip(paragraphs, sections, strict=True):
        link(paragraph, key, title)
    paragraphs[-1].add_run()._r.append(element("fldChar", fldCharType="end"))


def describe(shape: InlineShape, name: str, words: str) -> None:
    """Give a picture its name and the words for who cannot see it."""
    properties = shape._inline.docPr
    properties.set("name", name)
    properties.set("descr", words)


PAPERS = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4), "margin": (22.0, 22.0)}

"""Width and height in mm; the margins at the sides and above and below."""

INK, DEEP, BRICK = "22303A", "10405F", "8A3324"

BODY, HEAD = "Cambria", "Calibri"

"""Type that Word and LibreOffice both have, or have a twin of."""


# name: (font, size in points, bold, colour, space before, space after, keep with next, borders)
LOOK = {
    "Title": (HEAD, 22, True, DEEP, 0, 4, True, {}),
    "Subtitle": (HEAD, 10.5, False, INK, 0, 10, False, {}),
    "Heading 1": (HEAD, 15, True, DEEP, 20, 6, True, {}),
    "Heading 2": (HEAD, 12, True, INK, 12, 4, True, {}),
    "Contents heading": (HEAD, 13, True, DEEP, 16, 4, True, {}),
    "toc 1": (HEAD, 10.5, False, INK, 0, 2, False, {}),
    "Body Text": (BODY, 10.5, False, INK, 0, 6, False, {}),
    "List Bullet": (BODY, 10.5, False, INK, 0, 3, False, {}),
    "Answer": (
        BODY,
        11.5,
        False,
        INK,
        6,
        10,
        False,
        dict.fromkeys(("top", "bottom", "right"), (12, DEEP)) | {"left": (48, DEEP)},
    ),
    "Warning": (
        HEAD,
        10.5,
        True,
        BRICK,
        4,
        8,
        False,
        dict.fromkeys(("top", "left", "bottom", "right"), (12, BRICK)),
    ),
    "Caution": (BODY, 10.5, False, INK, 4, 6, False, {"left": (36, BRICK)}),
    "Caption": (HEAD, 9.5, False, INK, 4, 8, False, {}),
    "Picture": (BODY, 10.5, False, INK, 8, 0, True, {}),
    "Table text": (HEAD, 9, False, INK, 1, 1, False, {}),
    "After table": (BODY, 6, False, INK, 0, 2, False, {}),
    "Listing": ("Courier New", 8, False, INK, 0, 0, False, {}),
}


def prepared_document(report: Report, language: str) -> Document:
    """Return an empty document with the styles, the paper and the page numbers in place."""
    import docx
    from docx.shared import Mm

    document = docx.Document()
    for name, look in LOOK.items():
        _style(document, name, *look)
    _table_style(document)
    # LibreOffice keeps no heading with a list of contents: both begin a page.
    document.styles["Contents heading"].paragraph_format.page_break_before = True
    language_of = document.styles.element.find(".//{*}rPrDefault//{*}lang")
    if language_of is not None:
        for kind in ("val", "eastAsia"):
            language_of.set(f"{{{language_of.nsmap['w']}}}{kind}", {"en": "en-GB"}.get(language, language))
    page = document.sections[0]
    page.page_width, page.page_height = (Mm(size) for size in PAPERS[report.paper])
    page.left_margin = page.right_margin = Mm(PAPERS["margin"][0])
    page.top_margin = page.bottom_margin = Mm(PAPERS["margin"][1])
    foot = page.footer.paragraphs[0]
    foot.alignment = 2
    foot.add_run(f"{PAGE} ")
    field(foot, "PAGE", "1")
    properties = document.core_properties
    properties.title, properties.author, properties.comments = report.title, "", ""
    # The template's own date would be taken for the report's; a clock would make each copy differ.
    for stamp in list(properties._element):
        if stamp.tag.endswith(("}created", "}modified", "}lastModifiedBy", "}revision")):
            properties._element.remove(stamp)
    return document


def _style(document, name, font, size, bold, colour, before, after, keep, borders) -> None:
    from docx.enum.style import WD_STYLE_TYPE
    from docx.oxml.ns import qn
    from docx.shared import Pt, RGBColor

    known = {style.name for style in document.styles}
    style = (
        document.styles[name] if name in known else document.styles.add_style(name, WD_STYLE_TYPE.PARAGRAPH)
    )
    if name not in known:
        style.base_style = document.styles["Normal"]
        style.quick_style = True
    style.font.name, style.font.size, style.font.bold, style.font.italic = font, Pt(size), bold, False
    style.font.color.rgb = RGBColor.from_string(colour)
    fonts = style.element.rPr.rFonts
    for kind in ("asciiTheme", "hAnsiTheme", "eastAsiaTheme", "cstheme"):
        fonts.attrib.pop(qn(f"w:{kind}"), None)
    for spacing in style.element.rPr.findall(qn("w:spacing")):
        style.element.rPr.remove(spacing)
    shape = style.paragraph_format
    shape.space_before, shape.space_after, shape.keep_with_next = Pt(before), Pt(after), keep
    shape.widow_control = True
    inside = style.element.get_or_add_pPr()
    for old in inside.findall(qn("w:pBdr")):
        inside.remove(old)
    if borders:
        # The rules stand within the margins, not beside them.
        shape.left_indent = Pt(8)
        shape.right_indent = Pt(6 if "right" in borders else 0)
        box = element("pBdr")
        for side in ("top", "left", "bottom", "right"):
            if side in borders:
                weight, shade = borders[side]
                box.append(element(side, val="single", sz=str(weight), space="5", color=shade))
        inside.insert_element_before(box, *AFTER_BORDERS)


AFTER_BORDERS = tuple(
    f"w:{tag}"
    for tag in (
        "shd tabs suppressAutoHyphens kinsoku wordWrap overflowPunct topLinePunct autoSpaceDE autoSpaceDN bidi "
        "adjustRightInd snapToGrid spacing ind contextualSpacing mirrorIndents suppressOverlap jc textDirection "
        "textAlignment textboxTightWrap outlineLvl divId cnfStyle rPr sectPr pPrChange"
    ).split()
)

"""The order that the format asks for: what stands after a paragraph's borders."""


def _table_style(document) -> None:
    """Add the one table style: rules above, below and under the heading row, thin ones between rows."""
    from docx.enum.style import WD_STYLE_TYPE

    style = document.styles.add_style("Report table", WD_STYLE_TYPE.TABLE)
    style.base_style = document.styles["Normal Table"]
    rules = element("tblBorders")
    for side, weight in (("top", 12), ("bottom", 12), ("insideH", 4)):
        rules.append(
            element(side, val="single", sz=str(weight), space="0", color=DEEP if weight > 4 else "B9C3C8")
        )
    table = element("tblPr")
    table.append(rules)
    margins = element("tblCellMar")
    for side, size in (("left", 0), ("right", 115)):
        margins.append(element(side, w=str(size), type="dxa"))
    table.append(margins)
    style.element.append(table)
    first = element("tblStylePr", type="firstRow")
    cell = element("tcPr")
    under = element("tcBorders")
    under.append(element("bottom", val="single", sz="12", space="0", color=DEEP))
    cell.append(under)
    first.append(cell)
    style.element.append(first)


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
    from docx.enum.text import WD_ALIGN_PARAGRAPH
    from docx.text.paragraph import Paragraph

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
        properties = line.get_or_add_trPr()
        properties.append(element("cantSplit"))
        if head and number == 0:
            properties.append(element("tblHeader"))
        for column, (cell, text) in enumerate(zip(line.tc_lst, texts, strict=True)):
            cell.width = sizes[column]
            cell.p_lst[0].style = style  # looked up once: python-docx seeks a style among all, each time
            paragraph = Paragraph(cell.p_lst[0], table)
            run = paragraph.add_run(text)
            run.bold = True if (head and number == 0) or column == 0 else None
            if column in numbers:
                paragraph.alignment = WD_ALIGN_PARAGRAPH.RIGHT
            # The heading row never stands alone, nor does the last row.
            last = number == len(rows) - 1
            if not last and (whole or number < 2 or number == len(rows) - 2):
                paragraph.paragraph_format.keep_with_next = True
    return table


def report_document(report: Report) -> bytes:
    """Return the report as a Word document.

    Headings, captions, cautions, tables and listings have a style each, so that a consultant changes the look
    in one place. The list of contents, the numbers of figures, tables and pages are fields.
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
        case ParagraphBlock(text, kind):
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
        case TableBlock():
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
