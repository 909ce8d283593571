"""The panel of the supply: every control moves what is said, and nothing fails at either end."""

import numpy as np
import pytest
from panels import check_both_ends, said
from places import SCHOOL

from rainharvest import InputError
from rainharvest.demand.facts import demand_of
from rainharvest.storage.arrangements import smallest_reserve
from rainharvest.storage.facts import supplied
from rainharvest.storage.panel import arrangements_panel, prepare_supply

EVAPOTRANSPIRATION = [7.5, 6.8, 5.2, 3.4, 2.1, 1.5, 1.6, 2.3, 3.4, 4.7, 6.1, 7.2]


@pytest.fixture(scope="module")
def school():
    return prepare_supply(SCHOOL, EVAPOTRANSPIRATION)


def test_every_slider_changes_what_is_said_and_the_reserve_is_the_one_computed(school):
    panel = arrangements_panel(SCHOOL, EVAPOTRANSPIRATION)
    check_both_ends(panel)
    panel.rh_controls["ride_out"].value = 5
    size = smallest_reserve(demand_of(school, school.study.use, 100.0).sum("use"), 5)
    shown = float(f"{size / 1000:.2g}")
    assert f"{shown:g} kL" in said(panel)["reserve"] or f"{1000 * shown:,.0f} L" in said(panel)["reserve"]


def test_supplied_agrees_with_itself_and_names_what_rain_does_not_serve(school):
    demand = demand_of(school, school.study.use)
    assert "garden" not in demand.use.values
    done = supplied(school, demand, capacity=10_000, spell_length=2, interruptions_a_year=12, level_share=0.2)
    assert done.attrs["not_served"] == "drinking and hand-washing"
    np.testing.assert_allclose(
        done.failed_a_year.sel(arrangement="combined (top-up)"), done.level_failed_a_year.sel(level_share=0.2)
    )
    assert (np.diff(done.level_spilled_mains_a_year) >= 0).all()


def test_a_study_without_a_roof_is_refused(tmp_path):
    (tmp_path / "r.csv").write_text("")
    file = tmp_path / "s.toml"
    file.write_text(
        'title = "t"\n[site]\nname = "n"\n[rain]\nfile = "r.csv"\n[[use]]\nname = "wc"\nkind = "dual_flush"\n'
        'people = 3\n[arrangement]\nkind = "mains reserve"\nmains_off = ["sun"]\n'
    )
    with pytest.raises(InputError, match="the study has no roof"):
        prepare_supply(file, EVAPOTRANSPIRATION)
    with pytest.raises(InputError, match="monthly"):
        prepare_supply(SCHOOL, EVAPOTRANSPIRATION[:5])
