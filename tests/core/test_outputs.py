"""Files are written whole or not at all, together or not yet."""

import os
import shutil
from collections import namedtuple

import pytest

from rainharvest import InputError
from rainharvest.core.outputs import check_folder, whole_files

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
    assert sorted(f.name for f in tmp_path.iterdir()) == sorted(NAMES)


def test_a_folder_that_cannot_be_made(tmp_path):
    (tmp_path / "file").write_text("")
    with pytest.raises(InputError, match="cannot write there"):
        write(tmp_path / "file" / "inside", "x")


def test_a_folder_is_refused_before_the_work_if_it_cannot_be_written(tmp_path, monkeypatch):
    (tmp_path / "file").write_text("kept")
    check_folder(tmp_path / "new" / "folder")
    assert [f.name for f in tmp_path.iterdir()] == ["file"], "asking leaves nothing"
    for out in (tmp_path / "file", tmp_path / "file" / "below"):
        with pytest.raises(InputError, match="file is a file; name a folder"):
            check_folder(out)
    usage = namedtuple("usage", "total used free")
    monkeypatch.setattr(shutil, "disk_usage", lambda path: usage(1e12, 1e12, 3e6))
    with pytest.raises(InputError, match="the disk is full: 3 MB are free; make room"):
        check_folder(tmp_path / "new")


@pytest.mark.skipif(not os.path.isdir("/sys/kernel"), reason="no folder that nobody may write to")
def test_a_folder_that_nobody_may_write_to_is_refused_in_plain_words():
    with pytest.raises(InputError, match="cannot write there .*; name a folder that you may write to"):
        check_folder("/sys/kernel/out")


def test_a_disk_that_fills_while_writing_is_said_so(tmp_path):
    with pytest.raises(InputError, match="No space left.*make room"), whole_files(tmp_path):
        raise OSError(28, "No space left on device")
    assert not list(tmp_path.iterdir())
