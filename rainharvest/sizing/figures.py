"""Figures of the tank-size decision: the curve, its band, its maps, its costs, the short ways held to account."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import wraps
from typing import TYPE_CHECKING

import numpy as np
import xarray as xr

from rainharvest.core import draw
from rainharvest.core.quantities import QUANTITIES, label
from rainharvest.core.reader import litres, number, percent, rounded
from rainharvest.core.reader import middle as middle_of
from rainharvest.core.style import (
    BRICK,
    DASHES,
    DEEP,
    INK,
    MIST,
    OCHRE,
    STONE,
    STYLE,
    TITLE,
    new_figure,
    number_axis,
    round_ticks,
    rounded_up,
)
from rainharvest.sizing.facts_printed import INPUTS, offered
from rainharvest.sizing.trade_off import AREAS, DEMANDS, whole_years

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

CHOSEN = draw.DOT | {"ms": 13, "mew": 1.5, "clip_on": False}

POINTED = {"arrowstyle": "-", "color": INK, "lw": 1.0, "shrinkB": 8}


def _in_style(make: Callable) -> Callable:
    """Draw in the style of the house, where a figure is made anew and no artist is kept."""

    @wraps(make)
    def drawn(*facts, **more):
        from matplotlib import rc_context

        with rc_context(STYLE):
            return make(*facts, **more)

    return drawn


def _size_axis(axes: Axes, size: np.ndarray, **ticks) -> None:
    """Lay tank sizes in kilolitres along the x axis, in multiples."""
    axes.set_xscale("log")
    axes.set_xlim(size[0], size[-1])
    factor = number_axis(axes.xaxis, label("capacity", "{}"), "kL")
    round_ticks(axes.xaxis, size[0], size[-1], factor=factor, **ticks)


def _share_axis(axes: Axes, measure: str) -> None:
    """Lay a reliability along the y axis, in per cent."""
    axes.set_ylabel(label(measure, "%"))
    axes.set_ylim(0, 104)


def _measure_of(group: xr.Dataset) -> str:
    """Return in words the reliability that was aimed at."""
    return QUANTITIES[group.attrs["measure"]].long_name


def _annotate(axes: Axes, words: str, point: tuple[float, float], place: tuple[float, float]) -> None:
    """Name a point, with a line from it to its words at the right."""
    look = {"ha": "right", "fontweight": "bold", "arrowprops": POINTED}
    axes.annotate(words, point, place, textcoords="axes fraction", **look)


def trade_off_figure(
    curve: xr.Dataset, measure: str, target: float, chosen: float, figure: Figure | None = None
) -> Figure:
    """Draw reliability against tank size, the target, and the size chosen."""
    size, chosen_shown = curve.capacity.values / 1000, chosen / 1000
    span = np.array([min(size[0], chosen_shown), max(size[-1], chosen_shown)])  # the axis holds its mark
    if figure is None:
        figure, axes = new_figure("What a tank of each size supplies")
        _share_axis(axes, measure)
        _size_axis(axes, span)
    axes = figure.axes[0]
    share = 100 * curve[measure]
    middle = low = high = share.median("member").values if "member" in share.dims else share.values
    if share.sizes.get("member", 1) > 1:
        low, high = share.quantile([0.05, 0.95], dim="member", method="weibull").values
    reached = 100 * middle_of(curve.described_rain_reliability)
    held = litres(chosen)
    _draw_curve(axes, size, (low, middle, high), target, (chosen_shown, reached, held), span)
    if axes.get_xlim() != tuple(span):
        _size_axis(axes, span)
    return figure


LETTER = 0.019

"""Width of a bold letter of the words beside the mark, as a share of the axis in the sizing panel, the narrowest."""


def _draw_curve(axes: Axes, size, shares, target: float, mark: tuple[float, float, str], span) -> None:
    """Draw a curve in its band, the target, and the size chosen with its words, where they cross nothing."""
    low, middle, high = shares
    draw.band(axes, "band", size, low, high, alpha=0.7)
    draw.line(axes, "curve", size, middle, color=DEEP, zorder=3)
    draw.target(axes, target)
    at, reached, held = mark
    draw.line(axes, "chosen", [at], [reached], zorder=4, **CHOSEN)
    # The curve rises to the right: below it and to the right the words cross nothing.
    near_end = np.log(at / span[0]) / np.log(span[-1] / span[0]) > 0.75
    below = reached - (9 if near_end else 4)
    if -9 < below - 100 * target < 3:
        below = 100 * target - 6  # below the target's line, not on it
    look = {"fontweight": "bold", "zorder": 5, "bbox": WHITE | {"pad": 1}}
    said, side, up = f"{held}: {percent(reached / 100, target)}", "right" if near_end else "left", "top"
    if near_end:  # the words stretch to the left, where the curve lies lower
        begin = span[-1] * (span[0] / span[-1]) ** (0.02 + LETTER * len(said))
        below = min(below, float(np.interp(np.log(begin), np.log(size), low)) - 3)
        if below < 9:  # no room down there
            below, up = float(np.max(high)) + 4, "bottom"
    place = span[-1] * 0.98 if near_end else at * 1.08, max(below, 9)  # clear of the axis
    draw.words(axes, "chosen-words", place, said, side, up, **look)


def failed_years_figure(
    failed: xr.DataArray, days_in_year: xr.DataArray, figure: Figure | None = None
) -> Figure:
    """Draw the failed days of each hydrological year."""
    if figure is None:
        figure, axes = new_figure("In which years it fails")
        axes.set_xlabel(label("year") + " (named by the year in which it begins)")
        axes.set_ylabel("Days failed")
        axes.grid(axis="x", visible=False)
    axes = figure.axes[0]
    whole = whole_years(days_in_year.values)
    values = (failed.median("member") if "member" in failed.dims else failed).values[whole]
    years = failed.year.values[whole]
    draw.strokes(axes, "bars", years, 0.0, values, color=BRICK, linewidth=7)
    bold = {"va": "bottom", "fontweight": "bold"}
    if not years.size:
        draw.words(axes, "worst", (0, 0), "no whole year in the record", **bold)
        axes.set_xticks([])
        return figure
    worst = int(np.argmax(values))
    top = rounded_up(1.18 * max(float(values[worst]), 4.0))
    left = years[worst] > years.mean()
    said = f"worst: {years[worst]}, {values[worst]:.0f} days" if values[worst] > 0 else ""
    place = years[worst] + (0.6 if left else -0.6), values[worst] + 0.01 * top
    draw.words(axes, "worst", place, said, "right" if left else "left", **bold)
    axes.set_xlim(years[0] - 1, years[-1] + 1)
    axes.set_ylim(0, top)
    return figure


@_in_style
def band_figure(group: xr.Dataset) -> Figure:
    """Draw the curve of the record in the band of the draws, and the two sizes that reach the target."""
    figure, axes = new_figure("How sure: the record, and what else may come", height=4.4)
    target = group.attrs["target"]
    size = group.capacity.values / 1000
    low, high = 100 * group.reliability_low, 100 * group.reliability_high
    axes.fill_between(size, low, high, color=MIST, alpha=0.7, lw=0, gid="band")
    axes.plot(size, 100 * group.reliability_on_record, color=DEEP, zorder=3, gid="on the record")
    look = {"color": INK, "linestyle": DASHES[2], "lw": 1.8, "zorder": 3, "gid": "middle of the versions"}
    axes.plot(size, 100 * group.reliability_middle, **look)
    _size_axis(axes, size)
    _share_axis(axes, group.attrs["measure"])
    draw.target(axes, target)
    own, sure = float(group.size_on_record) / 1000, float(group.sure_size) / 1000
    places = [(own, "on the record", DEEP), (sure, "in 9 of 10 versions", OCHRE)]
    if abs(sure - own) < 0.03 * own:  # one mark: the two would hide each other
        places = [(max(own, sure), "on the record and in 9 of 10 versions", OCHRE)]
    for k, (at, words, colour) in enumerate(places):
        if not size[0] <= at <= size[-1]:  # no tank, or none of those drawn
            continue
        axes.plot([at], [100 * target], **CHOSEN | {"color": colour, "zorder": 5})
        nominal = litres(1000 * at / group.attrs["usable_share"], up=True)
        _annotate(axes, f"{nominal} nominal {words}", (at, 100 * target), (0.98, 0.10 + 0.13 * (1 - k)))
    said = "line: the record as it stands\ndots: middle of the versions\nband: nine of ten versions"
    axes.text(0.02, 0.80, said, transform=axes.transAxes, va="top", fontsize=13)
    return figure


@_in_style
def unknowns_figure(group: xr.Dataset, chosen: float) -> Figure:
    """Draw which unknown moves the reliability of a tank most, one at a time and all at once."""
    figure, (left, right) = new_figure("", height=4.2, ncols=2, sharey=True, width_ratios=[1.35, 1])
    names = [INPUTS[str(name)] for name in group.input.values]
    rows = np.arange(len(names))
    low, high = 100 * group.response_low.values, 100 * group.response_high.values
    best = 100 * float(group.response_best)
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
    left.set_xlabel(f"{_measure_of(group)} of {litres(chosen)} (%)")
    left.locator_params(axis="x", nbins=5)
    left.set_yticks(rows, names)
    left.invert_yaxis()
    left.grid(axis="y", visible=False)
    right.set_title("All at once")
    total, first = 100 * group.total_order.values, 100 * group.first_order.values
    for shift, share, colour, said in (
        (-0.17, total, DEEP, "with all it does together with others"),
        (0.17, np.maximum(first, 0), OCHRE, "on its own"),
    ):
        right.barh(rows + shift, share, height=0.32, color=colour, label=said, gid=said)
    sure = 100 * group.total_order_confidence.values
    look = {"fmt": "none", "ecolor": BRICK, "elinewidth": 1.8, "capsize": 4, "label": "how far that is sure"}
    right.errorbar(total, rows - 0.17, xerr=sure, **look)
    top = rounded_up(float(np.nanmax(total + sure, initial=10.0)))
    right.set_xlim(0, min(top, 100.0))
    right.set_xlabel("Share of the variance (%)")
    right.grid(axis="y", visible=False)
    # below the axis: the least of the unknowns, at the foot, would lie under it
    right.legend(loc="upper right", bbox_to_anchor=(1.02, -0.2), frameon=False, fontsize=13)
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
    size, chosen = curve.capacity.values / 1000, chosen / 1000
    if figure is None:
        more = {"ncols": 2, "width_ratios": [2.2, 1]} if priced else {}
        figure, _ = new_figure("What a tank of each size supplies", height=4.2, **more)
        _share_axis(figure.axes[0], measure)
        _size_axis(figure.axes[0], size)
        if priced:
            right = figure.axes[1]
            _size_axis(right, size, steps=[1.0])
            right.set_title("Cost a kilolitre", **TITLE)
            right.set_ylabel(f"{currency} a kL")
            right.set_ylim(0, price_top)
            right.locator_params(axis="y", nbins=5)
    left = figure.axes[0]
    pick = np.unique(np.linspace(0, size.size - 1, min(POINTS, size.size)).round().astype(int))
    low, middle, high = (100 * curve[f"reliability{end}"].values for end in ("_low", "", "_high"))
    reached = float(np.interp(np.log(chosen), np.log(size), middle))
    shares, mark = (low[pick], middle[pick], high[pick]), (chosen, reached, f"{number(chosen, 3)} kL")
    _draw_curve(left, size[pick], shares, target, mark, size)
    if priced:
        _draw_price(figure.axes[1], size, curve.per_kilolitre.values, pick, chosen, currency)
    return figure


def _draw_price(axes: Axes, size, each, pick, chosen: float, currency: str) -> None:
    """Draw the cost of a kilolitre and the mark of the chosen size on it."""
    each = np.minimum(each, 1e6)
    draw.line(axes, "cost", size[pick], each[pick], color=DEEP, zorder=3)
    at = float(np.interp(np.log(chosen), np.log(size), each))
    beyond = at > axes.get_ylim()[1]
    draw.line(axes, "chosen", *([], []) if beyond else ([chosen], [at]), zorder=4, **CHOSEN)
    said = f"{number(at, 2)} {currency} a kL" if at < 1e6 else ""
    said = f"beyond the axis:\n{said}" if said and beyond else said
    draw.note(axes, "chosen-words", (0.5, 0.05), said, "center", "bottom", fontweight="bold")


LEVELS = (50, 60, 70, 80, 90, 95, 99)

"""Reliabilities that are drawn, per cent."""


@_in_style
def maps_figure(group: xr.Dataset, chosen: float) -> Figure:
    """Draw which tanks reach which reliability, on other roofs and for another demand."""
    figure, both = new_figure("", height=4.6, ncols=2, sharey=True)
    _map(both[0], group.reliability_by_area, "area", chosen, AREAS)
    _map(both[1], group.reliability_by_demand, "demand_factor", chosen, DEMANDS)
    both[1].set_ylabel("")
    for axes, words in zip(both, ("Tank and roof", "Tank and demand"), strict=True):
        axes.set_title(words)
    title = f"{_measure_of(group)} (%): every tank on a line does as well"
    figure.suptitle(title, x=0.01, ha="left", fontsize=15)
    return figure


def _map(axes: Axes, share: xr.DataArray, across: str, chosen: float, multiples: Sequence[float]) -> None:
    """Draw one map, which holds these multiples of the study's own roof or demand, and mark the study on it."""
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
    chosen = chosen / 1000
    axes.plot(x[multiples.index(1.0)], chosen, "o", ms=13, mec="white", mew=2.0, color=OCHRE, zorder=5)
    axes.set_yscale("log")
    axes.set_ylim(max(y[0], chosen / 40), min(y[-1], chosen * 6))
    factor = number_axis(axes.yaxis, label("capacity", "{}"), "kL")
    round_ticks(axes.yaxis, *axes.get_ylim(), factor=factor)
    axes.grid(visible=False)
    unit = QUANTITIES[across].unit
    number_axis(axes.xaxis, label(across) if unit == "1" else label(across, "{}"), unit)
    axes.locator_params(axis="x", nbins=5)


