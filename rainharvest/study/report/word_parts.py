"""What Word has and python-docx has no call for: fields, bookmarks, links within the document, words of a picture."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from docx.document import Document
    from docx.shape import InlineShape
    from docx.text.paragraph import Paragraph


def element(tag: str, text: str | None = None, **attributes: str):
    """Return an element of WordprocessingML.

    Parameters
    ----------
    tag : str
        Its name without the prefix "w:".
    text : str, optional
        What it holds.
    **attributes
        Its attributes without the prefix.

    Returns
    -------
    BaseOxmlElement
        The element.
    """
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
    """Add a field with the text that stands there until it is updated.

    Parameters
    ----------
    paragraph : Paragraph
        Where it is added.
    instruction : str
        Such as "PAGE" or "SEQ Table".
    shown : str
        Its present text.
    """
    paragraph.add_run()._r.append(element("fldChar", fldCharType="begin"))
    paragraph.add_run()._r.append(element("instrText", f" {instruction} "))
    paragraph.add_run()._r.append(element("fldChar", fldCharType="separate"))
    paragraph.add_run(shown)
    paragraph.add_run()._r.append(element("fldChar", fldCharType="end"))


def counted(paragraph: Paragraph, kind: str, number: int, caption: str, above: bool = False) -> None:
    """Write a caption whose number Word counts.

    Parameters
    ----------
    paragraph : Paragraph
        In the style of captions.
    kind : str
        "Figure" or "Table", in the report's language.
    number : int
        Its present number.
    caption : str
        The words.
    above : bool
        True if it stands above what it names, and so must stay with what follows.
    """
    paragraph.add_run(f"{kind} ").bold = True
    field(paragraph, f"SEQ {kind} \\* ARABIC", str(number))
    for run in paragraph.runs:
        run.bold = True
    paragraph.add_run(f". {caption}")
    paragraph.paragraph_format.keep_with_next = above


def bookmark(heading: Paragraph, key: str) -> None:
    """Mark a heading so that links find it.

    Parameters
    ----------
    heading : Paragraph
        The heading.
    key : str
        The section's key.
    """
    number = str(sum(1 for _ in heading._p.getroottree().iter("{*}bookmarkStart")) + 1)
    run = heading.runs[0]._r
    run.addprevious(element("bookmarkStart", id=number, name=key))
    run.addnext(element("bookmarkEnd", id=number))


def link(paragraph: Paragraph, key: str, text: str) -> None:
    """Add a link to a heading of the same document.

    Parameters
    ----------
    paragraph : Paragraph
        Where it is added.
    key : str
        The section's key.
    text : str
        What is read.
    """
    outer = element("hyperlink", anchor=key, history="1")
    run = paragraph.add_run(text)._r
    paragraph._p.append(outer)
    outer.append(run)


def contents_list(document: Document, sections: list[tuple[str, str]]) -> None:
    """Add the list of contents: a field that Word updates, filled with links so that it is never empty.

    Parameters
    ----------
    document : Document
        Where it is added.
    sections : list of (str, str)
        Key and title of each.
    """
    paragraphs = [document.add_paragraph(style="toc 1") for _ in sections]
    begin = paragraphs[0]
    begin.add_run()._r.append(element("fldChar", fldCharType="begin"))
    begin.add_run()._r.append(element("instrText", ' TOC \\o "1-1" \\h \\z \\u '))
    begin.add_run()._r.append(element("fldChar", fldCharType="separate"))
    for paragraph, (key, title) in zip(paragraphs, sections, strict=True):
        link(paragraph, key, title)
    paragraphs[-1].add_run()._r.append(element("fldChar", fldCharType="end"))


def describe(shape: InlineShape, name: str, words: str) -> None:
    """Give a picture its name and the words for who cannot see it.

    Parameters
    ----------
    shape : InlineShape
        The picture.
    name : str
        Its name.
    words : str
        What it shows.
    """
    properties = shape._inline.docPr
    properties.set("name", name)
    properties.set("descr", words)
