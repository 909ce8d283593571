"""The panels of the rain record: every control moves what is said and what is drawn."""

from pathlib import Path

import pytest

pytest.importorskip("ipywidgets")

from rainharvest.rainfall.facts import demo_files
from rainharvest.rainfall.panel import rain_panel, record_panel

RECORDS = demo_files(Path(__file__).parents[2] / "data" / "records")


def said(panel):
    return [line.value for _, line in panel.rh_pictures.values()]


@pytest.mark.parametrize("make, figures", [(record_panel, 3), (rain_panel, 5)])
def test_every_slider_changes_what_is_said_at_both_ends_and_the_way_back_is_exact(make, figures):
    panel = make(RECORDS)
    assert panel.rh_words.value == "" and len(panel.rh_pictures) == figures
    first = said(panel)
    for name, control in panel.rh_controls.items():
        if not hasattr(control, "max"):
            continue
        seen, start = [], control.value
        for end in (control.min, control.max):
            control.value = end
            assert panel.rh_words.value == "", (name, end, panel.rh_words.value)
            seen.append(said(panel))
        assert seen[0] != seen[1], name
        control.value = start
    assert said(panel) == first
    assert all(picture.value.startswith("<svg") for picture, _ in panel.rh_pictures.values())


@pytest.mark.parametrize("make", [record_panel, rain_panel])
def test_every_climate_can_be_chosen(make):
    panel = make(RECORDS)
    seen = set()
    for name in RECORDS:
        panel.rh_controls["name"].value = name
        assert panel.rh_words.value == "", (name, panel.rh_words.value)
        seen.add(tuple(said(panel)))
        assert not [line for line in said(panel) if "nan" in line.lower()], name
    assert len(seen) == len(RECORDS) == 5


def test_a_move_of_the_longest_gap_is_timed(benchmark):
    panel = record_panel(RECORDS)
    control = panel.rh_controls["longest_gap"]
    place = iter(range(10**6))

    def move():
        control.value = 20 + next(place) % 300

    benchmark.pedantic(move, rounds=15, warmup_rounds=2)
    assert panel.rh_words.value == ""
