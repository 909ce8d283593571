"""Figures of the demand and of the arrangements that supply it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import xarray as xr

from rainharvest.names import QUANTITIES, label
from rainharvest.plots.style import (
    BRICK,
    DEEP,
    INK,
    MIST,
    OCHRE,
    PALETTE,
    STONE,
    STYLE,
    keep,
    new_figure,
    rounded_up,
)

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
    """Draw the mean demand of each day of the week, by use.

    Parameters
    ----------
    week : DataArray [L/day]
        (use, weekday), as `rainharvest.demand.picture.week_of` returns it.
    figure : Figure, optional
        A figure that this function made before, of the same uses.

    Returns
    -------
    Figure
        Stacked bars.
    """
    if figure is None:
        figure, axes = new_figure("The week of the demand", height=3.6)
        axes.set_xticks(range(7), DAYS)
        axes.grid(axis="x", visible=False)
        axes.set_ylabel(label("demand"))
    _stacked(figure.axes[0], week.values, [str(n) for n in week.use.values])
    return figure


def months_figure(by_month: xr.DataArray, figure: Figure | None = None) -> Figure:
    """Draw the mean demand of each month, by use.

    Parameters
    ----------
    by_month : DataArray [L/day]
        (use, calendar_month), as `rainharvest.demand.picture.months_of` returns it.
    figure : Figure, optional
        A figure that this function made before, of the same uses.

    Returns
    -------
    Figure
        Stacked bars.
    """
    if figure is None:
        figure, axes = new_figure("The year of the demand, month by month", height=3.6)
        axes.set_xticks(range(12), MONTHS)
        axes.grid(axis="x", visible=False)
        axes.set_ylabel(label("demand"))
    _stacked(figure.axes[0], by_month.values, [str(n) for n in by_month.use.values])
    return figure


def calendar_figure(year: xr.DataArray, figure: Figure | None = None) -> Figure:
    """Draw the demand of every day of one year as a calendar.

    Parameters
    ----------
    year : DataArray [L/day]
        Total demand of one calendar year, on ``time``.
    figure : Figure, optional
        A figure that this function made before.

    Returns
    -------
    Figure
        A column a week, a row a day of the week; the darker the more is asked.
    """
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


def arrangements_figure(table: xr.Dataset, figure: Figure | None = None) -> Figure:
    """Draw what each arrangement costs in mains water and in failed days, side by side.

    Parameters
    ----------
    table : Dataset
        As `rainharvest.storage.arrangements.per_year` returns it, for one tank.
    figure : Figure, optional
        A figure that this function made before.

    Returns
    -------
    Figure
        Three sets of bars with one row an arrangement.
    """
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
    """Draw what a set level buys and what of it spills.

    Parameters
    ----------
    levels : Dataset
        On ``level_share``: ``spilled_mains_a_year`` and ``failed_a_year``.
    chosen : float [1]
        The set level that is marked.
    figure : Figure, optional
        A figure that this function made before.

    Returns
    -------
    Figure
        Two lines: mains water that spills, and failed days.
    """
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
    """Draw the smallest reserve against the days that it must ride out.

    Parameters
    ----------
    reserves : DataArray [L]
        On ``ride_out``, as `rainharvest.storage.reserve.reserve_curve` returns it.
    days : float [day]
        The ride-out that is marked.
    capacity : float [L]
        The tank that it is compared with.
    figure : Figure, optional
        A figure that this function made before.

    Returns
    -------
    Figure
        A line, the mark, and the tank as a level line.
    """
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
