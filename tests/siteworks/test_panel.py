"""The panels of the site works: every control moves what is said, nothing fails at either end."""

from pathlib import Path

import pytest

from rainharvest.siteworks.panel import overflow_panel, pump_panel, tank_panel
from rainharvest.study.choices import save_choices
from rainharvest.study.file import read_study

SCHOOL = Path(__file__).parents[2] / "data" / "studies" / "day_school.toml"


def said(panel):
    return [line.value for _, line in panel.rh_pictures.values()]


@pytest.mark.parametrize("make", [tank_panel, overflow_panel, pump_panel])
def test_every_slider_changes_what_is_said_at_both_ends(make):
    panel = make(SCHOOL, 30_000)
    assert panel.rh_words.value == ""
    first = said(panel)
    for name, control in panel.rh_controls.items():
        seen, start = [], control.value
        ends = (control.min, control.max) if hasattr(control, "max") else control.options[:2]
        for end in ends:
            control.value = end
            assert panel.rh_words.value == "", (name, end, panel.rh_words.value)
            seen.append(said(panel))
        assert seen[0] != seen[1], name
        control.value = start
    assert said(panel) == first
    assert all(picture.value.startswith("<svg") for picture, _ in panel.rh_pictures.values())


def test_every_shape_and_every_ground_is_drawn():
    panel = tank_panel(SCHOOL, 12_000)
    for name in ("form", "ground"):
        control = panel.rh_controls[name]
        answers = set()
        for value in control.options:
            control.value = value
            assert panel.rh_words.value == "", value
            answers.add(said(panel)[0])
        assert len(answers) == len(control.options)
    panel.rh_controls["ground"].value = "peat"
    assert "engineer" in said(panel)[0].lower()


@pytest.mark.parametrize("make", [tank_panel, overflow_panel, pump_panel])
def test_the_choices_of_a_panel_make_a_valid_study(make, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    panel = make(SCHOOL, 30_000)
    for control in panel.rh_controls.values():
        if hasattr(control, "max"):
            control.value = (
                control.min + round(0.4 * (control.max - control.min) / control.step) * control.step
            )
    save = next(w for w in _all(panel) if getattr(w, "description", "") == "Save these choices")
    save.click()
    study, _ = read_study("my_study.toml")
    assert study.site_works != read_study(SCHOOL)[0].site_works
    assert save_choices("my_study.toml", {}) == {}


def _all(widget):
    yield widget
    for child in getattr(widget, "children", ()):
        yield from _all(child)
