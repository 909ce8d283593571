"""The report's section on roofs and conveyance, dry against wet; the same told in a notebook."""

from __future__ import annotations

import textwrap

import numpy as np
import pandas as pd

from rainharvest.catchment.facts import (
    CatchmentCase,
    Climate,
    DryAndWet,
    dry_and_wet,
    first_flush_cost,
    hardness_of,
)
from rainharvest.catchment.tables import CAUTIONS, roof_cautions
from rainharvest.core.blocks import WIDE, Block, Bullets, Paragraph, Section, Subheading, Table, picture
from rainharvest.core.defaults import rows_of
from rainharvest.core.reader import hours, in_units, label_for_reader, measure, number, percent, rounded
from rainharvest.core.text import texts_of

SAY = texts_of("catchment")

WORDS = rows_of("catchment", "words")

UNSAID = ("", "1", "1/year", "h/year")
"""Units that the head of a row does not repeat: its words say themselves what is counted."""


def catchment_section(results) -> Section:
    """Return roofs, losses and the run of pipe of a study that has been run."""
    study, done = results.study, results.done
    blocks: list[Block] = [Paragraph(SAY.roofs(study.roof, study.arrangement.kind))]
    if study.roof:
        blocks.append(_roofs(study.roof))
    if "mean_lost" in done:
        blocks.append(_losses(done))
    cautions = [f"{roof.name}: {text}" for roof in study.roof for text in roof_cautions(roof)]
    if cautions:
        blocks.append(Bullets(tuple(cautions)))
    if study.roof and study.conveyance is not None:
        blocks += _conveyance(study, results)
    return Section("catchment", WORDS["title"], tuple(blocks))


def _roofs(roofs) -> Table:
    rows = tuple(
        (
            roof.name,
            number(in_units(roof.area, "m2")[0], 3),
            roof.material,
            number(roof.runoff_coefficient),
            number(in_units(roof.wetting, "mm")[0], 2),
        )
        for roof in roofs
    )
    name, material = WORDS["roofs"]["columns"]
    area, coefficient, wetting = map(label_for_reader, ("area", "runoff_coefficient", "wetting"))
    head = (name, area, material, coefficient, wetting)
    return Table(WORDS["roofs"]["caption"], head, rows, frozenset({1, 3, 4}))


def _losses(done) -> Table:
    words, fell = WORDS["losses"], float(done.mean_rain_on_roof)
    lost = zip(done.loss.values, done.mean_lost.values, strict=True)
    volumes = [
        (words["falls"], fell, 3),
        *((words["lost"].format(cause=name), float(value), 2) for name, value in lost if value > 5e-5 * fell),
        (words["reaches"], float(done.inflow.mean()), 3),
    ]
    rows = tuple(
        (name, number(in_units(volume, "L/day")[0], figures), percent(volume / fell) if fell else "")
        for name, volume, figures in volumes
    )
    head = tuple(text.format(unit=in_units(1.0, "L/day")[1]) for text in words["head"])
    return Table(words["caption"], head, rows, frozenset({1, 2}), (0.5, 0.25, 0.25))


def _conveyance(study, results) -> list[Block]:
    from rainharvest.catchment.figures import levels_figure

    run, name, site_works = study.conveyance, study.site.name, study.site_works
    climate = Climate(results.record.filled.isel(member=0, drop=True), study.losses.intensity)
    storm = site_works.design_intensity
    given = storm != type(site_works).model_fields["design_intensity"].default
    case = CatchmentCase(study.catchment, {name: climate}, storm, study.units)
    done = dry_and_wet(case, name)
    drawn = levels_figure({name.capitalize(): one for name, one in done.levels.items()})
    return [
        Subheading(WORDS["dry_against_wet"]),
        Paragraph(f"{SAY.run(run)} {SAY.other_run(done)}"),
        Paragraph(SAY.storm(storm, given)),
        Paragraph(SAY.hardness(hardness_of(climate.intensity, results.flows.water))),
        picture("levels", drawn, SAY.levels_caption(done, storm), scale=WIDE),
        *(Paragraph(say(done)) for say in (SAY.levels, SAY.losses, SAY.bore)),
        dry_wet_table(done),
        Bullets(tuple(CAUTIONS.work[name] for name in ("excavation", "pressure", "standing water"))),
    ]


def dry_wet_table(done: DryAndWet) -> Table:
    """Return dry against wet side by side, in the reader's units."""
    words, rows = WORDS["comparison"], []
    for key, row in done.table.iterrows():
        said, unit = words["rows"][key]
        if key == "left" or (said.startswith("lost") and not row.any()):  # matters to the sums only
            continue
        said = said.format(limit=f"{done.standing_limit:g}")
        said = said if unit in UNSAID else f"{said} ({in_units(1.0, unit)[1]})"
        rows.append((said, *(_cell(row[kind], unit) for kind in done.table.columns)))
    head = tuple(words["head"])
    return Table(words["caption"], head, tuple(rows), frozenset({1, 2}), (0.56, 0.22, 0.22))


def _cell(value: object, unit: str) -> str:
    if isinstance(value, str):
        return value
    if pd.isna(value):
        return "–"
    if unit == "1" and 0 <= value <= 1:
        return percent(float(value))
    if unit == "h/year":
        return hours(float(value))
    near = rounded(float(in_units(float(value), unit)[0]), 3)
    return f"{WORDS['under']} {number(0.01)}" if 0 < near < 0.01 else number(near)


def side_by_side(done: DryAndWet) -> pd.DataFrame:
    """Return the table of dry against wet with no more figures than it supports.

    Parameters
    ----------
    done : DryAndWet
        As `rainharvest.catchment.facts.dry_and_wet`.

    Returns
    -------
    DataFrame
        The rows of the report's table, as text.
    """
    table = dry_wet_table(done)
    return pd.DataFrame(table.rows, columns=table.head).set_index(table.head[0])


def tell_runs(done: DryAndWet, width: int = 100) -> None:
    """Print what the levels allow, what reaches the tank and which bore to choose, broken into lines.

    Parameters
    ----------
    done : DryAndWet
        As `rainharvest.catchment.facts.dry_and_wet`.
    width : int
        Characters on a line.
    """
    for say in (SAY.levels, SAY.losses, SAY.bore):
        print(textwrap.fill(say(done), width), end="\n\n")


def tell_roofs(case: CatchmentCase, width: int = 100) -> None:
    """Print what to be careful about with each roof: cautions, not verdicts.

    Parameters
    ----------
    case : CatchmentCase
        The study's catchment and the climates.
    width : int
        Characters on a line.
    """
    for roof in case.catchment.roofs:
        print(f"{roof.name}, {measure(roof.area, 'm2')} of {roof.material}:")
        for caution in roof_cautions(roof) or ["nothing known; look before anyone drinks from it"]:
            print(textwrap.fill(caution, width, initial_indent="  - ", subsequent_indent="    "))


def tell_first_flush(case: CatchmentCase, depths: tuple[float, ...] = (0.1, 0.4, 2.0, 10.0)) -> None:
    """Print what first-flush depths cost in each climate, as shares of the rain on the roofs.

    Parameters
    ----------
    case : CatchmentCase
        The study's catchment and the climates.
    depths : tuple of float [mm]
        Depths from the range that is published.
    """
    cost = first_flush_cost(case, depths)
    print("first flush (mm)".ljust(20) + "".join(f"{depth:>8g}" for depth in depths))
    for climate in cost.climate.values:
        row = np.round(100 * cost.sel(climate=climate).values, 1)
        print(str(climate).ljust(20) + "".join(f"{share:>6.1f} %" for share in row))
