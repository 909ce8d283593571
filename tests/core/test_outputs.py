"""Files are written whole or not at all, together or not yet."""

import errno
import os
import shutil
import signal
import subprocess
import sys
import time
from collections import namedtuple
from pathlib import Path

import pandas as pd
import pytest

from rainharvest import InputError
from rainharvest.core import outputs
from rainharvest.core.outputs import check_folder, whole_files, write_csv

NAMES = ("a.txt", "b.txt", "c.txt")


class Killed(BaseException):
    """Stands for a kill: nothing catches it."""


def write(folder, text):
    with whole_files(folder) as scratch:
        for name in NAMES:
            (scratch / name).write_text(text)


def texts(folder):
    return [(folder / name).read_text() if (folder / name).exists() else "" for name in NAMES]


def test_files_move_together(tmp_path):
    (tmp_path / "other.txt").write_text("left alone")
    write(tmp_path, "old")
    write(tmp_path, "new")
    assert texts(tmp_path) == ["new"] * 3
    assert sorted(f.name for f in tmp_path.iterdir()) == sorted([*NAMES, "other.txt"])


def test_nothing_moves_when_the_block_raises(tmp_path):
    write(tmp_path, "old")
    with pytest.raises(Killed), whole_files(tmp_path) as scratch:
        (scratch / "a.txt").write_text("new")
        raise Killed
    assert texts(tmp_path) == ["old"] * 3 and len(list(tmp_path.iterdir())) == 3


@pytest.mark.parametrize("after", [1, 2, 3, 4])
def test_a_kill_between_two_moves_is_made_good_by_the_next_run(tmp_path, monkeypatch, after):
    write(tmp_path, "old")
    (tmp_path / "other.txt").write_text("so that the folders are not exchanged")
    real, moves = os.replace, []

    def replace(source, target):
        if len(moves) == after:
            raise Killed
        moves.append(target)
        real(source, target)

    monkeypatch.setattr(os, "replace", replace)
    try:
        write(tmp_path, "new")
    except Killed:
        assert "new" in texts(tmp_path) or after == 1
    monkeypatch.setattr(os, "replace", real)
    with pytest.raises(Killed), whole_files(tmp_path):
        raise Killed  # even a run that comes to nothing puts right what it finds
    assert texts(tmp_path) == ["new"] * 3
    assert sorted(f.name for f in tmp_path.iterdir()) == sorted([*NAMES, "other.txt"])


@pytest.mark.parametrize("alone", [True, False], ids=["folders exchanged", "files moved"])
def test_a_file_open_elsewhere_leaves_the_old_set_and_is_named(tmp_path, monkeypatch, alone):
    folder = tmp_path / "out"
    write(folder, "old")
    if not alone:
        (folder / "other.txt").write_text("")
    monkeypatch.setattr(outputs, "_exchange", lambda one, other: False)
    real = os.replace

    def replace(source, target):
        if Path(target) == folder / "b.txt" and ".unfinished" not in str(source):
            raise PermissionError(errno.EACCES, "in use")
        real(source, target)

    monkeypatch.setattr(os, "replace", replace)
    with pytest.raises(InputError, match=r"b\.txt: it cannot be replaced \(in use\).*close it"):
        write(folder, "new")
    monkeypatch.setattr(os, "replace", real)
    assert texts(folder) == ["old"] * 3
    assert len(list(folder.iterdir())) == 3 + (not alone) and list(tmp_path.iterdir()) == [folder]
    write(folder, "newer")
    assert texts(folder) == ["newer"] * 3


@pytest.mark.skipif(sys.platform != "linux", reason="folders are exchanged on Linux and macOS")
def test_a_set_alone_in_its_folder_is_exchanged_in_one_step(tmp_path, monkeypatch):
    folder = tmp_path / "out"
    write(folder, "old")
    monkeypatch.setattr(outputs, "_move_finished", lambda folder: None)
    before = folder.stat().st_ino, folder.stat().st_mode
    write(folder, "new")
    assert texts(folder) == ["new"] * 3 and list(tmp_path.iterdir()) == [folder]
    assert folder.stat().st_ino != before[0] and folder.stat().st_mode == before[1]


