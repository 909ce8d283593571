"""Figures of what rain it is: through the year, between the rains, and through the years."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import xarray as xr

from rainharvest.names import label
from rainharvest.plots.style import BRICK, DEEP, INK, MIST, OCHRE, STONE, STYLE, keep, new_figure, rounded_up

if TYPE_CHECKING:
    from matplotlib.figure import Figure

MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
SPI_LINES = {-1.0: "moderately dry", -1.5: "severely dry", -2.0: "extremely dry"}


def monthly_figure(found: xr.Dataset, figure: Figure | None = None) -> Figure:
    """Draw the mean rain of each calendar month, and what nine and one year in ten stay below.

    Parameters
    ----------
    found : Dataset
        As `rainharvest.rainfall.describe.describe_rain`: ``month_mean``, ``month_share``.
    figure : Figure, optional
        A figure that this function made before.

    Returns
    -------
    Figure
        A bar a month; a line from the dry to the wet end.
    """
    if figure is None:
        figure, axes = new_figure("Rain through the year")
        axes.set_ylabel(label("month_mean"))
        axes.set_xticks(np.arange(1, 13), MONTHS)
        axes.set_xlim(0.4, 12.6)
        axes.grid(axis="x", visible=False)
    axes = figure.axes[0]
    mean = found.month_mean.values
    low, middle, high = found.month_share.sel(share=[0.1, 0.5, 0.9]).values.T
    month = np.arange(1, 13)
    bars = keep(axes, "bars", lambda: axes.vlines([0], [0], [0], color=MIST, linewidth=38))
    bars.set_segments([[(m, 0), (m, v)] for m, v in zip(month, mean, strict=True)])
    lines = keep(axes, "spread", lambda: axes.vlines([0], [0], [0], color=DEEP, linewidth=3, zorder=3))
    lines.set_segments([[(m, a), (m, b)] for m, a, b in zip(month, low, high, strict=True)])
    keep(axes, "middle", lambda: axes.plot([], [], "o", ms=9, color=OCHRE, mec=INK, zorder=4)[0]).set_data(
        month, middle
    )
    keep(
        axes,
        "words",
        lambda: axes.text(
            0.995,
            1.02,
            "bar: mean · dot: middle year · line: 8 years of 10",
            transform=axes.transAxes,
            ha="right",
            va="bottom",
        ),
    )
    axes.set_ylim(0, rounded_up(1.05 * float(np.nanmax(high, initial=1.0))))
    return figure


def spells_figure(found: xr.Dataset, figure: Figure | None = None) -> Figure:
    """Draw how often a dry spell lasts at least so long, and the longest.

    Parameters
    ----------
    found : Dataset
        As `rainharvest.rainfall.describe.describe_rain`: ``spells_a_year`` on ``spell_days``.
    figure : Figure, optional
        A figure that this function made before.

    Returns
    -------
    Figure
        Spells a year against their length, on scales of powers of ten.
    """
    if figure is None:
        figure, axes = new_figure("How often a dry spell lasts at least so long")
        axes.set_xscale("log")
        axes.set_yscale("log")
        axes.set_xlabel(label("spell_days"))
        axes.set_ylabel("Spells a year")
    axes = figure.axes[0]
    days, rate = found.spell_days.values, found.spells_a_year.values
    line = keep(axes, "spells", lambda: axes.plot([], [], color=DEEP, drawstyle="steps-pre")[0])
    line.set_data(days, rate)
    once = keep(axes, "once", lambda: axes.axhline(1, color=STONE, linewidth=1.8, linestyle=(0, (6, 3))))
    once.set_ydata([1, 1])
    keep(
        axes,
        "once-words",
        lambda: axes.text(
            0.005, 1.06, "once a year", transform=axes.get_yaxis_transform(), va="bottom", color=STONE
        ),
    )
    point = keep(
        axes,
        "longest",
        lambda: axes.plot([], [], "o", ms=13, color=OCHRE, mec=INK, zorder=4, clip_on=False)[0],
    )
    point.set_data(days[-1:], rate[-1:])
    words = keep(
        axes,
        "longest-words",
        lambda: axes.text(0.99, 0.95, "", transform=axes.transAxes, ha="right", va="top", fontweight="bold"),
    )
    words.set_text(f"longest: {days[-1]} days" if days.size else "")
    right = rounded_up(1.05 * days[-1]) if days.size else 10
    bottom = 10.0 ** np.floor(np.log10(rate[-1] * 0.8)) if days.size and rate[-1] > 0 else 0.01
    top = rounded_up(1.1 * rate[0]) if days.size else 100
    if (axes.get_xlim(), axes.get_ylim()) != ((1, right), (bottom, top)):
        axes.set_xlim(1, right)
        axes.set_ylim(bottom, top)
        ticks = [t for t in (1, 2, 5, 10, 20, 50, 100, 200, 500) if t <= right]
        axes.set_xticks(ticks, [f"{t:g}" for t in ticks])
        rates = [t for t in (0.001, 0.01, 0.1, 1, 10, 100) if bottom <= t <= top]
        axes.set_yticks(rates, [f"{t:g}" for t in rates])
        axes.minorticks_off()
    return figure


def spi_figure(spi: xr.DataArray, figure: Figure | None = None) -> Figure:
    """Draw the standardised precipitation index through the record.

    Parameters
    ----------
    spi : DataArray [1]
        On ``month``, of one ``scale``.
    figure : Figure, optional
        A figure that this function made before.

    Returns
    -------
    Figure
        Wetter than normal above the line, drier below it, with the edges of the dry classes.
    """
    import matplotlib.dates as dates

    if figure is None:
        figure, axes = new_figure("")
        axes.set_ylabel(label("spi"))
        axes.set_ylim(-3.6, 3.6)
        axes.set_yticks([-3, -2, -1, 0, 1, 2, 3], ["−3", "−2", "−1", "0", "1", "2", "3"])
        axes.xaxis.set_major_formatter(dates.DateFormatter("%Y"))
        axes.set_xlabel("Month")
    axes = figure.axes[0]
    axes.set_title(
        f"Wet and dry times: the rain of {int(spi.scale)} month{'s' if int(spi.scale) > 1 else ''} against normal",
        loc="left",
        fontsize=STYLE["axes.titlesize"],
        fontweight="bold",
    )
    month, value = dates.date2num(spi.month.values), np.nan_to_num(spi.values)
    for name, part, colour in (
        ("wet", np.maximum(value, 0), MIST),
        ("dry", np.minimum(value, 0), BRICK),
    ):
        area = keep(
            axes,
            name,
            lambda colour=colour: axes.fill_between([], [], color=colour, linewidth=0.4, step="mid"),
        )
        area.set_data(month, np.zeros_like(part), part)
    for edge, words in SPI_LINES.items():
        keep(
            axes,
            f"edge {edge}",
            lambda edge=edge: axes.axhline(edge, color=INK, linewidth=1, linestyle=(0, (4, 3)), zorder=3),
        )
        keep(
            axes,
            f"words {edge}",
            lambda edge=edge, words=words: axes.text(
                1.005, edge, words, transform=axes.get_yaxis_transform(), va="center", fontsize=13
            ),
        )
    keep(axes, "zero", lambda: axes.axhline(0, color=INK, linewidth=1.2, zorder=3))
    span = (month[-1] - month[0]) / 365.25
    step = 10 if span > 35 else 5 if span > 12 else 1
    axes.set_xlim(month[0], month[-1])
    axes.xaxis.set_major_locator(dates.YearLocator(step))
    return figure
