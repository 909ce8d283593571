"""The sizing panel: sliders move the curve and its words; the still pictures stand."""

import csv
import io

import pytest
from panels import check_both_ends, said
from places import SCHOOL

from rainharvest import InputError
from rainharvest.core.board import still
from rainharvest.core.save import figure_table
from rainharvest.sizing.panel import sizing_panel, sizing_pictures
from rainharvest.study.run import study_results


@pytest.fixture(scope="module")
def panel():
    return sizing_panel(SCHOOL, tank=50_000)


@pytest.fixture(scope="module")
def results():
    return study_results(SCHOOL, last="costs")


def text_of(panel):
    picture, line = panel.rh_pictures["curve"]
    return picture.value, line.value


def test_band_moves_with_the_curve(panel):
    figure = panel.rh_figures["curve"][0]
    band = next(a for a in figure.axes[0].get_children() if a.get_gid() == "band")
    before = band.get_paths()[0].vertices.copy()
    panel.rh_controls["people"].value = 400
    after = band.get_paths()[0].vertices
    assert before.shape == after.shape and (before != after).any()
    panel.rh_controls["people"].value = 240


def test_each_slider_changes_what_is_said_and_no_end_of_one_moves_the_layout(panel):
    check_both_ends(panel)
    figure = panel.rh_figures["curve"][0]

    def layout():
        return [(axes.get_xlim(), axes.get_ylim(), axes.get_position().bounds) for axes in figure.axes]

    limits, start = layout(), text_of(panel)
    for name, control in panel.rh_controls.items():
        first = control.value
        for value in (control.min, control.max):
            control.value = value
            assert layout() == limits and text_of(panel)[0] != start[0], name
        control.value = first


def test_lines_are_no_longer_than_what_is_seen(panel):
    figure = panel.rh_figures["curve"][0]
    for axes in figure.axes:
        assert all(len(line.get_xdata()) <= 200 for line in axes.get_lines())
    assert len(text_of(panel)[0]) < 60_000


@pytest.mark.parametrize("which", ["certainty", "maps", "costs", "shortcuts", "step"])
def test_still_pictures(results, which):
    shown = sizing_pictures(results, which)
    assert shown.rh_words.value == ""
    data = still(shown).data
    assert data.startswith('<img alt="') and len(data) < 100_000
    for _, sentence in shown.rh_figures.values():
        assert sentence[:30] in data.replace("&#x27;", "'") and sentence.endswith(".")
    for key, (figure, _) in shown.rh_figures.items():
        head, *rows = csv.reader(io.StringIO(figure_table(figure)))
        assert len(head) > 1 and len(rows) > 2 and any(rows[2]), (key, "nothing to save as CSV")


def test_the_money_is_saved_as_it_is_drawn(results):
    head, *rows = csv.reader(
        io.StringIO(figure_table(sizing_pictures(results, "costs").rh_figures["money"][0]))
    )
    group = results.groups["sizing"]
    saved = dict(zip([row[0] for row in rows], rows, strict=True))
    column = next(k for k, words in enumerate(head) if words.startswith("capital"))
    for name in saved:
        assert float(saved[name][column]) == pytest.approx(
            float(group.option_capital.sel(option=name)), rel=1e-6
        )


def test_without_prices_no_slider_asks_for_a_discount_rate(tmp_path):
    import tomlkit

    study = tomlkit.parse(SCHOOL.read_text(encoding="utf-8"))
    del study["costs"]
    folder = tmp_path / "data" / "studies"
    folder.mkdir(parents=True)
    for beside in SCHOOL.parents[1].iterdir():
        if beside != SCHOOL.parent:
            (folder.parent / beside.name).symlink_to(beside)
    (folder / SCHOOL.name).write_text(tomlkit.dumps(study), encoding="utf-8")
    shown = sizing_panel(folder / SCHOOL.name)
    assert shown.rh_words.value == "" and "rate" not in shown.rh_controls
    before = text_of(shown)
    shown.rh_controls["capacity"].value = 20
    assert shown.rh_words.value == "" and text_of(shown) != before


def test_pictures_that_are_not_there(results):
    with pytest.raises(InputError, match="certainty, maps"):
        sizing_pictures(results, "dreams")
    reserve = study_results(SCHOOL.with_name("clinic_reserve.toml"), last="costs")
    shown = sizing_pictures(reserve, "maps").rh_still()
    assert "nothing to show here: roof: no rain feeds its tank; open a study that catches rain." in shown


def test_speed_of_a_move(panel, benchmark):
    """Printed, never asserted: 60 years, 128 sizes, the record and ten versions, one figure painted."""
    control = panel.rh_controls["area"]
    start = control.value
    values = iter(range(100, 2300, 1))

    def move():
        control.value = next(values)

    benchmark.pedantic(move, rounds=30, warmup_rounds=3)
    control.value = start  # other tests move the same panel


def test_the_sentence_of_the_costs_follows_the_tank_that_is_marked(results):
    shown = sizing_pictures(results, "costs")
    option = shown.rh_controls["option"]
    first = said(shown)["front"]
    assert "The mark" not in first
    option.value = 3
    assert said(shown)["front"].startswith("The mark, 5,000 L, supplies 49 % for 470 crowns a year.")
    assert first in said(shown)["front"]


def test_a_cost_beyond_the_axis_has_no_dot_on_it(panel):
    people, axes = panel.rh_controls["people"], panel.rh_figures["curve"][0].axes[1]
    start = people.value

    def dot_and_words():
        dot = next(line for line in axes.lines if line.get_gid() == "chosen")
        return len(dot.get_xdata()), " ".join(text.get_text() for text in axes.texts)

    assert dot_and_words()[0] == 1 and "beyond" not in dot_and_words()[1]
    people.value = people.min
    assert dot_and_words()[0] == 0 and "beyond the axis:\n" in dot_and_words()[1]
    people.value = start
