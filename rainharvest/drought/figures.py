"""Figures of the bad years and of other climates."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import xarray as xr

from rainharvest.core.quantities import label
from rainharvest.core.style import BRICK, DASHES, DEEP, INK, MIST, OCHRE, STONE, keep, new_figure, rounded_up

if TYPE_CHECKING:
    from matplotlib.figure import Figure


WAYS = (
    ("year_rain", "dry_by_rain", DEEP, 1.0, "mm"),
    ("lowest_spi", "dry_by_index", OCHRE, 1.0, None),
    ("year_short", "dry_by_tank", BRICK, 1000.0, "kL"),
)

MOST = 700  # points of a line


def dry_years_figure(found: xr.Dataset, figure: Figure | None = None) -> Figure:
    """Draw the dry years as rain, index and tank find them."""
    if figure is None:
        figure, rows = new_figure("The dry years, found three ways", height=6.6, nrows=3, sharex=True)
        for axes, (name, *_, unit) in zip(rows, WAYS, strict=True):
            axes.set_ylabel(
                {"year_rain": "Rain", "lowest_spi": "Lowest index", "year_short": "Shortfall"}[name]
                + (f"\n({unit})" if unit else "\nof the year")
            )
            axes.grid(axis="x", visible=False)
        rows[-1].set_xlabel(label("year") + " (named by the year in which it begins)")
    year = found.year.values
    for axes, (name, way, colour, factor, _) in zip(figure.axes, WAYS, strict=True):
        value, dry = np.nan_to_num(found[name].values) / factor, found[way].values.astype(bool)
        for part, which, tone in (("others", ~dry, MIST), ("dry", dry, colour)):
            bars = keep(
                axes,
                f"{part} years",
                lambda axes=axes, tone=tone: axes.vlines([0], [0], [0], color=tone, linewidth=7),
            )
            bars.set_segments([[(x, 0.0), (x, y)] for x, y in zip(year[which], value[which], strict=True)])
        words = keep(
            axes,
            "count",
            lambda axes=axes: axes.text(
                0.995, 1.0, "", transform=axes.transAxes, ha="right", va="bottom", fontsize=13
            ),
        )
        words.set_text(f"dark: {int(dry.sum())} dry years")
        top = rounded_up(1.05 * max(abs(value).max(initial=0.0), 0.01))
        axes.set_ylim((-top, 0.4) if name == "lowest_spi" else (0, top))
    figure.axes[0].set_xlim(year[0] - 1, year[-1] + 1)
    every = found.dry_by_rain.values & found.dry_by_index.values & found.dry_by_tank.values
    mark = keep(
        figure.axes[2],
        "dry all three ways",
        lambda: figure.axes[2].plot([], [], "v", ms=9, color=INK, clip_on=False)[0],
    )
    low, high = figure.axes[2].get_ylim()
    mark.set_data(year[every], np.full(int(every.sum()), high))
    note = keep(
        figure.axes[2],
        "note",
        lambda: figure.axes[2].text(
            0.005, 1.0, "", transform=figure.axes[2].transAxes, va="bottom", fontsize=13
        ),
    )
    note.set_text("▼ dry all three ways" if every.any() else "no year is dry all three ways")
    return figure


def through_figure(found: xr.Dataset, own: float, figure: Figure | None = None) -> Figure:
    """Draw several tanks through the worst sequence and through the normal year."""
    import matplotlib.dates as dates

    if figure is None:
        figure, pair = new_figure(
            "The tank through its worst drought", height=4.6, ncols=2, sharey=True, width_ratios=[2.2, 1]
        )
        pair[0].set_ylabel(label("stored", "kL"))
        for axes, months in zip(pair, (4, 3), strict=True):
            axes.xaxis.set_major_locator(dates.MonthLocator(bymonth=range(1, 13, months)))
            axes.xaxis.set_major_formatter(dates.DateFormatter("%b\n%Y"))
            axes.set_xlabel("Day")
        pair[1].set_title("and through a normal year")
    sizes = found.through_capacity.values
    top = rounded_up(1.12 * sizes.max() / 1000)
    for axes, day, stored in (
        (figure.axes[0], "worst_day", found.worst_stored),
        (figure.axes[1], "normal_day", found.normal_stored),
    ):
        thin = slice(None, None, max(1, -(-stored.sizes[day] // MOST)))
        when = dates.date2num(found[day].values)[thin]
        for k, size in enumerate(sizes):
            mine = abs(size - own) < 1e-6 * own
            line = keep(
                axes,
                f"tank {k + 1}",
                lambda axes=axes, k=k, mine=mine: axes.plot(
                    [],
                    [],
                    color=DEEP if mine else (BRICK, DEEP, STONE)[k % 3],
                    linestyle="-" if mine else DASHES[1 + k % 2],
                    linewidth=2.8 if mine else 1.8,
                )[0],
            )
            line.set_data(when, stored.values[k][thin] / 1000)
        axes.set_xlim(when[0], when[-1])
    left = figure.axes[0]
    left.set_ylim(0, top)
    free = 0.0
    for k in np.argsort(found.worst_stored.values[:, :25].max(axis=1), kind="stable"):
        # each beside the beginning of its line, and clear of the one below
        at = max(float(found.worst_stored.values[k][:25].max()) / 1000 + 0.01 * top, free)
        free = at + 0.085 * top
        words = keep(
            left,
            f"size {k + 1}",
            lambda: left.text(0.012, 0, "", va="bottom", fontsize=13, transform=left.get_yaxis_transform()),
        )
        mine = abs(sizes[k] - own) < 1e-6 * own
        words.set_text(f"{float(f'{sizes[k] / 1000:.3g}'):g} kL" + (" (yours)" if mine else ""))
        words.set_y(min(at, 0.92 * top))
    return figure


def longest_spell_figure(found: xr.Dataset, figure: Figure | None = None) -> Figure:
    """Draw the longest dry spell to expect in so many years, and when long ones begin."""
    if figure is None:
        figure, pair = new_figure("The longest dry spell", height=3.9, ncols=2)
        pair[0].set_xlabel("Years")
        pair[0].set_ylabel(label("dry_spell", "days"))
        pair[0].set_xscale("log")
        years = found.return_period.values
        pair[0].set_xticks(years, [f"{y:g}" for y in years])
        pair[0].minorticks_off()
        pair[0].set_xlim(years[0], years[-1])
        pair[1].set_title("when long ones begin")
        pair[1].set_xlabel("Month")
        pair[1].set_ylabel(label("spells_by_month", "a year"))
        pair[1].set_xticks(range(1, 13), list("JFMAMJJASOND"))
        pair[1].grid(axis="x", visible=False)
    left, right = figure.axes
    years = found.return_period.values
    band = keep(left, "8 of 10", lambda: left.fill_between([], [], color=MIST, alpha=0.7, linewidth=0))
    band.set_data(years, found.longest_low.values, found.longest_high.values)
    keep(left, "expected", lambda: left.plot([], [], color=DEEP)[0]).set_data(
        years, found.longest_expected.values
    )
    longest, count = float(found.longest_dry_spell.max()), found.sizes["spell_year"]
    point = keep(
        left,
        "on record",
        lambda: left.plot([], [], "o", ms=11, color=OCHRE, mec=INK, zorder=4, clip_on=False)[0],
    )
    point.set_data([count], [longest])
    words = keep(
        left, "words", lambda: left.text(0.03, 0.95, "", transform=left.transAxes, va="top", fontsize=13)
    )
    words.set_text(f"point: longest of the record's {count} years\nband: 8 of 10 stretches of that length")
    left.set_ylim(0, rounded_up(1.35 * max(float(found.longest_high.max()), longest)))
    bars = keep(right, "long spells", lambda: right.vlines([0], [0], [0], color=BRICK, linewidth=14))
    count = found.spells_by_month.values
    bars.set_segments([[(m + 1, 0.0), (m + 1, y)] for m, y in enumerate(count)])
    right.set_xlim(0.4, 12.6)
    right.set_ylim(0, rounded_up(1.25 * max(float(count.max()), 0.01)))
    note = keep(
        right,
        "words",
        lambda: right.text(0.98, 0.96, "", transform=right.transAxes, ha="right", va="top", fontsize=13),
    )
    note.set_text(f"{found.attrs['long_spell']:.0f} days or longer")
    return figure


def climates_figure(found: xr.Dataset, figure: Figure | None = None) -> Figure:
    """Draw the months' rain under each climate, and the days on which the same tank then fails."""
    if figure is None:
        figure, pair = new_figure("Rain under each climate", height=4.2, ncols=2, width_ratios=[1.5, 1])
        pair[0].set_ylabel(label("scenario_month"))
        pair[0].set_xlabel("Month")
        pair[0].set_xticks(range(1, 13), list("JFMAMJJASOND"))
        pair[0].set_xlim(1, 12)
        pair[1].set_title("what the tank makes of it")
        pair[1].set_xlabel(label("scenario_failed_a_year"))
        pair[1].grid(axis="y", visible=False)
        pair[1].set_yticks(np.arange(found.sizes["scenario"]), [_short(n) for n in found.scenario.values])
        pair[1].set_ylim(found.sizes["scenario"] - 0.4, -0.6)
    left, right = figure.axes
    looks = ((DEEP, "-"), (OCHRE, "-"), (BRICK, DASHES[1]), (STONE, DASHES[2]), (INK, DASHES[3]))
    for k, name in enumerate(found.scenario.values):
        colour, dash = looks[k % len(looks)]
        line = keep(left, str(name), lambda c=colour, d=dash: left.plot([], [], color=c, linestyle=d)[0])
        line.set_data(found.calendar_month.values, found.scenario_month.values[k])
        bar = keep(
            right, f"{name}: failed", lambda c=colour: right.hlines([0], [0], [0], color=c, linewidth=20)
        )
        failed = float(found.scenario_failed_a_year[k])
        bar.set_segments([[(0.0, k), (failed, k)]])
        words = keep(right, f"{name}: words", lambda: right.text(0, 0, "", va="center", fontsize=14))
        words.set_text(f" {failed:.2g}")
        words.set_position((failed, k))
    if left.get_legend() is None:
        left.legend(
            [a for a in left.get_lines() if a.get_gid()],
            [_short(n) for n in found.scenario.values],
            fontsize=12,
            frameon=False,
        )
    left.set_ylim(0, rounded_up(1.15 * max(float(found.scenario_month.max()), 1.0)))
    right.set_xlim(0, rounded_up(1.25 * max(float(found.scenario_failed_a_year.max()), 1.0)))
    return figure


