"""Compiled code is cached: the first process says that it compiles, the second does not compile."""

import os
import subprocess
import sys
from pathlib import Path

CODE = "import rainharvest; print(float(rainharvest.simulate([0, 3, 8, 0, 2, 0, 0], 2.0, 5.0).delivered[0]))"


def test_second_process_does_not_compile(tmp_path):
    root = Path(__file__).parents[2]
    said = [
        subprocess.run(
            [sys.executable, "-c", CODE],
            env=os.environ | {"NUMBA_CACHE_DIR": str(tmp_path), "PYTHONPATH": str(root)},
            capture_output=True,
            text=True,
            check=True,
        )
        for _ in range(2)
    ]
    assert [run.stdout.strip() for run in said] == ["7.0", "7.0"]
    assert "Compiling the daily balance" in said[0].stderr
    assert said[1].stderr == ""
