"""The bad years and what to do in them, in words."""

from __future__ import annotations

from html import escape

import numpy as np
import xarray as xr

from rainharvest.core.reader import date, days, large_volume, litres, measure, number, percent, rounded
from rainharvest.demand.words import MONTHS
from rainharvest.drought.outlook import CONFIDENCES


def listed(names) -> str:
    """Return names in a sentence.

    >>> listed([1977, 1981, 2003]), listed(["March"])
    ('1977, 1981 and 2003', 'March')
    """
    names = [str(n) for n in names]
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}" if names else "none"


def _year(value: float) -> str:
    return f"{value:.0f}"


def dry_years_words(found: xr.Dataset) -> str:
    """Return which years were dry, and how far the three ways agree."""
    rain, index, tank = (found[f"dry_by_{way}"].values.astype(bool) for way in ("rain", "index", "tank"))
    every, year = rain & index & tank, found.year.values
    missed = tank & ~rain
    text = (
        f"Of {year.size} hydrological years from {MONTHS[found.attrs['year_start_month'] - 1]}, each way calls "
        f"{int(rain.sum())} dry. "
    )
    text += (
        f"All three agree on {listed(year[every])}. "
        if every.any()
        else "There is no year on which all three agree. "
    )
    if missed.any():
        text += (
            f"In {listed(year[missed])} the tank ran short although the year's rain was not among the lowest: "
            "when it fell mattered more than how much."
        )
    elif not tank.any():
        text += "The tank ran short in none."
    return text.strip()


def driest_runs_words(found: xr.Dataset) -> str:
    """Return how rare the driest years on end are.

    Parameters
    ----------
    found : Dataset
        As `rainharvest.drought.dry_years.driest_runs`.

    Returns
    -------
    str
        Plain text.
    """
    parts = []
    for k, span in enumerate(found.span.values):
        middle, low, high = (
            number(float(found[f"run_return_period{end}"][k]), 2) for end in ("", "_low", "_high")
        )
        begin = found.driest_run_start.values[k]
        when = _year(begin) if span == 1 else f"{_year(begin)} to {_year(begin + span - 1)}"
        what = "driest year" if span == 1 else f"driest {span} years on end"
        parts.append(
            f"The {what}, {when}, had {measure(float(found.driest_run_total[k]), 'mm', 2)}"
            f"{'' if span == 1 else ' a year'}: about once in {middle} years, and anything between once in {low} and "
            f"once in {high} is possible."
        )
    return " ".join(parts)


def spells_words(found: xr.Dataset) -> str:
    """Return how long dry spells last, and when they begin."""
    at = found.sel(return_period=10)
    by_month = found.spells_by_month.values
    most = np.argsort(-by_month, kind="stable")[:2]
    season = listed(MONTHS[m] for m in sorted(most) if by_month[m] > 0)
    return (
        f"The longest dry spell on record is {days(float(found.longest_dry_spell.max()))}. In ten years expect one of "
        f"{days(rounded(float(at.longest_expected)))}, and in 8 of 10 such stretches between "
        f"{days(rounded(float(at.longest_low)))} and {days(rounded(float(at.longest_high)))}. Those of "
        f"{days(found.attrs['long_spell'])} or more begin mostly in {season}."
    )


def failures_words(found: xr.Dataset) -> str:
    """Return resilience and vulnerability.

    Parameters
    ----------
    found : Dataset
        As `rainharvest.drought.facts.failures_of`.

    Returns
    -------
    str
        Plain text.
    """
    events = float(found.failure_events.median())
    if events == 0:
        return "The tank does not fail on this record: there is no failure to recover from."
    resilience = float(found.resilience.median())
    return (
        f"On a failed day the chance that the next one is supplied is {percent(resilience)} (resilience): a failure "
        f"lasts {days(rounded(float(found.mean_failure.median())))} on average, days without demand passed over. "
        f"The worst day of a failure is short by {percent(float(found.vulnerability_share.median()))} of a mean day's "
        "demand, averaged over the failures (vulnerability)."
    )


