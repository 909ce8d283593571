"""Figures of one building in several climates and over a region."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import xarray as xr

from rainharvest.core import draw
from rainharvest.core.defaults import rows_of
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
    SUBTITLE,
    TITLE,
    keep,
    new_figure,
    round_ticks,
    rounded_up,
)

if TYPE_CHECKING:
    from matplotlib.figure import Figure


def _size_axis(axes, sizes: np.ndarray) -> None:
    """Set a logarithmic axis of tank sizes in kilolitres."""
    axes.set_xscale("log")
    axes.set_xlabel(label("capacity", "kL"))
    axes.set_xlim(sizes[0] / 1000, sizes[-1] / 1000)
    round_ticks(axes.xaxis, sizes[0] / 1000, sizes[-1] / 1000)


def sides_figure(sides: xr.Dataset, capacity: float, figure: Figure | None = None) -> Figure:
    """Draw reliability against tank size in each climate, by the dry run."""
    sizes, measure, target = sides.capacity.values, sides.attrs["measure"], sides.attrs["target"]
    if figure is None:
        figure, axes = new_figure("The same building and tank in each climate", height=4.4)
        _size_axis(axes, sizes)
        axes.set_ylabel(label(measure, "%"))
        axes.set_ylim(0, 104)
    axes = figure.axes[0]
    one = 100 * sides[measure].sel(conveyance="dry run", arrangement="rain only")
    for k, name in enumerate(map(str, sides.climate.values)):
        look = {"color": PALETTE[k % 5], "linestyle": DASHES[k % 5], "label": name, "zorder": 3}
        draw.line(axes, f"line-{k}", sizes / 1000, one.isel(climate=k).values, **look)
    draw.legend(axes, loc="center left", bbox_to_anchor=(1.0, 0.5), handlelength=3.2)
    draw.upright(axes, "tank", capacity / 1000, zorder=2, color=INK, linewidth=1.6)
    at = one.interp(capacity=capacity).values
    draw.line(
        axes, "marks", np.full(at.size, capacity / 1000), at, "o", ms=10, mec=INK, color=OCHRE, zorder=4
    )
    draw.target(axes, target)
    return figure


def wet_sides_figure(sides: xr.Dataset, figure: Figure | None = None) -> Figure:
    """Draw what the wet run costs in each climate: held water and bleed, what is turned away, old water."""
    wet = sides.sel(conveyance="wet run")
    turned = sides.lost_a_year.sel(loss="pipe capacity").transpose("climate", "conveyance")
    shown = (
        ("Held water and bleed", "kL a year", wet.lost_a_year.sel(loss="held in pipe") / 1000, (DEEP,)),
        ("Turned away", "kL a year", turned / 1000, (STONE, MIST)),
        ("Spells of old water", "a year", wet.standing_spells_a_year, (BRICK,)),
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
    for axes, (_, _, values, colours) in zip(figure.axes, shown, strict=True):
        rows = values.values.reshape(len(names), -1)
        top = rounded_up(1.4 * max(float(rows.max()), 0.05))
        high, size = 0.62 / len(colours), 13 if len(colours) == 1 else 11
        for (i, j), value in np.ndenumerate(rows):
            at = i + (j - (len(colours) - 1) / 2) * high
            draw.bar(axes, f"bar-{i}-{j}", at, value, 0.92 * high, color=colours[j])
            kind = "" if len(colours) == 1 else ("dry ", "wet ")[j]
            said = f"{kind}{value:,.0f}" if value >= 10 or value < 0.05 else f"{kind}{value:.1f}"
            place = value + 0.02 * top, at
            draw.words(axes, f"words-{i}-{j}", place, said, va="center", color=INK, fontsize=size)
        axes.set_xlim(0, top)
    return figure


def _edges(centres: np.ndarray) -> np.ndarray:
    half = (centres[1] - centres[0]) / 2 if centres.size > 1 else 0.5
    return np.append(centres - half, centres[-1] + half)


def _coast(axes) -> None:
    """Draw the outline of the world's land, a second time for a map that counts degrees east of Greenwich to 360."""
    from matplotlib.collections import LineCollection

    rings = [np.reshape(ring, (-1, 2)) for ring in rows_of("climates", "coastline")["ring"]]
    rings += [ring + (360, 0) for ring in rings]
    lines = LineCollection(rings, colors=INK, linewidths=1.0, zorder=3, gid="coast")
    axes.add_collection(lines, autolim=False)


