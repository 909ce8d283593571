"""Panels without a browser: sliders move, sentences follow, errors are shown and not raised."""

import base64
import re
from functools import partial
from pathlib import Path

import ipywidgets as widgets
import pytest
from panels import button, check_both_ends, walk
from places import SCHOOL

from rainharvest import InputError
from rainharvest.core.board import NO_KERNEL, board, predict, still
from rainharvest.core.controls import choice, day_slider, slider
from rainharvest.core.style import keep, new_figure, svg
from rainharvest.study.choices import saving, study_in_use
from rainharvest.study.file import read_study
from rainharvest.study.panel import study_panel


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
    button(panel, "Back to the start").click()
    assert panel.rh_controls["area"].value == 50 and "50 m²" in panel.rh_pictures["line"][1].value


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
    panel = study_panel(SCHOOL)
    assert not Path("my_study.toml").exists()
    panel.rh_controls["area"].value = 700
    panel.rh_controls["capacity"].value = 40.0
    button(panel, "Save these choices").click()
    said = next(w.value for w in walk(panel) if "rh-note" in str(getattr(w, "value", ""))[:20])
    assert "Saved in my_study.toml: Roof plan area 700 m²; Usable tank size 40 kL." in said
    again = study_panel(study_in_use(SCHOOL))
    assert again.rh_controls["capacity"].value == 40.0 and again.rh_controls["area"].value == 700
    assert again.rh_said() == panel.rh_said()
    button(again, "Set saved choices aside").click()
    assert study_in_use(SCHOOL) == SCHOOL and Path("my_study-before.toml").exists()


@pytest.fixture
def page(tmp_path, monkeypatch):
    """What opens a panel that draws nothing, on the study in use; its buttons pressed by name."""
    monkeypatch.chdir(tmp_path)

    def opened():
        path = study_in_use(SCHOOL)
        study, _ = read_study(path)
        figure, _ = new_figure("Nothing")
        tank = study.tank
        controls = {
            "bore": slider("bore", study.conveyance.bore, 40, 200, 5),
            "first_flush": slider("first_flush", study.losses.first_flush, 0.0, 10.0, 0.1),
            "capacity": slider(
                "capacity", tank.usable(tank.chosen or 1e4) / 1000, 0.5, 60, 0.5, unit="kL", scale=1e3
            ),
            "months": choice("Season", {"all": 1, "some": 2}, 1),
        }
        keys = saving(
            path,
            bore="conveyance.bore",
            first_flush="losses.first_flush",
            capacity=lambda v: {"tank.chosen": v["capacity"] / tank.usable_share},
        )
        panel = board("t", controls, lambda **values: {"a": (figure, f"{values}")}, "", keys)

        def press(words):
            button(panel, words).click()
            notes = [w.value for w in walk(panel) if "rh-note" in str(getattr(w, "value", ""))[:20]]
            return re.sub("<[^>]+>", "", "".join(notes[-1:]))

        return panel.rh_controls, press, lambda: panel.rh_pictures["a"][1].value

    return opened


def text_of_copy():
    return Path("my_study.toml").read_text(encoding="utf-8")


def test_only_what_was_moved_is_saved_in_the_words_of_the_page(page):
    controls, press, _ = page()
    assert "Nothing was moved" in press("Save these choices")
    controls["months"].value = 2
    assert "no place for what was moved (Season)" in press("Save these choices")
    assert not Path("my_study.toml").exists()
    controls["bore"].value = 120
    assert "Saved in my_study.toml: Pipe bore 120 mm." in press("Save these choices")
    study = read_study("my_study.toml")[0]
    assert study.conveyance.bore == 120 and study.tank.chosen is None
    assert "first_flush" not in text_of_copy() and "Nothing was moved" in press("Save these choices")


def test_after_back_to_the_start_a_save_takes_back(page):
    controls, press, _ = page()
    controls["bore"].value, controls["capacity"].value = 120, 30.0
    press("Save these choices")
    controls["capacity"].value = 35.0
    press("Save these choices")
    press("Back to the start")
    assert "Saved in my_study.toml: Pipe bore 100 mm; Usable tank size 9" in press("Save these choices")
    study = read_study("my_study.toml")[0]
    assert study.conveyance.bore == 100 and study.tank.chosen is None


def test_two_pages_do_not_undo_each_other_and_what_was_saved_can_be_taken_back(page):
    (one, save_one, _), (two, save_two, _) = page(), page()
    one["bore"].value = 120
    save_one("Save these choices")
    two["bore"].value = 150
    save_two("Save these choices")
    one["capacity"].value = 30.0
    save_one("Save these choices")
    study = read_study("my_study.toml")[0]
    assert study.conveyance.bore == 150 and study.tank.usable(study.tank.chosen) == pytest.approx(30_000)
    _, again, _ = page()  # after a restart of the kernel
    assert "taken out of my_study.toml" in again("Take these back")
    now, own = read_study("my_study.toml")[0], read_study(SCHOOL)[0]
    assert (now.conveyance, now.tank, now.losses) == (own.conveyance, own.tank, own.losses)
    assert "Nothing of what this panel sets" in again("Take these back")