def through_words(found: xr.Dataset, own: float) -> str:
    """Return what the worst sequence did to the tank, and what other sizes would have made of it."""
    sizes = found.through_capacity.values
    k = int(np.argmin(abs(sizes - own)))
    mine = found.isel(through_capacity=k)
    begin, end = (date(np.datetime64(found.attrs[f"worst_{which}"])) for which in ("from", "to"))
    cut = "" if found.attrs["worst_is_whole"] else " The record cuts this sequence: it may have been longer."
    if not float(mine.drawdown_days_short):
        return f"The tank never runs short. Its lowest stretch lasts from {begin} to {end}.{cut}"
    text = (
        f"The worst sequence lasts from {begin} to {end}. Without an overflow "
        f"the tank held out for {days(float(mine.drawdown_first_short))}; then it was short on "
        f"{days(float(mine.drawdown_days_short))}, {days(float(mine.drawdown_longest_short))} with demand on end, "
        f"{litres(float(mine.drawdown_short))} in all; it overflowed again {days(float(mine.drawdown_recovery))} after "
        "the last of them."
    )
    if k + 1 < sizes.size:
        more = found.isel(through_capacity=-1)
        short = float(more.drawdown_days_short)
        text += f" A tank of {litres(float(sizes[-1]))} is short on {days(short)} of its own worst sequence."
    return text + cut


def fan_words(found: xr.Dataset, plan: str = "yours") -> str:
    """Return how long the water lasts from today on."""
    lasts = found.supply_days.sel(plan=plan)
    look = int(found.lead[-1])
    told = []
    known = [c for c in CONFIDENCES if _told(found, c)]
    for confidence in known:
        value = float(lasts.sel(confidence=confidence))
        told.append(f"{'the whole year' if value >= look >= 365 else days(value)} in {percent(confidence)}")
    told[0] += " of the years"
    text = " and ".join(filter(None, [", ".join(told[:-1]), told[-1]]))
    beyond = (
        f" {found.attrs['years']} years cannot say for how long it lasts in {percent(CONFIDENCES[len(known)])} of them."
        if len(known) < len(CONFIDENCES)
        else ""
    )
    return (
        f"From {litres(found.attrs['start'])} today the water lasts at least {text}.{beyond} Within a year the tank "
        f"runs dry in {percent(1 - float(found.never_dry.sel(plan=plan)))} of {found.attrs['years']} years."
    )


def chances_words(found: xr.Dataset) -> str:
    """Return what each stage of rationing, kept from today on, would buy."""
    told = []
    for plan in found.plan.values:
        if plan == "yours":
            continue
        dry = percent(1 - float(found.never_dry.sel(plan=plan)))
        often = 0.8 if _told(found, 0.8) else 0.5
        sure = float(found.supply_days.sel(plan=plan, confidence=often))
        lasts = "the whole year" if sure >= int(found.lead[-1]) else days(sure)
        told.append(f"{plan}: dry in {dry} of the years, {lasts} at least in {10 * often:.0f} of 10")
    return f"What each would buy from today on. {'. '.join(t[0].upper() + t[1:] for t in told)}."


def _told(found: xr.Dataset, confidence: float) -> bool:
    """Return whether so many years hold one that lasts less long: of n years the worst stands for 1 in n + 1."""
    return (1 - confidence) * (found.attrs["years"] + 1) >= 1 - 1e-9


def honesty_words(found: xr.Dataset) -> str:
    """Return whether the outlook has been honest."""
    inside = ((found.seen_share >= found.seen_low) & (found.seen_share <= found.seen_high)).values
    low, high = float(found.band_share.min()), float(found.band_share.max())
    return (
        f"Each year foretold from the others, {int(found.forecasts.sum())} outlooks in all: in {int(inside.sum())} of "
        f"{inside.size} classes of stated chance the tank ran dry as often as said, within what chance alone allows. "
        f"The 80 % band held {percent(low)} to {percent(high)} of the outcomes."
    )


