"""Figures of the catchment: levels to scale, where the rain goes, the bore that brings most."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import xarray as xr

from rainharvest.catchment.compare import BORES
from rainharvest.core.defaults import rows_of
from rainharvest.core.quantities import label
from rainharvest.core.style import (
    BRICK,
    DEEP,
    INK,
    MIST,
    OCHRE,
    STONE,
    draw_line,
    draw_polygon,
    keep,
    new_figure,
    rounded_up,
)

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from rainharvest.catchment.hydraulics import Levels

CAUSES: dict[str, str] = rows_of("catchment", "words")["causes"]
"""The words of each cause, in the order of the chain."""

GROUND = "#c9b79c"
"""Earth, and nothing else."""


def levels_figure(levels: dict[str, Levels], figure: Figure | None = None) -> Figure:
    """Draw roof, pipe and tank to scale, one drawing for each run, with the head left over marked."""
    if figure is None:
        figure, _ = new_figure("", height=4.6, ncols=len(levels), sharey=True)
        for axes in figure.axes:
            axes.set_xlabel("Along the ground (m)")
            axes.grid(visible=False)
        figure.axes[0].set_ylabel("Above the tank's base (m)")
    runs = [one.conveyance for one in levels.values()]
    low = min(-0.5, *(point[1] for one in levels.values() for point in one.pipe))
    high = max(max(run.outlet_level, run.inlet_level) for run in runs)
    bottom, top = -rounded_up(-low + 0.3), rounded_up(high + 1.6)
    across = rounded_up(max(1.6 * max(run.run for run in runs), 8.0))
    for axes, (title, one) in zip(figure.axes, levels.items(), strict=True):
        axes.set_xlim(-0.3 * across, across)
        axes.set_ylim(bottom, top)
        draw_run(axes, title, one, across)
    return figure


def draw_run(
    axes: Axes,
    title: str,
    one: Levels,
    across: float,
    tank: tuple[float, float, float, float] | None = None,
) -> None:
    """Draw one run: ground, house, tank, pipe, standing water, margin.

    ``tank`` is its width, the levels of its lid and of its water, and how high its floor stands over the ground.
    """
    run = one.conveyance
    bottom, top = axes.get_ylim()
    keep(axes, "title", lambda: axes.set_title("", fontweight="bold", loc="left")).set_text(title)
    wide, lid = 0.16 * across, max(run.inlet_level, 0.3) + 0.04 * (top - bottom)
    surface, earth = 0.9 * max(run.inlet_level, 0.3), 0.0
    if tank is not None:
        wide, lid, surface, floor = tank
        earth = -floor
    ground = keep(axes, "ground", lambda: axes.fill_between([], [], color=GROUND, alpha=0.55, linewidth=0))
    ground.set_data(np.array([-across, 2 * across]), np.full(2, 2 * bottom), np.full(2, earth))

    wall, eave, over = -0.2 * across, -0.012 * across, 0.02 * across
    gutter, ridge = run.outlet_level + 0.02 * (top - bottom), 0.6 * (top - run.outlet_level)
    house = [(wall, earth), (wall, run.outlet_level), (2 * eave, run.outlet_level), (2 * eave, earth)]
    draw_polygon(axes, "house", house, facecolor="#eceff0", edgecolor=STONE)
    roof = [(wall - over, gutter), ((wall + 2 * eave) / 2, gutter + ridge), (eave, gutter)]
    draw_polygon(axes, "roof", roof, facecolor=STONE, edgecolor=INK)

    def upright(low: float, high: float) -> list[tuple[float, float]]:
        return [(run.run, low), (run.run, high), (run.run + wide, high), (run.run + wide, low)]

    if tank is not None:
        draw_polygon(axes, "base", upright(earth, 0), facecolor=STONE, edgecolor=INK)
    draw_polygon(axes, "tank", upright(0, lid), facecolor="white", edgecolor=INK, linewidth=2)
    draw_polygon(axes, "water", upright(0, surface), facecolor=MIST, linewidth=0, alpha=0.7)
    draw_line(axes, "pipe", one.pipe, linewidth=3.2, zorder=4)
    keep(axes, "pipe", dict).set_color(BRICK if one.answer else STONE)
    draw_line(axes, "standing", one.full, color=DEEP, linewidth=6, zorder=5)

    fails = one.margin < 0
    aside = one.margin_at + (0.03 if one.margin_at == 0 else -0.03) * across
    span = [(aside, one.margin_from), (aside, one.margin_to)]
    draw_line(axes, "margin", span, marker="_", ms=12, mew=2.4, linewidth=2.4, zorder=6)
    keep(axes, "margin", dict).set_color(BRICK if fails else OCHRE)
    corner = {"transform": axes.transAxes, "ha": "right", "va": "top", "fontweight": "bold", "zorder": 7}
    words = keep(axes, "margin-words", lambda: axes.text(0.99, 0.965, "", **corner))
    short = "level" if run.kind == "dry" else "head"
    words.set_text(f"{abs(one.margin):.2f} m of {short} {'short' if fails else 'left'}")
    words.set_color(BRICK if fails else INK)

    above = run.outlet_level >= run.inlet_level
    _draw_level(axes, "gutter outlet", run.outlet_level, above)
    _draw_level(axes, "tank inlet", run.inlet_level, not above)


def _draw_level(axes: Axes, name: str, level: float, above: bool) -> None:
    """Draw a level across the picture, with its name above or below the line."""
    look = {"color": STONE, "linewidth": 1.1, "linestyle": (0, (4, 4)), "zorder": 1}
    keep(axes, name, lambda: axes.axhline(0, **look)).set_ydata([level] * 2)
    side = {"transform": axes.get_yaxis_transform(), "ha": "right", "fontsize": 12.5, "color": STONE}
    words = keep(axes, f"{name}-words", lambda: axes.text(0.995, 0, name, **side))
    bottom, top = axes.get_ylim()
    words.set_y(level + (0.012 if above else -0.012) * (top - bottom))
    words.set_va("bottom" if above else "top")


def losses_figure(yearly: xr.DataArray, figure: Figure | None = None) -> Figure:
    """Draw where the rain goes, by cause, dry beside wet."""
    kinds = [str(kind) for kind in yearly.conveyance.values]
    causes = [str(cause) for cause in yearly.cause.values]
    if figure is None:
        figure, axes = new_figure("Where a year's rain goes", height=5.4)
        axes.set_yticks(range(len(causes)), [CAUSES[cause] for cause in causes])
        axes.set_xlabel("kL a year")
        axes.invert_yaxis()
        axes.grid(axis="y", visible=False)
    axes = figure.axes[0]
    deep = 0.8 / len(kinds)
    top = rounded_up(1.14 * float(np.nan_to_num(yearly.values).max()) / 1000)
    for k, (kind, colour) in enumerate(zip(kinds, (OCHRE, DEEP, STONE, MIST), strict=False)):
        values = yearly.sel(conveyance=kind).values / 1000
        middles = np.arange(len(causes)) + (k - (len(kinds) - 1) / 2) * deep
        if np.isnan(values).all():
            said = ["cannot work", *[""] * (len(causes) - 1)]
        else:
            said = [_kilolitres(value) for value in np.nan_to_num(values)]
        for n, (middle, value) in enumerate(zip(middles, np.nan_to_num(values), strict=True)):
            look = {"color": colour, "label": kind if n == 0 else None}
            keep(axes, f"{kind}-{n}", _bar(axes, middle, 0.9 * deep, look)).set_width(value)
            words = keep(axes, f"{kind}-{n}-words", _text(axes, middle))
            words.set_position((value + 0.006 * top, middle))
            words.set_text(said[n])
    keep(axes, "key", lambda: axes.legend(loc="lower right", frameon=False, fontsize=15))
    axes.set_xlim(0, top)
    return figure


def _bar(axes: Axes, middle: float, deep: float, look: dict):
    return lambda: axes.barh(middle, 0, deep, **look)[0]


def _text(axes: Axes, middle: float):
    return lambda: axes.text(0, middle, "", va="center", fontsize=12.5)


def _kilolitres(value: float) -> str:
    if value == 0:
        return "0"
    return "under 0.1" if value < 0.095 else f"{value:.1f}" if value < 9.95 else f"{value:.0f}"


LOST_BY_BORE = {
    "the pipe backs up": {"color": BRICK, "linestyle": (0, (6, 2)), "linewidth": 2.2},
    "drained from the pipe": {"color": STONE, "linestyle": (0, (1.5, 1.5)), "linewidth": 2.2},
    "both together": {"color": DEEP, "linewidth": 3.0},
}
"""The lines of the figure of bores, and how they are drawn."""


def bore_figure(curve: xr.Dataset | None, bore: float, figure: Figure | None = None) -> Figure:
    """Draw what a wet run loses by its bore: to backing up, to draining, and both together."""
    if figure is None:
        figure, axes = new_figure("What a wet run loses, by its bore", height=4.8)
        axes.set_xscale("log")
        axes.set_yscale("log")
        axes.set_xlabel(label("bore"))
        axes.set_ylabel("Lost of what arrives (%)")
        axes.set_xlim(BORES[0], BORES[-1])
        axes.set_ylim(0.1, 100)
        axes.set_yticks([0.1, 1, 10, 100], ["0.1", "1", "10", "100"])
        axes.minorticks_off()
        ticks = [size for size in BORES if size != 250]  # whose numbers find no room
        axes.set_xticks(ticks, [f"{size:g}" for size in ticks])
    axes = figure.axes[0]
    best, shares = [], dict.fromkeys(LOST_BY_BORE, [])
    if curve is not None:
        backed, drained = (curve.lost.sel(loss=loss).values for loss in ("pipe capacity", "held in pipe"))
        arrives = curve.inflow.values + backed + drained
        for name, lost in zip(LOST_BY_BORE, (backed, drained, backed + drained), strict=True):
            share = 100 * np.divide(lost, arrives, out=0 * lost, where=arrives > 0)
            shares[name] = [*zip(curve.bore.values, np.maximum(share, 1e-9), strict=True)]
        most = curve.attrs["best_bore"]
        best = [(most, np.clip(dict(shares["both together"])[most], 0.1, 100))]
    for name, look in LOST_BY_BORE.items():
        draw_line(axes, name, shares[name], label=name, **look)
    dot = {"marker": "o", "ms": 13, "mec": INK, "mew": 1.5, "color": OCHRE, "linestyle": "none"}
    draw_line(axes, "best", best, zorder=4, clip_on=False, label="brings most", **dot)
    own = keep(axes, "bore", lambda: axes.axvline(1, color=INK, linewidth=1.4, linestyle=(0, (2, 3))))
    own.set_xdata([bore] * 2)
    below = {"loc": "upper center", "bbox_to_anchor": (0.5, -0.18), "ncols": 4}
    keep(axes, "key", lambda: axes.legend(frameon=False, fontsize=14, **below))
    return figure
