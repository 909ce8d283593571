"""Figures of the tank-size decision: the curve, its band, its maps."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np
import xarray as xr

from rainharvest.core.quantities import QUANTITIES, label
from rainharvest.core.reader import GALLON, gallons, large_volume, number
from rainharvest.core.style import (
    BRICK,
    DASHES,
    DEEP,
    INK,
    MIST,
    OCHRE,
    STYLE,
    draw_chosen,
    draw_dot,
    draw_target,
    keep,
    new_figure,
    round_ticks,
    rounded_up,
)

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure


def trade_off_figure(
    curve: xr.Dataset, measure: str, target: float, chosen: float, figure: Figure | None = None
) -> Figure:
    """Draw reliability against tank size, the target, and the size chosen."""
    scale, unit = large_volume()
    if figure is None:
        figure, axes = new_figure("What a tank of each size supplies")
        axes.set_xscale("log")
        axes.set_xlabel(label("capacity", unit))
        axes.set_ylabel(label(measure, "%"))
        axes.set_ylim(0, 104)
    axes = figure.axes[0]
    size = curve.capacity.values / scale
    share = 100 * curve[measure]
    middle = share.median("member").values if "member" in share.dims else share.values
    if "member" in share.dims and share.sizes["member"] > 1:
        low, high = share.quantile([0.05, 0.95], dim="member", method="weibull").values
    else:
        low = high = middle
    band = keep(axes, "band", lambda: axes.fill_between([], [], color=MIST, alpha=0.7, linewidth=0))
    band.set_data(size, low, high)
    line = keep(axes, "curve", lambda: axes.plot([], [], color=DEEP, zorder=3)[0])
    line.set_data(size, middle)
    draw_target(axes, target)
    reached = float(np.interp(chosen / scale, size, middle))
    held = f"{number(chosen / GALLON, 3)} gal" if gallons() else f"{number(chosen / 1000, 3)} kL"
    words = draw_chosen(axes, chosen / scale, reached, held)
    # The curve rises to the right: below it and to the right the words cross nothing.
    near_end = np.log(chosen / scale / size[0]) / np.log(size[-1] / size[0]) > 0.8
    below = reached - (9 if near_end else 4)
    if -9 < below - 100 * target < 3:
        below = 100 * target - 6  # below the target's line, not on it
    below = max(below, 9)  # clear of the axis
    words.set_position((size[-1] * 0.98 if near_end else chosen / scale * 1.08, below))
    words.set_ha("right" if near_end else "left")
    if axes.get_xlim() != (size[0], size[-1]):
        axes.set_xlim(size[0], size[-1])
        round_ticks(axes.xaxis, size[0], size[-1])
    return figure


def failed_years_figure(
    failed: xr.DataArray, days_in_year: xr.DataArray, figure: Figure | None = None
) -> Figure:
    """Draw the failed days of each hydrological year."""
    if figure is None:
        figure, axes = new_figure("In which years it fails")
        axes.set_xlabel(label("year") + " (named by the year in which it begins)")
        axes.set_ylabel(label("failed_by_year"))
        axes.grid(axis="x", visible=False)
    axes = figure.axes[0]
    whole = (days_in_year >= 365).values
    values = (failed.median("member") if "member" in failed.dims else failed).values[whole]
    years = failed.year.values[whole]
    bars = keep(axes, "bars", lambda: axes.vlines([0], [0], [0], color=BRICK, linewidth=7))
    bars.set_segments([[(year, 0), (year, value)] for year, value in zip(years, values, strict=True)])
    words = keep(axes, "worst", lambda: axes.text(0, 0, "", va="bottom", fontweight="bold"))
    if not years.size:
        words.set_text("no whole year in the record")
        axes.set_xticks([])
        return figure
    worst = int(np.argmax(values))
    top = rounded_up(1.18 * max(float(values[worst]), 4.0))
    left = years[worst] > years.mean()
    words.set_text(f"worst: {years[worst]}, {values[worst]:.0f} days" if values[worst] > 0 else "")
    words.set_ha("right" if left else "left")
    words.set_position((years[worst] + (0.6 if left else -0.6), values[worst] + 0.01 * top))
    axes.set_xlim(years[0] - 1, years[-1] + 1)
    axes.set_ylim(0, top)
    return figure


def band_figure(group: xr.Dataset, measure: str, target: float) -> Figure:
    """Draw the curve of the record in the band of the draws, and the two sizes that reach the target."""
    from matplotlib import rc_context

    figure, axes = new_figure("How sure: the record, and what else may come", height=4.4)
    size = group.capacity.values / 1000
    with rc_context(STYLE):
        axes.fill_between(
            size,
            100 * group.reliability_low,
            100 * group.reliability_high,
            color=MIST,
            alpha=0.7,
            lw=0,
            gid="band",
        )
        axes.plot(size, 100 * group.reliability_on_record, color=DEEP, zorder=3, gid="on the record")
        look = {"color": INK, "linestyle": DASHES[2], "lw": 1.8, "zorder": 3, "gid": "middle of the versions"}
        axes.plot(size, 100 * group.reliability_middle, **look)
        draw_target(axes, target)
        own, sure = float(group.size_on_record) / 1000, float(group.sure_size) / 1000
        places = [(own, "on the record", DEEP), (sure, "in 9 of 10 versions", OCHRE)]
        if abs(sure - own) < 0.03 * own:  # one mark: the two would hide each other
            places = [(max(own, sure), "on the record and in 9 of 10 versions", OCHRE)]
        for k, (at, words, colour) in enumerate(places):
            if not np.isfinite(at):
                continue
            axes.plot(
                [at], [100 * target], "o", ms=13, mec=INK, mew=1.5, color=colour, zorder=5, clip_on=False
            )
            axes.annotate(
                f"{float(f'{at:.2g}'):g} kL {words}",
                (at, 100 * target),
                (0.98, 0.10 + 0.13 * (1 - k)),
                textcoords="axes fraction",
                ha="right",
                fontweight="bold",
                arrowprops={"arrowstyle": "-", "color": INK, "lw": 1.0, "shrinkB": 8},
            )
        axes.text(
            0.02,
            0.80,
            "line: the record as it stands\ndots: middle of the versions\nband: nine of ten versions",
            transform=axes.transAxes,
            va="top",
            fontsize=13,
        )
        axes.set_xscale("log")
        axes.set_xlim(size[0], size[-1])
        round_ticks(axes.xaxis, size[0], size[-1])
        axes.set_ylim(0, 104)
        axes.set_xlabel(label("capacity", "kL"))
        axes.set_ylabel(label(measure, "%"))
    return figure


def unknowns_figure(group: xr.Dataset, words: Mapping[str, str], measure: str, chosen: float) -> Figure:
    """Draw which unknown moves the reliability of a tank most, one at a time and all at once."""
    from matplotlib import rc_context

    figure, (left, right) = new_figure("", height=4.2, ncols=2, sharey=True, width_ratios=[1.35, 1])
    names = [words[str(name)] for name in group.input.values]
    rows = np.arange(len(names))
    low, high = 100 * group.response_low.values, 100 * group.response_high.values
    best = 100 * float(group.response_best)
    with rc_context(STYLE):
        left.set_title("One at a time")
        left.barh(rows, high - low, left=low, color=MIST, edgecolor=DEEP, height=0.6, gid="reliability")
        left.axvline(best, color=DEEP, lw=1.8)
        span = max(np.ptp([*low, *high, best]), 1.0)
        for k in rows:
            for value, side in ((min(low[k], high[k]), "right"), (max(low[k], high[k]), "left")):
                shift = (-0.015 if side == "right" else 0.015) * span
                said = "over 99" if 99.5 <= value < 100 else f"{value:.0f}"
                left.text(value + shift, k, said, va="center", ha=side, fontsize=13)
        left.set_xlim(min(*low, *high) - 0.12 * span, max(*low, *high) + 0.25 * span)
        left.set_xlabel(f"{QUANTITIES[measure].long_name} of {float(f'{chosen / 1000:.2g}'):g} kL (%)")
        left.locator_params(axis="x", nbins=5)
        left.set_yticks(rows, names)
        left.invert_yaxis()
        left.grid(axis="y", visible=False)
        right.set_title("All at once")
        total, first = group.total_order.values, group.first_order.values
        for shift, share, colour, said in (
            (-0.17, total, DEEP, "with all it does together with others"),
            (0.17, np.maximum(first, 0), OCHRE, "on its own"),
        ):
            right.barh(rows + shift, share, height=0.32, color=colour, label=said, gid=said)
        right.errorbar(
            total,
            rows - 0.17,
            xerr=group.total_order_confidence.values,
            fmt="none",
            ecolor=BRICK,
            elinewidth=1.8,
            capsize=4,
        )
        top = rounded_up(float(np.nanmax(total + group.total_order_confidence.values, initial=0.1)))
        right.set_xlim(0, min(max(top, 0.1), 1.0))
        right.set_xlabel("Share of the variance")
        right.grid(axis="y", visible=False)
        right.legend(loc="lower right", frameon=True, framealpha=0.9, fontsize=12)
    return figure


POINTS = 200

"""Points of a line: more are not seen."""


def curve_figure(
    curve: xr.Dataset,
    target: float,
    chosen: float,
    *,
    measure: str = "volume_reliability",
    price_top: float | None = None,
    currency: str = "",
    figure: Figure | None = None,
) -> Figure:
    """Draw reliability with its band, and the cost of a kilolitre, over tank size."""
    priced = "per_kilolitre" in curve
    size = curve.capacity.values / 1000
    if figure is None:
        figure, axes = new_figure(
            "What a tank of each size supplies",
            height=4.2,
            ncols=1 + priced,
            width_ratios=[2.2, 1] if priced else None,
        )
        left = axes[0] if priced else axes
        left.set_ylabel(label(measure, "%"))
        left.set_ylim(0, 104)
        for one in axes if priced else [axes]:
            one.set_xscale("log")
            one.set_xlim(size[0], size[-1])
            one.set_xlabel(label("capacity", "kL"))
            round_ticks(one.xaxis, size[0], size[-1], **({} if one is left else {"steps": [1.0]}))
        if priced:
            axes[1].set_title("Cost a kilolitre", loc="left", fontsize=17, fontweight="bold")
            axes[1].set_ylabel(f"{currency} a kL")
            axes[1].set_ylim(0, price_top)
            axes[1].locator_params(axis="y", nbins=5)
    left = figure.axes[0]
    pick = np.unique(np.linspace(0, size.size - 1, min(POINTS, size.size)).round().astype(int))
    low, middle, high = (
        100 * curve[name].values for name in ("reliability_low", "reliability", "reliability_high")
    )
    band = keep(left, "band", lambda: left.fill_between([], [], color=MIST, alpha=0.7, linewidth=0))
    band.set_data(size[pick], low[pick], high[pick])
    keep(left, "curve", lambda: left.plot([], [], color=DEEP, zorder=3)[0]).set_data(size[pick], middle[pick])
    draw_target(left, target)
    _mark(left, size, middle, chosen / 1000)
    if priced:
        right = figure.axes[1]
        each = np.minimum(curve.per_kilolitre.values, 1e6)
        keep(right, "cost", lambda: right.plot([], [], color=DEEP, zorder=3)[0]).set_data(
            size[pick], each[pick]
        )
        at = float(np.interp(np.log(chosen / 1000), np.log(size), each))
        draw_dot(right, chosen / 1000, min(at, right.get_ylim()[1]))
        said = keep(
            right,
            "chosen-words",
            lambda: right.text(
                0.5, 0.05, "", transform=right.transAxes, ha="center", va="bottom", fontweight="bold"
            ),
        )
        said.set_text(f"{at:.2g} {currency} a kL" if at < 1e6 else "")
    return figure


def _mark(axes, size: np.ndarray, middle: np.ndarray, chosen: float) -> None:
    """Move the mark of the chosen size and its words, below the curve, which rises to the right."""
    reached = float(np.interp(np.log(chosen), np.log(size), middle))
    words = draw_chosen(axes, chosen, reached, f"{number(chosen, 3)} kL")
    near_end = np.log(chosen / size[0]) / np.log(size[-1] / size[0]) > 0.75
    words.set_position(
        (size[-1] * 0.97 if near_end else chosen * 1.1, max(reached - (20 if near_end else 9), 9))
    )
    words.set_ha("right" if near_end else "left")


LEVELS = (50, 60, 70, 80, 90, 95, 99)

"""Reliabilities that are drawn, per cent."""


def maps_figure(group: xr.Dataset, chosen: float, area: float, measure: str) -> Figure:
    """Draw which tanks reach which reliability, on other roofs and for another demand."""
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