def test_every_size_comes_back_as_it_was_saved(page):
    for size in (1.0, 7.5, 13.0, 22.5, 38.5, 51.0, 60.0):
        controls, press, _ = page()
        controls["capacity"].value = size
        press("Save these choices")
        controls, _, said = page()
        assert controls["capacity"].value == size
        shown = float(re.search("'capacity': ([0-9.e+]+)", said())[1])
        assert shown == pytest.approx(1000 * size, rel=1e-7)


def test_a_control_says_the_study_s_own_value_until_it_is_moved(page):
    controls, _, said = page()
    assert "'first_flush': 0.41," in said() and controls["first_flush"].value == 0.4
    controls["first_flush"].value = 0.4 + 1e-16  # what the page sends back
    controls["bore"].value = 105
    assert "'first_flush': 0.41," in said()
    controls["first_flush"].value = 0.1 * 3 + 0.2 - 1e-16
    assert "'first_flush': 0.5," in said()
    controls["first_flush"].value = 0.4
    assert "'first_flush': 0.41," in said()
    rate = slider("rate", 100 * 0.29, 0, 50, 1, unit="%", scale=0.01)
    assert (rate.value, rate.rh_exact) == (29, 0.29)


def test_values_between_the_steps_are_told(page):
    figure, _ = new_figure("Nothing")
    panel = board("t", {"area": slider("area", 583.2, 20, 2000, 10)}, lambda area: {"a": (figure, "x")})
    assert any("own value holds: Roof plan area 583 m²." in str(getattr(w, "value", "")) for w in walk(panel))


