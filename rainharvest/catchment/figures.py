"""Figures of the catchment: levels to scale, where the rain goes, the bore that brings most."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import xarray as xr

from rainharvest.core.quantities import label
from rainharvest.core.style import BRICK, DEEP, INK, MIST, OCHRE, STONE, keep, new_figure, rounded_up

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from rainharvest.catchment.hydraulics import Levels


GROUND = "#c9b79c"

"""Earth, and nothing else."""


def levels_figure(levels: dict[str, Levels], figure: Figure | None = None) -> Figure:
    """Draw roof, pipe and tank to scale, one drawing for each run, with the head left over marked."""
    if figure is None:
        figure, drawn = new_figure("", height=4.6, ncols=len(levels), sharey=True)
        for axes in np.atleast_1d(drawn):
            axes.set_xlabel("Along the ground (m)")
            axes.grid(visible=False)
        np.atleast_1d(drawn)[0].set_ylabel("Above the tank's base (m)")
    runs = [one.conveyance for one in levels.values()]
    low = min(-0.5, *(point[1] for one in levels.values() for point in one.pipe))
    high = max(max(run.outlet_level, run.inlet_level) for run in runs)
    bottom, top = -rounded_up(-low + 0.3), rounded_up(high + 1.6)
    across = rounded_up(max(1.6 * max(run.run for run in runs), 8.0))
    for axes, (title, one) in zip(figure.axes, levels.items(), strict=True):
        axes.set_xlim(-0.3 * across, across)
        axes.set_ylim(bottom, top)
        draw_run(axes, title, one, across)
    return figure


def draw_run(
    axes: Axes,
    title: str,
    one: Levels,
    across: float,
    tank: tuple[float, float, float, float] | None = None,
) -> None:
    """Draw one run: ground, house, tank, pipe, standing water, margin."""
    run = one.conveyance
    bottom, top = axes.get_ylim()
    head = keep(axes, "title", lambda: axes.set_title("", fontweight="bold", loc="left"))
    head.set_text(title)
    ground = keep(axes, "ground", lambda: axes.fill_between([], [], color=GROUND, alpha=0.55, linewidth=0))
    earth = 0.0 if tank is None else -tank[3]
    ground.set_data(np.array([-across, 2 * across]), np.full(2, 2 * bottom), np.full(2, earth))
    wall, eave = -0.2 * across, -0.012 * across
    over, rise = 0.02 * across, 0.6 * (top - run.outlet_level)
    house = keep(axes, "house", lambda: axes.fill([], [], facecolor="#eceff0", edgecolor=STONE)[0])
    house.set_xy([(wall, earth), (wall, run.outlet_level), (2 * eave, run.outlet_level), (2 * eave, earth)])
    roof = keep(axes, "roof", lambda: axes.fill([], [], facecolor=STONE, edgecolor=INK)[0])
    gutter = run.outlet_level + 0.02 * (top - bottom)
    roof.set_xy([(wall - over, gutter), ((wall + 2 * eave) / 2, gutter + rise), (eave, gutter)])
    wide, lid = 0.16 * across, max(run.inlet_level, 0.3) + 0.04 * (top - bottom)
    surface = 0.9 * max(run.inlet_level, 0.3)
    if tank is not None:
        wide, lid, surface, _ = tank
        base = keep(axes, "base", lambda: axes.fill([], [], facecolor=STONE, edgecolor=INK)[0])
        base.set_xy([(run.run, earth), (run.run, 0), (run.run + wide, 0), (run.run + wide, earth)])
    body = keep(axes, "tank", lambda: axes.fill([], [], facecolor="white", edgecolor=INK, linewidth=2)[0])
    body.set_xy([(run.run, 0), (run.run, lid), (run.run + wide, lid), (run.run + wide, 0)])
    water = keep(axes, "water", lambda: axes.fill([], [], facecolor=MIST, linewidth=0, alpha=0.7)[0])
    water.set_xy([(run.run, 0), (run.run, surface), (run.run + wide, surface), (run.run + wide, 0)])
    pipe = keep(axes, "pipe", lambda: axes.plot([], [], linewidth=3.2, zorder=4, solid_joinstyle="round")[0])
    pipe.set_data(*np.array(one.pipe).T)
    pipe.set_color(BRICK if one.answer else STONE)
    full = keep(
        axes,
        "standing",
        lambda: axes.plot([], [], color=DEEP, linewidth=6, zorder=5, solid_joinstyle="round")[0],
    )
    full.set_data(*(np.array(one.standing).T if one.standing else ([], [])))
    fails = one.margin < 0
    arrow = keep(axes, "margin", lambda: axes.plot([], [], "_-", ms=12, mew=2.4, linewidth=2.4, zorder=6)[0])
    aside = one.margin_at + (0.03 if one.margin_at == 0 else -0.03) * across
    arrow.set_data([aside, aside], [one.margin_from, one.margin_to])
    arrow.set_color(BRICK if fails else OCHRE)
    words = keep(axes, "margin-words", lambda: axes.text(0, 0, "", fontweight="bold", zorder=7))
    short = "level" if run.kind == "dry" else "head"
    words.set_text(
        f"{-one.margin:.2f} m of {short} short" if fails else f"{one.margin:.2f} m of {short} left"
    )
    words.set_color(BRICK if fails else INK)
    words.set_transform(axes.transAxes)
    words.set_position((0.99, 0.965))
    words.set_ha("right")
    words.set_va("top")
    above = run.outlet_level >= run.inlet_level
    for name, level, over_it in (
        ("gutter outlet", run.outlet_level, above),
        ("tank inlet", run.inlet_level, not above),
    ):
        line = keep(
            axes, name, lambda: axes.axhline(0, color=STONE, linewidth=1.1, linestyle=(0, (4, 4)), zorder=1)
        )
        line.set_ydata([level] * 2)
        what = keep(
            axes,
            f"{name}-words",
            lambda name=name: axes.text(
                0.995, 0, name, transform=axes.get_yaxis_transform(), ha="right", fontsize=12.5, color=STONE
            ),
        )
        what.set_y(level + (0.012 if over_it else -0.012) * (top - bottom))
        what.set_va("bottom" if over_it else "top")


CAUSES = {
    "delivered": "Reaches the tank",
    "wetting": "Wets the roof",
    "runoff coefficient": "Splashes, soaks in",
    "gutter capacity": "Over the gutter",
    "first flush": "First flush",
    "filter": "Lost at the filter",
    "pipe capacity": "Pipe backs up",
    "held in pipe": "Drained from the pipe",
}

"""The words of each cause, in the order of the chain."""


def losses_figure(yearly: xr.DataArray, figure: Figure | None = None) -> Figure:
    """Draw where the rain goes, by cause, dry beside wet."""
    kinds = [str(kind) for kind in yearly.conveyance.values]
    causes = [str(cause) for cause in yearly.cause.values]
    colours = (OCHRE, DEEP, STONE, MIST)
    if figure is None:
        figure, axes = new_figure("Where a year's rain goes", height=5.4)
        axes.set_yticks(range(len(causes)), [CAUSES[cause] for cause in causes])
        axes.set_xlabel("kL a year")
        axes.invert_yaxis()
        axes.grid(axis="y", visible=False)
    axes = figure.axes[0]
    deep = 0.8 / len(kinds)
    top = rounded_up(1.14 * float(np.nan_to_num(yearly.values).max()) / 1000)
    for k, kind in enumerate(kinds):
        values = np.nan_to_num(yearly.sel(conveyance=kind).values) / 1000
        able = not np.isnan(yearly.sel(conveyance=kind).values).all()
        for n, value in enumerate(values):
            middle = n + (k - (len(kinds) - 1) / 2) * deep
            bar = keep(
                axes,
                f"{kind}-{n}",
                lambda middle=middle, k=k, kind=kind, n=n: axes.barh(
                    middle, 0, deep * 0.9, color=colours[k], label=kind if n == 0 else None
                )[0],
            )
            bar.set_width(value)
            words = keep(
                axes,
                f"{kind}-{n}-words",
                lambda middle=middle: axes.text(0, middle, "", va="center", fontsize=12.5),
            )
            words.set_position((value + 0.006 * top, middle))
            words.set_text(_kilolitres(value) if able else "cannot work" if n == 0 else "")
    keep(axes, "key", lambda: axes.legend(loc="lower right", frameon=False, fontsize=15))
    axes.set_xlim(0, top)
    return figure


BORE_TICKS = np.array([32.0, 40.0, 50.0, 65.0, 80.0, 100.0, 125.0, 150.0, 200.0, 300.0])

"""Marks on the axis of bores, mm."""


def _kilolitres(value: float) -> str:
    if value == 0:
        return "0"
    return "under 0.1" if value < 0.095 else f"{value:.1f}" if value < 9.95 else f"{value:.0f}"


def bore_figure(curve: xr.Dataset | None, bore: float, figure: Figure | None = None) -> Figure:
    """Draw what a wet run loses by its bore: to backing up, to draining, and both together."""
    size = BORE_TICKS if curve is None else curve.bore.values
    if figure is None:
        figure, axes = new_figure("What a wet run loses, by its bore", height=4.8)
        axes.set_xscale("log")
        axes.set_yscale("log")
        axes.set_xlabel(label("bore"))
        axes.set_ylabel("Lost of what arrives (%)")
        axes.set_xlim(BORE_TICKS[0], BORE_TICKS[-1])
        axes.set_ylim(0.1, 100)
        axes.set_yticks([0.1, 1, 10, 100], ["0.1", "1", "10", "100"])
        axes.minorticks_off()
        axes.set_xticks(BORE_TICKS, [f"{s:g}" for s in BORE_TICKS])
    axes = figure.axes[0]
    if curve is None:
        backed = drained = arrives = np.full(size.shape, np.nan)
    else:
        backed = curve.lost.sel(loss="pipe capacity").values
        drained = curve.lost.sel(loss="held in pipe").values
        arrives = curve.inflow.values + backed + drained
    shares = {}
    for name, lost, colour, dash, wide in (
        ("the pipe backs up", backed, BRICK, (0, (6, 2)), 2.2),
        ("drained from the pipe", drained, STONE, (0, (1.5, 1.5)), 2.2),
        ("both together", backed + drained, DEEP, "-", 3.0),
    ):
        line = keep(
            axes,
            name,
            lambda name=name, colour=colour, dash=dash, wide=wide: axes.plot(
                [], [], color=colour, linestyle=dash, linewidth=wide, label=name
            )[0],
        )
        shares[name] = np.maximum(100 * np.divide(lost, arrives, out=0 * lost, where=arrives > 0), 1e-9)
        line.set_data(size, shares[name])
    point = keep(
        axes,
        "best",
        lambda: axes.plot(
            [], [], "o", ms=13, mec=INK, mew=1.5, color=OCHRE, zorder=4, clip_on=False, label="brings most"
        )[0],
    )
    if curve is None:
        point.set_data([], [])
    else:
        best = curve.attrs["best_bore"]
        point.set_data([best], [np.clip(shares["both together"][list(size).index(best)], 0.1, 100)])
    keep(axes, "bore", lambda: axes.axvline(1, color=INK, linewidth=1.4, linestyle=(0, (2, 3)))).set_xdata(
        [bore] * 2
    )
    keep(
        axes,
        "key",
        lambda: axes.legend(
            loc="upper center", bbox_to_anchor=(0.5, -0.18), ncols=4, frameon=False, fontsize=14
        ),
    )
    return figure
