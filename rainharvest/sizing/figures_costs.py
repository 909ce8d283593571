"""Figures of cost, and of the short ways held to account."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import xarray as xr

from rainharvest.core.quantities import QUANTITIES, label
from rainharvest.core.style import (
    BRICK,
    DASHES,
    DEEP,
    INK,
    MIST,
    OCHRE,
    STONE,
    STYLE,
    new_figure,
    round_ticks,
    rounded_up,
)

if TYPE_CHECKING:
    from matplotlib.figure import Figure


PARTS = (("capital", DEEP, ""), ("replacements", OCHRE, "//"), ("running", MIST, ".."))


def front_figure(group: xr.Dataset, measure: str, target: float, marked: int | None = None) -> Figure:
    """Draw what the tanks on offer cost a year against what they supply."""
    from matplotlib import rc_context

    figure, axes = new_figure("What reliability costs: the tanks on offer", height=4.6)
    cost, worth = group.option_annual.values, 100 * group.option_reliability.values
    front = group.option_efficient.values.astype(bool)
    currency = group.attrs["currency"]
    with rc_context(STYLE):
        axes.axhline(100 * target, color=STONE, linestyle=(0, (6, 3)), linewidth=1.8)
        axes.text(
            0.995,
            100 * target - 1.0,
            f"target {100 * target:.0f} %",
            transform=axes.get_yaxis_transform(),
            va="top",
            ha="right",
            color=STONE,
        )
        order = np.flatnonzero(front)[np.argsort(cost[front])]
        axes.plot(cost[order], worth[order], "-", color=DEEP, lw=1.8, zorder=2)
        axes.plot(cost[front], worth[front], "o", ms=8, color=DEEP, zorder=3, gid="on the front")
        axes.plot(cost[~front], worth[~front], "x", ms=8, mew=2, color=BRICK, zorder=3, gid="bettered")
        if marked is not None:
            axes.plot([cost[marked]], [worth[marked]], "o", ms=14, mec=INK, mew=1.5, color=OCHRE, zorder=4)
            axes.annotate(
                f"{group.option.values[marked]}: {float(f'{cost[marked]:.2g}'):,g} {currency} a year",
                (cost[marked], worth[marked]),
                (0.98, 0.30),
                textcoords="axes fraction",
                ha="right",
                fontweight="bold",
                arrowprops={"arrowstyle": "-", "color": INK, "lw": 1.0, "shrinkB": 8},
            )
        axes.text(
            0.98,
            0.05,
            "dots: nothing else does as well for less   crosses: bettered",
            transform=axes.transAxes,
            ha="right",
            fontsize=13,
        )
        axes.set_xlim(0, None)
        axes.set_ylim(max(0, min(worth.min() - 5, 100 * target - 20)), 103)
        axes.set_xlabel(f"{QUANTITIES['annual'].long_name} ({currency})")
        axes.set_ylabel(f"{QUANTITIES[measure].long_name} (%)")
    return figure


def money_figure(group: xr.Dataset, picked: list[int]) -> Figure:
    """Draw what a few combinations cost over the years, by what it goes into, beside what they save."""
    from matplotlib import rc_context

    figure, axes = new_figure("Present worth over the years", height=1.8 + 0.72 * len(picked))
    some = group.isel(option=picked)
    rows = np.arange(len(picked))
    currency = group.attrs["currency"]
    with rc_context(STYLE):
        base = np.zeros(len(picked))
        for name, colour, hatch in PARTS:
            width = some[f"option_{name}"].values
            axes.barh(
                rows - 0.2,
                width,
                0.36,
                left=base,
                color=colour,
                hatch=hatch,
                edgecolor="white",
                label=QUANTITIES[name].long_name.lower(),
                gid=name,
            )
            base = base + width
        saved = some.option_net_present_value.values + base - some.option_residual.values
        look = {"color": "white", "edgecolor": DEEP, "lw": 1.5}
        axes.barh(rows + 0.2, saved, 0.36, **look, label="mains water saved", gid="mains water saved")
        for k in rows:
            value = float(some.option_net_present_value[k])
            sign = "+" if value >= 0 else "\N{MINUS SIGN}"
            place = max(base[k], saved[k])
            axes.text(
                place * 1.01, k, f"  {sign}{abs(float(f'{value:.2g}')):,.0f}", va="center", fontweight="bold"
            )
        axes.set_yticks(rows, [str(words) for words in some.option.values])
        axes.invert_yaxis()
        axes.set_xlim(0, rounded_up(1.18 * max(base.max(), saved.max(), 1.0)))
        axes.set_xlabel(f"{currency}; in bold the net present value")
        axes.grid(axis="y", visible=False)
        axes.legend(loc="upper center", bbox_to_anchor=(0.45, -0.28), ncols=4, frameon=False, fontsize=13)
    return figure


WHITE = {"facecolor": "white", "edgecolor": "none", "pad": 0.5}


def shortcuts_figure(group: xr.Dataset, measure: str, target: float) -> Figure:
    """Draw what each short way recommends, and what that tank would really have supplied."""
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
    """Draw how far each rule of spillage is off at a daily step."""
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
