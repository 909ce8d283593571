"""The look of the Word document, in styles: a consultant changes the look in one place."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rainharvest.study.report.fixed_words import PAGE
from rainharvest.study.report.word_parts import element, field

if TYPE_CHECKING:
    from docx.document import Document

    from rainharvest.study.report.blocks import Report

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
    """Return an empty document with the styles, the paper and the page numbers in place.

    Parameters
    ----------
    report : Report
        For its title and its paper.
    language : str
        Of the text, such as "en".

    Returns
    -------
    Document
        Without content. Its header is left empty for a letterhead.
    """
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
