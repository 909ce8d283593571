"""A run killed at any moment ends, when it is started again, with the bytes of one that was left alone."""

import errno
import os
import shutil
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

import numpy as np
import pytest
import xarray as xr
import zarr
from climates_case import plan_for, region

from rainharvest.climates import run
from rainharvest.climates.cells import VARIABLES, over_cells
from rainharvest.climates.grid import open_grid
from rainharvest.climates.run import open_climates, run_climates
from rainharvest.climates.store import held_alone
from rainharvest.climates.tiles import COUNTS
from rainharvest.core.errors import InputError

SIZES = tuple(np.geomspace(500, 80_000, 64))
SLOW = tuple(np.linspace(50.0, 150.0, 150))  # bores that make a run last long enough to be killed


def start(rain, out):
    """Run from files to a store: what the process that is killed does, and the one that is not."""
    grid = open_grid(rain, mask="land")
    plan = plan_for(grid.days, capacity=SIZES, bores=SLOW)
    return run_climates(grid, plan, out, threads=2, cells=6, memory=150_000.0)


def tree(folder):
    """Every file of a folder with its bytes."""
    return {
        str(p.relative_to(folder)): p.read_bytes() for p in sorted(Path(folder).rglob("*")) if p.is_file()
    }


@pytest.fixture(scope="module")
def files(tmp_path_factory):
    """The region in one file by cell, and in a file a year with a chunk a day."""
    folder = tmp_path_factory.mktemp("rain")
    data = region(rows=8, columns=9, years=10)
    data.to_netcdf(
        folder / "whole.nc", encoding={"rain": {"chunksizes": (data.sizes["time"], 2, 3), "zlib": True}}
    )
    fixed = data[["mean_intensity", "land"]]
    for year, part in data[["rain"]].groupby("time.year"):
        part.merge(fixed).to_netcdf(
            folder / f"y{year}.nc", encoding={"rain": {"chunksizes": (1, 8, 9), "zlib": True}}
        )
    return {"by cell": str(folder / "whole.nc"), "a file a year": str(folder / "y*.nc")}


@pytest.fixture(scope="module")
def undisturbed(files, tmp_path_factory):
    """The stores of runs that nobody killed."""
    folder = tmp_path_factory.mktemp("whole")
    for name, rain in files.items():
        start(rain, folder / name)
    return folder


def kill_in_the_middle(rain, out, seen):
    """Start a run in a process of its own and kill it as soon as ``seen`` says so."""
    paths = os.environ | {"PYTHONPATH": os.pathsep.join(sys.path)}
    command = [sys.executable, __file__, rain, str(out)]
    process = subprocess.Popen(command, cwd=Path(__file__).parents[2], env=paths)
    while process.poll() is None and not seen():
        time.sleep(0.002)
    process.send_signal(signal.SIGKILL)
    return process.wait()


def marks(folder):
    try:
        return int(zarr.open_group(folder, mode="r")["done"][:].sum())
    except Exception:  # not made yet
        return 0


@pytest.mark.long
def test_two_sigkills_among_the_regions_and_a_third_run_gives_the_same_bytes(files, undisturbed, tmp_path):
    out, before = tmp_path / "out", 0
    for moment in (1, 5):
        assert kill_in_the_middle(files["by cell"], out, lambda m=moment: marks(out) >= m) == -signal.SIGKILL
        done, regions = marks(out), zarr.open_group(out, mode="r")["done"].size
        assert before < moment <= done < regions, "killed too late to show anything"
        before = done
    with pytest.raises(InputError, match=f"{regions - done} of {regions} regions"):
        open_climates(out)
    assert int((open_climates(out, unfinished=True).done == 1).sum()) == done
    (out / "reaching" / "0.0.0.0.x.partial").write_bytes(b"half a chunk")  # what a kill can leave behind
    start(files["by cell"], out)
    assert tree(out) == tree(undisturbed / "by cell")


