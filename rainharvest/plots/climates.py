"""Figures of one building in several climates side by side."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import xarray as xr

from rainharvest.names import label
from rainharvest.plots.marks import round_ticks
from rainharvest.plots.style import (
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
    rounded_up,
)

if TYPE_CHECKING:
    from matplotlib.figure import Figure

SUBTITLE = {"loc": "left", "fontsize": STYLE["axes.labelsize"], "fontweight": "bold"}


def size_axis(axes, sizes: np.ndarray) -> None:
    """Set a logarithmic axis of tank sizes in kilolitres.

    Parameters
    ----------
    axes : Axes
        Whose horizontal axis it is.
    sizes : ndarray [L]
        Rising sizes.
    """
    axes.set_xscale("log")
    axes.set_xlabel(label("capacity", "kL"))
    axes.set_xlim(sizes[0] / 1000, sizes[-1] / 1000)
    round_ticks(axes.xaxis, sizes[0] / 1000, sizes[-1] / 1000)


def sides_figure(sides: xr.Dataset, capacity: float, figure: Figure | None = None) -> Figure:
    """Draw reliability against tank size in each climate, by the dry run.

    Parameters
    ----------
    sides : Dataset
        As `rainharvest.study.climates_side.side_by_side`.
    capacity : float [L]
        The size that is marked.
    figure : Figure, optional
        A figure that this function made before.

    Returns
    -------
    Figure
        A line a climate, named in a key; the target and the tank as straight lines.
    """
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
    """Draw what the wet run costs in each climate: held water and bleed, what is turned away, old water.

    Parameters
    ----------
    sides : Dataset
        As `rainharvest.study.climates_side.side_by_side`.
    figure : Figure, optional
        A figure that this function made before.

    Returns
    -------
    Figure
        Three sets of bars with one row a climate.
    """
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
