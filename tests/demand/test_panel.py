"""The panels of demand and supply: every control moves what is said, and nothing fails at either end."""

from pathlib import Path

import numpy as np
import pytest

from rainharvest import InputError
from rainharvest.core.board import table
from rainharvest.demand.panel import demand_panel
from rainharvest.storage.arrangements import smallest_reserve
from rainharvest.storage.panel import arrangements_panel
from rainharvest.storage.supply import asked_of, changed_uses, prepare_supply, supplied

SCHOOL = Path(__file__).parents[2] / "data" / "studies" / "day_school.toml"
THIRST = [7.5, 6.8, 5.2, 3.4, 2.1, 1.5, 1.6, 2.3, 3.4, 4.7, 6.1, 7.2]


@pytest.fixture(scope="module")
def school():
    return prepare_supply(SCHOOL, THIRST)


def said(panel):
    return [line.value for _, line in panel.rh_pictures.values()]


@pytest.mark.parametrize("make", [demand_panel, arrangements_panel])
def test_every_slider_changes_what_is_said_at_both_ends(make):
    panel = make(SCHOOL, THIRST)
    assert panel.rh_words.value == ""
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


def test_the_table_reaches_the_demand_and_its_mistakes_the_page():
    panel = demand_panel(SCHOOL, THIRST)
    uses = panel.rh_controls["uses"]
    before, first = said(panel), uses.value
    uses.value = ((480.0, first[0][1]), *first[1:])
    assert said(panel) != before and panel.rh_words.value == ""
    uses.value = ((0.0, first[0][1]), *first[1:])
    assert "count 0" in panel.rh_words.value and "above zero" in panel.rh_words.value
    uses.value = first
    assert said(panel) == before and panel.rh_words.value == ""


def test_a_table_follows_what_is_typed_and_back():
    made = table(["Use", "How many"], ["a", "b"], [(3,), (4.5,)])
    fields = [w for w in made.children if hasattr(w, "max")]
    fields[1].value = 7
    assert made.value == ((3.0,), (7.0,))
    made.value = ((1.0,), (2.0,))
    assert [f.value for f in fields] == [1, 2]


def test_the_reserve_that_is_said_is_the_one_computed(school):
    asked = asked_of(school, school.study.use, 100.0)
    panel = arrangements_panel(SCHOOL, THIRST)
    panel.rh_controls["ride_out"].value = 5
    size = smallest_reserve(asked.sum("use"), 5)
    shown = float(f"{size / 1000:.2g}")
    assert f"{shown:g} kL" in said(panel)[2] or f"{1000 * shown:,.0f} L" in said(panel)[2]


def test_supplied_agrees_with_itself_and_names_what_rain_does_not_serve(school):
    asked = asked_of(school, school.study.use)
    assert "garden" not in asked.use.values
    done = supplied(school, asked, capacity=10_000, spell_length=2, interruptions_a_year=12, level_share=0.2)
    assert done.attrs["not_served"] == "drinking and hand-washing"
    np.testing.assert_allclose(
        done.failed_a_year.sel(arrangement="combined (top-up)"), done.level_failed_a_year.sel(level_share=0.2)
    )
    assert (np.diff(done.level_spilled_mains_a_year) >= 0).all()


def test_changed_uses_say_whose_figures_they_are(school):
    uses = school.study.use
    counts, litres = [u.count for u in uses], [u.litres for u in uses]
    assert changed_uses(uses, counts, litres) == uses
    more = changed_uses(uses, counts, [*litres[:-1], 9.0])
    assert more[-1].origin == "given by the reader" and more[0].origin == uses[0].origin
    with pytest.raises(InputError, match="litres 0"):
        changed_uses(uses, counts, [*litres[:-1], 0.0])


def test_a_study_without_a_roof_is_refused(tmp_path):
    (tmp_path / "r.csv").write_text("")
    file = tmp_path / "s.toml"
    file.write_text(
        'title = "t"\n[site]\nname = "n"\n[rain]\nfile = "r.csv"\n[[use]]\nname = "wc"\nkind = "dual_flush"\n'
        'people = 3\n[arrangement]\nkind = "mains reserve"\nmains_off = ["sun"]\n'
    )
    with pytest.raises(InputError, match="the study has no roof"):
        prepare_supply(file, THIRST)
    with pytest.raises(InputError, match="monthly"):
        prepare_supply(SCHOOL, THIRST[:5])
