"""The look of every figure: type that reads when projected, our own palette, one way to keep artists."""

from __future__ import annotations

import io
import re
from collections.abc import Callable, Sequence
from functools import lru_cache
from html import escape
from itertools import compress
from typing import TYPE_CHECKING

import numpy as np

from rainharvest.core.reader import in_units, number

if TYPE_CHECKING:
    from matplotlib.artist import Artist
    from matplotlib.axes import Axes
    from matplotlib.axis import Axis
    from matplotlib.figure import Figure


INK = "#22303a"

DEEP = "#10405f"

"""Water that is there: stored, delivered."""

OCHRE = "#d99a1c"

"""The choice made, and what draws the eye."""

BRICK = "#a5402d"

"""What is short."""

MIST = "#9fc4cf"

"""What ran past: spilled, lost; and bands behind a line."""

STONE = "#6f7679"

"""What is there to compare with."""

PALETTE = (DEEP, OCHRE, BRICK, MIST, STONE)

DASHES = ("-", (0, (6, 2)), (0, (1.5, 1.5)), (0, (8, 2, 2, 2)), (0, (3, 1, 1, 1, 1, 1)))

"""Line styles in the order of the palette: a line is told apart without its colour."""


POINTS = 72

"""Points an inch: the unit in which an SVG is drawn."""

PAD = 0.1

"""Inches left at either side of axes: room for a mark at the end of an axis."""

HALF_DIGIT = 4.8

"""Points: half the width of a digit on an axis; half its height is less than twice that."""


STYLE = {
    "font.size": 15,
    "font.family": "sans-serif",
    "font.sans-serif": ["DejaVu Sans"],
    "axes.titlesize": 17,
    "axes.titleweight": "bold",
    "axes.titlelocation": "left",
    "axes.labelsize": 15,
    "axes.edgecolor": INK,
    "axes.labelcolor": INK,
    "axes.titlecolor": INK,
    "text.color": INK,
    "xtick.color": INK,
    "ytick.color": INK,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.grid": True,
    "grid.color": "#d9dee0",
    "grid.linewidth": 0.8,
    "axes.axisbelow": True,
    "lines.linewidth": 2.6,
    "svg.fonttype": "none",
    "path.simplify": True,
}

TITLE = {"loc": "left", "fontsize": STYLE["axes.titlesize"], "fontweight": "bold"}

"""For a title that is set or changed after `new_figure`."""

SUBTITLE = TITLE | {"fontsize": STYLE["axes.labelsize"]}

"""For the title of one of several axes."""


def new_figure(title: str, width: float = 11.0, height: float = 4.0, **axes) -> tuple[Figure, Axes]:
    """Return a figure made without pyplot, with one set of axes and a title."""
    from matplotlib import rc_context
    from matplotlib.figure import Figure

    with rc_context(STYLE):
        figure = Figure((width, height), layout="constrained")
        drawn = figure.subplots(**axes)
        first = drawn if not hasattr(drawn, "flat") else drawn.flat[0]
        first.set_title(title)
    return figure, drawn


def keep(axes: Axes, name: str, make: Callable[[], Artist]) -> Artist:
    """Return the artist of that name, made on first use: later calls move it and draw nothing anew."""
    from matplotlib import rc_context

    for artist in axes.get_children():
        if artist.get_gid() == name:
            return artist
    with rc_context(STYLE):
        artist = make()
    artist.set_gid(name)
    return artist


def svg(figure: Figure, name: str, words: str = "") -> str:
    """Return the figure as SVG text: the same bytes for the same figure, and words for who cannot see it.

    Painting is what a slider waits for, so it does only what a move changed: the axes' numbers, ticks and grid are
    drawn anew when limits or labels change, the layout when these need other room, everything else each time.
    """
    from matplotlib import rc_context

    with rc_context(STYLE | {"svg.hashsalt": name}):
        if figure.dpi != POINTS:
            figure.dpi = POINTS
        frame = _laid_out(figure, name)
        drawing = _document(figure, lambda renderer, text: _draw(figure, frame, renderer, text))
    width, height = (POINTS * inches for inches in figure.get_size_inches())
    plain = escape(re.sub(r"<[^>]+>", "", words), quote=True)
    return (
        f'<svg role="img" aria-label="{plain}" style="width:100%;height:auto;display:block" {_STROKES} '
        f'viewBox="0 0 {width:g} {height:g}" xmlns="http://www.w3.org/2000/svg" version="1.1" '
        f'xmlns:xlink="http://www.w3.org/1999/xlink">{drawing}</svg>\n'
    )


