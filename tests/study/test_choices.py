"""The working copy of the study: choices written whole or not at all, comments kept, a way back."""

import re
from pathlib import Path

import pytest
from places import SCHOOL, whole

from rainharvest import InputError
from rainharvest.study.choices import (
    ASIDE,
    VISITOR,
    AsItWas,
    OwnFile,
    own_copy,
    rain_files,
    save_choices,
    set_aside,
    study_in_use,
    take_back,
    use_study,
)
from rainharvest.study.file import read_study
from rainharvest.study.variant import area_keys, people_keys, prepare


@pytest.fixture
def copy(tmp_path):
    folder = tmp_path / "notebooks"
    folder.mkdir()
    return folder / "my_study.toml"


def test_the_study_is_the_demo_until_choices_are_saved_and_again_when_they_are_set_aside(copy):
    assert study_in_use(SCHOOL, copy) == SCHOOL and set_aside(copy) is None
    assert save_choices(SCHOOL, {"target.reliability": 0.8}, copy) == {"target.reliability": AsItWas(0.9)}
    assert study_in_use(SCHOOL, copy) == copy and read_study(copy)[0].target.reliability == 0.8
    assert set_aside(copy) == copy.with_name(ASIDE) and study_in_use(SCHOOL, copy) == SCHOOL
    assert read_study(copy.with_name(ASIDE))[0].target.reliability == 0.8
    with pytest.raises(InputError, match="no such study file"):
        study_in_use(copy.parent / "none.toml", copy)


def test_only_what_differs_is_written_and_comments_stay(copy):
    choices = {
        "roof.0.area": 455.0,
        "tank.chosen": 50_600.00001,
        "conveyance.bore": 100,
        "losses.first_flush": 0.4,
    }
    held = save_choices(SCHOOL, choices, copy)
    assert [held[key].value for key in choices] == [420, None, 100, None]
    before, after = SCHOOL.read_text(encoding="utf-8"), copy.read_text(encoding="utf-8")
    assert re.findall("#.*", after)[1:] == re.findall("#.*", before)
    gone = set(before.splitlines()) - set(after.splitlines())
    assert {line.split(" ")[0] for line in gone} == {"area", "file", "neighbours", "finer_rain"}
    old, new = read_study(SCHOOL)[0], read_study(copy)[0]
    assert new.roof[0].area == 455 and new.roof[1] == old.roof[1]
    assert new.tank.chosen == pytest.approx(50_600.00001)
    for same in ("site", "conveyance", "calendar", "use", "arrangement", "target", "costs"):
        assert getattr(new, same) == getattr(old, same)


def test_paths_of_the_copy_lead_to_the_same_files(copy):
    save_choices(SCHOOL, {"rain.members": 5}, copy)
    assert [p.resolve() for p in rain_files(copy)] == [p.resolve() for p in rain_files(SCHOOL)]
    assert all(p.is_file() for p in rain_files(copy))


def test_choices_of_one_panel_join_those_of_another(copy):
    save_choices(SCHOOL, {"target.reliability": 0.8}, copy)
    save_choices(SCHOOL, {"rain.members": 5}, copy)  # a panel that was opened on the demo, before
    save_choices(copy, {"conveyance.bore": 80}, copy)
    study = read_study(copy)[0]
    assert (study.target.reliability, study.rain.members, study.conveyance.bore) == (0.8, 5, 80)
    kept = copy.read_bytes()
    assert save_choices(copy, {"conveyance.bore": 80}, copy) == {"conveyance.bore": AsItWas(80)}
    assert copy.read_bytes() == kept


def test_a_choice_that_cannot_be_leaves_everything_as_it_was(copy):
    with pytest.raises(InputError, match=r"my_study\.toml: target\.reliability: 7"):
        save_choices(SCHOOL, {"target.reliability": 7}, copy)
    assert list(copy.parent.iterdir()) == []
    save_choices(SCHOOL, {"target.reliability": 0.8}, copy)
    kept = copy.read_bytes()
    with pytest.raises(InputError):
        save_choices(copy, {"roof.0.area": -1.0}, copy)
    assert copy.read_bytes() == kept and [p.name for p in copy.parent.iterdir()] == [copy.name]


def test_choices_of_another_study_are_not_mixed_in(copy, tmp_path):
    save_choices(SCHOOL, {"target.reliability": 0.8}, copy)
    other = tmp_path / "other.toml"
    other.write_text(whole())
    with pytest.raises(InputError, match="another study"):
        save_choices(other, {"target.reliability": 0.7}, copy)
    use_study(other, copy)
    assert save_choices(other, {"target.reliability": 0.7}, copy) and copy.with_name(ASIDE).is_file()
    with pytest.raises(InputError):
        use_study(tmp_path / "none.toml", copy)
    assert read_study(copy)[0].target.reliability == 0.7


