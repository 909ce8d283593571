"""The catchment's panel without a browser: every control to both ends, each is heard and answered."""

from pathlib import Path

import pytest

from rainharvest.catchment.facts import load_case
from rainharvest.catchment.panel import catchment_panel

DATA = Path(__file__).parents[2] / "data"


@pytest.fixture(scope="module")
def panel():
    return catchment_panel(load_case(DATA / "studies" / "day_school.toml", DATA / "records"))


def said(panel):
    return [sentence.value for _, sentence in panel.rh_pictures.values()]


def test_every_slider_moves_to_both_ends_and_changes_what_is_said(panel):
    for name, control in panel.rh_controls.items():
        if not hasattr(control, "min"):
            continue
        start, seen = control.value, set()
        for value in (control.min, control.max):
            control.value = value
            assert panel.rh_words.value == "", (name, value)
            seen.add("".join(said(panel)))
            assert all("<svg" in picture.value for picture, _ in panel.rh_pictures.values())
        assert len(seen) == 2, name
        control.value = start


def test_another_climate_gives_another_answer(panel):
    control = panel.rh_controls["climate"]
    answers = set()
    for climate in control.options:
        control.value = climate
        answers.add("".join(said(panel)))
    assert len(answers) == len(control.options)
    control.value = control.options[0]
