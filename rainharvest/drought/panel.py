"""The bad years, the gauge today, the caretaker's card and other climates, each with its sliders."""

from __future__ import annotations

import os
from functools import lru_cache, partial

import ipywidgets as widgets

from rainharvest.core.board import board, cautions
from rainharvest.core.controls import choice, day_slider, slider
from rainharvest.core.reader import MONTHS, MONTHS_SHORT
from rainharvest.drought import facts, figures
from rainharvest.drought import facts_climates as climates
from rainharvest.drought import facts_outlook as ahead
from rainharvest.drought.basis import Basis, basis_of
from rainharvest.drought.dry_years import monthly_index
from rainharvest.drought.plan import choose_plan
from rainharvest.drought.section import SAY, actions, plan_words
from rainharvest.drought.tables import WORDS
from rainharvest.study.choices import saving
from rainharvest.study.stages import flows_of, record_of, results_of
from rainharvest.study.variant import of_file, open_study

WHOLE_YEAR = tuple(range(1, 13))


def prepare_drought(path: str | os.PathLike, tank: float | None = None) -> Basis:
    """Read a study once, for many outlooks, plans and climates.

    Parameters
    ----------
    path : str or path
        The study file.
    tank : float [L], optional
        Usable tank size; the one that the study describes if not given.

    Returns
    -------
    Basis

    Raises
    ------
    InputError
        If the study cannot be run, or its tank takes no rain.
    """
    run = open_study(path, members=None, roof=False)
    with of_file(path):
        if tank is None:
            tank = float(results_of(run, "decision")["done"].described)
        return basis_of(run.study, record_of(run), flows_of(run), tank)


def tank_slider(basis: Basis, least: float = 0.25, most: float = 4.0):
    """Return a slider of tank sizes around the study's own."""
    kilolitres = basis.capacity / 1000
    step = 0.5 if kilolitres < 100 else 5.0
    low = max(round(least * kilolitres / step) * step, step)
    high = max(round(most * kilolitres / step) * step, 2 * step)
    return slider("capacity", kilolitres, low, high, step, unit="kL", scale=1000.0)


def bad_years_panel(basis: Basis) -> widgets.VBox:
    """Return the panel of the bad years: which they were, and the tank through the worst.

    Parameters
    ----------
    basis : Basis
        As `prepare_drought`.

    Returns
    -------
    VBox
        Tank size, first month of the year and share of dry years; two figures.
    """
    index = monthly_index(basis.rain)
    controls = {
        "capacity": tank_slider(basis),
        "month": choice("The year begins in", {m: k for k, m in enumerate(MONTHS, 1)}, basis.month),
        "dry_share": slider("dry_share", 17, 5, 40, 1, unit="%", scale=0.01),
    }

    def redraw(capacity: float, month: int, dry_share: float) -> dict[str, tuple]:
        years = facts.years_of(basis, capacity=capacity, month=month, dry_share=dry_share, index=index)

        def through() -> tuple:
            worst = facts.worst_sequence_of(basis, capacity=capacity)
            words = SAY.worst_sequence(facts.worst_sequence_facts(worst, capacity))
            return partial(figures.worst_sequence_figure, worst, capacity), words

        return {
            "years": (partial(figures.dry_years_figure, years), SAY.dry_years(facts.dry_year_facts(years))),
            "through": through,
        }

    return board("bad-years", controls, redraw)


def day_panel(basis: Basis) -> widgets.VBox:
    """Return the panel that plays the worst drought day by day.

    Parameters
    ----------
    basis : Basis
        As `prepare_drought`.

    Returns
    -------
    VBox
        A day to step to, or to play from; rain, draw, spill, shortfall and level of that day.
    """
    days = facts.worst_days_of(basis)

    def redraw(day: float) -> dict[str, tuple]:
        found = facts.day_facts(days, int(day))
        return {"day": (partial(figures.day_figure, days, int(day), found), SAY.day(found))}

    first_short = int((days.unmet_daily > 1e-6).argmax("time"))
    day = day_slider("day", days.sizes["time"], first_short)
    return board("day", {"day": day}, redraw)


def outlook_panel(basis: Basis) -> widgets.VBox:
    """Return the panel of the gauge outlook: today's date, the gauge, what is cut.

    Parameters
    ----------
    basis : Basis
        As `prepare_drought`.

    Returns
    -------
    VBox
        Date, gauge reading and cut; the fan of storage, and the chances of running dry.
    """
    size = basis.capacity / 1000
    step = 0.5 if size <= 100 else 5.0
    full = int(size / step) * step
    dates = [(month, day) for month in range(1, 13) for day in (1, 8, 15, 22)]
    controls = {
        "today": widgets.SelectionSlider(
            options=[(f"{day} {MONTHS_SHORT[month - 1]}", (month, day)) for month, day in dates],
            value=((basis.month + 5) % 12 + 1, 1),  # half a year after the year's first month
            description="Today",
            tooltip="The day on which the gauge is read",
            layout={"width": "98%"},
        ),
        "gauge": slider("gauge", round(0.6 * full / step) * step, 0, full, step, unit="kL", scale=1000.0),
        "cut": slider("cut", 0, 0, 100, 5, unit="%", scale=0.01),
    }
    windows_on = lru_cache(1)(lambda today: ahead.windows_from(basis, *today))  # one date at a time

    def redraw(today: tuple[int, int], gauge: float, cut: float) -> dict[str, tuple]:
        found = ahead.outlook_from(basis, windows_on(today), gauge, cut)
        return {
            "fan": (
                partial(figures.fan_figure, found, today, basis.month),
                SAY.supply(ahead.supply_facts(found)),
            ),
            "chances": (
                partial(figures.chances_figure, found, today),
                SAY.plans_ahead(ahead.plans_ahead_facts(found)),
            ),
        }

    return board("outlook", controls, redraw)


