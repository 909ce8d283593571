"""Figures of the demand: its week, its months, its calendar."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import xarray as xr

from rainharvest.core.quantities import label
from rainharvest.core.style import DEEP, MIST, PALETTE, STYLE, keep, new_figure, rounded_up

if TYPE_CHECKING:
    from matplotlib.figure import Figure


DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")

MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")

TITLE = {"loc": "left", "fontsize": STYLE["axes.titlesize"], "fontweight": "bold"}

SUBTITLE = TITLE | {"fontsize": STYLE["axes.labelsize"]}

HATCHES = ("", "//", "..", "\\\\", "xx")


def _stacked(axes, values: np.ndarray, names: list[str]) -> None:
    """Stack bars, one layer a use, and name the layers."""
    base = np.zeros(values.shape[1])
    for i, (name, layer) in enumerate(zip(names, values, strict=True)):
        colour, hatch = PALETTE[i % len(PALETTE)], HATCHES[(i // len(PALETTE)) % len(HATCHES)]
        for k, height in enumerate(layer):
            bar = keep(
                axes,
                f"{name}-{k}",
                lambda k=k, colour=colour, hatch=hatch, name=name: axes.bar(
                    k, 0, 0.8, color=colour, hatch=hatch, edgecolor="white", linewidth=0.6
                )[0],
            )
            bar.set_y(base[k])
            bar.set_height(height)
        base = base + layer
    axes.set_ylim(0, rounded_up(1.05 * base.max() if base.max() > 0 else 1))
    if axes.get_legend() is None:
        from matplotlib import rc_context
        from matplotlib.patches import Patch

        with rc_context(STYLE):
            patches = [
                Patch(
                    facecolor=PALETTE[i % len(PALETTE)],
                    hatch=HATCHES[(i // len(PALETTE)) % len(HATCHES)],
                    edgecolor="white",
                    label=n,
                )
                for i, n in enumerate(names)
            ]
            axes.legend(handles=patches[::-1], loc="center left", bbox_to_anchor=(1.0, 0.5), frameon=False)


def week_figure(week: xr.DataArray, figure: Figure | None = None) -> Figure:
    """Draw the mean demand of each day of the week, by use."""
    if figure is None:
        figure, axes = new_figure("The week of the demand", height=3.6)
        axes.set_xticks(range(7), DAYS)
        axes.grid(axis="x", visible=False)
        axes.set_ylabel(label("demand"))
    _stacked(figure.axes[0], week.values, [str(n) for n in week.use.values])
    return figure


def months_figure(by_month: xr.DataArray, figure: Figure | None = None) -> Figure:
    """Draw the mean demand of each month, by use."""
    if figure is None:
        figure, axes = new_figure("The year of the demand, month by month", height=3.6)
        axes.set_xticks(range(12), MONTHS)
        axes.grid(axis="x", visible=False)
        axes.set_ylabel(label("demand"))
    _stacked(figure.axes[0], by_month.values, [str(n) for n in by_month.use.values])
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
    axes.set_xticks((first + offset) // 7 + 0.5, MONTHS)
    axes.set_title(f"{days[0].year}, the year that asks for most: demand of every day", **TITLE)
    return figure
