"""Throughput from the disk, memory, and how the cost grows: printed, never asserted.

Small by default. The full measurement, 2,000 cells x 40 years x 64 sizes:
``RAINHARVEST_CLIMATES_CELLS=2000 RAINHARVEST_CLIMATES_YEARS=40 pytest tests/climates/test_climates_speed.py -s``
Memory on a store of several GB, made once and kept (about 100,000 cells make 6 GB):
``RAINHARVEST_CLIMATES_CELLS=102400 RAINHARVEST_CLIMATES_YEARS=40 RAINHARVEST_CLIMATES_STORE=FOLDER`` with
``-k throughput``
"""

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from region import write_grid

CELLS = int(os.environ.get("RAINHARVEST_CLIMATES_CELLS", "160"))
YEARS = int(os.environ.get("RAINHARVEST_CLIMATES_YEARS", "8"))
WORLD = 300_000  # cells of a quarter of a degree on land, about


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """A folder with the invented rain; made anew unless a folder is named in which it lies."""
    kept = os.environ.get("RAINHARVEST_CLIMATES_STORE")
    place = Path(kept) if kept else tmp_path_factory.mktemp("speed")
    if not (place / "rain.zarr").exists():
        place.mkdir(parents=True, exist_ok=True)
        rows = max(int(np.sqrt(CELLS)) // 2 * 2, 2)
        write_grid(place / "rain.zarr", rows=rows, columns=-(-CELLS // rows), years=YEARS, first_year=1981)
    return place


def run(folder, sizes=64, threads=1, runs=("plain",), cells=0, years=0):
    given = {"sizes": sizes, "threads": threads, "runs": list(runs), "cells": cells, "years": years}
    script = Path(__file__).with_name("measure_climates.py")
    said = subprocess.run(
        [sys.executable, str(script), str(folder), json.dumps(given)],
        capture_output=True,
        text=True,
        check=True,
    )
    for left in folder.glob("out-*"):
        shutil.rmtree(left)
    return json.loads(said.stdout.splitlines()[-1])


@pytest.mark.parametrize("runs", [("plain",), ("dry run",), ("dry run", "wet run")], ids="+".join)
def test_throughput_against_the_bare_kernel(folder, runs, capsys):
    one, two = run(folder, threads=1, runs=runs), run(folder, threads=2, runs=runs)
    assert one["tank_days"] == two["tank_days"] > 0 and two["seconds"] > 0
    with capsys.disabled():
        print(
            f"\n{' and '.join(runs)}: {two['cells']:,} cells, {two['bytes'] / 1e9:.2f} GB of rain, 64 sizes"
        )
        for workers, done in ((1, one), (2, two)):
            rate = done["tank_days"] / done["seconds"]
            print(
                f"  {workers} worker{'s' if workers > 1 else ' '}: {done['seconds']:6.1f} s, "
                f"{rate / 1e6:.0f} million tank-days a second, {rate / done['bare'][0]:.2f} of the bare kernel; "
                f"processor {done['processor']:.1f} s, each "
                f"{done['tank_days'] / done['processor'] / done['bare'][1]:.2f} of the bare kernel's tank-days; "
                f"peak memory {done['peak'] / 1e9:.2f} GB"
            )
        world = two["seconds"] / two["cells"] * WORLD / 60
        print(
            f"  1 -> 2 workers: {one['seconds'] / two['seconds']:.2f} times; {WORLD:,} cells: {world:.0f} minutes"
        )


def test_cost_is_linear_in_cells_years_and_sizes(folder, capsys):
    total = run(folder)["cells"]
    tried = {
        "cells": [(dict(cells=c), c) for c in (total // 4, total // 2, 3 * total // 4, total)],
        "years": [(dict(years=y), y) for y in (YEARS // 4, YEARS // 2, 3 * YEARS // 4, YEARS)],
        "sizes": [(dict(sizes=s), s) for s in (64, 128, 256, 512)],
    }
    with capsys.disabled():
        print()
        for name, cases in tried.items():
            done = [run(folder, **given) for given, _ in cases]
            at = np.array(
                [d["cells"] if name == "cells" else n for d, (_, n) in zip(done, cases, strict=True)], float
            )
            cost = np.array([d["processor"] for d in done])
            slope, rest = np.polyfit(at, cost, 1)
            explained = 1 - ((cost - slope * at - rest) ** 2).sum() / ((cost - cost.mean()) ** 2).sum()
            print(
                f"  {name}: {', '.join(f'{a:g}: {c:.2f} s' for a, c in zip(at, cost, strict=True))}; "
                f"{slope:.3g} s each and {rest:.2f} s; the line explains {100 * explained:.1f} %"
            )
            assert np.isfinite(explained)