_STROKES = 'stroke-linejoin="round" stroke-linecap="butt"'

"""In place of the style sheet that the renderer writes: one more sheet, and a browser styles the whole page anew."""


def _laid_out(figure: Figure, name: str) -> dict:
    """Return what is known of each axis (its state, the room it needs, its drawing), the layout made if need be."""
    known, frame = getattr(figure, "frame_drawn", {}), {}
    for axis in (axis for axes in figure.axes for axis in (axes.xaxis, axes.yaxis)):
        low, high = axis.get_view_interval()
        ticks = axis.get_major_locator(), axis.get_major_formatter()  # new ones come with new ticks
        label = axis.label.get_text()
        state = (name, *figure.bbox.size, low, high, label, *ticks)
        if axis in known and known[axis]["state"] == state:
            frame[axis] = known[axis]
            continue
        places = (axis.get_majorticklocs() - low) / ((high - low) or 1)
        seen = [-1e-6 < place < 1 + 1e-6 for place in places]  # numbers beyond the ends are not drawn
        numbers = [tick.get_text() for tick in compress(axis.get_majorticklabels(), seen)]
        longest = max(map(len, numbers), default=0)
        # how far numbers at an end stand out of it, beyond the room left for a mark there
        across = axis.axis_name == "x"
        long = axis.axes.bbox.width if across else axis.axes.bbox.height
        wide = [HALF_DIGIT * len(number) if across else 2 * HALF_DIGIT for number in numbers]
        ends = [min(place, 1 - place) * long for place in compress(places, seen)]
        at_ends = [
            round(w - e - POINTS * PAD) for w, e in zip(wide, ends, strict=False) if w > e + POINTS * PAD
        ]
        frame[axis] = {"state": state, "room": (*figure.bbox.size, label, longest, at_ends), "drawing": ""}
    if {a: f["room"] for a, f in known.items()} != {a: f["room"] for a, f in frame.items()}:
        figure.set_layout_engine("constrained", w_pad=PAD)
        figure.get_layout_engine().execute(figure)
        figure.set_layout_engine("none")
        for one in frame.values():
            one["drawing"] = ""
    figure.frame_drawn = frame
    return frame


def _document(figure: Figure, draw: Callable) -> str:
    """Return what is drawn on an SVG renderer of the figure's size, without its ``<svg>`` element and its head."""
    from matplotlib.backends.backend_svg import RendererSVG

    text = io.StringIO()
    renderer = RendererSVG(*figure.bbox.size, text, image_dpi=2 * POINTS, metadata={"Date": None})
    renderer.get_text_width_height_descent = _text_size  # measured once, not anew for every painting
    draw(renderer, text)
    renderer.finalize()
    drawing = _without_groups(text.getvalue())
    start = drawing.index("</defs>", drawing.find("</metadata>")) + len("</defs>")
    return drawing[start : drawing.rindex("</svg>")]


def _without_groups(drawing: str) -> str:
    """Return a drawing without the groups that have nothing but a name: half of all elements, referred to by none."""
    kept = []

    def ends(tag: re.Match) -> str:
        if tag[0] != "</g>":
            kept.append(not tag[1])
        return tag[0] if (kept.pop() if tag[0] == "</g>" else kept[-1]) else ""

    return re.sub(r'(<g(?: id="[^"]*")?>)|<g [^>]*>|</g>', ends, drawing)


@lru_cache(maxsize=4096)
def _text_size(words: str, font, ismath) -> tuple[float, float, float]:
    """Return width, height and descent of a text, as the SVG renderer itself measures it."""
    from matplotlib.textpath import text_to_path

    return text_to_path.get_text_width_height_descent(words, font, ismath)


