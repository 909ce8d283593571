"""Figures of the site: the tank to scale, the run, the gauge, the soakaway, the storms, the pump."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import xarray as xr

from rainharvest.catchment.figures import GROUND, draw_run
from rainharvest.core import draw
from rainharvest.core.quantities import label
from rainharvest.core.reader import date, in_units, large_volume, litres, marks, measure, number
from rainharvest.core.style import (
    BRICK,
    DEEP,
    INK,
    MIST,
    OCHRE,
    STONE,
    TITLE,
    keep,
    new_figure,
    number_axis,
    rounded_up,
)
from rainharvest.core.text import texts_of

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from rainharvest.siteworks.delivery import PumpWorks
    from rainharvest.siteworks.works import Works

SAY = texts_of("siteworks")

SLAB = "#b9b9b4"

"""Concrete, and nothing else."""


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
    # where each of the linked tanks begins, from left to right
    places = [k * (wide + max(0.12 * wide, 0.3)) for k in range(min(vessel.tanks, MOST_TANKS))]
    last = places[-1]
    high = max(floor, -0.3 * vessel.height) + vessel.height
    if works.pump:
        high = max(high, min(works.site.pump.highest_tap, high + 3.0))
    # Room for words goes by a step of a fortieth of the width, so that a large tank leaves as much as a small one;
    # the step seldom moves, so that a slider seldom makes the layout anew.
    step = rounded_up(max((last + wide) / 14, (high - min(floor, 0.0)) / 9.2, 0.15))
    left, right, deep = -9 * step, 31 * step, -3.6 * step + min(floor, 0.0)
    axes.set_xlim(metre * left, metre * right)
    axes.set_ylim(metre * deep, metre * (step * np.ceil(high / step + 2)))
    draw.band(axes, "ground", metre * np.array([left, right]), metre * deep, 0.0, color=GROUND, alpha=0.55)
    _draw_base(axes, works, wide, places, metre)
    place = metre * (left + 0.6 * step), metre * (deep + 0.8 * step)
    draw.label(axes, "pressure", place, SAY.pressure(works), fontweight="bold")
    _colour(axes, "pressure", not works.base.engineer)
    _draw_vessel(axes, works, wide, places, step, metre)
    _draw_tap(axes, works, step, metre)
    _draw_overflow(axes, works, wide, last, step, metre)
    _draw_pump(axes, works, last + wide, high, step, metre)
    return figure


MOST_TANKS = 4

"""Of linked tanks that are drawn."""


def _draw_base(axes: Axes, works: Works, wide: float, places: list[float], metre: float) -> None:
    """Draw slab and stand under each tank."""
    base, floor, stand = works.base, works.floor_height, works.base.stand > 0
    over, foot = (base.slab_length - works.vessel.tank_length) / 2, floor - base.stand
    posts = []
    for k in range(MOST_TANKS):
        slab, deck = [], []
        if k < len(places):
            x = places[k]
            slab = draw.box(x - over, x + wide + over, foot - base.slab_thickness, foot, metre)
            deck = draw.box(x - 0.05, x + wide + 0.05, floor - 0.08, floor, metre) if stand else []
            legs = np.linspace(0.06, wide - 0.06, max(2, int(np.ceil(wide / 1.5)) + 1)) if stand else []
            posts += [p for leg in legs for p in ((x + leg, foot), (x + leg, floor - 0.06), (np.nan, np.nan))]
        slab = slab if base.slab_thickness else []
        draw.shape(axes, f"slab{k or ''}", slab, facecolor=SLAB, edgecolor=INK, linewidth=1.4, zorder=3)
        draw.shape(axes, f"deck{k or ''}", deck, facecolor=STONE, edgecolor=INK, linewidth=1.2, zorder=3)
    draw.path(axes, "legs", metre * np.array(posts), color=INK, linewidth=4, zorder=3)


def _draw_vessel(
    axes: Axes, works: Works, wide: float, places: list[float], step: float, metre: float
) -> None:
    """Draw each tank, its water to the overflow and what stands below the outlet, and the links at the floor."""
    vessel, floor = works.vessel, works.floor_height
    looks = {
        "body": (vessel.height, {"facecolor": "white", "edgecolor": INK, "linewidth": 2.2, "zorder": 4}),
        "water": (vessel.overflow_mark, {"facecolor": MIST, "linewidth": 0, "alpha": 0.75, "zorder": 5}),
        "dead": (vessel.outlet_mark, {"facecolor": DEEP, "linewidth": 0, "alpha": 0.55, "zorder": 5}),
    }
    radius = vessel.height / 2
    for k in range(MOST_TANKS):
        for name, (level, look) in looks.items():
            shape = []
            if k < len(places):
                shape = draw.box(places[k], places[k] + wide, floor, floor + level, metre)
            if k < len(places) and vessel.form == "horizontal":
                reach = np.arccos(np.clip(1 - level / radius, -1, 1))
                turn = np.linspace(-reach, reach, 91) - np.pi / 2
                across, up = radius + radius * np.cos(turn), floor + radius + radius * np.sin(turn)
                shape = metre * np.column_stack([places[k] + across, up])
            draw.shape(axes, f"{name}{k or ''}", shape, **look)
    pipe = floor + 0.5 * min(vessel.outlet_mark, 0.2)
    links = [p for x in places[1:] for p in ((places[0] + wide, pipe), (x, pipe), (np.nan, np.nan))]
    draw.path(axes, "links", metre * np.array(links), color=DEEP, linewidth=4, zorder=3)
    inside = wide > 5 * step
    middle, above = metre * (floor + vessel.middle), metre * (floor + vessel.height + 0.7 * step)
    left_out = f", {len(places)} of {vessel.tanks} drawn" if vessel.tanks > len(places) else ""
    draw.label(
        axes,
        "holds",
        (metre * wide / 2, middle) if inside else (0.0, above),
        litres(vessel.capacity / vessel.tanks) + (" each" if vessel.tanks > 1 else "") + left_out,
        ha="center" if inside else "left",
        fontweight="bold",
    )


def _draw_tap(axes: Axes, works: Works, step: float, metre: float) -> None:
    """Draw the tap on the left, with the bucket that must stand under it."""
    tap, site = works.tap, works.site
    out, mark = -0.35, works.floor_height + works.vessel.outlet_mark
    start = (0.0, mark) if tap.tap_height <= mark or not works.tap_dry else (out, 0.0)
    path = metre * np.array([start, (out, start[1]), (out, tap.tap_height)])
    draw.path(axes, "tap", path, color=DEEP, linewidth=4, zorder=6)
    draw.path(axes, "mouth", path[-1:], marker="v", linestyle="none", ms=9, color=DEEP, zorder=7)
    half = 0.14 * max(site.bucket / 20.0, 0.2) ** 0.5
    bucket = draw.box(out - half, out + half, 0.0, site.bucket_height, metre)
    draw.shape(axes, "bucket", bucket, facecolor="white", edgecolor=INK, linewidth=1.8, zorder=5)
    _colour(axes, "bucket", works.bucket_fits)
    lines = [f"tap {measure(tap.tap_height, 'm', 2)} up"]
    lines += ["by the pump" if works.tap_dry else measure(float(works.gauge.tap_flow[-1]), "L/s", 2)]
    lines += [] if works.bucket_fits else ["bucket does not fit"]
    place = metre * (out - half - 0.4 * step), metre * max(tap.tap_height, site.bucket_height, 0.3)
    draw.label(axes, "tap-words", place, "\n".join(lines), ha="right", va="bottom")
    _colour(axes, "tap-words", works.bucket_fits)


def _draw_overflow(axes: Axes, works: Works, wide: float, last: float, step: float, metre: float) -> None:
    """Draw the overflow of the last tank on the right, down to the ground and away."""
    vessel, pipe = works.vessel, works.overflow
    level = works.floor_height + vessel.overflow_mark
    rim = wide
    if vessel.form == "horizontal":
        radius = vessel.height / 2
        rim = radius + float(np.sqrt(max(radius**2 - (vessel.overflow_mark - radius) ** 2, 0.0)))
    rim, wide, low = rim + last, wide + last, min(-step, level)
    path = [(rim, level), (wide + step, level), (wide + step, low), (wide + 4 * step, low - 0.3 * step)]
    drawn = draw.path(axes, "overflow", metre * np.array(path), linewidth=5, zorder=6)
    drawn.set_color(BRICK if pipe is None else OCHRE)
    text = "no overflow fits" if works.peak else "overflow"
    if pipe is not None:
        many = f"{pipe.pipes} x " if pipe.pipes > 1 else ""
        text = (
            f"overflow {many}{measure(pipe.overflow_bore, 'mm', 3)}\npasses {measure(pipe.passes, 'L/s', 2)}"
        )
    side = "bottom" if 0 <= level <= 3.1 * step else "top"  # clear of the pump
    clear = max(level, 0.8 * step) if works.submerged else level  # of the pipe that rises from the water
    place = metre * (wide + 1.5 * step), metre * clear
    if level < 0:
        side, place = "top", (metre * (wide + 4.3 * step), metre * (low - 0.9 * step))
    draw.label(axes, "overflow-words", place, text, va=side)
    _colour(axes, "overflow-words", pipe is not None or not works.peak)
    way = metre * (wide + 4.3 * step), metre * (low - 0.3 * step)
    draw.label(axes, "way", way, f"to the {works.site.overflow_to}")


def _draw_pump(axes: Axes, works: Works, wide: float, high: float, step: float, metre: float) -> None:
    """Draw the pump beside the tank and its pipe up to the highest tap; nothing without one."""
    pump, floor = works.pump, works.floor_height
    x, y, up = wide + 3 * step, 0.6 * step, wide + 10 * step
    mark, wanted = floor + works.vessel.outlet_mark, works.site.pump.highest_tap if pump else 0.0
    tap = min(wanted, high)
    level = floor + (pump.stop_level if pump else 0.0)
    if pump and works.site.pump.pump_level is not None:
        y = works.site.pump.pump_level
    elif works.submerged:
        x, y = wide - 0.8 * step, mark + 0.4 * step
    text = ""
    if pump:
        lines = ["highest tap", f"{measure(wanted, 'm', 2)} up"]
        lines += ["(not to scale)"] if tap < wanted else []
        text = "\n".join([*lines, f"{number(pump.duty.electric_power, 2)} W"])

    def piece(name: str, *points: tuple[float, float], **look) -> None:
        draw.path(axes, name, metre * np.array(points) if pump else [], **look)

    way = [(wide, mark), (x, mark), (x, y), (up, y), (up, tap)]
    if works.submerged:
        way = [(x, y), (x, 0.5 * step), (up, 0.5 * step), (up, tap)]
    piece("rising", *way, color=DEEP, linewidth=3, zorder=6)
    body = {"ms": 20, "mfc": "white", "mec": INK, "mew": 2.4, "zorder": 7}
    piece("pump", (x, y), marker="o", linestyle="none", **body)
    piece("highest", (up, tap), marker="^", linestyle="none", ms=10, color=DEEP, zorder=7)
    draw.label(axes, "pump-words", (metre * (up + 0.6 * step), metre * max(tap, 3.5 * step)), text, va="top")
    dashed = {"color": BRICK, "linewidth": 2, "linestyle": (0, (3, 2)), "zorder": 6}
    piece("stop", (0.0, level), (wide, level), **dashed)


def _level(value: float) -> str:
    """Return a level as the axis beside it counts it; its unit would run into the words at the right."""
    return marks(f"{in_units(value, 'm')[0]:.2f}")


def run_figure(works: Works, figure: Figure | None = None) -> Figure:
    """Draw the run from the roof to the tanks to scale, with the levels and the pressures that are told."""
    if figure is None:
        figure, axes = new_figure("", height=4.6)
        number_axis(axes.xaxis, "Along the ground ({})", "m")
        number_axis(axes.yaxis, "Above the floor ({})", "m")
        axes.grid(visible=False)
    axes, levels, vessel, floor = figure.axes[0], works.levels, works.vessel, works.floor_height
    run = levels.conveyance
    low = min(-0.5, -floor, *(point[1] for point in levels.pipe))
    high = max(run.outlet_level, run.inlet_level, vessel.height, -floor)
    span = vessel.tanks * vessel.tank_length
    across = rounded_up(max((run.run + span) / 0.68, 12.0))
    axes.set_xlim(-0.3 * across, across)
    bottom = -rounded_up(max(-low, floor) + 0.3)
    # a quarter of the height is kept for the words above the gutter, an eighth for those below
    bottom -= 0.16 * (high - bottom) if works.pressures else 0.0
    axes.set_ylim(bottom, rounded_up(max(high + 1.6, (high - 0.25 * bottom) / 0.75)))
    draw_run(
        axes, "From the roof to the tank", levels, across, (span, vessel.height, vessel.overflow_mark, floor)
    )
    if floor < 0:  # in the ground there is no base to be seen
        draw.shape(axes, "base", [])
    between = run.run + vessel.tank_length * np.arange(1, vessel.tanks)
    walls = [p for x in between for p in ((x, 0.0), (x, vessel.height), (np.nan, np.nan))]
    draw.path(axes, "walls", walls, color=INK, linewidth=1.6, zorder=5)
    marks, step = works.marks, 0.055 * np.ptp(axes.get_ylim())
    at_tank = [name for name in AT_TANK if name in marks]
    at_tank.sort(key=marks.get, reverse=True)
    last, ticks = np.inf, []
    for k in range(len(AT_TANK)):
        place, text = (0.0, 0.0), ""
        if k < len(at_tank):
            level = marks[at_tank[k]]
            last = min(level, last - step)  # words keep clear of one another
            end = run.run + span + 0.01 * across
            ticks += [(run.run + span, level), (end, last), (np.nan, np.nan)]
            place, text = (end + 0.004 * across, last), f"{at_tank[k]} {_level(level)}"
        draw.label(axes, f"mark-{k}", place, text)
    draw.path(axes, "ticks", ticks, color=STONE, linewidth=1.4, zorder=5)
    heads, said = [], ["", ""]
    if works.pressures:
        rain, storm = (marks[f"water in the run {when}"] for when in ("after rain", "in the design storm"))
        heads = [(-0.015 * across, rain), (0.015 * across, rain), (np.nan, np.nan)]
        heads += [(-0.015 * across, storm), (0.015 * across, storm)]
        said = [f"after rain {_level(rain)}", f"in the storm {_level(storm)}"]
    draw.path(axes, "heads", heads, color=DEEP, linewidth=2.4, zorder=7)
    top = max(storm, rain + step) if works.pressures else 0.0
    draw.label(axes, "rain", (0.05 * across, heads[0][1] if heads else 0.0), said[0], va="top")
    draw.label(axes, "storm", (0.05 * across, top), said[1], va="bottom")
    pressure = SAY.joint(works) if works.pressures else ""
    draw.label(
        axes, "pressures", (-0.29 * across, bottom + 0.4 * step), pressure, va="bottom", fontweight="bold"
    )
    return figure


AT_TANK = ("overflow", "tap", "outlet", "pump stops")

"""Levels that are written beside the tank; those of gutter outlet and inlet run across the drawing."""


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
        drawn[1].set_title("At the tap", **TITLE)
        drawn[1].set_xscale("log")
        drawn[1].set_xlim(5, 1200)
        ticks = (10, 30, 100, 300, 1000)
        drawn[1].set_xticks(ticks, [number(tick) for tick in ticks])
        drawn[1].minorticks_off()
    left, right = figure.axes
    gauge, vessel = works.gauge, works.vessel
    level, litres = metre * gauge.water_level.values, gauge.litres_to_draw.values / scale
    full, lasts = float(litres[-1]), float(gauge.days_of_supply[-1])
    most = rounded_up(1.25 * full)
    left.set_xlim(0, most)
    left.set_ylim(0, metre * rounded_up(1.02 * vessel.height))
    draw.line(left, "litres", litres, level, color=DEEP, linewidth=3.2, zorder=4)
    draw.band(left, "dead", [0.0, most], 0.0, metre * vessel.outlet_mark, color=STONE, alpha=0.35)
    marks = {"outlet": metre * vessel.outlet_mark, "overflow": metre * vessel.overflow_mark}
    for axes in (left, right):
        for name, mark in marks.items():
            draw.level(axes, name, mark, color=STONE, linewidth=1.4, linestyle=(0, (4, 3)))
    for name, mark in marks.items():
        draw.label(left, f"{name}-words", (0.985 * most, mark), name, ha="right", va="bottom", color=STONE)
    at = np.interp(np.array(SHARES) * full, litres, level)
    draw.line(left, "dots", np.array(SHARES) * full, at, ms=9, zorder=5, **draw.DOT)
    for k, (share, y) in enumerate(zip(SHARES, at, strict=True)):
        place = share * full - 0.015 * most, y
        draw.label(left, f"days-{k}", place, f"{number(share * lasts, 2)} days", ha="right", va="bottom")
    seconds = gauge.seconds_to_fill.values
    ok = np.isfinite(seconds)
    draw.line(right, "seconds", seconds[ok], level[ok], color=DEEP, linewidth=3.2, zorder=4)
    said = "" if ok.any() else "the pump brings it"
    draw.note(right, "none", (0.5, 0.5), said, "center", "baseline")
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
    minutes, needed, holds = np.array([]), np.array([]), 0.0
    if soakaway is not None:
        minutes, needed = soakaway.storm_minutes.values, soakaway.storage_required.values / scale
        holds = float(soakaway.soakaway_holds) / scale
    top = rounded_up(1.32 * max(holds, *needed, 0.0) if len(needed) else 1.0)
    axes.set_ylim(0, top)
    ends = np.column_stack([0 * needed, needed, np.nan + needed]).ravel()
    stems = np.column_stack([np.repeat(minutes, 3), ends])
    draw.path(axes, "stems", stems, color=DEEP, linewidth=14, solid_capstyle="butt")
    dashed = draw.level(axes, "holds", holds, color=OCHRE, linewidth=2.6, linestyle=(0, (6, 3)))
    dashed.set_visible(not none)
    said = "" if none else f"dashed: it holds {litres(holds * scale)} · small figures: the storm's rain"
    draw.note(axes, "holds-words", (0.99, 0.985), said, "right", fontsize=14, fontweight="bold")
    small = {"fontsize": 11.5, "color": STONE, "in_layout": False}
    last = 0.0
    for k in range(MOST_BARS):
        there = k < len(minutes)
        shown = there and minutes[k] >= 1.9 * last  # neighbours closer than that would overlap
        text = measure(float(soakaway.storm_depth[k]), "mm", 2) if shown else ""
        last = minutes[k] if shown else last
        clear = needed[k] if there and needed[k] < holds - 0.09 * top else holds
        place = minutes[k] if there else 10.0, (clear if there else 0.0) + 0.012 * top
        draw.words(axes, f"rain-{k}", place, text, "center", "bottom", **small)
    said = "no soakaway" if none else ""
    draw.note(axes, "none", (0.5, 0.5), said, "center", "baseline", fontsize=18, color=BRICK)
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
        drawn[1].set_title("The storm: kept and spilled", **TITLE)
        for axes in drawn:
            axes.grid(axis="y", visible=False)
    left, right = figure.axes
    count = storms.sizes["storm"]
    shown = (
        100 * storms.full_before.values,
        storms.storm_inflow.values / scale,
        storms.storm_spilled.values / scale,
    )
    full, came, spilled = (np.pad(values, (0, MOST_STORMS - count)) for values in shown)
    kept = came - np.minimum(spilled, came)
    right.set_xlim(0, rounded_up(1.02 * float(came.max())) if count else 1.0)
    names = [date(day) for day in storms.storm_day.values] + [""] * (MOST_STORMS - count)
    if [tick.get_text() for tick in left.get_yticklabels()] != names:
        left.set_yticks(range(MOST_STORMS), names)
    over = {"color": MIST, "edgecolor": STONE, "hatch": "///"}
    for k in range(MOST_STORMS):
        draw.bar(left, f"full-{k}", k, full[k], 0.62, color=MIST)
        bars = [draw.bar(right, f"kept-{k}", k, kept[k], 0.62, color=DEEP)]
        bars += [draw.bar(right, f"ran-{k}", k, came[k] - kept[k], 0.62, kept[k], **over)]
        inside, text = full[k] > 85, f"{full[k]:.0f} %" if k < count else ""
        place, side = full[k] + (-1.5 if inside else 1.0), "right" if inside else "left"
        draw.label(left, f"full-words-{k}", (place, k), text, ha=side)
    draw.legend(right, bars, ["kept", "spilled"], loc="lower right", fontsize=14)
    return figure


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
    draw.line(axes, "pump", flow, give, color=DEEP, linewidth=3.2)
    draw.line(axes, "pipe", flow, ask, color=STONE, linewidth=3.2, linestyle=(0, (6, 2)))
    meet = [litre * duty.flow], [metre * duty.duty_head]
    draw.line(axes, "duty", *meet, ms=12, mew=1.6, zorder=5, **draw.DOT)
    draw.level(axes, "lift", lift, color=STONE, linewidth=1.2, linestyle=(0, (2, 3)))
    at = f"{measure(duty.flow, 'L/s', 2)}, {measure(duty.duty_head, 'm', 2)}"
    met = f"they meet at {at}: {number(duty.electric_power, 2)} W"
    draw.label(axes, "pump-words", (flow[4], give[4] + 0.03 * tall), "the pump gives", va="bottom")
    draw.label(axes, "pipe-words", (0.01 * wide, ask[0] - 0.03 * tall), "the pipe asks for", va="top")
    draw.label(axes, "duty-words", (0.985 * wide, 0.95 * tall), met, ha="right", fontweight="bold")
    draw.label(axes, "lift-words", (0.99 * wide, lift + 0.015 * tall), "lift alone", ha="right", va="bottom")
    return figure
