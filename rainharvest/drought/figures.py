"""Figures of the bad years, of the gauge outlook and the caretaker's card, and of other climates."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import xarray as xr

from rainharvest.core import draw, style
from rainharvest.core.defaults import rows_of
from rainharvest.core.quantities import label
from rainharvest.core.reader import MONTHS_SHORT, litres, measure, number
from rainharvest.core.style import BRICK, DASHES, DEEP, INK, MIST, OCHRE, STONE, keep, new_figure, rounded_up
from rainharvest.drought.facts import dry_year_facts

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

# Of each way of finding dry years: what is drawn, which years are dry, colour, divisor, words of the axis.
WAYS = (
    ("year_rain", "dry_by_rain", DEEP, 1.0, ("Rain\n({})", "mm")),
    ("lowest_spi", "dry_by_index", OCHRE, 1.0, ("Lowest index\nof the year", "1")),
    ("year_short", "dry_by_tank", BRICK, 1000.0, ("Shortfall\n({})", "kL")),
)

MOST = 700  # points of a line

YEAR = 2001  # any year without a leap day: the axis shows months only

INITIALS = [month[0] for month in MONTHS_SHORT]

ZONES = {zone["name"]: zone for zone in rows_of("drought", "card")["zone"]}

HELP = ZONES.pop("call for help")

MARK = {"color": OCHRE, "mec": INK, "zorder": 5}
"""What the eye is drawn to."""


def _month_axis(axes: Axes, first_day: tuple[int, int], days: int) -> None:
    """Put the months of an outlook on an axis of days ahead, where they are not yet."""
    if getattr(axes, "first_day", None) == first_day:
        return
    begins = _day(first_day)
    months = np.arange(begins.astype("datetime64[M]") + 1, (begins + days).astype("datetime64[M]") + 1)
    places = (months.astype("datetime64[D]") - begins).astype(int)
    axes.set_xticks(places, [INITIALS[int(m.astype(int)) % 12] for m in months])
    axes.set_xlim(0, days)
    axes.first_day = first_day


def _day(first_day: tuple[int, int]) -> np.datetime64:
    return np.datetime64(f"{YEAR}-{first_day[0]:02d}-01") + (first_day[1] - 1)


def dry_years_figure(found: xr.Dataset, figure: Figure | None = None) -> Figure:
    """Draw the dry years as rain, index and tank find them."""
    if figure is None:
        figure, rows = new_figure("The dry years, found three ways", height=6.6, nrows=3, sharex=True)
        for axes, (*_, words) in zip(rows, WAYS, strict=True):
            style.number_axis(axes.yaxis, *words)
            axes.grid(axis="x", visible=False)
        rows[-1].set_xlabel(label("year") + " (named by the year in which it begins)")
    year = found.year.values
    for axes, (name, way, colour, factor, _) in zip(figure.axes, WAYS, strict=True):
        value, dry = np.nan_to_num(found[name].values) / factor, found[way].values.astype(bool)
        for part, which, tone in (("others", ~dry, MIST), ("dry", dry, colour)):
            draw.strokes(axes, f"{part} years", year[which], 0.0, value[which], color=tone, linewidth=7)
        draw.note(
            axes,
            "count",
            (0.995, 1.0),
            f"full colour: {_dry_years(int(dry.sum()), way == 'dry_by_tank')}",
            "right",
            "bottom",
            fontsize=13,
        )
        top = rounded_up(1.05 * max(abs(value).max(initial=0.0), 0.01))
        axes.set_ylim((-top, 0.4) if name == "lowest_spi" else (0, top))
    figure.axes[0].set_xlim(year[0] - 1, year[-1] + 1)
    agreed, lowest = dry_year_facts(found)["agreed"], figure.axes[2]
    top = np.full(len(agreed), lowest.get_ylim()[1])
    draw.line(lowest, "dry all three ways", agreed, top, "v", ms=9, color=INK, clip_on=False)
    words = "▼ dry all three ways" if agreed else "no year is dry all three ways"
    draw.note(lowest, "note", (0.005, 1.0), words, va="bottom", fontsize=13)
    return figure


def _dry_years(count: int, by_tank: bool) -> str:
    """Return in words how many years are called dry; by the tank no more than those in which it ran short."""
    years = "year" if count == 1 else "years"
    return f"{count or 'no'} {years} in which the tank ran short" if by_tank else f"{count} dry {years}"


def day_figure(days: xr.Dataset, day: int, facts: dict, figure: Figure | None = None) -> Figure:
    """Draw the tank on one day of its worst drought, and the drought up to it."""
    import matplotlib.dates as dates

    capacity = days.attrs["capacity"] / 1000
    if figure is None:
        figure, (through, tank) = new_figure(
            "The worst drought, day by day", height=4.6, ncols=2, width_ratios=[2.0, 1]
        )
        style.number_axis(through.yaxis, label("stored", "{}"), "kL")
        through.xaxis.set_major_locator(dates.AutoDateLocator(maxticks=6))
        through.xaxis.set_major_formatter(dates.DateFormatter("%b\n%Y"))
        through.set_xlim(*dates.date2num(days.time.values[[0, -1]]))
        through.set_ylim(-0.1 * capacity, 1.1 * capacity)
        tank.set(xlim=(-0.75, 1.9), ylim=(-0.1 * capacity, 1.45 * capacity), xticks=[])
        tank.set_title("the tank on that day", **style.SUBTITLE)
        tank.grid(visible=False)
        tank.spines[["left", "bottom"]].set_visible(False)
        tank.set_yticks([])
    through, tank = figure.axes
    when, stored = dates.date2num(days.time.values), days.stored.values / 1000
    draw.line(through, "all days", when, stored, color=MIST, linewidth=2)
    draw.line(through, "so far", when[: day + 1], stored[: day + 1], color=DEEP, linewidth=2.8)
    draw.line(through, "today", [when[day]], [stored[day]], "o", ms=12, color=OCHRE, zorder=5)
    missing = when[: day + 1][days.unmet_daily.values[: day + 1] > 1e-6]
    draw.strokes(
        through, "short", missing, -0.08 * capacity, np.full(missing.size, -0.015 * capacity), color=BRICK
    )
    look = {"facecolor": "white", "edgecolor": INK, "linewidth": 2.2, "zorder": 2}
    draw.shape(tank, "tank", draw.box(0, 1, 0, capacity), **look)
    draw.shape(tank, "water", draw.box(0, 1, 0, stored[day]), facecolor=MIST, linewidth=0, zorder=3)
    draw.path(
        tank, "morning", [(0, facts["stored_before"] / 1000), (1, facts["stored_before"] / 1000)], **MORNING
    )
    flows = {  # by name, the ends of its arrow and where its words stand
        "inflow": ((0.25, 1.3), (0.25, 1.05), (0.35, 1.24), "in"),
        "spilled_daily": ((1.0, 0.95), (1.25, 0.95), (1.08, 1.05), "spilled"),
        "drawn": ((0.0, 0.06), (-0.3, 0.06), (-0.72, 0.2), "drawn"),
        "unmet_daily": ((0, 0), (0, 0), (-0.72, 0.56), "missing"),
    }
    for name, (start, end, place, words) in flows.items():
        shown = facts[name] > 0.5
        tone = BRICK if name == "unmet_daily" else DEEP
        points = [start, end] if shown and start != end else []
        points = [(x, y * capacity) for x, y in points]
        draw.path(tank, name, points, color=tone, linewidth=2 + 4 * min(facts[name] / 3000, 1), zorder=4)
        draw.path(tank, f"{name} end", points[1:], marker=HEADS.get(name, "o"), ms=12, color=tone, zorder=4)
        above = measure(facts["rain"], "mm", 2) + " of rain:\n" if name == "inflow" else f"{words}\n"
        said = f"{above}{litres(facts[name])}{' in' if name == 'inflow' else ''}" if shown else ""
        draw.label(tank, f"{name} words", (place[0], place[1] * capacity), said, color=tone)
    return figure


MORNING = {"color": INK, "linewidth": 1.6, "linestyle": DASHES[2], "zorder": 4}
"""The level of the morning."""

HEADS = {"inflow": "v", "spilled_daily": ">", "drawn": "<"}
"""Of the arrows."""


def worst_sequence_figure(found: xr.Dataset, own: float, figure: Figure | None = None) -> Figure:
    """Draw several tanks through the worst sequence and through the normal year."""
    import matplotlib.dates as dates

    if figure is None:
        figure, pair = new_figure(
            "The tank through its worst drought", height=4.6, ncols=2, sharey=True, width_ratios=[2.2, 1]
        )
        style.number_axis(pair[0].yaxis, label("stored", "{}"), "kL")
        for axes, months in zip(pair, (4, 3), strict=True):
            axes.xaxis.set_major_locator(dates.MonthLocator(bymonth=range(1, 13, months)))
            axes.xaxis.set_major_formatter(dates.DateFormatter("%b\n%Y"))
            axes.set_xlabel("Day")
        pair[1].set_title("and a normal year", **style.SUBTITLE)
    sizes = found.through_capacity.values
    mine = abs(sizes - own) < 1e-6 * own
    for axes, day, stored in (
        (figure.axes[0], "worst_day", found.worst_stored),
        (figure.axes[1], "normal_day", found.normal_stored),
    ):
        thin = slice(None, None, max(1, -(-stored.sizes[day] // MOST)))
        when = dates.date2num(found[day].values)[thin]
        for k, store in enumerate(stored.values):
            look = {"color": (BRICK, DEEP, STONE)[k % 3], "linestyle": DASHES[1 + k % 2], "linewidth": 1.8}
            look = {"color": DEEP, "linestyle": "-", "linewidth": 2.8} if mine[k] else look
            draw.line(axes, f"tank {k + 1}", when, store[thin] / 1000, **look)
        axes.set_xlim(when[0], when[-1])
    left, top = figure.axes[0], rounded_up(1.12 * sizes.max() / 1000)
    left.set_ylim(0, top)
    begins = found.worst_stored.values[:, :25].max(axis=1)
    free = 0.0
    for k in np.argsort(begins, kind="stable"):
        # each beside the beginning of its line, and clear of the one below
        at = max(float(begins[k]) / 1000 + 0.01 * top, free)
        free = at + 0.085 * top
        said = litres(sizes[k], 3) + (" (yours)" if mine[k] else "")
        draw.beside(left, f"size {k + 1}", (0.012, min(at, 0.92 * top)), said, va="bottom", fontsize=13)
    return figure


def longest_spell_figure(found: xr.Dataset, figure: Figure | None = None) -> Figure:
    """Draw the longest dry spell to expect in so many years, and when long ones begin."""
    years = found.return_period.values
    if figure is None:
        figure, pair = new_figure("The longest dry spell", height=3.9, ncols=2)
        pair[0].set(xlabel="Years", ylabel=label("dry_spell", "days"), xscale="log")
        pair[0].set_xticks(years, [f"{y:g}" for y in years])
        pair[0].minorticks_off()
        pair[0].set_xlim(years[0], years[-1])
        pair[1].set_title("when long ones begin", **style.SUBTITLE)
        pair[1].set(xlabel="Month", xlim=(0.4, 12.6))
        pair[1].set_ylabel(label("spells_by_month", "in ten years"))
        pair[1].set_xticks(range(1, 13), INITIALS)
        pair[1].grid(axis="x", visible=False)
    left, right = figure.axes
    draw.band(left, "8 of 10", years, found.longest_low.values, found.longest_high.values, alpha=0.7)
    draw.line(left, "expected", years, found.longest_expected.values, color=DEEP)
    longest, count = float(found.longest_dry_spell.max()), found.sizes["spell_year"]
    draw.line(left, "on record", [count], [longest], "o", ms=11, clip_on=False, **MARK | {"zorder": 4})
    text = f"point: longest of the record's {count} years\nband: 8 of 10 stretches of that length"
    draw.note(left, "words", (0.03, 0.95), text, fontsize=13)
    left.set_ylim(0, rounded_up(1.35 * max(float(found.longest_high.max()), longest)))
    by_month = 10 * found.spells_by_month.values
    draw.strokes(right, "long spells", range(1, 13), 0.0, by_month, color=BRICK, linewidth=14)
    right.set_ylim(0, rounded_up(1.25 * max(float(by_month.max()), 0.1)))
    draw.note(
        right, "words", (0.98, 0.96), f"{found.attrs['long_spell']:.0f} days or longer", "right", fontsize=13
    )
    return figure


def climates_figure(found: xr.Dataset, figure: Figure | None = None) -> Figure:
    """Draw the months' rain under each climate, and the days on which the same tank then fails."""
    names = [str(name) for name in found.scenario.values]
    short = [name if len(name) <= 22 else name[:21] + "…" for name in names]
    if figure is None:
        figure, pair = new_figure("Rain under each climate", height=4.2, ncols=2, width_ratios=[1.5, 1])
        pair[0].set(xlabel="Month", xlim=(1, 12))
        style.number_axis(pair[0].yaxis, label("scenario_month", "{}"), "mm")
        pair[0].set_xticks(range(1, 13), INITIALS)
        pair[1].set_title("what the tank makes of it", **style.SUBTITLE)
        pair[1].set(xlabel=label("scenario_failed_a_year"))
        pair[1].grid(axis="y", visible=False)
        pair[1].set_yticks(np.arange(len(names)), short)
        pair[1].set_ylim(len(names) - 0.4, -0.6)
    left, right = figure.axes
    looks = ((DEEP, "-"), (OCHRE, "-"), (BRICK, DASHES[1]), (STONE, DASHES[2]), (INK, DASHES[3]))
    for k, name in enumerate(names):
        colour, dash = looks[k % len(looks)]
        months = found.scenario_month.values[k]
        draw.line(left, name, found.calendar_month.values, months, color=colour, linestyle=dash)
        failed = float(found.scenario_failed_a_year[k])
        draw.strokes(right, f"{name}: failed", [k], 0.0, [failed], across=True, color=colour, linewidth=20)
        draw.words(right, f"{name}: words", (failed, k), f" {number(failed, 2)}", va="center", fontsize=14)
    draw.legend(left, [line for line in left.get_lines() if line.get_gid()], short, fontsize=12)
    left.set_ylim(0, rounded_up(1.15 * max(float(found.scenario_month.max()), 1.0)))
    right.set_xlim(0, rounded_up(1.25 * max(float(found.scenario_failed_a_year.max()), 1.0)))
    return figure


