"""Figures of the drought stage: what they show is what they were given, drawn anew or moved."""

from pathlib import Path

import numpy as np
import pytest

from rainharvest.core.style import svg
from rainharvest.drought.basis import longer_droughts, one_change, prepare_drought, scenarios_tried
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
from rainharvest.drought.words import actions, card_html, card_rows, plan_words

SCHOOL = Path(__file__).parents[2] / "data" / "studies" / "day_school.toml"


@pytest.fixture(scope="module")
def basis():
    return prepare_drought(SCHOOL)


@pytest.fixture(scope="module")
def plans(basis):
    return plans_of(basis)


def shown(figure, name):
    found = [a for axes in figure.axes for a in axes.get_children() if a.get_gid() == name]
    assert len(found) == 1, name
    return found[0]


def state(figure):
    """Return what every kept artist shows, and the limits and ticks of every axis."""
    found = {}
    for k, axes in enumerate(figure.axes):
        found[k] = axes.get_xlim(), axes.get_ylim(), [t.get_text() for t in axes.get_xticklabels()]
        for artist in axes.get_children():
            if artist.get_gid() is None:
                continue
            data = []
            if hasattr(artist, "get_segments"):
                data = [np.asarray(s).tolist() for s in artist.get_segments()]
            elif hasattr(artist, "get_paths"):
                data = [p.vertices.tolist() for p in artist.get_paths()]
            elif hasattr(artist, "get_text"):
                data = [artist.get_text(), artist.get_position(), artist.get_visible()]
            elif hasattr(artist, "get_data"):
                data = [np.asarray(v).tolist() for v in artist.get_data()]
            found[k, artist.get_gid()] = data
    return repr(found)


def pair(basis, plans, kind, second):
    """Return what a figure is drawn from, in one of two states."""
    size = basis.capacity * (0.5 if second else 1.0)
    if kind == "years":
        return dry_years_figure, (years_of(basis, capacity=size, month=7 if second else 3),)
    if kind == "through":
        return through_figure, (through_of(basis, capacity=size), size)
    if kind == "spells":
        return longest_spell_figure, (spells_of(basis, 5.0 if second else 1.0),)
    if kind in ("fan", "chances"):
        day = (2, 8) if second else (9, 1)
        found = looked_ahead(basis, windows_from(basis, *day), 0.4 * size, 0.5 if second else 0.0)
        return (fan_figure, (found, day, basis.month)) if kind == "fan" else (chances_figure, (found, day))
    if kind == "honesty":
        return reliability_figure, (honesty_of(basis, size),)
    if kind == "climates":
        return climates_figure, (scenarios_tried(basis, [one_change(0.7 if second else 0.9, 1.0, 1.0)]),)
    if kind == "longer":
        return longer_figure, (longer_droughts(basis, 20, size),)
    plan = choose_plan(plans, 0.4 if second else 0.05)
    table = plan_dataset(plan)
    return (card_figure, (table, actions(table))) if kind == "card" else (plan_figure, (plan.tried, table))


KINDS = ["years", "through", "spells", "fan", "chances", "honesty", "climates", "longer", "card", "plans"]


@pytest.mark.parametrize("kind", KINDS)
def test_moved_is_as_drawn_anew(basis, plans, kind):
    draw, first = pair(basis, plans, kind, False)
    _, second = pair(basis, plans, kind, True)
    fresh = draw(*second)
    figure = draw(*first)
    before = state(figure)
    svg(figure, kind)
    moved = draw(*second, figure=figure)
    assert moved is figure and before != state(fresh)
    assert state(moved) == state(fresh)
    text = svg(moved, kind)
    assert text.startswith("<svg") and len(text) < 120_000 and svg(moved, kind) == text


def test_the_fan_holds_the_bands(basis):
    found = looked_ahead(basis, windows_from(basis, 9, 1), 30_000.0)
    figure = fan_figure(found, (9, 1), 3)
    lead, stored = shown(figure, "middle year").get_data()
    np.testing.assert_array_equal(lead[1:], found.lead.values)
    np.testing.assert_allclose(1000 * stored[1:], found.stored_band.sel(band=0.5).values)
    assert stored[0] == 30.0


def test_the_card_is_black_and_white_and_says_its_levels(basis, plans):
    table = plan_dataset(choose_plan(plans, 0.05))
    text = svg(card_figure(table, actions(table)), "card", plan_words(table))
    import re

    colours = {c.lower() for c in re.findall(r"#[0-9a-fA-F]{6}", text)}
    grey = [c for c in colours if c[1:3] == c[3:5] == c[5:7]]
    assert len(colours - set(grey)) <= 1  # the ink of title and axes is nearly black
    page = card_html(table, text, "A school (invented)", basis.kept)
    assert page.startswith("<!doctype html>") and "http" not in page.replace("http://www.w3.org", "")
    head, *rows = card_rows(table)
    assert len(rows) == 12 and len(head) == 4
    for row in rows:
        assert all(cell in page for cell in row)
    level = float(table.stage_level[0, 0])
    assert rows[0][1].startswith(f"{100 * level:.0f} %")


def test_dry_years_are_dark(basis):
    found = years_of(basis)
    figure = dry_years_figure(found)
    bars = [a for a in figure.axes[0].get_children() if a.get_gid() == "dry years"]
    assert len(bars[0].get_segments()) == int(found.dry_by_rain.sum())
