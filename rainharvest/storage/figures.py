"""Figures of the daily balance and of the arrangements that supply a building."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import xarray as xr

from rainharvest.core.quantities import QUANTITIES, label
from rainharvest.core.reader import large_volume
from rainharvest.core.style import BRICK, DEEP, INK, MIST, OCHRE, STONE, keep, new_figure, rounded_up
from rainharvest.demand.figures import SUBTITLE

if TYPE_CHECKING:
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


def arrangements_figure(table: xr.Dataset, figure: Figure | None = None) -> Figure:
    """Draw what each arrangement costs in mains water and in failed days, side by side."""
    shown = (("failed_a_year", BRICK, 1.0), ("mains_a_year", STONE, 1e-3), ("rain_used_a_year", DEEP, 1e-3))
    units = {"failed_a_year": None, "mains_a_year": "kL a year", "rain_used_a_year": "kL a year"}
    names = [str(n) for n in table.arrangement.values]
    if figure is None:
        figure, all_axes = new_figure("", height=3.4, ncols=3, sharey=True)
        for axes, (name, _, _) in zip(all_axes, shown, strict=True):
            axes.set_title(QUANTITIES[name].long_name, **SUBTITLE)
            axes.set_xlabel("days a year" if units[name] is None else units[name])
            axes.grid(axis="y", visible=False)
            axes.locator_params(axis="x", nbins=4, prune="upper")
        all_axes[0].set_yticks(range(len(names)), names)
        all_axes[0].invert_yaxis()
    for axes, (name, colour, factor) in zip(figure.axes, shown, strict=True):
        values = np.asarray(table[name].values, dtype=float) * factor
        top = rounded_up(1.35 * max(float(values.max()), 1e-6))
        for k, value in enumerate(values):
            keep(
                axes, f"bar-{k}", lambda k=k, c=colour, axes=axes: axes.barh(k, 0, 0.62, color=c)[0]
            ).set_width(value)
            words = keep(
                axes, f"words-{k}", lambda k=k, axes=axes: axes.text(0, k, "", va="center", color=INK)
            )
            words.set_text(_figures(value))
            words.set_x(value + 0.02 * top)
        axes.set_xlim(0, top)
    return figure


def _figures(value: float) -> str:
    plain = f"{value:,.0f}" if value >= 10 or value == 0 else f"{value:.1f}"
    return "under 0.1" if 0 < value < 0.05 else plain


def set_level_figure(levels: xr.Dataset, chosen: float, figure: Figure | None = None) -> Figure:
    """Draw what a set level buys and what of it spills."""
    if figure is None:
        figure, all_axes = new_figure("", height=3.4, ncols=2)
        for axes, name, unit in zip(
            all_axes, ("spilled_mains_a_year", "failed_a_year"), ("kL a year", "days a year"), strict=True
        ):
            axes.set_title(QUANTITIES[name].long_name, **SUBTITLE)
            axes.set_ylabel(unit)
            axes.set_xlabel(label("level_share", "% of the tank"))
            axes.set_xlim(0, 100)
            axes.locator_params(axis="y", nbins=5)
    at = 100 * levels.level_share.values
    for axes, name, factor, colour in zip(
        figure.axes, ("spilled_mains_a_year", "failed_a_year"), (1e-3, 1.0), (OCHRE, BRICK), strict=True
    ):
        values = factor * levels[name].values
        keep(axes, "line", lambda axes=axes, c=colour: axes.plot([], [], color=c)[0]).set_data(at, values)
        keep(
            axes,
            "chosen",
            lambda axes=axes: axes.plot([], [], "o", color=INK, markersize=10, zorder=4, clip_on=False)[0],
        ).set_data([100 * chosen], [np.interp(100 * chosen, at, values)])
        axes.set_ylim(0, rounded_up(1.1 * max(float(values.max()), 1e-6)))
    return figure


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
    x, y = reserves.ride_out.values, reserves.values / 1000
    keep(axes, "curve", lambda: axes.plot([], [], color=DEEP)[0]).set_data(x, y)
    keep(axes, "mark", lambda: axes.plot([], [], "o", color=OCHRE, markersize=12, zorder=4)[0]).set_data(
        [days], [np.interp(days, x, y)]
    )
    keep(axes, "tank", lambda: axes.axhline(0, color=STONE, linestyle=(0, (6, 3)), linewidth=1.8)).set_ydata(
        [capacity / 1000] * 2
    )
    top = rounded_up(1.1 * max(float(y.max()), capacity / 1000))
    words = keep(
        axes,
        "tank-words",
        lambda: axes.text(0.005, 0, "this tank", transform=axes.get_yaxis_transform(), color=STONE),
    )
    words.set_y(capacity / 1000 + 0.015 * top)
    axes.set_xlim(0, float(x.max()))
    axes.set_ylim(0, top)
    return figure