def longer_figure(found: xr.Dataset, figure: Figure | None = None) -> Figure:
    """Draw the driest three years of records drawn anew against how long the tank then failed on end."""
    if figure is None:
        figure, axes = new_figure("Droughts longer than any on record", height=4.2)
        axes.set(xlabel=label("drawn_driest_run", "mm a year"), ylabel=label("drawn_longest_failure", "days"))
    axes = figure.axes[0]
    depth, longest = found.drawn_driest_run.values, found.drawn_longest_failure.values
    own = float(found.record_driest_run), float(found.record_longest_failure)
    draw.line(axes, "drawn anew", depth, longest, "o", ms=7, color=MIST, mec=STONE)
    draw.line(axes, "the record", [own[0]], [own[1]], "o", ms=14, mew=1.5, **MARK)
    words = f"pale: {depth.size} records drawn anew · circle: the record itself"
    draw.note(axes, "words", (0.99, 0.97), words, "right", fontsize=13)
    low, high = min(depth.min(), own[0]), max(depth.max(), own[0])
    axes.set_xlim(low - 0.05 * (high - low + 1), high + 0.05 * (high - low + 1))
    axes.set_ylim(0, rounded_up(1.25 * max(longest.max(), own[1], 4.0)))
    return figure


def fan_figure(
    found: xr.Dataset, first_day: tuple[int, int], season: int | None = None, figure: Figure | None = None
) -> Figure:
    """Draw what the tank may hold from today on."""
    if figure is None:
        figure, axes = new_figure("What the tank may hold from today on", height=4.2)
        axes.set_xlabel("First day of the month")
        style.number_axis(axes.yaxis, label("stored", "{}"), "kL")
    axes = figure.axes[0]
    lead = np.concatenate([[0.0], found.lead.values])
    size, now = found.attrs["capacity"] / 1000, found.attrs["start"] / 1000
    lines = [np.concatenate([[now], row / 1000]) for row in found.stored_band.values]
    draw.band(axes, "8 of 10 years", lead, lines[0], lines[4], alpha=0.45)
    draw.band(axes, "half of the years", lead, lines[1], lines[3])
    for name, k in (("1 year in 10 below", 0), ("9 years in 10 below", 4)):
        draw.line(axes, name, lead, lines[k], color=STONE, linewidth=1.2, linestyle=DASHES[1])
    draw.line(axes, "middle year", lead, lines[2], color=DEEP)
    draw.line(axes, "today", [0], [now], "o", ms=12, clip_on=False, **MARK)
    draw.level(axes, "full", size, color=DEEP, linewidth=1.2, linestyle=(0, (2, 2)))
    top = rounded_up(1.2 * size)
    above = size + 0.005 * top
    text = "line: the middle year · dark: half of the years · pale: 8 of 10 years"
    draw.note(axes, "legend", (0.995, 0.985), text, "right", fontsize=13)
    late = False
    if season is not None:
        ahead = (season - first_day[0]) % 12 or 12
        at = (_day((first_day[0], 1)).astype("datetime64[M]") + ahead).astype("datetime64[D]")
        at = int((at - _day(first_day)).astype(int))
        draw.line(axes, "driest months end", [at] * 2, [0.0, size], color=STONE, linewidth=1.4)
        late = at > lead[-1] / 2
        side, look = "right" if late else "left", {"fontsize": 13, "color": STONE}
        draw.words(axes, "season-words", (at, above), "driest months end", side, "bottom", **look)
    draw.beside(
        axes, "full-words", (0.03 if late else 0.99, above), "full", "left" if late else "right", "bottom"
    )
    _month_axis(axes, first_day, int(lead[-1]))
    axes.set_ylim(0, top)
    return figure


