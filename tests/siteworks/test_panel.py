"""The panels of the site works: every control moves what is said, nothing fails at either end."""

from pathlib import Path

import pytest
from panels import button, check_both_ends, said, walk
from places import SCHOOL

from rainharvest.siteworks.panel import (
    overflow_panel,
    prepare_siteworks,
    pump_panel,
    site_variant,
    tank_panel,
)
from rainharvest.study.choices import save_choices
from rainharvest.study.file import read_study


@pytest.mark.parametrize("make", [tank_panel, overflow_panel, pump_panel])
def test_every_slider_changes_what_is_said_at_both_ends(make):
    check_both_ends(make(SCHOOL, 30_000))


def test_every_shape_and_every_ground_is_drawn():
    panel = tank_panel(SCHOOL, 12_000)
    for name in ("form", "ground"):
        control = panel.rh_controls[name]
        answers = set()
        for value in control.options:
            control.value = value
            assert panel.rh_words.value == "", value
            answers.add(said(panel)["tank"])
        assert len(answers) == len(control.options)
    panel.rh_controls["ground"].value = "peat"
    assert "engineer" in said(panel)["tank"].lower()


@pytest.mark.parametrize("make", [tank_panel, overflow_panel, pump_panel])
def test_the_choices_of_a_panel_make_a_valid_study(make, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    panel = make(SCHOOL, 30_000)
    for control in panel.rh_controls.values():
        if hasattr(control, "max"):
            control.value = (
                control.min + round(0.4 * (control.max - control.min) / control.step) * control.step
            )
    if "stand" in panel.rh_controls:
        panel.rh_controls["stand"].value = 0.5  # there are 0.72 m of level
    button(panel, "Save these choices").click()
    study, _ = read_study("my_study.toml")
    assert study.site_works != read_study(SCHOOL)[0].site_works
    assert save_choices("my_study.toml", {}) == {}


def test_the_tanks_drawn_are_those_decided_on():
    """The demo decides on three linked tanks of 20 kL: its catalogue's, 2.7 m high."""
    ready = prepare_siteworks(SCHOOL)
    assert (ready.nominal, ready.site.tanks, ready.site.height) == (60_000, 3, 2.7)
    works = site_variant(ready)
    assert works.vessel.tanks == 3 and works.given.nominal == 60_000
    drawn = tank_panel(SCHOOL).rh_figures["tank"][0].axes[0].get_children()
    assert any("18 kL each" in str(getattr(a, "get_text", str)()) for a in drawn)


def test_a_stand_costs_the_run_its_height_and_the_building_stays_where_it_is(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    panel = tank_panel(SCHOOL, 30_000)
    stand = panel.rh_controls["stand"]
    assert "known fits" in said(panel)["run"]
    stand.value = 0.7  # there were 0.72 m of level
    assert "known fits" in said(panel)["run"]
    stand.value = 1.0
    assert "known fits" not in said(panel)["run"] and "0.28 m too low" in said(panel)["run"]
    # 3.8 - 1.0 m of outlet, less the filter's 0.2, the fall's 0.18 and the inlet's 2.7: no page after could run it
    reason = said(panel)["run"].split("(the dry run")[1].split(";")[0]
    button(panel, "Save these choices").click()
    told = " ".join(w.value for w in walk(panel) if "cannot work" in str(getattr(w, "value", "")))
    assert f"conveyance: the dry run{reason}" in told and not Path("my_study.toml").exists()
    stand.value = 0.7
    button(panel, "Save these choices").click()
    study, _ = read_study("my_study.toml")
    assert (study.site_works.stand, study.conveyance.outlet_level) == (0.7, 3.1)


def test_the_sentences_say_that_no_overflow_fits():
    panel = tank_panel(SCHOOL, 30_000)
    assert "No overflow" not in "".join(said(panel).values())
    panel.rh_controls["freeboard_share"].value = 0
    assert all("No overflow fits" in said(panel)[name] for name in ("tank", "run"))
