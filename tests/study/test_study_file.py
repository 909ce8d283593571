"""Mistakes in a study file: one clear line each, all at once."""

from pathlib import Path

import pytest

from rainharvest import InputError, run_study
from rainharvest.study.file import StudyFileError, read_study

DEMO = Path(__file__).parents[2] / "data" / "studies" / "day_school.toml"

MISTAKES = {
    # what is replaced, by what, and what the one line must say
    "wrong type": ("area = 420 ", 'area = "large" ', "roof[1].area"),
    "negative": ("area = 420 ", "area = -1 ", "roof[1].area: -1 is not possible; give"),
    "area in square millimetres": ("area = 420 ", "area = 420000000 ", "roof[1].area"),
    "unknown key": ("people = 18", "poeple = 18", "did you mean people"),
    "unknown material": (
        'material = "tile"',
        'material = "straw"',
        "roof[2].material: 'straw' is not possible",
    ),
    "unknown use": ('kind = "day_pupil"', 'kind = "pupil"', 'there is no kind of use "pupil"'),
    "unknown arrangement": ('kind = "rain only"', 'kind = "both"', "arrangement.kind"),
    "reserve without interruptions": ('kind = "rain only"', 'kind = "mains reserve"', "nothing to ride out"),
    "change-over without mains": (
        'kind = "rain only"',
        'kind = "rain only"\nchange_over = true',
        "has no meaning",
    ),
    "target above one": ("reliability = 0.9", "reliability = 90", "target.reliability: 90 is not possible"),
    "unknown measure": ('"volume_reliability"', '"luck"', "target.measure"),
    "no such day": ('"01-20 to 04-05"', '"20-01 to 04-05"', "calendar.terms"),
    "no such weekday": ('"mon", "tue"', '"monday-ish", "tue"', "calendar.working_days"),
    "nothing left of the tank": (
        "dead_share = 0.05\nfreeboard_share = 0.05",
        "dead_share = 0.5\nfreeboard_share = 0.5",
        "leave nothing to use",
    ),
    "two uses of one name": ('name = "staff toilets"', 'name = "pupils\' toilets"', "two uses bear the name"),
    "members by the thousand": ("members = 20", "members = 2000", "rain.members"),
    "title missing": ('title = "', 'titel = "', "title"),
    "conveyance of no kind": ('kind = "dry"', 'kind = "damp"', "conveyance.kind"),
    "wet key in a dry run": ("run = 18 ", "bleed = 5\nrun = 18 ", "no meaning for a dry run"),
    "negative price": ("per_litre = 0.12", "per_litre = -0.12", "costs.per_litre"),
    "latitude": ("latitude = -33.42", "latitude = -133.42", "site.latitude"),
    "not TOML": ("[site]", "[site", "not TOML"),
}


@pytest.mark.parametrize("name", sorted(MISTAKES))
def test_each_mistake_gets_its_line(tmp_path, name):
    old, new, words = MISTAKES[name]
    text = DEMO.read_text()
    assert old in text
    path = tmp_path / "study.toml"
    path.write_text(text.replace(old, new, 1))
    with pytest.raises(InputError) as caught:
        read_study(path)
    lines = str(caught.value).splitlines()
    assert all(line.startswith(str(path)) for line in lines)
    assert any(words in line for line in lines), lines
    assert all("; " in line for line in lines), "each line says what to do"


def test_all_mistakes_are_named_at_once(tmp_path):
    path = tmp_path / "study.toml"
    text = (
        DEMO.read_text().replace("area = 420 ", "area = -1 ").replace("reliability = 0.9", "reliability = 9")
    )
    path.write_text(text.replace("people = 18", "people = -18"))
    with pytest.raises(StudyFileError) as caught:
        read_study(path)
    places = {mistake.place for mistake in caught.value.mistakes}
    assert {"roof[1].area", "target.reliability", "use[2].people"} <= places


def test_missing_files_are_named(tmp_path):
    with pytest.raises(InputError, match=r"none\.toml.*name a study file"):
        read_study(tmp_path / "none.toml")
    path = tmp_path / "study.toml"
    path.write_text(DEMO.read_text())  # its records lie elsewhere
    with pytest.raises(InputError, match=r"winter_rain\.csv"):
        run_study(path)
    path.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(InputError, match="UTF-8"):
        read_study(path)


def test_rain_alone_for_drinking_is_refused(tmp_path):
    text = DEMO.read_text().replace("../records", str(DEMO.parents[1] / "records"))
    for kind in ("pour_flush", "dual_flush"):
        text = text.replace(f'kind = "{kind}"', 'kind = "day_pupil"')
    path = tmp_path / "study.toml"
    path.write_text(text)
    with pytest.raises(InputError, match="drinking quality"):
        run_study(path)
