"""What a page of the workbook shows beside its panels: an answer in type that a class can read, and tables."""

from __future__ import annotations

import contextlib
import io
import math
import re
from collections.abc import Callable
from html import escape
from typing import TYPE_CHECKING

from rainharvest.core.reader import number

if TYPE_CHECKING:
    import pandas as pd
    from IPython.display import HTML

LARGE = "font-size:27px; line-height:1.3; font-weight:600; color:#10405f; max-width:42em; margin:4px 0 10px 0"

WORDS = "font-size:18px; line-height:1.45; max-width:62em; margin:0 0 8px 0"

CELL = "text-align:{side}; padding:4px 14px 4px 0; font-size:16px; vertical-align:top; max-width:26em"


def told(tell: Callable, *given: object, large: bool = True) -> HTML:
    """Return what a function prints as a page shows it: its first sentence as large as a figure's title.

    Parameters
    ----------
    tell : callable
        One that prints sentences, such as `rainharvest.tell`.
    *given
        What it takes.
    large : bool
        Whether the first sentence is the answer.

    Returns
    -------
    IPython.display.HTML
        Paragraphs.
    """
    from IPython.display import HTML

    with contextlib.redirect_stdout(io.StringIO()) as said:
        tell(*given)
    parts = [" ".join(part.split()) for part in re.split(r"\n\s*\n", said.getvalue().strip())]
    first = ""
    if large:
        first, _, parts[0] = re.sub(r"(?<=[.?!]) (?=[A-Z0-9])", "\n", parts[0], count=1).partition("\n")
    lines = [f'<p style="{WORDS}">{escape(part, quote=False)}</p>' for part in parts if part]
    answer = [f'<p style="{LARGE}">{escape(first, quote=False)}</p>'] if first else []
    return HTML("\n".join([*answer, *lines]))


def as_table(frame: pd.DataFrame) -> HTML:
    """Return a table as a page shows it: yes and no, a dash for what is not there, three figures.

    Parameters
    ----------
    frame : DataFrame
        Its index names the rows, unless it counts them.

    Returns
    -------
    IPython.display.HTML
        The table.
    """
    from IPython.display import HTML

    if frame.index.name or frame.index.dtype == object:
        frame = frame.rename_axis(frame.index.name or " ").reset_index()
    sides = ["right" if kind.kind in "if" else "left" for kind in frame.dtypes]
    head = "".join(_cell("th", side, str(name)) for side, name in zip(sides, frame.columns, strict=True))
    rows = [
        "".join(_cell("td", side, _shown(value)) for side, value in zip(sides, row, strict=True))
        for row in frame.itertuples(index=False, name=None)
    ]
    return HTML("<table>" + "\n".join(f"<tr>{row}</tr>" for row in (head, *rows)) + "</table>")


def _cell(tag: str, side: str, text: str) -> str:
    return f'<{tag} style="{CELL.format(side=side)}">{escape(text, quote=False)}</{tag}>'


def _shown(value: object) -> str:
    if isinstance(value, str):
        return value
    if str(value) in ("True", "False"):
        return "yes" if value else "no"
    if value is None or math.isnan(value):
        return "–"
    return number(value, 3)
