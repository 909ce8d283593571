"""The figure that the sizing panel moves: reliability and cost over tank size, with the band."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import xarray as xr

from rainharvest.names import label
from rainharvest.plots.sizing import TICKS
from rainharvest.plots.style import DEEP, INK, MIST, OCHRE, STONE, keep, new_figure

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
            _size_ticks(one, size, few=one is not left)
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
    keep(
        left, "target", lambda: left.axhline(0, color=STONE, linestyle=(0, (6, 3)), linewidth=1.8)
    ).set_ydata([100 * target] * 2)
    words = keep(
        left,
        "target-words",
        lambda: left.text(0.005, 0, "", transform=left.get_yaxis_transform(), va="bottom", color=STONE),
    )
    words.set_text(f"target {100 * target:.0f} %")
    words.set_y(100 * target + 0.6)
    _mark(left, size, middle, chosen / 1000, "%", clear=9.0)
    if priced:
        right = figure.axes[1]
        each = np.minimum(curve.per_kilolitre.values, 1e6)
        keep(right, "cost", lambda: right.plot([], [], color=DEEP, zorder=3)[0]).set_data(
            size[pick], each[pick]
        )
        at = float(np.interp(np.log(chosen / 1000), np.log(size), each))
        point = keep(right, "chosen", lambda: _dot(right))
        point.set_data([chosen / 1000], [min(at, right.get_ylim()[1])])
        said = keep(
            right,
            "chosen-words",
            lambda: right.text(
                0.5, 0.05, "", transform=right.transAxes, ha="center", va="bottom", fontweight="bold"
            ),
        )
        said.set_text(f"{at:.2g} {currency} a kL" if at < 1e6 else "")
    return figure


def _size_ticks(axes, size: np.ndarray, few: bool) -> None:
    steps = np.array([1.0]) if few else TICKS
    ticks = np.concatenate([steps * 10.0**p for p in range(-2, 6)])
    ticks = ticks[(ticks >= size[0]) & (ticks <= size[-1])]
    axes.set_xticks(ticks, [f"{t:g}" for t in ticks])
    axes.minorticks_off()


def _dot(axes):
    return axes.plot([], [], "o", ms=13, mec=INK, mew=1.5, color=OCHRE, zorder=4, clip_on=False)[0]


def _mark(axes, size: np.ndarray, middle: np.ndarray, chosen: float, unit: str, clear: float) -> None:
    """Move the mark of the chosen size and its words, below the curve, which rises to the right."""
    reached = float(np.interp(np.log(chosen), np.log(size), middle))
    keep(axes, "chosen", lambda: _dot(axes)).set_data([chosen], [reached])
    words = keep(
        axes,
        "chosen-words",
        lambda: axes.text(
            0,
            0,
            "",
            va="top",
            fontweight="bold",
            zorder=5,
            bbox={"facecolor": "white", "edgecolor": "none", "pad": 1},
        ),
    )
    share = "over 99" if 99.5 <= reached < 100 else f"{reached:.0f}"
    words.set_text(f"{float(f'{chosen:.3g}'):g} kL: {share} {unit}")
    near_end = np.log(chosen / size[0]) / np.log(size[-1] / size[0]) > 0.75
    words.set_position(
        (size[-1] * 0.97 if near_end else chosen * 1.1, max(reached - (20.0 if near_end else clear), 9))
    )
    words.set_ha("right" if near_end else "left")
