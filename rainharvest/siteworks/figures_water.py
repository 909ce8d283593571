"""Figures of the water that leaves the site: soakaway, storms, pump."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import xarray as xr

from rainharvest.core.quantities import label
from rainharvest.core.reader import date, in_units, large_volume, measure, number
from rainharvest.core.style import BRICK, DEEP, INK, MIST, OCHRE, STONE, keep, new_figure, rounded_up

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from rainharvest.siteworks.facts import PumpWorks


DURATIONS = {5: "5 min", 15: "15 min", 60: "1 h", 240: "4 h", 1440: "24 h"}

"""Marks on the axis of durations."""

MOST_BARS = 16


def soakaway_figure(soakaway: xr.Dataset | None, figure: Figure | None = None) -> Figure:
    """Draw what a soakaway must hold by the duration of the storm, and what it holds."""
    scale, unit = large_volume()
    if figure is None:
        figure, axes = new_figure("What the soakaway must hold", height=4.2)
        axes.set_xscale("log")
        axes.set_xlim(3.6, 2200)
        axes.set_xticks(list(DURATIONS), list(DURATIONS.values()))
        axes.minorticks_off()
        axes.set_xlabel("Duration of the storm")
        axes.set_ylabel(label("storage_required", unit))
        axes.grid(axis="x", visible=False)
    axes = figure.axes[0]
    none = soakaway is None
    minutes = np.array([]) if none else soakaway.storm_minutes.values
    needed = np.array([]) if none else soakaway.storage_required.values / scale
    holds = 0.0 if none else float(soakaway.soakaway_holds) / scale
    top = rounded_up(1.32 * max(holds, *needed, 0.0) if len(needed) else 1.0)
    axes.set_ylim(0, top)
    stems = keep(axes, "stems", lambda: axes.plot([], [], color=DEEP, linewidth=14, solid_capstyle="butt")[0])
    stems.set_data(
        np.repeat(minutes, 3),
        np.column_stack([0 * needed, needed, np.nan + needed]).ravel() if len(needed) else [],
    )
    line = keep(axes, "holds", lambda: axes.axhline(0, color=OCHRE, linewidth=2.6, linestyle=(0, (6, 3))))
    line.set_ydata([holds] * 2)
    line.set_visible(not none)
    words = keep(
        axes,
        "holds-words",
        lambda: axes.text(
            0.99, 0.985, "", transform=axes.transAxes, ha="right", va="top", fontsize=14, fontweight="bold"
        ),
    )
    words.set_text("" if none else f"dashed: it holds {measure(holds * scale, 'L', 2)}")
    last = 0.0
    for k in range(MOST_BARS):
        there = k < len(minutes)
        text = keep(
            axes,
            f"rain-{k}",
            lambda: axes.text(
                0, 0, "", ha="center", va="bottom", fontsize=11.5, color=STONE, in_layout=False
            ),
        )
        if there and minutes[k] >= 1.9 * last:  # neighbours closer than that would overlap
            text.set_text(measure(float(soakaway.storm_depth[k]), "mm", 2))
            last = minutes[k]
        else:
            text.set_text("")
        clear = needed[k] if there and needed[k] < holds - 0.09 * top else holds
        text.set_position((minutes[k] if there else 10.0, (clear if there else 0.0) + 0.012 * top))
    empty = keep(
        axes,
        "none",
        lambda: axes.text(
            0.5, 0.5, "no soakaway", transform=axes.transAxes, ha="center", fontsize=18, color=BRICK
        ),
    )
    empty.set_visible(none)
    return figure


MOST_STORMS = 10


def storms_figure(storms: xr.Dataset, figure: Figure | None = None) -> Figure:
    """Draw how full the tank was before each of the biggest storms, and what each brought and spilled."""
    scale, unit = large_volume()
    if figure is None:
        figure, drawn = new_figure("The tank the evening before", height=5.2, ncols=2, sharey=True)
        drawn[0].set_xlim(0, 100)
        drawn[0].set_xlabel(label("full_before", "%"))
        drawn[1].set_xlabel(f"{label('storm_inflow', unit)[:-1]} that day)")
        drawn[0].set_ylim(MOST_STORMS - 0.4, -0.6)
        for axes in drawn:
            axes.grid(axis="y", visible=False)
    left, right = figure.axes
    keep(
        right, "title", lambda: right.set_title("The storm: kept and spilled", fontweight="bold", loc="left")
    )
    count = storms.sizes["storm"]
    came, spilled = storms.storm_inflow.values / scale, storms.storm_spilled.values / scale
    most = rounded_up(1.02 * float(came.max())) if count else 1.0
    right.set_xlim(0, most)
    names = [date(day) for day in storms.storm_day.values]
    names += [""] * (MOST_STORMS - count)
    if [tick.get_text() for tick in left.get_yticklabels()] != names:
        left.set_yticks(range(MOST_STORMS), names)
    for k in range(MOST_STORMS):
        there = k < count
        full = float(storms.full_before[k]) * 100 if there else 0.0
        keep(left, f"full-{k}", lambda k=k: left.barh(k, 0, 0.62, color=MIST)[0]).set_width(full)
        kept = came[k] - min(spilled[k], came[k]) if there else 0.0
        keep(right, f"kept-{k}", lambda k=k: right.barh(k, 0, 0.62, color=DEEP)[0]).set_width(kept)
        ran = keep(
            right, f"ran-{k}", lambda k=k: right.barh(k, 0, 0.62, color=MIST, edgecolor=STONE, hatch="///")[0]
        )
        ran.set_x(kept)
        ran.set_width(came[k] - kept if there else 0.0)
        text = keep(left, f"full-words-{k}", lambda k=k: left.text(0, k, "", va="center", fontsize=13))
        text.set_text(f"{full:.0f} %" if there else "")
        text.set_position((full - 1.5 if full > 85 else full + 1.0, k))
        text.set_ha("right" if full > 85 else "left")
    _key(right)
    return figure


def _key(axes) -> None:
    """Say which bar is which, once."""
    handles = [keep(axes, "kept-0", dict), keep(axes, "ran-0", dict)]
    keep(
        axes,
        "key",
        lambda: axes.legend(handles, ["kept", "spilled"], loc="lower right", frameon=False, fontsize=14),
    )


def pump_figure(pump: PumpWorks, figure: Figure | None = None) -> Figure:
    """Draw the pump's curve and the pipe's, and the duty point where they meet."""
    litre, flow_unit = in_units(1.0, "L/s")
    metre, head_unit = in_units(1.0, "m")
    if figure is None:
        figure, axes = new_figure("Where pump and pipe meet", height=4.4)
        axes.set_xlabel(label("duty_flow", flow_unit))
        axes.set_ylabel(f"Head ({head_unit})")
    axes, curves, duty = figure.axes[0], pump.curves, pump.duty
    flow = litre * curves.flow.values
    give, ask = metre * curves.pump_head.values, metre * curves.system_head.values
    wide, tall = rounded_up(1.05 * float(flow[-1])), rounded_up(1.15 * float(give[0]))
    axes.set_xlim(0, wide)
    axes.set_ylim(0, tall)
    for name, values, look in (
        ("pump", give, {"color": DEEP, "linewidth": 3.2}),
        ("pipe", ask, {"color": STONE, "linewidth": 3.2, "linestyle": (0, (6, 2))}),
    ):
        keep(axes, name, lambda look=look: axes.plot([], [], **look)[0]).set_data(flow, values)
    point = keep(
        axes, "duty", lambda: axes.plot([], [], "o", ms=12, color=OCHRE, mec=INK, mew=1.6, zorder=5)[0]
    )
    point.set_data([litre * duty.flow], [metre * duty.duty_head])
    lift = keep(axes, "lift", lambda: axes.axhline(0, color=STONE, linewidth=1.2, linestyle=(0, (2, 3))))
    lift.set_ydata([metre * pump.rise.lift] * 2)
    said = {
        "pump-words": (flow[4], give[4] + 0.03 * tall, "the pump gives", "left"),
        "pipe-words": (0.01 * wide, ask[0] - 0.05 * tall, "the pipe asks for", "left"),
        "duty-words": (
            0.985 * wide,
            0.93 * tall,
            f"they meet at {measure(duty.flow, 'L/s', 2)}, {measure(duty.duty_head, 'm', 2)}: "
            f"{number(duty.electric_power, 2)} W",
            "right",
        ),
        "lift-words": (0.99 * wide, metre * pump.rise.lift + 0.015 * tall, "lift alone", "right"),
    }
    for name, (x, y, text, ha) in said.items():
        words = keep(axes, name, lambda: axes.text(0, 0, "", fontsize=14, zorder=6, in_layout=False))
        words.set_position((x, y))
        words.set_text(text)
        words.set_ha(ha)
    keep(axes, "duty-words", dict).set_fontweight("bold")
    return figure
