"""The report's section on the demand."""

from __future__ import annotations

from rainharvest.core.blocks import Paragraph, Section, Table, picture
from rainharvest.core.reader import in_units, number
from rainharvest.demand.words import demand_said, months_words
from rainharvest.study.stages import Worked
from rainharvest.study.words import CAPTIONS, NO, NOT_SERVED, TITLES, USES_HEAD, YES


def demand_section(worked: Worked) -> Section:
    """Return what is asked for, by use and by month."""
    from rainharvest.demand.facts import months_of
    from rainharvest.demand.figures import months_figure

    study, done = worked.study, worked.done
    served = set(done.use.values)
    rows = tuple(
        (
            use.name if use.name in served else NOT_SERVED.format(use=use.name),
            number(use.count),
            number(in_units(use.litres, "L/day")[0], 3),
            use.days if isinstance(use.days, str) else ", ".join(use.days),
            use.quality,
            NO if use.essential else YES,
            use.origin,
        )
        for use in study.use
    )
    head = tuple(text.format(unit=in_units(1.0, "L/day")[1]) for text in USES_HEAD)
    months = months_of(done.demand)
    blocks = (
        Paragraph(demand_said(done)),
        picture("months", months_figure(months), months_words(months)),
        Table(CAPTIONS["uses"], head, rows, frozenset({1, 2})),
    )
    return Section("demand", TITLES["demand"], blocks)
