"""Blocks as HTML: what a section shows in a notebook and on the report's page."""

from __future__ import annotations

from html import escape

from rainharvest.study.report.blocks import (
    Block,
    Bullets,
    Caution,
    Facts,
    Listing,
    Paragraph,
    Picture,
    Section,
    Subheading,
    Table,
)
from rainharvest.study.report.fixed_words import CAUTION, FIGURE, MORE, TABLE


def section_html(section: Section) -> str:
    """Return a section as HTML.

    Parameters
    ----------
    section : Section
        With its pictures and tables counted.

    Returns
    -------
    str
        One ``<section>`` element.
    """
    inside = "\n".join(block_html(block) for block in section.blocks)
    key = escape(section.key, quote=True)
    return f'<section id="{key}">\n<h2>{escape(section.title)}</h2>\n{inside}\n</section>'


def block_html(block: Block) -> str:
    """Return a block as HTML.

    Parameters
    ----------
    block : Block
        Any of them.

    Returns
    -------
    str
        One element.

    Examples
    --------
    >>> block_html(Paragraph("Less than 5 < 6."))
    '<p class="text">Less than 5 &lt; 6.</p>'
    """
    match block:
        case Paragraph(text, kind):
            return f'<p class="{kind}">{escape(text)}</p>'
        case Subheading(text):
            return f"<h3>{escape(text)}</h3>"
        case Bullets(items):
            return "<ul>" + "".join(f"<li>{escape(item)}</li>" for item in items) + "</ul>"
        case Caution(title, text):
            return f'<p class="caution"><b>{CAUTION}: {escape(title)}.</b> {escape(text)}</p>'
        case Listing(text):
            return f'<pre tabindex="0">{escape(text)}</pre>'
        case Facts(rows):
            return f'<dl class="facts">{"".join(_fact(*_parts(row)) for row in rows)}</dl>'
        case Picture():
            name = f"{FIGURE} {block.number}"
            caption = f"<figcaption><b>{name}.</b> {escape(block.caption)}</figcaption>"
            return f"<figure>{_wide(block.svg, name)}{caption}</figure>"
        case Table():
            return _table(block)


def _parts(row) -> tuple[str, str, str]:
    return escape(row.question), escape(row.answer), escape(row.section, quote=True)


def _fact(question: str, answer: str, section: str) -> str:
    link = f'<a href="#{section}" aria-label="{MORE}: {question}">{MORE}</a>'
    return f"<div><dt>{question}</dt><dd>{answer} {link}</dd></div>"


def _table(table: Table) -> str:
    def cell(tag: str, column: int, text: str, scope: str = "") -> str:
        number = ' class="n"' if column in table.numbers else ""
        return f"<{tag}{scope}{number}>{escape(text)}</{tag}>"

    head = "".join(cell("th", i, text, ' scope="col"') for i, text in enumerate(table.head))
    rows = "\n".join(
        "<tr>"
        + cell("th", 0, row[0], ' scope="row"')
        + "".join(cell("td", i, text) for i, text in enumerate(row[1:], 1))
        + "</tr>"
        for row in table.rows
    )
    kind = " ".join(word for word, true in (("broad", len(table.head) > 4), ("short", table.short)) if true)
    columns = "".join(f'<col style="width:{100 * share:.0f}%">' for share in table.widths)
    inside = f"<caption><b>{TABLE} {table.number}.</b> {escape(table.caption)}</caption>\n"
    inside += f"<colgroup>{columns}</colgroup>\n" if columns else ""
    inside += f"<thead><tr>{head}</tr></thead>\n<tbody>{rows}</tbody>"
    return _wide(f'<table class="{kind}">{inside}</table>', f"{TABLE} {table.number}")


def _wide(inside: str, name: str) -> str:
    """Wrap what may be wider than a phone: it is moved sideways by itself, also from the keyboard."""
    return f'<div class="wide" tabindex="0" role="region" aria-label="{name}">{inside}</div>'
