"""The bad years, the gauge today, the caretaker's card and other climates, each with its sliders."""

from __future__ import annotations

import os

import ipywidgets as widgets

from rainharvest.core.board import board, cautions, choice, slider
from rainharvest.demand.words import MONTHS
from rainharvest.drought.basis import Basis, longer_droughts, one_change, prepare_drought, scenarios_tried
from rainharvest.drought.dry_years import monthly_index
from rainharvest.drought.facts import (
    honesty_of,
    looked_ahead,
    plan_dataset,
    plans_of,
    spells_of,
    through_of,
    windows_from,
    years_of,
)
from rainharvest.drought.figures import (
    climates_figure,
    dry_years_figure,
    longer_figure,
    longest_spell_figure,
    through_figure,
)
from rainharvest.drought.figures_outlook import (
    card_figure,
    chances_figure,
    fan_figure,
    plan_figure,
    reliability_figure,
)
from rainharvest.drought.plan import choose_plan
from rainharvest.drought.words import (
    actions,
    chances_words,
    climates_words,
    dry_years_words,
    fan_words,
    honesty_words,
    longer_words,
    plan_words,
    spells_words,
    through_words,
)

DATES = [(month, day) for month in range(1, 13) for day in (1, 8, 15, 22)]

SEASONS = {"the whole year": tuple(range(1, 13))}


def tank_slider(basis: Basis, least: float = 0.25, most: float = 4.0):
    """Return a slider of tank sizes around the study's own."""
    kilolitres = basis.capacity / 1000
    step = 0.5 if kilolitres < 100 else 5.0
    low = max(round(least * kilolitres / step) * step, step)
    high = max(round(most * kilolitres / step) * step, 2 * step)
    return slider("capacity", round(kilolitres / step) * step, low, high, step, unit="kL", scale=1000.0)


def bad_years_panel(path: str | os.PathLike, tank: float | None = None) -> widgets.VBox:
    """Return the panel of the bad years: which they were, and the tank through the worst.

    Parameters
    ----------
    path : str or path
        The study file.
    tank : float [L], optional
        Usable size at which the slider stands at first.

    Returns
    -------
    VBox
        Tank size, first month of the year and share of dry years; two figures.

    Raises
    ------
    InputError
        If the study cannot be run, or its tank takes no rain.
    """
    basis = prepare_drought(path, tank)
    index = monthly_index(basis.rain)
    controls = {
        "capacity": tank_slider(basis),
        "month": choice("The year begins in", {name: k + 1 for k, name in enumerate(MONTHS)}, basis.month),
        "dry_share": slider("dry_share", 17, 5, 40, 1, unit="%", scale=0.01),
    }
    figures: dict[str, object] = {}

    def redraw(capacity: float, month: int, dry_share: float) -> dict[str, tuple]:
        years = years_of(basis, capacity=capacity, month=month, dry_share=dry_share, index=index)
        through = through_of(basis, capacity=capacity)
        figures["years"] = dry_years_figure(years, figures.get("years"))
        figures["through"] = through_figure(through, capacity, figures.get("through"))
        return {
            "years": (figures["years"], dry_years_words(years)),
            "through": (figures["through"], through_words(through, capacity)),
        }

    return board("bad-years", controls, redraw, cautions("drinking"))


