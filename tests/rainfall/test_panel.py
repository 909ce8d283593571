"""The panels of the rain record: every control moves what is said and what is drawn."""

import numpy as np
import pandas as pd
import pytest
from panels import button, check_both_ends, put, said, walk
from places import RECORDS, SCHOOL

from rainharvest.catchment.facts import OWN_RAIN
from rainharvest.catchment.panel import load_case
from rainharvest.rainfall.facts import demo_files
from rainharvest.rainfall.panel import rain_panel, record_panel
from rainharvest.study.choices import rain_files
from rainharvest.study.file import read_study
from rainharvest.study.variant import prepare

DEMO_FILES = demo_files(RECORDS)


@pytest.fixture(scope="module")
def records(tmp_path_factory):
    """Return the demo records from 2009 on: the panels read, check and fill them faster."""
    folder = tmp_path_factory.mktemp("records")
    for file in (file for files in DEMO_FILES.values() for file in files):
        lines = file.read_text(encoding="utf-8").splitlines(keepends=True)
        (folder / file.name).write_text("".join(line for line in lines if not "1900" < line[:4] < "2009"))
    return demo_files(folder)


@pytest.mark.parametrize("make, figures", [(record_panel, 3), (rain_panel, 5)])
def test_every_slider_changes_what_is_said_at_both_ends_and_the_way_back_is_exact(make, figures, records):
    panel = make(records)
    assert len(panel.rh_pictures) == figures
    check_both_ends(panel, alike=["units", "day_first"])  # for a file of one's own that leaves them in doubt


@pytest.mark.parametrize("make", [record_panel, rain_panel])
def test_every_climate_can_be_chosen(make, records):
    panel = make(records)
    seen = set()
    for name in records:
        panel.rh_controls["name"].value = name
        assert panel.rh_words.value == "", (name, panel.rh_words.value)
        seen.add(tuple(said(panel).values()))
        assert not [line for line in said(panel).values() if "nan" in line.lower()], name
    assert len(seen) == len(records) == 5


def test_a_record_without_neighbours_is_described_too(records):
    panel = rain_panel({"alone": records["monsoon"][:1]})
    assert panel.rh_words.value == "" and "no neighbour" in said(panel)["mass"]


def test_a_move_of_the_longest_gap_is_timed(benchmark):
    panel = record_panel(DEMO_FILES)
    control = panel.rh_controls["longest_gap"]
    place = iter(range(10**6))

    def move():
        control.value = 20 + next(place) % 300

    benchmark.pedantic(move, rounds=7, warmup_rounds=1)
    assert panel.rh_words.value == ""


# ---- a file of the reader's own
@pytest.fixture(scope="module")
def open_panel(records):
    return record_panel(records)


def content(column="rain_mm", form="%Y-%m-%d"):
    days = pd.date_range("2012-01-01", "2016-12-31")
    rng = np.random.default_rng(1)
    rain = np.where(rng.random(len(days)) < 0.3, rng.gamma(0.7, 12, len(days)), 0).round(1)
    table = pd.DataFrame({"date": days.strftime(form), column: rain})
    table.loc[100:109, column] = np.nan
    return table.to_csv(index=False).encode()


@pytest.fixture
def panel(open_panel):
    yield open_panel
    open_panel.rh_controls["upload"].value = ()
    open_panel.rh_controls["units"].value = open_panel.rh_controls["day_first"].value = ""


def test_a_file_of_the_readers_own_is_filled(panel):
    before = said(panel)
    put(panel, "mine.csv", content())
    assert panel.rh_words.value == "" and "<b>mine.csv</b>, 2012-01-01 to 2016-12-31" in said(panel)["origin"]
    assert "10 resampled" in said(panel)["origin"]
    panel.rh_controls["upload"].value = ()
    assert said(panel) == before, "without the file the demo record is back"


def test_a_doubt_is_said_in_the_panel_and_settled_there(panel):
    before = said(panel)
    put(panel, "mine.csv", content(column="rain"))
    assert 'role="alert"' in panel.rh_words.value and "mine.csv" in panel.rh_words.value
    assert "unit" in panel.rh_words.value and "tmp" not in panel.rh_words.value
    assert said(panel) == before, "what was drawn stays until the doubt is settled"
    panel.rh_controls["units"].value = "mm"
    assert panel.rh_words.value == "" and "mine.csv" in said(panel)["origin"]


def test_dates_that_fit_both_ways_are_settled_in_the_panel(panel):
    rows = [f"{k:02d}/{k + 1:02d}/2012,{k}" for k in range(1, 12)]
    put(panel, "ways.csv", "\n".join(["date,rain_mm", *rows]).encode())
    assert "ways.csv" in panel.rh_words.value and "If its dates fit both ways" in panel.rh_words.value
    panel.rh_controls["day_first"].value = True
    assert "fit both ways" not in panel.rh_words.value


@pytest.mark.parametrize("data", [b"", b"\x00\x01\x02", b"nonsense", b"date,rain_mm\n"])
def test_rubbish_ends_in_words(panel, data):
    put(panel, "rubbish.csv", data)
    assert 'role="alert"' in panel.rh_words.value and "rubbish.csv" in panel.rh_words.value
    assert "defect" not in panel.rh_words.value


def test_a_record_put_in_becomes_the_study_s_rain(records, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    panel = record_panel(records, SCHOOL)
    put(panel, "mine.csv", content(column="rain"))
    panel.rh_controls["units"].value = "mm"
    button(panel, "Save these choices").click()
    note = next(w.value for w in walk(panel) if "rh-note" in str(getattr(w, "value", ""))[:20])
    assert "Saved in my_study.toml: Or a file of your own: mine.csv; If it gives no unit: milli" in note
    study, own = read_study("my_study.toml")[0], read_study(SCHOOL)[0]
    for table in ("roof", "conveyance", "use", "costs"):
        assert getattr(study, table) == getattr(own, table)
    case, days = load_case("my_study.toml", RECORDS), len(content().splitlines()) - 1
    for rain in (case.climates[OWN_RAIN].rain, prepare("my_study.toml").record.raw):
        assert str(rain.time.values[0])[:10] == "2012-01-01" and rain.sizes["time"] == days
    button(panel, "Take these back").click()
    assert [p.resolve() for p in rain_files("my_study.toml")] == [p.resolve() for p in rain_files(SCHOOL)]
    panel.rh_controls["upload"].value, panel.rh_controls["name"].value = (), "monsoon"
    button(panel, "Save these choices").click()
    study = read_study("my_study.toml")[0]
    assert [p.resolve() for p in rain_files("my_study.toml")] == [p.resolve() for p in records["monsoon"]]
    assert study.site.latitude == pytest.approx(17.86, abs=10) and not study.sizing.finer_rain
