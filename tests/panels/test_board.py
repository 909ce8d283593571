"""Panels without a browser: sliders move, sentences follow, errors are shown and not raised."""

import re
from pathlib import Path

import ipywidgets as widgets
import pytest

from rainharvest import InputError
from rainharvest.panels.board import board, slider
from rainharvest.panels.study import study_panel
from rainharvest.plots.style import keep, new_figure, svg

DEMO = Path(__file__).parents[2] / "data" / "studies" / "day_school.toml"


@pytest.fixture
def panel():
    """A panel that draws one line, and fails in two ways."""
    figure, axes = new_figure("A line")

    def redraw(area):
        if area == 10:
            raise InputError("ten is too few", "give more", "area")
        if area == 20:
            raise RuntimeError("a slip")
        keep(axes, "line", lambda: axes.plot([0, 1], [0, 1])[0]).set_ydata([0, area])
        return {"line": (figure, f"The area is <b>{area:g} m²</b>.")}

    return board("test", {"area": slider("area", 50, 10, 100, 10)}, redraw, "Mind the step.")


def test_a_move_repaints_picture_and_sentence(panel):
    picture, words = panel.rh_pictures["line"]
    before = picture.value
    panel.rh_controls["area"].value = 60
    assert "60 m²" in words.value and picture.value != before
    assert 'aria-label="The area is 60 m²."' in picture.value


def test_errors_are_shown_in_the_panel_and_go_away(panel):
    control = panel.rh_controls["area"]
    control.value = 10
    assert (
        "area: ten is too few; give more" in panel.rh_words.value and 'role="alert"' in panel.rh_words.value
    )
    control.value = 20
    assert "a defect: RuntimeError: a slip" in panel.rh_words.value
    control.value = 30
    assert panel.rh_words.value == ""


def test_back_to_the_first_values(panel):
    panel.rh_controls["area"].value = 90
    button = next(w for w in walk(panel) if isinstance(w, widgets.Button))
    button.click()
    assert panel.rh_controls["area"].value == 50 and "50 m²" in panel.rh_pictures["line"][1].value


def walk(widget):
    yield widget
    for child in getattr(widget, "children", ()):
        yield from walk(child)


def test_same_figure_paints_the_same_bytes_and_several_share_a_page():
    figure, axes = new_figure("Twice")
    axes.plot([0, 1], [0, 1])
    one, again, other = svg(figure, "a"), svg(figure, "a"), svg(figure, "b")
    assert one == again
    ids = [set(re.findall(r'id="([^"]+)"', text)) for text in (one, other)]
    hashed = {i for i in ids[0] & ids[1] if re.fullmatch(r"[mp][0-9a-f]{6,}", i)}
    assert not hashed


def test_study_panel_at_the_ends_of_every_slider():
    panel = study_panel(DEMO)
    for name, control in panel.rh_controls.items():
        said = set()
        for value in (control.min, control.max):
            control.value = value
            assert panel.rh_words.value == "", (name, value)
            said.add(tuple(words.value for _, words in panel.rh_pictures.values()))
        assert len(said) == 2, f"{name} changes nothing"
        control.value = control.min + (control.max - control.min) // 2


def test_study_panel_agrees_with_the_study():
    from rainharvest.study.variant import prepare, variant

    prepared = prepare(DEMO)
    same = variant(prepared, area=prepared.area, people=prepared.people, capacity=50_600.0)
    assert float(same.described_rain_reliability) == pytest.approx(0.9, abs=0.005)
    more = variant(prepared, area=prepared.area, people=2 * prepared.people, capacity=50_600.0)
    assert float(more.demand_total) > 1.7 * float(same.demand_total)
    with pytest.raises(InputError, match="area"):
        variant(prepared, area=0.0, people=1.0, capacity=1.0)
