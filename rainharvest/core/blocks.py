"""What a report is made of, before it is a page or a Word document: sections of blocks, plain data."""

from __future__ import annotations

import string
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    import xarray as xr
    from matplotlib.figure import Figure


DOTS = 150

"""Dots an inch of the pictures in the Word document."""

SCALE = (0.82, 0.95)

"""What the sides of a picture are multiplied by before it is painted: its type then reads on a page and a phone."""

FLAT = (0.82, 0.76)

"""For the first picture, so that it stands on the first page."""

WIDE = (1.0, 1.0)

"""For a picture with much to say."""

KEPT_WHOLE, LINE = 16, 38

"""A table of so many lines, of about so many letters each, is not broken over two pages."""


@dataclass(frozen=True)
class Paragraph:
    """A paragraph."""

    text: str  # Plain text
    # "text"; "answer" for what the reader came for; "warning" for what must not be overlooked
    kind: Literal["text", "answer", "warning"] = "text"


@dataclass(frozen=True)
class Bullets:
    """A list of short texts."""

    items: tuple[str, ...]  # Plain text


@dataclass(frozen=True)
class Fact:
    """One question of a reader, its answer, and where more is said."""

    question: str  # In the reader's words
    answer: str  # A sentence or two
    section: str  # Key of the section that says more


@dataclass(frozen=True)
class Facts:
    """The questions that a reader brings, answered in a line each."""

    rows: tuple[Fact, ...]  # In the order of reading


@dataclass(frozen=True)
class Subheading:
    """A heading within a section."""

    text: str  # A few words


@dataclass(frozen=True)
class Caution:
    """What can hurt someone."""

    title: str  # What it is about; what to mind
    text: str  # What it is about; what to mind


@dataclass(frozen=True)
class Listing:
    """Text of a file, kept line by line."""

    text: str  # As it stands in the file


@dataclass(frozen=True)
class Table:
    """A table."""

    caption: str  # What it holds
    head: tuple[str, ...]  # The words over each column
    rows: tuple[tuple[str, ...], ...]  # Its cells, row by row; the first names the row
    numbers: frozenset[int] = frozenset()  # Columns that hold numbers
    widths: tuple[float, ...] = ()  # Shares of the width that the columns take in print; even if empty
    number: int = 0  # Its number in the report

    @property
    def short(self) -> bool:
        """Whether it is small enough to be kept on one page."""
        lines = sum(1 + max(len(cell) for cell in row) // LINE for row in self.rows)
        return lines <= KEPT_WHOLE


def table_of(caption: str, head: Sequence[str], part: xr.Dataset, forms: Mapping[str, Callable]) -> Table:
    """Return a table: a row along the one dimension of a Dataset, a column for each form; the numbers to the right."""
    columns = [[form(value) for value in part[name].values.tolist()] for name, form in forms.items()]
    right = frozenset(k for k, form in enumerate(forms.values()) if form is not str)
    return Table(caption, tuple(head), tuple(zip(*columns, strict=True)), right)


@dataclass(frozen=True)
class Picture:
    """A figure as the page and as the Word document need it."""

    name: str  # Its own within the report
    caption: str  # The words under it
    words: str  # What it shows, for who cannot see it
    svg: str = field(repr=False)  # For the page
    png: bytes = field(repr=False)  # For the Word document
    number: int = 0  # Its number in the report


Block = Paragraph | Bullets | Facts | Subheading | Caution | Listing | Table | Picture


@dataclass(frozen=True)
class Section:
    """One section of the report; in a notebook it shows itself."""

    key: str  # The anchor by which links find it
    title: str  # Its heading
    blocks: tuple[Block, ...]  # What it holds
    annex: bool = False  # Whether it stands behind the client's part

    def _repr_html_(self) -> str:
        html = _html()
        return str(html.section(self, [getattr(html, type(block).__name__)(block) for block in self.blocks]))


@cache
def _html():
    from rainharvest.core.text import templates

    return templates(Path(__file__).parent, autoescape=True).get_template("blocks.html.j2").module


@dataclass(frozen=True)
class Report:
    """A whole report."""

    title: str  # Of the study
    heading: tuple[str, ...]  # Place, client, author, date: what stands under the title
    warning: str  # What stands before everything else, such as that the example is invented; empty if nothing
    paper: Literal["A4", "Letter"]  # "A4" or "Letter": of the Word document; the page fits both
    # In order: the client's part, the first of which holds the answer, then annexes
    sections: tuple[Section, ...]
    template: str = ""  # A Word document whose styles the report takes

    def __getitem__(self, key: str) -> Section:
        """Return a section by its key."""
        return {section.key: section for section in self.sections}[key]


def picture(
    name: str, figure: Figure, caption: str, words: str = "", scale: tuple[float, float] = SCALE
) -> Picture:
    """Return a figure as a block, painted for the page and for the Word document."""
    import re

    from rainharvest.core.save import figure_png
    from rainharvest.core.style import svg

    figure.set_size_inches(*(f * side for f, side in zip(scale, figure.get_size_inches(), strict=True)))
    # An id stands once on a page: those of groups, to which nothing refers, go; so do repeated definitions.
    drawn = re.sub(r'<g id="[^"]*"', "<g", svg(figure, f"report-{name}", words or caption))
    seen: set[str] = set()
    named = re.compile(r'<(clipPath|path) id="([^"]*)"(?:[^>]*/>|.*?</\1>)', re.DOTALL)
    drawn = named.sub(lambda m: "" if m[2] in seen or seen.add(m[2]) else m[0], drawn)
    return Picture(name, caption, words or caption, drawn, figure_png(figure, DOTS))


def lettered(sections: Sequence[Section]) -> list[Section]:
    """Return sections as annexes, each with its letter.

    >>> [section.title for section in lettered([Section("a", "Roofs", ()), Section("b", "Rain", ())])]
    ['Annex A. Roofs', 'Annex B. Rain']
    """
    letters = string.ascii_uppercase
    return [
        replace(s, title=f"Annex {letter}. {s.title}", annex=True)
        for letter, s in zip(letters, sections, strict=False)
    ]


def numbered(sections: tuple[Section, ...]) -> tuple[Section, ...]:
    """Return the sections with their tables and pictures counted through.

    >>> table = Table("Roofs", ("roof",), (("shed",),))
    >>> [block.number for block in numbered((Section("a", "A", (table, table)),))[0].blocks]
    [1, 2]
    """
    count = {Table: 0, Picture: 0}
    out = []
    for section in sections:
        blocks = []
        for block in section.blocks:
            if type(block) in count:
                count[type(block)] += 1
                block = replace(block, number=count[type(block)])
            blocks.append(block)
        out.append(replace(section, blocks=tuple(blocks)))
    return tuple(out)
