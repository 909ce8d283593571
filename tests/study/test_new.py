"""A study begun from a rain record: found what it says, runs as it stands, names what to fill in."""

import tomllib

import numpy as np
import pandas as pd
import pytest

from rainharvest.__main__ import main
from rainharvest.study.file import read_study

DAYS = pd.date_range("2001-01-01", "2008-12-31")


@pytest.fixture(scope="module")
def begun(tmp_path_factory):
    """The command on a record of eight years with a dry season from June to September, in mm."""
    folder = tmp_path_factory.mktemp("new")
    rng = np.random.default_rng(4)
    rain = np.where(rng.random(DAYS.size) < 0.3, rng.gamma(0.8, 12.0, DAYS.size), 0.0)
    rain[np.isin(DAYS.month, (6, 7, 8, 9))] = 0.0
    head = "# place: Tessaly Gap (invented)\n# latitude: -12.5\n# longitude: 30.25\n# elevation: 840 m\n# unit: mm\n"
    table = pd.DataFrame({"date": DAYS.strftime("%Y-%m-%d"), "rain_mm": rain.round(1)})
    (folder / "my gauge.csv").write_text(head + table.to_csv(index=False, lineterminator="\n"))
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(folder)
        assert main(["new", "my gauge.csv", "--out", "my study"]) == 0
    return folder / "my study"


def test_what_the_record_says_stands_in_the_file(begun):
    text = (begun / "study.toml").read_text(encoding="utf-8")
    study, _ = read_study(begun / "study.toml")
    assert study.site.name == "Tessaly Gap (invented)" and study.site.elevation == 840
    assert (study.site.latitude, study.site.longitude) == (-12.5, 30.25)
    assert study.rain.file == "../my gauge.csv"
    assert study.rain.year_start_month in (7, 8, 9, 10)  # after one of the four months without rain
    assert study.site_works.wet_month == 10
    command = 'python -m rainharvest study "my study/study.toml" --out "my study"'
    assert f"#   {command}\n" in text
    assert "2922 days from 2001-01-01 to 2008-12-31, 0 of them missing" in text and "mm" in text
    assert text.startswith("#:schema study.schema.json") and (begun / "study.schema.json").is_file()


def test_it_runs_and_says_what_to_fill_in_next(begun, capsys, monkeypatch):
    assert (begun / "report.html").is_file() and (begun / "results.nc").is_file()
    monkeypatch.chdir(begun.parent)
    assert main(["new", "my gauge.csv", "--out", "my study"]) == 2
    assert "a study file is there already; name another folder" in capsys.readouterr().err
    assert main(["new", "my gauge.csv", "--out", "another"]) == 0
    said = capsys.readouterr().out
    lines = (begun / "study.toml").read_text(encoding="utf-8").splitlines()
    at = lines.index("area = 100                            # FILL IN: m2, plan") + 1
    assert f"  line {at}: area = 100\n" in said and "kWh" not in said
    assert said.count("  line ") == sum("FILL IN" in line and line[0] != "#" for line in lines)
    assert said.endswith("python -m rainharvest study another/study.toml --out another\n")


def test_comments_hold_keys_that_are_known(begun):
    """Taken out of its comment, each example of a key is one that the study file takes."""
    text = (begun / "study.toml").read_text(encoding="utf-8")
    lines = text.splitlines()
    first = next(n for n, line in enumerate(lines) if line.startswith("title"))
    bare = [
        line[2:] if line.startswith("# ") and (" = " in line or "# [" in line) else line
        for line in lines[first:]
    ]
    bare = [line for line in bare if not line.startswith('units = "us"')]
    tables = tomllib.loads("\n".join(bare))
    assert tables["costs"]["per_litre"] == 0.12 and tables["conveyance"]["kind"] == "dry"
    (begun / "bare.toml").write_text("\n".join(bare), encoding="utf-8")
    assert read_study(begun / "bare.toml")[0].report.date.isoformat() == "2026-11-25"