def test_what_a_variant_stands_for_is_what_the_study_then_has(copy):
    prepared = prepare(SCHOOL)
    own = prepared.study
    keys = area_keys(own.roof, 643) | people_keys(own.use, 300, prepared.people)
    save_choices(SCHOOL, keys | {"tank.chosen": 40_000.0 / own.tank.usable_share}, copy)
    again = prepare(copy)
    assert again.area == pytest.approx(643, rel=1e-8) and again.people == 300
    assert again.study.tank.usable(again.study.tank.chosen) == pytest.approx(40_000, rel=1e-8)


US = """[[roof]]
name = "one"
area = 4500
material = "metal"
[[use]]
name = "wc"
kind = "dual_flush"
people = 200
"""


def study_in(units, folder, more=""):
    """Write the demo into a folder; in US units with a roof and a use of their own."""
    text = whole() if units == "metric" else f'units = "us"\n{whole().split("[[roof]]")[0]}{US}'
    (folder / "own.toml").write_text(text + more, encoding="utf-8")
    return folder / "own.toml"


@pytest.mark.parametrize("units", ["metric", "us"])
def test_what_was_saved_can_be_taken_back_key_by_key(copy, tmp_path, units):
    own = study_in(units, tmp_path)
    before = read_study(own)[0]
    choices = {"roof.0.area": 80.0, "drought.may_fail": 0.1, "tank.chosen": 40_000.0}
    save_choices(own, choices, copy)
    assert read_study(copy)[0].drought.may_fail == 0.1
    assert take_back(["drought.may_fail", "roof.0.area"], copy)
    after = read_study(copy)[0]
    assert after.roof == before.roof and after.drought == before.drought
    assert after.tank.chosen == pytest.approx(40_000) and "may_fail" not in copy.read_text(encoding="utf-8")
    assert not take_back(["drought.may_fail", "roof.0.area"], copy)
    assert not take_back(["tank.chosen"], copy.with_name("none.toml"))


def test_a_file_in_us_units_gets_us_units(copy, tmp_path):
    us = study_in("us", tmp_path, "[tank]\nchosen = 9000\n")
    save_choices(
        us, {"roof.0.area": 400.0, "tank.chosen": 40_000.0, "use.0.litres": 9.0, "use.0.source": "us"}, copy
    )
    study, text = read_study(copy)
    assert study.roof[0].area == pytest.approx(400, rel=1e-5) and "area = 4305.56" in text
    assert study.tank.chosen == pytest.approx(40_000, rel=1e-5) and study.use[0].litres == pytest.approx(9)
    assert "gallons = " in text and "litres" not in text


def test_a_file_of_the_reader_s_own_is_kept_beside_the_copy_and_given_back(copy):
    keys = {"rain.file": OwnFile("..\\a b/Läg?e.csv", b"date,rain_mm\n2001-01-01,3\n"), "rain.neighbours": []}
    save_choices(SCHOOL, keys | {"sizing.finer_rain": None, "losses.intensity": None}, copy)
    study = read_study(copy)[0]
    assert (study.rain.file, study.rain.neighbours, study.sizing.finer_rain) == ("my_Läg_e.csv", (), "")
    assert (copy.parent / "my_Läg_e.csv").read_bytes().startswith(b"date")
    own = [path.resolve() for path in rain_files(SCHOOL)]
    assert take_back(["rain.file", "rain.neighbours"], copy)
    assert [path.resolve() for path in rain_files(copy)] == own
    there = SCHOOL.parents[1] / "records" / "monsoon.csv"
    save_choices(
        SCHOOL, {"rain.file": there, "rain.neighbours": [there.with_name("monsoon_odhrani.csv")]}, copy
    )
    assert [path.resolve() for path in rain_files(copy)] == [there, there.with_name("monsoon_odhrani.csv")]


def test_each_visitor_of_the_pages_has_a_copy_of_their_own(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    for who, share in ((".my_class/ana", 0.7), (".my_class/bo", 0.8)):
        monkeypatch.setenv(VISITOR, who)
        assert study_in_use(SCHOOL) == SCHOOL
        save_choices(study_in_use(SCHOOL), {"target.reliability": share})
        assert study_in_use(SCHOOL) == own_copy() == Path(who) / "my_study.toml"
        assert rain_files(own_copy())[0].resolve() == rain_files(SCHOOL)[0].resolve()
    monkeypatch.setenv(VISITOR, ".my_class/ana")
    assert read_study(own_copy())[0].target.reliability == 0.7
    monkeypatch.delenv(VISITOR)
    assert own_copy() == Path("my_study.toml") and not own_copy().is_file()