def map_figure(
    values: xr.DataArray,
    land: xr.DataArray,
    title: str,
    unit: str,
    place: tuple[float, float] | None = None,
    groups: int = 0,
    coast: bool = False,
    figure: Figure | None = None,
) -> Figure:
    """Draw a map of one quantity, with the place that was picked; where its sign changes, zero is white and marked.

    Latitude and longitude are the axes of the values, or on a projected grid two tables.
    """
    from matplotlib import rc_context
    from matplotlib.colors import LinearSegmentedColormap
    from matplotlib.ticker import AutoLocator, MultipleLocator

    lat, lon = values.latitude.values, values.longitude.values
    axes_of_grid = values.latitude.dims if lat.ndim == 2 else (*values.latitude.dims, *values.longitude.dims)
    values, land = values.transpose(*axes_of_grid), land.transpose(*axes_of_grid)
    known = values.values[np.isfinite(values.values)]
    low, high = (float(known.min()), float(known.max())) if known.size else (0.0, 1.0)
    shades = ["#eef2f3", MIST, DEEP]
    if groups:
        low, high = 0.5, groups + 0.5
    elif low < 0 < high:
        high = max(-low, high)
        low, shades = -high, [DEEP, MIST, "#ffffff", OCHRE, BRICK]
    if figure is None:
        figure, axes = new_figure(" ", height=5.0)
        figure.set_layout_engine("compressed")
        look = {"edgecolors": "white", "linewidth": 0.5, "gid": "cells"}
        with rc_context(STYLE):
            corners = (lon, lat) if lat.ndim == 2 else (_edges(lon), _edges(lat))
            mesh = axes.pcolormesh(*corners, values.values, shading="auto", **look)
            figure.colorbar(mesh, ax=axes, pad=0.015).set_label(" ")
        axes.set_xlabel("Longitude (° east)")
        axes.set_ylabel("Latitude (° north)")
        axes.set_aspect(1 / np.cos(np.radians(lat.mean())))  # a degree of longitude is shorter by the cosine
        axes.grid(visible=False)
        axes.set_facecolor("#e3e3e0")  # the sea, and what is not known: no shade of the least
        if coast:
            _coast(axes)
    axes, bar = figure.axes
    mesh = keep(axes, "cells", lambda: None)
    mesh.set_cmap(LinearSegmentedColormap.from_list("water", shades, N=65))
    mesh.set_array(np.ma.masked_invalid(values.values))
    mesh.set_clim(low, high if high > low else low + 1)
    bar.set_ylabel("Group" if groups else unit)
    mesh.colorbar.locator = MultipleLocator() if groups else AutoLocator()  # groups are counted in whole ones
    draw.level(bar, "zero", 0, color=INK, linewidth=2.2).set_visible(low < 0)
    axes.set_title(
        title, **TITLE, x=1.0, ha="right"
    )  # at its left there is room, at its right the colour bar
    never = land.values & ~np.isfinite(values.values)
    east, north = (lon, lat) if lat.ndim == 2 else np.meshgrid(lon, lat)
    draw.line(axes, "never", east[never], north[never], "x", color=STONE, ms=9, mew=1.6)
    if place is not None:
        draw.line(axes, "picked", [place[1]], [place[0]], "o", ms=15, mfc="none", mec=OCHRE, mew=4, zorder=5)
    return figure


def place_figure(here: xr.Dataset, capacity: float, target: float, figure: Figure | None = None) -> Figure:
    """Draw what a tank of each size supplies at one place, by the dry and the wet run."""
    sizes = here.capacity.values
    if figure is None:
        figure, pair = new_figure("", height=4.0, ncols=2)
        for axes in pair:
            _size_axis(axes, sizes)
        pair[0].set_title("What a tank of each size supplies", **SUBTITLE)
        pair[0].set_ylabel(label("volume_reliability", "%"))
        pair[0].set_ylim(0, 104)
        pair[1].set_title("Yield by the dry run", **SUBTITLE)
        pair[1].set_ylabel("kL a year")
    left, right = figure.axes
    supplied, dry = 100 * here.volume_reliability, here.sel(conveyance="dry run") / 1000
    for axes, words, values, colour, dash in (
        (left, "dry run", supplied.sel(conveyance="dry run"), DEEP, "-"),
        (left, "wet run", supplied.sel(conveyance="wet run"), BRICK, (0, (5, 2))),
        (right, "mean year", dry.yearly_yield, DEEP, "-"),
        (right, "driest decade", dry.driest_decade_yield, STONE, (0, (1.5, 1.5))),
    ):
        draw.line(axes, words, sizes / 1000, values.values, color=colour, linestyle=dash, label=words)
    top = float(dry.yearly_yield.max())
    right.set_ylim(0, rounded_up(1.1 * (top if np.isfinite(top) else 1.0)))
    draw.level(left, "target", 100 * target, **draw.DASHED)
    for axes in (left, right):
        draw.upright(axes, "tank", capacity / 1000, zorder=2, color=OCHRE, linewidth=2.2)
        draw.legend(
            axes,
            loc="lower right",
            frameon=True,
            facecolor="white",
            edgecolor="none",
            framealpha=1,
            handlelength=3,
        )
    return figure


def explain_figure(
    climate: xr.Dataset, cost: xr.DataArray, found: xr.Dataset, figure: Figure | None = None
) -> Figure:
    """Draw a cost against each statistic of the climate, a point a place."""
    names = [str(n) for n in found.statistic.values]
    if figure is None:
        figure, row = new_figure("", height=3.8, ncols=len(names), sharey=True)
        figure.set_label("What the cost of the wet run goes with")
        for axes, name in zip(row, names, strict=True):
            axes.set_xlabel(label(name).replace(" (", "\n("))  # in two lines: four fields share the width
            axes.locator_params(axis="x", nbins=4)
        row[0].set_ylabel(f"{QUANTITIES['wet_cost'].long_name} (%)")
    values = 100 * cost.values.ravel()
    for axes, name, rho in zip(figure.axes, names, found.rank_correlation.values, strict=True):
        at = climate[name].transpose(*cost.dims).values.ravel()
        draw.line(axes, "places", at, values, "o", ms=6, color=DEEP, mec="white", mew=0.5)
        axes.set_title(f"rank corr. {rho:+.2f}".replace("-", "−"), color=INK, **SUBTITLE)
        low, high = float(np.nanmin(at)), float(np.nanmax(at))
        margin = 0.06 * ((high - low) or 1.0)
        axes.set_xlim(low - margin, high + margin)
    low, high = float(np.nanmin(values)), float(np.nanmax(values))
    figure.axes[0].set_ylim(min(0.0, low) - 0.05 * (high - low), high + 0.1 * (high - low or 1))
    return figure