def _label_places(
    values: np.ndarray, x: np.ndarray, y: np.ndarray, across: str
) -> dict[int, tuple[float, float]]:
    """Return where each line is named: on a cut across the map on which the lines lie well apart."""
    if across == "area":  # a cut from below to above, at large roofs
        at = x[0] + 0.8 * (x[-1] - x[0])
        cut = np.array([np.interp(at, x, row) for row in values])
        places = {level: (at, float(np.exp(np.interp(level, cut, np.log(y))))) for level in LEVELS}
    else:  # a cut from left to right, a third of the way up
        k = int(0.62 * y.size)
        cut = values[k][::-1]
        places = {level: (float(np.interp(level, cut, x[::-1])), float(y[k])) for level in LEVELS}
    clear = x[0] + 0.06 * (x[-1] - x[0])
    return {lev: at for lev, at in places.items() if cut.max() > lev > cut.min() and at[0] > clear}


PARTS = (("capital", DEEP, ""), ("replacements", OCHRE, "//"), ("running", MIST, ".."))


@_in_style
def front_figure(group: xr.Dataset, marked: int | None) -> Figure:
    """Draw what the tanks on offer cost a year against what they supply."""
    figure, axes = new_figure("What reliability costs: the tanks on offer", height=4.6)
    cost, worth = group.option_annual.values, 100 * group.option_reliability.values
    front = group.option_efficient.values.astype(bool)
    currency, target = group.attrs["currency"], group.attrs["target"]
    draw.target(axes, target)
    order = np.flatnonzero(front)[np.argsort(cost[front])]
    axes.plot(cost[order], worth[order], "-", color=DEEP, lw=1.8, zorder=2)
    axes.plot(cost[front], worth[front], "o", ms=8, color=DEEP, zorder=3, gid="on the front")
    axes.plot(cost[~front], worth[~front], "x", ms=8, mew=2, color=BRICK, zorder=3, gid="bettered")
    if marked is not None:
        point = cost[marked], worth[marked]
        axes.plot(*([at] for at in point), "o", ms=14, mec=INK, mew=1.5, color=OCHRE, zorder=4)
        words = f"{offered(group.option.values[marked])}: {number(rounded(cost[marked]))} {currency} a year"
        _annotate(axes, words, point, (0.98, 0.30))
    said = "dots: nothing else does as well for less" + ("" if front.all() else " · crosses: bettered")
    axes.text(0.98, 0.05, said, transform=axes.transAxes, ha="right", fontsize=13)
    axes.set_xlim(0, None)
    axes.set_ylim(max(0, min(worth.min() - 5, 100 * target - 20)), 103)
    axes.xaxis.set_major_formatter(lambda value, _: number(value))
    axes.set_xlabel(f"{QUANTITIES['annual'].long_name} ({currency})")
    axes.set_ylabel(f"{_measure_of(group)} (%)")
    return figure