def outlook_panel(path: str | os.PathLike, tank: float | None = None) -> widgets.VBox:
    """Return the panel of the gauge outlook: today's date, the gauge, what is cut.

    Parameters
    ----------
    path : str or path
        The study file.
    tank : float [L], optional
        Usable tank size.

    Returns
    -------
    VBox
        Date, gauge reading and cut; the fan of storage, and the chances of running dry.

    Raises
    ------
    InputError
        If the study cannot be run, or its tank takes no rain.
    """
    basis = prepare_drought(path, tank)
    size = basis.capacity / 1000
    step = 0.5 if size <= 100 else 5.0
    full = int(size / step) * step
    first = ((basis.month + 5) % 12 + 1, 1)  # half a year after the year's first month
    controls = {
        "today": widgets.SelectionSlider(
            options=[(f"{day} {MONTHS[month - 1][:3]}", (month, day)) for month, day in DATES],
            value=first,
            description="Today",
            tooltip="The day on which the gauge is read",
            style={"description_width": "13em"},
            layout={"width": "37em", "max_width": "100%"},
        ),
        "gauge": slider("gauge", round(0.6 * full / step) * step, 0, full, step, unit="kL", scale=1000.0),
        "cut": slider("cut", 0, 0, 100, 5, unit="%", scale=0.01),
    }
    figures: dict[str, object] = {}
    cut_out: dict[tuple[int, int], object] = {}

    def redraw(today: tuple[int, int], gauge: float, cut: float) -> dict[str, tuple]:
        if today not in cut_out:
            cut_out.clear()  # one date at a time
            cut_out[today] = windows_from(basis, *today)
        found = looked_ahead(basis, cut_out[today], gauge, cut)
        figures["fan"] = fan_figure(found, today, basis.month, figures.get("fan"))
        figures["chances"] = chances_figure(found, today, figures.get("chances"))
        return {
            "fan": (figures["fan"], fan_words(found)),
            "chances": (figures["chances"], chances_words(found)),
        }

    return board("outlook", controls, redraw, cautions("drinking"))


def card_panel(path: str | os.PathLike, tank: float | None = None) -> widgets.VBox:
    """Return the panel of the caretaker's card.

    Parameters
    ----------
    path : str or path
        The study file.
    tank : float [L], optional
        Usable size at which the slider stands at first.

    Returns
    -------
    VBox
        Tank size and the share of years that may fail; the card, and every plan tried.

    Raises
    ------
    InputError
        If the study cannot be run, or its tank takes no rain.
    """
    basis = prepare_drought(path, tank)
    controls = {
        "wanted": slider("wanted", round(100 * basis.asks.may_fail), 0, 50, 1, unit="%", scale=0.01),
        "capacity": tank_slider(basis),
    }
    controls["capacity"].continuous_update = False  # every plan is tried anew: a third of a second
    figures: dict[str, object] = {}
    tried_of: dict[float, object] = {}

    def redraw(wanted: float, capacity: float) -> dict[str, tuple]:
        if capacity not in tried_of:
            tried_of.clear()
            tried_of[capacity] = plans_of(basis, capacity)
        plan = choose_plan(tried_of[capacity], wanted)
        shown = plan_dataset(plan)
        figures["card"] = card_figure(shown, actions(shown), figures.get("card"))
        figures["plans"] = plan_figure(plan.tried, shown, figures.get("plans"))
        kept = f"{basis.kept[0].upper()}{basis.kept[1:]}."
        return {
            "card": (figures["card"], plan_words(shown)),
            "plans": (figures["plans"], kept),
        }

    return board(
        "card",
        controls,
        redraw,
        cautions("drinking"),
        study=path,
        choices=lambda wanted, capacity: {
            "drought.may_fail": wanted,
            "tank.chosen": capacity / basis.study.tank.usable_share,
        },
    )


