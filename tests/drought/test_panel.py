"""The panels of the drought stage: every slider moves what is said, and nothing fails at either end."""

import pytest

from rainharvest.drought.panel import (
    bad_years_panel,
    card_panel,
    climate_panel,
    dry_spells_panel,
    longer_droughts_panel,
    outlook_panel,
    skill_panel,
)

PANELS = [
    bad_years_panel,
    dry_spells_panel,
    outlook_panel,
    skill_panel,
    card_panel,
    climate_panel,
    longer_droughts_panel,
]


def said(panel):
    return [line.value for _, line in panel.rh_pictures.values()]


@pytest.mark.parametrize("make", PANELS)
def test_every_slider_changes_what_is_said_at_both_ends(make, school):
    panel = make(school)
    assert panel.rh_words.value == ""
    first = said(panel)
    assert all("nan" not in line and "inf" not in line.split() for line in first)
    for name, control in panel.rh_controls.items():
        ends = (
            [control.min, control.max]
            if hasattr(control, "max")
            else [v for _, v in control.options][:: len(control.options) - 1]
        )
        seen, start = [], control.value
        for end in ends:
            control.value = end
            assert panel.rh_words.value == "", (name, end, panel.rh_words.value)
            seen.append(said(panel))
        if name != "months":  # a season matters only once a factor is moved
            assert seen[0] != seen[1], name
        control.value = start
    assert said(panel) == first
    assert all(picture.value.startswith("<svg") for picture, _ in panel.rh_pictures.values())


def test_the_season_matters_once_a_factor_is_moved(school):
    panel = climate_panel(school)
    panel.rh_controls["amount"].value = 70
    whole = said(panel)
    season = panel.rh_controls["months"]
    season.value = season.options[-1][1]
    assert said(panel) != whole and panel.rh_words.value == ""


def test_factors_at_odds_with_each_other_are_answered_all_the_same(school):
    panel = climate_panel(school)
    panel.rh_controls["intensity"].value = 150
    panel.rh_controls["frequency"].value = 140
    before = said(panel)
    panel.rh_controls["amount"].value = 50
    assert panel.rh_words.value == "" and said(panel) != before