@_in_style
def money_figure(group: xr.Dataset, picked: list[int]) -> Figure:
    """Draw what a few combinations cost over the years, by what it goes into, beside what they save."""
    figure, axes = new_figure("Present worth over the years", height=1.8 + 0.72 * len(picked))
    some = group.isel(option=picked)
    rows = np.arange(len(picked))
    currency = group.attrs["currency"]
    base = np.zeros(len(picked))
    for name, colour, hatch in PARTS:
        width = some[f"option_{name}"].values
        look = {"color": colour, "hatch": hatch, "edgecolor": "white", "gid": name}
        words = QUANTITIES[name].long_name.lower()
        axes.barh(rows - 0.2, width, 0.36, left=base, label=words, **look)
        base = base + width
    saved = some.option_net_present_value.values + base - some.option_residual.values
    look = {"color": "white", "edgecolor": DEEP, "lw": 1.5}
    axes.barh(rows + 0.2, saved, 0.36, **look, label="mains water saved", gid="mains water saved")
    for k in rows:
        value = float(some.option_net_present_value[k])
        sign = "+" if value >= 0 else "\N{MINUS SIGN}"
        words = f"  {sign}{number(abs(round(rounded(value))))}"
        axes.text(max(base[k], saved[k]) * 1.01, k, words, va="center", fontweight="bold")
    axes.set_yticks(rows, [offered(words) for words in some.option.values])
    axes.invert_yaxis()
    axes.set_xlim(0, rounded_up(1.18 * max(base.max(), saved.max(), 1.0)))
    axes.xaxis.set_major_formatter(lambda value, _: number(value))
    axes.set_xlabel(f"{currency}; in bold the net present value")
    axes.grid(axis="y", visible=False)
    axes.legend(loc="upper center", bbox_to_anchor=(0.45, -0.28), ncols=4, frameon=False, fontsize=13)
    return figure


