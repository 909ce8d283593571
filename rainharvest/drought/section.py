"""The report's section on drought years and the caretaker's card."""

from __future__ import annotations

import xarray as xr

from rainharvest.core.blocks import FLAT, WIDE, Block, Bullets, Paragraph, Section, Subheading, picture
from rainharvest.core.reader import MONTHS, large_volume
from rainharvest.core.text import texts_of
from rainharvest.drought import facts, figures
from rainharvest.drought import facts_climates as climates
from rainharvest.drought import facts_outlook as ahead
from rainharvest.drought.tables import WORDS
from rainharvest.sizing.figures import failed_years_figure
from rainharvest.storage.facts import worst_two_years
from rainharvest.storage.figures import storage_figure

SAY = texts_of("drought")

HEADINGS = {name: Subheading(words) for name, words in WORDS["headings"].items()}


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
    return SAY.driest_runs(found)


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
    return SAY.failures(facts.failure_facts(found))


def plan_words(plan: xr.Dataset) -> str:
    """Return what the rationing plan keeps and what it costs.

    Parameters
    ----------
    plan : Dataset
        As `rainharvest.drought.facts_outlook.plan_of`.

    Returns
    -------
    str
        Plain text.
    """
    return SAY.plan(ahead.plan_facts(plan))


def card_rows(plan: xr.Dataset) -> list[list[str]]:
    """Return the card as a table: a row a month, for each thing to do the level below which it is done.

    Parameters
    ----------
    plan : Dataset
        As `rainharvest.drought.facts_outlook.plan_of`.

    Returns
    -------
    list of list of str
        The head, then twelve rows; levels in per cent of the tank and in the reader's volume.
    """
    per, unit = large_volume()
    size = plan.attrs["plan_capacity"]
    head = WORDS["card_head"]
    levels = [*plan.stage_level.values, plan.help_level.values]
    stages = [head["stage"].format(stage) for stage in plan.stage.values]
    columns = [
        [SAY.card_level(share, share * size / per, unit) for share in level.tolist()] for level in levels
    ]
    return [
        [head["month"], *stages, head["mains" if plan.attrs["combined"] else "help"]],
        *map(list, zip(MONTHS, *columns, strict=True)),
    ]


def actions(plan: xr.Dataset) -> list[str]:
    """Return what the card tells to do: as usual, in each stage, when help is needed."""
    stages = [SAY.stage(k, keeps) for k, keeps in enumerate(ahead.plan_facts(plan)["keeps"], 1)]
    return [SAY.as_usual(), *stages, SAY.help(plan.attrs["combined"])]


def card_lines(plan: xr.Dataset) -> list[str]:
    """Return the caretaker's card as text, for who cannot see it."""
    usual, *others = actions(plan)
    levels = ahead.plan_facts(plan)["levels"]
    return [usual, *(SAY.done_below(*pair) for pair in zip(others, levels, strict=True))]


def drought_section(run) -> Section:
    """Return when it fails, and the card by which to ration."""
    done, found = run.done, run.groups.get("drought", xr.Dataset())
    failed = failed_years_figure(done.described_failed_by_year, done.days_in_year)
    blocks: list[Block] = [picture("failed", failed, SAY.failed(facts.failed_facts(done)), scale=FLAT)]
    if run.study.arrangement.kind == "mains reserve":  # no rain enters it
        return Section("drought", WORDS["title_reserve"], tuple(blocks))
    if run.study.arrangement.kind == "combined" and found.data_vars:
        blocks.append(Paragraph(WORDS["on_rain_alone"]))
    title = WORDS["title" if ahead.card_stands(found) else "title_without_card"]
    return Section("drought", title, (*blocks, *_card(found)))


def bad_years_section(run) -> Section:
    """Return the worst years day by day, what to expect, and other climates."""
    done, found = run.done, run.groups.get("drought", xr.Dataset())
    tank, worst = float(done.described), worst_two_years(done)
    two_years = SAY.stored(*worst.time.values[[0, -1]], float(worst.unmet_daily.sum()))
    blocks: list[Block] = [picture("storage", storage_figure(worst, tank), two_years)]
    if run.study.arrangement.kind == "mains reserve":
        return Section("bad_years", WORDS["bad_years_reserve"], tuple(blocks))
    if run.study.rationing:
        blocks.append(Paragraph(WORDS["unrationed"]))
    if "worst_stored" in found:
        blocks.append(Paragraph(SAY.worst_sequence(facts.worst_sequence_facts(found, tank))))
    if "resilience" in found:
        blocks.append(Paragraph(failures_words(found)))
    for part in (_years, _outlook, _climates):
        blocks += part(found)
    if "stage_level" in found:  # without a plan it is said where the card would stand
        blocks += _left_out(found)
    return Section("bad_years", WORDS["bad_years"], tuple(blocks))


def _left_out(found: xr.Dataset) -> list[Block]:
    """Return what could not be told, and why."""
    return [Paragraph(SAY.left_out(found.attrs["left_out"]))] if found.attrs.get("left_out") else []


def _card(found: xr.Dataset) -> list[Block]:
    if "stage_level" not in found:
        return _left_out(found)
    out: list[Block] = [Paragraph(plan_words(found))]
    if ahead.card_stands(found):  # the lines stand on the card: they are its words for who cannot see it
        lines, figure = card_lines(found), figures.card_figure(found, actions(found))
        out.append(picture("card", figure, WORDS["card_caption"], " ".join(lines), WIDE))
    return out


def _years(found: xr.Dataset) -> list[Block]:
    out: list[Block] = []
    if "dry_by_rain" in found:
        words = SAY.dry_years(facts.dry_year_facts(found))
        out += [HEADINGS["years"], picture("dry_years", figures.dry_years_figure(found), words, scale=WIDE)]
    if "driest_run_total" in found:
        out.append(Paragraph(driest_runs_words(found)))
    if "longest_expected" in found:
        words = SAY.spells(facts.spell_facts(found))
        out.append(picture("spells", figures.longest_spell_figure(found), words, scale=WIDE))
    return out


def _outlook(found: xr.Dataset) -> list[Block]:
    if "stored_band" not in found:
        return []
    first = (int(found.attrs["outlook_month"]), int(found.attrs["outlook_day"]))
    words = SAY.from_day(*first, SAY.supply(ahead.supply_facts(found, str(found.plan.values[0]))))
    out = [HEADINGS["outlook"], picture("fan", figures.fan_figure(found, first), words, scale=WIDE)]
    out.append(Paragraph(SAY.plans_ahead(ahead.plans_ahead_facts(found))))
    if "seen_share" in found:
        out.append(Paragraph(SAY.skill(ahead.skill_facts(found))))
    return out


def _climates(found: xr.Dataset) -> list[Block]:
    out: list[Block] = []
    if "scenario" in found.dims and found.sizes["scenario"] > 1:
        words = SAY.climates(climates.scenario_facts(found))
        out.append(picture("climates", figures.climates_figure(found), words, scale=WIDE))
        out.append(Bullets(climates.what_scenarios_rest_on(found)))
    if "drawn_driest_run" in found:
        out.append(Paragraph(SAY.longer(climates.longer_facts(found))))
    return [HEADINGS["climates"], *out] if out else []