def _draw(figure: Figure, frame: dict, renderer, text: io.StringIO) -> None:
    """Draw all artists of a figure in their order; each axis from its own drawing where that is at hand."""
    figure.patch.draw(renderer)
    others = [artist for artist in figure.get_children() if artist is not figure.patch]
    for top in sorted(others, key=lambda artist: artist.get_zorder()):
        if top not in figure.axes:
            top.draw(renderer)
            continue
        if not top.get_visible():
            continue
        top.apply_aspect()
        ordered = sorted((a for a in top.get_children() if a is not top.patch), key=lambda a: a.get_zorder())
        for artist in (top.patch, *ordered) if top.axison else ordered:
            if artist not in frame:
                if top.axison or artist not in top.spines.values():
                    _as_one(artist).draw(renderer)
            elif top.axison:
                if not frame[artist]["drawing"]:
                    frame[artist]["drawing"] = _document(figure, lambda own, _, axis=artist: axis.draw(own))
                renderer.writer.comment("axis")  # ends the open element, so that text can follow
                text.write(frame[artist]["drawing"])


def _as_one(artist: Artist) -> Artist:
    """Return strokes of one look as one path, which is painted far faster than an element each; else the artist."""
    from matplotlib.collections import LineCollection
    from matplotlib.patches import PathPatch
    from matplotlib.path import Path

    looks = isinstance(artist, LineCollection) and (artist.get_edgecolor(), artist.get_linewidth())
    if not looks or any(len(look) != 1 for look in looks) or not artist.get_visible():
        return artist
    path = Path.make_compound_path(*artist.get_paths())
    style = {"edgecolor": looks[0][0], "linewidth": looks[1][0], "linestyle": artist.get_linestyle()[0]}
    one = PathPatch(path, fill=False, capstyle=artist.get_capstyle() or "butt", gid=artist.get_gid(), **style)
    one.set_figure(artist.get_figure())
    one.set_transform(artist.get_transform())
    one.set_clip_box(artist.get_clip_box())
    return one


def rounded_up(value: float) -> float:
    """Return the next of 1, 1.2, 1.5, 2, 2.5, 3, 4, 5, 6, 8 times a power of ten: a limit that seldom moves.

    >>> rounded_up(1840.0), rounded_up(0.0)
    (2000.0, 1.0)
    """
    import math

    if not value > 0:
        return 1.0
    power = 10.0 ** math.floor(math.log10(value))
    for step in (1, 1.2, 1.5, 2, 2.5, 3, 4, 5, 6, 8, 10):
        if step * power >= value * (1 - 1e-12):
            return step * power
    return 10 * power


def round_ticks(
    axis: Axis, low: float, high: float, steps: Sequence[float] = (1.0, 2.0, 5.0), factor: float = 1.0
) -> None:
    """Number a logarithmic axis at round numbers of the reader's unit (``factor`` make one), and nowhere else."""
    ticks = np.outer(10.0 ** np.arange(-3, 7), steps).ravel()
    ticks = ticks[(ticks >= factor * low) & (ticks <= factor * high)]
    axis.set_ticks(ticks / factor, labels=[f"{t:g}" for t in ticks])
    axis.axes.minorticks_off()


def number_axis(axis: Axis, words: str, unit: str) -> float:
    """Name an axis on which a unit of the inside stands, ``{}`` in the words for the reader's, and number it in that.

    Returns how many of the reader's unit make one of the inside.
    """
    from matplotlib.ticker import AutoLocator, FuncFormatter

    factor, shown = in_units(1.0, unit)
    axis.set_label_text(words.format(shown))
    axis.reader_factor = factor  # for who reads off what is drawn
    if factor != 1.0:

        class Round(AutoLocator):
            """Round numbers of the reader's unit."""

            def tick_values(self, low: float, high: float) -> np.ndarray:
                return super().tick_values(factor * low, factor * high) / factor

        axis.set_major_locator(Round())
        axis.set_major_formatter(
            FuncFormatter(lambda value, _: number(factor * value, 3).replace("-", "\u2212"))
        )
    return factor
