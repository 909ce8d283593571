"""Dry against wet for the demo's study: the sentences follow the numbers, the exercises know the answers."""

from pathlib import Path

import numpy as np
import pytest

from rainharvest import InputError
from rainharvest.catchment.exercises import check_backing_up, check_best_bore, check_dry_reach
from rainharvest.catchment.facts import dry_and_wet, first_flush_cost, load_case, which_roof_first
from rainharvest.catchment.words import (
    bore_words,
    levels_words,
    losses_words,
    side_by_side,
    tell_first_flush,
    tell_roofs,
    tell_runs,
)
from rainharvest.rainfall.facts import DEMO_STEMS

DATA = Path(__file__).parents[2] / "data"
STUDY = DATA / "studies" / "day_school.toml"


@pytest.fixture(scope="module")
def case():
    return load_case(STUDY, DATA / "records")


def test_every_climate_of_the_demo_is_whole(case):
    assert list(case.climates) == list(DEMO_STEMS)
    for climate in case.climates.values():
        assert climate.rain.sizes["time"] == 21915 and not climate.rain.isnull().any()


def test_both_runs_account_for_the_rain_of_a_year(case):
    done = dry_and_wet(case, "monsoon", 75.0, bleed=20)
    rain = float(case.climates["monsoon"].rain.mean()) * 365.25 * case.area
    left = done.table.loc["left in store at the end [L]"].astype(float).to_numpy() / 60
    np.testing.assert_allclose(done.yearly.sum("cause") + left, rain, rtol=1e-9)
    assert float(done.yearly.sel(conveyance="dry run", cause="held in pipe")) == 0
    at_own_bore = done.curve.inflow.sel(bore=100) * 365.25
    np.testing.assert_allclose(done.yearly.sel(conveyance="wet run", cause="delivered"), at_own_bore)


def test_sentences_say_what_fails_and_what_mends_it(case):
    done = dry_and_wet(case, "rain in winter", 75.0, run=120, bleed=20)
    said = levels_words(done)
    assert "stand the tank within 90.0 m" in said and "Wet: the head" in said
    assert losses_words(done).startswith("A dry run cannot work here") and "brings most" in bore_words(done)
    none = dry_and_wet(case, "rain in winter", 75.0, inlet_level=4.0)
    assert none.curve is None and none.yearly.isnull().all()
    assert "lower the inlet, or raise the outlet" in levels_words(none)
    assert losses_words(none).startswith("Neither") and bore_words(none).startswith("No bore")


def test_table_and_sentences_are_rounded_and_complete(case, capsys):
    done = dry_and_wet(case, "rain in winter", 75.0, bleed=20)
    shown = side_by_side(done)
    assert list(shown.index) == list(done.table.index) and shown.map(lambda v: isinstance(v, str)).all(None)
    assert shown.loc["velocity at the design storm [m/s]", "dry run"] == "-"
    held = done.table.loc["water held [L]", "wet run"]
    assert shown.loc["water held [L]", "wet run"] == f"{held:.0f}"
    tell_runs(done)
    said = capsys.readouterr().out
    assert "above the guideline of 0.7" in said and max(map(len, said.splitlines())) <= 100


def test_every_roof_has_its_cautions(case, capsys):
    tell_roofs(case)
    said = capsys.readouterr().out
    assert "classroom block, 420 m2 of metal:\n  - copper or zinc: " in said
    assert "clinic, 160 m2 of tile:\n  - nothing known" in said


def test_which_roof_first_is_litres_for_a_metre(case):
    near = which_roof_first(case, "monsoon", {"classroom block": 60, "clinic": 5})
    far = which_roof_first(case, "monsoon", {"classroom block": 5, "clinic": 60})
    assert list(near.index) == ["clinic", "classroom block"] == list(far.index[::-1])
    np.testing.assert_allclose(near.total.iloc[-1], far.total.iloc[-1])
    with pytest.raises(InputError, match="classroom block"):
        which_roof_first(case, "monsoon", {"clinic": 5})


def test_more_roof_widens_the_best_bore_and_more_bleed_narrows_it(case):
    def best(**changes):
        return dry_and_wet(case, "rain in winter", 75.0, run=60, **changes).curve.attrs["best_bore"]

    assert best(bleed=20, area=100) < best(bleed=20, area=2000)
    assert best(bleed=200) < best(bleed=20)


def test_a_dry_climate_loses_the_largest_share_to_the_bleed(case):
    share = {}
    for name in case.climates:
        wet = dry_and_wet(case, name, 75.0, bleed=20).yearly.sel(conveyance="wet run")
        share[name] = float(wet.sel(cause="held in pipe") / wet.sum())
    assert max(share, key=share.get) == "semi-arid"


def test_first_flush_costs_more_the_deeper_and_most_where_rain_is_light(case, capsys):
    cost = first_flush_cost(case, (0.0, 0.4, 10.0))
    assert (cost.sel(first_flush=0.0) == 0).all() and (cost.diff("first_flush") > 0).all()
    assert float(cost.sel(climate="monsoon", first_flush=10)) == float(cost.sel(first_flush=10).min())
    tell_first_flush(case, (0.4,))
    assert f"{100 * float(cost.sel(climate='monsoon', first_flush=0.4)):.1f} %" in capsys.readouterr().out


@pytest.mark.parametrize(
    "check, right, wrong",
    [
        (lambda case, x: check_dry_reach(case, x), 90, 50),
        (lambda case, x: check_backing_up(case, x), 4.9, 10),
        (lambda case, x: check_best_bore(case, "semi-arid", 100, x), None, 300),
    ],
)
def test_exercises_know_right_from_wrong(case, capsys, check, right, wrong):
    if right is None:
        right = dry_and_wet(case, "semi-arid", 75.0, bleed=100).curve.attrs["best_bore"]
    check(case, right)
    assert capsys.readouterr().out.startswith("Right.")
    check(case, wrong)
    assert capsys.readouterr().out.startswith("Not yet.")


def test_a_study_without_a_run_is_refused_by_name(tmp_path):
    text = STUDY.read_text(encoding="utf-8").replace('"../', f'"{DATA.as_posix()}/')
    before, after = text.split("[[option]]")[0].split("[conveyance]")
    path = tmp_path / "no_run.toml"
    path.write_text(before + "[calendar]" + after.split("[calendar]")[1], encoding="utf-8")
    with pytest.raises(InputError, match="no run of pipe"):
        load_case(path, DATA / "records")