@pytest.mark.long
def test_sigkills_at_any_moment_leave_a_store_that_the_next_run_completes(files, undisturbed, tmp_path, rng):
    out, killed = tmp_path / "out", 0
    for _ in range(int(os.environ.get("RAINHARVEST_KILLS", "3"))):
        end = time.monotonic() + rng.uniform(0, 5)
        killed += kill_in_the_middle(files["by cell"], out, lambda: time.monotonic() > end) == -signal.SIGKILL  # noqa: B023
        if marks(out) and marks(out) == zarr.open_group(out, mode="r")["done"].size:
            start(files["by cell"], out)
            assert tree(out) == tree(undisturbed / "by cell")
            shutil.rmtree(out)
    start(files["by cell"], out)
    assert killed and tree(out) == tree(undisturbed / "by cell")


def test_sigkill_while_rain_by_day_is_laid_out(files, undisturbed, tmp_path):
    out, laid = tmp_path / "out", tmp_path / ".out.rain"
    assert kill_in_the_middle(files["a file a year"], out, lambda: marks(laid) >= 2) == -signal.SIGKILL
    slabs = zarr.open_group(laid, mode="r")["done"]
    assert 2 <= int(slabs[:].sum()) < slabs.size and marks(out) == 0
    start(files["a file a year"], out)
    assert tree(out) == tree(undisturbed / "a file a year") and not laid.exists()


def test_how_the_rain_lies_makes_no_difference(undisturbed):
    one, other = (open_climates(undisturbed / name).load() for name in ("by cell", "a file a year"))
    for name in (*VARIABLES, *COUNTS):
        np.testing.assert_array_equal(one[name], other[name], err_msg=name)
    assert {name for name in one.attrs if one.attrs[name] != other.attrs[name]} <= {
        "digests",
        "history",
        "tile",
    }


def test_threads_a_loop_over_cells_and_a_cluster_that_loses_a_worker_give_the_same_bits(
    files, undisturbed, tmp_path, capsys, monkeypatch
):
    import distributed

    whole = open_climates(undisturbed / "by cell").load()
    grid = open_grid(files["by cell"], mask="land")
    plan = plan_for(grid.days, capacity=SIZES, bores=SLOW)

    data = xr.open_dataset(files["by cell"])
    for i, j in [(4, 0), (7, 8), (0, 5)]:  # a loop over cells
        one = over_cells(data.rain[:, i, j].astype(float), plan, float(data.mean_intensity[i, j]))
        for name in VARIABLES:
            np.testing.assert_array_equal(one[name], whole[name][i, j], err_msg=name)

    run_climates(grid, plan, tmp_path / "one", threads=1, cells=6)
    assert tree(tmp_path / "one") == tree(undisturbed / "by cell")

    with (
        distributed.LocalCluster(
            n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None
        ) as cluster,
        distributed.Client(cluster) as client,
    ):
        victims = [worker.process.pid for worker in cluster.workers.values()]
        killed = []

        def kill():
            while marks(tmp_path / "cluster") < 3:
                time.sleep(0.002)
            os.kill(victims[0], signal.SIGKILL)
            killed.append(marks(tmp_path / "cluster"))

        monkeypatch.setattr(run, "EVERY", 0.0)
        killer = threading.Thread(target=kill)
        killer.start()
        run_climates(grid, plan, tmp_path / "cluster", cluster=client, cells=6, progress=True)
        killer.join()
        assert "12 of 12 regions after" in capsys.readouterr().out
        assert killed and killed[0] < zarr.open_group(tmp_path / "cluster", mode="r")["done"].size
        assert tree(tmp_path / "cluster") == tree(undisturbed / "by cell")

        zarr.open_group(tmp_path / "cluster", mode="r+")["done"][:2] = 0  # the rest by the cluster's address
        run_climates(grid, plan, tmp_path / "cluster", cluster=cluster.scheduler_address, cells=6)
        assert tree(tmp_path / "cluster") == tree(undisturbed / "by cell")


