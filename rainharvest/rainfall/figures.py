"""Figures of the record: where each day comes from, dry years, fills, months, spells, heavy days."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
import xarray as xr

from rainharvest.core.quantities import label
from rainharvest.core.style import BRICK, DEEP, INK, MIST, OCHRE, STONE, STYLE, keep, new_figure, rounded_up
from rainharvest.rainfall.flags import Flag

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure


MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")

PALE = "#e4eaec"

ORIGINS = ("measured", "share of a longer reading", "from a neighbour", "its own season", "unknown")

ORIGIN_COLOURS = (PALE, OCHRE, DEEP, STONE, BRICK)

ORIGIN_OF = {
    Flag.TOTAL: 1,
    Flag.IN_TOTAL: 1,
    Flag.SPREAD: 1,
    Flag.FILLED: 2,
    Flag.RESAMPLED: 3,
    Flag.MISSING: 4,
    Flag.REJECTED: 4,
}

"""Place in ``ORIGINS`` of each flag; the other flags are measurements."""

SKILLS = {
    "total_error": "Total rain",
    "wet_share_error": "Wet days",
    "spell_error": "Mean dry spell",
    "longest_spell_error": "Longest dry spell",
    "reliability_error": "Reliability of a tank",
}


def _legend(axes: Axes, colours, words, below: float) -> None:
    from matplotlib import rc_context
    from matplotlib.patches import Patch

    with rc_context(STYLE):
        axes.legend(
            handles=[
                Patch(facecolor=c, edgecolor=INK, linewidth=0.5, label=w)
                for c, w in zip(colours, words, strict=True)
            ],
            loc="upper center",
            bbox_to_anchor=(0.5, below),
            ncols=len(words),
            frameon=False,
            fontsize=14,
            handlelength=1.0,
            handletextpad=0.5,
            columnspacing=1.2,
        )


def origin_figure(rain: xr.DataArray, figure: Figure | None = None) -> Figure:
    """Draw the origin of every day: a row a year, a column a day of the year."""
    from matplotlib.colors import ListedColormap

    if figure is None:
        figure, axes = new_figure("Where each day of the record comes from", height=5.4)
        axes.set_ylabel("Year")
        axes.grid(visible=False)
        axes.set_xticks(np.arange(12) * 30.5 + 15, MONTHS)
        axes.tick_params(axis="x", length=0)
        _legend(axes, ORIGIN_COLOURS, ORIGINS, -0.06)
    axes = figure.axes[0]
    days = rain.indexes["time"]
    origin = np.array([ORIGIN_OF.get(flag, 0) for flag in Flag])[rain["flag"].values]
    first, last = days[0].year, days[-1].year
    # A leap day has a column of its own, so that a date stands in one column in every year.
    column = (days.month.to_numpy() - 1) * 31 + days.day.to_numpy() - 1
    place = {c: k for k, c in enumerate(np.unique((_leap().month - 1) * 31 + _leap().day - 1))}
    picture = np.full((last - first + 1, 366), np.nan)
    picture[days.year.to_numpy() - first, [place[c] for c in column]] = origin
    short = ~pd.DatetimeIndex([f"{year:04d}-01-01" for year in range(first, last + 1)]).is_leap_year
    picture[short, place[31 + 28]] = picture[short, place[31 + 27]]  # no white stripe where there is no 29th
    look = {"cmap": ListedColormap(ORIGIN_COLOURS), "vmin": -0.5, "vmax": len(ORIGIN_COLOURS) - 0.5}
    image = keep(
        axes,
        "days",
        lambda: axes.imshow(
            picture, aspect="auto", interpolation="nearest", interpolation_stage="data", zorder=1, **look
        ),
    )
    image.set_data(picture)
    image.set_extent((0, 366, last + 0.5, first - 0.5))
    axes.set_xlim(0, 366)
    axes.set_ylim(last + 0.5, first - 0.5)
    step = 1 if last - first < 8 else 5 if last - first < 32 else 10
    axes.set_yticks(np.arange(-(-first // step) * step, last + 1, step))
    return figure


def _leap() -> pd.DatetimeIndex:
    return pd.date_range("2000-01-01", "2000-12-31")


def annual_figure(totals: xr.DataArray, figure: Figure | None = None) -> Figure:
    """Draw the rain of each hydrological year, the driest marked, and how far filled versions differ."""
    from matplotlib.ticker import MaxNLocator

    if figure is None:
        figure, axes = new_figure("The rain of each year, and the driest")
        axes.set_ylabel(label("annual_total"))
        axes.grid(axis="x", visible=False)
        axes.xaxis.set_major_locator(MaxNLocator(8, integer=True))
    axes = figure.axes[0]
    named = label("year") + " (named by the year in which it begins)"
    axes.set_xlabel(named if totals.attrs.get("year_start_month", 1) > 1 else "Calendar year")
    axes.set_xlim(totals.year.values[0] - 1, totals.year.values[-1] + 1)
    known = totals.notnull().all("member") if "member" in totals.dims else totals.notnull()
    totals, years = totals[..., known.values], totals.year.values[known.values]
    versions = totals if "member" in totals.dims else totals.expand_dims("member")
    middle, low, high = (
        versions.median("member").values,
        versions.min("member").values,
        versions.max("member").values,
    )
    driest = int(np.argmin(middle)) if years.size else 0
    rest = np.arange(years.size) != driest
    wide = 9 if years.size < 50 else 7
    bars = keep(axes, "bars", lambda: axes.vlines([0], [0], [0], color=MIST, linewidth=wide))
    bars.set_segments([[(y, 0), (y, v)] for y, v in zip(years[rest], middle[rest], strict=True)])
    least = keep(axes, "driest", lambda: axes.vlines([0], [0], [0], color=BRICK, linewidth=wide))
    least.set_segments([[(y, 0), (y, v)] for y, v in zip(years[~rest], middle[~rest], strict=True)])
    spread = keep(axes, "spread", lambda: axes.vlines([0], [0], [0], color=INK, linewidth=2.2, zorder=3))
    spread.set_segments(
        [[(y, a), (y, b)] for y, a, b in zip(years, low, high, strict=True) if b - a > 1e-9]
        or [[(np.nan, np.nan)] * 2]
    )
    mean = float(middle.mean()) if years.size else np.nan
    keep(axes, "mean", lambda: axes.axhline(0, color=DEEP, linewidth=2, linestyle=(0, (6, 3)))).set_ydata(
        [mean] * 2
    )
    top = rounded_up(1.22 * float(np.max(high, initial=1.0)))
    box = {"facecolor": "white", "edgecolor": "none", "pad": 2, "alpha": 0.85}
    words = keep(
        axes,
        "words",
        lambda: axes.text(0.01, 0.97, "", transform=axes.transAxes, va="top", color=DEEP, bbox=box),
    )
    words.set_text(f"mean {mean:,.0f} mm" if years.size else "no year is complete")
    mark = keep(
        axes,
        "driest-words",
        lambda: axes.text(
            0.99,
            0.97,
            "",
            transform=axes.transAxes,
            va="top",
            ha="right",
            color=BRICK,
            fontweight="bold",
            bbox=box,
        ),
    )
    mark.set_text(f"driest: {years[driest]}, {middle[driest]:,.0f} mm" if years.size else "")
    axes.set_ylim(0, top)
    return figure


def double_mass_figure(mass: xr.Dataset, figure: Figure | None = None) -> Figure:
    """Draw the record's accumulated rain against its neighbours': straight where their relation held."""
    if figure is None:
        figure, axes = new_figure(
            "Rain here against rain at the neighbours, added up year by year", height=4.4
        )
        axes.set_xlabel("Mean of the neighbours, added up (m)")
        axes.set_ylabel("Rain here, added up (m)")
    axes = figure.axes[0]
    here, there, year = mass.here.values / 1000, mass.there.values / 1000, mass.year.values
    line = keep(axes, "line", lambda: axes.plot([], [], color=STONE, linestyle=(0, (6, 3)), linewidth=1.8)[0])
    line.set_data([0, there[-1]], [0, here[-1]]) if year.size else line.set_data([], [])
    keep(axes, "years", lambda: axes.plot([], [], "o", ms=7, color=DEEP)[0]).set_data(there, here)
    shown = [k for k in range(year.size) if year[k] % 10 == 0 and here[k] > 0.12 * here[-1]]
    for k in range(12):  # a decade a label; those not needed are empty
        words = keep(
            axes,
            f"year-{k}",
            lambda: axes.annotate("", (0, 0), (9, -9), textcoords="offset points", ha="left", va="top"),
        )
        words.set_text(str(year[shown[k]]) if k < len(shown) else "")
        words.xy = (there[shown[k]], here[shown[k]]) if k < len(shown) else (0, 0)
    none = keep(
        axes,
        "none",
        lambda: axes.text(0.5, 0.5, "", transform=axes.transAxes, ha="center", va="center", fontsize=16),
    )
    none.set_text("" if year.size else "no neighbour to compare with")
    axes.set_xlim(0, rounded_up(1.05 * there[-1]) if year.size else 1)
    axes.set_ylim(0, rounded_up(1.05 * here[-1]) if year.size else 1)
    return figure


def skill_figure(skill: xr.Dataset, figure: Figure | None = None) -> Figure:
    """Draw how far a fill, and the mean of the season, err on days that were known and hidden."""
    if figure is None:
        figure, axes = new_figure("Known days hidden and filled: how far off is the record then?", height=5.2)
        axes.set_xlabel("Error of the whole record (%; for wet days and reliability: percentage points)")
        axes.set_yticks(np.arange(len(SKILLS)), SKILLS.values())
        axes.set_ylim(len(SKILLS) - 0.4, -0.6)
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
        for i, value in enumerate(table[:, j]):
            y = i - 0.2 + 0.4 * j
            bar = keep(
                axes,
                f"{filling} {i}",
                lambda y=y, colour=colour: axes.barh(y, 0, 0.36, color=colour, edgecolor=INK, linewidth=0.6)[
                    0
                ],
            )
            bar.set_width(np.nan_to_num(value))
            words = keep(axes, f"words {filling} {i}", lambda y=y: axes.text(0, y, "", va="center"))
            words.set_text(f"{value:+z.1f}".replace("-", "−") if np.isfinite(value) else "not known")
            words.set_x(np.nan_to_num(value) + (-0.01 if value < 0 else 0.01) * (left + right))
            words.set_ha("right" if value < 0 else "left")
    axes.set_xlim(-left, right)
    return figure


PLAIN = {"facecolor": "white", "edgecolor": "none", "pad": 2}


def return_levels_figure(levels: xr.Dataset, years: float, figure: Figure | None = None) -> Figure:
    """Draw the daily rain to expect once in so many years."""
    period = levels.return_period.values
    if figure is None:
        figure, axes = new_figure("Heavy days: once in so many years")
        axes.set_xscale("log")
        axes.set_xlabel(label("return_period"))
        axes.set_ylabel(label("return_level"))
        axes.set_xlim(period[0], period[-1])
        axes.set_xticks(period, [f"{p:g}" for p in period])
        axes.minorticks_off()
    axes = figure.axes[0]
    level = levels.return_level.values
    low, high = levels.return_level_low.values, levels.return_level_high.values
    known = np.isfinite(level) & np.isfinite(low) & np.isfinite(high)
    band = keep(axes, "band", lambda: axes.fill_between([], [], color=MIST, alpha=0.7, linewidth=0))
    band.set_data(period[known], low[known], high[known])
    line = keep(axes, "line", lambda: axes.plot([], [], "o-", color=DEEP, ms=9, clip_on=False)[0])
    line.set_data(period, level)
    end = keep(axes, "end", lambda: axes.axvline(1, color=STONE, linestyle=(0, (6, 3)), linewidth=1.8))
    end.set_xdata([min(max(years, period[0]), period[-1])] * 2)
    note = keep(
        axes, "note", lambda: axes.text(0.005, 0.98, "", transform=axes.transAxes, va="top", bbox=PLAIN)
    )
    note.set_text(
        f"band: 95 % interval; right of the dashed line, beyond {years:.0f} years: extrapolated"
        if np.isfinite(level).any()
        else "too few heavy days to say"
    )
    tallest = np.concatenate([level[np.isfinite(level)], high[known], [1.0]])
    axes.set_ylim(0, rounded_up(1.25 * float(tallest.max())))
    return figure


MONTH_NAMES = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")

SPI_LINES = {-1.0: "moderately dry", -1.5: "severely dry", -2.0: "extremely dry"}


def monthly_figure(found: xr.Dataset, figure: Figure | None = None) -> Figure:
    """Draw the mean rain of each calendar month, and what nine and one year in ten stay below."""
    if figure is None:
        figure, axes = new_figure("Rain through the year")
        axes.set_ylabel(label("month_mean"))
        axes.set_xticks(np.arange(1, 13), MONTH_NAMES)
        axes.set_xlim(0.4, 12.6)
        axes.grid(axis="x", visible=False)
    axes = figure.axes[0]
    mean = found.month_mean.values
    low, middle, high = found.month_share.sel(share=[0.1, 0.5, 0.9]).values.T
    month = np.arange(1, 13)
    bars = keep(axes, "bars", lambda: axes.vlines([0], [0], [0], color=MIST, linewidth=38))
    bars.set_segments([[(m, 0), (m, v)] for m, v in zip(month, mean, strict=True)])
    lines = keep(axes, "spread", lambda: axes.vlines([0], [0], [0], color=DEEP, linewidth=3, zorder=3))
    lines.set_segments([[(m, a), (m, b)] for m, a, b in zip(month, low, high, strict=True)])
    keep(axes, "middle", lambda: axes.plot([], [], "o", ms=9, color=OCHRE, mec=INK, zorder=4)[0]).set_data(
        month, middle
    )
    keep(
        axes,
        "words",
        lambda: axes.text(
            0.995,
            1.02,
            "bar: mean · dot: middle year · line: 8 years of 10",
            transform=axes.transAxes,
            ha="right",
            va="bottom",
        ),
    )
    axes.set_ylim(0, rounded_up(1.05 * float(np.nanmax(high, initial=1.0))))
    return figure


def spells_figure(found: xr.Dataset, figure: Figure | None = None) -> Figure:
    """Draw how often a dry spell lasts at least so long, and the longest."""
    if figure is None:
        figure, axes = new_figure("How often a dry spell lasts at least so long")
        axes.set_xscale("log")
        axes.set_yscale("log")
        axes.set_xlabel(label("spell_days"))
        axes.set_ylabel("Spells a year")
    axes = figure.axes[0]
    days, rate = found.spell_days.values, found.spells_a_year.values
    line = keep(axes, "spells", lambda: axes.plot([], [], color=DEEP, drawstyle="steps-pre")[0])
    line.set_data(days, rate)
    once = keep(axes, "once", lambda: axes.axhline(1, color=STONE, linewidth=1.8, linestyle=(0, (6, 3))))
    once.set_ydata([1, 1])
    keep(
        axes,
        "once-words",
        lambda: axes.text(
            0.005, 1.06, "once a year", transform=axes.get_yaxis_transform(), va="bottom", color=STONE
        ),
    )
    point = keep(
        axes,
        "longest",
        lambda: axes.plot([], [], "o", ms=13, color=OCHRE, mec=INK, zorder=4, clip_on=False)[0],
    )
    point.set_data(days[-1:], rate[-1:])
    words = keep(
        axes,
        "longest-words",
        lambda: axes.text(0.99, 0.95, "", transform=axes.transAxes, ha="right", va="top", fontweight="bold"),
    )
    words.set_text(f"longest: {days[-1]} days" if days.size else "")
    right = rounded_up(1.05 * days[-1]) if days.size else 10
    bottom = 10.0 ** np.floor(np.log10(rate[-1] * 0.8)) if days.size and rate[-1] > 0 else 0.01
    top = rounded_up(1.1 * rate[0]) if days.size else 100
    if (axes.get_xlim(), axes.get_ylim()) != ((1, right), (bottom, top)):
        axes.set_xlim(1, right)
        axes.set_ylim(bottom, top)
        ticks = [t for t in (1, 2, 5, 10, 20, 50, 100, 200, 500) if t <= right]
        axes.set_xticks(ticks, [f"{t:g}" for t in ticks])
        rates = [t for t in (0.001, 0.01, 0.1, 1, 10, 100) if bottom <= t <= top]
        axes.set_yticks(rates, [f"{t:g}" for t in rates])
        axes.minorticks_off()
    return figure


def spi_figure(spi: xr.DataArray, figure: Figure | None = None) -> Figure:
    """Draw the standardised precipitation index through the record."""
    import matplotlib.dates as dates

    if figure is None:
        figure, axes = new_figure("")
        axes.set_ylabel(label("spi"))
        axes.set_ylim(-3.6, 3.6)
        axes.set_yticks([-3, -2, -1, 0, 1, 2, 3], ["−3", "−2", "−1", "0", "1", "2", "3"])
        axes.xaxis.set_major_formatter(dates.DateFormatter("%Y"))
        axes.set_xlabel("Month")
    axes = figure.axes[0]
    axes.set_title(
        f"Wet and dry times: the rain of {int(spi.scale)} month{'s' if int(spi.scale) > 1 else ''} against normal",
        loc="left",
        fontsize=STYLE["axes.titlesize"],
        fontweight="bold",
    )
    month, value = dates.date2num(spi.month.values), np.nan_to_num(spi.values)
    for name, part, colour in (
        ("wet", np.maximum(value, 0), MIST),
        ("dry", np.minimum(value, 0), BRICK),
    ):
        area = keep(
            axes,
            name,
            lambda colour=colour: axes.fill_between([], [], color=colour, linewidth=0.4, step="mid"),
        )
        area.set_data(month, np.zeros_like(part), part)
    for edge, words in SPI_LINES.items():
        keep(
            axes,
            f"edge {edge}",
            lambda edge=edge: axes.axhline(edge, color=INK, linewidth=1, linestyle=(0, (4, 3)), zorder=3),
        )
        keep(
            axes,
            f"words {edge}",
            lambda edge=edge, words=words: axes.text(
                1.005, edge, words, transform=axes.get_yaxis_transform(), va="center", fontsize=13
            ),
        )
    keep(axes, "zero", lambda: axes.axhline(0, color=INK, linewidth=1.2, zorder=3))
    span = (month[-1] - month[0]) / 365.25
    step = 10 if span > 35 else 5 if span > 12 else 1
    axes.set_xlim(month[0], month[-1])
    axes.xaxis.set_major_locator(dates.YearLocator(step))
    return figure
