"""Figures of the site: the tank to scale, levels, gauge."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from rainharvest.catchment.figures import GROUND, draw_run
from rainharvest.core.quantities import label
from rainharvest.core.reader import in_units, large_volume, measure, number
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

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from rainharvest.catchment.hydraulics import Levels
    from rainharvest.siteworks.base import Vessel
    from rainharvest.siteworks.facts import Works


SLAB = "#b9b9b4"

"""Concrete, and nothing else."""


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
    step = rounded_up(max(wide / 14, high / 9.7, 0.15))
    left, right, deep = -9 * step, 31 * step, -3.6 * step
    axes.set_xlim(metre * left, metre * right)
    axes.set_ylim(metre * deep, metre * (step * np.ceil(high / step + 2)))
    ground = keep(axes, "ground", lambda: axes.fill_between([], [], color=GROUND, alpha=0.55, linewidth=0))
    ground.set_data(metre * np.array([left, right]), np.full(2, metre * deep), np.zeros(2))
    _draw_base(axes, works, wide, metre)
    place = metre * (left + 0.6 * step), metre * (deep + 0.8 * step)
    draw_says(axes, "pressure", place, pressure_words(works), fontweight="bold")
    keep(axes, "pressure", dict).set_color(BRICK if works.base.engineer else INK)
    _draw_vessel(axes, vessel, floor, wide, step, metre)
    _draw_tap(axes, works, step, metre)
    _draw_overflow(axes, works, wide, step, metre)
    _draw_pump(axes, works, wide, high, step, metre)
    return figure


def pressure_words(works: Works) -> str:
    """Return the line under the tank: its mass, its pressure, and whose work the base is."""
    base = works.base
    each = " each" if works.vessel.tanks > 1 else ""
    text = f"{measure(base.mass_full, 'kg', 2)} full{each}, {measure(base.ground_pressure, 'kPa', 2)} on the ground"
    return f"{text}: an engineer's work" if base.engineer else text


def _draw_base(axes: Axes, works: Works, wide: float, metre: float) -> None:
    """Draw slab and stand."""
    base, site = works.base, works.site
    over = (base.slab_length - works.vessel.tank_length) / 2
    slab = draw_box(-over, wide + over, 0.0, base.slab_thickness, metre) if base.slab_thickness else []
    draw_polygon(axes, "slab", slab, facecolor=SLAB, edgecolor=INK, linewidth=1.4, zorder=3)
    raised = site.stand > 0
    bottom = base.slab_thickness
    legs = np.linspace(0.06, wide - 0.06, max(2, int(np.ceil(wide / 1.5)) + 1)) if raised else []
    posts = [point for x in legs for point in ((x, bottom), (x, works.floor_height - 0.06), (np.nan, np.nan))]
    draw_line(axes, "legs", metre * np.array(posts) if raised else [], color=INK, linewidth=4, zorder=3)
    deck = (
        draw_box(-0.05, wide + 0.05, works.floor_height - 0.08, works.floor_height, metre) if raised else []
    )
    draw_polygon(axes, "deck", deck, facecolor=STONE, edgecolor=INK, linewidth=1.2, zorder=3)


def _draw_vessel(axes: Axes, vessel: Vessel, floor: float, wide: float, step: float, metre: float) -> None:
    """Draw the tank, its water to the overflow, and what stands below the outlet."""
    names = (("body", vessel.height), ("water", vessel.overflow_mark), ("dead", vessel.outlet_mark))
    looks = {
        "body": {"facecolor": "white", "edgecolor": INK, "linewidth": 2.2, "zorder": 4},
        "water": {"facecolor": MIST, "linewidth": 0, "alpha": 0.75, "zorder": 5},
        "dead": {"facecolor": DEEP, "linewidth": 0, "alpha": 0.55, "zorder": 5},
    }
    radius = vessel.height / 2
    for name, level in names:
        if vessel.form == "horizontal":
            reach = np.arccos(np.clip(1 - level / radius, -1, 1))
            turn = np.linspace(-reach, reach, 91) - np.pi / 2
            shape = metre * np.column_stack(
                [radius + radius * np.cos(turn), floor + radius + radius * np.sin(turn)]
            )
        else:
            shape = draw_box(0.0, wide, floor, floor + level, metre)
        draw_polygon(axes, name, shape, **looks[name])
    middle = floor + (vessel.outlet_mark + vessel.overflow_mark) / 2
    inside = wide > 5 * step
    draw_says(
        axes,
        "holds",
        (metre * wide / 2, metre * middle) if inside else (0.0, metre * (floor + vessel.height + 0.7 * step)),
        measure(vessel.capacity / vessel.tanks, "L", 2) + (" each" if vessel.tanks > 1 else ""),
        ha="center" if inside else "left",
        fontweight="bold",
    )


def _draw_tap(axes: Axes, works: Works, step: float, metre: float) -> None:
    """Draw the tap on the left, with the bucket that must stand under it."""
    tap, site = works.tap, works.site
    out, floor = -0.35, works.floor_height
    mark = floor + works.vessel.outlet_mark
    path = metre * np.array([(0.0, mark), (out, mark), (out, tap.tap_height)])
    draw_line(axes, "tap", path, color=DEEP, linewidth=4, zorder=6)
    mouth = keep(axes, "mouth", lambda: axes.plot([], [], "v", ms=9, color=DEEP, zorder=7)[0])
    mouth.set_data([metre * out], [metre * tap.tap_height])
    fits = works.raise_for_bucket <= 1e-9
    half = 0.14 * max(site.bucket / 20.0, 0.2) ** 0.5
    draw_polygon(
        axes,
        "bucket",
        draw_box(out - half, out + half, 0.0, site.bucket_height, metre),
        facecolor="white",
        edgecolor=INK,
        linewidth=1.8,
        zorder=5,
    )
    keep(axes, "bucket", dict).set_edgecolor(INK if fits else BRICK)
    flow = float(works.gauge.tap_flow[-1])
    draw_says(
        axes,
        "tap-words",
        (metre * (out - half - 0.4 * step), metre * max(tap.tap_height, site.bucket_height, 0.3)),
        f"tap {measure(tap.tap_height, 'm', 2)} up\n{measure(flow, 'L/s', 2)}"
        + ("" if fits else "\nbucket does not fit"),
        ha="right",
        va="bottom",
    )
    keep(axes, "tap-words", dict).set_color(INK if fits else BRICK)


def _draw_overflow(axes: Axes, works: Works, wide: float, step: float, metre: float) -> None:
    """Draw the overflow on the right, down to the ground and away."""
    vessel, floor = works.vessel, works.floor_height
    level = floor + vessel.overflow_mark
    rim = wide
    if vessel.form == "horizontal":
        radius = vessel.height / 2
        rim = radius + float(np.sqrt(max(radius**2 - (vessel.overflow_mark - radius) ** 2, 0.0)))
    path = metre * np.array(
        [(rim, level), (wide + step, level), (wide + step, -step), (wide + 4 * step, -1.3 * step)]
    )
    works_out = works.overflow is not None
    draw_line(axes, "overflow", path, color=OCHRE, linewidth=5, zorder=6)
    keep(axes, "overflow", dict).set_color(OCHRE if works_out else BRICK)
    pipe = works.overflow
    text = "no overflow fits" if works.peak else "overflow"
    if works_out:
        many = f"{pipe.pipes} x " if pipe.pipes > 1 else ""
        text = (
            f"overflow {many}{measure(pipe.overflow_bore, 'mm', 3)}\npasses {measure(pipe.passes, 'L/s', 2)}"
        )
    side = "top" if level > 3.1 * step else "bottom"  # clear of the pump
    draw_says(axes, "overflow-words", (metre * (wide + 1.5 * step), metre * level), text, va=side)
    keep(axes, "overflow-words", dict).set_color(INK if works_out or not works.peak else BRICK)
    way = {"soakaway": "to the soakaway", "garden": "to the garden", "drain": "to the drain"}
    draw_says(
        axes,
        "way",
        (metre * (wide + 4.3 * step), metre * -1.3 * step),
        way.get(works.site.overflow_to, "to the watercourse"),
    )


def _draw_pump(axes: Axes, works: Works, wide: float, high: float, step: float, metre: float) -> None:
    """Draw the pump beside the tank and its pipe up to the highest tap."""
    pump = works.pump
    x, y, up = wide + 3 * step, 0.6 * step, wide + 10 * step
    mark = works.floor_height + works.vessel.outlet_mark
    tap = min(works.site.pump.highest_tap, high) if pump else 0.0
    path = [(wide, mark), (x, mark), (x, y), (up, y), (up, tap)] if pump else []
    draw_line(axes, "rising", metre * np.array(path) if pump else [], color=DEEP, linewidth=3, zorder=6)
    body = keep(
        axes, "pump", lambda: axes.plot([], [], "o", ms=20, mfc="white", mec=INK, mew=2.4, zorder=7)[0]
    )
    body.set_data([metre * x] if pump else [], [metre * y] if pump else [])
    end = keep(axes, "highest", lambda: axes.plot([], [], "^", ms=10, color=DEEP, zorder=7)[0])
    end.set_data([metre * up] if pump else [], [metre * tap] if pump else [])
    text = ""
    if pump:
        lines = ["highest tap", f"{measure(works.site.pump.highest_tap, 'm', 2)} up"]
        lines += ["(not to scale)"] if tap < works.site.pump.highest_tap else []
        text = "\n".join([*lines, f"{number(pump.duty.electric_power, 2)} W"])
    place = metre * (up + 0.6 * step), metre * max(tap, 3.5 * step)
    draw_says(axes, "pump-words", place, text, va="top")
    stop = keep(
        axes, "stop", lambda: axes.plot([], [], color=BRICK, linewidth=2, linestyle=(0, (3, 2)), zorder=6)[0]
    )
    level = works.floor_height + (pump.stop_level if pump else 0.0)
    stop.set_data([0.0, metre * wide] if pump else [], [metre * level] * 2 if pump else [])


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
    most = rounded_up(1.25 * float(draw[-1]))
    left.set_xlim(0, most)
    left.set_ylim(0, metre * rounded_up(1.02 * vessel.height))
    draw_line(left, "litres", np.column_stack([draw, level]), color=DEEP, linewidth=3.2, zorder=4)
    dead = keep(left, "dead", lambda: left.fill_between([], [], color=STONE, alpha=0.35, linewidth=0))
    dead.set_data(np.array([0.0, most]), np.zeros(2), np.full(2, metre * vessel.outlet_mark))
    marks = (("outlet", vessel.outlet_mark, "bottom"), ("overflow", vessel.overflow_mark, "bottom"))
    for axes in (left, right):
        for name, mark, _ in marks:
            keep(
                axes,
                name,
                lambda axes=axes: axes.axhline(0, color=STONE, linewidth=1.4, linestyle=(0, (4, 3))),
            ).set_ydata([metre * mark] * 2)
    for name, mark, va in marks:
        draw_says(left, f"{name}-words", (0.985 * most, metre * mark), name, ha="right", va=va, color=STONE)
    full = float(draw[-1])
    at = np.interp(np.array(SHARES) * full, draw, level)
    dots = keep(left, "dots", lambda: left.plot([], [], "o", ms=9, color=OCHRE, mec=INK, zorder=5)[0])
    dots.set_data(np.array(SHARES) * full, at)
    for k, (share, y) in enumerate(zip(SHARES, at, strict=True)):
        lasts = share * float(gauge.days_of_supply[-1])
        draw_says(
            left,
            f"days-{k}",
            (share * full - 0.015 * most, y),
            f"{number(lasts, 2)} days",
            ha="right",
            va="bottom",
        )
    flows = gauge.seconds_to_fill.values
    ok = np.isfinite(flows)
    draw_line(right, "seconds", np.column_stack([flows[ok], level[ok]]), color=DEEP, linewidth=3.2, zorder=4)
    return figure
