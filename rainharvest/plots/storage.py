"""Figures of the daily balance."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import xarray as xr

from rainharvest.names import label
from rainharvest.plots.style import BRICK, DEEP, MIST, keep, new_figure, rounded_up
from rainharvest.reader import large_volume

if TYPE_CHECKING:
    from matplotlib.figure import Figure


def storage_figure(daily: xr.Dataset, capacity: float, figure: Figure | None = None) -> Figure:
    """Draw the water stored through a stretch of days, and the days on which it fell short.

    Parameters
    ----------
    daily : Dataset
        ``stored`` and ``unmet_daily`` on ``time``; two years at the most, or the line turns to fur.
    capacity : float [L]
        Usable tank size.
    figure : Figure, optional
        A figure that this function made before.

    Returns
    -------
    Figure
        Stored water as a filled line; a brick-red mark under every day that was short.
    """
    import matplotlib.dates as dates

    scale, unit = large_volume()
    if figure is None:
        figure, axes = new_figure("The tank through the worst two years of the record")
        axes.set_ylabel(label("stored", unit))
        axes.xaxis.set_major_locator(dates.MonthLocator(interval=3))
        axes.xaxis.set_major_formatter(dates.DateFormatter("%b\n%Y"))
        axes.set_xlabel("Day")
    axes = figure.axes[0]
    day = dates.date2num(daily.time.values)
    stored = daily.stored.values / scale
    water = keep(axes, "water", lambda: axes.fill_between([], [], color=MIST, alpha=0.6, linewidth=0))
    water.set_data(day, np.zeros_like(stored), stored)
    keep(axes, "stored", lambda: axes.plot([], [], color=DEEP, linewidth=2.0)[0]).set_data(day, stored)
    top = rounded_up(1.15 * capacity / scale)
    short = daily.unmet_daily.values > 1e-6
    marks = keep(axes, "short", lambda: axes.vlines([0], [0], [0], color=BRICK, linewidth=2.2))
    marks.set_segments([[(d, -0.075 * top), (d, -0.015 * top)] for d in day[short]])
    words = keep(
        axes,
        "short-words",
        lambda: axes.text(
            0.995,
            0.005,
            "",
            transform=axes.transAxes,
            ha="right",
            va="bottom",
            color=BRICK,
            zorder=4,
            bbox={"facecolor": "white", "edgecolor": "none", "pad": 1, "alpha": 0.85},
        ),
    )
    words.set_text(f"{int(short.sum())} days short (marks below the line)" if short.any() else "no day short")
    words.set_position((0.995, 0.93))
    words.set_va("top")
    keep(axes, "full", lambda: axes.axhline(0, color=DEEP, linewidth=1.2, linestyle=(0, (2, 2)))).set_ydata(
        [capacity / scale] * 2
    )
    full = keep(
        axes,
        "full-words",
        lambda: axes.text(0.005, 0, "full", transform=axes.get_yaxis_transform(), va="bottom"),
    )
    full.set_y(capacity / scale + 0.005 * top)
    axes.set_xlim(day[0], day[-1])
    axes.set_ylim(-0.09 * top, top)
    return figure
