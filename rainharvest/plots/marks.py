"""What figures over tank size share: round numbers on a logarithmic axis, the target, the size chosen."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from rainharvest.plots.style import INK, OCHRE, STONE, keep

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.axis import Axis
    from matplotlib.lines import Line2D
    from matplotlib.text import Text


def round_ticks(axis: Axis, low: float, high: float, steps: Sequence[float] = (1.0, 2.0, 5.0)) -> None:
    """Number a logarithmic axis at round numbers, as they are read, and nowhere else.

    Parameters
    ----------
    axis : Axis
        The horizontal or the vertical one.
    low, high : float
        Its ends, in its own unit.
    steps : list of float
        The numbers that stand in each power of ten.
    """
    ticks = np.outer(10.0 ** np.arange(-3, 7), steps).ravel()
    ticks = ticks[(ticks >= low) & (ticks <= high)]
    axis.set_ticks(ticks, labels=[f"{t:g}" for t in ticks])
    axis.axes.minorticks_off()


def draw_target(axes: Axes, target: float) -> None:
    """Draw the line of the target with its words, or move it.

    Parameters
    ----------
    axes : Axes
        Reliability in per cent upwards, to a little over 100.
    target : float [1]
        The reliability asked for.
    """
    line = keep(axes, "target", lambda: axes.axhline(0, color=STONE, linestyle=(0, (6, 3)), linewidth=1.8))
    line.set_ydata([100 * target] * 2)
    words = keep(
        axes,
        "target-words",
        lambda: axes.text(0.005, 0, "", transform=axes.get_yaxis_transform(), va="bottom", color=STONE),
    )
    words.set_text(f"target {100 * target:.0f} %")
    high = target > 0.92  # above the line there is no room below the title
    words.set_y(100 * target + (-0.8 if high else 0.6))
    words.set_va("top" if high else "bottom")


def draw_dot(axes: Axes, place: float, value: float) -> None:
    """Draw the dot of the size chosen, or move it.

    Parameters
    ----------
    axes : Axes
        Where it is drawn.
    place, value : float
        Where it stands, in the axes' own units.
    """

    def dot() -> Line2D:
        return axes.plot([], [], "o", ms=13, mec=INK, mew=1.5, color=OCHRE, zorder=4, clip_on=False)[0]

    keep(axes, "chosen", dot).set_data([place], [value])


def draw_chosen(axes: Axes, place: float, value: float, held: str) -> Text:
    """Draw the size chosen as a dot with its words, or move it.

    Parameters
    ----------
    axes : Axes
        Where it is drawn.
    place : float
        The size, in the axis' own unit.
    value : float
        The reliability that it reaches, per cent.
    held : str
        The size in words.

    Returns
    -------
    Text
        The words, to be put where they cross nothing.
    """
    draw_dot(axes, place, value)
    behind = {"facecolor": "white", "edgecolor": "none", "pad": 1}
    words = keep(
        axes,
        "chosen-words",
        lambda: axes.text(0, 0, "", va="top", fontweight="bold", zorder=5, bbox=behind),
    )
    share = "over 99" if 99.5 <= value < 100 else f"{value:.0f}"
    words.set_text(f"{held}: {share} %")
    return words
