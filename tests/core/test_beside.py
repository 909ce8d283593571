"""Work handed to a second process: what comes back, in which order, and what happens when the process is lost."""

import importlib
import os
import subprocess
import sys

import pytest

from rainharvest.core.beside import second_process
from rainharvest.core.errors import InputError

WORK = '''"""What either process may be asked for."""

import os

from rainharvest.core.errors import InputError


def warm():
    os.environ["WARMED"] = str(os.getpid())


def warmed_in():
    yield os.environ.get("WARMED"), str(os.getpid())


def some_work(first):
    print("this is no result")
    yield os.getpid()
    yield first + 1
    raise InputError("it is too much", "give less", "first")


def counting(to):
    yield from range(to)


def broken(asks):
    yield "before"
    if os.getpid() != asks:
        os._exit(1)
    yield "after"
'''

ENDLESS = '''"""Work without an end, handed to a second process."""

import os
import time

from rainharvest.core.beside import second_process


def work(file):
    os.write(file, b"at work\\n")
    while True:
        time.sleep(0.01)
    yield


def ask():
    os.cpu_count = lambda: 2
    with second_process() as begin:
        next(begin(work, 2))
'''


@pytest.fixture
def work(tmp_path, monkeypatch):
    """A module that both processes find, on a machine with two processors."""
    (tmp_path / "work_beside.py").write_text(WORK)
    monkeypatch.syspath_prepend(str(tmp_path))
    monkeypatch.setattr(os, "cpu_count", lambda: 2)
    return importlib.import_module("work_beside")


def test_results_come_back_in_order_from_another_process_and_errors_are_raised_here(work, capsys):
    with second_process("work_beside") as begin:
        for first in (4, 7):  # one after the other
            results = begin(work.some_work, first)
            assert next(results) != os.getpid()
            assert next(results) == first + 1
            with pytest.raises(InputError, match="first: it is too much; give less"):
                next(results)
        assert [list(begin(work.counting, to)) for to in (3, 0, 2)] == [[0, 1, 2], [], [0, 1]]
    assert capsys.readouterr().out == ""


def known_here_alone():
    yield os.getpid()


def test_what_a_lost_process_owes_is_worked_here(work, monkeypatch):
    with second_process() as begin:
        for _ in range(2):
            assert list(begin(work.broken, os.getpid())) == ["before", "after"]
    monkeypatch.setattr(sys, "path", [])  # the other process does not find this module
    with second_process() as begin:
        assert list(begin(known_here_alone)) == [os.getpid()]


def test_the_second_process_ends_with_the_first_in_the_midst_of_work(tmp_path):
    (tmp_path / "endless.py").write_text(ENDLESS)
    asks = subprocess.Popen(
        [sys.executable, "-c", "import endless; endless.ask()"],
        env=os.environ | {"PYTHONPATH": os.pathsep.join([str(tmp_path), *sys.path])},
        stderr=subprocess.PIPE,
    )
    assert asks.stderr.readline() == b"at work\n"
    asks.kill()
    assert asks.communicate(timeout=20) == (None, b"")  # the other process holds this pipe too until it ends


def test_on_one_processor_the_work_is_done_here(work, monkeypatch):
    monkeypatch.setattr(os, "cpu_count", lambda: 1)
    with second_process(warm=work.warm) as begin:
        assert next(begin(work.some_work, 4)) == os.getpid()
        assert next(begin(work.warmed_in))[0] is None  # and nothing is warmed that is not there
    monkeypatch.setattr(os, "cpu_count", lambda: 2)
    with second_process(warm=work.warm) as begin:
        (pids,) = begin(work.warmed_in)
    assert pids[0] == pids[1] != str(os.getpid())
