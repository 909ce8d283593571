"""The report's section on drought years and the caretaker's card."""

from __future__ import annotations

import xarray as xr

from rainharvest.core.blocks import WIDE, Block, Bullets, Paragraph, Section, Subheading, picture
from rainharvest.drought.words import (
    actions,
    card_said,
    chances_words,
    climates_words,
    driest_runs_words,
    dry_years_words,
    failed_caption,
    failures_words,
    fan_caption,
    fan_words,
    honesty_words,
    left_out_said,
    longer_words,
    plan_words,
    spells_words,
    storage_caption,
    through_words,
)
from rainharvest.storage.facts import worst_two_years
from rainharvest.study.stages import Worked
from rainharvest.study.words import (
    CAPTIONS,
    CARD,
    CHANGED_CLIMATES,
    DRY_YEARS,
    ON_RAIN_ALONE,
    OUTLOOK,
    TITLES,
    WHEN_IT_FAILS,
)


def drought_section(worked: Worked) -> Section:
    """Return when it fails, what to expect, and what to do."""
    from rainharvest.sizing.figures import failed_years_figure
    from rainharvest.storage.figures import storage_figure

    done, found = worked.done, worked.groups.get("drought", xr.Dataset())
    worst = worst_two_years(done)
    failed = failed_years_figure(done.described_failed_by_year, done.days_in_year)
    stored = storage_figure(worst, float(done.described))
    blocks: list[Block] = [
        Subheading(WHEN_IT_FAILS),
        picture("failed", failed, failed_caption(done)),
        picture("storage", stored, storage_caption(worst)),
    ]
    if worked.study.arrangement.kind == "combined" and found.data_vars:
        blocks.append(Paragraph(ON_RAIN_ALONE))
    if "worst_stored" in found:
        blocks.append(Paragraph(through_words(found, float(done.described))))
    if "resilience" in found:
        blocks.append(Paragraph(failures_words(found)))
    for part in (_card, _years, _outlook, _climates):
        blocks += part(found)
    if found.attrs.get("left_out"):
        blocks.append(Paragraph(left_out_said(found.attrs["left_out"])))
    return Section("drought", TITLES["drought"], tuple(blocks))


def _card(found: xr.Dataset) -> list[Block]:
    if "stage_level" not in found:
        return []
    from rainharvest.drought.figures_outlook import card_figure

    done = actions(found)
    out = [Subheading(CARD), Paragraph(plan_words(found))]
    if float(found.plan_ahead):
        words = card_said(found, done)
        out += [
            picture("card", card_figure(found, done), CAPTIONS["card"], " ".join(words), WIDE),
            Bullets(tuple(words)),
        ]
    return out


def _years(found: xr.Dataset) -> list[Block]:
    from rainharvest.drought.figures import dry_years_figure, longest_spell_figure

    out: list[Block] = []
    if "dry_by_rain" in found:
        words = dry_years_words(found)
        out += [Subheading(DRY_YEARS), picture("dry_years", dry_years_figure(found), words, scale=WIDE)]
    if "driest_run_total" in found:
        out.append(Paragraph(driest_runs_words(found)))
    if "longest_expected" in found:
        words = spells_words(found)
        out.append(picture("spells", longest_spell_figure(found), words, scale=WIDE))
    return out


def _outlook(found: xr.Dataset) -> list[Block]:
    if "stored_band" not in found:
        return []
    from rainharvest.drought.figures_outlook import fan_figure

    plan = str(found.plan.values[0])
    first = (int(found.attrs["outlook_month"]), int(found.attrs["outlook_day"]))
    words = fan_words(found, plan)
    caption = fan_caption(*first, words)
    out = [Subheading(OUTLOOK), picture("fan", fan_figure(found, first), caption, scale=WIDE)]
    out.append(Paragraph(chances_words(found)))
    if "seen_share" in found:
        out.append(Paragraph(honesty_words(found)))
    return out


def _climates(found: xr.Dataset) -> list[Block]:
    out: list[Block] = []
    if "scenario" in found.dims and found.sizes["scenario"] > 1:
        from rainharvest.drought.figures import climates_figure

        words = climates_words(found)
        out.append(picture("climates", climates_figure(found), words, scale=WIDE))
    if "drawn_driest_run" in found:
        out.append(Paragraph(longer_words(found)))
    return [Subheading(CHANGED_CLIMATES), *out] if out else []
