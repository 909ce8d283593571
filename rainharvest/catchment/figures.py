"""Figures of the catchment: levels to scale, where the rain goes, the bore that brings most."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import xarray as xr

from rainharvest.catchment.compare import BORES
from rainharvest.core import draw
from rainharvest.core.defaults import rows_of
from rainharvest.core.quantities import label
from rainharvest.core.reader import measure
from rainharvest.core.style import (
    BRICK,
    DEEP,
    INK,
    MIST,
    OCHRE,
    STONE,
    keep,
    new_figure,
    number_axis,
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
            number_axis(axes.xaxis, "Along the ground ({})", "m")
            axes.grid(visible=False)
        number_axis(figure.axes[0].yaxis, "Above the tank's base ({})", "m")
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
    axes: Axes, title: str, one: Levels, across: float, tank: tuple[float, float, float, float] | None = None
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
    draw.band(axes, "ground", [-across, 2 * across], 2 * bottom, earth, color=GROUND, alpha=0.55)

    wall, eave, over = -0.2 * across, -0.012 * across, 0.02 * across
    gutter, ridge = run.outlet_level + 0.02 * (top - bottom), 0.6 * (top - run.outlet_level)
    house = [(wall, earth), (wall, run.outlet_level), (2 * eave, run.outlet_level), (2 * eave, earth)]
    draw.shape(axes, "house", house, facecolor="#eceff0", edgecolor=STONE)
    roof = [(wall - over, gutter), ((wall + 2 * eave) / 2, gutter + ridge), (eave, gutter)]
    draw.shape(axes, "roof", roof, facecolor=STONE, edgecolor=INK)

    def upright(low: float, high: float) -> list[tuple[float, float]]:
        return [(run.run, low), (run.run, high), (run.run + wide, high), (run.run + wide, low)]

    if tank is not None:
        draw.shape(axes, "base", upright(earth, 0), facecolor=STONE, edgecolor=INK)
    draw.shape(axes, "tank", upright(0, lid), facecolor="white", edgecolor=INK, linewidth=2)
    draw.shape(axes, "water", upright(0, surface), facecolor=MIST, linewidth=0, alpha=0.7)
    draw.path(axes, "pipe", one.pipe, linewidth=3.2, zorder=4).set_color(BRICK if one.answer else STONE)
    draw.path(axes, "standing", one.full, color=DEEP, linewidth=6, zorder=5)

    fails = one.margin < 0
    aside = one.margin_at + (0.03 if one.margin_at == 0 else -0.03) * across
    span = [(aside, one.margin_from), (aside, one.margin_to)]
    left = draw.path(axes, "margin", span, marker="_", ms=12, mew=2.4, linewidth=2.4, zorder=6)
    left.set_color(BRICK if fails else OCHRE)
    short = "level" if run.kind == "dry" else "head"
    said = f"{measure(abs(one.margin), 'm', 2)} of {short} {'short' if fails else 'left'}"
    words = draw.note(axes, "margin-words", (0.99, 0.965), said, "right", fontweight="bold", zorder=7)
    words.set_color(BRICK if fails else INK)

    above = run.outlet_level >= run.inlet_level
    _draw_level(axes, "gutter outlet", run.outlet_level, above)
    _draw_level(axes, "tank inlet", run.inlet_level, not above)


def _draw_level(axes: Axes, name: str, level: float, above: bool) -> None:
    """Draw a level across the picture, with its name above or below the line."""
    draw.level(axes, name, level, color=STONE, linewidth=1.1, linestyle=(0, (4, 4)), zorder=1)
    place = 0.995, level + (0.012 if above else -0.012) * float(np.diff(axes.get_ylim())[0])
    side = "bottom" if above else "top"
    draw.beside(axes, f"{name}-words", place, name, "right", side, fontsize=12.5, color=STONE)


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
            draw.bar(axes, f"{kind}-{n}", middle, value, 0.9 * deep, **look)
            place = value + 0.006 * top, middle
            draw.words(axes, f"{kind}-{n}-words", place, said[n], va="center", fontsize=12.5)
    draw.legend(axes, loc="lower right", fontsize=15)
    axes.set_xlim(0, top)
    return figure


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
        draw.path(axes, name, shares[name], label=name, **look)
    dot = draw.DOT | {"ms": 13, "mew": 1.5, "zorder": 4, "clip_on": False}
    draw.path(axes, "best", best, label="brings most", **dot)
    draw.upright(axes, "bore", bore, color=INK, linewidth=1.4, linestyle=(0, (2, 3)))
    draw.legend(axes, loc="upper center", bbox_to_anchor=(0.5, -0.18), ncols=4, fontsize=14)
    return figure
