"""What earlier runs left: the same bits as without, only what a change touches is worked anew, damage is harmless."""

import os
import shutil
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import xarray as xr
from places import RECORDS

from rainharvest import InputError
from rainharvest.core import kept
from rainharvest.study.file import read_study
from rainharvest.study.run import study_results
from rainharvest.study.stages import STAGES, seen_by

STUDY = """
title = "A study of a test"
[site]
name = "Test"
[rain]
file = "rain.csv"
neighbours = ["beside.csv"]
members = 2
[[roof]]
area = 150
[[use]]
name = "toilets"
kind = "dual_flush"
people = 8
[[garden]]
bed_area = 20
[weather]
evapotranspiration = [5, 5, 4, 3, 2, 1, 1, 2, 3, 4, 5, 5]
[tank]
chosen = 9000
[target]
reliability = 0.8
[sizing]
draws = 20
[costs]
per_litre = 0.1
[report]
client = "One"
"""
MONEY = {"costs", "site works"}
SIZES = {"trade-off", "decision"}
CHANGES = {
    # what is replaced, by what, and which of the stages up to the storage are worked anew
    "client": ('client = "One"', 'client = "Another"', set()),
    "title": ("A study", "The study", set()),
    "confirmed": ('title = "A', 'confirmed = ["rain.break"]\ntitle = "A', SIZES),
    "price": ("per_litre = 0.1", "per_litre = 0.2", set()),
    "tank": ("chosen = 9000", "chosen = 8000", {"decision"}),
    "outlet": ("chosen = 9000", "dead_share = 0.1", SIZES),
    "target": ("reliability = 0.8", "reliability = 0.7", SIZES),
    "people": ("people = 8", "people = 9", {"demand"} | SIZES),
    "beds": ("bed_area = 20", "bed_area = 30", {"demand"} | SIZES),
    "roof": ("area = 150", "area = 160", {"catchment"} | SIZES),
    "arrangement": ("[tank]", '[arrangement]\nkind = "combined"\n[tank]', {"catchment", "demand"} | SIZES),
    "versions": ("members = 2", "members = 3", {"record", "catchment", "demand"} | SIZES),
}
AFTER = {"certainty", "costs", "drought", "site works"}
CORE = {name for name in STAGES if name not in AFTER}


@pytest.fixture(scope="module")
def worked(tmp_path_factory):
    """A folder with a study file and its records, twelve years of them, and what a first run kept; its results."""
    base = tmp_path_factory.mktemp("worked")
    for name, file in (("winter_rain", "rain"), ("winter_rain_pindrake", "beside")):
        lines = (RECORDS / f"{name}.csv").read_text(encoding="utf-8").splitlines()
        (base / f"{file}.csv").write_text("\n".join(lines[:4400]), encoding="utf-8")
    (base / "study.toml").write_text(STUDY)
    (base / "kept").mkdir()
    return base, results(base)


@pytest.fixture
def folder(worked, tmp_path):
    """A copy of that folder."""
    return Path(shutil.copytree(worked[0], tmp_path / "copy"))


def results(folder, cache="kept", last=None):
    return study_results(folder / "study.toml", cache=folder / cache if cache != "off" else "off", last=last)


def parts_of(one):
    datasets = {
        "done": one.done,
        "water": one.flows.water,
        "asked": one.flows.demand.to_dataset(name="asked"),
    }
    datasets |= {
        "raw": one.record.raw.to_dataset(name="rain"),
        "filled": one.record.filled.to_dataset(name="rain"),
    }
    return datasets | one.groups


def assert_same_bits(one, other):
    assert one.study == other.study and one.flows.not_served == other.flows.not_served
    pd.testing.assert_frame_equal(one.record.findings, other.record.findings)
    assert one.record.left_out == other.record.left_out
    assert one.record.year_start_month == other.record.year_start_month
    first, second = parts_of(one), parts_of(other)
    assert list(first) == list(second)
    for name, a in first.items():
        b = second[name]
        xr.testing.assert_identical(a, b)
        assert list(a.variables) == list(b.variables) and list(a.attrs) == list(b.attrs), name
        for key in a.variables:
            assert list(a[key].attrs) == list(b[key].attrs), (name, key)
            values, back = a[key].values, b[key].values
            assert values.dtype == back.dtype and values.dtype != object or values.tolist() == back.tolist()
            if values.dtype != object:
                assert values.tobytes() == back.tobytes(), (name, key)


def test_the_same_bits_with_and_without(folder, worked):
    without, first, again = results(folder, "off"), worked[1], results(folder)
    assert set(without.fresh) == set(first.fresh) == set(STAGES) and again.fresh == ()
    assert_same_bits(without, first)
    assert_same_bits(without, again)


@pytest.mark.parametrize("name", sorted(CHANGES))
def test_a_change_reworks_only_what_it_touches(folder, name):
    old, new, touched = CHANGES[name]
    assert old in STUDY
    (folder / "study.toml").write_text(STUDY.replace(old, new, 1))
    changed = results(folder)
    assert set(changed.fresh) & CORE == touched
    after = set(changed.fresh) & AFTER
    assert after == (AFTER if touched else MONEY if name == "price" else set())
    if name in ("arrangement", "price", "versions"):  # between them every stage
        assert_same_bits(changed, results(folder, "off"))


