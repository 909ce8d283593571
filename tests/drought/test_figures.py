"""Figures of the drought stage: what they show is what they were given, drawn anew or moved."""

import re

import numpy as np
import pytest
from drawn import artist, check_moved

from rainharvest.core.style import svg
from rainharvest.drought import figures
from rainharvest.drought.facts import spells_of, worst_sequence_of, years_of
from rainharvest.drought.facts_climates import drawn_records, longer_droughts, one_change, scenarios_tried
from rainharvest.drought.facts_outlook import outlook_from, plans_of, skill_of, windows_from
from rainharvest.drought.plan import choose_plan
from rainharvest.drought.section import actions, card_lines, card_rows, plan_words


@pytest.fixture(scope="module")
def plans(basis):
    return plans_of(basis)


def pair(basis, plans, kind, second):
    """Return what a figure is drawn from, in one of two states."""
    size = basis.capacity * (0.5 if second else 1.0)
    if kind == "years":
        return figures.dry_years_figure, (years_of(basis, capacity=size, month=7 if second else 3),)
    if kind == "through":
        return figures.worst_sequence_figure, (worst_sequence_of(basis, capacity=size), size)
    if kind == "spells":
        return figures.longest_spell_figure, (spells_of(basis, 5.0 if second else 1.0),)
    if kind in ("fan", "chances"):
        day = (2, 8) if second else (9, 1)
        found = outlook_from(basis, windows_from(basis, *day), 0.4 * size, 0.5 if second else 0.0)
        fan = kind == "fan"
        return (
            (figures.fan_figure, (found, day, basis.month)) if fan else (figures.chances_figure, (found, day))
        )
    if kind == "skill":
        return figures.skill_figure, (skill_of(basis, size),)
    if kind == "climates":
        tried = scenarios_tried(basis, [one_change(0.7 if second else 0.9, 1.0, 1.0)])
        return figures.climates_figure, (tried,)
    if kind == "longer":
        return figures.longer_figure, (longer_droughts(basis, drawn_records(basis, 20), size),)
    plan = choose_plan(plans, 0.4 if second else 0.05)
    if kind == "card":
        return figures.card_figure, (plan, actions(plan))
    return figures.plans_figure, (plans.measures, plan)


KINDS = ["years", "through", "spells", "fan", "chances", "skill", "climates", "longer", "card", "plans"]


@pytest.mark.parametrize("kind", KINDS)
def test_moved_is_as_drawn_anew(basis, plans, kind):
    draw, first = pair(basis, plans, kind, False)
    check_moved(draw, first, pair(basis, plans, kind, True)[1])


def test_the_fan_holds_the_bands(basis):
    found = outlook_from(basis, windows_from(basis, 9, 1), 30_000.0)
    figure = figures.fan_figure(found, (9, 1), 3)
    lead, stored = artist(figure, "middle year").get_data()
    np.testing.assert_array_equal(lead[1:], found.lead.values)
    np.testing.assert_allclose(1000 * stored[1:], found.stored_band.sel(band=0.5).values)
    assert stored[0] == 30.0


def test_the_card_is_black_and_white_and_says_its_levels(plans):
    plan = choose_plan(plans, 0.05)
    text = svg(figures.card_figure(plan, actions(plan)), "card", plan_words(plan))
    colours = {c.lower() for c in re.findall(r"#[0-9a-fA-F]{6}", text)}
    grey = [c for c in colours if c[1:3] == c[3:5] == c[5:7]]
    assert len(colours - set(grey)) <= 1  # the ink of title and axes is nearly black
    head, *rows = card_rows(plan)
    assert len(rows) == 12 and len(head) == 4
    level = f"{100 * float(plan.stage_level[0, 0]):.0f} %"
    assert rows[0][1].startswith(level) and f"January {level}" in card_lines(plan)[1]


def test_dry_years_are_dark(basis):
    found = years_of(basis)
    figure = figures.dry_years_figure(found)
    assert len(artist(figure.axes[0], "dry years").get_segments()) == int(found.dry_by_rain.sum())
