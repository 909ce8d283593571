"""Figures of the site: the tank to scale, the run, the gauge, the soakaway, the storms, the pump."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import xarray as xr

from rainharvest.catchment.figures import GROUND, draw_run
from rainharvest.core.quantities import label
from rainharvest.core.reader import date, in_units, large_volume, measure, number
from rainharvest.core.style import (
    BRICK,
    DEEP,
    INK,
    MIST,
    OCHRE,
    STONE,
    draw_box,
    draw_line,
    draw_polygon,
    draw_says,
    keep,
    new_figure,
    rounded_up,
)
from rainharvest.core.text import texts_of

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from rainharvest.catchment.hydraulics import Levels
    from rainharvest.siteworks.base import Vessel
    from rainharvest.siteworks.delivery import PumpWorks
    from rainharvest.siteworks.facts import Works

SAY = texts_of("siteworks")

SLAB = "#b9b9b4"

"""Concrete, and nothing else."""


def _draw_level(axes: Axes, name: str, level: float, **look) -> None:
    """Draw a level line across, or move it."""
    keep(axes, name, lambda: axes.axhline(0, **look)).set_ydata([level] * 2)


def _colour(axes: Axes, name: str, right: bool) -> None:
    """Show words or an outline as right or as wrong."""
    artist = keep(axes, name, dict)
    getattr(artist, "set_edgecolor", artist.set_color)(INK if right else BRICK)


def tank_figure(works: Works, figure: Figure | None = None) -> Figure:
    """Draw the tank, its base, tap, bucket, overflow and pump to one scale, upright and along."""
    if figure is None:
        figure, axes = new_figure("The tank on its base, to scale", height=4.8)
        axes.set_aspect("equal", adjustable="box", anchor="W")
        axes.grid(visible=False)
    axes = figure.axes[0]
    metre, unit = in_units(1.0, "m")
    axes.set_xlabel(f"Along ({unit})")
    axes.set_ylabel(f"Above the ground ({unit})")
    vessel, floor = works.vessel, works.floor_height
    wide = vessel.height if vessel.form == "horizontal" else vessel.tank_length
    high = floor + vessel.height
    if works.pump:
        high = max(high, min(works.site.pump.highest_tap, high + 3.0))
    # Room for words goes by a step of a fortieth of the width, so that a large tank leaves as much as a small one;
    # the step seldom moves, so that a slider seldom makes the layout anew.
    step = rounded_up(max(wide / 14, high / 9.2, 0.15))
    left, right, deep = -9 * step, 31 * step, -3.6 * step
    axes.set_xlim(metre * left, metre * right)
    axes.set_ylim(metre * deep, metre * (step * np.ceil(high / step + 2)))
    ground = keep(axes, "ground", lambda: axes.fill_between([], [], color=GROUND, alpha=0.55, linewidth=0))
    ground.set_data(metre * np.array([left, right]), np.full(2, metre * deep), np.zeros(2))
    _draw_base(axes, works, wide, metre)
    place = metre * (left + 0.6 * step), metre * (deep + 0.8 * step)
    draw_says(axes, "pressure", place, SAY.pressure(works), fontweight="bold")
    _colour(axes, "pressure", not works.base.engineer)
    _draw_vessel(axes, vessel, floor, wide, step, metre)
    _draw_tap(axes, works, step, metre)
    _draw_overflow(axes, works, wide, step, metre)
    _draw_pump(axes, works, wide, high, step, metre)
    return figure


def _draw_base(axes: Axes, works: Works, wide: float, metre: float) -> None:
    """Draw slab and stand."""
    base, floor = works.base, works.floor_height
    over = (base.slab_length - works.vessel.tank_length) / 2
    slab = draw_box(-over, wide + over, 0.0, base.slab_thickness, metre) if base.slab_thickness else []
    draw_polygon(axes, "slab", slab, facecolor=SLAB, edgecolor=INK, linewidth=1.4, zorder=3)
    legs = np.linspace(0.06, wide - 0.06, max(2, int(np.ceil(wide / 1.5)) + 1)) if base.stand > 0 else []
    posts = [p for x in legs for p in ((x, base.slab_thickness), (x, floor - 0.06), (np.nan, np.nan))]
    draw_line(axes, "legs", metre * np.array(posts), color=INK, linewidth=4, zorder=3)
    deck = draw_box(-0.05, wide + 0.05, floor - 0.08, floor, metre) if base.stand > 0 else []
    draw_polygon(axes, "deck", deck, facecolor=STONE, edgecolor=INK, linewidth=1.2, zorder=3)


def _draw_vessel(axes: Axes, vessel: Vessel, floor: float, wide: float, step: float, metre: float) -> None:
    """Draw the tank, its water to the overflow, and what stands below the outlet."""
    looks = {
        "body": (vessel.height, {"facecolor": "white", "edgecolor": INK, "linewidth": 2.2, "zorder": 4}),
        "water": (vessel.overflow_mark, {"facecolor": MIST, "linewidth": 0, "alpha": 0.75, "zorder": 5}),
        "dead": (vessel.outlet_mark, {"facecolor": DEEP, "linewidth": 0, "alpha": 0.55, "zorder": 5}),
    }
    radius = vessel.height / 2
    for name, (level, look) in looks.items():
        shape = draw_box(0.0, wide, floor, floor + level, metre)
        if vessel.form == "horizontal":
            reach = np.arccos(np.clip(1 - level / radius, -1, 1))
            turn = np.linspace(-reach, reach, 91) - np.pi / 2
            across, up = radius + radius * np.cos(turn), floor + radius + radius * np.sin(turn)
            shape = metre * np.column_stack([across, up])
        draw_polygon(axes, name, shape, **look)
    inside = wide > 5 * step
    middle, above = metre * (floor + vessel.middle), metre * (floor + vessel.height + 0.7 * step)
    draw_says(
        axes,
        "holds",
        (metre * wide / 2, middle) if inside else (0.0, above),
        measure(vessel.capacity / vessel.tanks, "L", 2) + (" each" if vessel.tanks > 1 else ""),
        ha="center" if inside else "left",
        fontweight="bold",
    )


def _draw_tap(axes: Axes, works: Works, step: float, metre: float) -> None:
    """Draw the tap on the left, with the bucket that must stand under it."""
    tap, site = works.tap, works.site
    out, mark = -0.35, works.floor_height + works.vessel.outlet_mark
    path = metre * np.array([(0.0, mark), (out, mark), (out, tap.tap_height)])
    draw_line(axes, "tap", path, color=DEEP, linewidth=4, zorder=6)
    draw_line(axes, "mouth", path[-1:], marker="v", linestyle="none", ms=9, color=DEEP, zorder=7)
    half = 0.14 * max(site.bucket / 20.0, 0.2) ** 0.5
    bucket = draw_box(out - half, out + half, 0.0, site.bucket_height, metre)
    draw_polygon(axes, "bucket", bucket, facecolor="white", edgecolor=INK, linewidth=1.8, zorder=5)
    _colour(axes, "bucket", works.bucket_fits)
    lines = [f"tap {measure(tap.tap_height, 'm', 2)} up"]
    lines += [measure(float(works.gauge.tap_flow[-1]), "L/s", 2)]
    lines += [] if works.bucket_fits else ["bucket does not fit"]
    place = metre * (out - half - 0.4 * step), metre * max(tap.tap_height, site.bucket_height, 0.3)
    draw_says(axes, "tap-words", place, "\n".join(lines), ha="right", va="bottom")
    _colour(axes, "tap-words", works.bucket_fits)


def _draw_overflow(axes: Axes, works: Works, wide: float, step: float, metre: float) -> None:
    """Draw the overflow on the right, down to the ground and away."""
    vessel, pipe = works.vessel, works.overflow
    level = works.floor_height + vessel.overflow_mark
    rim = wide
    if vessel.form == "horizontal":
        radius = vessel.height / 2
        rim = radius + float(np.sqrt(max(radius**2 - (vessel.overflow_mark - radius) ** 2, 0.0)))
    path = [(rim, level), (wide + step, level), (wide + step, -step), (wide + 4 * step, -1.3 * step)]
    draw_line(axes, "overflow", metre * np.array(path), color=OCHRE, linewidth=5, zorder=6)
    keep(axes, "overflow", dict).set_color(BRICK if pipe is None else OCHRE)
    text = "no overflow fits" if works.peak else "overflow"
    if pipe is not None:
        many = f"{pipe.pipes} x " if pipe.pipes > 1 else ""
        text = (
            f"overflow {many}{measure(pipe.overflow_bore, 'mm', 3)}\npasses {measure(pipe.passes, 'L/s', 2)}"
        )
    side = "top" if level > 3.1 * step else "bottom"  # clear of the pump
    draw_says(axes, "overflow-words", (metre * (wide + 1.5 * step), metre * level), text, va=side)
    _colour(axes, "overflow-words", pipe is not None or not works.peak)
    way = metre * (wide + 4.3 * step), metre * -1.3 * step
    draw_says(axes, "way", way, f"to the {works.site.overflow_to}")


def _draw_pump(axes: Axes, works: Works, wide: float, high: float, step: float, metre: float) -> None:
    """Draw the pump beside the tank and its pipe up to the highest tap; nothing without one."""
    pump, floor = works.pump, works.floor_height
    x, y, up = wide + 3 * step, 0.6 * step, wide + 10 * step
    mark, wanted = floor + works.vessel.outlet_mark, works.site.pump.highest_tap if pump else 0.0
    tap = min(wanted, high)
    level = floor + (pump.stop_level if pump else 0.0)
    text = ""
    if pump:
        lines = ["highest tap", f"{measure(wanted, 'm', 2)} up"]
        lines += ["(not to scale)"] if tap < wanted else []
        text = "\n".join([*lines, f"{number(pump.duty.electric_power, 2)} W"])

    def draw(name: str, *points: tuple[float, float], **look) -> None:
        draw_line(axes, name, metre * np.array(points) if pump else [], **look)

    draw("rising", (wide, mark), (x, mark), (x, y), (up, y), (up, tap), color=DEEP, linewidth=3, zorder=6)
    body = {"ms": 20, "mfc": "white", "mec": INK, "mew": 2.4, "zorder": 7}
    draw("pump", (x, y), marker="o", linestyle="none", **body)
    draw("highest", (up, tap), marker="^", linestyle="none", ms=10, color=DEEP, zorder=7)
    draw_says(axes, "pump-words", (metre * (up + 0.6 * step), metre * max(tap, 3.5 * step)), text, va="top")
    dashed = {"color": BRICK, "linewidth": 2, "linestyle": (0, (3, 2)), "zorder": 6}
    draw("stop", (0.0, level), (wide, level), **dashed)


def run_figure(levels: Levels, vessel: Vessel, floor_height: float, figure: Figure | None = None) -> Figure:
    """Draw the run from the roof to the tank, with the tank in its own height and width."""
    if figure is None:
        figure, axes = new_figure("", height=3.8)
        axes.set_xlabel("Along the ground (m)")
        axes.set_ylabel("Above the tank's floor (m)")
        axes.grid(visible=False)
    axes, run = figure.axes[0], levels.conveyance
    low = min(-0.5, *(point[1] for point in levels.pipe))
    high = max(run.outlet_level, run.inlet_level, vessel.height)
    across = rounded_up(max(1.15 * (run.run + vessel.tank_length), 8.0))
    axes.set_xlim(-0.3 * across, across)
    bottom = -rounded_up(max(-low, floor_height) + 0.3)
    # a quarter of the height is kept for the words above the gutter
    axes.set_ylim(bottom, rounded_up(max(high + 1.6, (high - 0.25 * bottom) / 0.75)))
    tank = (vessel.tank_length, vessel.height, vessel.overflow_mark, floor_height)
    draw_run(axes, "From the roof to the tank", levels, across, tank)
    return figure


SHARES = (0.25, 0.5, 0.75, 1.0)

"""Marks of the gauge."""


def gauge_figure(works: Works, figure: Figure | None = None) -> Figure:
    """Draw what the gauge says: litres and days by level, and beside it how long a bucket takes."""
    scale, unit = large_volume()
    metre, length = in_units(1.0, "m")
    if figure is None:
        figure, drawn = new_figure(
            "What the gauge says", height=4.6, ncols=2, sharey=True, width_ratios=(3, 2)
        )
        drawn[0].set_xlabel(label("litres_to_draw", unit))
        drawn[1].set_xlabel(label("seconds_to_fill"))
        drawn[0].set_ylabel(label("water_level", length))
        drawn[1].set_xscale("log")
        drawn[1].set_xlim(5, 1200)
        ticks = (10, 30, 100, 300, 1000)
        drawn[1].set_xticks(ticks, [number(tick) for tick in ticks])
        drawn[1].minorticks_off()
    left, right = figure.axes
    keep(right, "title", lambda: right.set_title("At the tap", fontweight="bold", loc="left"))
    gauge, vessel = works.gauge, works.vessel
    level, draw = metre * gauge.water_level.values, gauge.litres_to_draw.values / scale
    full, lasts = float(draw[-1]), float(gauge.days_of_supply[-1])
    most = rounded_up(1.25 * full)
    left.set_xlim(0, most)
    left.set_ylim(0, metre * rounded_up(1.02 * vessel.height))
    draw_line(left, "litres", np.column_stack([draw, level]), color=DEEP, linewidth=3.2, zorder=4)
    dead = keep(left, "dead", lambda: left.fill_between([], [], color=STONE, alpha=0.35, linewidth=0))
    dead.set_data(np.array([0.0, most]), np.zeros(2), np.full(2, metre * vessel.outlet_mark))
    marks = {"outlet": metre * vessel.outlet_mark, "overflow": metre * vessel.overflow_mark}
    for axes in (left, right):
        for name, mark in marks.items():
            _draw_level(axes, name, mark, color=STONE, linewidth=1.4, linestyle=(0, (4, 3)))
    for name, mark in marks.items():
        draw_says(left, f"{name}-words", (0.985 * most, mark), name, ha="right", va="bottom", color=STONE)
    at = np.interp(np.array(SHARES) * full, draw, level)
    dots = np.column_stack([np.array(SHARES) * full, at])
    draw_line(left, "dots", dots, marker="o", linestyle="none", ms=9, color=OCHRE, mec=INK, zorder=5)
    for k, (share, y) in enumerate(zip(SHARES, at, strict=True)):
        place = share * full - 0.015 * most, y
        draw_says(left, f"days-{k}", place, f"{number(share * lasts, 2)} days", ha="right", va="bottom")
    seconds = gauge.seconds_to_fill.values
    ok = np.isfinite(seconds)
    fills = np.column_stack([seconds[ok], level[ok]])
    draw_line(right, "seconds", fills, color=DEEP, linewidth=3.2, zorder=4)
    return figure


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
    axes, none = figure.axes[0], soakaway is None
    minutes = np.array([]) if none else soakaway.storm_minutes.values
    needed = np.array([]) if none else soakaway.storage_required.values / scale
    holds = 0.0 if none else float(soakaway.soakaway_holds) / scale
    top = rounded_up(1.32 * max(holds, *needed, 0.0) if len(needed) else 1.0)
    axes.set_ylim(0, top)
    ends = np.column_stack([0 * needed, needed, np.nan + needed]).ravel()
    stems = np.column_stack([np.repeat(minutes, 3), ends])
    draw_line(axes, "stems", stems, color=DEEP, linewidth=14, solid_capstyle="butt")
    _draw_level(axes, "holds", holds, color=OCHRE, linewidth=2.6, linestyle=(0, (6, 3)))
    keep(axes, "holds", dict).set_visible(not none)
    inside = {"transform": axes.transAxes}
    bold = {"ha": "right", "va": "top", "fontsize": 14, "fontweight": "bold"}
    words = keep(axes, "holds-words", lambda: axes.text(0.99, 0.985, "", **inside, **bold))
    words.set_text("" if none else f"dashed: it holds {measure(holds * scale, 'L', 2)}")
    small = {"ha": "center", "va": "bottom", "fontsize": 11.5, "color": STONE, "in_layout": False}
    last = 0.0
    for k in range(MOST_BARS):
        there = k < len(minutes)
        text = keep(axes, f"rain-{k}", lambda: axes.text(0, 0, "", **small))
        shown = there and minutes[k] >= 1.9 * last  # neighbours closer than that would overlap
        text.set_text(measure(float(soakaway.storm_depth[k]), "mm", 2) if shown else "")
        last = minutes[k] if shown else last
        clear = needed[k] if there and needed[k] < holds - 0.09 * top else holds
        text.set_position((minutes[k] if there else 10.0, (clear if there else 0.0) + 0.012 * top))
    large = {"ha": "center", "fontsize": 18, "color": BRICK}
    empty = keep(axes, "none", lambda: axes.text(0.5, 0.5, "no soakaway", **inside, **large))
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
    right.set_xlim(0, rounded_up(1.02 * float(came.max())) if count else 1.0)
    names = [date(day) for day in storms.storm_day.values] + [""] * (MOST_STORMS - count)
    if [tick.get_text() for tick in left.get_yticklabels()] != names:
        left.set_yticks(range(MOST_STORMS), names)
    for k in range(MOST_STORMS):
        there = k < count
        full = float(storms.full_before[k]) * 100 if there else 0.0
        _bar(left, f"full-{k}", k, 0.0, full, color=MIST)
        kept = came[k] - min(spilled[k], came[k]) if there else 0.0
        _bar(right, f"kept-{k}", k, 0.0, kept, color=DEEP)
        _bar(
            right,
            f"ran-{k}",
            k,
            kept,
            came[k] - kept if there else 0.0,
            color=MIST,
            edgecolor=STONE,
            hatch="///",
        )
        text = keep(left, f"full-words-{k}", lambda k=k: left.text(0, k, "", va="center", fontsize=13))
        text.set_text(f"{full:.0f} %" if there else "")
        text.set_position((full - 1.5 if full > 85 else full + 1.0, k))
        text.set_ha("right" if full > 85 else "left")
    bars = [keep(right, name, dict) for name in ("kept-0", "ran-0")]
    look = {"loc": "lower right", "frameon": False, "fontsize": 14}
    keep(right, "key", lambda: right.legend(bars, ["kept", "spilled"], **look))
    return figure


def _bar(axes: Axes, name: str, place: float, start: float, length: float, **look) -> None:
    """Draw a bar across, or move it."""
    bar = keep(axes, name, lambda: axes.barh(place, 0, 0.62, **look)[0])
    bar.set_x(start)
    bar.set_width(length)


def pump_figure(pump: PumpWorks, figure: Figure | None = None) -> Figure:
    """Draw the pump's curve and the pipe's, and the duty point where they meet."""
    litre, flow_unit = in_units(1.0, "L/s")
    metre, head_unit = in_units(1.0, "m")
    if figure is None:
        figure, axes = new_figure("Where pump and pipe meet", height=4.4)
        axes.set_xlabel(label("duty_flow", flow_unit))
        axes.set_ylabel(f"Head ({head_unit})")
    axes, curves, duty = figure.axes[0], pump.curves, pump.duty
    flow, lift = litre * curves.flow.values, metre * pump.rise.lift
    give, ask = metre * curves.pump_head.values, metre * curves.system_head.values
    wide, tall = rounded_up(1.05 * float(flow[-1])), rounded_up(1.15 * float(give[0]))
    axes.set_xlim(0, wide)
    axes.set_ylim(0, tall)
    draw_line(axes, "pump", np.column_stack([flow, give]), color=DEEP, linewidth=3.2)
    pipe = {"color": STONE, "linewidth": 3.2, "linestyle": (0, (6, 2))}
    draw_line(axes, "pipe", np.column_stack([flow, ask]), **pipe)
    dot = {"ms": 12, "color": OCHRE, "mec": INK, "mew": 1.6, "zorder": 5}
    meet = [(litre * duty.flow, metre * duty.duty_head)]
    draw_line(axes, "duty", meet, marker="o", linestyle="none", **dot)
    _draw_level(axes, "lift", lift, color=STONE, linewidth=1.2, linestyle=(0, (2, 3)))
    at = f"{measure(duty.flow, 'L/s', 2)}, {measure(duty.duty_head, 'm', 2)}"
    met = f"they meet at {at}: {number(duty.electric_power, 2)} W"
    said = {
        "pump-words": (flow[4], give[4] + 0.03 * tall, "the pump gives", "left"),
        "pipe-words": (0.01 * wide, ask[0] - 0.05 * tall, "the pipe asks for", "left"),
        "duty-words": (0.985 * wide, 0.93 * tall, met, "right"),
        "lift-words": (0.99 * wide, lift + 0.015 * tall, "lift alone", "right"),
    }
    for name, (x, y, text, ha) in said.items():
        words = keep(axes, name, lambda: axes.text(0, 0, "", fontsize=14, zorder=6, in_layout=False))
        words.set_position((x, y))
        words.set_text(text)
        words.set_ha(ha)
    keep(axes, "duty-words", dict).set_fontweight("bold")
    return figure
