"""Figures of the gauge outlook and the caretaker's card."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import xarray as xr

from rainharvest.core.quantities import label
from rainharvest.core.style import BRICK, DASHES, DEEP, INK, MIST, OCHRE, STONE, keep, new_figure, rounded_up

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
    """Draw what the tank may hold from today on."""
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
    """Draw the chance of running dry by each date under each plan, and from each reading of the gauge."""
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
    """Draw whether the outlook is honest: stated chances against what happened, and what its band held."""
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


MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")

LOOKS = (("#ffffff", None), ("#ffffff", "//"), ("#d0d0d0", "xxx"), ("#9a9a9a", "***"))

HELP = ("#000000", None)


def card_figure(plan: xr.Dataset, actions: list[str], figure: Figure | None = None) -> Figure:
    """Draw the card: a column a month, the gauge upwards, a pattern for each thing to do."""
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
    """Draw every plan tried: what it keeps against what it cuts."""
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
