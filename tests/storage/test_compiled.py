"""Compiled code is cached: the first process says that it compiles, the second does not compile."""

import os
import subprocess
import sys
from pathlib import Path

CODE = "import rainharvest; print(float(rainharvest.simulate([0, 3, 8, 0, 2, 0, 0], 2.0, 5.0).delivered[0]))"

ENVIRONMENT = os.environ | {"PYTHONPATH": str(Path(__file__).parents[2])}


def test_second_process_does_not_compile(tmp_path):
    said = [
        subprocess.run(
            [sys.executable, "-c", CODE],
            env=ENVIRONMENT | {"NUMBA_CACHE_DIR": str(tmp_path)},
            capture_output=True,
            text=True,
            check=True,
        )
        for _ in range(2)
    ]
    assert [run.stdout.strip() for run in said] == ["7.0", "7.0"]
    assert "Compiling the daily balance" in said[0].stderr
    assert said[1].stderr == ""


NOWHERE = "import numba.core.caching as c; c.CacheImpl._locator_classes = []; " + CODE


def test_without_a_folder_to_write_to_it_compiles_and_says_so():
    run = subprocess.run([sys.executable, "-c", NOWHERE], capture_output=True, text=True, env=ENVIRONMENT)
    assert (run.returncode, run.stdout.strip()) == (0, "7.0"), run.stderr
    assert "at every start: no folder to keep it in" in run.stderr
