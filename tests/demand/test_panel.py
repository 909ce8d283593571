"""The panel of the demand: every control moves what is said, and nothing fails at either end."""

import pytest
from panels import check_both_ends, said
from places import SCHOOL

from rainharvest import InputError
from rainharvest.core.controls import Table
from rainharvest.demand.facts import changed_uses
from rainharvest.demand.panel import demand_panel
from rainharvest.study.file import read_study

EVAPOTRANSPIRATION = [7.5, 6.8, 5.2, 3.4, 2.1, 1.5, 1.6, 2.3, 3.4, 4.7, 6.1, 7.2]


def test_table_and_slider_reach_the_demand_and_mistakes_the_page():
    panel = demand_panel(SCHOOL, EVAPOTRANSPIRATION)
    uses, beds = (panel.rh_controls[name] for name in ("uses", "bed_area"))
    before, first, start = said(panel), uses.value, beds.value
    beds.value = beds.min
    assert "garden" not in said(panel)["months"]
    beds.value = start
    check_both_ends(panel)
    uses.value = ((480.0, first[0][1]), *first[1:])
    assert said(panel) != before and panel.rh_words.value == ""
    uses.value = ((0.0, first[0][1]), *first[1:])
    assert "count 0" in panel.rh_words.value and "above zero" in panel.rh_words.value
    uses.value = first
    assert said(panel) == before and panel.rh_words.value == ""


def test_a_table_follows_what_is_typed_and_back():
    made = Table(["Use", "How many"], ["a", "b"], [(3,), (4.5,)])
    fields = [w for w in made.children if hasattr(w, "max")]
    fields[1].value = 7
    assert made.value == ((3.0,), (7.0,))
    made.value = ((1.0,), (2.0,))
    assert [f.value for f in fields] == [1, 2]


def test_changed_uses_say_whose_figures_they_are():
    uses = read_study(SCHOOL)[0].use
    counts, litres = [u.count for u in uses], [u.litres for u in uses]
    assert changed_uses(uses, counts, litres) == uses
    more = changed_uses(uses, counts, [*litres[:-1], 9.0])
    assert more[-1].origin == "given by the reader" and more[0].origin == uses[0].origin
    with pytest.raises(InputError, match="litres 0"):
        changed_uses(uses, counts, [*litres[:-1], 0.0])
