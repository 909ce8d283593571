"""Figure of the heavy days: what rain to expect once in so many years."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import xarray as xr

from rainharvest.names import label
from rainharvest.plots.style import DEEP, MIST, STONE, keep, new_figure, rounded_up

if TYPE_CHECKING:
    from matplotlib.figure import Figure


PLAIN = {"facecolor": "white", "edgecolor": "none", "pad": 2}


def return_levels_figure(levels: xr.Dataset, years: float, figure: Figure | None = None) -> Figure:
    """Draw the daily rain to expect once in so many years.

    Parameters
    ----------
    levels : Dataset
        ``return_level``, ``return_level_low`` and ``return_level_high`` [mm/day] on ``return_period``.
    years : float [year]
        Years of the record: what lies beyond the line drawn there is extrapolated.
    figure : Figure, optional
        A figure that this function made before: its artists are moved.

    Returns
    -------
    Figure
        Line: the level; band: its 95 percent interval, where it could be had.
    """
    period = levels.return_period.values
    if figure is None:
        figure, axes = new_figure("Heavy days: once in so many years")
        axes.set_xscale("log")
        axes.set_xlabel(label("return_period"))
        axes.set_ylabel(label("return_level"))
        axes.set_xlim(period[0], period[-1])
        axes.set_xticks(period, [f"{p:g}" for p in period])
        axes.minorticks_off()
    axes = figure.axes[0]
    level = levels.return_level.values
    low, high = levels.return_level_low.values, levels.return_level_high.values
    known = np.isfinite(level) & np.isfinite(low) & np.isfinite(high)
    band = keep(axes, "band", lambda: axes.fill_between([], [], color=MIST, alpha=0.7, linewidth=0))
    band.set_data(period[known], low[known], high[known])
    line = keep(axes, "line", lambda: axes.plot([], [], "o-", color=DEEP, ms=9, clip_on=False)[0])
    line.set_data(period, level)
    end = keep(axes, "end", lambda: axes.axvline(1, color=STONE, linestyle=(0, (6, 3)), linewidth=1.8))
    end.set_xdata([min(max(years, period[0]), period[-1])] * 2)
    note = keep(
        axes, "note", lambda: axes.text(0.005, 0.98, "", transform=axes.transAxes, va="top", bbox=PLAIN)
    )
    note.set_text(
        f"band: 95 % interval; right of the dashed line, beyond {years:.0f} years: extrapolated"
        if np.isfinite(level).any()
        else "too few heavy days to say"
    )
    tallest = np.concatenate([level[np.isfinite(level)], high[known], [1.0]])
    axes.set_ylim(0, rounded_up(1.25 * float(tallest.max())))
    return figure
