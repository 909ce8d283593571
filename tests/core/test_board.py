"""Panels without a browser: sliders move, sentences follow, errors are shown and not raised."""

import base64
import re
from pathlib import Path

import ipywidgets as widgets
import pytest

from rainharvest import InputError
from rainharvest.core.board import board, slider, still
from rainharvest.core.style import keep, new_figure, svg
from rainharvest.study.choices import saving, study_in_use
from rainharvest.study.panel import study_panel

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


def button(panel, words):
    return next(w for w in walk(panel) if isinstance(w, widgets.Button) and w.description == words)


def test_a_figure_is_saved_as_it_stands_and_a_move_takes_the_links_away(panel):
    def links():
        return next(
            (w.value for w in walk(panel) if getattr(w, "value", "") and "rh-links" in str(w.value)[:30]), ""
        )

    panel.rh_controls["area"].value = 60
    assert links() == "", "nothing is made before it is asked for"
    button(panel, "Save this figure").click()
    names = re.findall(r'download="([^"]+)" href="data:([a-z/+]+);base64,', links())
    assert names == [
        ("test-line.png", "image/png"),
        ("test-line.svg", "image/svg+xml"),
        ("test-line.csv", "text/csv"),
    ]
    data = base64.b64decode(re.search(r'text/csv;base64,([^"]+)', links())[1]).decode("utf-8-sig")
    assert data.splitlines()[-1].endswith("60")
    panel.rh_controls["area"].value = 70
    assert links() == ""


def test_choices_are_saved_from_the_panel_and_set_aside(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    panel = study_panel(DEMO)
    assert not Path("my_study.toml").exists()
    panel.rh_controls["area"].value = 700
    panel.rh_controls["capacity"].value = 40.0
    button(panel, "Save these choices").click()
    said = next(w.value for w in walk(panel) if "rh-note" in str(getattr(w, "value", ""))[:20])
    assert "Saved in my_study.toml: tank.chosen = " in said and "roof.0.area = " in said
    again = study_panel(study_in_use(DEMO))
    assert again.rh_controls["capacity"].value == 40.0 and again.rh_controls["area"].value == 700
    assert [w.value for _, w in again.rh_pictures.values()] == [
        w.value for _, w in panel.rh_pictures.values()
    ]
    button(again, "Set saved choices aside").click()
    assert study_in_use(DEMO) == DEMO and Path("my_study-before.toml").exists()


def test_a_choice_that_cannot_be_saved_is_said_in_the_panel(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    figure, _ = new_figure("Nothing")
    panel = board(
        "t", {}, lambda: {"a": (figure, "Words.")}, "", saving(DEMO, lambda: {"target.reliability": 3.0})
    )
    button(panel, "Save these choices").click()
    assert any("my_study.toml: target.reliability: 3" in str(getattr(w, "value", "")) for w in walk(panel))
    assert list(tmp_path.iterdir()) == []


def test_a_still_has_every_sentence_as_words_and_as_alternative_text():
    panel = study_panel(DEMO)
    shown = still(panel).data
    assert shown == still(panel).data and len(shown) < 140_000
    for _, words in panel.rh_pictures.values():
        plain = re.sub(r"<[^>]+>", "", words.value)
        assert plain in shown.split('width="900"')[0] and f"<p>{plain}</p>" in shown


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


def test_every_control_and_button_says_what_it_is_and_what_it_does():
    for widget in walk(study_panel(DEMO)):
        if isinstance(widget, widgets.Button):
            assert widget.description and len(widget.tooltip) > 20
        elif isinstance(widget, widgets.IntSlider | widgets.FloatSlider):
            assert widget.description and len(widget.tooltip) > 20 and widget.continuous_update
            assert widget.description.endswith(")") or "People" in widget.description, "a unit"