def test_another_study_does_not_go_on_in_the_folder(files, undisturbed):
    grid, store = open_grid(files["by cell"], mask="land"), undisturbed / "by cell"
    before, whole = tree(store), {"capacity": SIZES, "bores": SLOW}
    plan = plan_for(grid.days, **whole)
    for change, words in (
        ({"capacity": SIZES[:-1]}, "tank sizes"),
        ({"target": 0.9}, "settings"),
        ({"bores": ()}, "settings"),
        ({"demand": plan.demand * 1.01}, "demand"),
        ({"catchments": {"dry run": plan.catchments["dry run"]}}, "roofs and pipes"),
    ):
        with pytest.raises(InputError, match=words) as caught:
            run_climates(grid, plan_for(grid.days, **whole | change), store, cells=6)
        assert "another folder" in caught.value.remedy
    with pytest.raises(InputError, match="rain"):
        run_climates(open_grid(files["a file a year"], mask="land"), plan, store, cells=6)
    assert tree(store) == before


def test_a_folder_of_something_else_is_left_alone(files, tmp_path, monkeypatch):
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "letter.txt").write_text("dear")
    grid = open_grid(files["by cell"])
    with pytest.raises(InputError, match="not one of a run"):
        run_climates(grid, plan_for(grid.days), tmp_path / "mine")
    assert [p.name for p in (tmp_path / "mine").iterdir()] == ["letter.txt"]
    monkeypatch.setattr(run, "PATIENCE", 0.5)
    with pytest.raises(InputError, match="no scheduler answers"):
        run_climates(grid, plan_for(grid.days), tmp_path / "out", cluster="tcp://127.0.0.1:9")


def test_a_second_start_on_the_same_store_is_told_so_and_leaves_it_alone(files, undisturbed, tmp_path):
    grid = open_grid(files["by cell"], mask="land")
    plan = plan_for(grid.days)
    with (
        held_alone(tmp_path / "out"),
        pytest.raises(InputError, match="another run is writing to this folder"),
    ):
        run_climates(grid, plan, tmp_path / "out")
    assert [*tmp_path.iterdir()] == []  # and the lock is let go of
    with pytest.raises(InputError, match="cannot write there"):
        run_climates(grid, plan, Path("/proc/none/out"))


def test_a_full_disk_ends_in_a_line_and_the_same_command_goes_on(files, undisturbed, tmp_path, monkeypatch):
    written, write = [], run.write_region

    def full(*args):
        written.append(args)
        if len(written) == 3:
            raise OSError(errno.ENOSPC, "No space left on device")
        write(*args)

    monkeypatch.setattr(run, "write_region", full)
    with pytest.raises(InputError, match="the disk is full.*goes on from there"):
        start(files["by cell"], tmp_path / "out")
    assert int((open_climates(tmp_path / "out", unfinished=True).done == 1).sum()) >= 2
    start(files["by cell"], tmp_path / "out")
    assert tree(tmp_path / "out") == tree(undisturbed / "by cell")


def test_progress_is_told_in_lines_where_there_is_no_terminal(files, tmp_path, monkeypatch, capsys):
    monkeypatch.setattr(run, "EVERY", 0.0)
    grid = open_grid(files["by cell"], mask="land")
    run_climates(grid, plan_for(grid.days), tmp_path / "out", threads=1, progress=True)
    said = capsys.readouterr().out.splitlines()
    assert said[-1].startswith(f"{len(said)} of {len(said)} regions after 0 min") and len(said) >= 8


def test_the_store_reads_as_cf(undisturbed):
    import cf_xarray  # noqa: F401 - gives Datasets their .cf

    store = open_climates(undisturbed / "by cell")
    assert store.attrs["Conventions"].startswith("CF-") and store.attrs["invented"] == 1
    assert store.cf["latitude"].attrs["units"] == "degrees_north" and store.cf["longitude"].size == 9
    for name in (*VARIABLES, *COUNTS):
        assert store[name].attrs["units"] and store[name].attrs["long_name"], name
    assert store.yearly_yield.attrs["cell_methods"] == "time: mean"
    assert "rainharvest" in store.attrs["source"] and "whole.nc" in store.attrs["history"]
    store.load().to_netcdf(undisturbed / "copy.nc")
    with xr.open_dataset(undisturbed / "copy.nc") as back:
        np.testing.assert_array_equal(back.reaching, store.reaching)


if __name__ == "__main__":
    start(*sys.argv[1:])
