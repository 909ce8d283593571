"""The report's sections on the size, the dry years, the arrangement and the costs."""

from __future__ import annotations

import numpy as np

from rainharvest.reader import large_volume, number
from rainharvest.study.cautions import CAUTIONS
from rainharvest.study.report import decision_words
from rainharvest.study.report.blocks import Caution, Paragraph, Section, Table, picture
from rainharvest.study.report.costs import cost_rows
from rainharvest.study.report.fixed_words import CAPTIONS, COSTS_HEAD, SIZES_HEAD, TITLES
from rainharvest.study.report.works import treatment_blocks
from rainharvest.study.run import Worked
from rainharvest.study.words import litres, percent
from rainharvest.study.worst_years import worst_two_years

SIZES_SHOWN = 12
MEASURES = ("volume_reliability", "time_reliability", "yearly_yield", "failed_a_year", "longest_failure")


def size_section(worked: Worked) -> Section:
    """Return the tank-size decision with its uncertainty.

    Parameters
    ----------
    worked : Worked
        The study that was run.

    Returns
    -------
    Section
        How the sizes compare, and what the record's gaps leave open.
    """
    done = worked.done
    pick = _picked(done.sizes["capacity"])
    part = done.isel(capacity=pick)[list(MEASURES)].median("member")
    rows = tuple(
        (
            litres(size),
            litres(float(done.nominal[pick[i]])),
            percent(float(part.volume_reliability[i])),
            percent(float(part.time_reliability[i])),
            litres(float(part.yearly_yield[i])),
            number(round(float(part.failed_a_year[i]))),
            number(round(float(part.longest_failure[i]))),
        )
        for i, size in enumerate(part.capacity.values)
    )
    blocks = (
        Paragraph(decision_words.sizes_said(done)),
        Paragraph(decision_words.spread_said(done)),
        Table(CAPTIONS["sizes"], SIZES_HEAD, rows, frozenset(range(7))),
    )
    return Section("size", TITLES["size"], blocks)


def drought_section(worked: Worked) -> Section:
    """Return when it fails.

    Parameters
    ----------
    worked : Worked
        The study that was run.

    Returns
    -------
    Section
        The failed years and the worst two.
    """
    from rainharvest.plots.sizing import failed_years_figure
    from rainharvest.plots.storage import storage_figure

    done = worked.done
    worst = worst_two_years(done)
    failed = failed_years_figure(done.described_failed_by_year, done.days_in_year)
    stored = storage_figure(worst, float(done.described))
    blocks = (
        picture("failed", failed, decision_words.failed_caption(done)),
        picture("storage", stored, decision_words.storage_caption(worst)),
    )
    return Section("drought", TITLES["drought"], blocks)


def supply_section(worked: Worked) -> Section:
    """Return arrangement, treatment and cautions.

    Parameters
    ----------
    worked : Worked
        The study that was run.

    Returns
    -------
    Section
        Sentences and every caution.
    """
    said = [Paragraph(text) for text in decision_words.arrangement_said(worked.study, worked.done)]
    cautions = [Caution(caution.title, caution.text) for caution in CAUTIONS.values()]
    return Section("supply", TITLES["supply"], (*said, *treatment_blocks(worked), *cautions))


def costs_section(worked: Worked) -> Section | None:
    """Return what each size costs and saves.

    Parameters
    ----------
    worked : Worked
        The study that was run.

    Returns
    -------
    Section or None
        None where the study gives no prices.
    """
    study = worked.study
    if study.costs is None:
        return None
    frame = cost_rows(study, worked.done)
    frame["per_kilolitre"] *= large_volume()[0] / 1000
    pick = _picked(len(frame))
    rows = tuple(
        (litres(size), *(number(value, 2) for value in row))
        for size, row in zip(frame.index[pick], frame.values[pick], strict=True)
    )
    head = tuple(text.format(currency=study.costs.currency, volume=large_volume()[1]) for text in COSTS_HEAD)
    table = Table(CAPTIONS["costs"], head, rows, frozenset(range(5)))
    return Section("costs", TITLES["costs"], (Paragraph(decision_words.prices_said(study)), table))


def _picked(count: int) -> np.ndarray:
    return np.unique(np.linspace(0, count - 1, SIZES_SHOWN).round().astype(int))