def climate_panel(path: str | os.PathLike, tank: float | None = None) -> widgets.VBox:
    """Return the panel of other climates: the reader's own factors.

    Parameters
    ----------
    path : str or path
        The study file.
    tank : float [L], optional
        Usable tank size.

    Returns
    -------
    VBox
        Season and three factors; the months' rain and what the tank makes of it.

    Raises
    ------
    InputError
        If the study cannot be run, or its tank takes no rain.
    """
    basis = prepare_drought(path, tank)
    begin = basis.month
    quarters = [tuple((begin - 1 + 3 * k + j) % 12 + 1 for j in range(3)) for k in range(4)]
    seasons = SEASONS | {f"{MONTHS[q[0] - 1]} to {MONTHS[q[-1] - 1]}": q for q in quarters}
    controls = {
        "months": choice("Season", seasons, SEASONS["the whole year"], "The months whose rain changes"),
        "amount": slider("amount", 100, 50, 150, 5, unit="%", scale=0.01),
        "frequency": slider("frequency", 100, 60, 140, 5, unit="%", scale=0.01),
        "intensity": slider("intensity", 100, 70, 150, 5, unit="%", scale=0.01),
    }
    figures: dict[str, object] = {}
    record = scenarios_tried(basis, [])

    def redraw(months, amount: float, frequency: float, intensity: float) -> dict[str, tuple]:
        found = scenarios_tried(basis, [one_change(amount, frequency, intensity, months)], record)
        figures["climates"] = climates_figure(found, figures.get("climates"))
        return {"climates": (figures["climates"], climates_words(found))}

    return board(
        "climate",
        controls,
        redraw,
        "Climate factors: take them from a climate source for your own place, name it, and try several: no factor "
        "here is a forecast.",
    )


def dry_spells_panel(path: str | os.PathLike) -> widgets.VBox:
    """Return the panel of the dry spells.

    Parameters
    ----------
    path : str or path
        The study file.

    Returns
    -------
    VBox
        The rain of a wet day; the longest to expect, and when long ones begin.

    Raises
    ------
    InputError
        If the study cannot be run, or its tank takes no rain.
    """
    basis = prepare_drought(path)
    controls = {"wet_day": slider("wet_day", 1.0, 0.2, 10.0, 0.2)}
    figures: dict[str, object] = {}

    def redraw(wet_day: float) -> dict[str, tuple]:
        found = spells_of(basis, round(wet_day, 2))  # the page sends 1.0000000000000002
        figures["spells"] = longest_spell_figure(found, figures.get("spells"))
        return {"spells": (figures["spells"], spells_words(found))}

    return board("dry-spells", controls, redraw)


def honesty_panel(path: str | os.PathLike, tank: float | None = None) -> widgets.VBox:
    """Return the panel that asks whether the outlook is honest.

    Parameters
    ----------
    path : str or path
        The study file.
    tank : float [L], optional
        Usable size at which the slider stands at first.

    Returns
    -------
    VBox
        Tank size; the reliability diagram, and what the 80 percent band held.

    Raises
    ------
    InputError
        If the study cannot be run, or its tank takes no rain.
    """
    basis = prepare_drought(path, tank)
    controls = {"capacity": tank_slider(basis)}
    figures: dict[str, object] = {}

    def redraw(capacity: float) -> dict[str, tuple]:
        found = honesty_of(basis, capacity)
        figures["honesty"] = reliability_figure(found, figures.get("honesty"))
        return {"honesty": (figures["honesty"], honesty_words(found))}

    return board("honesty", controls, redraw)


def longer_droughts_panel(path: str | os.PathLike, tank: float | None = None) -> widgets.VBox:
    """Return the panel of droughts longer than any on record.

    Parameters
    ----------
    path : str or path
        The study file.
    tank : float [L], optional
        Usable size at which the slider stands at first.

    Returns
    -------
    VBox
        Tank size and years drawn together; a point for each record drawn anew.

    Raises
    ------
    InputError
        If the study cannot be run, or its tank takes no rain.
    """
    basis = prepare_drought(path, tank)
    controls = {"capacity": tank_slider(basis), "block_years": slider("block_years", 3, 1, 5, 1)}
    for control in controls.values():
        control.continuous_update = False  # two hundred records are run
    figures: dict[str, object] = {}

    def redraw(capacity: float, block_years: float) -> dict[str, tuple]:
        found = longer_droughts(basis, capacity=capacity, block_years=int(block_years))
        figures["longer"] = longer_figure(found, figures.get("longer"))
        return {"longer": (figures["longer"], longer_words(found))}

    return board("longer-droughts", controls, redraw)
