"""What figures are drawn with: each makes an artist of a name on first use, and moves it when called again."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from rainharvest.core.style import INK, MIST, OCHRE, STONE, STYLE, keep

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch, Rectangle
    from matplotlib.text import Text

DASHED = {"color": STONE, "linestyle": (0, (6, 3)), "linewidth": 1.8}
"""Of a target, or of what is there to compare with."""

DOT = {"marker": "o", "linestyle": "none", "color": OCHRE, "mec": INK}
"""Of a choice, and of what draws the eye."""


def line(axes: Axes, name: str, x, y, form: str = "", **look) -> Line2D:
    """Draw a line or marks."""
    drawn = keep(axes, name, lambda: axes.plot([], [], *([form] if form else []), **look)[0])
    drawn.set_data(x, y)
    return drawn


def path(axes: Axes, name: str, points, **look) -> Line2D:
    """Draw a line from point to point; nothing without points."""
    ends = np.array(points).T if len(points) else ([], [])
    return line(axes, name, *ends, solid_joinstyle="round", **look)


def level(axes: Axes, name: str, y: float, **look) -> Line2D:
    """Draw a line across the axes."""
    drawn = keep(axes, name, lambda: axes.axhline(y, **look))
    drawn.set_ydata([y] * 2)
    return drawn


def upright(axes: Axes, name: str, x: float, **look) -> None:
    """Draw a line from below to above through the axes."""
    keep(axes, name, lambda: axes.axvline(x, **look)).set_xdata([x] * 2)


def band(axes: Axes, name: str, x, low, high, color: str = MIST, linewidth: float = 0, **look) -> None:
    """Fill what lies between two lines."""
    x = np.asarray(x)
    drawn = keep(axes, name, lambda: axes.fill_between([], [], color=color, linewidth=linewidth, **look))
    drawn.set_data(x, *(np.broadcast_to(edge, x.shape) for edge in (low, high)))


def strokes(axes: Axes, name: str, at, low, high, across: bool = False, **look) -> None:
    """Draw strokes that stand at places from one end to the other, or lie."""
    drawn = keep(axes, name, lambda: (axes.hlines if across else axes.vlines)([0], [0], [0], **look))
    ends = zip(at, *(np.broadcast_to(end, np.shape(at)) for end in (low, high)), strict=True)
    drawn.set_segments([[(a, x), (b, x)] if across else [(x, a), (x, b)] for x, a, b in ends])


def bar(axes: Axes, name: str, y: float, length: float, deep: float, start: float = 0, **look) -> Rectangle:
    """Draw a bar that lies."""
    drawn = keep(axes, name, lambda: axes.barh(y, 0, deep, **look)[0])
    drawn.set_x(start)
    drawn.set_width(length)
    return drawn


def shape(axes: Axes, name: str, points, **look) -> None:
    """Draw a filled shape; nothing without points."""
    drawn = keep(axes, name, lambda: axes.fill([], [], **look)[0])
    drawn.set_xy(points if len(points) else [(0, 0)])
    drawn.set_visible(len(points) > 0)


def box(x0: float, x1: float, y0: float, y1: float, metre: float = 1.0) -> np.ndarray:
    """Return the corners of a box."""
    return metre * np.array([(x0, y0), (x0, y1), (x1, y1), (x1, y0)])


def words(axes: Axes, name: str, place, text: str, ha: str = "left", va: str = "baseline", **look) -> Text:
    """Write words at a place."""
    drawn = keep(axes, name, lambda: axes.text(0, 0, "", **look))
    drawn.set_position(place)
    drawn.set_text(text)
    drawn.set_ha(ha)
    drawn.set_va(va)
    return drawn


def note(axes: Axes, name: str, place, text: str, ha: str = "left", va: str = "top", **look) -> Text:
    """Write words at a place that is a share of the axes."""
    return words(axes, name, place, text, ha, va, transform=axes.transAxes, **look)


def beside(axes: Axes, name: str, place, text: str, ha: str = "left", va: str = "baseline", **look) -> Text:
    """Write words at a height of the data and a share of the axes' width."""
    return words(axes, name, place, text, ha, va, transform=axes.get_yaxis_transform(), **look)


def label(axes: Axes, name: str, place, text: str, ha: str = "left", va: str = "center", **look) -> Text:
    """Write small words into a drawing; they take no part in the layout, for which the axes would jump."""
    return words(axes, name, place, text, ha, va, fontsize=13, zorder=8, in_layout=False, **look)


def legend(axes: Axes, *entries, **look) -> None:
    """Name what is drawn, once."""
    from matplotlib import rc_context

    if axes.get_legend() is None:
        with rc_context(STYLE):
            axes.legend(*entries, **{"frameon": False} | look)


def samples(looks: dict[str, dict]) -> list[Patch]:
    """Return a sample of each filled look, by its words: for a legend."""
    from matplotlib.patches import Patch

    return [Patch(label=name, **look) for name, look in looks.items()]


def target(axes: Axes, share: float) -> None:
    """Draw the line of the target, with its words at the end where no curve that is drawn by now crosses them."""
    at, high = 100 * share, share > 0.92  # above the line there is then no room below the title
    level(axes, "target", at, **DASHED)
    # at the left or the right, above or below the line
    ends = [(0.005, high), (0.995, high), (0.995, True)]
    clear = (end for end in ends if not _crossed(axes, end[0], *((at - 6, at) if end[1] else (at, at + 6))))
    x, below = next(clear, ends[0])
    place, va = (x, at + (-0.8 if below else 0.6)), "top" if below else "bottom"
    beside(axes, "target-words", place, f"target {at:.0f} %", "left" if x < 0.5 else "right", va, color=STONE)


def _crossed(axes: Axes, end: float, low: float, high: float) -> bool:
    """Return whether a curve passes through a fifth of the axes' width at one end, between two heights."""
    wide = np.linspace(0, 0.2, 21) if end < 0.5 else np.linspace(0.8, 1, 21)
    for drawn in axes.lines:
        if len(drawn.get_xdata()) > 2:
            x, y = (axes.transData - axes.transAxes).transform(drawn.get_xydata())[:, 0], drawn.get_ydata()
            y = np.interp(wide, x, y)
            if y.min() < high and y.max() > low:
                return True
    return False
