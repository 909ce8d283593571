"""Figures of levels: the run from the roof to the tank, and the gauge."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from rainharvest.names import label
from rainharvest.plots.catchment import draw_run
from rainharvest.plots.shapes import draw_line, draw_says
from rainharvest.plots.style import DEEP, INK, OCHRE, STONE, keep, new_figure, rounded_up
from rainharvest.reader import in_units, large_volume, number

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from rainharvest.catchment.levels import Levels
    from rainharvest.siteworks.vessel import Vessel
    from rainharvest.study.siteworks_things import Works


def run_figure(levels: Levels, vessel: Vessel, floor_height: float, figure: Figure | None = None) -> Figure:
    """Draw the run from the roof to the tank, with the tank in its own height and width.

    Parameters
    ----------
    levels : Levels
        As `rainharvest.catchment.levels.run_levels`.
    vessel : Vessel
        The tank.
    floor_height : float [m]
        Its floor above the ground.
    figure : Figure, optional
        A figure that this function made before: its artists are moved.

    Returns
    -------
    Figure
        Heights share one scale, lengths another; both stand on the axes.
    """
    if figure is None:
        figure, axes = new_figure("", height=3.8)
        axes.set_xlabel("Along the ground (m)")
        axes.set_ylabel("Above the tank's floor (m)")
        axes.grid(visible=False)
    axes, run = figure.axes[0], levels.conveyance
    low = min(-0.5, *(point[1] for point in levels.pipe))
    high = max(run.outlet_level, run.inlet_level, vessel.height)
    across = rounded_up(max(1.15 * (run.run + vessel.tank_length), 8.0))
    axes.set_xlim(-0.3 * across, across)
    bottom = -rounded_up(max(-low, floor_height) + 0.3)
    # a quarter of the height is kept for the words above the gutter
    axes.set_ylim(bottom, rounded_up(max(high + 1.6, (high - 0.25 * bottom) / 0.75)))
    tank = (vessel.tank_length, vessel.height, vessel.overflow_mark, floor_height)
    draw_run(axes, "From the roof to the tank", levels, across, tank)
    return figure


SHARES = (0.25, 0.5, 0.75, 1.0)
"""Marks of the gauge."""


def gauge_figure(works: Works, figure: Figure | None = None) -> Figure:
    """Draw what the gauge says: litres and days by level, and beside it how long a bucket takes.

    Parameters
    ----------
    works : Works
        As `rainharvest.study.siteworks.siteworks_of`.
    figure : Figure, optional
        A figure that this function made before.

    Returns
    -------
    Figure
        Two drawings with one scale of levels.
    """
    scale, unit = large_volume()
    metre, length = in_units(1.0, "m")
    if figure is None:
        figure, drawn = new_figure(
            "What the gauge says", height=4.6, ncols=2, sharey=True, width_ratios=(3, 2)
        )
        drawn[0].set_xlabel(label("litres_to_draw", unit))
        drawn[1].set_xlabel(label("seconds_to_fill"))
        drawn[0].set_ylabel(label("water_level", length))
        drawn[1].set_xscale("log")
        drawn[1].set_xlim(5, 1200)
        ticks = (10, 30, 100, 300, 1000)
        drawn[1].set_xticks(ticks, [number(tick) for tick in ticks])
        drawn[1].minorticks_off()
    left, right = figure.axes
    keep(right, "title", lambda: right.set_title("At the tap", fontweight="bold", loc="left"))
    gauge, vessel = works.gauge, works.vessel
    level, draw = metre * gauge.water_level.values, gauge.litres_to_draw.values / scale
    most = rounded_up(1.25 * float(draw[-1]))
    left.set_xlim(0, most)
    left.set_ylim(0, metre * rounded_up(1.02 * vessel.height))
    draw_line(left, "litres", np.column_stack([draw, level]), color=DEEP, linewidth=3.2, zorder=4)
    dead = keep(left, "dead", lambda: left.fill_between([], [], color=STONE, alpha=0.35, linewidth=0))
    dead.set_data(np.array([0.0, most]), np.zeros(2), np.full(2, metre * vessel.outlet_mark))
    marks = (("outlet", vessel.outlet_mark, "bottom"), ("overflow", vessel.overflow_mark, "bottom"))
    for axes in (left, right):
        for name, mark, _ in marks:
            keep(
                axes,
                name,
                lambda axes=axes: axes.axhline(0, color=STONE, linewidth=1.4, linestyle=(0, (4, 3))),
            ).set_ydata([metre * mark] * 2)
    for name, mark, va in marks:
        draw_says(left, f"{name}-words", (0.985 * most, metre * mark), name, ha="right", va=va, color=STONE)
    full = float(draw[-1])
    at = np.interp(np.array(SHARES) * full, draw, level)
    dots = keep(left, "dots", lambda: left.plot([], [], "o", ms=9, color=OCHRE, mec=INK, zorder=5)[0])
    dots.set_data(np.array(SHARES) * full, at)
    for k, (share, y) in enumerate(zip(SHARES, at, strict=True)):
        lasts = share * float(gauge.days_of_supply[-1])
        draw_says(
            left,
            f"days-{k}",
            (share * full - 0.015 * most, y),
            f"{number(lasts, 2)} days",
            ha="right",
            va="bottom",
        )
    flows = gauge.seconds_to_fill.values
    ok = np.isfinite(flows)
    draw_line(right, "seconds", np.column_stack([flows[ok], level[ok]]), color=DEEP, linewidth=3.2, zorder=4)
    return figure
