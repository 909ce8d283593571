"""Figures of the daily balance and of the arrangements that supply a building."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import xarray as xr

from rainharvest.core import draw
from rainharvest.core.quantities import QUANTITIES, label
from rainharvest.core.reader import large_volume
from rainharvest.core.style import BRICK, DEEP, INK, OCHRE, STONE, SUBTITLE, new_figure, rounded_up

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure


def storage_figure(daily: xr.Dataset, capacity: float, figure: Figure | None = None) -> Figure:
    """Draw the water stored through a stretch of days, and the days on which it fell short."""
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
    draw.band(axes, "water", day, 0.0, stored, alpha=0.6)
    draw.line(axes, "stored", day, stored, color=DEEP, linewidth=2.0)
    top = rounded_up(1.15 * capacity / scale)
    short = daily.unmet_daily.values > 1e-6
    draw.strokes(axes, "short", day[short], -0.075 * top, -0.015 * top, color=BRICK, linewidth=2.2)
    said = f"{int(short.sum())} days short (marks below the line)" if short.any() else "no day short"
    behind = {"facecolor": "white", "edgecolor": "none", "pad": 1, "alpha": 0.85}
    draw.note(axes, "short-words", (0.995, 0.93), said, "right", color=BRICK, zorder=4, bbox=behind)
    full = capacity / scale
    draw.level(axes, "full", full, color=DEEP, linewidth=1.2, linestyle=(0, (2, 2)))
    draw.beside(axes, "full-words", (0.005, full + 0.005 * top), "full", va="bottom")
    axes.set_xlim(day[0], day[-1])
    axes.set_ylim(-0.09 * top, top)
    return figure


def arrangements_figure(table: xr.Dataset, figure: Figure | None = None) -> Figure:
    """Draw what each arrangement costs in mains water and in failed days, side by side."""
    shown = {
        "failed_a_year": (BRICK, 1.0, "days"),
        "mains_a_year": (STONE, 1e-3, "kL a year"),
        "rain_used_a_year": (DEEP, 1e-3, "kL a year"),
    }
    names = [str(n) for n in table.arrangement.values]
    if figure is None:
        figure, all_axes = new_figure("", height=3.4, ncols=3, sharey=True)
        for axes, (name, (_, _, unit)) in zip(all_axes, shown.items(), strict=True):
            axes.set_title(QUANTITIES[name].long_name, **SUBTITLE)
            axes.set_xlabel(unit)
            axes.grid(axis="y", visible=False)
            axes.locator_params(axis="x", nbins=4, prune="upper")
        all_axes[0].set_yticks(range(len(names)), names)
        all_axes[0].invert_yaxis()
    for axes, (name, (colour, factor, _)) in zip(figure.axes, shown.items(), strict=True):
        values = np.asarray(table[name].values, dtype=float) * factor
        top = rounded_up(1.35 * max(float(values.max()), 1e-6))
        for k, value in enumerate(values):
            draw.bar(axes, f"bar-{k}", k, value, 0.62, color=colour)
            plain = f"{value:,.0f}" if value >= 10 or value == 0 else f"{value:.1f}"
            said = "under 0.1" if 0 < value < 0.05 else plain
            draw.words(axes, f"words-{k}", (value + 0.02 * top, k), said, va="center", color=INK)
        axes.set_xlim(0, top)
    return figure


def set_level_figure(done: xr.Dataset, chosen: float, figure: Figure | None = None) -> Figure:
    """Draw what a set level buys and what of it spills."""
    shown = {"spilled_mains_a_year": (OCHRE, 1e-3, "kL a year"), "failed_a_year": (BRICK, 1.0, "days")}
    if figure is None:
        figure, all_axes = new_figure("", height=3.4, ncols=2)
        for axes, (name, (_, _, unit)) in zip(all_axes, shown.items(), strict=True):
            axes.set_title(QUANTITIES[name].long_name, **SUBTITLE)
            axes.set_ylabel(unit)
            axes.set_xlabel(label("level_share", "% of the tank"))
            axes.set_xlim(0, 100)
            axes.locator_params(axis="y", nbins=5)
    at = 100 * done.level_share.values
    for axes, (name, (colour, factor, _)) in zip(figure.axes, shown.items(), strict=True):
        values = factor * done[f"level_{name}"].values
        draw.line(axes, "line", at, values, color=colour)
        _mark(axes, "chosen", 100 * chosen, at, values, color=INK, markersize=10, clip_on=False)
        axes.set_ylim(0, rounded_up(1.1 * max(float(values.max()), 1e-6)))
    return figure


def _mark(axes: Axes, name: str, place: float, x: np.ndarray, y: np.ndarray, **look) -> None:
    """Draw the dot of what was chosen on a curve, or move it."""
    draw.line(axes, name, [place], [np.interp(place, x, y)], "o", zorder=4, **look)


def reserve_figure(
    reserves: xr.DataArray, days: float, capacity: float, figure: Figure | None = None
) -> Figure:
    """Draw the smallest reserve against the days that it must ride out."""
    if figure is None:
        figure, axes = new_figure(
            "The smallest reserve that rides out so many days without mains", height=3.2
        )
        axes.set_xlabel("Days without mains")
        axes.set_ylabel("Usable size (kL)")
    axes = figure.axes[0]
    x, y, tank = reserves.ride_out.values, reserves.values / 1000, capacity / 1000
    draw.line(axes, "curve", x, y, color=DEEP)
    _mark(axes, "mark", days, x, y, color=OCHRE, markersize=12)
    draw.level(axes, "tank", tank, **draw.DASHED)
    top = rounded_up(1.1 * max(float(y.max()), tank))
    under = np.interp(0.12 * x.max(), x, y) > tank  # the curve rises through where the words would stand
    at, side = (0.995, "right") if under else (0.005, "left")
    draw.beside(axes, "tank-words", (at, tank + 0.015 * top), "this tank", side, color=STONE)
    axes.set_xlim(0, float(x.max()))
    axes.set_ylim(0, top)
    return figure
