"""Figures of a region: maps, one place, and which statistics of the climate go with a cost."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import xarray as xr

from rainharvest.names import QUANTITIES, label
from rainharvest.plots.climates import size_axis
from rainharvest.plots.style import BRICK, DEEP, INK, MIST, OCHRE, STONE, STYLE, keep, new_figure, rounded_up

if TYPE_CHECKING:
    from matplotlib.figure import Figure

TITLE = {"loc": "left", "fontsize": STYLE["axes.titlesize"], "fontweight": "bold"}
SUBTITLE = TITLE | {"fontsize": STYLE["axes.labelsize"]}


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
    """Draw a map of one quantity, with the place that was picked.

    Parameters
    ----------
    values : DataArray
        On latitude and longitude, in the unit shown; missing where there is no answer.
    land : DataArray of bool
        Where there is land: a place on land without an answer is marked with a cross.
    title, unit : str
        What is shown and in what.
    place : tuple of float [degrees]
        Latitude and longitude of the place picked.
    groups : int
        How many groups the values number; 0 where they are measures.
    figure : Figure, optional
        A figure that this function made before for the same grid.

    Returns
    -------
    Figure
        The darker the more.
    """
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
    """Draw what a tank of each size supplies at one place, by the dry and the wet run.

    Parameters
    ----------
    here : Dataset
        Results at one place, one arrangement.
    capacity : float [L]
        The size that is marked.
    target : float [1]
        The reliability asked for.
    figure : Figure, optional
        A figure that this function made before.

    Returns
    -------
    Figure
        On the left reliability, on the right the yield of a mean year and of the driest decade.
    """
    sizes = here.capacity.values
    if figure is None:
        figure, pair = new_figure("", height=4.0, ncols=2)
        for axes in pair:
            size_axis(axes, sizes)
        pair[0].set_title("What a tank of each size supplies", **SUBTITLE)
        pair[0].set_ylabel(label("volume_reliability", "%"))
        pair[0].set_ylim(0, 104)
        pair[1].set_title("Yield by the dry run", **SUBTITLE)
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
    """Draw a cost against each statistic of the climate, a point a place.

    Parameters
    ----------
    climate : Dataset
        The statistics at each place.
    cost : DataArray [1]
        The cost at the same places.
    found : Dataset
        As `rainharvest.climates.explain.explain`.
    figure : Figure, optional
        A figure that this function made before.

    Returns
    -------
    Figure
        A field for each statistic, its rank correlation above it.
    """
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
        axes.set_title(f"rank corr. {rho:+.2f}".replace("-", "−"), color=INK, **SUBTITLE)
        known = np.isfinite(at)
        spread = float(np.ptp(at[known])) or 1.0
        axes.set_xlim(float(at[known].min()) - 0.06 * spread, float(at[known].max()) + 0.06 * spread)
    low, high = float(np.nanmin(values)), float(np.nanmax(values))
    figure.axes[0].set_ylim(min(0.0, low) - 0.05 * (high - low), high + 0.1 * (high - low or 1))
    return figure
