"""Figures of what is not known: the band, and which unknown matters most."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np
import xarray as xr

from rainharvest.names import QUANTITIES, label
from rainharvest.plots.marks import draw_target, round_ticks
from rainharvest.plots.style import (
    BRICK,
    DASHES,
    DEEP,
    INK,
    MIST,
    OCHRE,
    STYLE,
    new_figure,
    rounded_up,
)

if TYPE_CHECKING:
    from matplotlib.figure import Figure


def band_figure(group: xr.Dataset, measure: str, target: float) -> Figure:
    """Draw the curve of the record in the band of the draws, and the two sizes that reach the target.

    Parameters
    ----------
    group : Dataset
        The study's sizing group: ``reliability_on_record``, ``_low``, ``_middle``, ``_high`` on
        ``capacity``; ``size_on_record``, ``sure_size``.
    measure : str
        What the reliability is.
    target : float [1]
        The reliability asked for.

    Returns
    -------
    Figure
        Band: nine of ten draws; lines: the record, the middle of the draws.
    """
    from matplotlib import rc_context

    figure, axes = new_figure("How sure: the record, and what else may come", height=4.4)
    size = group.capacity.values / 1000
    with rc_context(STYLE):
        axes.fill_between(
            size,
            100 * group.reliability_low,
            100 * group.reliability_high,
            color=MIST,
            alpha=0.7,
            lw=0,
            gid="band",
        )
        axes.plot(size, 100 * group.reliability_on_record, color=DEEP, zorder=3, gid="on the record")
        look = {"color": INK, "linestyle": DASHES[2], "lw": 1.8, "zorder": 3, "gid": "middle of the versions"}
        axes.plot(size, 100 * group.reliability_middle, **look)
        draw_target(axes, target)
        own, sure = float(group.size_on_record) / 1000, float(group.sure_size) / 1000
        places = [(own, "on the record", DEEP), (sure, "in 9 of 10 versions", OCHRE)]
        if abs(sure - own) < 0.03 * own:  # one mark: the two would hide each other
            places = [(max(own, sure), "on the record and in 9 of 10 versions", OCHRE)]
        for k, (at, words, colour) in enumerate(places):
            if not np.isfinite(at):
                continue
            axes.plot(
                [at], [100 * target], "o", ms=13, mec=INK, mew=1.5, color=colour, zorder=5, clip_on=False
            )
            axes.annotate(
                f"{float(f'{at:.2g}'):g} kL {words}",
                (at, 100 * target),
                (0.98, 0.10 + 0.13 * (1 - k)),
                textcoords="axes fraction",
                ha="right",
                fontweight="bold",
                arrowprops={"arrowstyle": "-", "color": INK, "lw": 1.0, "shrinkB": 8},
            )
        axes.text(
            0.02,
            0.80,
            "line: the record as it stands\ndots: middle of the versions\nband: nine of ten versions",
            transform=axes.transAxes,
            va="top",
            fontsize=13,
        )
        axes.set_xscale("log")
        axes.set_xlim(size[0], size[-1])
        round_ticks(axes.xaxis, size[0], size[-1])
        axes.set_ylim(0, 104)
        axes.set_xlabel(label("capacity", "kL"))
        axes.set_ylabel(label(measure, "%"))
    return figure


def unknowns_figure(group: xr.Dataset, words: Mapping[str, str], measure: str, chosen: float) -> Figure:
    """Draw which unknown moves the reliability of a tank most, one at a time and all at once.

    Parameters
    ----------
    group : Dataset
        The study's sizing group: on ``input`` ``response_low``, ``response_high``, ``first_order``,
        ``total_order`` and their confidence; ``response_best``.
    words : mapping of str to str
        The inputs in words.
    measure : str
        What the reliability is.
    chosen : float [L]
        The tank.

    Returns
    -------
    Figure
        Left: bars between the two ends of each input; right: its share of the variance.
    """
    from matplotlib import rc_context

    figure, (left, right) = new_figure("", height=4.2, ncols=2, sharey=True, width_ratios=[1.35, 1])
    names = [words[str(name)] for name in group.input.values]
    rows = np.arange(len(names))
    low, high = 100 * group.response_low.values, 100 * group.response_high.values
    best = 100 * float(group.response_best)
    with rc_context(STYLE):
        left.set_title("One at a time")
        left.barh(rows, high - low, left=low, color=MIST, edgecolor=DEEP, height=0.6, gid="reliability")
        left.axvline(best, color=DEEP, lw=1.8)
        span = max(np.ptp([*low, *high, best]), 1.0)
        for k in rows:
            for value, side in ((min(low[k], high[k]), "right"), (max(low[k], high[k]), "left")):
                shift = (-0.015 if side == "right" else 0.015) * span
                said = "over 99" if 99.5 <= value < 100 else f"{value:.0f}"
                left.text(value + shift, k, said, va="center", ha=side, fontsize=13)
        left.set_xlim(min(*low, *high) - 0.12 * span, max(*low, *high) + 0.25 * span)
        left.set_xlabel(f"{QUANTITIES[measure].long_name} of {float(f'{chosen / 1000:.2g}'):g} kL (%)")
        left.locator_params(axis="x", nbins=5)
        left.set_yticks(rows, names)
        left.invert_yaxis()
        left.grid(axis="y", visible=False)
        right.set_title("All at once")
        total, first = group.total_order.values, group.first_order.values
        for shift, share, colour, said in (
            (-0.17, total, DEEP, "with all it does together with others"),
            (0.17, np.maximum(first, 0), OCHRE, "on its own"),
        ):
            right.barh(rows + shift, share, height=0.32, color=colour, label=said, gid=said)
        right.errorbar(
            total,
            rows - 0.17,
            xerr=group.total_order_confidence.values,
            fmt="none",
            ecolor=BRICK,
            elinewidth=1.8,
            capsize=4,
        )
        top = rounded_up(float(np.nanmax(total + group.total_order_confidence.values, initial=0.1)))
        right.set_xlim(0, min(max(top, 0.1), 1.0))
        right.set_xlabel("Share of the variance")
        right.grid(axis="y", visible=False)
        right.legend(loc="lower right", frameon=True, framealpha=0.9, fontsize=12)
    return figure
