"""Figures of other climates: the months under each, what the tank makes of it, and droughts longer than any seen."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import xarray as xr

from rainharvest.names import label
from rainharvest.plots.style import BRICK, DASHES, DEEP, INK, MIST, OCHRE, STONE, keep, new_figure, rounded_up

if TYPE_CHECKING:
    from matplotlib.figure import Figure


def climates_figure(found: xr.Dataset, figure: Figure | None = None) -> Figure:
    """Draw the months' rain under each climate, and the days on which the same tank then fails.

    Parameters
    ----------
    found : Dataset
        As `rainharvest.study.drought_climates.scenarios_tried`; a figure serves one number of climates.
    figure : Figure, optional
        A figure that this function made before.

    Returns
    -------
    Figure
        Left a line a climate; right a bar each, the record first.
    """
    if figure is None:
        figure, pair = new_figure("Rain under each climate", height=4.2, ncols=2, width_ratios=[1.5, 1])
        pair[0].set_ylabel(label("scenario_month"))
        pair[0].set_xlabel("Month")
        pair[0].set_xticks(range(1, 13), list("JFMAMJJASOND"))
        pair[0].set_xlim(1, 12)
        pair[1].set_title("what the tank makes of it")
        pair[1].set_xlabel(label("scenario_failed_a_year"))
        pair[1].grid(axis="y", visible=False)
        pair[1].set_yticks(np.arange(found.sizes["scenario"]), [_short(n) for n in found.scenario.values])
        pair[1].set_ylim(found.sizes["scenario"] - 0.4, -0.6)
    left, right = figure.axes
    looks = ((DEEP, "-"), (OCHRE, "-"), (BRICK, DASHES[1]), (STONE, DASHES[2]), (INK, DASHES[3]))
    for k, name in enumerate(found.scenario.values):
        colour, dash = looks[k % len(looks)]
        line = keep(left, str(name), lambda c=colour, d=dash: left.plot([], [], color=c, linestyle=d)[0])
        line.set_data(found.calendar_month.values, found.scenario_month.values[k])
        bar = keep(
            right, f"{name}: failed", lambda c=colour: right.hlines([0], [0], [0], color=c, linewidth=20)
        )
        failed = float(found.scenario_failed_a_year[k])
        bar.set_segments([[(0.0, k), (failed, k)]])
        words = keep(right, f"{name}: words", lambda: right.text(0, 0, "", va="center", fontsize=14))
        words.set_text(f" {failed:.2g}")
        words.set_position((failed, k))
    if left.get_legend() is None:
        left.legend(
            [a for a in left.get_lines() if a.get_gid()],
            [_short(n) for n in found.scenario.values],
            fontsize=12,
            frameon=False,
        )
    left.set_ylim(0, rounded_up(1.15 * max(float(found.scenario_month.max()), 1.0)))
    right.set_xlim(0, rounded_up(1.25 * max(float(found.scenario_failed_a_year.max()), 1.0)))
    return figure


def _short(name: object) -> str:
    text = str(name)
    return text if len(text) <= 22 else text[:21] + "…"


def longer_figure(found: xr.Dataset, figure: Figure | None = None) -> Figure:
    """Draw the driest three years of records drawn anew against how long the tank then failed on end.

    Parameters
    ----------
    found : Dataset
        As `rainharvest.study.drought_climates.longer_droughts`.
    figure : Figure, optional
        A figure that this function made before.

    Returns
    -------
    Figure
        A point a record; the record itself marked.
    """
    if figure is None:
        figure, axes = new_figure("Droughts longer than any on record", height=4.2)
        axes.set_xlabel(label("drawn_driest_run", "mm a year"))
        axes.set_ylabel(label("drawn_longest_failure", "days"))
    axes = figure.axes[0]
    depth, longest = found.drawn_driest_run.values, found.drawn_longest_failure.values
    own = float(found.record_driest_run), float(found.record_longest_failure)
    keep(axes, "drawn anew", lambda: axes.plot([], [], "o", ms=7, color=MIST, mec=STONE)[0]).set_data(
        depth, longest
    )
    keep(
        axes, "the record", lambda: axes.plot([], [], "o", ms=14, color=OCHRE, mec=INK, mew=1.5, zorder=5)[0]
    ).set_data([own[0]], [own[1]])
    words = keep(
        axes,
        "words",
        lambda: axes.text(0.99, 0.97, "", transform=axes.transAxes, ha="right", va="top", fontsize=13),
    )
    words.set_text(f"pale: {depth.size} records drawn anew · circle: the record itself")
    low, high = min(depth.min(), own[0]), max(depth.max(), own[0])
    axes.set_xlim(low - 0.05 * (high - low + 1), high + 0.05 * (high - low + 1))
    axes.set_ylim(0, rounded_up(1.25 * max(longest.max(), own[1], 4.0)))
    return figure
