"""The figure that the sizing panel moves: reliability and cost over tank size, with the band."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import xarray as xr

from rainharvest.names import label
from rainharvest.plots.marks import draw_chosen, draw_dot, draw_target, round_ticks
from rainharvest.plots.style import DEEP, MIST, keep, new_figure
from rainharvest.reader import number

if TYPE_CHECKING:
    from matplotlib.figure import Figure

POINTS = 200
"""Points of a line: more are not seen."""


def curve_figure(
    curve: xr.Dataset,
    target: float,
    chosen: float,
    *,
    measure: str = "volume_reliability",
    price_top: float | None = None,
    currency: str = "",
    figure: Figure | None = None,
) -> Figure:
    """Draw reliability with its band, and the cost of a kilolitre, over tank size.

    Parameters
    ----------
    curve : Dataset
        On ``capacity`` [L]: ``reliability``, ``reliability_low``, ``reliability_high``, and
        ``per_kilolitre`` where there are prices.
    target : float [1]
        The reliability asked for.
    chosen : float [L]
        The size that is marked.
    measure : str
        What the reliability is.
    price_top : float, optional
        Top of the cost axis; constant while sliders move, so that no layout is made anew.
    currency : str
        Label of the cost axis.
    figure : Figure, optional
        A figure that this function made before, with costs or without as now.

    Returns
    -------
    Figure
        Band: nine of ten versions; line: the record as it stands.
    """
    priced = "per_kilolitre" in curve
    size = curve.capacity.values / 1000
    if figure is None:
        figure, axes = new_figure(
            "What a tank of each size supplies",
            height=4.2,
            ncols=1 + priced,
            width_ratios=[2.2, 1] if priced else None,
        )
        left = axes[0] if priced else axes
        left.set_ylabel(label(measure, "%"))
        left.set_ylim(0, 104)
        for one in axes if priced else [axes]:
            one.set_xscale("log")
            one.set_xlim(size[0], size[-1])
            one.set_xlabel(label("capacity", "kL"))
            round_ticks(one.xaxis, size[0], size[-1], **({} if one is left else {"steps": [1.0]}))
        if priced:
            axes[1].set_title("Cost a kilolitre", loc="left", fontsize=17, fontweight="bold")
            axes[1].set_ylabel(f"{currency} a kL")
            axes[1].set_ylim(0, price_top)
            axes[1].locator_params(axis="y", nbins=5)
    left = figure.axes[0]
    pick = np.unique(np.linspace(0, size.size - 1, min(POINTS, size.size)).round().astype(int))
    low, middle, high = (
        100 * curve[name].values for name in ("reliability_low", "reliability", "reliability_high")
    )
    band = keep(left, "band", lambda: left.fill_between([], [], color=MIST, alpha=0.7, linewidth=0))
    band.set_data(size[pick], low[pick], high[pick])
    keep(left, "curve", lambda: left.plot([], [], color=DEEP, zorder=3)[0]).set_data(size[pick], middle[pick])
    draw_target(left, target)
    _mark(left, size, middle, chosen / 1000)
    if priced:
        right = figure.axes[1]
        each = np.minimum(curve.per_kilolitre.values, 1e6)
        keep(right, "cost", lambda: right.plot([], [], color=DEEP, zorder=3)[0]).set_data(
            size[pick], each[pick]
        )
        at = float(np.interp(np.log(chosen / 1000), np.log(size), each))
        draw_dot(right, chosen / 1000, min(at, right.get_ylim()[1]))
        said = keep(
            right,
            "chosen-words",
            lambda: right.text(
                0.5, 0.05, "", transform=right.transAxes, ha="center", va="bottom", fontweight="bold"
            ),
        )
        said.set_text(f"{at:.2g} {currency} a kL" if at < 1e6 else "")
    return figure


def _mark(axes, size: np.ndarray, middle: np.ndarray, chosen: float) -> None:
    """Move the mark of the chosen size and its words, below the curve, which rises to the right."""
    reached = float(np.interp(np.log(chosen), np.log(size), middle))
    words = draw_chosen(axes, chosen, reached, f"{number(chosen, 3)} kL")
    near_end = np.log(chosen / size[0]) / np.log(size[-1] / size[0]) > 0.75
    words.set_position(
        (size[-1] * 0.97 if near_end else chosen * 1.1, max(reached - (20 if near_end else 9), 9))
    )
    words.set_ha("right" if near_end else "left")