def test_another_byte_in_a_rain_file_reworks_everything(folder):
    text = (folder / "beside.csv").read_text()
    (folder / "beside.csv").write_text(text + "\n")
    assert set(results(folder, last="decision").fresh) == CORE
    (folder / "beside.csv").write_text(text)
    assert results(folder).fresh == ()


def test_another_program_reworks_everything(folder, monkeypatch):
    monkeypatch.setattr(kept, "program_digest", lambda: "another version")
    assert set(results(folder, last="decision").fresh) == CORE


def test_the_program_is_known_by_its_source_and_its_libraries():
    assert len(kept.program_digest()) == 64
    assert kept.key_of("record") != kept.key_of("catchment")


DAMAGE = {
    "empty": lambda raw: b"",
    "cut short": lambda raw: raw[: len(raw) // 2],
    "a bit turned over": lambda raw: (
        raw[: len(raw) // 3] + bytes([raw[len(raw) // 3] ^ 1]) + raw[len(raw) // 3 + 1 :]
    ),
    "another file": lambda raw: b"PK\x03\x04 not what it was" * 99,
    "random": lambda raw: np.random.default_rng(1).bytes(len(raw)),
}


def test_a_damaged_entry_is_worked_anew_and_mended(folder, worked):
    for k, file in enumerate(sorted((folder / "kept").iterdir())):
        file.write_bytes([*DAMAGE.values()][k % len(DAMAGE)](file.read_bytes()))
    mended = results(folder)
    assert set(mended.fresh) == set(STAGES)
    assert_same_bits(worked[1], mended)
    assert results(folder).fresh == ()


def test_any_single_bit_of_an_entry_is_guarded(tmp_path):
    data = {"part": xr.Dataset({"x": ("row", np.arange(50.0), {"units": "L"})}, attrs={"said": "so"})}
    kept.keep(tmp_path, "some", "key", data)
    (file,) = (tmp_path).iterdir()
    whole = file.read_bytes()
    for at in range(0, len(whole), 7):
        file.write_bytes(whole[:at] + bytes([whole[at] ^ 0x10]) + whole[at + 1 :])
        back = kept.recall(tmp_path, "some", "key")
        assert back is None or back["part"].identical(data["part"]), at  # None, or a byte that says nothing


def test_the_folder_may_be_deleted_at_any_time(folder):
    shutil.rmtree(folder / "kept")
    assert (
        set(results(folder, last="decision").fresh) == CORE == set(results(folder, "off", "decision").fresh)
    )
    assert not list((folder / "kept").glob(".unfinished*"))


def test_what_was_not_used_for_longest_makes_room(tmp_path, monkeypatch):
    data = {"part": xr.Dataset({"x": ("row", np.zeros(1000))})}
    size = 9000  # a little more than an entry
    monkeypatch.setattr(kept, "LARGEST", 3 * size)
    for i, key in enumerate("abc"):
        kept.keep(tmp_path, "some", key, data)
        os.utime(tmp_path / f"some-{key}.npz", (i, i))
    kept.recall(tmp_path, "some", "a")
    kept.keep(tmp_path, "some", "d", data)
    assert {f.name for f in (tmp_path).iterdir()} == {f"some-{key}.npz" for key in "acd"}


def test_where_the_folder_is(tmp_path, monkeypatch):
    monkeypatch.delenv("RAINHARVEST_CACHE")
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "home"))
    monkeypatch.setenv("HOME", str(tmp_path / "home"))
    own = kept.kept_folder(None)
    assert own.is_dir() and Path(__file__).parents[2] not in own.parents
    monkeypatch.setenv("RAINHARVEST_CACHE", str(tmp_path / "by-name"))
    assert kept.kept_folder(None) == tmp_path / "by-name" and kept.kept_folder(tmp_path) == tmp_path
    monkeypatch.setenv("RAINHARVEST_CACHE", "off")
    assert kept.kept_folder(None) is None and kept.kept_folder("off") is None
    (tmp_path / "file").write_text("")
    with pytest.raises(InputError, match="--cache: cannot write there"):
        kept.kept_folder(tmp_path / "file")


def test_only_text_numbers_and_dates_are_kept(tmp_path):
    with pytest.raises(TypeError, match="part/x"):
        kept.keep(
            tmp_path, "some", "key", {"part": xr.Dataset({"x": ("row", np.array([{}, 1], dtype=object))})}
        )


@pytest.mark.parametrize("stage", STAGES)
def test_a_stage_sees_only_what_it_is_said_to_read(folder, stage):
    study, _ = read_study(folder / "study.toml")
    seen = seen_by(study, stage)
    with pytest.raises(AttributeError):
        _ = seen.report
    for name in STAGES[stage].reads:
        table, _, key = name.partition(".")
        part = getattr(seen, table)
        assert (getattr(part, key) if key else part) == (
            getattr(getattr(study, table), key) if key else getattr(study, table)
        )
