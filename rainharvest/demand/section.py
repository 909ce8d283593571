"""The report's section on the demand."""

from __future__ import annotations

from rainharvest.core.blocks import Paragraph, Section, Table, picture
from rainharvest.core.defaults import rows_of
from rainharvest.core.reader import in_units, large_volume, measure, number
from rainharvest.core.text import texts_of
from rainharvest.demand.facts import demand_facts, months_facts, months_of, yearly_facts
from rainharvest.demand.tables import Garden, Pool, Use

SAY, FIXED = texts_of("demand"), rows_of("demand", "section")


def demand_section(results) -> Section:
    """Return how much is drawn, by use and by month."""
    from rainharvest.demand.figures import months_figure

    demand, calendar = results.done.demand, results.study.calendar
    months, head = months_of(demand), FIXED["uses"]["head"]
    unit = in_units(1.0, "L/day")[1]
    yearly = yearly_facts(demand)
    rows = [_row(use, yearly.get(use.name)) for use in results.study.use]
    rows += [_outdoor_row(thing, results.study, yearly[thing.name]) for thing in results.study.garden]
    rows += [_outdoor_row(thing, results.study, yearly[thing.name]) for thing in results.study.pool]
    served = [use for use in results.study.use if use.name in yearly]
    empty = FIXED["uses"]["none"]
    rows.append((FIXED["uses"]["total"], *[empty] * 5, _volume(sum(yearly.values())), empty))
    blocks = (
        Paragraph(f"{SAY.demand(demand_facts(demand))} {SAY.beside_people(calendar, served)}".strip()),
        picture("months", months_figure(months), SAY.months(months_facts(months))),
        Table(
            FIXED["uses"]["caption"],
            tuple(text.format(unit=unit, volume=large_volume()[1]) for text in head),
            tuple(rows),
            frozenset({1, 2, 6}),
        ),
    )
    return Section("demand", FIXED["title"], blocks)


def _volume(litres: float) -> str:
    return number(litres / large_volume()[0], 4)


def _row(use: Use, yearly: float | None) -> tuple[str, ...]:
    """Return one use as a row of the table."""
    said = FIXED["uses"]
    return (
        said["not_served"].format(use=use.name) if yearly is None else use.name,
        number(use.count),
        number(in_units(use.litres, "L/day")[0], 3),
        use.days if isinstance(use.days, str) else ", ".join(use.days),
        use.quality,
        said["can_wait"]["false" if use.essential else "true"],
        said["none"] if yearly is None else _volume(yearly),
        use.origin,
    )


def _outdoor_row(thing: Garden | Pool, study, yearly: float) -> tuple[str, ...]:
    """Return a garden or a pool as a row: what it draws follows from the weather."""
    said, garden = FIXED["uses"], isinstance(thing, Garden)
    words = said["garden" if garden else "pool"]
    weather = study.weather.source if study.weather.file is None else study.weather.file
    return (
        thing.name,
        measure(thing.bed_area if garden else thing.pool_area, "m2"),
        said["none"],
        (garden and ", ".join(thing.watered)) or said["every_day"],
        "outdoor",
        said["can_wait"]["false" if thing.essential else "true"],
        _volume(yearly),
        words.format(crop=getattr(thing, "crop", ""), weather=weather),
    )