def chances_figure(found: xr.Dataset, first_day: tuple[int, int], figure: Figure | None = None) -> Figure:
    """Draw the chance of running dry by each date under each plan, and from each reading of the gauge."""
    if figure is None:
        figure, pair = new_figure(
            "The chance of running dry, by date", height=4.2, ncols=2, sharey=True, width_ratios=[1.5, 1]
        )
        pair[0].set(xlabel="First day of the month", ylabel=label("dry_chance", "%"))
        pair[0].set_ylim(0, 138)  # room above for what the lines are
        pair[0].set_yticks(range(0, 101, 20))
        pair[1].set_title("and by gauge reading", **style.SUBTITLE)
        style.number_axis(pair[1].xaxis, label("gauge", "{}"), "kL")
    left, right = figure.axes
    lead = np.concatenate([[0.0], found.lead.values])
    colours, widths = (OCHRE, BRICK, DEEP, STONE, INK), (3.4, 2.2, 2.2, 2.2, 2.0)
    dashes = ("-", *DASHES[:4])
    legend = {"fontsize": 12, "loc": "upper left", "ncols": 2}
    for k, plan in enumerate(found.plan.values.tolist()):
        look = {"color": colours[k % 5], "linewidth": widths[k % 5], "linestyle": dashes[k % 5]}
        chance = np.concatenate([[0.0], 100 * found.dry_chance.values[k]])
        draw.line(left, plan, lead, chance, label=plan, **look)
    draw.legend(left, **legend)
    _month_axis(left, first_day, int(lead[-1]))
    gauge = found.gauge.values / 1000
    within = [f"within {days} days" for days in found.within.values]
    for k, name in enumerate(within):
        look = {"color": (BRICK, DEEP, STONE)[k % 3], "linestyle": DASHES[k % 3], "marker": "o", "ms": 4}
        draw.line(right, name, gauge, 100 * found.level_chance.values[:, k], **look)
    draw.legend(right, right.get_lines(), within, columnspacing=1.0, **legend)
    today = [found.attrs["start"] / 1000] * 2
    draw.line(right, "today", today, [0.0, 100.0], color=OCHRE, linewidth=2.4, label="today")
    right.set_xlim(0, rounded_up(found.attrs["capacity"] / 1000))
    return figure


