"""The look of every figure: type that reads when projected, our own palette, one way to keep artists.

The palette was chosen to differ in lightness as well as in hue, so that it survives black and white
print and the common kinds of colour blindness; a test simulates both.
"""

from __future__ import annotations

import io
import re
from collections.abc import Callable
from html import escape
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from matplotlib.artist import Artist
    from matplotlib.axes import Axes
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

STYLE = {
    "font.size": 15,
    "font.family": "sans-serif",
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


def new_figure(title: str, width: float = 11.0, height: float = 4.0, **axes) -> tuple[Figure, Axes]:
    """Return a figure made without pyplot, with one set of axes and a title.

    Parameters
    ----------
    title : str
        What the figure is about, in a few words.
    width, height : float
        Size in inches; a panel scales it to the page.
    **axes
        Passed to ``Figure.subplots``.

    Returns
    -------
    tuple of Figure and Axes (or an array of Axes)
        Empty.
    """
    from matplotlib import rc_context
    from matplotlib.figure import Figure

    with rc_context(STYLE):
        figure = Figure((width, height), layout="constrained")
        drawn = figure.subplots(**axes)
        first = drawn if not hasattr(drawn, "flat") else drawn.flat[0]
        first.set_title(title)
    return figure, drawn


def keep(axes: Axes, name: str, make: Callable[[], Artist]) -> Artist:
    """Return the artist of that name, made on first use: later calls move it and draw nothing anew.

    Parameters
    ----------
    axes : Axes
        Where it is drawn.
    name : str
        Its name within the axes.
    make : callable
        Makes it on ``axes``.

    Returns
    -------
    Artist
        The one artist of that name.
    """
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

    Parameters
    ----------
    figure : Figure
        What is painted.
    name : str
        Salt for the ids, so that several figures share a page.
    words : str
        What the figure shows, for the alternative text.

    Returns
    -------
    str
        One ``<svg>`` element that fits the width it is given.
    """
    from matplotlib import rc_context
    from matplotlib.backends.backend_svg import FigureCanvasSVG

    text = io.StringIO()
    # The layout takes most of the time of painting: it is made anew only when the limits of an axis, and so
    # the room that its numbers need, have changed.
    limits = [(*axes.get_xlim(), *axes.get_ylim()) for axes in figure.axes]
    with rc_context(STYLE | {"svg.hashsalt": name}):
        if getattr(figure, "limits_laid_out", None) != limits:
            figure.set_layout_engine("constrained")
            figure.draw_without_rendering()
            figure.set_layout_engine("none")
            figure.limits_laid_out = limits
        # Straight to the SVG canvas: ``savefig`` draws everything twice.
        FigureCanvasSVG(figure).print_svg(text, metadata={"Date": None, "Creator": None})
    drawing = text.getvalue()
    drawing = re.sub(r"<metadata>.*?</metadata>", "", drawing[drawing.index("<svg") :], flags=re.DOTALL)
    plain = escape(re.sub(r"<[^>]+>", "", words), quote=True)
    head = f'<svg role="img" aria-label="{plain}" style="width:100%;height:auto;display:block"'
    return re.sub(
        r'<svg\b|(?<=\s)(?:width|height)="[\d.]+pt"\s?',
        lambda m: head if m[0] == "<svg" else "",
        drawing,
        count=3,
    )


def rounded_up(value: float) -> float:
    """Return the next of 1, 1.2, 1.5, 2, 2.5, 3, 4, 5, 6, 8 times a power of ten: a limit that seldom moves.

    Parameters
    ----------
    value : float
        What must fit.

    Returns
    -------
    float
        At least ``value``; 1 for zero or less.

    Examples
    --------
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
