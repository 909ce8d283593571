"""Figures of one building in several climates and over a region."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import xarray as xr

from rainharvest.core.quantities import QUANTITIES, label
from rainharvest.core.style import (
    BRICK,
    DASHES,
    DEEP,
    INK,
    MIST,
    OCHRE,
    PALETTE,
    STONE,
    STYLE,
    keep,
    new_figure,
    round_ticks,
    rounded_up,
)

if TYPE_CHECKING:
    from matplotlib.figure import Figure


SUBTITLE = {"loc": "left", "fontsize": STYLE["axes.labelsize"], "fontweight": "bold"}


def size_axis(axes, sizes: np.ndarray) -> None:
    """Set a logarithmic axis of tank sizes in kilolitres."""
    axes.set_xscale("log")
    axes.set_xlabel(label("capacity", "kL"))
    axes.set_xlim(sizes[0] / 1000, sizes[-1] / 1000)
    round_ticks(axes.xaxis, sizes[0] / 1000, sizes[-1] / 1000)


def sides_figure(sides: xr.Dataset, capacity: float, figure: Figure | None = None) -> Figure:
    """Draw reliability against tank size in each climate, by the dry run."""
    sizes = sides.capacity.values
    names = [str(n) for n in sides.climate.values]
    if figure is None:
        figure, axes = new_figure("The same building and tank in each climate", height=4.4)
        size_axis(axes, sizes)
        axes.set_ylabel(label(sides.attrs["measure"], "%"))
        axes.set_ylim(0, 104)
    axes = figure.axes[0]
    one = sides[sides.attrs["measure"]].sel(conveyance="dry run", arrangement="rain only")
    for k, name in enumerate(names):
        line = keep(
            axes,
            f"line-{k}",
            lambda k=k, name=name: axes.plot(
                [], [], color=PALETTE[k % 5], linestyle=DASHES[k % 5], label=name, zorder=3
            )[0],
        )
        line.set_data(sizes / 1000, 100 * one.isel(climate=k).values)
    if axes.get_legend() is None:
        from matplotlib import rc_context

        with rc_context(STYLE):
            axes.legend(loc="center left", bbox_to_anchor=(1.0, 0.5), frameon=False, handlelength=3.2)
    keep(axes, "tank", lambda: axes.axvline(1, color=INK, linewidth=1.6, zorder=2)).set_xdata(
        [capacity / 1000] * 2
    )
    marks = keep(axes, "marks", lambda: axes.plot([], [], "o", ms=10, mec=INK, color=OCHRE, zorder=4)[0])
    at = one.interp(capacity=capacity).values
    marks.set_data(np.full(len(names), capacity / 1000), 100 * at)
    target = 100 * sides.attrs["target"]
    keep(
        axes, "target", lambda: axes.axhline(0, color=STONE, linestyle=(0, (6, 3)), linewidth=1.8)
    ).set_ydata([target] * 2)
    words = keep(
        axes,
        "target-words",
        lambda: axes.text(0.005, 0, "", transform=axes.get_yaxis_transform(), color=STONE),
    )
    words.set_text(f"target {target:.0f} %")
    words.set_y(target + 1.2)
    return figure


def wet_sides_figure(sides: xr.Dataset, figure: Figure | None = None) -> Figure:
    """Draw what the wet run costs in each climate: held water and bleed, what is turned away, old water."""
    wet = sides.sel(conveyance="wet run")
    turned = sides.lost_a_year.sel(loss="pipe capacity")
    shown = (
        ("Held water and bleed", "kL a year", wet.lost_a_year.sel(loss="held in pipe") / 1000, DEEP),
        ("Turned away", "kL a year", turned.transpose("climate", "conveyance") / 1000, None),
        ("Spells of old water", "a year", wet.standing_spells_a_year, BRICK),
    )
    names = [str(n) for n in sides.climate.values]
    if figure is None:
        figure, all_axes = new_figure("", height=4.0, ncols=3, sharey=True)
        for axes, (title, unit, _, _) in zip(all_axes, shown, strict=True):
            axes.set_title(title, **SUBTITLE)
            axes.set_xlabel(unit)
            axes.grid(axis="y", visible=False)
            axes.locator_params(axis="x", nbins=4, prune="upper")
        all_axes[0].set_yticks(range(len(names)), names)
        all_axes[0].invert_yaxis()
    for axes, (_, _, values, colour) in zip(figure.axes, shown, strict=True):
        rows = values.values.reshape(len(names), -1)
        top = rounded_up(1.4 * max(float(rows.max()), 0.05))
        for i, row in enumerate(rows):
            for j, value in enumerate(row):
                high = 0.62 / row.size
                at = i + (j - (row.size - 1) / 2) * high
                face = colour or (STONE, MIST)[j]
                bar = keep(
                    axes,
                    f"bar-{i}-{j}",
                    lambda at=at, high=high, face=face, axes=axes: axes.barh(at, 0, 0.92 * high, color=face)[
                        0
                    ],
                )
                bar.set_width(value)
                kind = "" if row.size == 1 else ("dry ", "wet ")[j]
                words = keep(
                    axes,
                    f"words-{i}-{j}",
                    lambda at=at, axes=axes, n=row.size: axes.text(
                        0, at, "", va="center", color=INK, fontsize=13 if n == 1 else 11
                    ),
                )
                words.set_text(f"{kind}{value:,.0f}" if value >= 10 or value < 0.05 else f"{kind}{value:.1f}")
                words.set_x(value + 0.02 * top)
        axes.set_xlim(0, top)
    return figure


TITLE = {"loc": "left", "fontsize": STYLE["axes.titlesize"], "fontweight": "bold"}

MAP_SUBTITLE = TITLE | {"fontsize": STYLE["axes.labelsize"]}


def _edges(centres: np.ndarray) -> np.ndarray:
    half = (centres[1] - centres[0]) / 2 if centres.size > 1 else 0.5
    return np.append(centres - half, centres[-1] + half)


def map_figure(
    values: xr.DataArray,
    land: xr.DataArray,
    title: str,
    unit: str,
    place: tuple[float, float],
    groups: int = 0,
    figure: Figure | None = None,
) -> Figure:
    """Draw a map of one quantity, with the place that was picked."""
    from matplotlib import rc_context
    from matplotlib.colors import LinearSegmentedColormap

    lat, lon = values.latitude.values, values.longitude.values
    known = values.values[np.isfinite(values.values)]
    low, high = (float(known.min()), float(known.max())) if known.size else (0.0, 1.0)
    if groups:
        low, high = 0.5, groups + 0.5
    if figure is None:
        figure, axes = new_figure(" ", height=5.0)
        shades = LinearSegmentedColormap.from_list("water", ["#eef2f3", MIST, DEEP])
        with rc_context(STYLE):
            mesh = axes.pcolormesh(
                _edges(lon), _edges(lat), values.values, cmap=shades, edgecolors="white", linewidth=0.5
            )
            mesh.set_gid("cells")
            figure.colorbar(mesh, ax=axes, pad=0.015).set_label(" ")
        axes.set_xlabel("Longitude (° east)")
        axes.set_ylabel("Latitude (° north)")
        axes.grid(visible=False)
        axes.set_facecolor("#ffffff")
    axes, bar = figure.axes
    mesh = keep(axes, "cells", lambda: None)
    mesh.set_array(np.ma.masked_invalid(values.values))
    mesh.set_clim(low, high if high > low else low + 1)
    bar.set_ylabel("Group" if groups else unit)
    axes.set_title(title, **TITLE)
    y, x = np.nonzero(land.values & ~np.isfinite(values.values))
    never = keep(axes, "never", lambda: axes.plot([], [], "x", color=STONE, ms=9, mew=1.6)[0])
    never.set_data(lon[x], lat[y])
    mark = keep(
        axes, "picked", lambda: axes.plot([], [], "o", ms=15, mfc="none", mec=OCHRE, mew=4, zorder=5)[0]
    )
    mark.set_data([place[1]], [place[0]])
    return figure


def place_figure(here: xr.Dataset, capacity: float, target: float, figure: Figure | None = None) -> Figure:
    """Draw what a tank of each size supplies at one place, by the dry and the wet run."""
    sizes = here.capacity.values
    if figure is None:
        figure, pair = new_figure("", height=4.0, ncols=2)
        for axes in pair:
            size_axis(axes, sizes)
        pair[0].set_title("What a tank of each size supplies", **MAP_SUBTITLE)
        pair[0].set_ylabel(label("volume_reliability", "%"))
        pair[0].set_ylim(0, 104)
        pair[1].set_title("Yield by the dry run", **MAP_SUBTITLE)
        pair[1].set_ylabel("kL a year")
    left, right = figure.axes
    runs = (("dry run", DEEP, "-"), ("wet run", BRICK, (0, (5, 2))))
    for name, colour, dash in runs:
        line = keep(
            left,
            name,
            lambda n=name, c=colour, d=dash: left.plot([], [], color=c, linestyle=d, label=n)[0],
        )
        line.set_data(sizes / 1000, 100 * here.volume_reliability.sel(conveyance=name).values)
    dry = here.sel(conveyance="dry run")
    lines = (
        ("mean year", "yearly_yield", DEEP, "-"),
        ("driest decade", "driest_decade_yield", STONE, (0, (1.5, 1.5))),
    )
    for words, name, colour, dash in lines:
        line = keep(
            right,
            words,
            lambda w=words, c=colour, d=dash: right.plot([], [], color=c, linestyle=d, label=w)[0],
        )
        line.set_data(sizes / 1000, dry[name].values / 1000)
    top = (
        float(np.nanmax(dry.yearly_yield.values)) / 1000
        if np.isfinite(dry.yearly_yield.values).any()
        else 1.0
    )
    right.set_ylim(0, rounded_up(1.1 * top))
    keep(
        left, "target", lambda: left.axhline(0, color=STONE, linestyle=(0, (6, 3)), linewidth=1.6)
    ).set_ydata([100 * target] * 2)
    for axes in (left, right):
        keep(axes, "tank", lambda axes=axes: axes.axvline(1, color=OCHRE, linewidth=2.2, zorder=2)).set_xdata(
            [capacity / 1000] * 2
        )
        if axes.get_legend() is None:
            from matplotlib import rc_context

            with rc_context(STYLE):
                axes.legend(
                    loc="lower right", facecolor="white", edgecolor="none", framealpha=1, handlelength=3
                )
    return figure


def explain_figure(
    climate: xr.Dataset, cost: xr.DataArray, found: xr.Dataset, figure: Figure | None = None
) -> Figure:
    """Draw a cost against each statistic of the climate, a point a place."""
    names = [str(n) for n in found.statistic.values]
    if figure is None:
        figure, row = new_figure("", height=3.8, ncols=len(names), sharey=True)
        for axes, name in zip(row, names, strict=True):
            axes.set_xlabel(label(name).replace(" (", "\n("))  # in two lines: four fields share the width
            axes.locator_params(axis="x", nbins=4)
        row[0].set_ylabel(f"{QUANTITIES['wet_cost'].long_name} (%)")
    values = 100 * cost.values.ravel()
    for axes, name, rho in zip(figure.axes, names, found.rank_correlation.values, strict=True):
        at = climate[name].transpose(*cost.dims).values.ravel()
        dots = keep(
            axes,
            "places",
            lambda axes=axes: axes.plot([], [], "o", ms=6, color=DEEP, mec="white", mew=0.5)[0],
        )
        dots.set_data(at, values)
        axes.set_title(f"rank corr. {rho:+.2f}".replace("-", "−"), color=INK, **MAP_SUBTITLE)
        known = np.isfinite(at)
        spread = float(np.ptp(at[known])) or 1.0
        axes.set_xlim(float(at[known].min()) - 0.06 * spread, float(at[known].max()) + 0.06 * spread)
    low, high = float(np.nanmin(values)), float(np.nanmax(values))
    figure.axes[0].set_ylim(min(0.0, low) - 0.05 * (high - low), high + 0.1 * (high - low or 1))
    return figure