def test_a_choice_that_cannot_be_saved_is_said_in_the_panel(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    figure, _ = new_figure("Nothing")
    keys = saving(SCHOOL, area=lambda v: {"target.reliability": 3.0})
    panel = board("t", {"area": slider("area", 50, 10, 100, 10)}, lambda area: {"a": (figure, "x")}, "", keys)
    panel.rh_controls["area"].value = 60
    button(panel, "Save these choices").click()
    assert any("my_study.toml: target.reliability: 3" in str(getattr(w, "value", "")) for w in walk(panel))
    assert list(tmp_path.iterdir()) == []


def test_a_still_has_every_sentence_as_words_and_as_alternative_text():
    panel = study_panel(SCHOOL)
    shown = still(panel).data
    assert shown == still(panel).data and len(shown) < 140_000
    for _, words in panel.rh_pictures.values():
        plain = re.sub(r"<[^>]+>", "", words.value)
        assert plain in shown.split('width="900"')[0] and f"<p>{plain}</p>" in shown


def test_a_panel_shows_itself_live_and_as_a_still_picture_in_one_output(panel):
    shown = panel._repr_mimebundle_()
    assert "application/vnd.jupyter.widget-view+json" in shown
    assert shown["text/html"] == f'<p class="rh-before">{NO_KERNEL}</p>{still(panel).data}'


def test_without_a_control_all_figures_stand_side_by_side():
    figures = {key: new_figure(key.title())[0] for key in ("one", "two")}
    plain = board("p", {}, lambda: {key: (figure, f"It is {key}.") for key, figure in figures.items()})
    pictures = [picture for picture, _ in plain.rh_pictures.values()]
    assert set(pictures) <= set(walk(plain)) and not any(
        isinstance(w, widgets.Accordion) for w in walk(plain)
    )
    assert NO_KERNEL not in plain._repr_mimebundle_()["text/html"]


def test_a_guess_is_set_before_the_answer_is_worked_out_and_those_of_a_class_gather():
    asked = []

    def found():
        asked.append(1)
        return 57.0, "It takes 57 kL."

    size = slider("capacity", 20, 1, 100, 1, unit="kL", scale=1000.0)
    guess = predict("size", "How large?", size, found)
    assert not asked and "57" not in guess._repr_mimebundle_()["text/html"] and guess.rh_words.value == ""
    for value in (20, 20, 80):
        guess.rh_controls["size"].value = value
        button(guess, "Set this guess").click()
    assert asked == [1] and "(3 guesses so far) is 80 kL. It takes 57 kL." in guess.rh_words.value
    marks = {a.get_gid(): a.get_xydata().tolist() for a in guess.rh_figures[0].axes[0].get_lines()}
    assert marks["guesses"] == [[20, 1], [20, 2], [80, 1]] and marks["last guess"] == [[80, 1]]
    assert [x for x, _ in marks["truth"]] == [57, 57]
    button(guess, "Begin again").click()
    assert guess.rh_words.value == "" and not guess.rh_figures


def test_a_guess_out_of_a_list_and_a_failure_are_told():
    run = choice("Run", ["dry", "wet"], "dry")
    guess = predict("run", "Which?", run, lambda: ("wet", "It is the wet one."))
    button(guess, "Set this guess").click()
    assert "Your guess is dry. It is the wet one." in guess.rh_words.value
    assert [tick.get_text() for tick in guess.rh_figures[0].axes[0].get_xticklabels()] == ["dry", "wet"]

    def fails():
        raise InputError("no rain", "give some", "rain")

    guess = predict("run", "Which?", choice("Run", ["dry"], "dry"), fails)
    button(guess, "Set this guess").click()
    assert "rain: no rain; give some" in guess.rh_words.value


def test_days_are_played_and_stepped():
    figure, _ = new_figure("Nothing")
    panel = board("d", {"day": day_slider("day", 30, 4)}, lambda day: {"a": (figure, f"day {day:g}")})
    (play,) = [w for w in walk(panel) if isinstance(w, widgets.Play)]
    assert (play.value, play.min, play.max) == (4, 0, 29) and "day 4" in panel.rh_pictures["a"][1].value


def test_same_figure_paints_the_same_bytes_and_several_share_a_page():
    figure, axes = new_figure("Twice")
    axes.plot([0, 1], [0, 1])
    one, again, other = svg(figure, "a"), svg(figure, "a"), svg(figure, "b")
    assert one == again
    ids = [set(re.findall(r'id="([^"]+)"', text)) for text in (one, other)]
    hashed = {i for i in ids[0] & ids[1] if re.fullmatch(r"[mp][0-9a-f]{6,}", i)}
    assert not hashed


def test_study_panel_at_the_ends_of_every_slider():
    check_both_ends(study_panel(SCHOOL))


def test_study_panel_agrees_with_the_study():
    from rainharvest.study.variant import prepare, variant

    prepared = prepare(SCHOOL)
    same = variant(prepared, area=prepared.area, people=prepared.people, capacity=50_600.0)
    assert float(same.described_rain_reliability) == pytest.approx(0.9, abs=0.005)
    more = variant(prepared, area=prepared.area, people=2 * prepared.people, capacity=50_600.0)
    assert float(more.demand_total) > 1.7 * float(same.demand_total)
    with pytest.raises(InputError, match="area"):
        variant(prepared, area=0.0, people=1.0, capacity=1.0)


def test_one_figure_stands_beside_the_controls_and_the_others_are_folded():
    (folded,) = [w for w in walk(study_panel(SCHOOL)) if isinstance(w, widgets.Accordion)]
    assert folded.selected_index is None and len(folded.titles) == 2
    assert folded.titles[0] == "In which years it fails"


def test_every_control_and_button_says_what_it_is_and_what_it_does():
    for widget in walk(study_panel(SCHOOL)):
        if isinstance(widget, widgets.Button):
            assert widget.description and len(widget.tooltip) > 20
        elif isinstance(widget, widgets.IntSlider | widgets.FloatSlider):
            assert widget.description and len(widget.tooltip) > 20 and widget.continuous_update
            assert widget.description.endswith(")") or "People" in widget.description, "a unit"


def test_a_figure_that_is_folded_away_is_painted_when_it_is_unfolded():
    drawn = []

    def picture(key, area, figure=None):
        drawn.append(key)
        figure = figure or new_figure(key)[0]
        figure.axes[0].set_title(f"{key} of {area:g}")
        return figure

    def pair(key, area):
        return lambda figure=None: picture(key, area, figure), f"{key} of {area:g}"

    def redraw(area):
        return {"a": pair("a", area), "b": pair("b", area), "c": partial(pair, "c", area)}

    panel = board("folded", {"area": slider("area", 50, 10, 100, 10)}, redraw)
    pictures = {key: shown for key, (shown, _) in panel.rh_pictures.items()}
    line = panel.rh_pictures["c"][1]
    assert all("of 50" in shown.value for shown in pictures.values()) and "c of 50" in line.value
    drawn.clear()
    panel.rh_controls["area"].value = 60
    assert drawn == ["a"] and ["of 60" in shown.value for shown in pictures.values()] == [True, False, False]
    (fold,) = (w for w in walk(panel) if isinstance(w, widgets.Accordion))
    fold.selected_index = 1
    assert drawn == ["a", "c"] and "of 60" in pictures["c"].value and "of 50" in pictures["b"].value
    assert "c of 60" in line.value
    panel.rh_controls["area"].value = 70
    assert drawn == ["a", "c", "a", "c"] and "of 70" in pictures["c"].value
    assert panel.rh_figures["b"][0].axes[0].get_title() == "b of 70"  # to be saved, it is drawn
