"""The panels of the drought stage: every slider moves what is said, and nothing fails at either end."""

import numpy as np
import pytest
from panels import button, check_both_ends, said

from rainharvest.drought.exercises import guess_month
from rainharvest.drought.facts import day_facts, failing_months, worst_days_of
from rainharvest.drought.panel import (
    bad_years_panel,
    card_panel,
    climate_panel,
    day_panel,
    dry_spells_panel,
    longer_droughts_panel,
    outlook_panel,
    prepare_drought,
    skill_panel,
)


@pytest.fixture(scope="module")
def basis(school):
    """The school, read once for all panels."""
    return prepare_drought(school)


PANELS = [
    bad_years_panel,
    dry_spells_panel,
    outlook_panel,
    skill_panel,
    card_panel,
    climate_panel,
    longer_droughts_panel,
    day_panel,
]


@pytest.mark.parametrize("make", PANELS)
def test_every_slider_changes_what_is_said_at_both_ends(make, basis):
    check_both_ends(make(basis), alike=["months"])  # a season matters only once a factor is moved


def test_the_season_matters_once_a_factor_is_moved(basis):
    panel = climate_panel(basis)
    panel.rh_controls["amount"].value = 70
    whole = said(panel)
    season = panel.rh_controls["months"]
    season.value = season.options[-1][1]
    assert said(panel) != whole and panel.rh_words.value == ""


def test_factors_at_odds_with_each_other_are_answered_all_the_same(basis):
    panel = climate_panel(basis)
    panel.rh_controls["intensity"].value = 150
    panel.rh_controls["frequency"].value = 140
    before = said(panel)
    panel.rh_controls["amount"].value = 50
    assert panel.rh_words.value == "" and said(panel) != before


def test_each_day_played_balances_and_is_what_is_said(basis):
    days = worst_days_of(basis)
    drawn = days.demand - days.unmet_daily
    left = days.stored_before + days.inflow - drawn - days.spilled_daily
    np.testing.assert_allclose(left, days.stored, atol=1e-6)
    np.testing.assert_allclose(days.stored_before[1:], days.stored[:-1])
    short = np.flatnonzero(days.unmet_daily.values > 1e-6)
    panel = day_panel(basis)
    assert panel.rh_controls["day"].value == short[0] and "are missing" in said(panel)["day"]
    panel.rh_controls["day"].value = int(short[-1])
    assert str(days.time.values[short[-1]])[:10] in said(panel)["day"]
    assert day_facts(days, int(short[-1]))["days_short"] == short.size
    panel.rh_controls["day"].value = int(days.demand.argmin())
    assert "nobody asks for water" in said(panel)["day"]


def test_the_month_that_is_guessed_at_is_the_one_that_fails_most(basis):
    failed = failing_months(basis)
    guess = guess_month(basis)
    button(guess, "Set this guess").click()
    months = "January February March April May June July August September October November December".split()
    assert f"It is {months[int(failed.argmax())]}:" in guess.rh_words.value


def test_a_tank_that_runs_short_in_few_years_calls_no_more_dry(basis):
    panel = bad_years_panel(basis)
    size = panel.rh_controls["capacity"]
    assert "each way calls 10 dry" in said(panel)["years"]
    size.value = size.max  # the tank runs short in no year
    assert "each way" not in said(panel)["years"] and "ran short in none" in said(panel)["years"]
    notes = [axes.texts for axes in panel.rh_figures["years"][0].axes]
    assert any("no years in which the tank ran short" in note.get_text() for note in notes[2])


def test_an_empty_tank_is_not_said_to_last_at_least_no_day(basis):
    panel = outlook_panel(basis)
    panel.rh_controls["gauge"].value = 0
    assert "at least no day" not in said(panel)["fan"] and "no day at least" not in said(panel)["chances"]


def test_the_card_at_the_study_s_own_tank_is_the_study_s_own(basis):
    panel = card_panel(basis)
    assert basis.capacity == 1000 * panel.rh_controls["capacity"].value == 54_000
