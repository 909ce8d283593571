"""Figures of the demand: its week, its months, its calendar."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import xarray as xr

from rainharvest.core import draw
from rainharvest.core.quantities import label
from rainharvest.core.reader import MONTHS_SHORT
from rainharvest.core.style import (
    DEEP,
    MIST,
    PALETTE,
    STYLE,
    TITLE,
    keep,
    new_figure,
    number_axis,
    rounded_up,
)
from rainharvest.demand.periods import WEEKDAYS

if TYPE_CHECKING:
    from matplotlib.figure import Figure


DAYS = [day.capitalize() for day in WEEKDAYS]

HATCHES = ("", "//", "..", "\\\\", "xx")


def week_figure(week: xr.DataArray, figure: Figure | None = None) -> Figure:
    """Draw the mean demand of each day of the week, by use."""
    return _stacked("The week of the demand", DAYS, week, figure)


def months_figure(by_month: xr.DataArray, figure: Figure | None = None) -> Figure:
    """Draw the mean demand of each month, by use."""
    return _stacked("The year of the demand, month by month", MONTHS_SHORT, by_month, figure)


def _stacked(title: str, ticks, demand: xr.DataArray, figure: Figure | None) -> Figure:
    """Stack bars, one layer a use, and name the layers; with other uses than before, anew."""
    looks = {}
    for i, name in enumerate(demand.use.values):
        hatch = HATCHES[(i // len(PALETTE)) % len(HATCHES)]
        looks[str(name)] = {"facecolor": PALETTE[i % len(PALETTE)], "hatch": hatch, "edgecolor": "white"}
    if figure is not None:
        before = [text.get_text() for text in figure.axes[0].get_legend().get_texts()]
        figure = figure if before[::-1] == list(looks) else None
    if figure is None:
        figure, axes = new_figure(title, height=3.6)
        axes.set_xticks(range(len(ticks)), ticks)
        axes.grid(axis="x", visible=False)
        number_axis(axes.yaxis, label("demand", "{}"), "L/day")
        layers = draw.samples(looks)[::-1]  # the highest first
        draw.legend(axes, handles=layers, loc="center left", bbox_to_anchor=(1.0, 0.5))
    axes, base = figure.axes[0], np.zeros(len(ticks))
    for (name, look), layer in zip(looks.items(), demand.values, strict=True):
        for k, height in enumerate(layer):
            bar = keep(
                axes, f"{name}-{k}", lambda k=k, look=look: axes.bar(k, 0, 0.8, linewidth=0.6, **look)[0]
            )
            bar.set_y(base[k])
            bar.set_height(height)
        base = base + layer
    axes.set_ylim(0, rounded_up(1.05 * base.max() if base.max() > 0 else 1))
    return figure


def calendar_figure(year: xr.DataArray, figure: Figure | None = None) -> Figure:
    """Draw the demand of every day of one year as a calendar."""
    from matplotlib import rc_context
    from matplotlib.colors import LinearSegmentedColormap

    days = year.time.to_index()
    offset = days[0].weekday()
    place = np.arange(days.size) + offset
    cells = np.full((7, 54), np.nan)
    cells[place % 7, place // 7] = year.values
    top = rounded_up(float(year.max()))
    if figure is None:
        figure, axes = new_figure("", height=3.0)
        figure.set_label("The year that asks for most")  # its title names the year, which may move
        shades = LinearSegmentedColormap.from_list("water", ["#eef2f3", MIST, DEEP])
        with rc_context(STYLE):
            mesh = axes.pcolormesh(
                np.arange(55), np.arange(8), cells, cmap=shades, vmin=0, vmax=top, edgecolors="white"
            )
            mesh.set_gid("days")
            figure.colorbar(mesh, ax=axes, pad=0.015).set_label(label("demand"))
        axes.set_yticks(np.arange(7) + 0.5, DAYS)
        axes.invert_yaxis()
        axes.grid(visible=False)
        axes.spines[:].set_visible(False)
        axes.tick_params(length=0)
    axes = figure.axes[0]
    mesh = keep(axes, "days", lambda: None)
    mesh.set_array(np.ma.masked_invalid(cells))
    mesh.set_clim(0, top)
    first = np.flatnonzero(days.day == 15)
    axes.set_xticks((first + offset) // 7 + 0.5, MONTHS_SHORT)
    axes.set_title(f"{days[0].year}, the year that asks for most: demand of every day", **TITLE)
    return figure