def _short(name: object) -> str:
    text = str(name)
    return text if len(text) <= 22 else text[:21] + "…"


def longer_figure(found: xr.Dataset, figure: Figure | None = None) -> Figure:
    """Draw the driest three years of records drawn anew against how long the tank then failed on end."""
    if figure is None:
        figure, axes = new_figure("Droughts longer than any on record", height=4.2)
        axes.set_xlabel(label("drawn_driest_run", "mm a year"))
        axes.set_ylabel(label("drawn_longest_failure", "days"))
    axes = figure.axes[0]
    depth, longest = found.drawn_driest_run.values, found.drawn_longest_failure.values
    own = float(found.record_driest_run), float(found.record_longest_failure)
    keep(axes, "drawn anew", lambda: axes.plot([], [], "o", ms=7, color=MIST, mec=STONE)[0]).set_data(
        depth, longest
    )
    keep(
        axes, "the record", lambda: axes.plot([], [], "o", ms=14, color=OCHRE, mec=INK, mew=1.5, zorder=5)[0]
    ).set_data([own[0]], [own[1]])
    words = keep(
        axes,
        "words",
        lambda: axes.text(0.99, 0.97, "", transform=axes.transAxes, ha="right", va="top", fontsize=13),
    )
    words.set_text(f"pale: {depth.size} records drawn anew · circle: the record itself")
    low, high = min(depth.min(), own[0]), max(depth.max(), own[0])
    axes.set_xlim(low - 0.05 * (high - low + 1), high + 0.05 * (high - low + 1))
    axes.set_ylim(0, rounded_up(1.25 * max(longest.max(), own[1], 4.0)))
    return figure