def plan_words(plan: xr.Dataset) -> str:
    """Return what the rationing plan keeps and what it costs.

    Parameters
    ----------
    plan : Dataset
        As `rainharvest.drought.facts.plan_dataset`.

    Returns
    -------
    str
        Plain text.
    """
    failing, without = percent(float(plan.failing_years)), percent(float(plan.failing_years_without))
    wanted = percent(plan.attrs["plan_wanted"])
    if not plan.attrs["plan_keeps"]:
        return (
            f"No plan keeps the essential uses in all but {wanted} of the years: the best of those tried fails in "
            f"{failing} of them, no rationing in {without}. A larger roof or tank, less demand or another source is "
            "needed."
        )
    if not float(plan.plan_ahead):
        return f"No rationing is needed: the essential uses fail in {failing} of the years, no more than {wanted} may."
    held = plan.ordinary_stage_days.values
    stages = listed(f"{days(rounded(d))} in stage {k + 1}" for k, d in enumerate(held))
    text = (
        f"With the levels of the card the essential uses fail in {failing} of the years, without in {without}; no more "
        f"than {wanted} may. An ordinary year costs {percent(float(plan.ordinary_cut))} of the demand, turned away on "
        f"purpose: {stages}."
    )
    elsewhere = float(plan.failing_years_elsewhere)
    if np.isfinite(elsewhere):
        text += f" Found from one half of the record and judged on the other, such plans fail in {percent(elsewhere)}."
    return text


def actions(plan: xr.Dataset) -> list[str]:
    """Return what the card tells to do: as usual, in each stage, when help is needed."""
    out = ["White: as usual, all uses."]
    for stage, kept in zip(plan.stage.values, plan.stage_keeps.values, strict=True):
        what = (
            "only what is essential"
            if kept == 0
            else f"what is essential, and {percent(float(kept))} of the rest"
        )
        out.append(f"Stage {stage}: {what}.")
    return [*out, "Call for help: water must be brought. Only what is essential until it comes."]


def climates_words(found: xr.Dataset) -> str:
    """Return what the tank makes of each climate."""
    if found.sizes["scenario"] == 1:
        return "The study names no other climate: add [[drought.scenario]] with factors from your own climate source."
    told = []
    for name in found.scenario.values:
        at = found.sel(scenario=name)
        told.append(
            f"{name}: {measure(float(at.scenario_rain), 'mm', 2)} a year, the longest dry spell "
            f"{days(float(at.scenario_dry_spell))}, {percent(float(at.scenario_volume_reliability))} of the demand "
            f"supplied, short on {days(float(at.scenario_failed_a_year))} a year"
        )
    trend = "the trend of the record carried forward" if "carried to" in found.attrs["scenarios"] else ""
    end = f" Carried forward: {trend}." if trend else " The trend of the record is not carried forward."
    return f"{'. '.join(t[0].upper() + t[1:] for t in told)}.{end}"


def longer_words(found: xr.Dataset) -> str:
    """Return what droughts longer than any on record would do."""
    drier = float((found.drawn_driest_run < found.record_driest_run).mean())
    failing = np.quantile(found.drawn_failed_a_year.values, [0.05, 0.95])
    longest = float(found.drawn_longest_failure.max())
    return (
        f"Of {found.sizes['draw']} records as long as this one, drawn anew from its years in blocks of "
        f"{found.attrs['block_years']}, {percent(drier)} hold three years drier than its driest three. The tank fails "
        f"on {days(rounded(failing[0]))} to {days(rounded(failing[1]))} a year in 9 of 10 of them, and its longest "
        f"failure reaches {days(longest)}; on the record it is {days(float(found.record_longest_failure))}."
    )


def failed_caption(done: xr.Dataset) -> str:
    """Return what the picture of the failed days shows."""
    whole = (done.days_in_year >= 365).values
    failed = done.described_failed_by_year.median("member").values[whole]
    return (
        f"Failed days by hydrological year: none in {int((failed == 0).sum())} of {failed.size} whole years, "
        f"{days(float(failed.max(initial=0)))} in the worst."
    )