LOOP = """
import sys
from rainharvest.core.outputs import whole_files
print("begun", flush=True)
for turn in range(int(sys.argv[2])):
    with whole_files(sys.argv[1]) as scratch:
        for name in ("a.txt", "b.txt", "c.txt"):
            (scratch / name).write_text(f"{sys.argv[3]} {turn}")
"""


def loop(folder, turns, name):
    return subprocess.Popen(
        [sys.executable, "-c", LOOP, str(folder), str(turns), name], stdout=subprocess.PIPE, text=True
    )


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="no SIGKILL")
@pytest.mark.parametrize("other", [False, True], ids=["folders exchanged", "files moved"])
def test_killed_at_any_moment_the_set_is_of_one_run(tmp_path, other, rng):
    folder = tmp_path / "out"
    write(folder, "old")
    if other:
        (folder / "other.txt").write_text("")
    for _ in range(int(os.environ.get("RAINHARVEST_KILLS", "5"))):
        run = loop(folder, 10**6, "new")
        run.stdout.readline()
        time.sleep(rng.uniform(0, 0.05))
        run.kill()
        run.wait()
        mixed = len(set(texts(folder))) > 1
        assert not mixed or (other and list(folder.glob(".finished-*")))
        with pytest.raises(Killed), whole_files(folder):
            raise Killed
        assert len(set(texts(folder))) == 1 and "" not in texts(folder)
        assert sorted(f.name for f in folder.iterdir()) == sorted([*NAMES, *["other.txt"] * other])
        assert list(tmp_path.iterdir()) == [folder]


def test_several_runs_into_one_folder_take_their_turns(tmp_path):
    folder = tmp_path / "out"
    runs = [loop(folder, 40, str(k)) for k in range(3)]
    assert [run.wait(60) for run in runs] == [0, 0, 0]
    assert len(set(texts(folder))) == 1 and texts(folder)[0].endswith(" 39")
    assert sorted(f.name for f in folder.iterdir()) == sorted(NAMES) and list(tmp_path.iterdir()) == [folder]


def test_a_full_disk_is_said_even_where_a_library_does_not_name_it(tmp_path, monkeypatch):
    with pytest.raises(InputError, match="No space left.*make room"), whole_files(tmp_path):
        raise OSError(28, "No space left on device")
    monkeypatch.setattr(outputs, "_LEAST_ROOM", float("inf"))
    with pytest.raises(InputError, match="No space left.*make room"), whole_files(tmp_path):
        raise RuntimeError("HDF error")
    assert not list(tmp_path.iterdir())


def test_what_a_spreadsheet_would_compute_bears_an_apostrophe(tmp_path):
    table = pd.DataFrame({"=x": ["=1+1", "@a", "a=b", "-2.5", "-a"], "rain": [-1.0, 0, 1, 2, 3]})
    write_csv(table, tmp_path / "t.csv", index=False)
    lines = (tmp_path / "t.csv").read_text().splitlines()
    assert lines == ["'=x,rain", "'=1+1,-1.0", "'@a,0.0", "a=b,1.0", "-2.5,2.0", "'-a,3.0"]


def test_a_folder_is_refused_before_the_work_if_it_cannot_be_written(tmp_path, monkeypatch):
    (tmp_path / "file").write_text("kept")
    check_folder(tmp_path / "new" / "folder")
    assert [f.name for f in tmp_path.iterdir()] == ["file"], "asking leaves nothing"
    for out in (tmp_path / "file", tmp_path / "file" / "below"):
        with pytest.raises(InputError, match="file is a file; name a folder"):
            check_folder(out)
    with pytest.raises(InputError, match="cannot write there"):
        write(tmp_path / "file" / "below", "x")
    usage = namedtuple("usage", "total used free")
    monkeypatch.setattr(shutil, "disk_usage", lambda path: usage(1e12, 1e12, 3e6))
    with pytest.raises(InputError, match="the disk is full: 3 MB are free; make room"):
        check_folder(tmp_path / "new")


@pytest.mark.skipif(not os.path.isdir("/sys/kernel"), reason="no folder that nobody may write to")
def test_a_folder_that_nobody_may_write_to_is_refused_in_plain_words():
    with pytest.raises(InputError, match="cannot write there .*; name a folder that you may write to"):
        check_folder("/sys/kernel/out")
