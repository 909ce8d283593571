"""The report's section on drought years and the caretaker's card."""

from __future__ import annotations

import xarray as xr

from rainharvest.study import drought_outlook_words, drought_words
from rainharvest.study.report import dry_words
from rainharvest.study.report.blocks import WIDE, Block, Bullets, Paragraph, Section, Subheading, picture
from rainharvest.study.report.fixed_words import (
    CAPTIONS,
    CARD,
    CHANGED_CLIMATES,
    DRY_YEARS,
    ON_RAIN_ALONE,
    OUTLOOK,
    TITLES,
    WHEN_IT_FAILS,
)
from rainharvest.study.run import Worked
from rainharvest.study.worst_years import worst_two_years


def drought_section(worked: Worked) -> Section:
    """Return when it fails, what to expect, and what to do.

    Parameters
    ----------
    worked : Worked
        The study that was run.

    Returns
    -------
    Section
        The failed years and the worst sequence; dry years and spells; the card; the outlook; other climates.
    """
    from rainharvest.plots.sizing import failed_years_figure
    from rainharvest.plots.storage import storage_figure

    done, found = worked.done, worked.groups.get("drought", xr.Dataset())
    worst = worst_two_years(done)
    failed = failed_years_figure(done.described_failed_by_year, done.days_in_year)
    stored = storage_figure(worst, float(done.described))
    blocks: list[Block] = [
        Subheading(WHEN_IT_FAILS),
        picture("failed", failed, dry_words.failed_caption(done)),
        picture("storage", stored, dry_words.storage_caption(worst)),
    ]
    if worked.study.arrangement.kind == "combined" and found.data_vars:
        blocks.append(Paragraph(ON_RAIN_ALONE))
    if "worst_stored" in found:
        blocks.append(Paragraph(drought_words.through_words(found, float(done.described))))
    if "resilience" in found:
        blocks.append(Paragraph(drought_words.failures_words(found)))
    for part in (_card, _years, _outlook, _climates):
        blocks += part(found)
    if found.attrs.get("left_out"):
        blocks.append(Paragraph(dry_words.left_out_said(found.attrs["left_out"])))
    return Section("drought", TITLES["drought"], tuple(blocks))


def _card(found: xr.Dataset) -> list[Block]:
    if "stage_level" not in found:
        return []
    from rainharvest.plots.drought_card import card_figure

    actions = drought_outlook_words.actions(found)
    out = [Subheading(CARD), Paragraph(drought_outlook_words.plan_words(found))]
    if float(found.plan_ahead):
        words = dry_words.card_said(found, actions)
        out += [
            picture("card", card_figure(found, actions), CAPTIONS["card"], " ".join(words), WIDE),
            Bullets(tuple(words)),
        ]
    return out


def _years(found: xr.Dataset) -> list[Block]:
    from rainharvest.plots.drought_years import dry_years_figure, longest_spell_figure

    out: list[Block] = []
    if "dry_by_rain" in found:
        words = drought_words.dry_years_words(found)
        out += [Subheading(DRY_YEARS), picture("dry_years", dry_years_figure(found), words, scale=WIDE)]
    if "driest_run_total" in found:
        out.append(Paragraph(drought_words.driest_runs_words(found)))
    if "longest_expected" in found:
        words = drought_words.spells_words(found)
        out.append(picture("spells", longest_spell_figure(found), words, scale=WIDE))
    return out


def _outlook(found: xr.Dataset) -> list[Block]:
    if "stored_band" not in found:
        return []
    from rainharvest.plots.drought_outlook import fan_figure

    plan = str(found.plan.values[0])
    first = (int(found.attrs["outlook_month"]), int(found.attrs["outlook_day"]))
    words = drought_outlook_words.fan_words(found, plan)
    caption = dry_words.fan_caption(*first, words)
    out = [Subheading(OUTLOOK), picture("fan", fan_figure(found, first), caption, scale=WIDE)]
    out.append(Paragraph(drought_outlook_words.chances_words(found)))
    if "seen_share" in found:
        out.append(Paragraph(drought_outlook_words.honesty_words(found)))
    return out


def _climates(found: xr.Dataset) -> list[Block]:
    out: list[Block] = []
    if "scenario" in found.dims and found.sizes["scenario"] > 1:
        from rainharvest.plots.drought_climate import climates_figure

        words = drought_outlook_words.climates_words(found)
        out.append(picture("climates", climates_figure(found), words, scale=WIDE))
    if "drawn_driest_run" in found:
        out.append(Paragraph(drought_outlook_words.longer_words(found)))
    return [Subheading(CHANGED_CLIMATES), *out] if out else []