def storage_caption(worst: xr.Dataset) -> str:
    """Return what the picture of the worst two years shows."""
    first, last = (date(day) for day in worst.time.values[[0, -1]])
    short = float(worst.unmet_daily.sum())
    return (
        f"Water stored from {first} to {last}, the two years with the largest shortfall: "
        f"{litres(short) if short else 'nothing'} short."
    )


def left_out_said(why: str) -> str:
    """Return what of the drought stage could not be had."""
    return f"Not shown here: {why}."


def card_said(plan: xr.Dataset, actions: list[str]) -> list[str]:
    """Return the caretaker's card as text, for who cannot see it."""
    levels = [*plan.stage_level.values, plan.help_level.values]
    out = [actions[0]]
    for what, level in zip(actions[1:], levels, strict=True):
        by_month = ", ".join(
            f"{month} {percent(min(share, 1.0))}"
            for month, share in zip(MONTHS, level, strict=True)
            if share > 0
        )
        out.append(f"{what} Below these levels of the gauge: {by_month or 'in no month'}.")
    return out


def fan_caption(month: int, day: int, words: str) -> str:
    """Return from which day the outlook is, and what it shows."""
    return f"An outlook from {day} {MONTHS[month - 1]}, when the tank mostly stands highest. {words}"


_LOOK = """
@page { size: A4 portrait; margin: 14mm }
body { font: 15px/1.4 sans-serif; color: #000; background: #fff; max-width: 190mm; margin: 0 auto; padding: 4mm }
h1 { font-size: 24px; margin: 0 0 2mm } p { margin: 1mm 0 3mm }
svg { width: 100%; height: auto } table { border-collapse: collapse; width: 100%; font-size: 13px }
th, td { border: 1px solid #000; padding: 1px 6px; text-align: right }
th:first-child, td:first-child { text-align: left }
.line { border-bottom: 1px solid #000; display: inline-block; min-width: 60mm }
@media print { body { padding: 0; max-width: none } }
"""


def card_rows(plan: xr.Dataset) -> list[list[str]]:
    """Return the card as a table: a row a month, for each thing to do the level below which it is done.

    Parameters
    ----------
    plan : Dataset
        As `rainharvest.drought.facts.plan_dataset`.

    Returns
    -------
    list of list of str
        The head, then twelve rows; levels in per cent of the tank and in the reader's volume.
    """
    size = float(plan.attrs["plan_capacity"])
    per, unit = large_volume()
    head = ["Month", *(f"stage {s} below" for s in plan.stage.values), "call for help below"]

    def shown(level: float) -> str:
        if level > 1:
            return "always"
        if level <= 0:
            return "never"
        return f"{number(round(100 * level))} % ({number(level * size / per, 2)} {unit})"

    rows = [
        [
            MONTHS[m],
            *(shown(float(v)) for v in plan.stage_level.values[:, m]),
            shown(float(plan.help_level[m])),
        ]
        for m in range(12)
    ]
    return [head, *rows]


def card_html(plan: xr.Dataset, picture: str, place: str, essential: str) -> str:
    """Return the card as one page of HTML that prints in black and white."""
    head, *rows = card_rows(plan)
    table = "".join(f"<th>{escape(cell)}</th>" for cell in head)
    body = "".join(f"<tr>{''.join(f'<td>{escape(cell)}</td>' for cell in row)}</tr>" for row in rows)
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        f"<title>When the gauge falls: {escape(place)}</title><style>{_LOOK}</style></head><body>\n"
        f"<h1>When the gauge falls</h1><p>{escape(place)}</p>\n"
        "<p><b>Each morning: read the gauge, find the month, do what its pattern says.</b></p>\n"
        f"{picture}\n<p>{escape(essential[0].upper() + essential[1:])}.</p>\n"
        f"<table><tr>{table}</tr>{body}</table>\n"
        '<p>Who to call: <span class="line">&nbsp;</span> &nbsp; Telephone: <span class="line">&nbsp;</span></p>\n'
        "<p>Water from the tank is not for drinking unless it is treated and tested.</p>\n</body></html>\n"
    )
