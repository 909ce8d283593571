"""Maps of the trade-off: tank size against roof area, and against demand."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import xarray as xr

from rainharvest.names import QUANTITIES, label
from rainharvest.plots.marks import round_ticks
from rainharvest.plots.style import DEEP, INK, MIST, OCHRE, STYLE, new_figure

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

LEVELS = (50, 60, 70, 80, 90, 95, 99)
"""Reliabilities that are drawn, per cent."""


def maps_figure(group: xr.Dataset, chosen: float, area: float, measure: str) -> Figure:
    """Draw which tanks reach which reliability, on other roofs and for another demand.

    Parameters
    ----------
    group : Dataset
        As the study's sizing group: ``reliability_by_area`` on (area, capacity) and ``reliability_by_demand``
        on (demand_factor, capacity).
    chosen : float [L]
        The size that is marked.
    area : float [m2]
        The study's roofs, marked with it.
    measure : str
        What the reliability is.

    Returns
    -------
    Figure
        Two maps: shades and lines of equal reliability, the study's own place marked.
    """
    from matplotlib import rc_context

    figure, both = new_figure("", height=4.6, ncols=2, sharey=True)
    with rc_context(STYLE):
        _map(both[0], group.reliability_by_area, "area", chosen, area)
        _map(both[1], group.reliability_by_demand, "demand_factor", chosen, 1.0)
        both[0].set_ylabel(label("capacity", "kL"))
        for axes, words in zip(both, ("Tank and roof", "Tank and demand"), strict=True):
            axes.set_title(words)
        figure.suptitle(
            f"{QUANTITIES[measure].long_name} (%): every tank on a line does as well",
            x=0.01,
            ha="left",
            fontsize=15,
        )
    return figure


def _map(axes: Axes, share: xr.DataArray, across: str, chosen: float, here: float) -> None:
    from matplotlib.colors import LinearSegmentedColormap

    values = 100 * share.transpose("capacity", across).values
    x, y = share[across].values, share.capacity.values / 1000
    shades = LinearSegmentedColormap.from_list("water", ["#f3f5f5", MIST, DEEP])
    axes.contourf(x, y, values, levels=[0, *LEVELS, 100.001], cmap=shades)
    lines = axes.contour(x, y, values, levels=LEVELS, colors=INK, linewidths=[1.2] * 4 + [2.4, 1.2, 1.2])
    lines.set_gid("reliability in %")
    places = _label_places(values, x, y, across)
    axes.clabel(
        lines, levels=list(places), manual=list(places.values()), fmt="%d %%", fontsize=12, inline=True
    )
    for words in lines.labelTexts:
        words.set_color("white" if float(words.get_text().split()[0]) >= 80 else INK)
    axes.plot([here], [chosen / 1000], "o", ms=13, mec="white", mew=2.0, color=OCHRE, zorder=5)
    axes.set_yscale("log")
    axes.set_ylim(max(y[0], chosen / 1000 / 40), min(y[-1], chosen / 1000 * 6))
    round_ticks(axes.yaxis, *axes.get_ylim())
    axes.grid(visible=False)
    axes.set_xlabel(label(across))


def _label_places(
    values: np.ndarray, x: np.ndarray, y: np.ndarray, across: str
) -> dict[int, tuple[float, float]]:
    """Return where each line is named: on a cut across the map on which the lines lie well apart."""
    places = {}
    if across == "area":  # a cut from below to above, at large roofs
        at = x[0] + 0.8 * (x[-1] - x[0])
        cut = np.array([np.interp(at, x, row) for row in values])
        for level in LEVELS:
            if cut.max() > level > cut.min():
                places[level] = (at, float(np.exp(np.interp(level, cut, np.log(y)))))
    else:  # a cut from left to right, a third of the way up
        k = int(0.62 * y.size)
        cut = values[k][::-1]
        for level in LEVELS:
            place = float(np.interp(level, cut, x[::-1]))
            if cut.max() > level > cut.min() and place > x[0] + 0.06 * (x[-1] - x[0]):
                places[level] = (place, float(y[k]))
    return places
