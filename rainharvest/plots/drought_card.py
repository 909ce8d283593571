"""The caretaker's card: for each month what the gauge says to do, readable in black and white."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import xarray as xr

from rainharvest.names import label
from rainharvest.plots.style import BRICK, DEEP, INK, MIST, OCHRE, STONE, keep, new_figure, rounded_up

if TYPE_CHECKING:
    from matplotlib.figure import Figure

MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
LOOKS = (("#ffffff", None), ("#ffffff", "//"), ("#d0d0d0", "xxx"), ("#9a9a9a", "***"))
HELP = ("#000000", None)


def card_figure(plan: xr.Dataset, actions: list[str], figure: Figure | None = None) -> Figure:
    """Draw the card: a column a month, the gauge upwards, a pattern for each thing to do.

    Parameters
    ----------
    plan : Dataset
        As `rainharvest.study.drought_plan.plan_dataset`.
    actions : list of str
        What to do: as usual, in each stage, when help is needed; one more than stages, and one.
    figure : Figure, optional
        A figure that this function made before.

    Returns
    -------
    Figure
        Black, white and grey only; levels in per cent of the tank and in litres.
    """
    stages = plan.sizes["stage"]
    if figure is None:
        figure, axes = new_figure("What to do when the gauge falls", height=6.8)
        axes.set_xlim(0, 12)
        axes.set_ylim(0, 100)
        axes.set_xticks(np.arange(12) + 0.5, MONTHS)
        axes.tick_params(axis="x", length=0, labelsize=14)
        axes.set_ylabel("Gauge (% of the tank)")
        axes.set_yticks(range(0, 101, 10))
        axes.grid(visible=False)
        litres = axes.twinx()
        litres.grid(visible=False)
        litres.set_ylabel(label("gauge", "kL"), fontsize=15)
        litres.tick_params(labelsize=13)
        for side in ("top", "right"):
            axes.spines[side].set_visible(True)
        _key(figure, axes, stages, actions)
    axes = figure.axes[0]
    figure.axes[1].set_ylim(0, float(plan.attrs["plan_capacity"]) / 1000)
    level = 100 * np.minimum(plan.stage_level.values, 1.0)
    floor = 100 * np.minimum(plan.help_level.values, 1.0)
    tops = np.vstack([np.full((1, 12), 100.0), level])
    for k in range(stages + 1):
        below = level[k] if k < stages else np.zeros(12)
        _zone(axes, ("as usual", *(f"stage {s + 1}" for s in range(stages)))[k], tops[k], below, LOOKS[k])
    _zone(axes, "call for help", floor, np.zeros(12), HELP, 3)
    # One text for all numbers of a row of levels: few objects paint faster.
    for month in range(12):
        for k, value in enumerate([*level[:, month], floor[month]]):
            words = keep(
                axes,
                f"level {month + 1}-{k + 1}",
                lambda: axes.text(
                    0,
                    0,
                    "",
                    ha="center",
                    va="center",
                    fontsize=11,
                    fontweight="bold",
                    color="black",
                    zorder=6,
                    bbox={"facecolor": "white", "edgecolor": "black", "linewidth": 0.6, "pad": 1.5},
                ),
            )
            above = [*level[:k, month]] if k else []
            shown = 0 < value < 100 and all(abs(value - other) >= 4.9 for other in above)
            words.set_text(f"{value:.0f} %" if shown else "")
            words.set_visible(shown)
            words.set_position((month + 0.5, min(max(value, 3.0), 97.0)))
    return figure


def _zone(axes, name: str, top: np.ndarray, below: np.ndarray, look, zorder: float = 2) -> None:
    """Fill one zone of all months with its pattern."""
    from matplotlib import rc_context
    from matplotlib.collections import PolyCollection

    def make():
        with rc_context({"hatch.linewidth": 0.8, "hatch.color": "black"}):
            made = PolyCollection(
                [], facecolor=look[0], edgecolor="black", hatch=look[1], linewidth=0.8, zorder=zorder
            )
        return axes.add_collection(made, autolim=False)

    zone = keep(axes, name, make)
    zone.set_verts(
        [
            [(m, low), (m + 1, low), (m + 1, high), (m, high)]
            for m, (low, high) in enumerate(zip(below, top, strict=True))
            if high > low
        ]
    )


def _key(figure, axes, stages: int, actions: list[str]) -> None:
    """Put a sample of each pattern and what to do there below the months."""
    from matplotlib import rc_context
    from matplotlib.patches import Patch

    with rc_context({"hatch.linewidth": 0.8, "hatch.color": "black"}):
        samples = [
            Patch(facecolor=c, edgecolor="black", hatch=h, label=words)
            for (c, h), words in zip((*LOOKS[: stages + 1], HELP), actions, strict=True)
        ]
        axes.legend(
            handles=samples,
            loc="upper center",
            bbox_to_anchor=(0.5, -0.08),
            ncols=1,
            fontsize=13,
            frameon=False,
            handlelength=3.2,
            handleheight=1.5,
            alignment="left",
        )


def plan_figure(tried: xr.Dataset, plan: xr.Dataset, figure: Figure | None = None) -> Figure:
    """Draw every plan tried: what it keeps against what it cuts.

    Parameters
    ----------
    tried : Dataset
        ``failing_years`` and ``cut_share`` on ``lane``, as `rainharvest.drought.plan.Plan` keeps them.
    plan : Dataset
        The plan chosen, as `rainharvest.study.drought_plan.plan_dataset`.
    figure : Figure, optional
        A figure that this function made before.

    Returns
    -------
    Figure
        A point a plan; the one chosen, the one without rationing, and the share that may fail.
    """
    if figure is None:
        figure, axes = new_figure("What each rationing plan keeps, and what it costs", height=4.2)
        axes.set_xlabel(label("ordinary_cut", "% of the demand"))
        axes.set_ylabel("Years in which essential\nuses fail (%)")
    axes = figure.axes[0]
    cut, failing = 100 * tried.cut_share.values, 100 * tried.failing_years.values
    keep(axes, "plans tried", lambda: axes.plot([], [], "o", ms=7, color=MIST, mec=STONE)[0]).set_data(
        cut, failing
    )
    keep(
        axes, "without a plan", lambda: axes.plot([], [], "s", ms=11, color=BRICK, clip_on=False, zorder=4)[0]
    ).set_data(cut[:1], failing[:1])
    keep(
        axes,
        "the plan chosen",
        lambda: axes.plot([], [], "o", ms=14, color=OCHRE, mec=INK, mew=1.5, clip_on=False, zorder=5)[0],
    ).set_data([100 * float(plan.ordinary_cut)], [100 * float(plan.failing_years)])
    keep(
        axes, "may fail", lambda: axes.axhline(0, color=DEEP, linestyle=(0, (6, 3)), linewidth=1.6)
    ).set_ydata([100 * plan.attrs["plan_wanted"]] * 2)
    words = keep(
        axes,
        "words",
        lambda: axes.text(0.99, 0.97, "", transform=axes.transAxes, ha="right", va="top", fontsize=13),
    )
    words.set_text(
        "square: without a plan · circle: the plan chosen\ndashed: the share of years that may fail"
    )
    axes.set_xlim(0, rounded_up(1.08 * max(cut.max(), 1.0)))
    axes.set_ylim(0, min(rounded_up(1.25 * max(failing.max(), 4.0)), 104.0))
    return figure
