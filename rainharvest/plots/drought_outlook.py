"""Figures of the gauge outlook: the fan of storage, the chances of running dry, and whether they are honest."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import xarray as xr

from rainharvest.names import label
from rainharvest.plots.style import BRICK, DASHES, DEEP, INK, MIST, OCHRE, STONE, keep, new_figure, rounded_up

if TYPE_CHECKING:
    from matplotlib.figure import Figure

YEAR = 2001  # any year without a leap day: the axis shows months only


def _months(axes, first_day, days: int) -> None:
    """Put the months of the outlook on an axis of days ahead."""
    begins = np.datetime64(f"{YEAR}-{first_day[0]:02d}-01") + (first_day[1] - 1)
    months = np.arange(begins.astype("datetime64[M]") + 1, (begins + days).astype("datetime64[M]") + 1)
    places = (months.astype("datetime64[D]") - begins).astype(int)
    names = "JFMAMJJASOND"
    axes.set_xticks(places, [names[int(m.astype(int)) % 12] for m in months])
    axes.set_xlim(0, days)


def fan_figure(
    found: xr.Dataset, first_day: tuple[int, int], season: int | None = None, figure: Figure | None = None
) -> Figure:
    """Draw what the tank may hold from today on.

    Parameters
    ----------
    found : Dataset
        As `rainharvest.drought.outlook.outlook`; the first plan is drawn.
    first_day : tuple of int
        Month and day of today.
    season : int, optional
        First month of the hydrological year, at which the dry season ends: marked.
    figure : Figure, optional
        A figure that this function made before.

    Returns
    -------
    Figure
        The middle year, the bands of half and of 8 of 10 years, the gauge today.
    """
    if figure is None:
        figure, axes = new_figure("What the tank may hold from today on", height=4.2)
        axes.set_ylabel(label("stored", "kL"))
        axes.set_xlabel("First day of the month")
    axes = figure.axes[0]
    lead = np.concatenate([[0.0], found.lead.values])
    size, now = found.attrs["capacity"] / 1000, found.attrs["start"] / 1000
    lines = [np.concatenate([[now], row / 1000]) for row in found.stored_band.values]
    for name, low, high, tone in (("8 of 10 years", 0, 4, 0.45), ("half of the years", 1, 3, 1.0)):
        band = keep(
            axes, name, lambda tone=tone: axes.fill_between([], [], color=MIST, alpha=tone, linewidth=0)
        )
        band.set_data(lead, lines[low], lines[high])
    for name, k in (("1 year in 10 below", 0), ("9 years in 10 below", 4)):
        keep(
            axes, name, lambda: axes.plot([], [], color=STONE, linewidth=1.2, linestyle=DASHES[1])[0]
        ).set_data(lead, lines[k])
    keep(axes, "middle year", lambda: axes.plot([], [], color=DEEP)[0]).set_data(lead, lines[2])
    keep(
        axes, "today", lambda: axes.plot([], [], "o", ms=12, color=OCHRE, mec=INK, zorder=5, clip_on=False)[0]
    ).set_data([0], [now])
    keep(axes, "full", lambda: axes.axhline(0, color=DEEP, linewidth=1.2, linestyle=(0, (2, 2)))).set_ydata(
        [size] * 2
    )
    words = keep(
        axes,
        "full-words",
        lambda: axes.text(0.5, 0, "full", transform=axes.get_yaxis_transform(), va="bottom"),
    )
    top = rounded_up(1.2 * size)
    words.set_y(size + 0.005 * top)
    note = keep(
        axes,
        "legend",
        lambda: axes.text(0.995, 0.985, "", transform=axes.transAxes, ha="right", va="top", fontsize=13),
    )
    note.set_text("line: the middle year · dark: half of the years · pale: 8 of 10 years")
    if season is not None:
        ahead = (season - first_day[0]) % 12 or 12
        begins = np.datetime64(f"{YEAR}-{first_day[0]:02d}-01")
        at = (begins.astype("datetime64[M]") + ahead).astype("datetime64[D]") - begins - (first_day[1] - 1)
        line = keep(axes, "dry season ends", lambda: axes.plot([], [], color=STONE, linewidth=1.4)[0])
        line.set_data([int(at.astype(int))] * 2, [0.0, size])
        said = keep(
            axes, "season-words", lambda: axes.text(0, 0, "", rotation=90, va="top", fontsize=12, color=STONE)
        )
        said.set_text("dry season ends")
        said.set_position((int(at.astype(int)) - 3, 0.9 * size))
        said.set_ha("right")
    if getattr(axes, "first_day", None) != first_day:
        _months(axes, first_day, int(lead[-1]))
        axes.first_day = first_day
    axes.set_ylim(0, top)
    return figure


def chances_figure(found: xr.Dataset, first_day: tuple[int, int], figure: Figure | None = None) -> Figure:
    """Draw the chance of running dry by each date under each plan, and from each reading of the gauge.

    Parameters
    ----------
    found : Dataset
        As `rainharvest.study.drought_outlook.looked_ahead`.
    first_day : tuple of int
        Month and day of today.
    figure : Figure, optional
        A figure that this function made before.

    Returns
    -------
    Figure
        Left a line a plan; right a line for each time within which it may run dry.
    """
    if figure is None:
        figure, pair = new_figure(
            "The chance of running dry, by date", height=4.2, ncols=2, sharey=True, width_ratios=[1.5, 1]
        )
        pair[0].set_ylabel(label("dry_chance", "%"))
        pair[0].set_xlabel("First day of the month")
        pair[0].set_ylim(0, 138)  # room above for what the lines are
        pair[0].set_yticks(range(0, 101, 20))
        pair[1].set_title("and by gauge reading")
        pair[1].set_xlabel(label("gauge", "kL"))
    left, right = figure.axes
    lead = np.concatenate([[0.0], found.lead.values])
    looks = (
        (OCHRE, 3.4, "-"),
        (BRICK, 2.2, "-"),
        (DEEP, 2.2, DASHES[1]),
        (STONE, 2.2, DASHES[2]),
        (INK, 2.0, DASHES[3]),
    )
    chance = 100 * found.dry_chance.values
    for k, plan in enumerate(found.plan.values):
        colour, width, dash = looks[k % len(looks)]
        line = keep(
            left,
            str(plan),
            lambda c=colour, w=width, d=dash, p=str(plan): left.plot(
                [], [], color=c, linewidth=w, linestyle=d, label=p
            )[0],
        )
        line.set_data(lead, np.concatenate([[0.0], chance[k]]))
    if left.get_legend() is None:
        left.legend(loc="upper left", fontsize=12, frameon=False, ncols=2)
    if getattr(left, "first_day", None) != first_day:
        _months(left, first_day, int(lead[-1]))
        left.first_day = first_day
    gauge = found.gauge.values / 1000
    for k, within in enumerate(found.within.values):
        line = keep(
            right,
            f"within {within} days",
            lambda k=k: right.plot(
                [], [], color=(BRICK, DEEP, STONE)[k % 3], linestyle=DASHES[k % 3], marker="o", ms=4
            )[0],
        )
        values = 100 * found.level_chance.values[:, k]
        line.set_data(gauge, values)
    if right.get_legend() is None:
        right.legend(
            right.get_lines(),
            [f"within {d} days" for d in found.within.values],
            fontsize=12,
            frameon=False,
            loc="upper left",
            ncols=2,
            columnspacing=1.0,
        )
    now = keep(right, "today", lambda: right.plot([], [], color=OCHRE, linewidth=2.4, label="today")[0])
    now.set_data([found.attrs["start"] / 1000] * 2, [0.0, 100.0])
    right.set_xlim(0, rounded_up(found.attrs["capacity"] / 1000))
    return figure


def reliability_figure(found: xr.Dataset, figure: Figure | None = None) -> Figure:
    """Draw whether the outlook is honest: stated chances against what happened, and what its band held.

    Parameters
    ----------
    found : Dataset
        As `rainharvest.study.drought_outlook.honesty_of`.
    figure : Figure, optional
        A figure that this function made before.

    Returns
    -------
    Figure
        Left the reliability diagram, a bar where 19 in 20 points should lie; right the share of outcomes
        inside the 80 percent band at each lead.
    """
    if figure is None:
        figure, pair = new_figure("Is the outlook honest?", height=4.6, ncols=2)
        pair[0].set_xlabel(label("said_dry", "%"))
        pair[0].set_ylabel(label("seen_share", "%"))
        pair[0].set_xlim(-2, 102)
        pair[0].set_ylim(-2, 102)
        pair[1].set_title("what its band held")
        pair[1].set_xlabel(label("lead", "days"))
        pair[1].set_ylabel(label("band_share", "%"))
        pair[1].set_ylim(0, 102)
    left, right = figure.axes
    keep(
        left,
        "honest",
        lambda: left.plot([0, 100], [0, 100], color=STONE, linestyle=DASHES[1], linewidth=1.6)[0],
    )
    said, seen = 100 * found.said_chance.values, 100 * found.seen_share.values
    bars = keep(left, "expected 19 times in 20", lambda: left.vlines([0], [0], [0], color=MIST, linewidth=9))
    ends = zip(said, 100 * found.seen_low.values, 100 * found.seen_high.values, strict=True)
    bars.set_segments([[(x, a), (x, b)] for x, a, b in ends])
    keep(
        left, "happened", lambda: left.plot([], [], "o", ms=9, color=DEEP, mec="white", zorder=4)[0]
    ).set_data(said, seen)
    note = keep(
        left, "note", lambda: left.text(0.04, 0.97, "", transform=left.transAxes, va="top", fontsize=13)
    )
    note.set_text("points on the line:\nthe chances stated are true")
    keep(right, "wanted", lambda: right.axhline(80, color=STONE, linestyle=DASHES[1], linewidth=1.6))
    keep(right, "inside", lambda: right.plot([], [], "o-", color=DEEP, ms=8)[0]).set_data(
        found.score_lead.values, 100 * found.band_share.values
    )
    right.set_xlim(0, float(found.score_lead.max()) * 1.03)
    words = keep(right, "words", lambda: right.text(0.04, 0.06, "", transform=right.transAxes, fontsize=13))
    words.set_text("dashed: 80 %. Above it where the tank\nis often full or empty.")
    return figure
