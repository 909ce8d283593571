"""Shapes of the drawings: made once, moved afterwards."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from rainharvest.plots.style import keep

if TYPE_CHECKING:
    from matplotlib.axes import Axes


def draw_polygon(axes: Axes, name: str, points, **look) -> None:
    """Draw a filled shape, or move it; nothing without points.

    Parameters
    ----------
    axes : Axes
        Where it is drawn.
    name : str
        Its name within the axes.
    points : array
        Corners, a row each.
    **look
        How it looks, on first use.
    """
    patch = keep(axes, name, lambda: axes.fill([], [], **look)[0])
    patch.set_xy(points if len(points) else [(0, 0)])
    patch.set_visible(len(points) > 0)


def draw_line(axes: Axes, name: str, points, **look) -> None:
    """Draw a line, or move it; nothing without points.

    Parameters
    ----------
    axes : Axes
        Where it is drawn.
    name : str
        Its name within the axes.
    points : array
        Points, a row each.
    **look
        How it looks, on first use.
    """
    line = keep(axes, name, lambda: axes.plot([], [], solid_joinstyle="round", **look)[0])
    line.set_data(*(np.array(points).T if len(points) else ([], [])))


def draw_says(axes: Axes, name: str, place, text: str, ha: str = "left", va: str = "center", **look) -> None:
    """Write words, or move and change them.

    Parameters
    ----------
    axes : Axes
        Where they are written.
    name : str
        Their name within the axes.
    place : tuple of float
        Where, in the axes' units.
    text : str
        What they say.
    ha, va : str
        How they stand to the place.
    **look
        How they look, on first use.
    """
    # Words do not take part in the layout: they would make the room of the axes jump.
    words = keep(axes, name, lambda: axes.text(0, 0, "", fontsize=13, zorder=8, in_layout=False, **look))
    words.set_position(place)
    words.set_text(text)
    words.set_ha(ha)
    words.set_va(va)


def draw_box(x0: float, x1: float, y0: float, y1: float, metre: float) -> np.ndarray:
    """Return the corners of a box.

    Parameters
    ----------
    x0, x1, y0, y1 : float
        Its sides, m.
    metre : float
        How many of the reader's units a metre is.

    Returns
    -------
    ndarray
        Four corners, a row each.
    """
    return metre * np.array([(x0, y0), (x0, y1), (x1, y1), (x1, y0)])
