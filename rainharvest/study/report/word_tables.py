"""Tables of the Word document: a heading row that repeats, rows that do not break, widths that fit what they hold."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from rainharvest.study.report.word_parts import element

if TYPE_CHECKING:
    from docx.document import Document
    from docx.table import Table

LETTER, PADDING, PAGE = 2.0, 2.5, 166.0
"""Width in mm of a letter of the widest type that may stand in, of what a column keeps free, and of a table."""


def spread(head: Sequence[str], rows: Sequence[Sequence[str]]) -> tuple[float, ...]:
    """Return the share of the width that each column should take.

    A column gets its longest word; what is left is shared out by the square root of what the longest cell
    holds beyond that, so that long texts wrap and short ones do not.

    Parameters
    ----------
    head : list of str
        Words over the columns.
    rows : list of list of str
        The cells.

    Returns
    -------
    tuple of float [1]
        They sum to one.

    Examples
    --------
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
    free = PAGE - sum(least)
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
    """Add a table that prints well.

    Parameters
    ----------
    document : Document
        Where it is added.
    rows : list of list of str
        Its cells; the first row is the heading if ``head``.
    widths : list of float [1]
        Shares of the width that the columns take.
    width : int
        Width of the whole, in English Metric Units as python-docx counts.
    numbers : set of int
        Columns that are set to the right.
    head : bool
        Whether the first row is a heading, repeated on each page.
    whole : bool
        Whether it is kept on one page.

    Returns
    -------
    Table
        The table.
    """
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