def skill_figure(found: xr.Dataset, figure: Figure | None = None) -> Figure:
    """Draw the skill of the outlook: stated chances against what happened, and what its band held."""
    if figure is None:
        figure, pair = new_figure("Is the outlook honest?", height=4.6, ncols=2)
        pair[0].set(xlabel=label("said_dry", "%"), ylabel=label("seen_share", "%"))
        pair[0].set(xlim=(-2, 102), ylim=(-2, 102))
        pair[1].set_title("what its band held", **style.SUBTITLE)
        pair[1].set(xlabel=label("lead", "days"))
        pair[1].set(ylabel=label("band_share", "%"), ylim=(0, 102))
    left, right = figure.axes
    as_stated = {"color": STONE, "linestyle": DASHES[1], "linewidth": 1.6}
    draw.line(left, "honest", [0, 100], [0, 100], **as_stated)
    stated, seen = 100 * found.said_chance.values, 100 * found.seen_share.values
    low, high = 100 * found.seen_low.values, 100 * found.seen_high.values
    draw.strokes(left, "expected 19 times in 20", stated, low, high, color=MIST, linewidth=9)
    draw.line(left, "happened", stated, seen, "o", ms=9, color=DEEP, mec="white", zorder=4)
    draw.note(left, "note", (0.04, 0.97), "points on the line:\nthe chances stated are true", fontsize=13)
    draw.level(right, "wanted", 80, **as_stated)
    share = 100 * found.band_share.values
    draw.line(right, "inside", found.score_lead.values, share, "o-", color=DEEP, ms=8)
    right.set_xlim(0, float(found.score_lead.max()) * 1.03)
    words = "dashed: 80 %. Above it where the tank\nis often full or empty."
    draw.note(right, "words", (0.04, 0.06), words, va="baseline", fontsize=13)
    return figure


