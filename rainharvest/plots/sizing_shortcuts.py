"""Figures of the short ways to size a tank and of the daily step, held to account."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import xarray as xr

from rainharvest.names import QUANTITIES, label
from rainharvest.plots.marks import round_ticks
from rainharvest.plots.style import (
    BRICK,
    DASHES,
    DEEP,
    INK,
    MIST,
    OCHRE,
    STONE,
    STYLE,
    new_figure,
    rounded_up,
)

if TYPE_CHECKING:
    from matplotlib.figure import Figure

WHITE = {"facecolor": "white", "edgecolor": "none", "pad": 0.5}


def shortcuts_figure(group: xr.Dataset, measure: str, target: float) -> Figure:
    """Draw what each short way recommends, and what that tank would really have supplied.

    Parameters
    ----------
    group : Dataset
        The study's sizing group: on ``way`` ``size_by_way`` and ``way_`` with the measures.
    measure : str
        What the reliability is.
    target : float [1]
        The reliability asked for.

    Returns
    -------
    Figure
        Left: sizes; right: the reliability that they would have had.
    """
    from matplotlib import rc_context

    figure, (left, right) = new_figure("", height=4.4, ncols=2, sharey=True)
    size = group.size_by_way.values / 1000
    reached = 100 * group[f"way_{measure}"].values
    rows = np.arange(size.size)
    with rc_context(STYLE):
        left.set_title("What it recommends")
        top = rounded_up(1.2 * np.nanmax(size, initial=0.001))
        for k in rows:
            if np.isfinite(size[k]):
                left.barh(k, size[k], 0.6, color=MIST if k else DEEP, edgecolor=DEEP, gid="recommended")
                left.text(size[k] + 0.015 * top, k, f"{float(f'{size[k]:.2g}'):g}", va="center")
            else:
                left.text(0.015 * top, k, "no answer: more asked than comes in", va="center", fontsize=12)
        left.set_xlim(0, top)
        left.set_xlabel(label("capacity", "kL"))
        left.set_yticks(rows, [str(way) for way in group.way.values])
        left.set_ylim(rows[-1] + 1.0, -0.7)
        left.grid(axis="y", visible=False)
        right.set_title("What that really supplies")
        right.axvline(100 * target, color=STONE, linestyle=(0, (6, 3)), linewidth=1.8)
        for k in rows:
            if np.isfinite(reached[k]):
                right.plot([0, reached[k]], [k, k], color=STONE, lw=1.5)
                right.text(
                    reached[k] - 4, k - 0.12, f"{reached[k]:.0f} %", va="bottom", ha="right", bbox=WHITE
                )
        enough = reached >= 100 * target - 0.05
        for which, mark, colour, said in (
            (enough, "o", OCHRE, "reaches the target"),
            (reached < 100 * target - 0.05, "X", BRICK, "falls short of the target"),
        ):
            right.plot(reached[which], rows[which], mark, ms=13, mec=INK, color=colour, gid=said)
        right.set_xlim(0, 104)
        right.set_xlabel(f"{QUANTITIES[measure].long_name} (%)")
        right.text(100 * target - 1, rows[-1] + 0.75, "target", ha="right", color=STONE, fontsize=13)
        right.grid(axis="y", visible=False)
    return figure


def step_figure(done: xr.Dataset) -> Figure:
    """Draw how far each rule of spillage is off at a daily step.

    Parameters
    ----------
    done : Dataset
        As `rainharvest.sizing.shortcuts_judged.daily_step`.

    Returns
    -------
    Figure
        A line a rule over tank size; zero is the finer step.
    """
    from matplotlib import rc_context

    figure, axes = new_figure("How far the daily step is off", height=4.0)
    size = done.capacity.values / 1000
    looks = zip(done.rule.values, (DEEP, OCHRE, BRICK), DASHES, strict=False)
    with rc_context(STYLE):
        axes.axhline(0, color=STONE, lw=1.5)
        for rule, colour, dash in looks:
            error = 100 * done.step_error.sel(rule=rule).values
            axes.plot(size, error, color=colour, linestyle=dash, gid=str(rule))
            k = int(np.argmax(abs(error)))
            axes.annotate(
                str(rule),
                (size[k], error[k]),
                (14, -22 if rule == "between" else 8 if error[k] >= 0 else -14),
                textcoords="offset points",
                fontweight="bold",
                color=INK,
            )
        axes.set_xscale("log")
        axes.set_xlim(size[0], size[-1])
        round_ticks(axes.xaxis, size[0], size[-1])
        most = rounded_up(1.25 * float(abs(done.step_error).max()) * 100)
        axes.set_ylim(-most, most)
        axes.set_xlabel(label("capacity", "kL"))
        axes.set_ylabel("Error of the volume\nreliability (percentage points)")
    return figure