def card_panel(basis: Basis, study: str | os.PathLike | None = None) -> widgets.VBox:
    """Return the panel of the caretaker's card.

    Parameters
    ----------
    basis : Basis
        As `prepare_drought`.
    study : str or path, optional
        The study file of the basis, where choices can be saved.

    Returns
    -------
    VBox
        Tank size and the share of years that may fail; the card, and every plan tried.
    """
    controls = {
        "wanted": slider("wanted", 100 * basis.table.may_fail, 0, 50, 1, unit="%", scale=0.01),
        "capacity": tank_slider(basis),
    }
    controls["capacity"].continuous_update = False  # every plan is tried anew: a third of a second
    tried_at = lru_cache(1)(lambda capacity: ahead.plans_of(basis, capacity))
    essential = f"{basis.essential_words[0].upper()}{basis.essential_words[1:]}."

    def redraw(wanted: float, capacity: float) -> dict[str, tuple]:
        tried = tried_at(capacity)
        plan = choose_plan(tried, wanted)
        return {
            "card": (partial(figures.card_figure, plan, actions(plan)), plan_words(plan)),
            "plans": (partial(figures.plans_figure, tried.measures, plan), essential),
        }

    keys = saving(
        study,
        wanted="drought.may_fail",
        capacity=lambda v: {"tank.chosen": v["capacity"] / basis.study.tank.usable_share},
    )
    return board("card", controls, redraw, cautions("drinking"), keys)


def climate_panel(basis: Basis) -> widgets.VBox:
    """Return the panel of other climates: the reader's own factors.

    Parameters
    ----------
    basis : Basis
        As `prepare_drought`.

    Returns
    -------
    VBox
        Season and three factors; the months' rain and what the tank makes of it.
    """
    quarters = [tuple((basis.month - 1 + 3 * k + j) % 12 + 1 for j in range(3)) for k in range(4)]
    seasons = {"the whole year": WHOLE_YEAR}
    seasons |= {f"{MONTHS[q[0] - 1]} to {MONTHS[q[-1] - 1]}": q for q in quarters}
    controls = {
        "months": choice("Season", seasons, WHOLE_YEAR, "The months whose rain changes"),
        "amount": slider("amount", 100, 50, 150, 5, unit="%", scale=0.01),
        "frequency": slider("frequency", 100, 60, 140, 5, unit="%", scale=0.01),
        "intensity": slider("intensity", 100, 70, 150, 5, unit="%", scale=0.01),
    }
    record = climates.scenarios_tried(basis, [])

    def redraw(months, amount: float, frequency: float, intensity: float) -> dict[str, tuple]:
        found = climates.scenarios_tried(
            basis, [climates.one_change(amount, frequency, intensity, months)], record
        )
        return {
            "climates": (
                partial(figures.climates_figure, found),
                SAY.climates(climates.scenario_facts(found)),
            )
        }

    return board("climate", controls, redraw, WORDS["climate_caution"])


def dry_spells_panel(basis: Basis) -> widgets.VBox:
    """Return the panel of the dry spells.

    Parameters
    ----------
    basis : Basis
        As `prepare_drought`.

    Returns
    -------
    VBox
        The rain of a wet day; the longest to expect, and when long ones begin.
    """
    controls = {"wet_day": slider("wet_day", 1.0, 0.2, 10.0, 0.2)}

    def redraw(wet_day: float) -> dict[str, tuple]:
        found = facts.spells_of(basis, wet_day)
        return {
            "spells": (partial(figures.longest_spell_figure, found), SAY.spells(facts.spell_facts(found)))
        }

    return board("dry-spells", controls, redraw)


def skill_panel(basis: Basis) -> widgets.VBox:
    """Return the panel of the skill of the outlook: whether what it stated came true.

    Parameters
    ----------
    basis : Basis
        As `prepare_drought`.

    Returns
    -------
    VBox
        Tank size; the reliability diagram, and what the 80 percent band held.
    """
    controls = {"capacity": tank_slider(basis)}

    def redraw(capacity: float) -> dict[str, tuple]:
        found = ahead.skill_of(basis, capacity)
        return {"honesty": (partial(figures.skill_figure, found), SAY.skill(ahead.skill_facts(found)))}

    return board("honesty", controls, redraw)


def longer_droughts_panel(basis: Basis) -> widgets.VBox:
    """Return the panel of droughts longer than any on record.

    Parameters
    ----------
    basis : Basis
        As `prepare_drought`.

    Returns
    -------
    VBox
        Tank size and years drawn together; a point for each record drawn anew.
    """
    controls = {"capacity": tank_slider(basis), "block_years": slider("block_years", 3, 1, 5, 1)}
    for control in controls.values():
        control.continuous_update = False  # two hundred records are run
    drawn_with = lru_cache(1)(lambda years: climates.drawn_records(basis, block_years=years))

    def redraw(capacity: float, block_years: float) -> dict[str, tuple]:
        found = climates.longer_droughts(basis, drawn_with(int(block_years)), capacity)
        return {"longer": (partial(figures.longer_figure, found), SAY.longer(climates.longer_facts(found)))}

    return board("longer-droughts", controls, redraw)
