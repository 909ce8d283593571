"""The panel of a study's options: every slider says something new; a study without options is told what to add."""

import dataclasses
from pathlib import Path

import pytest

from rainharvest.study.panel import options_panel
from rainharvest.study.run import study_results

DEMO = Path(__file__).parents[2] / "data" / "studies" / "day_school.toml"


@pytest.fixture(scope="module")
def results():
    return study_results(DEMO)


def test_each_slider_changes_what_is_said(results):
    panel = options_panel(DEMO, results)
    said = panel.rh_pictures["options"][1]
    start = said.value
    assert "nominal" in start and "as described" in start
    for name in ("nominal", "target"):
        control = panel.rh_controls[name]
        first, seen = control.value, set()
        for end in (control.min, control.max):
            control.value = end
            seen.add(said.value)
            assert not panel.rh_words.value
        assert len(seen) == 2
        control.value = first
    assert said.value == start


def test_without_options_it_says_what_to_add(results):
    without = {name: group for name, group in results.groups.items() if name != "options"}
    shown = options_panel(DEMO, dataclasses.replace(results, groups=without)).rh_still()
    assert "nothing to show here: option: it names no options; add an [[option]] table" in shown
