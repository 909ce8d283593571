"""The report's section on how rain and mains supply the building."""

from __future__ import annotations

from collections.abc import Sequence

import xarray as xr

from rainharvest.core.blocks import Block, Caution, Paragraph, Section
from rainharvest.core.defaults import CAUTIONS, rows_of
from rainharvest.core.text import texts_of
from rainharvest.storage.facts import full_mornings, mains_taken, ride_out_facts
from rainharvest.storage.tables import Arrangement

SAY, FIXED = texts_of("storage"), rows_of("storage", "section")


def supply_section(
    arrangement: Arrangement, done: xr.Dataset, demand: xr.DataArray, treatment: Sequence[Block]
) -> Section:
    """Return the arrangement, what a reserve rides out, and the treatment (blocks of the site works)."""
    said = [Paragraph(text) for text in arrangement_said(arrangement, done)]
    if arrangement.kind == "mains reserve":
        said.append(
            Paragraph(SAY.ride_out(ride_out_facts(demand, float(done.described)), full_mornings(done)))
        )
    return Section("supply", FIXED["title"], (*said, *treatment))


def cautions_section(results) -> Section:
    """Return what can hurt someone."""
    study, words = results.study, FIXED["reserve"]
    reserve = study.arrangement.kind == "mains reserve"
    left_out = set(words["left_out"] if reserve else ())
    left_out |= set() if study.pool or any(use.kind == "pool" for use in study.use) else {"pool"}
    kept = [one for name, one in CAUTIONS.items() if name not in left_out]
    cautions = [Caution(caution.title, caution.text) for caution in kept]
    cautions += [Caution(words["title"], words["text"])] if reserve else []
    return Section("cautions", FIXED["cautions"], tuple(cautions))


def arrangement_said(arrangement: Arrangement, done: xr.Dataset) -> list[str]:
    """Return how rain and mains supply the building."""
    out = [SAY.kind(arrangement.serves_as)]
    if arrangement.kind == "combined":
        out += [SAY.valve(arrangement), SAY.mains_taken(mains_taken(done))]
    if arrangement.mains_off:
        out.append(SAY.days_without(arrangement.mains_off))
    out += [SAY.hours(day, hours) for day, hours in arrangement.mains_hours.items()]
    if arrangement.spells is not None:
        out.append(SAY.spells(arrangement.spells, bool(arrangement.mains_off or arrangement.mains_hours)))
    if done.attrs["not_served"]:
        out.append(SAY.not_served(done.attrs["not_served"]))
    return out