def card_figure(plan: xr.Dataset, actions: list[str], figure: Figure | None = None) -> Figure:
    """Draw the card: a column a month, the gauge upwards, a pattern for each thing to do."""
    zones = list(ZONES.values())[: plan.sizes["stage"] + 1]
    if figure is None:
        figure, axes = new_figure("What to do when the gauge falls", height=6.8)
        axes.set(xlim=(0, 12), ylim=(0, 100), ylabel="Gauge (% of the tank)")
        axes.set_xticks(np.arange(12) + 0.5, MONTHS_SHORT)
        axes.tick_params(axis="x", length=0, labelsize=14)
        axes.set_yticks(range(0, 101, 10))
        axes.grid(visible=False)
        volume = axes.twinx()
        volume.grid(visible=False)
        style.number_axis(volume.yaxis, label("gauge", "{}"), "kL")
        volume.yaxis.label.set_size(15)
        volume.tick_params(labelsize=13)
        for side in ("top", "right"):
            axes.spines[side].set_visible(True)
        _key(axes, [*zones, HELP], actions)
    axes = figure.axes[0]
    figure.axes[1].set_ylim(0, float(plan.attrs["plan_capacity"]) / 1000)
    level = 100 * np.minimum(plan.stage_level.values, 1.0)
    floor = 100 * np.minimum(plan.help_level.values, 1.0)
    edges = [np.full(12, 100.0), *level, np.zeros(12)]
    for zone, top, below in zip(zones, edges, edges[1:], strict=False):
        _zone(axes, zone, top, below)
    _zone(axes, HELP, floor, np.zeros(12), 3)
    frame = {"facecolor": "white", "edgecolor": "black", "linewidth": 0.6, "pad": 1.5}
    look = {"fontsize": 11, "fontweight": "bold", "color": "black", "zorder": 6, "bbox": frame}
    for month in range(12):
        values = [*level[:, month], floor[month]]
        for k, value in enumerate(values):
            place = month + 0.5, min(max(value, 3.0), 97.0)
            shown = 0 < value < 100 and all(abs(value - other) >= 4.9 for other in values[:k])
            said, name = f"{value:.0f} %" if shown else "", f"level {month + 1}-{k + 1}"
            draw.words(axes, name, place, said, "center", "center", **look).set_visible(shown)
    return figure