WHITE = {"facecolor": "white", "edgecolor": "none", "pad": 0.5}


@_in_style
def shortcuts_figure(group: xr.Dataset) -> Figure:
    """Draw what each short way recommends, and what that tank would really have supplied."""
    figure, (left, right) = new_figure("", height=4.4, ncols=2, sharey=True)
    size, target = group.size_by_way.values / 1000, group.attrs["target"]
    reached = 100 * group[f"way_{group.attrs['measure']}"].values
    rows = np.arange(size.size)
    left.set_title("What it recommends")
    top = rounded_up(1.2 * np.nanmax(size, initial=0.001))
    for k in rows:
        if np.isfinite(size[k]):
            left.barh(k, size[k], 0.6, color=MIST if k else DEEP, edgecolor=DEEP, gid="recommended")
            left.text(size[k] + 0.015 * top, k, f"{rounded(size[k]):g}", va="center")
        else:
            left.text(0.015 * top, k, "no answer: more asked than comes in", va="center", fontsize=12)
    left.set_xlim(0, top)
    left.set_xlabel(label("capacity", "kL"))
    left.set_yticks(rows, [str(way) for way in group.way.values])
    left.set_ylim(rows[-1] + 1.0, -0.7)
    left.grid(axis="y", visible=False)
    right.set_title("What that really supplies")
    right.axvline(100 * target, **draw.DASHED)
    least = 100 * target - 0.05
    for k in rows:
        if np.isfinite(reached[k]):
            right.plot([0, reached[k]], [k, k], color=STONE, lw=1.5)
            words = percent(reached[k] / 100, target if reached[k] < least else None)
            right.text(reached[k] - 4, k - 0.12, words, va="bottom", ha="right", bbox=WHITE)
    for which, mark, colour, said in (
        (reached >= least, "o", OCHRE, "reaches the target"),
        (reached < least, "X", BRICK, "falls short of the target"),
    ):
        right.plot(reached[which], rows[which], mark, ms=13, mec=INK, color=colour, gid=said)
    right.set_xlim(0, 104)
    right.set_xlabel(f"{_measure_of(group)} (%)")
    right.text(100 * target - 1, rows[-1] + 0.75, "target", ha="right", color=STONE, fontsize=13)
    right.grid(axis="y", visible=False)
    return figure


@_in_style
def step_figure(done: xr.Dataset) -> Figure:
    """Draw how far each rule of spillage is off at a daily step."""
    figure, axes = new_figure("How far the daily step is off", height=4.0)
    size = done.capacity.values / 1000
    looks = zip(done.rule.values, (DEEP, OCHRE, BRICK), DASHES, strict=False)
    axes.axhline(0, color=STONE, lw=1.5)
    for rule, colour, dash in looks:
        error = 100 * done.step_error.sel(rule=rule).values
        axes.plot(size, error, color=colour, linestyle=dash, gid=str(rule))
        k = int(np.argmax(abs(error)))
        axes.annotate(
            str(rule),
            (size[k], error[k]),
            (14, -30 if rule == "between" else 8 if error[k] >= 0 else -14),
            textcoords="offset points",
            fontweight="bold",
            color=INK,
        )
    _size_axis(axes, size)
    most = rounded_up(1.25 * float(abs(done.step_error).max()) * 100)
    axes.set_ylim(-most, most)
    axes.set_ylabel("Error of the volume\nreliability (percentage points)")
    return figure
