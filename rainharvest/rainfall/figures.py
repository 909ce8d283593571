"""Figures of the record: where each day comes from, dry years, fills, months, spells, heavy days.

Each takes the figure drawn before, whose artists it moves.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
import xarray as xr

from rainharvest.core import draw, style
from rainharvest.core.quantities import label
from rainharvest.core.reader import MONTHS_SHORT, measure
from rainharvest.core.style import BRICK, DEEP, INK, MIST, OCHRE, STONE, keep, new_figure, rounded_up
from rainharvest.rainfall.flags import Flag

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

PALE = "#e4eaec"
ORIGINS = ("measured", "share of a longer reading", "from a neighbour", "its own season", "unknown")
ORIGIN_COLOURS = (PALE, OCHRE, DEEP, STONE, BRICK)
# place in ORIGINS; the flags not named are measurements
ORIGIN_OF = dict.fromkeys((Flag.TOTAL, Flag.IN_TOTAL, Flag.SPREAD), 1) | {Flag.FILLED: 2, Flag.RESAMPLED: 3}
ORIGIN_OF |= dict.fromkeys((Flag.MISSING, Flag.REJECTED), 4)

SKILLS = {
    "total_error": "Total rain",
    "wet_share_error": "Wet days",
    "spell_error": "Mean dry spell",
    "longest_spell_error": "Longest dry spell",
    "reliability_error": "Reliability of a tank",
}

SPI_LINES = {-1.0: "moderately dry", -1.5: "severely dry", -2.0: "extremely dry"}

DASHED = draw.DASHED
DOT = draw.DOT | {"zorder": 4}
WHITE = {"facecolor": "white", "edgecolor": "none", "pad": 2}
LEAP = pd.date_range("2000-01-01", "2000-12-31")


def _legend(axes: Axes, colours, words, below: float) -> None:
    """Name colours below the axes."""
    look = {"fontsize": 14, "handlelength": 1.0, "handletextpad": 0.5, "columnspacing": 1.2}
    looks = {
        w: {"facecolor": c, "edgecolor": INK, "linewidth": 0.5} for c, w in zip(colours, words, strict=True)
    }
    place = {"loc": "upper center", "bbox_to_anchor": (0.5, below), "ncols": len(words)}
    draw.legend(axes, handles=draw.samples(looks), **place, **look)


def origin_figure(rain: xr.DataArray, figure: Figure | None = None) -> Figure:
    """Draw the origin of every day: a row a year, a column a day of the year."""
    from matplotlib.colors import ListedColormap

    if figure is None:
        figure, axes = new_figure("Where each day of the record comes from", height=5.4)
        axes.set(ylabel="Year", xticks=np.arange(12) * 30.5 + 15, xticklabels=MONTHS_SHORT, xlim=(0, 366))
        axes.grid(visible=False)
        axes.tick_params(axis="x", length=0)
        _legend(axes, ORIGIN_COLOURS, ORIGINS, -0.06)
    axes = figure.axes[0]
    days = rain.indexes["time"]
    first, last = days[0].year, days[-1].year
    # A leap day has a column of its own, so that a date stands in one column in every year.
    column = np.zeros((13, 32), dtype=int)
    column[LEAP.month, LEAP.day] = np.arange(366)
    picture = np.full((last - first + 1, 366), np.nan)
    origin = np.array([ORIGIN_OF.get(flag, 0) for flag in Flag])[rain["flag"].values]
    picture[days.year - first, column[days.month, days.day]] = origin
    short = ~pd.DatetimeIndex([f"{year:04d}-01-01" for year in range(first, last + 1)]).is_leap_year
    picture[short, column[2, 29]] = picture[short, column[2, 28]]  # no white stripe where there is no 29th
    look = {"cmap": ListedColormap(ORIGIN_COLOURS), "vmin": -0.5, "vmax": len(ORIGIN_COLOURS) - 0.5}
    look |= {"aspect": "auto", "interpolation": "none", "interpolation_stage": "data", "zorder": 1}
    image = keep(axes, "days", lambda: axes.imshow(picture, **look))
    image.set_data(picture)
    image.set_extent((0, 366, last + 0.5, first - 0.5))
    step = 1 if last - first < 8 else 5 if last - first < 32 else 10
    axes.set(yticks=np.arange(-(-first // step) * step, last + 1, step), ylim=(last + 0.5, first - 0.5))
    return figure


def annual_figure(
    totals: xr.DataArray, figure: Figure | None = None, changes: Mapping[str, object] | None = None
) -> Figure:
    """Draw the rain of each hydrological year, the driest, how far versions differ, and proven breaks and trend."""
    from matplotlib.ticker import MaxNLocator

    if figure is None:
        figure, axes = new_figure("The rain of each year, and the driest")
        style.number_axis(axes.yaxis, label("annual_total", "{}"), "mm")
        axes.grid(axis="x", visible=False)
        axes.xaxis.set_major_locator(MaxNLocator(8, integer=True))
    axes = figure.axes[0]
    named = label("year") + " (named by the year in which it begins)"
    axes.set_xlabel(named if totals.attrs.get("year_start_month", 1) > 1 else "Calendar year")
    axes.set_xlim(totals.year.values[0] - 1, totals.year.values[-1] + 1)
    known = totals.isel(year=np.flatnonzero(totals.notnull().all("member").values))
    years, middle = known.year.values, known.median("member").values
    low, high = known.min("member").values, known.max("member").values
    driest = int(np.argmin(middle)) if years.size else 0
    rest = np.arange(years.size) != driest
    wide = 9 if years.size < 50 else 7
    none = np.zeros_like(middle)
    draw.strokes(axes, "bars", years[rest], none[rest], middle[rest], color=MIST, linewidth=wide)
    draw.strokes(axes, "driest", years[~rest], none[~rest], middle[~rest], color=BRICK, linewidth=wide)
    apart = high - low > 1e-9
    draw.strokes(axes, "spread", years[apart], low[apart], high[apart], color=INK, linewidth=2.2, zorder=3)
    mean = float(middle.mean()) if years.size else np.nan
    draw.level(axes, "mean", mean, **DASHED | {"color": DEEP, "linewidth": 2})
    for year in (changes or {}).get("breaks", ()):
        draw.upright(axes, f"break {year}", year - 0.5, **DASHED | {"color": INK})
    if changes and changes["trend"] is not None:
        draw.line(axes, "trend", *changes["line"], color=OCHRE, linewidth=2.6, zorder=4)
    box = WHITE | {"alpha": 0.85}
    said = "mean " + measure(mean, "mm", 3) if years.size else "no year is complete"
    draw.note(axes, "words", (0.01, 0.97), said, color=DEEP, bbox=box)
    said = f"driest: {years[driest]}, " + measure(middle[driest], "mm", 3) if years.size else ""
    look = {"color": BRICK, "fontweight": "bold", "bbox": box}
    draw.note(axes, "driest-words", (0.99, 0.97), said, "right", **look)
    axes.set_ylim(0, rounded_up(1.22 * float(np.max(high, initial=1.0))))
    return figure


def double_mass_figure(mass: xr.Dataset, figure: Figure | None = None) -> Figure:
    """Draw the record's accumulated rain against its neighbours': straight where their relation held."""
    if figure is None:
        title = "Rain here against rain at the neighbours, added up year by year"
        figure, axes = new_figure(title, height=4.4)
        axes.set(xlabel="Mean of the neighbours, added up (m)", ylabel="Rain here, added up (m)")
    axes = figure.axes[0]
    here, there, year = mass.here.values / 1000, mass.there.values / 1000, mass.year.values
    ends = ([0, there[-1]], [0, here[-1]]) if year.size else ([], [])
    draw.line(axes, "line", *ends, **DASHED)
    draw.line(axes, "years", there, here, marker="o", linestyle="", ms=7, color=DEEP)
    shown = [k for k in range(year.size) if year[k] % 10 == 0 and here[k] > 0.12 * here[-1]]
    look = {"textcoords": "offset points", "ha": "left", "va": "top"}
    for k in range(12):  # a decade a label; those not needed are empty
        words = keep(axes, f"year-{k}", lambda: axes.annotate("", (0, 0), (9, -9), **look))
        words.set_text(str(year[shown[k]]) if k < len(shown) else "")
        words.xy = (there[shown[k]], here[shown[k]]) if k < len(shown) else (0, 0)
    said = "" if year.size else "no neighbour to compare with"
    draw.note(axes, "none", (0.5, 0.5), said, "center", "center", fontsize=16)
    axes.set_xlim(0, rounded_up(1.05 * there[-1]) if year.size else 1)
    axes.set_ylim(0, rounded_up(1.05 * here[-1]) if year.size else 1)
    return figure


def skill_figure(skill: xr.Dataset, figure: Figure | None = None) -> Figure:
    """Draw how far a fill, and the mean of the season, err on days that were known and hidden."""
    if figure is None:
        figure, axes = new_figure("Known days hidden and filled: how far off is the record then?", height=5.2)
        axes.set_xlabel("Error of the whole record (%; for wet days and reliability: percentage points)")
        axes.set(yticks=np.arange(len(SKILLS)), yticklabels=SKILLS.values(), ylim=(len(SKILLS) - 0.4, -0.6))
        axes.grid(axis="y", visible=False)
        axes.axvline(0, color=INK, linewidth=1.2)
        _legend(axes, (DEEP, OCHRE), ("this fill", "mean of the season, the plainest fill"), -0.17)
    axes = figure.axes[0]
    table = 100 * np.array([skill[name].values for name in SKILLS])
    known = np.append(table[np.isfinite(table)], 0.0)
    high, low = max(float(known.max()), 0.8), max(float(-known.min()), 0.8)
    room = 0.14 * (high + low)  # for the figure beside a bar
    right, left = rounded_up(1.05 * high + room), rounded_up(1.05 * low + room)
    for j, (filling, colour) in enumerate(zip(skill.way_filled.values, (DEEP, OCHRE), strict=True)):
        look = {"color": colour, "edgecolor": INK, "linewidth": 0.6}
        for i, value in enumerate(table[:, j]):
            y, width = i - 0.2 + 0.4 * j, np.nan_to_num(value)
            draw.bar(axes, f"{filling} {i}", y, width, 0.36, **look)
            said = f"{value:+z.1f}".replace("-", "−") if np.isfinite(value) else "not known"
            place = width + (-0.01 if value < 0 else 0.01) * (left + right), y
            side = "right" if value < 0 else "left"
            draw.words(axes, f"words {filling} {i}", place, said, side, "center")
    axes.set_xlim(-left, right)
    return figure


def return_levels_figure(levels: xr.Dataset, years: float, figure: Figure | None = None) -> Figure:
    """Draw the daily rain to expect once in so many years."""
    period = levels.return_period.values
    if figure is None:
        figure, axes = new_figure("Heavy days: once in so many years")
        axes.set(xscale="log", xlabel=label("return_period"), ylabel=label("return_level"))
        axes.set(xlim=(period[0], period[-1]), xticks=period, xticklabels=[f"{p:g}" for p in period])
        axes.minorticks_off()
    axes = figure.axes[0]
    level = levels.return_level.values
    low, high = levels.return_level_low.values, levels.return_level_high.values
    known = np.isfinite(level) & np.isfinite(low) & np.isfinite(high)
    draw.band(axes, "band", period[known], low[known], high[known], alpha=0.7)
    draw.line(axes, "line", period, level, marker="o", color=DEEP, ms=9, clip_on=False)
    draw.upright(axes, "end", min(max(years, period[0]), period[-1]), **DASHED)
    said = f"band: 95 % interval; right of the dashed line, beyond {years:.0f} years: extrapolated"
    said = said if np.isfinite(level).any() else "too few heavy days to say"
    draw.note(axes, "note", (0.005, 0.98), said, bbox=WHITE)
    tallest = np.concatenate([level[np.isfinite(level)], high[known], [1.0]])
    axes.set_ylim(0, rounded_up(1.25 * float(tallest.max())))
    return figure


def monthly_figure(found: xr.Dataset, figure: Figure | None = None) -> Figure:
    """Draw the mean rain of each calendar month, and what nine and one year in ten stay below."""
    month = np.arange(1, 13)
    if figure is None:
        figure, axes = new_figure("Rain through the year")
        axes.set(ylabel=label("month_mean"), xticks=month, xticklabels=MONTHS_SHORT, xlim=(0.4, 12.6))
        axes.grid(axis="x", visible=False)
    axes = figure.axes[0]
    mean = found.month_mean.values
    low, middle, high = found.month_share.sel(share=[0.1, 0.5, 0.9]).values.T
    draw.strokes(axes, "bars", month, np.zeros(12), mean, color=MIST, linewidth=38)
    draw.strokes(axes, "spread", month, low, high, color=DEEP, linewidth=3, zorder=3)
    draw.line(axes, "middle", month, middle, ms=9, **DOT)
    said = "bar: mean · dot: middle year · line: 8 years of 10"
    draw.note(axes, "words", (0.995, 1.02), said, "right", "bottom")
    axes.set_ylim(0, rounded_up(1.05 * float(np.nanmax(high, initial=1.0))))
    return figure


def spells_figure(found: xr.Dataset, figure: Figure | None = None) -> Figure:
    """Draw how often a dry spell lasts at least so long, and the longest."""
    if figure is None:
        figure, axes = new_figure("How often a dry spell lasts at least so long")
        axes.set(xscale="log", yscale="log", xlabel=label("spell_days"), ylabel="Spells a year")
    axes = figure.axes[0]
    days, rate = found.spell_days.values, found.spells_a_year.values
    draw.line(axes, "spells", days, rate, color=DEEP, drawstyle="steps-pre")
    draw.level(axes, "once", 1, **DASHED)
    draw.beside(axes, "once-words", (0.005, 1.06), "once a year", va="bottom", color=STONE)
    draw.line(axes, "longest", days[-1:], rate[-1:], ms=13, clip_on=False, **DOT)
    said = f"longest: {days[-1]} days" if days.size else ""
    draw.note(axes, "longest-words", (0.99, 0.95), said, "right", fontweight="bold")
    right = rounded_up(1.05 * days[-1]) if days.size else 10
    bottom = 10.0 ** np.floor(np.log10(rate[-1] * 0.8)) if days.size and rate[-1] > 0 else 0.01
    top = rounded_up(1.1 * rate[0]) if days.size else 100
    if (axes.get_xlim(), axes.get_ylim()) != ((1, right), (bottom, top)):
        axes.set(xlim=(1, right), ylim=(bottom, top))
        style.round_ticks(axes.xaxis, 1, min(right, 500))
        style.round_ticks(axes.yaxis, bottom, top, (1.0,))
    return figure


def spi_figure(spi: xr.DataArray, figure: Figure | None = None) -> Figure:
    """Draw the standardised precipitation index through the record."""
    import matplotlib.dates as dates

    if figure is None:
        figure, axes = new_figure("")
        axes.set(xlabel="Month", ylabel=label("spi"), ylim=(-3.6, 3.6), yticks=range(-3, 4))
        axes.xaxis.set_major_formatter(dates.DateFormatter("%Y"))
    axes = figure.axes[0]
    months = f"{int(spi.scale)} month{'s' if int(spi.scale) > 1 else ''}"
    title = f"Wet and dry times: the rain of {months} against normal"
    axes.set_title(title, **style.TITLE)
    month, value = dates.date2num(spi.month.values), np.nan_to_num(spi.values)
    for name, part, colour in (("wet", np.maximum(value, 0), MIST), ("dry", np.minimum(value, 0), BRICK)):
        draw.band(axes, name, month, 0.0, part, color=colour, linewidth=0.4, step="mid")
    for edge, words in SPI_LINES.items():
        look = {"color": INK, "linewidth": 1, "linestyle": (0, (4, 3)), "zorder": 3}
        draw.level(axes, f"edge {edge}", edge, **look)
        draw.beside(axes, f"words {edge}", (1.005, edge), words, va="center", fontsize=13)
    draw.level(axes, "zero", 0, color=INK, linewidth=1.2, zorder=3)
    span = (month[-1] - month[0]) / 365.25
    axes.set_xlim(month[0], month[-1])
    axes.xaxis.set_major_locator(dates.YearLocator(10 if span > 35 else 5 if span > 12 else 1))
    return figure