def _zone(axes: Axes, zone: dict, top: np.ndarray, below: np.ndarray, zorder: float = 2) -> None:
    """Fill one zone of all months with its pattern."""
    from matplotlib.collections import PolyCollection

    def make():
        shape = _hatched(PolyCollection, zone, verts=[], linewidth=0.8, zorder=zorder)
        return axes.add_collection(shape, autolim=False)

    columns = [(m, low, high) for m, (low, high) in enumerate(zip(below, top, strict=True)) if high > low]
    corners = [[(m, low), (m + 1, low), (m + 1, high), (m, high)] for m, low, high in columns]
    keep(axes, zone["name"], make).set_verts(corners)


def _hatched(kind, zone: dict, **look):
    """Return a shape filled as a zone of the card is."""
    from matplotlib import rc_context

    with rc_context({"hatch.linewidth": 0.8, "hatch.color": "black"}):
        return kind(facecolor=zone["face"], edgecolor="black", hatch=zone.get("hatch"), **look)


def _key(axes: Axes, zones: list[dict], actions: list[str]) -> None:
    """Put a sample of each pattern and what to do there below the months."""
    from matplotlib import rc_context
    from matplotlib.patches import Patch

    samples = [_hatched(Patch, zone, label=words) for zone, words in zip(zones, actions, strict=True)]
    look = {"fontsize": 13, "frameon": False, "handlelength": 3.2, "handleheight": 1.5, "alignment": "left"}
    with rc_context({"hatch.linewidth": 0.8, "hatch.color": "black"}):
        axes.legend(handles=samples, loc="upper center", bbox_to_anchor=(0.5, -0.08), **look)


