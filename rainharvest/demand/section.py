"""The report's section on the demand."""

from __future__ import annotations

from rainharvest.core.blocks import Paragraph, Section, Table, picture
from rainharvest.core.defaults import rows_of
from rainharvest.core.reader import in_units, number
from rainharvest.core.text import texts_of
from rainharvest.demand.facts import demand_facts, months_facts, months_of
from rainharvest.demand.tables import Use

SAY, FIXED = texts_of("demand"), rows_of("demand", "section")


def demand_section(results) -> Section:
    """Return how much is drawn, by use and by month."""
    from rainharvest.demand.figures import months_figure

    demand = results.done.demand
    months, head = months_of(demand), FIXED["uses"]["head"]
    unit = in_units(1.0, "L/day")[1]
    rows = tuple(_row(use, use.name in demand.use.values) for use in results.study.use)
    blocks = (
        Paragraph(SAY.demand(demand_facts(demand))),
        picture("months", months_figure(months), SAY.months(months_facts(months))),
        Table(
            FIXED["uses"]["caption"], tuple(text.format(unit=unit) for text in head), rows, frozenset({1, 2})
        ),
    )
    return Section("demand", FIXED["title"], blocks)


def _row(use: Use, served: bool) -> tuple[str, ...]:
    """Return one use as a row of the table."""
    said = FIXED["uses"]
    return (
        use.name if served else said["not_served"].format(use=use.name),
        number(use.count),
        number(in_units(use.litres, "L/day")[0], 3),
        use.days if isinstance(use.days, str) else ", ".join(use.days),
        use.quality,
        said["can_wait"]["false" if use.essential else "true"],
        use.origin,
    )
