"""The report's section on roofs and conveyance, dry against wet."""

from __future__ import annotations

import re

import pandas as pd

from rainharvest.catchment.facts import Case, Climate, DryAndWet, dry_and_wet
from rainharvest.catchment.tables import WORK_CAUTIONS, roof_cautions
from rainharvest.catchment.words import (
    bore_words,
    levels_caption,
    levels_words,
    losses_words,
    roofs_said,
    run_said,
    storm_said,
)
from rainharvest.core.blocks import WIDE, Block, Bullets, Paragraph, Section, Subheading, Table, picture
from rainharvest.core.reader import in_units, label_for_reader, number, percent, rounded
from rainharvest.siteworks.tables import DESIGN_INTENSITY
from rainharvest.study.stages import Worked
from rainharvest.study.words import (
    CAPTIONS,
    DRY_WET,
    DRY_WET_HEAD,
    LOSSES_HEAD,
    LOST,
    RAIN_ON_ROOFS,
    REACHES_TANK,
    ROOF_COLUMNS,
    TINY,
    TITLES,
)

LEFT_OUT = {"left in store at the end"}

"""Rows of the comparison that matter to its sums only."""


def catchment_section(worked: Worked) -> Section:
    """Return roofs, losses and the run of pipe."""
    study, done = worked.study, worked.done
    blocks: list[Block] = [Paragraph(roofs_said(study))]
    if study.roof:
        blocks.append(_roofs(worked))
    if "mean_lost" in done:
        blocks.append(_losses(worked))
    cautions = [f"{roof.name}: {text}" for roof in study.roof for text in roof_cautions(roof)]
    if cautions:
        blocks.append(Bullets(tuple(cautions)))
    if study.roof and study.conveyance is not None:
        blocks += _conveyance(worked)
    return Section("catchment", TITLES["catchment"], tuple(blocks))


def _roofs(worked: Worked) -> Table:
    rows = tuple(
        (
            roof.name,
            number(in_units(roof.area, "m2")[0], 3),
            roof.material,
            number(roof.runoff_coefficient),
            number(in_units(roof.wetting, "mm")[0], 2),
        )
        for roof in worked.study.roof
    )
    head = (*ROOF_COLUMNS[:1], label_for_reader("area"), *ROOF_COLUMNS[1:])
    head += (label_for_reader("runoff_coefficient"), label_for_reader("wetting"))
    return Table(CAPTIONS["roofs"], head, rows, frozenset({1, 3, 4}))


def _losses(worked: Worked) -> Table:
    done = worked.done
    fell, reaches = float(done.mean_rain_on_roof), float(done.inflow.mean())
    volumes = [(RAIN_ON_ROOFS, fell, 3)]
    volumes += [
        (LOST.format(cause=name), float(value), 2)
        for name, value in zip(done.loss.values, done.mean_lost.values, strict=True)
        if value > 0
    ]
    volumes.append((REACHES_TANK, reaches, 3))
    rows = tuple(
        (name, number(in_units(volume, "L/day")[0], figures), percent(volume / fell) if fell else "")
        for name, volume, figures in volumes
    )
    head = tuple(text.format(unit=in_units(1.0, "L/day")[1]) for text in LOSSES_HEAD)
    return Table(CAPTIONS["losses"], head, rows, frozenset({1, 2}), (0.5, 0.25, 0.25))


def _conveyance(worked: Worked) -> list[Block]:
    from rainharvest.catchment.figures import levels_figure

    study = worked.study
    run = study.conveyance
    rain = worked.record.filled.isel(member=0, drop=True)
    case = Case(study.catchment, {study.site.name: Climate(rain, study.losses.intensity)})
    storm = study.site_works.design_intensity
    done = dry_and_wet(case, study.site.name, storm, bleed=run.bleed)
    drawn = levels_figure({name.capitalize(): one for name, one in done.levels.items()})
    words = (levels_words(done), losses_words(done), bore_words(done))
    return [
        Subheading(DRY_WET),
        Paragraph(run_said(run)),
        Paragraph(storm_said(storm, storm != DESIGN_INTENSITY.value)),
        picture("levels", drawn, levels_caption(done, storm), scale=WIDE),
        *(Paragraph(text) for text in words),
        dry_wet_table(done),
        Bullets(WORK_CAUTIONS[1:4]),
    ]


def dry_wet_table(done: DryAndWet) -> Table:
    """Return dry against wet side by side, in the reader's units."""
    rows = []
    for name, row in done.table.iterrows():
        found = re.fullmatch(r"(.*) \[(.*)\]", str(name))
        words, unit = found.groups() if found else (str(name), "")
        if words in LEFT_OUT or (words.startswith("lost") and not row.any()):
            continue
        cells = [_cell(row[kind], unit) for kind in done.table.columns]
        # The words of a row say themselves what is counted a year.
        shown = "" if unit in ("1", "1/year", "h/year") else in_units(1.0, unit)[1]
        rows.append((f"{words} ({shown})" if shown else words, *cells))
    return Table(CAPTIONS["dry_wet"], DRY_WET_HEAD, tuple(rows), frozenset({1, 2}), (0.56, 0.22, 0.22))


def _cell(value: object, unit: str) -> str:
    if isinstance(value, str):
        return value
    if pd.isna(value):
        return "–"
    if unit == "1" and 0 <= value <= 1:
        return percent(float(value))
    near = rounded(float(in_units(float(value), unit)[0]), 3)
    return TINY.format(number(0.01)) if 0 < near < 0.01 else number(near)