def plans_figure(measures: dict[str, np.ndarray], plan: xr.Dataset, figure: Figure | None = None) -> Figure:
    """Draw every plan tried: what it keeps against what it cuts."""
    if figure is None:
        figure, axes = new_figure("What each rationing plan keeps, and what it costs", height=4.2)
        axes.set_xlabel(label("ordinary_cut", "% of the demand"))
        axes.set_ylabel("Years in which essential\nuses fail (%)")
    axes = figure.axes[0]
    cut, failing = 100 * measures["cut_share"], 100 * measures["failing_years"]
    chosen = [100 * float(plan.ordinary_cut)], [100 * float(plan.failing_years)]
    draw.line(axes, "plans tried", cut, failing, "o", ms=7, color=MIST, mec=STONE)
    draw.line(axes, "without a plan", cut[:1], failing[:1], "s", ms=11, color=BRICK, clip_on=False, zorder=4)
    draw.line(axes, "the plan chosen", *chosen, "o", ms=14, mew=1.5, clip_on=False, **MARK)
    may_fail = 100 * plan.attrs["plan_wanted"]
    draw.level(axes, "may fail", may_fail, color=DEEP, linestyle=(0, (6, 3)), linewidth=1.6)
    words = "square: without a plan · circle: the plan chosen\ndashed: the share of years that may fail"
    draw.note(axes, "words", (0.99, 0.97), words, "right", fontsize=13)
    axes.set_xlim(0, rounded_up(1.08 * max(cut.max(), 1.0)))
    axes.set_ylim(0, min(rounded_up(1.25 * max(failing.max(), 4.0)), 104.0))
    return figure
