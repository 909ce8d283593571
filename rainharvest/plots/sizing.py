"""Figures of the tank-size decision."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import xarray as xr

from rainharvest.names import label
from rainharvest.plots.marks import draw_chosen, draw_target, round_ticks
from rainharvest.plots.style import BRICK, DEEP, MIST, keep, new_figure, rounded_up
from rainharvest.reader import GALLON, gallons, large_volume, number

if TYPE_CHECKING:
    from matplotlib.figure import Figure


def trade_off_figure(
    curve: xr.Dataset, measure: str, target: float, chosen: float, figure: Figure | None = None
) -> Figure:
    """Draw reliability against tank size, the target, and the size chosen.

    Parameters
    ----------
    curve : Dataset
        As `rainharvest.sizing.trade_off.trade_off`, with ``member`` or without.
    measure : str
        "volume_reliability" or "time_reliability".
    target : float [1]
        The reliability asked for.
    chosen : float [L]
        The usable size that is marked.
    figure : Figure, optional
        A figure that this function made before: its artists are moved.

    Returns
    -------
    Figure
        Band: nine of ten filled versions; line: their middle.
    """
    scale, unit = large_volume()
    if figure is None:
        figure, axes = new_figure("What a tank of each size supplies")
        axes.set_xscale("log")
        axes.set_xlabel(label("capacity", unit))
        axes.set_ylabel(label(measure, "%"))
        axes.set_ylim(0, 104)
    axes = figure.axes[0]
    size = curve.capacity.values / scale
    share = 100 * curve[measure]
    middle = share.median("member").values if "member" in share.dims else share.values
    if "member" in share.dims and share.sizes["member"] > 1:
        low, high = share.quantile([0.05, 0.95], dim="member", method="weibull").values
    else:
        low = high = middle
    band = keep(axes, "band", lambda: axes.fill_between([], [], color=MIST, alpha=0.7, linewidth=0))
    band.set_data(size, low, high)
    line = keep(axes, "curve", lambda: axes.plot([], [], color=DEEP, zorder=3)[0])
    line.set_data(size, middle)
    draw_target(axes, target)
    reached = float(np.interp(chosen / scale, size, middle))
    held = f"{number(chosen / GALLON, 3)} gal" if gallons() else f"{number(chosen / 1000, 3)} kL"
    words = draw_chosen(axes, chosen / scale, reached, held)
    # The curve rises to the right: below it and to the right the words cross nothing.
    near_end = np.log(chosen / scale / size[0]) / np.log(size[-1] / size[0]) > 0.8
    below = reached - (9 if near_end else 4)
    if -9 < below - 100 * target < 3:
        below = 100 * target - 6  # below the target's line, not on it
    below = max(below, 9)  # clear of the axis
    words.set_position((size[-1] * 0.98 if near_end else chosen / scale * 1.08, below))
    words.set_ha("right" if near_end else "left")
    if axes.get_xlim() != (size[0], size[-1]):
        axes.set_xlim(size[0], size[-1])
        round_ticks(axes.xaxis, size[0], size[-1])
    return figure


def failed_years_figure(
    failed: xr.DataArray, days_in_year: xr.DataArray, figure: Figure | None = None
) -> Figure:
    """Draw the failed days of each hydrological year.

    Parameters
    ----------
    failed : DataArray [day]
        ``failed_by_year`` of one tank, with ``member`` or without (the middle is drawn).
    days_in_year : DataArray [day]
        Days of each year within the record; years that the record cuts are left out.
    figure : Figure, optional
        A figure that this function made before.

    Returns
    -------
    Figure
        A bar a year, the worst marked.
    """
    if figure is None:
        figure, axes = new_figure("In which years it fails")
        axes.set_xlabel(label("year") + " (named by the year in which it begins)")
        axes.set_ylabel(label("failed_by_year"))
        axes.grid(axis="x", visible=False)
    axes = figure.axes[0]
    whole = (days_in_year >= 365).values
    values = (failed.median("member") if "member" in failed.dims else failed).values[whole]
    years = failed.year.values[whole]
    bars = keep(axes, "bars", lambda: axes.vlines([0], [0], [0], color=BRICK, linewidth=7))
    bars.set_segments([[(year, 0), (year, value)] for year, value in zip(years, values, strict=True)])
    words = keep(axes, "worst", lambda: axes.text(0, 0, "", va="bottom", fontweight="bold"))
    if not years.size:
        words.set_text("no whole year in the record")
        axes.set_xticks([])
        return figure
    worst = int(np.argmax(values))
    top = rounded_up(1.18 * max(float(values[worst]), 4.0))
    left = years[worst] > years.mean()
    words.set_text(f"worst: {years[worst]}, {values[worst]:.0f} days" if values[worst] > 0 else "")
    words.set_ha("right" if left else "left")
    words.set_position((years[worst] + (0.6 if left else -0.6), values[worst] + 0.01 * top))
    axes.set_xlim(years[0] - 1, years[-1] + 1)
    axes.set_ylim(0, top)
    return figure
